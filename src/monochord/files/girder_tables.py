"""From a laboratory's girder tables to the girder's own file: places in the girder frame, units in the numbers.

The strength of a magnet becomes the derivative of By along the girder's x, whatever the laboratory's
axes and habit. What a table does not say is asked for by name, or noted when the work can go on.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from monochord.campaign.given.girder import ORDERS
from monochord.files.amounts import spell
from monochord.files.axes import direction_word
from monochord.files.columns import Rows
from monochord.files.lab import Lab
from monochord.files.names import alike, hint
from monochord.files.spreadsheet_names import looks_like_date
from monochord.files.words import did_you_mean, near
from monochord.ground import units
from monochord.ground.faults import Fault, Gatherer, Refused

#: Unit of the (N-1)-th derivative of By by order N.
STRENGTH_UNITS = {1: "T", 2: "T/m", 3: "T/m2", 4: "T/m3"}

Table = dict[str, object]


@dataclass(slots=True)
class GirderTables:
    """What the tables said.

    asked   what they did not say and must be given, by its place in the girder's file
    origin  place in the girder's file, such as "items.Q1" -> file and line of the laboratory's table
    """

    items: Table = field(default_factory=dict)
    targets: Table = field(default_factory=dict)
    bolts: Table = field(default_factory=dict)
    wire_ends: Table = field(default_factory=dict)
    asked: dict[tuple[str, str, str], Fault] = field(default_factory=dict)
    origin: dict[str, tuple[str, int | None]] = field(default_factory=dict)
    notes: list[Fault] = field(default_factory=list)


def girder_tables(rows: Mapping[str, Rows], lab: Lab, faults: Gatherer) -> GirderTables:
    """The girder's own tables as entries of a girder file; rows by role."""
    out = GirderTables()
    makers = {
        "magnets": ("items", _items),
        "targets": ("targets", _targets),
        "bolts": ("bolts", _bolts),
        "wire_ends": ("wire_ends", _wire_ends),
    }
    for role, (table, make) in makers.items():
        if role in rows:
            make(_Work(rows[role], lab, out, faults))
            out.origin[table] = (rows[role].file, None)
            for name, line in zip(rows[role].text["name"], rows[role].lines, strict=True):
                out.origin[f"{table}.{name}"] = (rows[role].file, line)
    return out


@dataclass(frozen=True, slots=True)
class _Work:
    """One table on its way into the girder's file."""

    rows: Rows
    lab: Lab
    out: GirderTables
    faults: Gatherer

    def fault(self, row: int, key: str, given: str, expected: str, remedy: str) -> None:
        rows = self.rows
        column = rows.names.get(key)
        self.faults.add(given, expected, remedy, file=rows.file, line=rows.lines[row], column=column)

    def note(self, row: int, key: str, given: str, expected: str, remedy: str) -> None:
        rows = self.rows
        self.out.notes.append(Fault(given, expected, remedy, rows.file, rows.lines[row], rows.names.get(key)))

    def ask(self, row: int, name: str, entry: str, example: str) -> None:
        key = f"items.{name}.{entry}"
        fault = Fault(
            f"no word about the {entry} of {name}",
            "it",
            f'give it by --set {key}="{example}"',
            self.rows.file,
            self.rows.lines[row],
            self.rows.names.get(entry),
        )
        self.out.asked["items", name, entry] = fault


def _names(work: _Work) -> list[str]:
    names = work.rows.text["name"]
    first: dict[str, int] = {}
    for row, name in enumerate(names):
        if name in first:
            remedy = f"remove or rename one of them; the first stands in line {first[name]}"
            work.fault(row, "name", f"{name!r} twice", "each name once", remedy)
        first.setdefault(name, work.rows.lines[row])
    _doubtful(work, list(first))
    return names


def _doubtful(work: _Work, names: list[str]) -> None:
    """Notes about names that a spreadsheet may have made, and about two of one list that are easily taken for each other."""
    rows = work.rows.text["name"]
    for name in names:
        if looks_like_date(name):
            remedy = "names are kept as they stand; see whether a spreadsheet turned them into dates"
            work.note(rows.index(name), "name", f"{name!r}, which looks like a date", "a name", remedy)
    for i, name in enumerate(names):
        for other in names[:i]:
            if (why := alike(other, name)) and "exchanged" not in why:
                remedy = "they are two names; make them differ more, so that nobody takes one for the other"
                work.note(rows.index(name), "name", f"{name!r} beside {other!r}: {why}", "names that differ", remedy)


def _place(point: tuple[float, float, float]) -> Table:
    return {letter: spell(value, "mm") for letter, value in zip("xyz", point, strict=True)}


def _items(work: _Work) -> None:
    rows = work.rows
    points = work.lab.axes.points(rows).tolist()
    for row, name in enumerate(_names(work)):
        kind = rows.text["kind"][row]
        entry: Table = {"kind": kind, **_place(points[row])}
        if (length := rows.known("length", row)) is not None:
            entry["length"] = spell(length, "mm")
        if kind in ORDERS:
            _magnet(work, name, row, entry)
        elif near(kind, ORDERS, cutoff=0.8):
            remedy = f"{did_you_mean(kind, ORDERS)}mend the cell, or map the word in the lab description"
            work.fault(row, "kind", f"kind {kind!r}", ", ".join(ORDERS), remedy)
        else:
            remedy = "taken as an item without a magnetic axis; map the word in the lab description if it is a magnet"
            work.note(row, "kind", f"kind {kind!r} of {name}", ", ".join(ORDERS), remedy)
        if (mass := rows.known("mass", row)) is not None:
            entry["mass"] = spell(mass, "kg")
        work.out.items[name] = entry


