"""What speaks about where the girder stands, as sources of sums: displacements, temperatures, findings at the feet.

Everything that is told of the stand is a sum over these rows by the weights of the fit; loads on level bolts, which the
findings are compared with, are sums over the masses that the girder carries.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np

from monochord.campaign.found.axes import Axis
from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import Temperature
from monochord.campaign.given.occasion import FootFinding
from monochord.girder.contact import Contact, settle
from monochord.girder.decision import Array, Decision, Task
from monochord.girder.evidence import Unknowns
from monochord.girder.fit import Rows
from monochord.girder.model import Standing, elastic, standing
from monochord.girder.state import Stand
from monochord.ground.trace import Line, Place, Sum, pointer
from monochord.ground.trace_linear import Linear, Source, Teller, part_of, whole

#: Component of a displacement, in words.
ALONG = {"x": "to the left", "y": "up", "z": "along the beam"}


@dataclass(frozen=True, slots=True)
class Told:
    """What is known of where a plan's inputs come from; only for telling, nothing is computed with it.

    points   targets of the reference and of today;  warmth  temperatures of both
    axes     axes that today's offsets are told from, and what stands behind their names in the result ("" or "carried")
    """

    points: tuple[PointSet, PointSet] | None = None
    warmth: tuple[Temperature, Temperature] | None = None
    axes: tuple[tuple[Axis, ...], str] | None = None


#: A load that is a smaller part of all loads is what is left of forces that cancel.
NOTHING = 1e-6
#: Nothing is known of where the inputs come from.
NOTHING_TOLD = Told()


@dataclass(frozen=True, eq=False)
class Planned:
    """A plan with everything that it was made of.

    feet  today's and the reference's findings;  gravity  [m/s2]
    """

    task: Task
    now: Stand
    decision: Decision
    reference: str
    feet: tuple[Sequence[FootFinding], Sequence[FootFinding]]
    gravity: float
    told: Told

    @property
    def of(self) -> Unknowns:
        """What the rows act on."""
        return self.now.unknowns

    @property
    def rows(self) -> Rows:
        """All rows, held feet among them."""
        return self.now.fitted.solution.rows

    @cached_property
    def gain(self) -> Array:
        """How the unknowns follow the rows (p, q)."""
        return self.now.fitted.solution.gain

    @cached_property
    def sources(self) -> list[Source]:
        """The rows as sources, in SI."""
        return sources_of(self, self.rows)

    @cached_property
    def units(self) -> Array:
        """What one SI unit of each source is in the unit of its row (q,)."""
        return units_of(self.rows)

    @cached_property
    def level(self) -> Contact:
        """The girder on level bolts."""
        on = self.task.on
        return settle(on, np.zeros(len(on.names)), on.free.weight)

    def linear(
        self, name: str, unit: str, value: float, row: Array, *, how: str, more: tuple[Line, ...] = ()
    ) -> Linear:
        """A function (p,) of the unknowns, in the number's unit, as a sum over all rows."""
        factors = (row @ self.gain) * self.units
        return Linear(name, unit, value, factors.tolist(), self.sources, how, (*more, *self.quiet(factors)))

    def quiet(self, factors: Array) -> tuple[Line, ...]:
        """Rows that say nothing happened: expected loads, which pull a number towards that of level bolts."""
        count = sum(kind == "expected" for kind in self.rows.kinds)
        places = (Place("", 0, "girder.evidence.SPREAD_NOW"), Place("", 0, "girder.evidence.SPREAD_REFERENCE"))
        words = f"{count} loads expected as on level bolts"
        return (Line(words, 0.0, places=places),) if count and factors.any() else ()


def units_of(rows: Rows) -> Array:
    """Unit of each row of the fit per SI unit of its source: um, kN, and temperature as it is; 0 where nothing was seen."""
    scale = {"target": 1e6, "temperature": 1.0, "expected": 0.0}
    made = [scale.get(kind, 1e-3) for kind in rows.kinds]
    # expected loads are rows of zeros: they pull numbers, and have one line of their own
    growth = [k == "temperature" and s == "scale" for k, s in zip(rows.kinds, rows.subject, strict=True)]
    return np.where(growth, 1e6, np.array(made))


