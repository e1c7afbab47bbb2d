"""How far each unknown of a change was expected to go, and what that rests on: constants, temperatures, or the data.

Entry i, j of the spread of a cause that is made here: "rigid", "stretch", "shape", "clamp", "riding", "moved" (squares of
expected sizes, each by itself), and "unnoticed slip of" a body, p C + p (1 - p) g g' with p its chance, g the slip and C its
covariance if it happened.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np

from monochord.ground.trace import Line, Place, Sum
from monochord.ground.trace_linear import Linear, Teller, part_of, relative, whole
from monochord.survey.compare_creep import AS_TOLD, LEAST, SIZES
from monochord.survey.compare_fit import Fit, family_sizes, priors_of
from monochord.survey.compare_model import MOVES
from monochord.survey.compare_search import FREEDOM
from monochord.survey.compare_unfold_fit import Told, expected_lines
from monochord.survey.network import Array


def size_tellers(by: Told) -> dict[str, Teller]:
    """Tellers of the spreads of the causes that this evaluation made, and of what they rest on."""
    table: dict[str, Teller] = {}
    for cause, _, spread in priors_of(by.fit.model, by.scope):
        kind = cause.removesuffix(f":{by.scope}")
        if kind == cause:
            continue  # a range scale belongs to its survey
        for i in range(len(spread)):
            for j in range(len(spread)):
                name = relative("cause", cause, i, j)
                table[name] = whole(partial(_entry, by, kind, name, (i, j)))
    for body in by.told.slips:
        for i in range(3):
            for j in range(3):
                name = relative("cause", f"unnoticed slip of {body}:{by.scope}", i, j)
                table[name] = whole(partial(_slip_entry, by, body, name, i, j))
    for k in range(len(by.fit.model.basis.names)):
        table[_size(by, k)] = whole(partial(_shape_size, by, k))
        table[_pull(by, k)] = partial(_shape_pull, by, k)
    if _creep_parts(by) != AS_TOLD:
        for k in range(2):
            table[_creep(by, k)] = whole(partial(_creep_told, by, k))
        for k in range(6 * len(by.sought.model.bodies)):
            table[_creep_pull(by, k)] = partial(_creep_says, by, k)
    return table


def _size(by: Told, k: int) -> str:
    return part_of(by.head, "shape size", k)


def _pull(by: Told, k: int) -> str:
    return part_of(by.head, "shape pull", k)


def _creep(by: Told, k: int) -> str:
    return part_of(by.head, "creep", ("shift", "turn")[k])


def _creep_pull(by: Told, k: int) -> str:
    return part_of(by.head, "creep pull", list(by.sought.model.bodies)[k // 6], MOVES[k % 6])


def _entry(by: Told, kind: str, name: str, at: tuple[int, int]) -> Sum:
    """An entry of the spread of what was expected: zero but on the diagonal, where it is the square of a size."""
    i, j = at
    if i != j:
        return Sum(name, "", 0.0, (), f"unknowns of the kind {kind} are expected each by itself: no covariance")
    size = float(by.fit.model.prior[by.fit.model.columns(kind)][i])
    lines, unit = _expected_size(by, kind, i, size)

    def again(amounts: Sequence[float]) -> float:
        return float(np.prod(amounts)) ** 2

    how = "square of how far it is expected to go, one standard deviation"
    return Sum(name, f"{unit}2", size**2, lines, how, again)


def _expected_size(by: Told, kind: str, i: int, size: float) -> tuple[tuple[Line, ...], str]:
    """The size of an unknown as a product of lines, and its unit."""
    six = "m" if i % 6 < 3 else "rad"
    if kind == "rigid":
        key = "survey.compare_model.FREE_SHIFT" if i < 3 else "survey.compare_model.FREE_TURN"
        return (Line("rigid motion left after the first fit", size, places=_fixed(key)),), six
    if kind == "stretch":
        places = _fixed("girder.beam.expansion", "job.scales.U_MEAN_TEMPERATURE")
        return (Line("how well temperature tells the growth", size, places=places),), "1"
    if kind == "shape":
        basis = by.fit.model.basis
        return (Line(f"size of {basis.names[i]}", size, of=_size(by, i)),), basis.units[i]
    if kind == "clamp":
        parts, k = _creep_parts(by), i % 6 // 3
        places = _fixed(
            "girder.creep" if parts == AS_TOLD else "survey.compare.CLAMP"
        )  # told, or common and then weighed
        width = Line("widest creep of a clamp", size / parts[k], places=places)
        told = Line("part of it that the data tell", parts[k], of=_creep(by, k))
        return ((width,) if parts == AS_TOLD else (width, told)), six
    if kind == "riding":
        words = "halfway between riding rigidly and giving way"
        return (Line(words, size, places=_fixed("survey.compare_model.riding")),), "1"
    free = Line("freedom of what is said to have moved", FREEDOM, places=_fixed("survey.compare_search.FREEDOM"))
    far = _fixed(*(f"survey.compare_search.GONE_{key}" for key in ("SHIFT", "TURN", "TARGET", "SCALE")))
    return (free, Line("how far such a thing goes once it goes", size / FREEDOM, places=far)), ""


def _fixed(*keys: str) -> tuple[Place, ...]:
    return tuple(Place("", 0, key) for key in keys)


def _shape_size(by: Told, k: int) -> Sum:
    """Expected size of one shape: a constant, or what the data tell of its family."""
    fit = by.fit
    basis, at = fit.model.basis, fit.model.columns("shape")
    value, unit = float(fit.model.prior[at][k]), basis.units[k]
    if not (basis.families and basis.families[k]):
        place = "temperature.u" if basis.names[k] == "thermal bow" else "survey.compare_shape.LEFT_BEND"
        line = Line(f"how far {basis.names[k]} may go", value, places=_fixed(place))
        return Sum(_size(by, k), unit, value, (line,), "fixed beforehand")
    design = fit.model.design[:, at]
    precision, pull = design.T @ fit.stiff @ design, _pull_factors(fit).T @ fit.residual
    lines = [
        Line(f"what the rows say of {name}, as if it were the only one", float(p), of=_pull(by, n))
        for n, (name, p) in enumerate(zip(basis.names, pull, strict=True))
    ]

    def again(amounts: Sequence[float]) -> float:
        return float(family_sizes(basis, precision, np.array(amounts))[k])

    how = f"the size by which the data are likeliest, one for all of the family {basis.families[k]}, between its bounds"
    return Sum(_size(by, k), unit, value, tuple(lines), how, again)


def _pull_factors(fit: Fit) -> Array:
    weighted: Array = fit.stiff @ fit.model.design[:, fit.model.columns("shape")]
    return weighted


def _shape_pull(by: Told, k: int, part: str) -> Sum:
    factors = _pull_factors(by.fit)[:, k]
    value = float(factors @ by.fit.residual)
    more = expected_lines(by.fit.model, -(factors @ by.fit.model.design))
    how = "rows times the shape, by the weight they have while the girder keeps its shape"
    return Linear(_pull(by, k), "", value, factors.tolist(), by.sources[: len(factors)], how, more).tell(part)


def _creep_parts(by: Told) -> tuple[float, float]:
    """How much of the widest creep the data told, of shifts and of turns."""
    before = by.sought.model.prior[by.sought.model.columns("clamp")][:6]
    after = by.fit.model.prior[by.fit.model.columns("clamp")][:6]
    if len(before) < 6 or not (before > 0.0).all():
        return AS_TOLD
    shift, turn = (after / before)[[0, 3]].tolist()
    return shift, turn


def _creep_factors(fit: Fit) -> tuple[Array, Array]:
    """Columns of a creep of one prior (N, 6m), and the same weighed as if no clamp crept (N, 6m)."""
    model, place = fit.model, fit.model.columns("clamp")
    spread = model.design * model.prior
    held = np.ones(len(model.prior), bool)
    held[place] = False
    rest, creep = spread[:, held], spread[:, place]
    return creep, np.asarray(np.linalg.solve(model.noise + rest @ rest.T, creep), float)


def _creep_told(by: Told, k: int) -> Sum:
    """The part of the widest creep that the data tell: every size that is tried, weighed by how likely it makes the rows."""
    creep, weighed = _creep_factors(by.sought)
    precision, pull = creep.T @ weighed, weighed.T @ by.sought.residual
    tried = np.geomspace(LEAST, 1.0, SIZES)
    pairs = np.array([(shift, turn) for shift in tried for turn in tried])
    lines = tuple(
        Line(f"what the rows say of a creep of {body}, {part}", float(pull[6 * b + p]), of=_creep_pull(by, 6 * b + p))
        for b, body in enumerate(by.sought.model.bodies)
        for p, part in enumerate(MOVES)
    )

    def again(amounts: Sequence[float]) -> float:
        says = np.array(amounts)
        likelihood = np.array([_likelihood(precision, says, pair) for pair in pairs])
        weight = np.exp(likelihood - likelihood.max())
        return float(np.sqrt(weight @ pairs[:, k] ** 2 / weight.sum()))

    how = "every pair of sizes between the least and the widest, weighed by how likely it makes the rows: root mean square"
    return Sum(_creep(by, k), "1", _creep_parts(by)[k], lines, how, again)


def _likelihood(precision: Array, pull: Array, pair: Array) -> float:
    size = np.tile(np.repeat(pair, 3), len(pull) // 6)
    inner = np.eye(len(size)) + precision * np.outer(size, size)
    wanted = size * pull
    return float(0.5 * (wanted @ np.linalg.solve(inner, wanted) - np.linalg.slogdet(inner)[1]))


def _creep_says(by: Told, k: int, part: str) -> Sum:
    fit = by.sought
    factors = _creep_factors(fit)[1][:, k]
    more = expected_lines(fit.model, -(factors @ fit.model.design))
    how = "rows times the creep, by the weight they have while no clamp creeps"
    value = float(factors @ fit.residual)
    sources = by.sources[: len(factors)]
    return Linear(_creep_pull(by, k), "1", value, factors.tolist(), sources, how, more).tell(part)


def _slip_entry(by: Told, body: str, name: str, i: int, j: int) -> Sum:
    slip = by.told.slips[body]
    spread = float(slip.spread[i, j])
    lines = (
        Line(f"chance that {body} slipped", slip.chance, of=by.slip(body, "chance")),
        Line("slip if it happened, first part", float(slip.gone[i]), of=by.slip(body, str(i))),
        Line("slip if it happened, second part", float(slip.gone[j]), of=by.slip(body, str(j))),
        Line(
            "covariance of the two if it happened, by the weights of all rows and how far a magnet goes once it slips",
            spread,
            places=_fixed("survey.compare_search.GONE_SHIFT", "survey.compare_search.GONE_TURN"),
        ),
    )
    value = float(slip.chance * spread + slip.chance * (1.0 - slip.chance) * slip.gone[i] * slip.gone[j])
    how = "mean square of a slip that happened with this chance, about its mean"
    parts = MOVES[0], MOVES[1], MOVES[5]
    unit = "".join("m" if parts[k][0] == "d" else "rad" for k in (i, j))
    return Sum(name, unit, value, lines, how, lambda v: v[0] * v[3] + v[0] * (1.0 - v[0]) * v[1] * v[2])
