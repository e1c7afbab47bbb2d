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
from monochord.survey.compare_creep import LEAST, SIZES
from monochord.survey.compare_fit import Fit, family_sizes, priors_of
from monochord.survey.compare_model import MOVES
from monochord.survey.compare_search import FREEDOM
from monochord.survey.compare_unfold_fit import Told, expected_lines
from monochord.survey.network import Array


def cause_name(by: Told, cause: str, i: int, j: int) -> str:
    """Name of an entry of the spread of a cause: plain where all evidence speaks, behind its head elsewhere.

    >>> relative("cause", "rigid:a-b", 0, 0)
    'cause/rigid:a-b/0/0'
    """
    if by.head == "own_moves":
        return relative("cause", cause, i, j)
    return part_of(by.head, "cause", cause, i, j)


def size_tellers(by: Told, scope: str) -> dict[str, Teller]:
    """Tellers of the spreads of the causes that this evaluation made, and of what they rest on."""
    table: dict[str, Teller] = {}
    for cause, _, spread in priors_of(by.fit.model, scope):
        kind = cause.removesuffix(f":{scope}")
        if kind == cause:
            continue  # a range scale belongs to its survey
        for i in range(len(spread)):
            for j in range(len(spread)):
                name = cause_name(by, cause, i, j)
                table[name] = whole(partial(_entry, by, kind, name, (i, j)))
    for body in by.told.slips:
        for i in range(3):
            for j in range(3):
                name = cause_name(by, f"unnoticed slip of {body}:{scope}", i, j)
                table[name] = whole(partial(_slip_entry, by, body, name, i, j))
    for k in range(len(by.fit.model.basis.names)):
        table[_size(by, k)] = whole(partial(_shape_size, by, k))
        table[_pull(by, k)] = partial(_shape_pull, by, k)
    if _creep_part(by) != 1.0:
        table[_creep(by)] = whole(partial(_creep_told, by))
        for k in range(SIZES):
            table[_likelihood(by, k)] = partial(_creep_square, by, k)
    return table


def _size(by: Told, k: int) -> str:
    return part_of(by.head, "shape size", k)


def _pull(by: Told, k: int) -> str:
    return part_of(by.head, "shape pull", k)


def _creep(by: Told) -> str:
    return part_of(by.head, "creep")


def _likelihood(by: Told, k: int) -> str:
    return part_of(by.head, "creep square", k)


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
        part = _creep_part(by)
        width = Line("widest creep of a clamp", size / part, places=_fixed("girder.creep", "survey.compare.CLAMP"))
        told = Line("part of it that the data tell", part, of=_creep(by))
        return ((width,) if part == 1.0 else (width, told)), six
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


def _creep_part(by: Told) -> float:
    """How much of the widest creep the data told."""
    at = by.sought.model.columns("clamp")
    before, after = by.sought.model.prior[at], by.fit.model.prior[by.fit.model.columns("clamp")]
    told = before > 0.0
    return float(after[told][0] / before[told][0]) if told.any() else 1.0


def _creep_covariances(fit: Fit) -> list[Array]:
    """Covariance (N, N) of the rows for each part of the clamps' creep that is tried."""
    model, place = fit.model, fit.model.columns("clamp")
    spread = model.design * model.prior
    held = np.ones(len(model.prior), bool)
    held[place] = False
    rest, creep = spread[:, held], spread[:, place]
    stiff = model.noise + rest @ rest.T
    return [stiff + p**2 * creep @ creep.T for p in np.geomspace(LEAST, 1.0, SIZES)]


def _creep_told(by: Told) -> Sum:
    """The part of the widest creep that the data tell, from the square sums of the rows at each size that is tried."""
    parts = np.geomspace(LEAST, 1.0, SIZES)
    residual = by.sought.residual
    covariances = _creep_covariances(by.sought)
    squares = [float(residual @ np.linalg.solve(c, residual)) for c in covariances]
    sizes = np.array([float(np.linalg.slogdet(c)[1]) for c in covariances])
    lines = tuple(
        Line(f"square sum of the rows at {p:.2f} of the widest creep", square, of=_likelihood(by, k))
        for k, (p, square) in enumerate(zip(parts, squares, strict=True))
    )

    def again(amounts: Sequence[float]) -> float:
        likelihood = -0.5 * (np.array(amounts) + sizes)
        weight = np.exp(likelihood - likelihood.max())
        return float(np.sqrt(weight @ parts**2 / weight.sum()))

    how = (
        "every size between the least and the widest, weighed by how likely it makes the rows: root of the mean square"
    )
    return Sum(_creep(by), "1", _creep_part(by), lines, how, again)


def _creep_square(by: Told, k: int, part: str) -> Sum:
    fit = by.sought
    factors = np.linalg.solve(_creep_covariances(fit)[k], fit.residual)
    more = expected_lines(fit.model, -(factors @ fit.model.design))
    how = "every row in units of the uncertainty of all, at this size of the creep"
    value = float(factors @ fit.residual)
    return Linear(_likelihood(by, k), "1", value, factors.tolist(), by.sources[: len(factors)], how, more).tell(part)


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
