"""The import report of one file: rows counted by what they are, spelling, conversions; and the campaign's file of them."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path

from monochord.campaign.given.imports import Import
from monochord.campaign.given.pairing import Pairing
from monochord.files.columns import Column, Form
from monochord.files.table import Table
from monochord.ground.faults import Fault

#: File of a campaign that keeps how its files were read when it began.
IMPORTS = "imports.json"
SCHEMA = "monochord-imports/1"

#: Counts that must be the same at every reading.
COUNTS = ("rows", "data", "heads", "remarks", "refused")


@dataclass(slots=True)
class Told:
    """What is counted while one file is read.

    seen  spellings that are not plain, by column;  kinds  rows of data that were left out: "remark", "head" or "refused"
    """

    rows: int = 0
    data: int = 0
    heads: int = 0
    remarks: int = 0
    refused: int = 0
    blank: int = 0
    encoding: str = ""
    conversions: list[str] = field(default_factory=list)
    seen: dict[str, Counter[str]] = field(default_factory=dict)
    read: list[str] = field(default_factory=list)
    passed_over: list[str] = field(default_factory=list)

    def take(self, table: Table) -> None:
        """Count the rows of a part as they were cut."""
        self.rows += table.rows
        self.heads += table.heads
        self.remarks += table.remarks
        self.refused += table.refused
        self.blank += table.blank
        self.encoding = table.encoding or self.encoding
        self.conversions += [
            f"{n.given} read as {n.expected}" for n in table.notes if "decoded wrongly once" in n.remedy
        ]

    def left_out(self, kind: str) -> None:
        """Count a row that is no data or was not used."""
        self.heads += kind == "head"
        self.remarks += kind == "remark"
        self.refused += kind == "refused"

    def report(self, file: str, form: Form) -> Import:
        """The import report."""
        text = form.kept.format in ("text", "fixed width")
        dialect = form.dialect
        spelled = [f"{name}: {n} {words}" for name, seen in self.seen.items() for words, n in sorted(seen.items())]
        return Import(
            file,
            form.role,
            self.rows,
            self.data,
            self.heads,
            self.remarks,
            self.refused,
            self.blank,
            self.encoding or form.kept.format,
            (dialect.delimiter if form.kept.format == "text" else "fixed") if text else "",
            dialect.decimal if text else "",
            dialect.grouping if text else "",
            tuple(dict.fromkeys([*_together(self.conversions), *spelled])),
            tuple(self.read),
            tuple(self.passed_over),
        )


def _together(conversions: Iterable[str]) -> list[str]:
    """Conversions of several columns that are the same, told once.

    >>> _together(["x: mm to SI", "y: mm to SI", "repaired"])
    ['x, y: mm to SI', 'repaired']
    """
    columns: dict[str, list[str]] = {}
    for told in conversions:
        name, colon, what = told.rpartition(": ")
        columns.setdefault(what if colon else told, []).append(name)
    return [f"{', '.join(names)}: {what}" if any(names) else what for what, names in columns.items()]


def of_column(column: Column, name: str) -> list[str]:
    """Conversions that the description of a column orders, in words."""
    made = []
    if column.notation and column.meaning.kind == "number":
        made.append(f"{name}: {column.notation} to rad")
    elif column.meaning.kind == "time":
        made.append(f"{name}: times as {column.notation}")
    elif (unit := column.unit) is not None and (unit.factor, unit.offset) != (1.0, 0.0):
        shift = f", then {unit.offset:+.6g}" if unit.offset else ""
        made.append(f"{name}: {unit.name} to SI, factor {unit.factor:.9g}{shift}")
    if column.sign < 0:
        made.append(f"{name}: sign turned")
    if column.words:
        made.append(f"{name}: " + ", ".join(f"{theirs!r} as {ours!r}" for theirs, ours in column.words.items()))
    return made


def written(imports: Iterable[Import], pairings: Iterable[Pairing] = ()) -> str:
    """Import reports, and the lists of names that were paired, as the text of a file.

    >>> written([Import("a.csv", "turns", 3, 2, 1)]).splitlines()[1]
    '  "schema": "monochord-imports/1",'
    """
    entries = [{f.name: getattr(i, f.name) for f in fields(Import)} for i in imports]
    paired = [{**asdict(p), "words": p.words} for p in pairings]
    told = {"schema": SCHEMA, "imports": entries, "pairings": paired}
    return json.dumps(told, ensure_ascii=False, indent=2, default=list) + "\n"


def kept(folder: Path) -> tuple[Import, ...]:
    """The import reports that a campaign's folder keeps; none when there are none that can be read."""
    try:
        entries = json.loads((folder / IMPORTS).read_text("utf-8"))["imports"]
        return tuple(_import(entry) for entry in entries)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return ()


def _import(entry: Mapping[str, object]) -> Import:
    """One report; TypeError or ValueError where it is none."""
    texts = {key: str(entry[key]) for key in ("path", "role", "encoding", "delimiter", "decimal", "grouping")}
    counts = {key: int(str(entry[key])) for key in (*COUNTS, "blank")}
    return Import(
        texts["path"],
        texts["role"],
        counts["rows"],
        counts["data"],
        counts["heads"],
        counts["remarks"],
        counts["refused"],
        counts["blank"],
        texts["encoding"],
        texts["delimiter"],
        texts["decimal"],
        texts["grouping"],
        _texts(entry["conversions"]),
        _texts(entry["read"]),
        _texts(entry["passed_over"]),
    )


def _texts(value: object) -> tuple[str, ...]:
    return tuple(str(v) for v in value) if isinstance(value, list) else ()


def reading_differs(now: Iterable[Import], folder: Path) -> list[Fault]:
    """Notes about files that read otherwise than when the campaign began: counts of their rows differ."""
    then = {told.path: told.counts for told in kept(folder)}
    found = []
    for report in now:
        before = then.get(report.path, "")
        if before and before != report.counts:
            remedy = "the description or the program changed since; see whether this is meant"
            found.append(Fault(report.counts, f"{before}, as when the campaign began", remedy, report.path))
    return found
