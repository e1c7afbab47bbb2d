"""Two occasions compared: what is rigid motion, scale and temperature, what is shape, and what moved by itself.

One linear least squares over all common targets and, where both occasions have them, all axes, with the joint covariance
of both occasions and with what is known beforehand of shapes and clamps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from monochord.campaign.found.axes import Axis
from monochord.campaign.found.comparison import Comparison, ShapeBasis, ShapePart
from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import Temperature
from monochord.campaign.given.girder import Girder
from monochord.ground.estimate import Label
from monochord.ground.frames import Rigid, rotation_from_vector
from monochord.survey.closure import closure_of
from monochord.survey.compare_creep import AS_TOLD, creep_parts, creeping, crept, with_creep
from monochord.survey.compare_data import Change, gather_change
from monochord.survey.compare_fit import Fit, fit_model
from monochord.survey.compare_gates import all_gates, scale_words
from monochord.survey.compare_model import MOVES, Clamp, Model, build_model, riding, targets_only
from monochord.survey.compare_moves import Outcome, item_words, outcome, own_moves, target_moves
from monochord.survey.compare_search import search
from monochord.survey.compare_shape import Span, bow_basis, default_basis, joined, leftover_basis
from monochord.survey.compare_unfold import Evidence, Ground, unfolding
from monochord.survey.compare_unfold_closure import Closing
from monochord.survey.compare_words import bow_words, sentence, shape_words, stretch_words
from monochord.survey.network import Array
from monochord.survey.sizes import NO_STRETCH, Stretch

#: Creep of a clamped magnet between two occasions, one standard deviation an axis: 3 um, and what that does over 0.2 m.
#: Common practice, no source.
CLAMP = Clamp(3e-6, 15e-6)


def compare(  # noqa: PLR0917 - two occasions, each with its name, targets and axes
    start: str,
    end: str,
    a: PointSet,
    b: PointSet,
    axes_a: Sequence[Axis] | None,
    axes_b: Sequence[Axis] | None,
    girder: Girder,
    *,
    stretch: Stretch = NO_STRETCH,
    bow: tuple[float, float] | None = None,
    basis: ShapeBasis | None = None,
    clamp: Clamp | None = None,
    same_stringing: bool = False,
    level: float = 0.05,
    warmth: tuple[Temperature, Temperature] | None = None,
) -> Comparison:
    """What changed from one occasion to another.

    b - a = rigid motion + range scale + stretch + shape + own moves of bodies and of targets + noise

    start, end   names of the occasions;  a, b  their targets, girder frame
    axes_a, axes_b   their axes in the girder frame of the same occasion, or None: then targets alone speak
    stretch      real change of size, relative, end against start;  bow  change of top minus bottom [K] and its u, or None
    basis        shapes of an elastic model of this girder; without one, cubic beams on its bolts and Legendre polynomials
    clamp        how far a magnet that did not slip may have crept: the girder's own when None, and where nobody told it the
                 widest that is common, of which the data say how much there was;  same_stringing  the wire was not strung anew
    level        chance to say that anything moved when nothing did
    warmth       temperatures of the start and the end from which stretch and bow come, to be told when somebody asks why

    Own moves are relative to the girder's fitted shape, given at the axis; magnets ride on the section at their own z.
    Positive sizes: hogged, bent to the left, twisted from x towards y along the beam.

    Raises Refused with fewer than four common targets on the girder and its magnets.

    Source: derived; weights by Aitken 1935, priors by Henderson 1975 (from memory); the decomposition is common practice.

    >>> from monochord.ground.estimate import Estimate
    >>> names = tuple(f"B{k}{side}" for k in range(5) for side in "lr")
    >>> places = np.array([(x, -0.3, z) for z in (-2.0, -1.0, 0.0, 1.0, 2.0) for x in (0.3, -0.3)])
    >>> sagged = places - np.outer(1.0 - (places[:, 2] / 2.0) ** 2, [0.0, 80e-6, 0.0])
    >>> def seen(occasion, at):
    ...     causes = {f"reading:{occasion}": 4e-12 * np.eye(30)}
    ...     labels = [f"{n}.{c}" for n in names for c in "xyz"]
    ...     estimate = Estimate.of(at.reshape(-1), labels, unit="m", frame="girder", causes=causes)
    ...     pose = Rigid("survey", "girder", np.eye(3), np.zeros(3))
    ...     carriers = dict.fromkeys(names, "girder")
    ...     return PointSet("girder", names, estimate, carriers, pose, (), (), (), {}, 0.0, 0.0, 1.0, 60.0, ())
    >>> girder = Girder("example", "example", None, (), (), ())
    >>> compare("bench", "tunnel", seen("bench", places), seen("tunnel", sagged), None, None, girder).sentence
    'bench to tunnel: the girder sagged 79 +- 2 um in the middle against its ends.'
    """
    known = {m.name for m in girder.magnets}
    axes = [[axis for axis in one or () if axis.magnet in known] for one in (axes_a, axes_b)]
    change = gather_change(a, b, *axes, same_stringing=same_stringing)
    shapes, kelvin = _shapes(change, girder, bow, basis)
    if clamp is None and girder.creep is not None:
        clamp = Clamp(girder.creep.shift, girder.creep.turn)
    model = build_model(change, girder, shapes, stretch=stretch, bow=kelvin, clamp=clamp or CLAMP)
    scope = f"{start}-{end}"
    first = _ridden(fit_model(model))
    listing = _functions(first.model, girder)
    sought = search(first, level)
    parts = creep_parts(sought.fit) if clamp is None else AS_TOLD
    moved = crept(sought, parts)
    told = outcome(moved, listing.rows, listing.labels, scope)
    moves = own_moves(moved, told, girder)
    alone, closure, by_targets, closing = moves, None, None, None
    if change.axis_rows:
        of_targets = fit_model(targets_only(first.model))
        seen = search(of_targets, level)
        held = crept(seen, creep_parts(seen.fit) if clamp is None else AS_TOLD)
        # the same causes have other sizes where less speaks of them, so they have names of their own
        lone = f"{scope}, by targets"
        by_targets = Evidence(lone, seen, held, outcome(held, listing.rows, listing.labels, lone))
        alone = own_moves(held, by_targets.told, girder)
        weighed = creeping(first.model, parts), with_creep(of_targets, parts), moved, f"{scope}, closure"
        closure = closure_of(*weighed)
        closing = Closing(*weighed, closure) if closure is not None else None
    shape = _parts(told)
    targets = target_moves(moved, scope)
    off = [*item_words(moved, told, girder), *scale_words(moved, told)]
    found = Comparison(
        start=start,
        end=end,
        rigid=_rigid(change, model, told),
        scale=told.numbers["scale"][0],
        u_scale=told.numbers["scale"][1],
        shape=shape,
        own_moves=moves,
        own_moves_from_targets=alone,
        targets_moved=targets,
        axis_changes=told.estimate.pick(
            [f"{m.name}.{c}" for m in girder.magnets if m.name in model.bodies for c in "xy"]
        ),
        closure=closure,
        gates=all_gates(moved, moves, targets, off, closure),
        sentence=sentence(start, end, shape, moves, targets, more=off, closure=closure),
    )
    every = Evidence(scope, sought, moved, told)
    ground = Ground((a, b), (axes[0], axes[1]), change, girder, every, by_targets, closing, warmth)
    return replace(found, unfold=unfolding(found, ground))


def _ridden(fit: Fit) -> Fit:
    """The fit when bodies may also give way to the shape that it found."""
    return fit.freeing(riding(fit.model, fit.unknowns[fit.model.columns("shape")]))


def _shapes(
    change: Change, girder: Girder, bow: tuple[float, float] | None, basis: ShapeBasis | None
) -> tuple[ShapeBasis, float]:
    """All shapes together, and the change of top minus bottom that is expected [K]."""
    z = change.places[:, 2]
    span: Span = (float(z.min()), float(z.max()))
    bases = [default_basis(girder, span)] if basis is None else [basis, leftover_basis(girder, span)]
    if bow is None or girder.beam is None:
        return joined(bases), 0.0
    return joined([*bases, bow_basis(girder.beam, bow[1])]), bow[0]


@dataclass(frozen=True, eq=False, slots=True)
class _Listing:
    """Functions of the unknowns (q, p) with their labels."""

    rows: Array
    labels: tuple[Label, ...]


def _functions(model: Model, girder: Girder) -> _Listing:
    """Everything that is told in numbers, as functions of the model's unknowns."""
    count = len(model.prior)
    rows: list[Array] = []
    labels: list[Label] = []
    unit = np.eye(count)
    shape = model.columns("shape")
    for body in model.bodies:
        rows += list(unit[model.columns("clamp", body)])
        labels += [Label(f"{body}.{part}", "m" if part[0] == "d" else "rad", "girder") for part in MOVES]
    magnets = [m.name for m in girder.magnets if m.name in model.bodies]
    bent = model.basis.at(np.array([model.bodies[m] for m in magnets]).reshape(-1, 3))
    for magnet, here in zip(magnets, bent, strict=True):
        own = model.columns("clamp", magnet).start
        for k, part in enumerate("xy"):
            row = unit[own + k].copy()
            row[shape] = here[k]
            rows.append(row)
            labels.append(Label(f"{magnet}.{part}", "m", "girder"))
    for name, (unit_of, of_shape) in _named_shapes(model, girder).items():
        row = np.zeros(count)
        row[shape] = of_shape
        rows.append(row)
        labels.append(Label(name, unit_of, "girder"))
    rows += [_scale_row(model), unit[model.columns("stretch")][0], *unit[model.columns("rigid")]]
    labels += [Label("scale", "1", "girder"), Label("stretch", "1", "girder")]
    labels += [Label(f"rigid {part}", "m" if part[0] == "d" else "rad", "girder") for part in MOVES]
    return _Listing(np.array(rows), tuple(labels))


