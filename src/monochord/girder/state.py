"""Where the girder stands now: shape since the reference, loads of the feet, and which feet carry nothing.

Survey, feeling of the feet, washers and temperatures are one least-squares system; a target or a carrier
that does not fit the girder's shape is set aside, and so are findings at the feet that contradict it.
The gap below a loose foot moves nothing and is seen by no survey: only that it is open is known.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Girder
from monochord.campaign.given.occasion import FootFinding
from monochord.girder import evidence
from monochord.girder.contact import settle
from monochord.girder.evidence import Unknowns
from monochord.girder.fit import Rows, Solution, solve, together
from monochord.girder.model import Standing
from monochord.girder.sift import sifted
from monochord.ground.estimate import Estimate, Factor, Label
from monochord.ground.faults import Undetermined

Array = NDArray[np.float64]

#: A foot bears nothing to speak of below this part of its load on level bolts.
_NOTHING = 0.1
#: Standard uncertainties by which a load must clear what it is held against, before the shape contradicts a hand at the foot.
_SURE = 3.0


@dataclass(frozen=True, eq=False, slots=True)
class Fitted:
    """How it was found where the girder stands.

    rows      what speaks, before any foot was held at nothing;  solution  the last one
    bound     (m,) feet held at nothing, since else they would pull;  lifts  (m,) feet that can lift off
    level     (6n,) nodes on level bolts;  shift  displacement of the targets;  moved  things that moved on the girder
    """

    rows: Rows
    solution: Solution
    bound: NDArray[np.bool_]
    lifts: NDArray[np.bool_]
    level: Array
    shift: Estimate
    moved: tuple[str, ...]


@dataclass(frozen=True, eq=False, slots=True)
class Stand:
    """Where the girder stands now.

    amounts     components "shape.k" (change of balanced forces since the reference) and "load.k" (today's, less those
                on level bolts) [N], "bow" (change of top minus bottom) [K]
    unknowns    what the amounts multiply
    loads, u_loads      (m,) of the feet now [N];  loads_reference, u_loads_reference  the same at the reference
    seen_loads, u_seen_loads   (m,) what survey and reference say of the loads now, the feet not asked [N]
    heights     (m,) of the bolts today on level ground [m], up to a rigid motion; of a loose one, where it would touch
    start       (6n,) nodes today on those heights
    own         carrier that moved on the girder -> its own shift (x, y) at its reference point [m]
    aside       targets and carriers whose shift is not the girder's shape -> why
    doubted     kinds of finding that contradict the shape and were left out ("washer", "contact")
    fitted      how it was found
    """

    amounts: Estimate
    unknowns: Unknowns
    loads: Array
    u_loads: Array
    loads_reference: Array
    u_loads_reference: Array
    seen_loads: Array
    u_seen_loads: Array
    heights: Array
    start: Array
    own: Mapping[str, tuple[float, float]]
    aside: Mapping[str, str]
    doubted: tuple[str, ...]
    fitted: Fitted

    @property
    def nodes(self) -> Array:
        """Change of the girder's shape since the reference (6n,), thermal bow left out."""
        return np.asarray(self.unknowns.shapes @ self.amounts.value[: self.unknowns.d], float)


def stand(
    girder: Girder,
    standing: Standing,
    shape_now: Estimate,
    feet: Sequence[FootFinding],
    *,
    feet_reference: Sequence[FootFinding] = (),
    own_moved: Sequence[str] = (),
    top_minus_bottom: float | None = None,
    temperature_change: float | None = None,
    at: str = "now",
) -> Stand:
    """Combine everything that speaks about where the girder stands.

    shape_now          "<target>.x", ".y", ".z": now minus reference [m], girder frame, rigid motion and scale as they come
    top_minus_bottom, temperature_change   now minus reference [K], None when not measured
    own_moved          carriers known to have moved on the girder

    Raises Undetermined when fewer than four targets tell the shape, or the feet cannot hold the girder.
    """
    level = settle(standing, np.zeros(len(standing.names)), standing.free.weight)
    of = evidence.unknowns(standing, level.loads)
    targets, seen = evidence.target_rows(girder, standing.free, of, shape_now, own_moved=own_moved, at=at)
    if len(seen.names) < 4:
        raise Undetermined(
            ["shape now"], "fewer than four targets that follow the girder were surveyed on both occasions"
        )
    base = [
        targets,
        evidence.temperature_rows(of, top_minus_bottom, temperature_change, standing.free.beam.expansion, at),
        evidence.expected_rows(standing, of),
    ]
    first = solve(together(base))
    model_error = evidence.DRAWING * np.abs(of.patterns @ first.value[: of.d]) * 1e3
    base += [
        evidence.foot_rows(
            standing, of, feet_reference, reference=True, cause="load washers:reference", model_error=model_error
        ),
        evidence.foot_rows(standing, of, feet, reference=False, cause=f"load washers:{at}", model_error=model_error),
    ]
    rows, aside, doubted = sifted(together(base), seen, girder)
    held = {f.bolt for f in feet if f.state == "held"}
    free_to_lift = np.array([one and n not in held for one, n in zip(standing.one_sided, standing.names, strict=True)])
    solution, bound = _bounded(rows, of, standing.names, free_to_lift)
    asked = [i for i, k in enumerate(rows.kinds) if k in ("washer", "contact") and _today(rows, of, i)]
    blind = solve(rows.only(~np.isin(np.arange(len(rows.value)), asked)))
    now, now_u = _loads(of, solution, reference=False)
    now[bound] = 0.0
    amounts = _amounts(of, solution)
    start = level.displacement + of.shapes @ amounts.value[of.d : 2 * of.d] + of.bow * amounts.value[2 * of.d]
    moved = [*own_moved, *(name for name in aside if name in {i.name for i in girder.items})]
    return Stand(
        amounts,
        of,
        now,
        now_u,
        *_loads(of, solution, reference=True),
        *_loads(of, blind, reference=False),
        standing.push @ start + now / standing.stiffness,
        start,
        _own(girder, standing, shape_now, moved, of=of, solution=solution),
        aside,
        tuple(doubted),
        Fitted(rows, solution, bound, free_to_lift, level.displacement, shape_now, tuple(moved)),
    )


