"""Rotating coil and moved wire against worked values and open run files.

Worked values: derived, computed elsewhere in double precision. Run files: open rotating-coil run files of the
magnets of a storage ring, 1995-1998, file names below (read; numbers copied, reduction recomputed).
"""

from __future__ import annotations

import numpy as np
import pytest

from monochord.campaign.given.girder import Magnet
from monochord.ground.faults import Undetermined
from monochord.wire.flux import counter_moves, harmonics_by_circle, quadrupole_by_moves, sextupole_by_moves
from monochord.wire.model import coefficient
from monochord.wire.rotating_coil import find_centre, from_pole_angles, moved_origin

UM = 1e-6


def test_quadrupole_with_higher_harmonics_seen_off_centre() -> None:
    """R = 10 mm, C2 = 0.30 exp(-2i 1.2e-3), C3 = 3e-4 + 1e-4i, C6 = 6e-4 about (87, -45) um."""
    own = np.array([0.0, 0.30 * np.exp(-2.4e-3j), 3e-4 + 1e-4j, 0.0, 0.0, 6e-4])
    seen = moved_origin(own, -(87 - 45j) * UM, 0.01)
    assert seen[0] == pytest.approx(-2.606728e-3 + 1.356242e-3j, abs=6e-10)
    assert seen[1] == pytest.approx(0.2999930 - 7.190393e-4j, abs=6e-8)
    found = find_centre(seen, 2, 0.01)
    assert found.first_order == pytest.approx((87.0008 - 45.0006j) * UM, abs=6e-11)
    assert found.centre == pytest.approx((87.0000 - 45.0000j) * UM, abs=1e-12)
    assert found.roll == pytest.approx(1.2e-3, abs=1e-9)
    # the raw harmonic at the coil's axis gives 1.1984 mrad: higher harmonics feed down into it
    assert -np.angle(seen[1]) / 2.0 == pytest.approx(1.1984e-3, abs=6e-8)


def test_sextupole_seen_off_centre() -> None:
    own = np.array([0.0, 0.0, 0.02 * np.exp(-3.6e-3j)])
    centre = (87 - 45j) * UM
    seen = moved_origin(own, -centre, 0.01)
    assert seen[1] == pytest.approx(-3.473497e-4 + 1.812516e-4j, abs=6e-11)
    assert seen[0] == pytest.approx(1.103155e-6 - 1.569982e-6j, abs=6e-13)
    found = find_centre(seen, 3, 0.01)
    assert found.centre == pytest.approx(centre, abs=1e-12)
    assert seen[0] == pytest.approx(seen[2] * (centre / 0.01) ** 2, rel=1e-12)
    assert abs(found.dipole) < 1e-18


def test_run_file_of_a_quadrupole() -> None:
    """File PEP2HER/QUAD/730QUAD/S163B491, run 11, 150.176 A, R = 44.646 mm: |C1|/|C2| = 0.5654 %, th1 = -145.58 deg.

    The file prints the centre x = 142.7 um and takes the quadrupole's own angle as 45 deg; with its true 44.88 deg the
    centre is (143.56, 207.63) um.
    """
    size = np.array([0.5654e-2, 1.0])
    nominal = find_centre(from_pole_angles(size, np.radians([-145.58, 45.0])), 2, 44.646e-3).first_order
    assert nominal.real == pytest.approx(142.7 * UM, abs=0.05 * UM)
    assert nominal.imag == pytest.approx(208.23 * UM, abs=0.01 * UM)
    true = find_centre(from_pole_angles(size, np.radians([-145.58, 44.88])), 2, 44.646e-3).first_order
    assert true == pytest.approx((143.56 + 207.63j) * UM, abs=0.01 * UM)


def test_run_file_of_a_sextupole_whose_centre_moves_with_current() -> None:
    """File PEP2LER/Sext/153, runs at 20.052 and 100.172 A, R = 45.002 mm: the centre moves by 29 um.

    The dipole left after feed-down shows why no sextupole is centred on its dipole: Bx looks like a constant
    background, By does not.
    """
    tables = {
        20: ([3.44748e-5, 8.18726e-5, 4.16812e-3], [-128.16, 85.90, -30.65]),
        100: ([4.90219e-5, 4.31550e-4, 2.06152e-2], [114.36, 85.92, -30.65]),
    }
    expected = {20: (48.12 - 439.35j, -2.75e-5 - 2.14e-5j), 100: (50.95 - 468.26j, 4.25e-5 - 2.08e-5j)}
    for current, (size, angle) in tables.items():
        found = find_centre(from_pole_angles(np.array(size), np.radians(angle)), 3, 45.002e-3)
        centre, dipole = expected[current]
        # the angles have two decimals of a degree: 0.005 deg of 85.9 moves 440 um by 0.08 um
        assert found.centre == pytest.approx(centre * UM, abs=0.1 * UM)
        assert found.dipole == pytest.approx(dipole, abs=0.02e-5)


