"""What stands at a place: the row of a measured table, the block of a container, a setting, a constant of the program."""

from __future__ import annotations

import importlib
import inspect
import re
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType

from monochord.files import document
from monochord.files.amounts import amount
from monochord.files.campaign_file import CAMPAIGN, GIRDER, GIRDER_TYPE, LAB
from monochord.files.checksum import content, sha256, sha256_of
from monochord.files.columns import Rows
from monochord.files.document import Document
from monochord.files.formats.opening import shown_lines
from monochord.files.lab import Lab, lab_of
from monochord.files.reading import read_rows
from monochord.files.waveform_index import INDEX
from monochord.ground import units
from monochord.ground.faults import Fault, Gatherer, Refused
from monochord.ground.trace import Place
from monochord.job.why.settings import Found, Settings
from monochord.report.why.chain import Row

#: What the nouns call a column -> meanings of columns of the tables, of which a file has some.
COLUMNS: dict[str, tuple[str, ...]] = {
    "direction": ("horizontal",),
    "zenith": ("vertical",),
    "frequency": ("drive_frequency",),
    "current": ("magnet_current",),
}


@dataclass(frozen=True, eq=False, slots=True)
class Table:
    """One measured table as it stands and as it was read."""

    lines: list[str]
    rows: Rows
    sha256: str

    def row(self, place: Place) -> Row:
        """The row at a place; Refused when the file has none there."""
        if not 1 <= place.line <= len(self.lines):
            raise _nothing(place)
        text = self.lines[place.line - 1].rstrip("\r\n")
        if place.line not in self.rows.lines:
            return Row(place.file, place.line, place.column, text, "", self.sha256)
        at = list(self.rows.lines).index(place.line)
        numbers = {key: float(values[at]) for key, values in self.rows.number.items()}
        columns = [c for c in (place.column, *COLUMNS.get(place.column, ())) if c in self.rows.names]
        named = columns[0] if columns else ""
        column = self.rows.names[named] if named else place.column
        return Row(place.file, place.line, column, text, "", self.sha256, numbers=numbers)


@dataclass(eq=False, slots=True)
class Folder:
    """A campaign's folder, from which places are read; every file is read once."""

    root: Path
    settings: Settings = field(init=False)
    lab: Lab = field(init=False)
    roles: dict[str, str] = field(init=False)
    tables: dict[str, Table] = field(default_factory=dict, init=False)
    checksums: dict[str, str] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        documents = {name: document.read(self.root / name, name) for name in (CAMPAIGN, GIRDER, GIRDER_TYPE, LAB)}
        self.settings, self.lab = Settings(documents), lab_of(documents[LAB])
        self.roles = _roles(documents[CAMPAIGN])

    def rows(self, place: Place) -> tuple[Row, ...]:
        """What stands at a place: one row, or for a given fact the settings that make it; Refused when there is nothing."""
        if not place.file:
            found = self.settings.places(place.column)
            return tuple(self._setting(f) for f in found) if found else (_constant(place),)
        if place.file in self.settings.documents:
            return (self._line_of_document(place),)
        if place.file not in self.roles:
            raise _nothing(place)
        if self.roles[place.file] == "waveforms":
            words = f"block {place.line} of the container"
            return (Row(place.file, place.line, place.column, words, "", self.checksum(place.file)),)
        if self.roles[place.file] == INDEX:
            lines = shown_lines(content(self.root / place.file, place.file), place.file, self.lab.forms[INDEX])
            words = lines[place.line - 1] if 1 <= place.line <= len(lines) else f"row {place.line} of the index"
            return (Row(place.file, place.line, place.column, words, "", self.checksum(place.file)),)
        return (self.table(place.file).row(place),)

    def checksum(self, name: str) -> str:
        """sha256 of a file of the campaign."""
        if name not in self.checksums:
            self.checksums[name] = sha256(self.root / name, name)
        return self.checksums[name]

    def table(self, name: str) -> Table:
        """A measured table, read once."""
        if name not in self.tables:
            data, form = content(self.root / name, name), self.lab.forms[self.roles[name]]
            faults = Gatherer(name)
            rows = read_rows(data, name, form, faults, [])
            faults.refuse_if_any()
            if rows is None:
                raise _nothing(Place(name))
            self.tables[name] = Table(shown_lines(data, name, form), rows, sha256_of(data))
        return self.tables[name]

    def _setting(self, found: Found) -> Row:
        name, way = found
        line = self.settings.line(found)
        text = self.settings.documents[name].text.split("\n")[line - 1].strip()
        value = self.settings.value(found)
        numbers = {"value": v} if (v := _si(value)) is not None else {}
        cell = value if isinstance(value, str) else ""
        return Row(name, line, ".".join(str(k) for k in way), text, cell, self.checksum(name), numbers=numbers)

    def _line_of_document(self, place: Place) -> Row:
        lines = self.settings.documents[place.file].text.split("\n")
        if not 1 <= place.line <= len(lines):
            raise _nothing(place)
        text = lines[place.line - 1].strip()
        return Row(place.file, place.line, place.column, text, "", self.checksum(place.file))


def _roles(campaign: Document) -> dict[str, str]:
    """Path of every measured file -> its role."""
    nodes = [*campaign.root.nodes("files"), *(f for o in campaign.root.nodes("occasions") for f in o.nodes("files"))]
    return {node.text("path"): node.text("role") for node in nodes}


def _si(value: object) -> float | None:
    """A setting as a number in SI, None when it is none."""
    if isinstance(value, bool):
        return None
    if isinstance(value, (int, float)):
        return float(value)
    if not isinstance(value, str):
        return None
    spelled = value.split(maxsplit=1)[-1] if " " in value.strip() else ""
    try:
        return amount(value, units.unit(spelled).dimension if spelled else "ratio")
    except Refused:
        return None


def _constant(place: Place) -> Row:
    """A constant of the program, named by its module and its own name; Refused when there is none.

    A default of a function counts as one: what is sought then is the first line that sets the name.
    """
    module, name = _module_of(place)
    source = inspect.getsource(module)
    lines = source.splitlines()
    own = re.escape(name)
    set_here = (rf"(?:class |def )?{own}\b", rf"\s+{own}\s*(?::[^=]*)?=", rf".*\b{own}\b\s*(?::[^=,]*)?=")
    for pattern in map(re.compile, set_here):
        for number, text in enumerate(lines, start=1):
            if pattern.match(text):
                value = getattr(module, name, None)
                file = module.__name__.replace(".", "/") + ".py"
                told = {"value": float(value)} if isinstance(value, (int, float)) else {}
                return Row(file, number, name, text.strip(), "", sha256_of(source.encode()), True, told)
    raise _nothing(place)


def _module_of(place: Place) -> tuple[ModuleType, str]:
    """The module that a key begins with, as far as there is one, and the name behind it."""
    way = place.column.removeprefix("program.").split(".")
    for end in range(len(way) - 1, 0, -1):
        try:
            return importlib.import_module(".".join(("monochord", *way[:end]))), way[end]
        except ModuleNotFoundError:
            continue
    raise _nothing(place)


def _nothing(place: Place) -> Refused:
    where = f"line {place.line} of {place.file}" if place.file else f"the fact {place.column!r}"
    fault = Fault(
        where, "a row of a file, a setting or a constant", "this is a defect of the program; report it", place.file
    )
    return Refused([fault])
