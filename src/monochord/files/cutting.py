"""Text tables in pieces: a long file is read, decoded and cut one part after the other, so memory stays bounded.

Each part is a table of its own with the file's head and the file's lines; a short file is one part. Parts end where
lines end and never inside quotes. Ordinary parts are cut by the places of their marks (:mod:`monochord.files.bulk`),
all others line by line.
"""

from __future__ import annotations

import codecs
import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import BinaryIO

from monochord.files.bulk import bulk_columns
from monochord.files.characters import Cleaner
from monochord.files.decode import HEAD, encoding_of, text_of
from monochord.files.quoted import Records
from monochord.files.table import Dialect, Table
from monochord.files.text_head import Head, head_of, lines_needed
from monochord.files.text_rows import MOST_RECENT, Body, Misshapen, table_of
from monochord.ground.faults import Fault, Gatherer, Refused

#: Formats that are text.
TEXTS = ("text", "fixed width")

#: Bytes of one part; a smaller file is one part.
PART = 1 << 19

#: Bytes that one line, or one quoted cell, may have.
LONGEST = 1 << 26


def whole(data: bytes, file: str, dialect: Dialect, faults: Gatherer) -> Table | None:
    r"""The table in the bytes of a file as one; None when nothing can be read, with the faults gathered.

    >>> found = whole(b"id;x\nA;1\n", "t.csv", Dialect(";"), Gatherer())
    >>> [list(c) for c in found.columns] if found else None
    [['A'], ['1']]
    """
    return next(_Parts(io.BytesIO(data), file, dialect, faults, part=1, first=len(data)).tables(), None)


def parts(stream: BinaryIO, file: str, dialect: Dialect, faults: Gatherer) -> Iterator[Table]:
    r"""The table in a stream of bytes, part by part; nothing when it cannot be read, with the faults gathered.

    Raises Refused when the bytes are no text of the declared encoding.

    >>> [list(t.lines) for t in parts(io.BytesIO(b"x,y\n1,2\n3,4\n"), "t.csv", Dialect(), Gatherer())]
    [[2, 3]]
    """
    return _Parts(stream, file, dialect, faults, PART, min(HEAD, PART)).tables()