def _named_shapes(model: Model, girder: Girder) -> dict[str, tuple[str, Array]]:
    """Name -> unit and row over the shapes: middle against ends, half against half, end against end, on the neutral line."""
    z = model.change.places[:, 2]
    first, last = float(z.min()), float(z.max())
    half = 0.5 * (last - first)
    height = girder.beam.neutral_line if girder.beam is not None else 0.0
    points = np.array([[0.0, height, first + q * half] for q in (0.0, 0.5, 1.0, 1.5, 2.0)])
    at, turn = model.basis.at(points), model.basis.turning(points)[:, 2]
    middle = np.array([-0.5, 0.0, 1.0, 0.0, -0.5])
    halves = np.array([0.5, -1.0, 0.0, 1.0, -0.5])
    named = {
        "vertical bend": ("m", middle @ at[:, 1]),
        "vertical S bend": ("m", halves @ at[:, 1]),
        "lateral bend": ("m", middle @ at[:, 0]),
        "lateral S bend": ("m", halves @ at[:, 0]),
        "twist": ("rad", turn[4] - turn[0]),
        "twist in the middle": ("rad", middle @ turn),
    }
    if "thermal bow" in model.basis.names:
        only = np.array([name == "thermal bow" for name in model.basis.names])
        named["thermal bow"] = ("m", np.where(only, middle @ at[:, 1], 0.0))
    return named


