"""A datum for what was adjusted without one: which points say where the frame is.

Inner constraints over some points E: of all frames, the one in which those points have moved least
altogether, no mean shift and no mean turn. Any solution x with cofactor Q is carried there by the
S-transform, x_E = S x, Q_E = S Q S', S = I - G (G' E G)^-1 G' E (Baarda 1973), where the columns of
G are the six rigid motions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monochord.ground.frames import Rigid, fit_rigid
from monochord.survey.network import Array, Flags
from monochord.survey.start import FAR, agreeing


def rigid_motions(points: Array, about: Array) -> Array:
    """How points (n, 3) follow three shifts [m] and three turns [rad] about a place (3,): (3n, 6).

    >>> rigid_motions(np.array([[0.0, 0.0, 2.0]]), np.zeros(3))[:, 3:].tolist()
    [[0.0, 2.0, 0.0], [-2.0, 0.0, 0.0], [0.0, 0.0, 0.0]]
    """
    motions = np.zeros((len(points), 3, 6))
    motions[:, :, :3] = np.eye(3)
    for axis, unit in enumerate(np.eye(3)):
        motions[:, :, 3 + axis] = np.cross(unit, points - about)
    return motions.reshape(-1, 6)


def s_transform(points: Array, datum: Flags) -> Array:
    """S (3n, 3n), which carries errors of points (n, 3) to the inner-constraint datum over those in ``datum`` (n,).

    Raises numpy's LinAlgError when the datum points lie on one line.

    >>> corner = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [5, 5, 5]])
    >>> S = s_transform(corner, np.array([True, True, True, False]))
    >>> bool(np.allclose(S @ rigid_motions(corner, np.zeros(3)), 0.0, atol=1e-12))
    True
    """
    motions = rigid_motions(points, points[datum].mean(axis=0))
    held = motions * np.repeat(datum, 3)[:, None]
    transform: Array = np.eye(len(motions)) - motions @ np.linalg.solve(held.T @ motions, held.T)
    return transform


@dataclass(frozen=True, eq=False, slots=True)
class NominalFit:
    """Points laid onto their nominal places.

    pose   survey frame -> girder frame;  used  (n,) points that decided it
    apart  (n, 3) fitted minus nominal [m], NaN without a nominal place
    """

    pose: Rigid
    used: Flags
    apart: Array

    @property
    def rms(self) -> float:
        """Root mean square per coordinate of the points that decided [m]."""
        return float(np.sqrt((self.apart[self.used] ** 2).mean()))


def fit_nominal(points: Array, nominal: Array, u_nominal: Array, wanted: Flags, frame: str) -> NominalFit:
    """Best rigid fit of the wanted points onto their nominal places; one that is far off its place does not decide.

    points, nominal  (n, 3) [m];  u_nominal  (n,) [m], 0 when not told;  wanted  (n,);  frame  name of the points' frame
    """
    chosen = np.flatnonzero(wanted)
    limit = FAR * np.sqrt(u_nominal[chosen][:, None] ** 2 + u_nominal[chosen][None] ** 2) + 1e-4
    kept = agreeing(points[chosen], nominal[chosen], limit)
    used = np.zeros(len(points), np.bool_)
    used[chosen[kept] if kept.sum() >= 3 else chosen] = True
    pose = fit_rigid(points[used], nominal[used], frames=(frame, "girder"))
    return NominalFit(pose, used, pose.apply(points) - nominal)


def aligned(pose: Rigid) -> Rigid:
    """The turn about up and the shift that bring a frame as near to the girder's as its up allows.

    A frame in which up is the plumb line keeps it; what is then left of the pose is how the girder leans.

    >>> float(aligned(Rigid("survey", "girder", np.eye(3), np.array([1.0, 2.0, 3.0]))).shift[2])
    3.0
    """
    r = pose.rotation
    turn = np.arctan2(r[0, 2] - r[2, 0], r[0, 0] + r[2, 2])
    cos, sin = np.cos(turn), np.sin(turn)
    heading = np.array([[cos, 0.0, sin], [0.0, 1.0, 0.0], [-sin, 0.0, cos]])
    return Rigid(pose.source, pose.source, heading, heading @ r.T @ pose.shift)
