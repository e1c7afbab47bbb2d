"""Text tables read and held against the independent count: nothing lost, nothing bent, everything told."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from random import Random

from evidence.fuzz import lines as plain
from evidence.fuzz import mutate, texts
from monochord.files import cutting
from monochord.files.columns import Form, Rows
from monochord.files.reading import read_rows
from monochord.files.table import DELIMITERS
from monochord.ground.faults import Fault, Gatherer, Refused

FILE = "points.csv"

#: Faults of one column and notes of one kind are named so often; behind them they are counted.
_NAMED = 20


class Came:
    """What came of reading: rows or None, faults, notes."""

    def __init__(self, data: bytes, form: Form, *, streamed: bool = False) -> None:
        self.faults, self.notes = Gatherer(FILE), list[Fault]()
        self.rows = read_rows(io.BytesIO(data) if streamed else data, FILE, form, self.faults, self.notes)

    @property
    def told(self) -> list[Fault]:
        """Everything that a person gets to read."""
        return [*self.faults.faults, *self.notes]


def grown(rng: Random) -> str:
    """A table made by the grammar: every row of data is read as it was written, every other line is counted for what it is."""
    made = texts.made(rng)
    came = Came(made.data, made.form)
    return _sound(made, came) or judged(made.data, made.form, came)


def _sound(made: texts.Made, came: Came) -> str:  # noqa: PLR0911 - one question after the other
    refused, rows = made.count("refused"), came.rows
    if not made.ended and came.faults.faults:
        return ""  # a last line without an end may be taken for cut off
    if rows is None or rows.told is None:
        return f"wrong: a sound table is refused: {came.told[:2]}"
    if came.faults.faults and not refused:
        return f"wrong: a sound table has faults: {came.faults.faults[0]}"
    if refused and not came.faults.faults:
        return f"partial: {refused} rows that do not fit and no fault"
    wanted = [(r.line, plain.name_of(r.name)) for r in made.rows]
    found = list(zip(rows.lines, rows.text["name"], strict=True))
    if found != wanted:
        return f"partial: rows {found} for {wanted}"
    for row, x, y in zip(made.rows, rows.known_all("x"), rows.known_all("y"), strict=True):
        if x != row.x * 1e-3 or y != row.y:
            return f"wrong: {(x, y)} for {(row.x * 1e-3, row.y)} in line {row.line}"
    told = rows.told
    counts = (told.data, told.heads, told.remarks, told.refused, told.blank)
    true = tuple(made.count(kind) for kind in ("data", "head", "remark", "refused", "blank"))
    return "" if counts == true else f"partial: counts {counts} for {true}"


def damaged(rng: Random) -> str:
    """A table made by the grammar and damaged: refused with a reason, or read as the independent count finds it."""
    data, form = damaged_table(rng)
    return judged(data, form, Came(data, form))


def damaged_table(rng: Random) -> tuple[bytes, Form]:
    """A damaged table and its description; now and then that of another laboratory."""
    made = texts.made(rng)
    other = texts.made(rng).data if rng.random() < 0.1 else b""
    data = mutate.damaged(made.data, rng, other)
    if rng.random() < 0.05:
        return data, texts.form_of(replace(texts.dialect_of(rng), widths=(5, 9, 9)), ("point", "x", "y"))
    return data, made.form


def cut_off(rng: Random) -> str:
    """A table that lost its end: whole at a line end, or something is said."""
    made = texts.made(rng)
    data = made.data[: rng.randrange(len(made.data))]
    came = Came(data, made.form)
    wrong = judged(data, made.form, came)
    if wrong or came.rows is None or came.rows.told is None or came.faults.faults:
        return wrong
    try:
        text = data.decode(came.rows.told.encoding)
    except UnicodeError:
        return "partial: half a character at the end and nothing said"
    last = max(text.rfind("\n"), text.rfind("\r"))
    said = any(
        note.line is not None and note.line >= len(plain.lines_of(text.replace("\r\n", "\n"))) for note in came.told
    )
    if text[last + 1 :].strip() and not said and len(came.rows) < len(made.rows):
        return f"partial: cut inside a line ({text[last + 1 :]!r}) and nothing said"
    return ""


def streamed(rng: Random) -> str:
    """A long table read part by part gives what it gives as a whole."""
    made = texts.made(rng, rng.randrange(5, 26))
    data = made.data if rng.random() < 0.3 else mutate.damaged(made.data, rng)
    whole = _tried(data, made.form, streamed=False)
    with _parts_of(rng.choice((64, 150, 400))):
        parts = _tried(data, made.form, streamed=True)
    if isinstance(whole, Refused) or isinstance(parts, Refused):
        return ""
    if any("looks like a marker" in fault.given for fault in (*whole.told, *parts.told)):
        return ""  # that is judged by the rows around, of which a part of some bytes has hardly any
    if whole.rows is None or parts.rows is None or whole.faults.faults or parts.faults.faults:
        silent = bool(whole.faults.faults) != bool(parts.faults.faults)
        if silent and _same_encoding(whole.rows, parts.rows):
            return (
                f"partial: whole and in parts refuse differently: {whole.faults.faults[:1]} {parts.faults.faults[:1]}"
            )
        return ""
    if not _same_encoding(whole.rows, parts.rows):
        return ""
    first, second = _listed(whole.rows), _listed(parts.rows)
    return "" if first == second else f"partial: as a whole {first}, in parts {second}"


def _same_encoding(first: Rows | None, second: Rows | None) -> bool:
    """Whether both were decoded alike: a part has fewer bytes to tell an encoding from."""
    told = [rows.told.encoding if rows is not None and rows.told else "" for rows in (first, second)]
    return told[0] == told[1]


def _listed(rows: Rows) -> tuple[object, ...]:
    told = rows.told
    counts = (told.rows, told.data, told.heads, told.remarks, told.refused, told.blank) if told else ()
    numbers = tuple(value.hex() for key in ("x", "y") if key in rows.number for value in rows.number[key].tolist())
    return list(rows.lines), rows.text, numbers, counts


def _tried(data: bytes, form: Form, *, streamed: bool) -> Came | Refused:
    try:
        return Came(data, form, streamed=streamed)
    except Refused as refusal:
        return refusal


@contextmanager
def _parts_of(size: int) -> Iterator[None]:
    """Parts of so few bytes, so that short texts have many of them."""
    before, cutting.PART = cutting.PART, size
    try:
        yield
    finally:
        cutting.PART = before


# -- the independent count ---------------------------------------------------------------------------------------------


def judged(data: bytes, form: Form, came: Came) -> str:  # noqa: PLR0911 - one question after the other
    """What is wrong with what came of these bytes, "" when nothing is."""
    for fault in came.told:
        if not (fault.given and fault.expected and fault.remedy and fault.file):
            return f"unsaid: {fault!r}"
    rows = came.rows
    if rows is None:
        return "" if came.faults.faults else "partial: no rows and no fault"
    told = rows.told
    if told is None or not told.adds_up:
        return f"partial: counts do not add up: {told}"
    if told.data != len(rows):
        return f"partial: {told.data} rows of data told, {len(rows)} given"
    if told.refused and not came.told:
        return "partial: rows refused in silence"
    if any("decoded wrongly once" in note.remedy for note in came.notes):
        return ""  # what was repaired may have ended lines
    text = plain.text_of(data, told.encoding)
    return "" if text is None else _counted(text, form, came, rows)


def _counted(text: str, form: Form, came: Came, rows: Rows) -> str:
    dialect, told = form.dialect, rows.told
    assert told is not None
    lines = plain.lines_of(text)
    mark = "" if dialect.delimiter in ("spaces", "fixed") else DELIMITERS.get(dialect.delimiter, dialect.delimiter)
    shift = 1 if lines and lines[0].casefold().startswith(("sep=", '"sep=')) else 0
    if len(lines) < dialect.header_line:
        return f"partial: {len(lines)} lines read as a table whose names stand in line {dialect.header_line}"
    if shift or (mark and dialect.header_line and lines[dialect.header_line - 1].count('"') % 2):
        return ""  # whether names run over lines is for the product to say
    records = plain.records_of(lines, mark, dialect.first_data_line, dialect.comment)
    spare = sum(r.span - 1 for r in records if r.cells is not None)
    if told.rows + told.blank != len(lines) - spare:
        return f"partial: {told.rows} rows and {told.blank} blank ones told of {len(lines) - spare} lines"
    return _silent(lines, records, form, came, rows) or (_values(lines, records, form, came, rows) if mark else "")


def _silent(lines: list[str], records: list[plain.Record], form: Form, came: Came, rows: Rows) -> str:
    """Lines with something in them that are no data and of which nobody was told."""
    said, comment = {fault.line for fault in came.told}, form.dialect.comment
    if len(came.told) > _NAMED or any("more like it" in fault.given for fault in came.told):
        return ""  # they are counted from there on
    used = set(rows.lines)
    for record in records:
        if record.line in used or record.blank or record.line in said:
            continue
        if comment and lines[record.line - 1].startswith(comment):
            continue
        return f"partial: line {record.line} {lines[record.line - 1]!r} is lost in silence"
    return ""


def _values(lines: list[str], records: list[plain.Record], form: Form, came: Came, rows: Rows) -> str:  # noqa: PLR0911 - one question after the other
    """Values of every row of data against the cells of its line."""
    dialect = form.dialect
    mark = DELIMITERS.get(dialect.delimiter, dialect.delimiter)
    head = plain.records_of(lines[: dialect.header_line], mark, dialect.header_line)
    if len(head) != 1 or head[0].cells is None:
        return ""
    names = [plain.name_of(c) for c in head[0].cells]
    if any(names.count(title) != 1 for title in ("point", "x", "y")):
        return ""
    places = [names.index(title) for title in ("point", "x", "y")]
    cells_of = {r.line: r.cells for r in records}
    xs, ys = rows.known_all("x"), rows.known_all("y")
    for line, name, x, y in zip(rows.lines, rows.text["name"], xs, ys, strict=True):
        cells = cells_of.get(line)
        if cells is None or len(cells) <= max(places):
            return f"wrong: line {line} is data and has {cells}"
        own = [cells[p] for p in places]
        if name != plain.name_of(own[0]):
            return f"wrong: name {name!r} for {own[0]!r} in line {line}"
        for cell, value, factor in ((own[1], x, 1e-3), (own[2], y, 1.0)):
            wanted = plain.number_of(cell, dialect.decimal, dialect.grouping)
            if (wanted is None) != (value is None):
                return f"wrong: {value} for {cell!r} in line {line}"
            if wanted is not None and value is not None and value != wanted * factor and not math.isinf(value):
                return f"wrong: {value!r} for {cell!r} in line {line}"
    return ""
