"""The shape of a table: delimiter, remarks, names, units, where data begin, and totals, each with its evidence.

A delimiter counts when all data rows have the same number of cells, the names as many, and numbers stand where
numbers should be. Where two delimiters do that equally well, both are told.
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from monochord.files.decode import repaired
from monochord.files.draft.cells import kind, look
from monochord.files.draft.findings import Choice
from monochord.files.draft.words import TOTALS, dimension_of
from monochord.files.table import SUMMARIES

#: Delimiters that are tried; what they are called in a description and in words.
MARKS = {";": ";", "tab": "\t", ",": ",", "|": "|", "spaces": " "}

_TOTAL = "a total: "
_COMMENTS = ("#", "%", "!", "//", "*", "--")


@dataclass(frozen=True, slots=True)
class Shape:
    """A table cut into columns as it seems to be meant.

    lines    1-based line of every row;  columns  cells by column
    header_line, unit_line  1-based, 0 for none;  data_from  1-based line of the first row
    apart    lines that are no data and stand among or below it, with what they hold
    totals   names of rows that add up, beyond the words the reader knows
    fit      (names fit, share of rows that fit, share of columns that are all numbers or all times)
    """

    delimiter: str
    header: tuple[str, ...]
    units: tuple[str, ...]
    columns: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    header_line: int
    unit_line: int
    data_from: int
    comment: str = ""
    widths: tuple[int, ...] = ()
    apart: tuple[tuple[int, str], ...] = ()
    totals: tuple[str, ...] = ()
    fit: tuple[bool, float, float] = (False, 0.0, 0.0)
    why: dict[str, str] = field(default_factory=dict)
    rivals: tuple[Choice, ...] = ()


def shape(text: str, delimiter: str = "") -> Shape | None:
    r"""The table in a text; None when there is none.

    delimiter  an answer that was given; else all are tried

    >>> found = shape("id;note;dx\n1;['a', 'b'];0,12\n2;['c', 'd'];0,15\n")
    >>> (found.delimiter, found.header, found.columns[2]) if found else None
    (';', ('id', 'note', 'dx'), ('0,12', '0,15'))
    """
    lines = text.split("\n")
    comment = _comment(lines)
    tried = [s for name in MARKS if delimiter in ("", name) and (s := _cut(lines, name, comment)) is not None]
    tried.sort(key=lambda s: s.fit, reverse=True)
    good = [s for s in tried if s.fit[0] and s.fit[1] >= 0.8]
    if not good and delimiter in ("", "fixed"):
        fixed = _fixed(lines, comment)
        good = [fixed] if fixed is not None else []
    good = good or [s for s in tried if s.fit[1] >= 0.95 and s.fit[2] > 0.0]
    if not good:
        return None
    best = good[0]
    equal = [s for s in good if s.fit[0] == best.fit[0] and s.fit[1] > 0.99 * best.fit[1] and s.fit[2] >= best.fit[2]]
    if len(equal) == 1:
        return best
    return replace(best, rivals=tuple(Choice(s.delimiter, f"then a row has {_row(s)}") for s in equal))


def _row(found: Shape) -> str:
    return " and ".join(repr(column[0].strip()) for column in found.columns)


def _comment(lines: Sequence[str]) -> str:
    """The mark of remark lines: one of the usual ones that begins the first line but no row like the last ones."""
    filled = [line for line in lines if line.strip()]
    for mark in _COMMENTS:
        if filled and filled[0].startswith(mark) and not filled[-1].startswith(mark):
            return mark
    return ""


def _pieces(line: str, name: str) -> list[str]:
    if name == "spaces":
        return line.split()
    if '"' in line:
        return next(csv.reader([line], delimiter=MARKS[name]), [])
    return line.split(MARKS[name])


def _cut(lines: Sequence[str], name: str, comment: str) -> Shape | None:
    if name == "spaces" and any("\t" in line for line in lines):
        return None
    rows = [
        (number, _pieces(line, name))
        for number, line in enumerate(lines, start=1)
        if line.strip() and not (comment and line.startswith(comment))
    ]
    return _settle(rows, name, comment)


def _settle(rows: list[tuple[int, list[str]]], name: str, comment: str) -> Shape | None:
    """Names, units and data among rows that are cut; the rows' commonest width is the table's."""
    widths = Counter(len(cells) for _, cells in rows)
    if not rows or (wide := max(widths, key=lambda n: (widths[n], n))) < 2:
        return None
    if all(len(c) < wide or not c[-1].strip() for _, c in rows):  # a delimiter at the end of each line
        rows = [(n, c[: wide - 1] if len(c) == wide else c) for n, c in rows]
        wide -= 1
    alike = [(number, cells) for number, cells in rows if len(cells) == wide]
    if wide < 2:
        return None
    first = _first(alike)
    if first is None:
        return None
    above = [(number, cells) for number, cells in rows if number < alike[first][0]]
    header_line, header, unit_line, units = _heads(above, alike[first:], wide)
    body, apart, totals = _body(rows, alike[first][0], wide, header)
    if not body:
        return None
    columns = tuple(tuple(cells[i] for _, cells in body) for i in range(wide))
    shares = [kind(column) in ("n", "t", "a") for column in columns]
    unexplained = [words for _, words in apart if any(ch.isdigit() for ch in words) and not words.startswith(_TOTAL)]
    share = len(body) / (len(body) + (len(unexplained) if len(body) >= len(apart) else len(apart)))
    fit = (bool(header), share, sum(shares) / wide)
    begins = body[0][0]
    why = {
        "delimiter": f"{len(body)} rows of {wide} cells each, {sum(shares)} columns all numbers or times",
        "header_line": f"names {', '.join(header[:4])}..." if wide > 4 else f"names {', '.join(header)}",
        "unit_line": f"units {', '.join(u for u in units if u)}",
        "data_from": f"line {begins} is the first like all the rest",
        "comment": f"line {_first_remark(rows)} and before begin so",
    }
    names = header or tuple(str(i + 1) for i in range(wide))
    return Shape(
        name, names, units, columns, tuple(n for n, _ in body), header_line, unit_line, begins, comment,
        apart=apart, totals=totals, fit=fit, why=why,
    )  # fmt: skip


def _first_remark(rows: Sequence[tuple[int, list[str]]]) -> int:
    return max(rows[0][0] - 1, 1)


def _first(alike: Sequence[tuple[int, list[str]]]) -> int | None:
    """Place of the first row of data: the first whose cells look like those of most rows."""
    looks = [tuple(look(c) for c in cells) for _, cells in alike]
    numeric = [s for s in looks if set(s) & set("nta")]
    if not numeric:
        return 1 if len(alike) > 1 else None
    usual = Counter(numeric).most_common(1)[0][0]
    for place, seen in enumerate(looks):
        pairs = [(a, b) for a, b in zip(seen, usual, strict=True) if "e" not in (a, b)]
        if pairs and any(a in "nta" for a, _ in pairs) and sum(a == b for a, b in pairs) >= 0.75 * len(pairs):
            return place
    return None


def _heads(
    above: Sequence[tuple[int, list[str]]], alike: Sequence[tuple[int, list[str]]], wide: int
) -> tuple[int, tuple[str, ...], int, tuple[str, ...]]:
    """Lines and cells of names and units among the lines above the data."""
    numeric = [i for i in range(wide) if kind([c[i] for _, c in alike[:50]]) in ("n", "t")]
    names: tuple[int, tuple[str, ...]] = (0, ())
    units: tuple[int, tuple[str, ...]] = (0, ())
    for number, raw in above:
        cells = [repaired(c.strip().strip('"').strip()) for c in raw]
        while len(cells) > wide and not cells[-1]:
            cells.pop()
        if len(cells) != wide or any(look(c) == "n" for c in cells):
            continue
        known = sum(1 for i in numeric if dimension_of(cells[i].strip("[]()")))
        if names[0] and numeric and known >= max(1, len(numeric) / 2) and known >= sum(bool(c) for c in cells) / 3:
            units = (number, tuple(c.strip("[]()") for c in cells)) if not units[0] else units
        elif not names[0] and all(cells) and len(set(cells)) == wide:
            names = (number, tuple(cells))
    return *names, *units


def _body(
    rows: Sequence[tuple[int, list[str]]], begins: int, wide: int, header: Sequence[str]
) -> tuple[list[tuple[int, list[str]]], tuple[tuple[int, str], ...], tuple[str, ...]]:
    """Rows of data, and lines among and below them that are none: remarks, totals, repeated names."""
    body: list[tuple[int, list[str]]] = []
    apart: list[tuple[int, str]] = []
    totals: list[str] = []
    for number, raw in rows:
        if number < begins:
            continue
        cells = raw[:wide] if len(raw) > wide and not any(c.strip() for c in raw[wide:]) else raw
        first = cells[0].strip().casefold().rstrip(":")
        if first in TOTALS:
            apart.append((number, f"{_TOTAL}{' '.join(cells)}"))
            if first not in SUMMARIES:
                totals.append(cells[0].strip())
        elif len(cells) != wide or [c.strip() for c in cells] == list(header):
            apart.append((number, " ".join(cells).strip()[:60]))
        else:
            body.append((number, cells))
    return body, tuple(apart), tuple(dict.fromkeys(totals))


def _fixed(lines: Sequence[str], comment: str) -> Shape | None:
    """Fields of fixed width: cuts behind digits that stand one below the other, where the next field may begin."""
    rows = [
        (number, line.rstrip())
        for number, line in enumerate(lines, start=1)
        if line.strip() and not (comment and line.startswith(comment))
    ]
    longest = Counter(len(line) for _, line in rows)
    if not rows:
        return None
    usual = longest.most_common(1)[0][0]
    block = [(number, line) for number, line in rows if len(line) == usual and any(c.isdigit() for c in line)]
    if len(block) < 2:
        return None
    ends = [p + 1 for p in range(usual) if all(_ends(line, p) for _, line in block)]
    names = max(len(line) - len(line.lstrip()) + len(line.split()[0]) for _, line in block)
    cuts = [0, *([names] if ends and names < ends[0] else []), *ends]
    if len(cuts) < 3 or cuts[-1] != usual:
        return None
    widths = tuple(b - a for a, b in pairwise(cuts))
    cells = [(n, [line[a:b] for a, b in pairwise(cuts)]) for n, line in rows if len(line) <= usual]
    found = _settle(cells, "fixed", comment)
    if found is None:
        return None
    why = {
        **found.why,
        "delimiter": f"digits end below each other at {', '.join(map(str, ends))} in {len(block)} lines",
    }
    return replace(found, widths=widths, why=why)


def _ends(line: str, place: int) -> bool:
    behind = line[place + 1 : place + 2]
    return line[place].isdigit() and (not behind or behind in " -+")
