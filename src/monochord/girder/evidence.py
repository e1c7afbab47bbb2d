"""Everything that speaks about where the girder stands, as rows of one linear system.

Unknowns: the change of balanced bolt forces since the reference (what the shape says), the departure of
today's balanced forces from those on level bolts (what the feet say), the change of top minus bottom, a
change of scale, and a rigid motion. Lengths are in um, forces in kN, angles in urad, scale in 1e-6 inside
this room's fits, so that their numbers are of one size.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Girder
from monochord.campaign.given.occasion import FootFinding
from monochord.girder.fit import Rows, independent
from monochord.girder.model import Elastic, Standing
from monochord.girder.shape import balanced, free_shapes
from monochord.ground.estimate import Estimate, Factor
from monochord.ground.frames import cross_matrix

Array = NDArray[np.float64]

#: Creep of a magnet in its clamps that a comparison cannot see: shift [um] and turn [urad] per axis; common practice, no source.
CREEP_UM, CREEP_URAD = 2.0, 5.0
#: Change of top minus bottom [K]: error of a measured one, and size of one that nobody measured; common practice, no source.
U_GRADIENT, U_GRADIENT_UNKNOWN = 0.02, 0.2
#: Uncertainty of a load washer, as a part of its reading, where it was not told; common practice, no source.
WASHER = 0.10
#: How well a touching foot is known to carry nothing, as a part of the mean load; common practice, no source.
TOUCHING = 0.05
#: How well a loose foot is known to carry nothing [kN].
LOOSE_KN = 0.005
#: Spread of loads about those on level bolts, as a part of the mean load: today and at the reference, where every foot bore.
SPREAD_NOW, SPREAD_REFERENCE = 3.0, 1.0
#: Error of the drawing's stiffness, as a part; common practice, no source.
DRAWING = 0.05
#: Expected change of scale of a survey [1e-6], far beyond any real one.
_SCALE = 1000.0
#: Added to every coordinate [um], so that a covariance of a free net can be inverted.
_FLOOR_UM = 0.1


@dataclass(frozen=True, eq=False, slots=True)
class Unknowns:
    """What the rows act on, in this order: shape (d), load (d), bow, scale, rigid (6).

    patterns  (m, d) balanced bolt forces;  shapes  (6n, d) nodes per newton;  bow  (6n,) nodes per kelvin
    level     (m,) loads on level bolts [N]
    """

    patterns: Array
    shapes: Array
    bow: Array
    level: Array

    @property
    def d(self) -> int:
        """How many shapes the bolts can make."""
        return int(self.patterns.shape[1])

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return 2 * self.d + 8


def unknowns(standing: Standing, level: Array) -> Unknowns:
    """The unknowns of one girder on its bolts.

    level  (m,) loads on level bolts [N]
    """
    patterns = balanced(standing)
    free = standing.free
    answers = free_shapes(free, np.column_stack([standing.push.T @ patterns, free.bow]))
    return Unknowns(patterns, answers[:, :-1], answers[:, -1], level)


@dataclass(frozen=True, eq=False, slots=True)
class Seen:
    """Targets whose shift is used: name, carrier and place (k, 3) [m]."""

    names: tuple[str, ...]
    carriers: tuple[str, ...]
    places: Array


def target_rows(
    girder: Girder, free: Elastic, of: Unknowns, shape_now: Estimate, *, own_moved: Sequence[str], at: str
) -> tuple[Rows, Seen]:
    """One row per coordinate of every target that follows the girder.

    shape_now  components "<target>.x", ".y", ".z": now minus reference [m], girder frame
    own_moved  carriers whose targets are not shape
    """
    known = {t.name: t for t in girder.targets if t.nominal is not None and t.carrier not in ("wall", *own_moved)}
    picked: list[tuple[int, str, int]] = []
    for i, label in enumerate(shape_now.labels):
        name, _, axis = label.name.rpartition(".")
        if name in known and axis in ("x", "y", "z") and np.isfinite(shape_now.value[i]):
            picked.append((i, name, "xyz".index(axis)))
    names = tuple(dict.fromkeys(name for _, name, _ in picked))
    places = np.array([known[name].nominal for name in names], float).reshape(-1, 3)
    follow = free.follow(places)[:, :3]
    row = np.array([names.index(name) for _, name, _ in picked], int)
    axis_of = np.array([axis for *_, axis in picked], int)
    nodes = follow[row, axis_of]
    arms = places[row]
    design = np.zeros((len(picked), of.size))
    design[:, : of.d] = nodes @ of.shapes * 1e9
    design[:, 2 * of.d] = nodes @ of.bow * 1e6
    design[:, 2 * of.d + 1] = arms[np.arange(len(row)), axis_of]
    design[:, 2 * of.d + 2 :] = [carry(arm)[axis] for arm, axis in zip(arms, axis_of, strict=True)] or np.zeros((0, 6))
    chosen = [i for i, *_ in picked]
    causes = {c: Factor(f.jacobian[chosen] * 1e6, f.spread) for c, f in shape_now.factors.items()}
    carriers = tuple(known[name].carrier for name in names)
    causes[f"creep in the clamps:{at}"] = _creep(girder, carriers, places, row, axis_of)
    causes["floor of coordinates"] = Factor(_FLOOR_UM * np.eye(len(picked)), np.eye(len(picked)))
    subject = tuple(name for _, name, _ in picked)
    rows = Rows(design, shape_now.value[chosen] * 1e6, ("target",) * len(picked), subject, causes)
    return rows, Seen(names, carriers, places)


def carry(arm: Array) -> Array:
    """Shift (3, 6) of a point on an arm (3,) for a unit shift and turn of a body.

    >>> (carry(np.array([1.0, 0.0, 0.0])) @ [0.0, 0.0, 0.0, 0.0, 0.0, 2.0]).tolist()
    [0.0, 2.0, 0.0]
    """
    return np.hstack([np.eye(3), -cross_matrix(arm)])


def _creep(girder: Girder, carriers: Sequence[str], places: Array, row: Array, axis_of: Array) -> Factor:
    middle = {item.name: np.array(item.point) for item in girder.items}
    moving = sorted({c for c in carriers if c in middle})
    jacobian = np.zeros((len(row), 6 * len(moving)))
    for i, (k, axis) in enumerate(zip(row, axis_of, strict=True)):
        if carriers[k] in middle:
            at = 6 * moving.index(carriers[k])
            jacobian[i, at : at + 6] = carry(places[k] - middle[carriers[k]])[axis]
    return Factor(jacobian, np.diag(np.tile([CREEP_UM**2] * 3 + [CREEP_URAD**2] * 3, len(moving))))


def temperature_rows(
    of: Unknowns, top_minus_bottom: float | None, temperature_change: float | None, expansion: float, at: str
) -> Rows:
    """What is known of the change of temperature: a row for the bow and one, far wider than any truth, for the scale."""
    design = np.zeros((2, of.size))
    design[0, 2 * of.d], design[1, 2 * of.d + 1] = 1.0, 1.0
    gradient = 0.0 if top_minus_bottom is None else top_minus_bottom
    u = U_GRADIENT_UNKNOWN if top_minus_bottom is None else U_GRADIENT
    growth = 0.0 if temperature_change is None else expansion * temperature_change * 1e6
    sigma = np.array([u, _SCALE])
    rows = independent(
        design, np.array([gradient, growth]), sigma, kind="temperature", subject=("bow", "scale"), cause="scale"
    )
    first, second = np.diag([u, 0.0]), np.diag([0.0, _SCALE])
    causes = {f"temperature gradient:{at}": Factor(first, np.eye(2)), "scale left free": Factor(second, np.eye(2))}
    return replace(rows, causes=causes)


def foot_rows(
    standing: Standing, of: Unknowns, feet: Sequence[FootFinding], *, reference: bool, cause: str, model_error: Array
) -> Rows:
    """What was found at the feet, today or at the reference.

    model_error  (m,) error of loads that the shape tells [N], from the stiffness by drawing; counts at the reference only

    Washers give a load; a loose foot carries nothing, a touching one nearly nothing. Tight alone says no number.
    """
    mean = _mean_load(standing, of)
    design, value, sigma, kinds, subject = [], [], [], [], []
    for finding in feet:
        if finding.bolt not in standing.names:
            continue
        i = standing.names.index(finding.bolt)
        told = _told_load(finding, mean)
        if told is None:
            continue
        load, u, kind = told
        design.append(_load_row(of, i, reference))
        value.append((load - of.level[i]) / 1e3)
        sigma.append(np.hypot(u, model_error[i] if reference else 0.0) / 1e3)
        kinds.append(kind)
        subject.append(finding.bolt)
    rows = np.array(design).reshape(-1, of.size)
    made = independent(rows, np.array(value), np.array(sigma), kind="washer", subject=subject, cause=cause)
    return replace(made, kinds=tuple(kinds))


def _told_load(finding: FootFinding, mean: float) -> tuple[float, float, str] | None:
    """Load, its uncertainty [N] and the kind of row, or None when the finding says no number."""
    if finding.state == "loose":
        return 0.0, LOOSE_KN * 1e3, "contact"
    if finding.load is not None and np.isfinite(finding.load):
        u = finding.u_load if finding.u_load is not None else WASHER * abs(finding.load)
        return finding.load, max(u, 0.01 * mean), "washer"
    if finding.state == "touching":
        return 0.0, TOUCHING * mean, "contact"
    return None


def zero_rows(of: Unknowns, bolts: Sequence[int], names: Sequence[str]) -> Rows:
    """Feet that the solution would have pull: they carry nothing today."""
    design = np.array([_load_row(of, i, False) for i in bolts]).reshape(-1, of.size)
    value = np.array([-of.level[i] / 1e3 for i in bolts])
    sigma = np.full(len(bolts), LOOSE_KN)
    return independent(
        design, value, sigma, kind="bound", subject=[names[i] for i in bolts], cause="feet that cannot pull"
    )


def expected_rows(standing: Standing, of: Unknowns) -> Rows:
    """What is expected of the loads before anything is found, today and at the reference."""
    m = len(of.level)
    mean = _mean_load(standing, of)
    design = np.array([_load_row(of, i, reference) for reference in (False, True) for i in range(m)])
    sigma = np.repeat([SPREAD_NOW * mean, SPREAD_REFERENCE * mean], m) / 1e3
    return independent(
        design, np.zeros(2 * m), sigma, kind="expected", subject=standing.names * 2, cause="expected loads"
    )


def _load_row(of: Unknowns, bolt: int, reference: bool) -> Array:
    """Load of one bolt less that on level bolts: today N c, at the reference N (c - a)."""
    row = np.zeros(of.size)
    row[of.d : 2 * of.d] = of.patterns[bolt]
    if reference:
        row[: of.d] = -of.patterns[bolt]
    return row


def _mean_load(standing: Standing, of: Unknowns) -> float:
    feet = of.level[standing.one_sided] if standing.one_sided.any() else of.level
    return float(max(np.abs(feet).mean(), 1.0))