@dataclass(slots=True)
class _Parts:
    """One file on its way to tables."""

    stream: BinaryIO
    file: str
    dialect: Dialect
    faults: Gatherer
    part: int
    first: int = HEAD
    cleaner: Cleaner = field(init=False)
    misshapen: Misshapen = field(default_factory=Misshapen)
    used: str = ""
    line: int = 1
    plain: bool = True
    recent: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.cleaner = Cleaner(self.file)

    def tables(self) -> Iterator[Table]:
        """The tables of all parts; the first holds the notes about the head, the last those about the whole text."""
        notes: list[Fault] = []
        blocks = self._blocks(notes)
        first = next(blocks, None)
        if first is None:
            return
        text, last = self._text(*first), first[1]
        while not last and text.count("\n") < lines_needed(self.dialect):
            block = next(blocks)
            text, last = text + self._text(*block), block[1]
        lines = text.split("\n")
        head = head_of(lines, self.file, self.dialect, self.faults, notes)
        if head is None:
            return
        above = lines[: head.first] if lines[-1] or len(lines) > head.first else lines[:-1]
        unfinished = last and bool(lines[-1].strip())
        table = self._careful(Body(head, lines[head.first :], len(above) + 1, last, unfinished), notes)
        table.seen += head.rows
        table.heads += head.rows
        table.blank += len(above) - head.rows
        while not last:
            self._remember(table)
            yield table
            data, last = next(blocks)
            start, ordinary = self.line, self._ordinary(head, data)
            table = ordinary or self._rest(head, data, start, last=last)
        table.notes += self.cleaner.notes()
        self.misshapen.close(self.faults)
        yield table

    def _remember(self, table: Table) -> None:
        """Keep the last cells of the rows, by which a last line without an end will be judged."""
        if table.columns:
            self.recent = [*self.recent, *table.columns[-1][-MOST_RECENT:]][-MOST_RECENT:]

    # -- text ------------------------------------------------------------------------------------

    def _blocks(self, notes: list[Fault]) -> Iterator[tuple[bytes | str, bool]]:
        """Whole lines of the file and whether they are the last; as bytes where the line end is one byte."""
        block = self.stream.read(self.first)
        self.used, found = encoding_of(block, self.file, self.dialect.encoding)
        notes += found
        self.plain = _is_plain(self.used)
        if not self.plain:
            yield from self._wide(block)
            return
        rest, records = b"", Records(self.dialect)
        while block:
            following = self.stream.read(self.part)
            data = rest + block
            end = len(data) if not following else _end_of_lines(data, following[:1])
            if following and end:
                end = records.end(data[:end], self.used)  # a quoted cell may run on into the next part
            rest, block = data[end:], following
            self._bounded(rest)
            if end:
                yield data[:end], not following

    def _wide(self, block: bytes) -> Iterator[tuple[str, bool]]:
        """Text whose signs have several bytes, decoded as it comes."""
        decoder = codecs.getincrementaldecoder(self.used)()
        rest, records = "", Records(self.dialect)
        while block:
            following = self.stream.read(self.part)
            try:
                text = rest + decoder.decode(block, final=not following)
            except UnicodeError as error:  # also for a lacking byte-order mark
                given = "a character that is cut off" if "truncated" in str(error) else str(error)
                remedy = "the file seems cut off; copy it again from where it was made"
                line = self.line + rest.count("\n")
                raise Refused([Fault(given, f"text in {self.used}", remedy, self.file, line)]) from None
            end = len(text) if not following else text.rfind("\n") + 1 or text.rstrip("\r").rfind("\r") + 1
            if following and end:
                end = records.end(text[:end])
            rest, block = text[end:], following
            self._bounded(rest)
            if end:
                yield text[:end], not following

    def _bounded(self, rest: bytes | str) -> None:
        if len(rest) > LONGEST:
            given = f"a line or a quoted cell of more than {LONGEST} bytes"
            remedy = "close the quote, or see whether this is a text table at all"
            raise Refused([Fault(given, "lines of a table", remedy, self.file, self.line)])

    def _text(self, block: bytes | str, last: bool) -> str:
        text = block if isinstance(block, str) else text_of(block, self.file, self.used, self.line)
        text = self.cleaner.clean(text, self.line, last=last)
        self.line += text.count("\n")
        return text

    # -- rows ------------------------------------------------------------------------------------

    def _rest(self, head: Head, block: bytes | str, start: int, *, last: bool) -> Table:
        lines = self._text(block, last).split("\n")
        return self._careful(Body(head, lines, start, last, last and bool(lines[-1].strip())), [])

    def _careful(self, body: Body, notes: list[Fault]) -> Table:
        blank, lines = 0, body.lines
        if lines and not lines[-1]:
            lines.pop()
        while lines and not lines[-1].strip():
            lines.pop()
            blank += 1
        body.recent = self.recent
        table = table_of(body, notes, self.faults, self.misshapen)
        table.blank += blank
        table.encoding = self.used
        return table

    def _ordinary(self, head: Head, block: bytes | str) -> Table | None:
        """A part without anything unusual, cut by the places of its marks; None when something is."""
        if isinstance(block, str) or len(head.mark) != 1 or self.cleaner.ended or not self.plain:
            return None
        if not (block.isascii() and block.endswith(b"\n")) or b"\x7f" in block:
            return None
        comment = head.dialect.comment
        if b'"' in block or (comment and comment.encode() in block):
            return None
        if b"\r" in block:
            block = block.replace(b"\r\n", b"\n")
        if (head.line and head.line.encode() in block) or (head.raw and head.mark.join(head.raw).encode() in block):
            return None
        columns = bulk_columns(block, head.mark, head.width)
        if columns is None:
            return None
        rows = len(columns[0])
        table = Table(
            head.file, head.names, head.units, list(columns), range(self.line, self.line + rows), head.dialect
        )
        table.seen, table.encoding = rows, self.used
        self.line += rows
        return table


def _is_plain(encoding: str) -> bool:
    """Whether bytes below 128 are the signs of ASCII and nothing else."""
    ascii_signs = bytes(range(9, 127))
    return ascii_signs.decode(encoding, "replace") == ascii_signs.decode("ascii")


def _end_of_lines(data: bytes, following: bytes) -> int:
    """Where the last whole line of the data ends; at lone carriage returns when there is no newline at all."""
    end = data.rfind(b"\n") + 1
    if end or b"\r" not in data:
        return end
    if following in (b"\r", b"\n"):  # carriage returns before a newline are one line end with it
        data = data.rstrip(b"\r")
    return data.rfind(b"\r") + 1