def sources_of(planned: Planned, rows: Rows) -> list[Source]:
    """Rows of a fit as sources, in SI; expected rows are zero and have a line of their own."""
    of, units = planned.of, units_of(rows)
    carriers = {t.name: t.carrier for t in planned.task.girder.targets}
    made = []
    for i, (kind, subject) in enumerate(zip(rows.kinds, rows.subject, strict=True)):
        value = float(rows.value[i] / units[i]) if units[i] else 0.0
        if kind == "target":
            axis = "xyz"[int(rows.design[i, 2 * of.d + 2 : 2 * of.d + 5].argmax())]
            shift = planned.now.fitted.shift
            value = float(shift.value[shift.index(f"{subject}.{axis}")])
            words = f"{subject} {axis}, {ALONG[axis]}"
            made.append(Source(words, value, displacement_name(subject, axis), "m", f"targets on {carriers[subject]}"))
        elif kind == "temperature":
            words = "change of top minus bottom" if subject == "bow" else "growth by temperature"
            made.append(
                Source(words, value, temperature_name(subject), "K" if subject == "bow" else "1", "temperatures")
            )
        elif kind == "bound":
            words = f"{subject}, which cannot pull and carries nothing, less its load on level bolts"
            made.append(Source(words, value, part_of("loads_before", "held", subject), "N", "feet that cannot pull"))
        elif kind == "expected":
            made.append(Source("as expected", 0.0, "", "N", "loads expected"))
        else:
            today = not rows.design[i, : of.d].any()
            where = planned.task.at if today else planned.reference
            words = f"{subject} on {where}, less its load on level bolts"
            made.append(Source(words, value, finding_name(today, subject), "N", f"feet on {where}"))
    return made


def displacement_name(target: str, axis: str) -> str:
    """Name of a target's displacement."""
    return part_of("shape_before", "displacement", target, axis)


def temperature_name(subject: str) -> str:
    """Name of what temperature says: "bow" or "scale"."""
    return part_of("shape_before", "temperature", subject)


def finding_name(today: bool, bolt: str) -> str:
    """Name of a finding at a foot, less its load on level bolts."""
    return part_of("loads_before", "finding", "today" if today else "reference", bolt)


def level_name(bolt: str) -> str:
    """Name of a foot's load on level bolts."""
    return part_of("loads_before", "level", bolt)


def row_tellers(planned: Planned) -> dict[str, Teller]:
    """Tellers of every source, and of the loads on level bolts."""
    table: dict[str, Teller] = {}
    for label in planned.now.fitted.shift.names:
        target, axis = label.rsplit(".", 1)
        table[displacement_name(target, axis)] = whole(partial(_displacement, planned, target, axis))
    for subject in ("bow", "scale"):
        table[temperature_name(subject)] = whole(partial(_temperature, planned, subject))
    for i, name in enumerate(planned.task.on.names):
        table[level_name(name)] = whole(partial(_level, planned, i))
        if planned.now.fitted.bound[i]:
            table[part_of("loads_before", "held", name)] = whole(partial(_held, planned, i))
    for today, findings in zip((True, False), planned.feet, strict=True):
        for finding in findings:
            if finding.bolt in planned.task.on.names:
                table[finding_name(today, finding.bolt)] = whole(partial(_finding, planned, today, finding))
    return table


def _displacement(planned: Planned, target: str, axis: str) -> Sum:
    name, label = displacement_name(target, axis), f"{target}.{axis}"
    shift = planned.now.fitted.shift
    value = float(shift.value[shift.index(label)])
    how = "where it is today less where it was at the reference"
    if planned.told.points is None:
        return Sum(
            name, "m", value, (Line("displacement as handed in", value, places=(Place("", 0, "shape_now"),)),), how
        )
    lines = []
    for sign, occasion, points in zip(
        (-1.0, 1.0), (planned.reference, planned.task.at), planned.told.points, strict=True
    ):
        place = float(points.estimate.value[points.estimate.index(label)])
        of = pointer("occasions", occasion, "targets", target, "xyz", "xyz".index(axis))
        lines.append(Line(f"{target} {axis} on {occasion}", sign * place, of, sign, place, "m"))
    return Sum(name, "m", value, tuple(lines), how)


def _temperature(planned: Planned, subject: str) -> Sum:
    i = next(k for k, s in enumerate(planned.rows.subject) if s == subject and planned.rows.kinds[k] == "temperature")
    value, key = float(planned.rows.value[i] / planned.units[i]), "top_minus_bottom" if subject == "bow" else "mean"
    name, unit = temperature_name(subject), "K" if subject == "bow" else "1"
    read = [getattr(w, key) for w in planned.told.warmth or ()]
    if len(read) < 2 or None in read:
        line = Line(
            "as handed in; zero where it was not read on both occasions",
            value,
            places=(Place("", 0, "temperature.value"),),
        )
        return Sum(name, unit, value, (line,), "change of temperature")
    lines = []
    for sign, occasion, number in zip((-1.0, 1.0), (planned.reference, planned.task.at), read, strict=True):
        of = pointer("occasions", occasion, "temperature", key)
        lines.append(Line(f"{key.replace('_', ' ')} on {occasion}", sign * number, of, sign, number, "K"))
    if subject == "bow":
        return Sum(name, unit, value, tuple(lines), "today less at the reference")
    expansion = planned.task.on.free.beam.expansion
    lines.append(Line("expansion", expansion, places=(Place("", 0, "girder.beam.expansion"),)))
    return Sum(name, unit, value, tuple(lines), "expansion times warming", lambda v: v[2] * (v[0] + v[1]))


