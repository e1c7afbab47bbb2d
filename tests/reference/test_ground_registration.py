"""Best rigid motions against a published example, an independent library and an independent algorithm."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from monochord.ground.frames import cross_matrix, fit_rigid
from monochord.ground.least_squares import adjust

Array = NDArray[np.float64]

# Six points of a public registration test (read): turned by 30 degrees about z and shifted by (-1, -1, -1).
SIX = np.array([[1, 1, 1], [3, 4, 5], [10, 8, 6], [2, 4, 7], [7, 1, 2], [-14, -5, 16.0]])


def test_mirror_triangles_are_matched_by_a_rotation_and_never_by_a_mirror() -> None:
    """Umeyama 1991, IEEE Trans. PAMI 13: (0,0) (1,0) (0,2) onto (0,0) (-1,0) (0,2); points read, results from memory.

    The paper works in the plane and with a scale; without scale the rotation is the same, 3/sqrt(13) and 2/sqrt(13). Two
    further points far above and below the middle of both triangles hold the third axis, so that in space, too, the branch of
    the negative determinant has to act in the plane.
    """
    a = np.array([[0, 0, 0], [1, 0, 0], [0, 2, 0.0]])
    b = np.array([[0, 0, 0], [-1, 0, 0], [0, 2, 0.0]])
    pole = np.array([[0, 0, 100.0], [0, 0, -100.0]])
    found = fit_rigid(np.vstack([a, a.mean(axis=0) + pole]), np.vstack([b, b.mean(axis=0) + pole]), frames=("a", "b"))
    c, s = 3.0 / np.sqrt(13.0), 2.0 / np.sqrt(13.0)
    np.testing.assert_allclose(found.rotation, [[c, s, 0], [-s, c, 0], [0, 0, 1]], atol=1e-12)
    np.testing.assert_allclose(found.rotation[:2, :2], [[0.832, 0.555], [-0.555, 0.832]], atol=5e-4)  # printed, memory
    assert np.linalg.det(found.rotation) == pytest.approx(1.0, abs=1e-12)
    np.testing.assert_allclose(found.shift, [-0.98048356, 0.29686654, 0.0], atol=1e-8)  # recomputed once elsewhere
    mean_square = float(((b - found.apply(a)) ** 2).sum() / 3.0)
    assert mean_square == pytest.approx(20.0 / 9.0 - 2.0 * np.sqrt(52.0) / 9.0, abs=1e-12)  # derived


def test_exact_recovery() -> None:
    turned = SIX @ Rotation.from_euler("z", 30, degrees=True).as_matrix().T - 1.0
    found = fit_rigid(SIX, turned, frames=("a", "b"))
    assert found.rotation[0, 0] == pytest.approx(np.cos(np.pi / 6.0), abs=1e-14)
    assert found.rotation[1, 0] == pytest.approx(0.5, abs=1e-14)
    np.testing.assert_allclose(found.shift, -1.0, atol=1e-13)


@pytest.mark.parametrize("mirrored", [False, True])
def test_agreement_with_a_library_and_with_the_quaternion_method(mirrored: bool) -> None:
    """scipy's align_vectors (independent code), and the largest eigenvector of Horn 1987 (from memory)."""
    other = SIX[::-1] * [1.0, 1.1, -0.9 if mirrored else 0.9] + [5.0, 6.0, 7.0]
    a, b = SIX - SIX.mean(axis=0), other - other.mean(axis=0)
    found = fit_rigid(SIX, other, frames=("a", "b"))
    library, distance = Rotation.align_vectors(b, a)
    np.testing.assert_allclose(found.rotation, library.as_matrix(), atol=1e-10)
    assert float(((other - found.apply(SIX)) ** 2).sum()) == pytest.approx(distance**2, rel=1e-10)
    s = a.T @ b
    lean = np.array([s[1, 2] - s[2, 1], s[2, 0] - s[0, 2], s[0, 1] - s[1, 0]])
    horn = np.block([[np.array([[np.trace(s)]]), lean[None]], [lean[:, None], s + s.T - np.trace(s) * np.eye(3)]])
    w, x, y, z = np.linalg.eigh(horn)[1][:, -1]
    np.testing.assert_allclose(found.rotation, Rotation.from_quat([x, y, z, w]).as_matrix(), atol=1e-9)


def test_weights_agree_with_a_library() -> None:
    other = SIX[::-1] * [1.0, 1.1, 0.9]
    weights = np.array([1.0, 2.0, 0.5, 4.0, 1.0, 3.0])
    mean_a, mean_b = (weights @ points / weights.sum() for points in (SIX, other))
    library, _ = Rotation.align_vectors(other - mean_b, SIX - mean_a, weights=weights)
    found = fit_rigid(SIX, other, frames=("a", "b"), weights=weights)
    np.testing.assert_allclose(found.rotation, library.as_matrix(), atol=1e-10)
    np.testing.assert_allclose(found.apply(mean_a), mean_b, atol=1e-12)


def test_uncertainty_of_a_rigid_fit_to_four_girder_targets() -> None:
    """Derived for a symmetric layout (+-1.5, +-0.3, 0) m with 10 um on each measured coordinate.

    Turns: sigma over the root of the sum of squared arms about each axis; shift sigma / 2. A magnet at (1.2, 0, 0.1) m adds
    its arms. The linear adjustment of turn and shift gives the same, and so do 5000 simulated rigid fits within 4 %.
    """
    sigma = 10e-6
    targets = np.array([[1.5, 0.3, 0], [1.5, -0.3, 0], [-1.5, 0.3, 0], [-1.5, -0.3, 0]])
    design = np.vstack([np.hstack([-cross_matrix(p), np.eye(3)]) for p in targets])
    net = adjust(design, np.zeros(12), sigma=sigma)
    turns = sigma / np.sqrt([0.36, 9.0, 9.36])
    np.testing.assert_allclose(net.u, np.concatenate([turns, [sigma / 2.0] * 3]), rtol=1e-12)
    np.testing.assert_allclose(1e6 * net.u[:3], [16.6667, 3.33333, 3.26860], atol=5e-5)  # urad
    magnet = np.hstack([-cross_matrix(np.array([1.2, 0.0, 0.1])), np.eye(3)])
    at_magnet = 1e6 * np.sqrt(np.diag(magnet @ net.cofactor @ magnet.T))
    np.testing.assert_allclose(at_magnet[1:], [6.569809, 6.403124], atol=1e-6)  # um
    rng = np.random.default_rng(3)
    fits = [fit_rigid(targets, targets + sigma * rng.standard_normal((4, 3)), frames=("a", "b")) for _ in range(5000)]
    turned = np.array([[m.rotation[2, 1], m.rotation[0, 2], m.rotation[1, 0]] for m in fits])
    # Four standard errors of a standard deviation from 5000 cases are 4 / sqrt(10000).
    np.testing.assert_allclose(turned.std(axis=0) / turns, 1.0, atol=0.04)
