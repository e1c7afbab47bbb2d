"""Text tables made by a grammar, with the truth about every line: what it is, and which values stand in it.

Dialects are drawn over all that a description can say; names, numbers, remarks, totals and rows that do not fit are
drawn with them. Numbers never look like markers for no reading, and names never like totals, unless that is meant.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from random import Random

from monochord.files.columns import Column, Form
from monochord.files.roles import Meaning
from monochord.files.table import DELIMITERS, Dialect
from monochord.ground.units import unit

#: Names that readers have taken for numbers, dates, missing words, marks or formulas.
NAMES = (
    "NA", "None", "null", "nan", "inf", "1E5", "007", "1e05", "3-1-2", "MAR1", "M#4", "+5", "=A1", "Q 1", "Träger", "Ä/3",
    "TRUE", "0", "-", "n/a", "x" * 60, "a.b", "@1", "P_1", "2026-03-02", "12:30", "µ1", "№7", "it's",
)  # fmt: skip

REMARKS = (
    "target moved again here",
    "warm again at noon",
    "stopped for lunch",
    "see the other list",
    "// by hand",
    'shim of 5" put in',
)
PREAMBLE = (
    "Bench 7",
    "station;L7",
    "",
    "made, by hand",
    "  ",
    "2026-03-02 10:00",
    '"quoted" words',
    "x",
    "1;2;3",
    "# top",
)


@dataclass(frozen=True, slots=True)
class Row:
    """A row of data: 1-based line, name, and the numbers of x and y; y may be unknown (None)."""

    line: int
    name: str
    x: float
    y: float | None


@dataclass(slots=True)
class Made:
    """A text and the truth about it.

    data     its bytes;  text  before it was encoded;  form  its description
    rows     of data;  kinds  what each line is: "data", "head", "remark", "refused", "blank", or "more" of a cell
    untold   lines (1-based) that are no data and that nobody need be told of
    """

    data: bytes
    text: str
    form: Form
    rows: list[Row]
    kinds: list[str]
    ended: bool
    untold: set[int] = field(default_factory=set)

    def count(self, kind: str) -> int:
        """Lines of one kind."""
        return self.kinds.count(kind)


_NUMBER_KINDS = {lacking: Meaning("number", "length", True, lacking) for lacking in ("refuse", "unknown")}
_TEXT = Meaning("text")
_MM, _M = unit("mm"), unit("m")


def form_of(dialect: Dialect, names: tuple[str, str, str]) -> Form:
    """Names, x that every row must have, and y that may lack; a column for notes is passed over."""
    name, x, y = names
    columns = (
        Column("name", _TEXT, (name,)),
        Column("x", _NUMBER_KINDS["refuse"], (x,), _MM),
        Column("y", _NUMBER_KINDS["unknown"], (y,), _M),
    )
    return Form("points", dialect, columns, frozenset({"note"}))


def dialect_of(rng: Random) -> Dialect:
    """A dialect; its encoding is the one that is declared."""
    delimiter = rng.choice((",", ";", ";", "tab", "tab", "|", "spaces", "fixed"))
    decimal = "." if delimiter == "," or rng.random() < 0.5 else ","
    grouping = ""
    if rng.random() < 0.3:
        marks = [".", "'", " "] if decimal == "," else [",", "'", " "]
        grouping = rng.choice(
            [m for m in marks if m != delimiter and not (m == " " and delimiter in ("spaces", "fixed"))]
        )
    comment = rng.choice(("", "", "#", "!"))
    preamble = rng.choice((0, 0, 0, 1, 3))
    has_units = rng.random() < 0.25
    encoding = rng.choice(("utf-8", "utf-8", "utf-8", "cp1252", "latin-1", "utf-16"))
    return Dialect(delimiter, decimal, grouping, encoding, comment, preamble + 1, preamble + 2 if has_units else 0)


def made(rng: Random, rows: int = 0) -> Made:
    """A table of so many lines below its head, or of a few."""
    return _Maker(rng, dialect_of(rng)).made(rows or rng.randrange(1, 9))


class _Maker:
    """One table on its way to text."""

    def __init__(self, rng: Random, dialect: Dialect) -> None:
        self.rng, self.dialect = rng, dialect
        self.mark = (
            "" if dialect.delimiter in ("spaces", "fixed") else DELIMITERS.get(dialect.delimiter, dialect.delimiter)
        )
        self.order = ["name", "x", "y", "note"] if self.mark else ["name", "x", "y"]
        rng.shuffle(self.order)
        self.trailing = bool(self.mark) and rng.random() < 0.1
        self.lines: list[str] = []
        self.kinds: list[str] = []
        self.rows: list[Row] = []
        self.untold: set[int] = set()
        self.used: set[str] = set()
        self.cells: list[list[str]] = []
        self.fixed: list[tuple[int, list[str]]] = []

    def made(self, count: int) -> Made:
        rng, dialect = self.rng, self.dialect
        for _ in range(dialect.header_line - 1):
            words = rng.choice(PREAMBLE)
            self._line(words, "head" if words.strip() else "blank")
            self.untold.add(len(self.lines))
        titles = {"name": "point", "x": "x", "y": "y", "note": "note"}
        self._cells([titles[key] for key in self.order], "head")
        self.untold.add(len(self.lines))
        if dialect.unit_line:
            units = {"name": "", "x": "mm", "y": "m", "note": ""}
            if dialect.delimiter == "spaces":
                units["name"] = "-"
            self._cells([units[key] for key in self.order], "head")
            self.untold.add(len(self.lines))
        for _ in range(count):
            self._body(titles)
        if not self.rows:
            self._data()
        widths = self._set_widths()
        ended = rng.random() < 0.9 or not self.lines[-1].strip()
        end = rng.choice(("\n", "\n", "\n", "\r\n", "\r\n", "\r", "\r\r\n"))
        text = "\n".join(self.lines) + ("\n" if ended else "")
        used = _encoded(text.replace("\n", end), dialect.encoding, rng)
        form = form_of(replace(dialect, widths=widths), ("point", "x", "y"))
        return Made(used, text, form, self.rows, self.kinds, ended, self.untold)

    # -- lines -----------------------------------------------------------------------------------

    def _body(self, titles: dict[str, str]) -> None:
        rng, how = self.rng, self.rng.random()
        if how < 0.75:
            self._data()
        elif how < 0.80:
            self._line(rng.choice(("", "", "   ", self.mark * 2)), "blank")
        elif how < 0.84 and self.dialect.comment:
            self._line(f"{self.dialect.comment} {rng.choice(REMARKS)}", "remark")
            self.untold.add(len(self.lines))
        elif how < 0.88 and self.mark:
            self._line(rng.choice(REMARKS), "remark")
        elif how < 0.91:
            self._row(
                {"name": rng.choice(("sum", "Mean", "total:")), "x": self._number()[0], "y": self._number()[0]},
                "remark",
            )
        elif how < 0.93 and self.dialect.delimiter != "fixed":
            self._cells([titles[key] for key in self.order], "head")
        elif how < 0.95 and self.mark:
            self._line(self.mark.join(["P", "1", "2", "3", "4", "5", "6"]), "refused")
        elif how < 0.97:
            bad = rng.choice(("12x", "1.2.3", "0x1F", "1,2,3", "--5", "1e5e5", "3mm"))
            if self.dialect.delimiter == "," and "," in bad:
                bad = "12x"
            self._row({"name": self._name(), "x": bad, "y": self._number()[0]}, "refused")
        else:
            self._data()

    def _data(self) -> None:
        name, (x, x_value), (y, y_value) = self._name(), self._number(), self._number()
        known = self.rng.random() < 0.85
        if not known:
            y = self.rng.choice(
                ("-", "n/a", "NaN", "?", ".") if self.dialect.delimiter in ("spaces", "fixed") else ("-", "", "nan")
            )
        line = len(self.lines) + 1
        self._row({"name": name, "x": x, "y": y}, "data")
        self.rows.append(Row(line, name, x_value, y_value if known else None))

    def _row(self, told: dict[str, str], kind: str) -> None:
        rng = self.rng
        note = rng.choice(("", "", "ok", "7", "a, b; c", 'say "no"', "two\nlines", "Träger"))
        self._cells([told.get(key, note) for key in self.order], kind)

    def _cells(self, cells: list[str], kind: str) -> None:
        if self.dialect.delimiter == "fixed":
            self.fixed.append((len(self.lines), cells))
            self._line("", kind)
            return
        if self.dialect.delimiter == "spaces":
            quoted = [f'"{c}"' if " " in c or not c else c for c in cells]
            self._line(self.rng.choice(("  ", " ", "\t")).join(quoted), kind)
            return
        tail = self.mark if self.trailing and kind != "head" else ""
        self._line(self.mark.join(map(self._quoted, cells)) + tail, kind)

    def _quoted(self, cell: str) -> str:
        needed = any(sign in cell for sign in (self.mark, '"', "\n"))
        return '"' + cell.replace('"', '""') + '"' if needed or self.rng.random() < 0.05 else cell

    def _line(self, text: str, kind: str) -> None:
        several = text.split("\n")
        self.lines += several
        self.kinds += [kind, *["more"] * (len(several) - 1)]

    def _set_widths(self) -> tuple[int, ...]:
        if not self.fixed:
            return ()
        widths = tuple(max(len(cells[i]) for _, cells in self.fixed) + 1 for i in range(len(self.order)))
        for place, cells in self.fixed:
            self.lines[place] = "".join(c.rjust(w) for c, w in zip(cells, widths, strict=True))
        return widths

    # -- cells -----------------------------------------------------------------------------------

    def _name(self) -> str:
        rng = self.rng
        name = rng.choice(NAMES) if rng.random() < 0.3 else f"{rng.choice('PQTMx')}{rng.randrange(100)}"
        while name in self.used or (self.dialect.comment and name.startswith(self.dialect.comment)):
            name = f"{name}{rng.randrange(10)}"
        self.used.add(name)
        if self.dialect.encoding in ("cp1252", "latin-1"):
            name = name.encode("latin-1", "ignore").decode("latin-1") or "P"
        return name

    def _number(self) -> tuple[str, float]:
        """A number as it is spelled, and its value."""
        rng, dialect = self.rng, self.dialect
        whole, part = str(rng.choice((0, rng.randrange(10), rng.randrange(100000)))), f"{rng.randrange(10**5):05d}"
        part = part[: rng.randrange(0, 6)] + str(rng.randrange(1, 9))
        sign = rng.choice(("", "", "", "-", "-", "+"))
        power = rng.choice((0, 0, 0, 0, rng.randrange(-6, 4)))
        value = float(f"{sign}{whole}.{part}e{power}")
        if dialect.grouping and len(whole) > 3 and rng.random() < 0.7:
            whole = f"{whole[:-3]}{dialect.grouping}{whole[-3:]}"
        exponent = rng.choice((f"e{power}", f"E{power:+03d}", f"D{power:+03d}")) if power or rng.random() < 0.05 else ""
        if sign == "-" and dialect.encoding.startswith("utf") and rng.random() < 0.2:
            sign = "\u2212"
        spelled = f"{sign}{whole}{dialect.decimal}{part}{exponent}"
        blank = " " * rng.randrange(3) if self.mark and rng.random() < 0.1 else ""
        return blank + spelled, value


def _encoded(text: str, declared: str, rng: Random) -> bytes:
    """The bytes of a text in its declared encoding, or in one that tells itself."""
    if declared == "utf-16":
        mark = "" if rng.random() < 0.3 and text[:200].isascii() and len(text) > 20 else "\ufeff"
        return (mark + text).encode(rng.choice(("utf-16-le", "utf-16-be")))
    if declared == "utf-8":
        told = rng.choice(("utf-8", "utf-8", "utf-8", "utf-8-sig", "utf-16", "utf-32"))
        return text.encode(told)
    return text.encode(declared, "replace")