def _finding(planned: Planned, today: bool, finding: FootFinding) -> Sum:
    i = planned.task.on.names.index(finding.bolt)
    level = float(planned.of.level[i])
    loose = finding.state == "loose" or finding.load is None
    load = 0.0 if loose or finding.load is None else float(finding.load)
    occasion = planned.task.at if today else planned.reference
    of = "" if loose else pointer("occasions", occasion, "feet", finding.bolt, "load")
    place = Place(finding.file, finding.line, "state" if loose else "load")
    words = f"{finding.bolt} felt {finding.state}: it carries nothing" if loose else f"load read at {finding.bolt}"
    lines = (
        Line(words, load, of, places=(place,)),
        Line("its load on level bolts", -level, level_name(finding.bolt), -1.0, level, "N"),
    )
    return Sum(
        finding_name(today, finding.bolt), "N", load - level, lines, "what was found less what level bolts would give"
    )


def _held(planned: Planned, i: int) -> Sum:
    bolt, level = planned.task.on.names[i], float(planned.of.level[i])
    lines = (
        Line("load of a foot that would have to pull", float(planned.now.loads[i]), relative_load(bolt)),
        Line("its load on level bolts", -level, level_name(bolt), -1.0, level, "N"),
    )
    return Sum(part_of("loads_before", "held", bolt), "N", -level, lines, "nothing, less what level bolts would give")


def relative_load(bolt: str) -> str:
    """Name of a foot's load today."""
    return pointer("loads_before", bolt)[1:]


def _level(planned: Planned, i: int) -> Sum:
    """Load of one foot on level bolts, from the masses that the girder carries."""
    on, contact = planned.task.on, planned.level
    masses, columns = masses_of(planned)
    closed = contact.closed
    value = float(planned.of.level[i])
    if not closed[i] or abs(value) < NOTHING * float(np.abs(planned.of.level).sum()):
        lines = tuple(Line(words, mass, places=(Place("", 0, key),)) for words, key, mass in masses)

        def again(amounts: Sequence[float]) -> float:
            again_on = weighed(planned, amounts)
            return float(settle(again_on, np.zeros(len(on.names)), again_on.free.weight).loads[i])

        return Sum(
            level_name(on.names[i]), "N", value, lines, "the foot hangs on level bolts and carries nothing", again
        )
    per_kg = -on.stiffness[i] * (on.push[i] @ on.solve(closed, columns))
    lines = tuple(mass_lines(planned, per_kg))
    return Sum(
        level_name(on.names[i]), "N", value, lines, "weights on the elastic girder, shared out among level bolts"
    )


def masses_of(planned: Planned) -> tuple[list[tuple[str, str, float]], Array]:
    """Masses [kg or kg/m] with words and key, and the nodal forces of each per unit (6n, k)."""
    free, girder, gravity = planned.task.on.free, planned.task.girder, planned.gravity
    items = [i for i in girder.items if i.mass]
    down = -gravity * free.follow(np.array([i.point for i in items]).reshape(-1, 3))[:, 1].T
    masses = [(f"mass of {i.name}", f"girder.items.{i.name}.mass", i.mass) for i in items]
    beam = free.beam.mass_per_length
    if not beam:
        return masses, down
    own = (free.weight - down @ np.array([i.mass for i in items])) / beam
    return [*masses, ("mass of the girder per length", "girder.beam.mass_per_length", beam)], np.column_stack(
        [down, own]
    )


def weighed(planned: Planned, masses: Sequence[float]) -> Standing:
    """The girder on its bolts with these masses, in the order of :func:`masses_of`."""
    girder, beam = planned.task.girder, planned.task.on.free.beam
    left = list(masses)
    items = tuple(replace(item, mass=left.pop(0)) if item.mass else item for item in girder.items)
    girder = replace(girder, items=items, beam=replace(beam, mass_per_length=left[0] if left else 0.0))
    return standing(girder, elastic(girder, gravity=planned.gravity))


def mass_lines(planned: Planned, factors: Array) -> list[Line]:
    """Masses as lines of a number that follows them by these factors, per kg or per kg/m."""
    return [
        Line(words, float(f) * mass, "", float(f), mass, "kg", (Place("", 0, key),))
        for (words, key, mass), f in zip(masses_of(planned)[0], factors, strict=True)
    ]


def sag_per_mass(planned: Planned) -> Array:
    """Nodes on level bolts per unit of each mass (6n, k)."""
    return planned.task.on.solve(planned.level.closed, masses_of(planned)[1])