def test_feed_down_of_an_offset_multipole() -> None:
    """Shift of the polynomial, derived; centre (0.2, 0.1) mm."""
    place = (0.2 + 0.1j) * 1e-3

    def seen(kind: str, derivative: float, count: int) -> np.ndarray[tuple[int], np.dtype[np.complex128]]:
        magnet = Magnet("M", kind, (0.0, 0.0, 0.0), 0.1, derivative=derivative)
        own = np.zeros(count, complex)
        own[-1] = coefficient(magnet, 1.0)
        return np.asarray(moved_origin(own, -place, 1.0))

    quad = seen("quadrupole", 20.0, 2)
    assert quad[0] * 1e3 == pytest.approx(-4.0 - 2.0j, abs=1e-12)  # By = -G dx, Bx = -G dy [mT]
    sext = seen("sextupole", 600.0, 3)
    assert sext[1] == pytest.approx(-0.12 - 0.06j, abs=1e-12)  # normal and skew gradient [T/m]
    assert sext[0] * 1e6 == pytest.approx(9.0 + 12.0j, abs=1e-9)  # B''(dx^2-dy^2)/2 and B'' dx dy [uT]
    at = (0.4 - 0.3j) * 1e-3
    assert sext[0] + sext[1] * at + sext[2] * at**2 == pytest.approx(300.0 * (at - place) ** 2, abs=1e-18)
    rolled = coefficient(Magnet("M", "quadrupole", (0.0, 0.0, 0.0), 0.1, derivative=20.0), 1.0, roll=1e-3)
    assert abs(rolled.imag) == pytest.approx(0.03999997333, abs=1e-10)


def test_moves_across_a_quadrupole() -> None:
    """G l = 7.5 T, start 0, centre 35 um, D = 2 mm: Phi = +1.4475e-5 and +1.5525e-5 V s."""
    found = quadrupole_by_moves(1.4475e-5, 1.5525e-5, 2e-3)
    assert found.offset == pytest.approx(-35.0 * UM, abs=1e-12)
    assert found.strength == pytest.approx(7.5, abs=1e-9)
    # 40 uT over 4 m adds 3.2e-7 V s to the one and takes it from the other
    assert quadrupole_by_moves(1.4475e-5 + 3.2e-7, 1.5525e-5 - 3.2e-7, 2e-3).offset == pytest.approx(
        -13.667 * UM, abs=5e-10
    )


def test_moves_across_a_sextupole() -> None:
    exact = sextupole_by_moves(6.325333e-7, -4.405333e-7, 2e-3, 400.0)
    near = sextupole_by_moves(6.325333e-7, -4.405333e-7, 2e-3)
    assert exact.offset == pytest.approx(120.000 * UM, abs=1e-10)
    assert near.offset == pytest.approx(119.284 * UM, abs=5e-10)


def test_ends_moved_oppositely_show_the_slope() -> None:
    difference = counter_moves(
        gradient=30.0, length=0.25, middle=1.3, wire_length=4.0, step=2e-3, offset=35 * UM, slope=0.8e-3
    )
    assert difference == pytest.approx(3.0500e-7, abs=5e-12)


def test_circle_around_a_quadrupole() -> None:
    """Radius 5 mm, centre (35, -20) um, roll 1.5 mrad, G l = 7.5 T."""
    theta = 2.0 * np.pi * np.arange(64) / 64
    c1 = 7.5 * np.exp(-3e-3j)
    c0 = -c1 * (35 - 20j) * UM
    zeta = 5e-3 * np.exp(1j * theta)
    flux = np.real(c0 * zeta + c1 * zeta**2 / 2.0)
    amplitudes = c0 * 5e-3, c1 * 5e-3**2 / 2.0
    assert amplitudes[0] == pytest.approx(-1.310244e-6 + 7.539341e-7j, abs=6e-13)
    assert amplitudes[1] == pytest.approx(9.374958e-5 - 2.812496e-7j, abs=6e-11)
    found = harmonics_by_circle(flux - flux[0], 5e-3)
    assert -found[0] / found[1] == pytest.approx((35 - 20j) * UM, abs=1e-13)
    assert -np.angle(found[1]) / 2.0 == pytest.approx(1.5e-3, abs=1e-12)
    assert np.abs(found[2:] * 5e-3 ** np.arange(2, len(found))).max() < 1e-15


@pytest.mark.parametrize("harmonics", [[1.0], [1.0, 0.0]])
def test_no_centre_without_the_leading_harmonic(harmonics: list[complex]) -> None:
    with pytest.raises(Undetermined, match="centre"):
        find_centre(np.array(harmonics, complex), 2, 0.01)


def test_a_dipole_has_no_centre() -> None:
    with pytest.raises(Undetermined, match="order 1"):
        find_centre(np.array([1.0 + 0j]), 1, 0.01)
