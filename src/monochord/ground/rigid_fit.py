"""A rigid fit with what the points tell about it: plane or line, mirror, scale, and how well they agree.

A fit by singular values answers always. Whether the answer is geometry, the points themselves must say: those on one line
leave the turn about it free; those in one plane fit from both of its sides alike, so that two exchanged columns look like a
half-turn; a mirrored set fits a mirror far better than a motion; a wrong unit shows as a scale.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.ground.faults import Undetermined
from monochord.ground.frames import Rigid, fit_rigid, half_axes

Array = NDArray[np.float64]

#: Points lie in a plane when their extent across it is below this part of their largest one ...
FLAT = 1e-3
#: ... or below so many times the misfit of the best fit, as it stands, in a mirror, or scaled.
FLAT_TIMES = 3.0
#: A mirror or a scale explains a misfit when it makes it so many times smaller.
TIMES_BETTER = 10.0


@dataclass(frozen=True, eq=False, slots=True)
class RigidFit:
    """A motion fitted to n points, and what they say of it.

    residuals     (n, 3) target minus moved source [m];  dof  3 n - 6
    rms           root mean square distance of the points, sqrt(sum |r|^2 / n) [m]
    flat          whether the points lie in one plane: then the side from which it is seen hangs on its normal alone
    normal        (3,) unit normal of the source's best plane
    mirror_rms    the same misfit when a mirror is allowed [m];  scale, scale_rms  when the size is free
    """

    motion: Rigid
    residuals: Array
    dof: int
    flat: bool
    normal: Array
    mirror_rms: float
    scale: float
    scale_rms: float

    @property
    def rms(self) -> float:
        """Root mean square distance of the points after the fit [m]."""
        return float(np.sqrt((self.residuals**2).sum() / len(self.residuals)))

    @property
    def sigma0(self) -> float:
        """Standard deviation of one coordinate from the residuals [m]; NaN without redundancy, as nothing is known of it then."""
        return float(np.sqrt((self.residuals**2).sum() / self.dof)) if self.dof > 0 else float("nan")

    @property
    def turned_over(self) -> bool:
        """Whether a plane of points comes out upside down: exchanged columns of a flat set look like this."""
        return self.flat and float(self.normal @ self.motion.turn(self.normal)) < 0.0

    @property
    def mirrored(self) -> bool:
        """Whether a mirror image fits far better than any motion; never told of a flat set, which is its own mirror image."""
        return not self.flat and self.rms > TIMES_BETTER * self.mirror_rms

    @property
    def scaled(self) -> bool:
        """Whether another size fits far better: two units mixed up."""
        return self.rms > TIMES_BETTER * self.scale_rms and abs(self.scale - 1.0) > 1e-3

    @property
    def words(self) -> tuple[str, ...]:
        """What a person must know before believing the motion."""
        said = []
        if self.turned_over:
            said.append("the points lie in one plane and the fit turns the plane over; columns exchanged?")
        elif self.flat:
            said.append("the points lie in one plane: a mirror image of them cannot be told from a motion")
        if self.mirrored:
            rms = f"{self.rms * 1e3:.3g} mm to {self.mirror_rms * 1e3:.3g} mm"
            said.append(
                f"mirrored: the misfit falls from {rms} in a mirror; columns exchanged, or an axis turned round?"
            )
        if self.scaled:
            rms = f"{self.rms * 1e3:.3g} mm to {self.scale_rms * 1e3:.3g} mm"
            said.append(f"the misfit falls from {rms} with a scale of {self.scale:.6g}; a wrong unit?")
        return tuple(said)


def rigid_fit(source: Array, target: Array, *, frames: tuple[str, str]) -> RigidFit:
    """Best rigid motion of source points onto target points with what they say of it, both (n, 3) [m].

    Minimises sum |R a + t - b|^2, det R = +1; the motion leads from the first of the frames to the second.

    Raises Undetermined when the points leave a part of the motion free, Refused when a coordinate is no number.
    Source: Umeyama 1991 for the motion; the rest derived.

    >>> a = np.array([[0.0, 0, 0], [3, 0, 0], [3, 0.8, 0], [0, 0.8, 0]])
    >>> fit = rigid_fit(a, a[:, [1, 0, 2]], frames=("listed", "measured"))
    >>> round(fit.rms, 12), fit.words
    (0.0, ('the points lie in one plane and the fit turns the plane over; columns exchanged?',))
    """
    motion = fit_rigid(source, target, frames=frames)
    residuals = target - motion.apply(source)
    sizes, axes = half_axes(source)
    mirror = source * [1.0, 1.0, -1.0]
    mirror_rms = _rms(target - fit_rigid(mirror, target, frames=frames).apply(mirror))
    scale = scale_between(source, target)
    scale_rms = _rms(target - fit_rigid(source * scale, target, frames=frames).apply(source * scale))
    noise = min(_rms(residuals), mirror_rms, scale_rms)
    flat = bool(sizes[2] < max(FLAT * sizes[0], FLAT_TIMES * noise))
    return RigidFit(motion, residuals, 3 * len(source) - 6, flat, axes[2], mirror_rms, scale, scale_rms)


def scale_between(source: Array, target: Array) -> float:
    """Size of the target over that of the source, both (n, 3), from their extents about their centres.

    Raises Undetermined when the source has no extent.

    >>> scale_between(np.array([[0.0, 0, 0], [1, 0, 0]]), np.array([[0.0, 0, 0], [25.4, 0, 0]]))
    25.4
    """
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    size = float((a**2).sum())
    if not size > 0.0:
        raise Undetermined(["scale"], "all points lie in one place")
    return float(np.sqrt((b**2).sum() / size))


def _rms(residuals: Array) -> float:
    return float(np.sqrt((residuals**2).sum() / len(residuals)))
