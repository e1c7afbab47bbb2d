"""The common line by the campaign's declared rule, and the offsets of the centres from it.

The weights are declared (equal, by kind, given); the covariance of the measurement never weights the
line, or the line would run through the best measured magnets only. It belongs to the uncertainty of
the offsets.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.axes import Axis, CommonLine
from monochord.campaign.given.campaign import LineRule
from monochord.campaign.given.girder import Magnet
from monochord.ground.estimate import Estimate, Label, stack
from monochord.ground.faults import FrameMismatch, Undetermined
from monochord.ground.lines import line_gain

Array = NDArray[np.float64]


def weights_of(rule: LineRule, magnets: Sequence[Magnet]) -> Array:
    """Weight of each magnet in the common line, (n,), from the declared rule.

    "equal" gives ones; "by kind" and "given" look up the kind, then the name, and give 1 where neither stands.

    >>> weights_of(LineRule(weights="by kind", weight_of={"sextupole": 0.5}), [Magnet("S", "sextupole", (0, 0, 0))])
    array([0.5])
    """
    if rule.weights == "equal":
        return np.ones(len(magnets))
    return np.array([rule.weight_of.get(m.name, rule.weight_of.get(m.kind, 1.0)) for m in magnets])


def line_projector(z: Array, weights: Array) -> Array:
    """The matrix H (2, n) that gives start and slope of the weighted line from n values, H = (A'WA)^-1 A'W.

    z  (n,) places [m];  weights  (n,), at least two of them positive at different z, else Undetermined

    >>> line_projector(np.array([-1.0, 1.0]), np.ones(2)) @ [1.0, 3.0]
    array([2., 1.])
    """
    carried = z[weights > 0.0]
    if len(carried) < 2 or np.ptp(carried) == 0.0:
        raise Undetermined(["common line"], "it needs two magnets with known centres at different z")
    return line_gain(z, weights)


@dataclass(frozen=True, eq=False, slots=True)
class Line:
    """A straight line in space as an estimate: components start_x, slope_x, start_y, slope_y at z = 0, frame of the axes."""

    estimate: Estimate

    def at(self, z: float) -> tuple[float, float]:
        """(x, y) of the line at z [m]."""
        v = self.estimate.value
        return float(v[0] + z * v[1]), float(v[2] + z * v[3])


def centres(axes: Sequence[Axis]) -> tuple[Estimate, Array]:
    """Joint estimate of all centres "<magnet>.x", "<magnet>.y" [m] and their z (n,); axes must share one frame."""
    frames = {axis.frame for axis in axes}
    if len(frames) > 1:
        raise FrameMismatch(", ".join(sorted(frames)), axes[0].frame)
    picked = [a.estimate.pick([f"{a.magnet}.x", f"{a.magnet}.y"]) for a in axes]
    return stack(picked), np.array([a.z for a in axes])


def known(axes: Sequence[Axis]) -> list[Axis]:
    """The axes whose centre was found."""
    return [a for a in axes if bool(np.isfinite(a.estimate.value[:2]).all())]


def fit_line(axes: Sequence[Axis], weights: Mapping[str, float]) -> Line:
    """Refit the line through the centres; a magnet not named in ``weights`` counts 1."""
    joint, z = centres(axes)
    projector = line_projector(z, np.array([weights.get(a.magnet, 1.0) for a in axes]))
    jacobian = np.zeros((4, 2 * len(z)))
    jacobian[:2, 0::2] = projector
    jacobian[2:, 1::2] = projector
    frame = axes[0].frame
    labels = [
        Label(f"start_{p}" if i == 0 else f"slope_{p}", "m" if i == 0 else "rad", frame) for p in "xy" for i in (0, 1)
    ]
    return Line(joint.through(jacobian, labels))


def offsets_from(line: Line, axes: Sequence[Axis]) -> Estimate:
    """Offsets of the centres from a line, "<magnet>.x", "<magnet>.y" [m], centre minus line, shared causes kept."""
    joint, z = centres(axes)
    if line.estimate.labels[0].frame != axes[0].frame:
        raise FrameMismatch(line.estimate.labels[0].frame, axes[0].frame)
    n = len(z)
    jacobian = np.zeros((2 * n, 2 * n + 4))
    jacobian[:, : 2 * n] = np.eye(2 * n)
    jacobian[0::2, 2 * n : 2 * n + 2] = -np.stack([np.ones(n), z], axis=1)
    jacobian[1::2, 2 * n + 2 :] = -np.stack([np.ones(n), z], axis=1)
    return stack([joint, line.estimate]).through(jacobian, joint.labels)


def common_line(
    axes: Sequence[Axis], rule: LineRule, magnets: Sequence[Magnet], *, bench: Line | None = None
) -> CommonLine:
    """Offsets of all known centres from the common line of the declared rule.

    axes   of one occasion, one frame;  bench  the line of the reference occasion, needed when the rule says so

    Raises Undetermined when fewer than two centres are known, or the bench line is wanted and not there.
    """
    found = known(axes)
    named = {m.name: w for m, w in zip(magnets, weights_of(rule, magnets), strict=True)}
    if rule.line == "bench" and bench is None:
        raise Undetermined(["common line"], "the rule wants the bench line, and no bench line reaches this occasion")
    if not found:
        raise Undetermined(["common line"], "no centre is known on this occasion")
    line = bench if rule.line == "bench" and bench is not None else fit_line(found, named)
    z = np.array([a.z for a in found])
    v = line.estimate.value
    return CommonLine(
        rule=rule.words,
        offsets=offsets_from(line, found),
        start=(float(v[0]), float(v[2])),
        slope=(float(v[1]), float(v[3])),
        leverage=_leverage(found, z, named) if rule.line == "refitted" else {a.magnet: 0.0 for a in found},
    )


def _leverage(axes: Sequence[Axis], z: Array, named: Mapping[str, float]) -> dict[str, float]:
    projector = line_projector(z, np.array([named.get(a.magnet, 1.0) for a in axes]))
    hat = projector[0] + z * projector[1]
    return {a.magnet: float(h) for a, h in zip(axes, hat, strict=True)}
