"""What was read of a file, row by row counted, and everything that was converted on the way."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Import:
    """How one file was read.

    path, role   file inside the campaign, and what the lab description takes it for
    rows         rows that are not blank: data + heads + remarks + refused
    data         rows that were used;  heads  preamble, names, units
    remarks      rows that are no data: remarks, totals;  refused  rows of data left out, each with its reason in the notes
    blank        lines without anything, not counted as rows
    encoding, delimiter, decimal, grouping   how the text is spelled, "" where it does not apply
    conversions  factors of units, signs, senses, repaired spellings, in words
    read, passed_over  names of columns

    >>> told = Import("a.csv", "turns", 4, 2, 1, 1, 0, 0, "utf-8", ";", ",", "", ("x: mm to m",), ("x",), ("note",))
    >>> told.adds_up, told.counts
    (True, '4 rows = 2 data + 1 head + 1 remark + 0 refused')
    """

    path: str
    role: str
    rows: int
    data: int
    heads: int = 0
    remarks: int = 0
    refused: int = 0
    blank: int = 0
    encoding: str = ""
    delimiter: str = ""
    decimal: str = ""
    grouping: str = ""
    conversions: tuple[str, ...] = ()
    read: tuple[str, ...] = ()
    passed_over: tuple[str, ...] = ()

    @property
    def adds_up(self) -> bool:
        """Whether every row is one of the four kinds."""
        return self.rows == self.data + self.heads + self.remarks + self.refused

    @property
    def counts(self) -> str:
        """The sum of the rows in words."""
        heads, remarks = counted(self.heads, "head"), counted(self.remarks, "remark")
        return f"{counted(self.rows, 'row')} = {self.data} data + {heads} + {remarks} + {self.refused} refused"

    @property
    def spelling(self) -> str:
        """How the text is spelled, in words."""
        parts = [self.encoding]
        if self.delimiter:
            parts.append(f"delimiter {_shown(self.delimiter)}")
        if self.decimal:
            parts.append(f"decimal {self.decimal!r}")
        if self.grouping:
            parts.append(f"grouping {_shown(self.grouping)}")
        return ", ".join(part for part in parts if part)

    @property
    def brief(self) -> str:
        """File, rows and spelling in one line."""
        return f"{self.path}: {self.counts}; {self.spelling}"

    @property
    def line(self) -> str:
        """The whole in one line."""
        made = f"; {'; '.join(self.conversions)}" if self.conversions else ""
        over = f"; not read: {', '.join(self.passed_over)}" if self.passed_over else ""
        return f"{self.brief}{made}{over}"


def counted(count: int, word: str) -> str:
    """A count with its word in the right number.

    >>> counted(1, "row"), counted(2, "row")
    ('1 row', '2 rows')
    """
    return f"{count} {word}{'' if count == 1 else 's'}"


def total(imports: tuple[Import, ...]) -> str:
    """The rows of all files together, in words.

    >>> total((Import("a", "turns", 3, 2, 1), Import("b", "turns", 2, 1, 1)))
    '2 files read: 5 rows = 3 data + 2 heads + 0 remarks + 0 refused'
    """
    sums = {key: sum(getattr(i, key) for i in imports) for key in ("rows", "data", "heads", "remarks", "refused")}
    return f"{counted(len(imports), 'file')} read: {Import('', '', **sums).counts}"


def _shown(mark: str) -> str:
    return {"\t": "tab", " ": "blank"}.get(mark, repr(mark) if len(mark) == 1 else mark)