def _magnet(work: _Work, name: str, row: int, entry: Table) -> None:
    rows, order = work.rows, ORDERS[str(entry["kind"])]
    wanted = STRENGTH_UNITS[order]
    if "length" not in entry:
        work.ask(row, name, "length", "... mm")
    entry["at_current"] = spell(work.lab.root.node("strength").amount("at_current", "current", 1.0), "A")
    value = rows.known("strength", row)
    if value is None:
        work.ask(row, name, "strength", f"... {wanted}")
        return
    told = rows.text.get("strength.unit")
    try:
        unit = units.unit(told[row] if told else _one_unit(work.lab), dimension=units.unit(wanted).dimension)
    except Refused as refusal:
        f = refusal.faults[0]
        key = "strength.unit" if told else "strength"
        work.fault(row, key, f"{f.given} for the {entry['kind']} {name}", f.expected, f.remedy)
        return
    si = unit.to_si(value) if told else value
    entry["strength"] = spell(si * _to_derivative(order, work.lab), wanted)


def _one_unit(lab: Lab) -> str:
    column = next(c for c in lab.forms["magnets"].columns if c.key == "strength")
    return column.unit.name if column.unit else ""


def _to_derivative(order: int, lab: Lab) -> float:
    """Factor from the laboratory's strength to the derivative of By along the girder's x.

    A coefficient c of By = c x^(N-1) has the derivative (N-1)! c; each turned axis turns the sign.
    """
    factor = float(math.factorial(order - 1)) if lab.root.node("strength").text("means") == "coefficient" else 1.0
    for letter in "xyz":
        house, sign = lab.axes.house(letter)
        if house == "x":
            factor *= sign ** (order - 1)
        elif house == "y":
            factor *= sign
    return factor


def _targets(work: _Work) -> None:
    rows, points = work.rows, work.lab.axes.points(work.rows).tolist()
    carriers = ["girder", "wall", *work.out.items]
    for row, name in enumerate(_names(work)):
        carrier = rows.text["carrier"][row]
        if carrier not in carriers:
            remedy = f"{hint(carrier, carriers)}mend the cell, or add the item to the table of magnets"
            given = f"carrier {carrier!r} of target {name}"
            work.fault(row, "carrier", given, "girder, wall or an item", remedy)
        work.out.targets[name] = {"carrier": carrier, **_place(points[row])}


def _bolts(work: _Work) -> None:
    rows, points = work.rows, work.lab.axes.points(work.rows).tolist()
    turned = work.lab.root.node("tables").node("bolts").text("positive_turn") == "against the direction"
    hands = rows.text.get("right_handed", [""] * len(rows))
    for row, name in enumerate(_names(work)):
        said = rows.text["direction"][row]
        vector = work.lab.axes.direction(said)
        if vector is None:
            remedy = "mend the cell, or map the word in the lab description"
            work.fault(row, "direction", f"direction {said!r}", "an axis letter", remedy)
            continue
        if turned:
            vector = (-vector[0] + 0.0, -vector[1] + 0.0, -vector[2] + 0.0)
        entry: Table = {"direction": direction_word(vector), **_place(points[row])}
        entry["thread_pitch"] = spell(float(rows.number["thread_pitch"][row]), "mm/turn")
        if (travel := rows.known("travel", row)) is not None:
            entry["travel"] = spell(travel, "mm")
        entry["one_sided"] = rows.text["one_sided"][row] == "yes"
        if hands[row]:
            entry["right_handed"] = hands[row] == "yes"
        work.out.bolts[name] = entry


def _wire_ends(work: _Work) -> None:
    vectors, names = work.lab.axes.points(work.rows).tolist(), _names(work)
    if len(names) != 2:
        remedy = "one row for each end of the wire"
        work.faults.add(f"{len(names)} wire ends", "two", remedy, file=work.rows.file)
        return
    order, wire = work.lab.root.node("tables").node("wire_ends").text("order"), work.lab.root.node("wire")
    start = wire.amount("upstream_support", "length")
    supports = [start, start + wire.amount("length", "length")]
    along = work.rows.number.get("along_beam")
    if order == "upstream first":
        places = supports
    elif order == "downstream first":
        places = supports[::-1]
    elif along is None:
        given = "no column along_beam"
        work.faults.add(given, "the place of each end", "name it in the lab description", file=work.rows.file)
        return
    else:
        places = (along * work.lab.axes.along[1]).tolist()
    for row in sorted(range(2), key=lambda r: places[r]):
        x, y, z = vectors[row]
        entry: Table = {"to_wire_x": spell(x, "mm"), "to_wire_y": spell(y, "mm"), "to_wire_z": spell(z, "mm")}
        work.out.wire_ends[names[row]] = {**entry, "z": spell(places[row], "mm")}
