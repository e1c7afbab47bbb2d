"""From sightings to points: the whole survey of one occasion in one call."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from monochord.campaign.found.axes import Gate
from monochord.campaign.found.points import PointSet
from monochord.campaign.given.girder import Target
from monochord.campaign.given.survey import Instrument, Sighting
from monochord.ground.estimate import Estimate, Factor, Label
from monochord.ground.faults import Fault, Refused
from monochord.ground.frames import Rigid
from monochord.survey.adjust import Settings, Solution, State
from monochord.survey.blunders import Cleaned, Survey
from monochord.survey.datum import NominalFit, aligned, fit_nominal, s_transform
from monochord.survey.findings import rejected, residuals, station_fits
from monochord.survey.gates import (
    checked_gate,
    factor_limits,
    kind_gates,
    noise_gate,
    notes_gate,
    rejected_gate,
    unchecked,
    variance_gate,
)
from monochord.survey.network import Array, Flags, Network
from monochord.survey.nominal import nominal_gates, refuse_misfit, refuse_nonsense
from monochord.survey.start import THIN, extents
from monochord.survey.unfold import SurveyUnfold
from monochord.survey.unfold_gain import Laid
from monochord.survey.whole import adjusted, by_name


def _nominal(names: Sequence[str], listed: Mapping[str, Target]) -> tuple[Array, Array]:
    """Nominal places (n, 3) [m], NaN where there is none, and how well they are known (n,) [m]."""
    places = np.full((len(names), 3), np.nan)
    spread = np.zeros(len(names))
    for row, name in enumerate(names):
        target = listed.get(name)
        if target is not None and target.nominal is not None and target.carrier != "wall":
            places[row], spread[row] = target.nominal, target.u_nominal
    return places, spread


def _datum(names: Sequence[str], listed: Mapping[str, Target], points: Array, nominal: Array) -> Flags:
    """The targets that say where the girder is: its own, or those of its magnets too when they are too few."""
    known = np.isfinite(nominal[:, 0])
    own = known & np.array([name in listed and listed[name].carrier == "girder" for name in names])
    for chosen in (own, known):
        if chosen.sum() >= 3 and extents(nominal[chosen])[1] > THIN and extents(points[chosen])[1] > THIN:
            return chosen
    given = f"{int(known.sum())} determined targets with nominal places"
    expected = "at least three on the girder, not on one line"
    remedy = "add nominal places to the list of targets, or sight more targets of the girder"
    raise Refused([Fault(given, expected, remedy)])


def _rotated(matrix: Array, rotation: Array) -> Array:
    """B M for a block-diagonal B of one rotation (3, 3) and M (3n, k)."""
    turned: Array = (rotation @ matrix.reshape(-1, 3, matrix.shape[1])).reshape(matrix.shape)
    return turned


def _factors(
    occasion: str,
    solution: Solution,
    instrument: Instrument,
    *,
    rotation: Array,
    points: Array,
    datum: Flags,
    raised: float,
) -> dict[str, Factor]:
    """Causes of the points' uncertainty in the inner-constraint datum over the girder's targets.

    points  (n, 3) [m], girder frame;  rotation  survey -> girder;  raised  factor on the reading variance
    """
    transform = s_transform(points, datum)
    half = _rotated(solution.points_cofactor, rotation)
    cofactor = transform @ _rotated(half.T, rotation) @ transform.T
    size = len(cofactor)
    reading = cofactor
    factors = {}
    if instrument.u_level is not None:
        level = transform @ _rotated(solution.by_level(), rotation)
        spread = instrument.u_level**2 * np.eye(level.shape[1])
        reading = cofactor - level @ spread @ level.T
        factors[f"level:{occasion}"] = Factor(level, spread)
    factors[f"reading:{occasion}"] = Factor(np.eye(size), raised * (reading + reading.T) / 2.0)
    factors[f"mounting:{occasion}"] = Factor(transform, instrument.u_mounting**2 * np.eye(size))
    stretch = (points - points[datum].mean(axis=0)).reshape(-1, 1)
    factors[f"range scale:{occasion}"] = Factor(stretch, np.array([[instrument.u_scale**2]]))
    return factors


def _in_frame(state: State, move: Rigid) -> State:
    return State(move.apply(state.position), move.rotation @ state.rotation, move.apply(state.points))


def _join_gate(survey: Survey, stations: Sequence[str]) -> list[Gate]:
    lost = {name: why for name, why in survey.lost.items() if name in stations}
    if not lost:
        return []
    words = "; ".join(f"station {name} is left out: {why}" for name, why in lost.items())
    return [Gate("stations hang together", False, words)]


def _gates(
    cleaned: Cleaned,
    given: Network,
    notes: Sequence[str],
    *,
    fit: NominalFit,
    nominal: Array,
    carried: Flags,
) -> tuple[Gate, ...]:
    names = cleaned.survey.network.targets
    laid = fit.apart + nominal
    return (
        variance_gate(cleaned.solution),
        *kind_gates(cleaned.solution, cleaned.reliability),
        *noise_gate(cleaned.noise),
        rejected_gate(cleaned),
        *_join_gate(cleaned.survey, given.stations),
        checked_gate(names, unchecked(cleaned), carried),
        *nominal_gates(names, laid, nominal, fit),
        *notes_gate(notes),
    )


def _raised(solution: Solution) -> float:
    """Factor on the variance of the readings: more than 1 only when they scatter beyond chance."""
    if solution.dof < 1:
        return 1.0
    factor = solution.square_sum / solution.dof
    return factor if factor > factor_limits(solution.dof)[1] else 1.0


def adjust_survey(
    occasion: str,
    sightings: Sequence[Sighting],
    instrument: Instrument,
    targets: Sequence[Target],
    *,
    frame: str = "survey",
    settings: Settings | None = None,
) -> PointSet:
    """Adjust all stations of one occasion at once and give the targets in the girder frame.

    The network is adjusted free of any datum. Its points are then laid onto the nominal places of the girder's
    targets by the best rigid motion (those of its magnets help when there are fewer than three), and their
    covariance is that of inner constraints over the same targets: no mean shift and no mean turn of them.
    Nominal places therefore decide where the frame is, never the shape.

    occasion    name, part of the causes' ids;  sightings  of all stations and rounds
    instrument  levelled stations when ``u_level`` is a number, free ones when it is None
    targets     the girder's list; what is sighted and not listed is a monument (carrier "wall")
    frame       name of the survey frame: y up (the plumb line when levelled), heading and origin near the girder's

    Causes: "reading:<occasion>", "mounting:<occasion>" (one block, a target's own three variables in the order of
    the points), "level:<occasion>" (two leans a station), "range scale:<occasion>" (one variable, relative).
    One free network cannot know its own range scale: ``scale`` is 0 with the prior ``u_scale``.
    Wrong sightings are left out and named; targets that are not determined are named with the reason.

    Raises Refused when the sightings do not hang together, when too few targets have nominal places, and when the
    survey fits the nominal places only in a mirror or in another unit.

    >>> import math
    >>> tracker = Instrument("tracker", 2e-6, 5e-6, 1e-6, None, 3e-6, 1e-6)
    >>> corners = {"A": (1.0, 0.0, 2.0), "B": (-1.0, 0.0, 2.0), "C": (0.0, 0.5, 3.0)}
    >>> readings = [
    ...     Sighting("T", n, math.atan2(x, z), math.atan2(math.hypot(x, z), y), math.hypot(x, y, z), k, "", 0)
    ...     for k in (1, 2) for n, (x, y, z) in corners.items()
    ... ]
    >>> found = adjust_survey("bench", readings, tracker, [Target(n, "girder", p) for n, p in corners.items()])
    >>> found.frame, found.names, bool(abs(found.estimate.value - [1, 0, 2, -1, 0, 2, 0, 0.5, 3]).max() < 1e-9)
    ('girder', ('A', 'B', 'C'), True)
    """
    settings = settings or Settings()
    listed, doubles = by_name(targets)
    network, cleaned, notes, moves = adjusted(sightings, instrument, listed, settings)

    solution, kept = cleaned.solution, cleaned.survey.network
    names = kept.targets
    nominal, u_nominal = _nominal(names, listed)
    known = np.isfinite(nominal[:, 0])
    refuse_nonsense(solution.state.points[known], nominal[known])
    wanted = _datum(names, listed, solution.state.points, nominal)
    raw = fit_nominal(solution.state.points, nominal, u_nominal, wanted, frame)
    refuse_misfit(raw, nominal)
    move = aligned(raw.pose)
    state = _in_frame(solution.state, move)
    fit = NominalFit(raw.pose @ move.inverse(), raw.used, raw.apart)

    points = fit.pose.apply(state.points)
    factors = _factors(
        occasion,
        solution,
        instrument,
        rotation=raw.pose.rotation,
        points=points,
        datum=fit.used,
        raised=_raised(solution),
    )
    order = _order(names, listed)
    estimate = _estimate(points, names, factors, solution).pick([f"{names[i]}.{axis}" for i in order for axis in "xyz"])
    carried = np.array([name in listed and listed[name].carrier != "wall" for name in names])
    found = PointSet(
        frame="girder",
        names=tuple(names[i] for i in order),
        estimate=estimate,
        carriers={names[i]: listed[names[i]].carrier if names[i] in listed else "wall" for i in order},
        pose=fit.pose,
        stations=station_fits(cleaned, state, frame),
        residuals=residuals(cleaned),
        rejected=rejected(cleaned),
        undetermined={k: v for k, v in cleaned.survey.lost.items() if k not in network.stations},
        scale=0.0,
        u_scale=instrument.u_scale,
        variance_factor=solution.square_sum / solution.dof if solution.dof > 0 else float("nan"),
        dof=float(solution.dof),
        gates=(*moves, *_gates(cleaned, network, (*doubles, *notes), fit=fit, nominal=nominal, carried=carried)),
    )
    carriers = tuple(found.carriers[name] for name in names)
    laid = Laid(
        found, cleaned, instrument, settings, raw.pose, move, fit.used, nominal, carriers, raised=_raised(solution)
    )
    return replace(found, unfold=SurveyUnfold(laid))


def _order(names: Sequence[str], listed: Mapping[str, Target]) -> list[int]:
    """Targets in the order of the list, then monuments by name."""
    place = {name: i for i, name in enumerate(listed)}
    return sorted(range(len(names)), key=lambda i: (place.get(names[i], len(place)), names[i]))


def _estimate(points: Array, names: Sequence[str], factors: dict[str, Factor], solution: Solution) -> Estimate:
    labels = tuple(Label(f"{name}.{axis}", "m", "girder") for name in names for axis in "xyz")
    dof = float(solution.dof) if _raised(solution) > 1.0 else float("inf")
    return Estimate(points.reshape(-1), labels, factors, dof)
