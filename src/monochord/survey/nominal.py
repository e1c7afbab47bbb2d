"""A survey held against the girder's list: mirrored, in the wrong unit, names exchanged, scale off."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monochord.campaign.found.axes import Gate
from monochord.campaign.found.points import PointSet
from monochord.campaign.given.girder import Target
from monochord.ground.faults import Fault, Refused
from monochord.survey.datum import NominalFit
from monochord.survey.network import Array, Flags
from monochord.survey.start import extents, mirrored

#: Ratios that mistaken units of length make, with the words for them.
UNIT_SLIPS: tuple[tuple[float, str], ...] = (
    (25.4, "lengths in inches were taken for millimetres, or nominal places in millimetres for inches"),
    (1000.0, "lengths in metres were taken for millimetres"),
    (0.3048, "lengths in metres were taken for feet"),
    (0.9144, "lengths in metres were taken for yards"),
    (10.0, "lengths in centimetres were taken for millimetres"),
)


#: A survey that departs from its list by more than this part of the girder's size is of something else.
MISFIT = 0.01


def size_ratio(points: Array, nominal: Array) -> float:
    """How many times larger the nominal set (n, 3) is than the measured one: median ratio of mutual distances.

    >>> size_ratio(np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]), np.array([[0.0, 0, 0], [2, 0, 0], [0, 2, 0]]))
    2.0
    """
    upper = np.triu_indices(len(points), 1)
    measured = np.sqrt(((points[:, None] - points[None]) ** 2).sum(axis=2))[upper]
    listed = np.sqrt(((nominal[:, None] - nominal[None]) ** 2).sum(axis=2))[upper]
    return float(np.median(listed[measured > 0.0] / measured[measured > 0.0]))


def refuse_nonsense(points: Array, nominal: Array) -> None:
    """Raise Refused when points (n, 3) [m] fit their nominal places only in a mirror or in another unit."""
    if len(points) < 3 or extents(nominal)[0] == 0.0:
        return
    ratio = size_ratio(points, nominal)
    for slip, words in UNIT_SLIPS:
        if min(abs(ratio / slip - 1.0), abs(ratio * slip - 1.0)) < 0.01:
            given = f"a survey {1.0 / ratio:.4g} times the size of the nominal targets"
            remedy = f"check the unit of the distances and of the list of targets: perhaps {words}"
            raise Refused([Fault(given, "the same size", remedy)])
    if mirrored(points * ratio, nominal):
        remedy = (
            "check the sense of the directions (clockwise or counter-clockwise), where the zenith angle is 0, "
            "and the axes of the frame in the lab description"
        )
        given = "a mirrored frame: the targets fit their nominal places only in a mirror"
        raise Refused([Fault(given, "frames of one hand", remedy)])


def refuse_misfit(fit: NominalFit, nominal: Array) -> None:
    """Raise Refused when even the points that decide the frame lie far from their nominal places (n, 3) [m]."""
    size = extents(nominal[fit.used])[0]
    if fit.rms > MISFIT * size:
        given = f"a survey that fits the list of targets only to {fit.rms * 1e3:.1f} mm"
        expected = f"a fit within {MISFIT * 100:.0f} per cent of the girder's size"
        remedy = "check the units and the zero of the angles, the names of the targets, and whether this is the girder"
        raise Refused([Fault(given, expected, remedy)])


def relative_scale(points: Array, nominal: Array) -> tuple[float, float]:
    """Size of points (n, 3) against their nominal places, minus 1, and its standard uncertainty from the scatter.

    The points are laid onto the nominal places first; s = sum a.b / sum b.b - 1 over centred coordinates.

    >>> corner = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
    >>> relative_scale(corner * 1.001, corner)[0].__round__(9)
    0.001
    """
    a, b = points - points.mean(axis=0), nominal - nominal.mean(axis=0)
    square = float((b**2).sum())
    scale = float((a * b).sum()) / square - 1.0
    rest = a - (1.0 + scale) * b
    freedom = max(3 * len(a) - 7, 1)
    return scale, float(np.sqrt((rest**2).sum() / freedom / square))


def scale_against_nominal(points: PointSet, targets: Sequence[Target]) -> tuple[float, float]:
    """Scale of a point set against the nominal places of its targets, relative, and its standard uncertainty.

    Positive: the survey is larger than the list. Nominal places are good to a fraction of a millimetre, so this
    finds wrong units and wrong refractive corrections of tens of parts in a million, not of one.

    Raises Refused with fewer than three common targets.
    """
    places = {t.name: t.nominal for t in targets if t.nominal is not None and t.carrier != "wall"}
    rows = [i for i, name in enumerate(points.names) if name in places]
    if len(rows) < 3:
        expected = "at least three targets with nominal places"
        raise Refused([Fault(f"{len(rows)} of them", expected, "add nominal places to the list of targets")])
    measured = points.estimate.value.reshape(-1, 3)[rows]
    listed = np.array([places[points.names[i]] for i in rows], float)
    return relative_scale(measured, listed)


def _exchanged(names: Sequence[str], laid: Array, nominal: Array, far: Flags, near: float) -> list[tuple[str, str]]:
    """Pairs of far-off targets that lie at each other's nominal places."""
    rows = np.flatnonzero(far).tolist()
    found = []
    for k, i in enumerate(rows):
        for j in rows[k + 1 :]:
            apart = max(np.abs(laid[i] - nominal[j]).max(), np.abs(laid[j] - nominal[i]).max())
            if apart < near:
                found.append((min(names[i], names[j]), max(names[i], names[j])))
    return sorted(found)


def nominal_gates(names: Sequence[str], laid: Array, nominal: Array, fit: NominalFit) -> list[Gate]:
    """Checks of laid targets (n, 3) [m] against nominal places (n, 3), NaN where there is none."""
    known = np.isfinite(nominal[:, 0])
    apart = np.where(known[:, None], np.abs(fit.apart), 0.0).max(axis=1)
    near = max(10.0 * fit.rms, 1e-3)
    far = apart > near
    gates = []
    swaps = _exchanged(names, laid, nominal, far, near)
    if swaps:
        words = ", ".join(f"{a} and {b}" for a, b in swaps)
        gates.append(Gate("target names", False, f"{words} lie at each other's nominal places: names exchanged?"))
    swapped = {name for pair in swaps for name in pair}
    lone = [f"{names[i]} by {apart[i] * 1e3:.2f} mm" for i in np.flatnonzero(far).tolist() if names[i] not in swapped]
    words = f"girder targets fit their nominal places to {fit.rms * 1e3:.2f} mm rms per coordinate"
    if lone:
        words += f"; far from their nominal places, and without say in the frame: {', '.join(lone)}"
    gates.append(Gate("nominal places", not lone, words))
    scale, u = relative_scale(laid[known], nominal[known]) if known.sum() >= 3 and not far.any() else (0.0, np.inf)
    if abs(scale) > 4.0 * u:
        words = f"the survey is {scale * 1e6:.0f} +- {u * 1e6:.0f} um/m larger than the nominal targets; check the air"
        gates.append(Gate("scale against nominal", False, words))
    return gates