def _own(
    girder: Girder, standing: Standing, shape_now: Estimate, moved: Sequence[str], *, of: Unknowns, solution: Solution
) -> dict[str, tuple[float, float]]:
    """Own shift of each moved carrier at its reference point: what its targets did beyond shape and rigid motion."""
    rest = [item.name for item in girder.items if item.name not in moved]
    targets, seen = evidence.target_rows(girder, standing.free, of, shape_now, own_moved=["girder", *rest], at="own")
    found: dict[str, tuple[float, float]] = {}
    beyond = targets.value - targets.design @ solution.value
    for item in girder.items:
        on = [i for i, s in enumerate(targets.subject) if seen.carriers[seen.names.index(s)] == item.name]
        if len(on) < 6:
            continue
        arms = np.array([seen.places[seen.names.index(targets.subject[i])] for i in on]) - np.array(item.point)
        axes = [int(targets.design[i, 2 * of.d + 2 : 2 * of.d + 5].argmax()) for i in on]
        body = np.array([evidence.carry(arm)[axis] for arm, axis in zip(arms, axes, strict=True)])
        shift = np.linalg.lstsq(body, beyond[on], rcond=1e-9)[0]
        found[item.name] = (float(shift[0]) * 1e-6, float(shift[1]) * 1e-6)
    return found


def _amounts(of: Unknowns, solution: Solution) -> Estimate:
    """The solution with its causes, in SI."""
    count = 2 * of.d + 1
    unit = np.array([1e3] * (2 * of.d) + [1.0])
    names = [f"shape.{k + 1}" for k in range(of.d)] + [f"load.{k + 1}" for k in range(of.d)]
    labels = [Label(name, "N", "girder") for name in names] + [Label("bow", "K", "girder")]
    gain = solution.gain[:count] * unit[:, None]
    causes = {c: Factor(gain @ f.jacobian, f.spread) for c, f in solution.rows.causes.items()}
    return Estimate(solution.value[:count] * unit, tuple(labels), causes)


def _loads(of: Unknowns, solution: Solution, *, reference: bool) -> tuple[Array, Array]:
    """Loads (m,) and their standard uncertainties [N]."""
    rows = np.zeros((len(of.level), of.size))
    rows[:, of.d : 2 * of.d] = of.patterns
    if reference:
        rows[:, : of.d] = -of.patterns
    spread = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", rows, solution.cov, rows), 0.0))
    return of.level + rows @ solution.value * 1e3, spread * 1e3


def _today(rows: Rows, of: Unknowns, i: int) -> bool:
    return not rows.design[i, : of.d].any()


def _bounded(
    rows: Rows, of: Unknowns, names: Sequence[str], one_sided: NDArray[np.bool_]
) -> tuple[Solution, NDArray[np.bool_]]:
    """The solution in which no one-sided foot pulls; the feet held at zero for it."""
    bound = np.zeros(len(names), dtype=bool)
    while True:
        parts = [rows, evidence.zero_rows(of, np.flatnonzero(bound).tolist(), names)] if bound.any() else [rows]
        solution = solve(together(parts))
        loads, _ = _loads(of, solution, reference=False)
        pulling = one_sided & ~bound & (loads < 0.0)
        if not pulling.any():
            return solution, bound
        bound[np.where(pulling, loads, np.inf).argmin()] = True


def bears_by_model(stand_: Stand) -> Array:
    """What the shape alone says of each foot now, (m,): +1 it bears, -1 it carries nothing, 0 it cannot be told.

    The feet themselves were not asked: survey, the reference's loads and the elastic model speak.
    """
    level = np.maximum(np.abs(stand_.unknowns.level), 1.0)
    band = _SURE * stand_.u_seen_loads
    low, high = stand_.seen_loads - band, stand_.seen_loads + band
    nothing = (stand_.seen_loads < _NOTHING * level) & (high < 0.5 * level)
    return np.where(low > _NOTHING * level, 1.0, np.where(nothing, -1.0, 0.0))
