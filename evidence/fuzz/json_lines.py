"""JSON lines read and held against the standard parser: every line is an object that is read whole, or a fault."""

from __future__ import annotations

import json
from decimal import Decimal
from random import Random

from evidence.fuzz import lines as plain
from evidence.fuzz import mutate, texts
from evidence.fuzz.tables import FILE, Came
from monochord.files.columns import Form
from monochord.files.decode import encoding_of
from monochord.files.formats.asked import Kept
from monochord.files.table import Dialect

_NUMBERS = ("1", "-0.5", "1e-3", "2.50", "12345.6789", "0", "-0.0", "1E5", "null", '"3.5"', '"-"')


def _dialect(rng: Random) -> Dialect:
    return Dialect(encoding="utf-8", comment=rng.choice(("", "#")), decimal=rng.choice((".", ".", ",")))


def _text(rng: Random, comment: str) -> str:
    lines = []
    for _ in range(rng.randrange(1, 8)):
        how = rng.random()
        if how < 0.06:
            lines.append("")
        elif how < 0.1 and comment:
            lines.append("# by hand")
        else:
            pairs = [
                f'"point": {json.dumps(rng.choice(texts.NAMES), ensure_ascii=rng.random() < 0.5)}',
                f'"at": {{"x": {rng.choice(_NUMBERS)}, "y": {rng.choice(_NUMBERS)}}}',
                f'"note": {rng.choice(("true", "[1, 2]", "{}", chr(34) * 2, "null", "[]"))}',
            ]
            rng.shuffle(pairs)
            lines.append("{" + ", ".join(pairs[: rng.choice((2, 3, 3, 3))]) + "}")
    return "\n".join(lines) + ("\n" if rng.random() < 0.9 else "")


def damaged(rng: Random) -> str:
    """Lines by grammar, most of them damaged."""
    dialect = _dialect(rng)
    data = _text(rng, dialect.comment).encode(rng.choice(("utf-8", "utf-8", "utf-8-sig", "utf-16")))
    if rng.random() < 0.8:
        data = mutate.damaged(data, rng)
    form = texts.form_of(dialect, ("point", "at.x", "at.y"))
    form = Form(form.role, dialect, form.columns, form.passed_over, kept=Kept("json lines"))
    return _judged(data, form, Came(data, form))


def _judged(data: bytes, form: Form, came: Came) -> str:  # noqa: PLR0911 - one question after the other
    if came.rows is None:
        return "" if came.faults.faults else "partial: no rows and no fault"
    told = came.rows.told
    if told is None or not told.adds_up or told.data != len(came.rows):
        return f"partial: counts do not add up: {told}"
    text = plain.text_of(data, encoding_of(data, FILE, "utf-8")[0])
    if text is None or any("decoded wrongly once" in note.remedy for note in came.notes):
        return ""
    lines, comment = plain.lines_of(text), form.dialect.comment
    if told.rows + told.blank != len(lines):
        return f"partial: {told.rows} rows and {told.blank} blank ones told of {len(lines)} lines"
    filled = {i: line for i, line in enumerate(lines, start=1) if line.strip()}
    used, said = dict(zip(came.rows.lines, range(len(came.rows)), strict=True)), {f.line for f in came.told}
    for number, line in filled.items():
        if number not in used:
            if number not in said and not (comment and line.startswith(comment)) and not _empty(line):
                return f"partial: line {number} {line!r} is lost in silence"
            continue
        try:
            value = json.loads(line, parse_float=str, parse_int=str)
        except (ValueError, RecursionError):
            return f"wrong: line {number} {line!r} is read and is no JSON"
        if wrong := _values(value, came, used[number], form):
            return f"{wrong} in line {number}"
    return ""


def _empty(line: str) -> bool:
    """Whether an object has no value in it, as a blank row of a table has none."""
    try:
        return not any(cell.strip() for _, cell in _flat("", json.loads(line)))
    except (ValueError, RecursionError):
        return False


def _values(value: object, came: Came, row: int, form: Form) -> str:
    assert came.rows is not None
    flat = dict(_flat("", value))
    if "name" not in came.rows.text:
        return "" if came.faults.faults else "partial: no column of names and no fault"
    name = came.rows.text["name"][row]
    if name != plain.name_of(str(flat.get("point", ""))):
        return f"wrong: name {name!r} for {flat.get('point')!r}"
    for key, factor in (("x", 1e-3), ("y", 1.0)):
        found, cell = came.rows.known(key, row), flat.get(f"at.{key}", "")
        decimal = form.dialect.decimal
        if _is_number(cell):
            cell = cell.replace(".", decimal)
        wanted = plain.number_of(cell, decimal, "")
        if (found is None) != (wanted is None) or (
            found is not None and wanted is not None and found != wanted * factor
        ):
            return f"wrong: {found} for {cell!r}"
    return ""


def _flat(path: str, value: object) -> list[tuple[str, str]]:
    if isinstance(value, dict):
        return [pair for key, item in value.items() for pair in _flat(f"{path}.{key}" if path else key, item)]
    if isinstance(value, list):
        return [pair for place, item in enumerate(value) for pair in _flat(f"{path}.{place}", item)]
    return [(plain.name_of(path), "" if value is None else str(value))]


def _is_number(cell: str) -> bool:
    try:
        Decimal(cell)
    except ArithmeticError:
        return False
    return True
