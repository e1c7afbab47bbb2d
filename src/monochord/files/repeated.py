"""Rows whose name comes twice in a table where each name stands for one thing: refused, unless a rule is declared.

The rule is ``repeated`` of the table: the first row counts, or the last one; of turns also their sum. What a
rule leaves out is noted with its line.
"""

from __future__ import annotations

from monochord.files.columns import Form, Rows
from monochord.ground.faults import Fault, Gatherer

#: What names one row of a role; "" stands for a column without which the rule does not apply.
IDENTITY: dict[str, tuple[str, ...]] = {
    "magnets": ("name",),
    "targets": ("name",),
    "bolts": ("name",),
    "wire_ends": ("name",),
    "feet": ("bolt",),
    "turns": ("bolt",),
    "temperatures": ("sensor",),
    "sightings": ("station", "target", "round"),
}

#: Roles whose own reading refuses a name that comes twice.
_TOLD_ELSEWHERE = ("magnets", "targets", "bolts", "wire_ends", "feet", "turns")


def once_each(rows: Rows, form: Form, faults: Gatherer, notes: list[Fault]) -> Rows:
    """The rows with each name once, by the declared rule; a fault for each name that comes again without a rule."""
    identity = IDENTITY.get(form.role, ())
    timed = form.role == "temperatures" and "time" in rows.number
    if not identity or timed or any(key not in rows for key in identity):
        return rows
    again = _again(rows, identity)
    if not again or (not form.repeated and form.role in _TOLD_ELSEWHERE):
        return rows
    column = rows.names[identity[-1]]
    out: set[int] = set()
    for name, places in again.items():
        lines = ", ".join(str(rows.lines[p]) for p in places)
        given, words = f"{name!r} in lines {lines}", "each once"
        if not form.repeated:
            remedy = 'remove or rename all but one, or declare repeated = "first" or "last" for the table'
            faults.add(given, words, remedy, file=rows.file, line=rows.lines[places[1]], column=column)
            continue
        kept = places[-1] if form.repeated == "last" else places[0]
        left = [p for p in places if p != kept]
        if form.repeated == "sum":
            rows.number["turns"][kept] = float(rows.number["turns"][places].sum())
            said = f"added up in line {rows.lines[kept]}, as the description declares"
        else:
            said = f"line {rows.lines[kept]} counts, as the description declares"
        notes.append(Fault(given, words, said, rows.file, rows.lines[left[0]], column))
        out.update(left)
    return rows.only([i for i in range(len(rows)) if i not in out]) if out else rows


def _again(rows: Rows, identity: tuple[str, ...]) -> dict[str, list[int]]:
    """Names that come more than once, with their places."""
    parts = [rows.text[k] if k in rows.text else [f"{v:g}" for v in rows.number[k].tolist()] for k in identity]
    names = list(map(" ".join, zip(*parts, strict=True))) if len(parts) > 1 else parts[0]
    if len(set(names)) == len(names):
        return {}
    places: dict[str, list[int]] = {}
    for place, name in enumerate(names):
        places.setdefault(name, []).append(place)
    return {name: found for name, found in places.items() if len(found) > 1}
