"""From the wire's own frame into the girder frame, through the surveyed ends of the wire.

The survey gives the two nests; a calibrated vector leads from each nest to the wire, the same on all
occasions, so its error cancels between occasions and is carried as one shared cause a nest. Sag hangs
along gravity, which is not quite the girder's y.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.axes import Axis, Gate
from monochord.campaign.found.result import WireFinding
from monochord.campaign.given.wire import Wire, WireEnd
from monochord.ground.estimate import Estimate, Label, stack
from monochord.ground.faults import Undetermined
from monochord.wire.evidence import PlacedUnfold

Array = NDArray[np.float64]

#: Surveyed ends this much nearer or farther than the supports are told to be are noticed [m].
ENDS_LIMIT = 0.05


def wire_at_ends(ends: Estimate, wire_ends: Sequence[WireEnd]) -> Estimate:
    """The wire at its two ends, "<nest>.x/.y/.z" [m] in the frame of the nests: nest plus calibrated vector.

    ends  the surveyed nests; the vectors add the cause "nest vector:<nest>" (u_to_wire per axis)

    >>> nests = Estimate.of([0.0] * 3, ["W.x", "W.y", "W.z"], unit="m", frame="girder", causes={"reading": np.eye(3)})
    >>> wire_at_ends(nests, [WireEnd("W", (0.04, -0.01, 0.0), 1e-5, 0.0)]).value.tolist()
    [0.04, -0.01, 0.0]
    """
    names = [f"{end.nest}.{c}" for end in wire_ends for c in "xyz"]
    found = ends.pick(names)
    vectors = np.concatenate([np.array(end.to_wire) for end in wire_ends])
    found = found.through(np.eye(len(names)), found.labels, value=found.value + vectors)
    for k, end in enumerate(wire_ends):
        jacobian = np.zeros((len(names), 3))
        jacobian[3 * k : 3 * k + 3] = np.eye(3)
        found = found.adding(f"nest vector:{end.nest}", jacobian, end.u_to_wire**2 * np.eye(3))
    return found


def place_axes(finding: WireFinding, ends: Estimate, wire: Wire, occasion: str, up: Array) -> WireFinding:
    """Axes of the wire's frame expressed in the girder frame.

    ends  components "<nest>.x/.y/.z" of both nests [m], girder frame;  up  (3,) unit vector against gravity, girder frame

    x_girder = (1 - t) A_x + t B_x + x_wire - sag(z) up_x, with t the part of the way from end A to end B at the
    magnet's z; y alike, where the sag along y is in y_wire already. Slopes add the chord's slope.

    Raises Undetermined when the wire has no two ends with different z.
    """
    if len(wire.ends) != 2:
        raise Undetermined(["wire ends"], f"two surveyed ends are needed on {occasion}, {len(wire.ends)} are described")
    at_ends = _chord_at_ends(wire_at_ends(ends, wire.ends), finding.sag, wire, up)
    a, b = at_ends.value[:3], at_ends.value[3:]
    if abs(b[2] - a[2]) < 0.1 * wire.length:
        raise Undetermined(["wire ends"], f"the two ends surveyed on {occasion} lie {b[2] - a[2]:.3f} m apart along z")
    axes = tuple(_placed(axis, at_ends, finding.sag, wire, up) for axis in finding.axes)
    nests = ends.pick(at_ends.names).value
    unfold = PlacedUnfold(occasion, wire, nests, at_ends.value, up, finding.sag, axes, finding.unfold)
    return replace(finding, axes=axes, gates=(*finding.gates, _ends_gate(a, b, wire)), unfold=unfold)


def _chord_at_ends(at_ends: Estimate, mid_sag: float, wire: Wire, up: Array) -> Estimate:
    """The chord of the supports where the ends are surveyed: above the wire by its sag there, if they lie between."""
    z = at_ends.value[2::3]
    ratio = np.clip((z - wire.z_start) / wire.length, 0.0, 1.0)
    lift = np.outer(4.0 * mid_sag * ratio * (1.0 - ratio), up)
    return at_ends.through(np.eye(6), at_ends.labels, value=at_ends.value + lift.ravel())


def _placed(axis: Axis, at_ends: Estimate, mid_sag: float, wire: Wire, up: Array) -> Axis:
    a, b = at_ends.value[:3], at_ends.value[3:]
    t = (axis.z - a[2]) / (b[2] - a[2])
    ratio = (axis.z - wire.z_start) / wire.length
    sag, sag_slope = 4.0 * mid_sag * ratio * (1.0 - ratio), 4.0 * mid_sag * (1.0 - 2.0 * ratio) / wire.length
    # in the wire's frame the sag ran along -y; along gravity it runs along -up
    lean = np.array([up[0], up[1] - 1.0])
    shift = (1.0 - t) * a[:2] + t * b[:2] - sag * lean
    slope = (b[:2] - a[:2]) / (b[2] - a[2]) - sag_slope * lean
    value = axis.estimate.value + np.concatenate([shift, slope])
    jacobian = np.hstack([np.eye(4), _of_ends(t, float(b[2] - a[2]), np.isfinite(value))])
    labels = [Label(label.name, label.unit, "girder") for label in axis.estimate.labels]
    return replace(
        axis,
        frame="girder",
        estimate=stack([axis.estimate, at_ends]).through(jacobian, labels, value=value),
        remanence_x=None if axis.remanence_x is None else axis.remanence_x + float(shift[0]),
        remanence_y=None if axis.remanence_y is None else axis.remanence_y + float(shift[1]),
    )


def _of_ends(t: float, span: float, known: NDArray[np.bool_]) -> Array:
    """How x, y, slope_x, slope_y follow the six coordinates of the ends; rows of unknown values stay empty."""
    rows = np.zeros((4, 6))
    for k in (0, 1):
        rows[k, k], rows[k, 3 + k] = 1.0 - t, t
        rows[2 + k, k], rows[2 + k, 3 + k] = -1.0 / span, 1.0 / span
    rows[~known] = 0.0
    return rows


def _ends_gate(a: Array, b: Array, wire: Wire) -> Gate:
    apart = float(np.linalg.norm(b - a))
    ok = abs(apart - wire.length) <= ENDS_LIMIT
    words = f"the surveyed ends of the wire lie {apart:.3f} m apart, its supports {wire.length:.3f} m"
    return Gate("wire ends", ok, words if ok else f"{words}: check nests, names and the length of the wire")
