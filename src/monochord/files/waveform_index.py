"""Waveform files that say nothing of themselves, put in order by a table: one row a block of samples.

The index names for each row the scan or sweep it belongs to and the file with its samples; its other columns are the
facts of the block. A fact of a whole scan must be the same in all its rows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from monochord.files import numbers
from monochord.files.columns import Column, Form
from monochord.files.document import Node
from monochord.files.formats.described import kept_of
from monochord.files.formats.opening import open_table
from monochord.files.roles import Meaning
from monochord.files.signals import Block, Contents, Group, Signals, Value
from monochord.files.table import Dialect, Table
from monochord.files.words import did_you_mean, listed
from monochord.ground.faults import Fault, Gatherer, Refused

#: The role of the index among the files of an occasion.
INDEX = "waveform_index"


def index_form(node: Node, dialect: Dialect, faults: list[Fault]) -> Form:
    """How the index reads: columns that the waveforms' facts name, as numbers, times or names.

    node  waveforms of the description;  dialect  of the index
    """
    columns = []
    for name, fact in _facts(node):
        notation = fact.text("notation")
        kind = "time" if notation else "number" if "unit" in fact else "text"
        columns.append(Column(name, Meaning(kind), (name,), notation=notation))
    index = node.node("index")
    columns += [
        Column(index.text(k), Meaning("text"), (index.text(k),)) for k in ("scan", "samples", "block") if k in index
    ]
    return Form(INDEX, dialect, tuple(columns), kept=kept_of(index, faults))


def _facts(node: Node) -> Iterator[tuple[str, Node]]:
    """Column and description of every fact that stands in the index."""
    for _, fact in node.named():
        if "attribute" in fact and fact.text("on") in ("group", "block"):
            yield fact.text("attribute"), fact
        elif fact.path[-1] != "index":
            yield from _facts(fact)


def indexed(
    index: tuple[bytes, str],
    form: Form,
    node: Node,
    files: Mapping[str, Callable[[], Signals]],
    faults: Gatherer,
) -> Signals | None:
    """The blocks of many files as the index puts them together; None with faults when it cannot be read.

    index  its bytes and its name as shown;  form  how it reads;  node  waveforms of the description
    files  path as shown -> what opens the file

    Raises Refused when the index itself cannot be opened.
    """
    data, name = index
    table = open_table(data, name, form, faults)
    if table is None:
        return None
    made = _Index(table, form, node, files, faults)
    return made.signals()


@dataclass(slots=True)
class _Index:
    """An index on its way to blocks."""

    table: Table
    form: Form
    node: Node
    files: Mapping[str, Callable[[], Signals]]
    faults: Gatherer
    opened: dict[str, Signals] = field(default_factory=dict)
    notes: list[Fault] = field(default_factory=list)

    def signals(self) -> Signals | None:
        before = len(self.faults.faults)
        columns = self._columns()
        if len(self.faults.faults) > before:
            return None
        index = self.node.node("index")
        scans, samples = columns[index.text("scan")], columns[index.text("samples")]
        inner = columns.get(index.text("block"), [""] * len(scans))
        groups: dict[str, list[Block]] = {}
        readers: dict[tuple[str, str], Callable[[], NDArray[np.generic]]] = {}
        for row, line in enumerate(self.table.lines):
            scan, file, part = (str(c[row]).strip() for c in (scans, samples, inner))
            found = self._block(file, part, line)
            if found is None:
                continue
            shape, reader = found
            key = (scan, f"{file}:{part}" if part else file)
            if key in readers:
                self._fault(f"{key[1]!r} twice in {scan!r}", "each block once", line, index.text("samples"))
            readers[key] = reader
            facts = {name: cells[row] for name, cells in columns.items()}
            groups.setdefault(scan, []).append(Block(key[1], shape, facts, line))
        made = tuple(Group(name, self._shared(name, blocks), tuple(blocks)) for name, blocks in groups.items())
        self._unused()
        contents = Contents(self._told(), made)
        notes = (*self.table.notes, *self.notes, *(n for s in self.opened.values() for n in s.notes))
        return Signals(contents, lambda group, block: readers[group, block](), notes)

    def _columns(self) -> dict[str, list[Value]]:
        """Cells by column: numbers where the description says so, text elsewhere."""
        found: dict[str, list[Value]] = {}
        for column in self.form.columns:
            name, place = column.names[0], self.table.index(column.names[0])
            if place is None:
                there = [h for h in self.table.header if h]
                expected = f"one of {listed(there, 30)}"
                self._fault(f"no column {name!r}", expected, self.table.dialect.header_line or None, name)
                continue
            cells = self.table.columns[place]
            found[name] = [str(c).strip() for c in cells]
            if column.meaning.kind == "number":
                values, odd = numbers.column(cells, self.form.dialect.spelling)
                for cell in odd:
                    self._fault(repr(cells[cell.index]), "a number", self.table.lines[cell.index], name)
                found[name] = list(values.tolist())
        return found

    def _block(
        self, file: str, part: str, line: int
    ) -> tuple[tuple[int, ...], Callable[[], NDArray[np.generic]]] | None:
        """Shape and reader of one block; None with a fault when the file or the block is not there."""
        column = self.node.node("index").text("samples")
        names = [n for n in self.files if n == file or n.endswith(f"/{file}")]
        if len(names) != 1:
            there = [Path(n).name for n in self.files]
            hint = did_you_mean(file, there)
            self._fault(f"file {file!r}", f"one of {listed(there) or 'none'}", line, column, hint)
            return None
        name = names[0]
        try:
            if name not in self.opened:
                self.opened[name] = self.files[name]()
        except Refused as refusal:
            self.faults.faults.extend(f for f in refusal.faults if f not in self.faults.faults)
            return None
        opened = self.opened[name]
        group, _, inner = part.rpartition("/")
        for found in opened.contents.groups:
            for block in found.blocks:
                if (found.name, block.name) == (group, inner):
                    return block.shape, lambda: opened.read(group, inner)
        there = [f"{g.name}/{b.name}".strip("/") for g in opened.contents.groups for b in g.blocks]
        column = self.node.node("index").text("block") or column
        self._fault(f"block {part!r} of {file!r}", f"one of {listed(there)}", line, column, did_you_mean(part, there))
        return None

    def _shared(self, name: str, blocks: list[Block]) -> dict[str, Value]:
        """What all blocks of a scan agree in; a fact of the scan that differs inside it is a fault."""
        first = blocks[0]
        wanted = {column for column, fact in _facts(self.node) if fact.text("on") == "group"}
        shared: dict[str, Value] = {}
        for key, value in first.attributes.items():
            other = next((b for b in blocks if b.attributes[key] != value), None)
            if other is None:
                shared[key] = value
            elif key in wanted:
                given = f"{other.attributes[key]!r} in {name!r}, which began with {value!r}"
                self._fault(given, "one value for a whole scan", other.row, key)
                shared[key] = value
        return shared

    def _told(self) -> dict[str, Value]:
        """What the files with samples tell of themselves, which must be the same in all."""
        told: dict[str, Value] = {}
        first: dict[str, str] = {}
        for name, opened in self.opened.items():
            for key, value in opened.contents.attributes.items():
                if told.setdefault(key, value) != value:
                    remedy = "take files of one recording, or mend the file"
                    expected = f"{told[key]} as in {first[key]}"
                    self.faults.add(f"{key} {value}", expected, remedy, file=name)
                first.setdefault(key, name)
        return told

    def _unused(self) -> None:
        for name in self.files:
            if name not in self.opened:
                self.notes.append(Fault("samples that no row of the index names", "a row for it", "not read", name))

    def _fault(self, given: str, expected: str, line: int | None, column: str, hint: str = "") -> None:
        fault = Fault(given, expected, f"{hint}mend the index", self.table.file, line, column)
        self.faults.faults.append(self.table.placed(fault))