def _scale_row(model: Model) -> Array:
    """Range scale of the end less that of the start: what each does to the targets, in units of their size."""
    row = np.zeros(len(model.prior))
    n = model.change.target_rows
    size = (model.change.places - model.middle).reshape(-1)
    for cause, factor in model.change.ranges.items():
        row[model.columns("range scale", cause)] = size @ factor.jacobian[:n] / (size @ size)
    return row


def _parts(told: Outcome) -> tuple[ShapePart, ...]:
    """The named parts of the change of shape, with the growth that belongs to temperature."""
    made = []
    for name in ("vertical bend", "vertical S bend", "lateral bend", "lateral S bend", "twist", "twist in the middle"):
        size, u = told.numbers[name]
        unit = "rad" if name.startswith("twist") else "m"
        made.append(ShapePart(name, size, u, unit, shape_words(name, size, u)))
    if "thermal bow" in told.numbers:
        size, u = told.numbers["thermal bow"]
        made.append(ShapePart("thermal bow", size, u, "m", bow_words(size, u)))
    size, u = told.numbers["stretch"]
    made.append(ShapePart("stretch", size, u, "1", stretch_words(size, u)))
    return tuple(made)


def _rigid(change: Change, model: Model, told: Outcome) -> Rigid:
    """The whole rigid motion: what the fit took out first, and what the model found on top, about its middle."""
    six = np.array([told.numbers[f"rigid {part}"][0] for part in MOVES])
    turn = rotation_from_vector(six[3:])
    rest = Rigid("girder", "girder", turn, six[:3] + model.middle - turn @ model.middle)
    return rest @ change.rigid
