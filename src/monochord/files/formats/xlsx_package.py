"""What stands around the values of a workbook: its sheets, its date origin, and marks that a person should know of.

Read from the package's own parts, which say what a reader of values passes over: hidden rows and columns, merged
cells, formulas whose value nobody saved, macros that are not run and links that are not followed.
"""

from __future__ import annotations

import posixpath
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from xml.etree import ElementTree

from monochord.files.formats.zips import refusal

_WORKBOOK = "xl/workbook.xml"
_SHEET = "/worksheet"
_ON = ("1", "true", "on")


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: its name, the part that holds it, and whether it is hidden."""

    name: str
    part: str
    hidden: bool


@dataclass(frozen=True, slots=True)
class Book:
    """A workbook: its sheets, whether its dates count from 1904, and what is in it that is not used."""

    sheets: tuple[Sheet, ...]
    from_1904: bool
    unused: tuple[str, ...]


@dataclass(slots=True)
class Marks:
    """Marks of one sheet: 1-based rows and column letters that are hidden, merged ranges, formulas.

    formulas  how many cells are formulas;  uncached  those whose value nobody saved, such as "C5"
    """

    hidden_rows: list[int] = field(default_factory=list)
    hidden_columns: list[tuple[int, int]] = field(default_factory=list)
    merged: list[str] = field(default_factory=list)
    formulas: int = 0
    uncached: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Found:
    """The sheet that is read: file as shown, the sheet, its workbook and its marks."""

    file: str
    sheet: Sheet
    book: Book
    marks: Marks


def book_of(archive: zipfile.ZipFile, file: str) -> Book:
    """The workbook of a package; Refused when there is none.

    archive  within its limits;  file  as shown
    """
    entries = set(archive.namelist())
    if _WORKBOOK not in entries:
        kind = (
            "a spreadsheet of another kind" if "mimetype" in entries or "xl/workbook.bin" in entries else "a zip file"
        )
        raise refusal(kind, "a workbook saved as .xlsx", file)
    parts = _related(archive, "xl/_rels/workbook.xml.rels")
    sheets, from_1904 = [], False
    for tag, item in _elements(archive, _WORKBOOK):
        if tag == "workbookPr":
            from_1904 = item.get("date1904", "").lower() in _ON
        elif tag == "sheet":
            target = next((v for k, v in item.items() if k.endswith("}id")), "")
            part = parts.get(target, "")
            if part:
                sheets.append(Sheet(item.get("name", ""), part, item.get("state", "visible") != "visible"))
    unused = []
    if any(name.startswith("xl/externalLinks/") for name in entries):
        unused.append("links to other files, which are not followed")
    if "xl/vbaProject.bin" in entries:
        unused.append("macros, which are not run")
    return Book(tuple(sheets), from_1904, tuple(unused))


def marks_of(archive: zipfile.ZipFile, part: str) -> Marks:
    """The marks of the sheet in this part."""
    found = Marks()
    formula, valued = False, False
    for tag, item in _elements(archive, part):
        if tag == "col" and item.get("hidden", "").lower() in _ON:
            found.hidden_columns.append((int(item.get("min", "1")), int(item.get("max", "1"))))
        elif tag == "row" and item.get("hidden", "").lower() in _ON:
            found.hidden_rows.append(int(item.get("r", "0")))
        elif tag == "mergeCell":
            found.merged.append(item.get("ref", ""))
        elif tag == "f":
            formula = True
        elif tag == "v":
            valued = bool((item.text or "").strip())
        elif tag == "c":
            if formula:
                found.formulas += 1
                # a formula that gives an empty text has a type and an empty value; one never computed has neither
                if not valued and item.get("t") != "str":
                    found.uncached.append(item.get("r", "?"))
            formula = valued = False
    return found


def _related(archive: zipfile.ZipFile, part: str) -> dict[str, str]:
    """Id -> part of every sheet of the workbook; a target outside the package is none."""
    found = {}
    for tag, item in _elements(archive, part):
        inside = item.get("TargetMode", "Internal") == "Internal"
        if tag == "Relationship" and inside and item.get("Type", "").endswith(_SHEET):
            target = item.get("Target", "")
            found[item.get("Id", "")] = target.lstrip("/") if target.startswith("/") else posixpath.join("xl", target)
    return found


def _elements(archive: zipfile.ZipFile, part: str) -> Iterator[tuple[str, ElementTree.Element]]:
    """Every element of a part when it ends, without its namespace; nothing stays in memory."""
    with archive.open(part) as stream:
        above: list[ElementTree.Element] = []
        for event, item in ElementTree.iterparse(stream, ("start", "end")):
            if event == "start":
                above.append(item)
                continue
            above.pop()
            yield item.tag.rpartition("}")[2], item
            if above and item.tag.rpartition("}")[2] not in ("f", "v", "is"):
                above[-1].remove(item)
