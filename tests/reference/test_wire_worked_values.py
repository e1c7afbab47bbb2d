"""Worked values of the vibrating wire, recomputed elsewhere in double precision from the formulas beside them.

Source of all values here: derived (damped string, Lorentz force, multipole expansion), computed by an independent
script with plain sums and closed forms; the digits given are the digits of that script. One wire serves all:
copper-beryllium, 4.000 m at 10 N, 1.013655e-4 kg/m, so f1 = 39.261333 Hz, decay 0.4 /s, g = 9.80665 m/s2.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.wire import Wire
from monochord.ground.string import mid_sag, sag_below_chord
from monochord.wire.centre import _stages
from monochord.wire.field_law import Law, plan_law, solve_law
from monochord.wire.model import Planes, mode_integrals, sensor_phasors, stiffness
from monochord.wire.resonance import Transfer, assumed_transfer
from monochord.wire.sag import find_sag
from monochord.wire.setup import Setup
from monochord.wire.slope import mode_weights
from monochord.wire.weights import room_nodes

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

UM = 1e-6
F1 = 39.261333
WIRE = Wire(0.0, 4.0, 1.013655e-4, 9.80665, 0.08, 0.08, 0.0, 0.0, 0.0, 0.0, 0.0)
QUAD = Magnet("Q", "quadrupole", (0.0, 0.0, 1.3), 0.25, derivative=30.0)


def gradient_integral(mode: int, offset: float, slope: float) -> float:
    """b_n = (2 G / L) (offset S + slope C) of the quadrupole [T]."""
    s, c = mode_integrals(QUAD, mode, WIRE)
    return 2.0 * QUAD.derivative / WIRE.length * (offset * s + slope * c)


def law_of(zeta: ComplexArray, value: ComplexArray, degree: int, sigma: float = 1.0) -> Law:
    """The field law through bare values, all equally good."""
    columns = np.zeros((len(zeta), 8), complex)
    columns[:, 0] = value
    return solve_law(plan_law(zeta, np.full((len(zeta), 2), sigma), degree), columns)


@pytest.mark.parametrize(
    ("z", "expected_um"), [(0.5, 86.97986), (1.0, 149.10832), (1.3, 174.45674), (2.0, 198.81110), (3.2, 127.23910)]
)
def test_sag_below_the_chord(z: float, expected_um: float) -> None:
    assert float(sag_below_chord(np.array(z), 4.0, F1)) == pytest.approx(expected_um * UM, abs=5e-11)


@pytest.mark.parametrize(("z", "expected_um"), [(0.7, 99.22662), (1.3, 158.86995), (2.0, 183.22431), (2.9, 142.96507)])
def test_sag_below_the_chord_of_two_sensors(z: float, expected_um: float) -> None:
    """Sensors at 0.08 and 3.92 m: the line through the wire there lies lower than the chord of the supports."""
    at = sag_below_chord(np.array([0.08, z, 3.92]), 4.0, F1)
    line = at[0] + (at[2] - at[0]) * (z - 0.08) / (3.92 - 0.08)
    assert at[1] - line == pytest.approx(expected_um * UM, abs=5e-11)


@pytest.mark.parametrize(("f1", "expected_um"), [(20, 766.145), (40, 191.536), (60, 85.127), (100, 30.646)])
def test_mid_sag_from_the_fundamental(f1: float, expected_um: float) -> None:
    assert mid_sag(f1) == pytest.approx(expected_um * UM, abs=5e-10)


# mode, S [m], C/S [um/mrad], motion at the antinode and at the sensor per metre of offset, b for 10 um [T]
MODES = [
    (1, 0.212818, 2.5083, 3.1916, 0.20040, 3.19227e-5),
    (2, 0.221323, -4.1793, 1.6596, 0.20800, 3.31985e-5),
    (3, 0.019332, -156.8378, 0.0966, 0.01811, 2.89986e-6),
    (4, -0.197096, 12.0121, -0.7389, -0.18377, -2.95644e-5),
    (5, -0.221805, -8.6112, -0.6653, -0.20558, -3.32708e-5),
]


@pytest.mark.parametrize("row", MODES)
def test_what_each_mode_sees_of_a_quadrupole(row: tuple[int, float, float, float, float, float]) -> None:
    mode, s, ratio, antinode, sensor, b = row
    found_s, found_c = mode_integrals(QUAD, mode, WIRE)
    assert found_s == pytest.approx(s, abs=5.1e-7)
    assert found_c / found_s * 1e3 == pytest.approx(ratio, abs=6e-5)
    assert gradient_integral(mode, 10 * UM, 0.0) == pytest.approx(b, rel=2e-6)
    # the driven mode alone, at its resonance, 20 mA: a_x = Im X
    field = np.zeros((1, 60), complex)
    field[0, mode - 1] = QUAD.derivative * found_s
    planes = Planes(F1, F1, 0.0, 0.4)
    x, _ = sensor_phasors(field, planes, WIRE, mode=mode, frequency=mode * F1, current=0.02)
    assert float(x[0].imag) == pytest.approx(sensor, abs=6e-6)
    assert float(x[0].imag) / np.sin(mode * np.pi * 0.02) == pytest.approx(antinode, abs=6e-5)


@pytest.mark.parametrize(
    ("beside", "amplitude_um", "phase_deg"),
    [
        (-1.0, 2.05397, 176.404),
        (-0.2, 9.70749, 162.386),
        (-0.0637, 22.58855, 135.040),
        (0.0, 31.91570, 90.000),
        (0.0637, 22.53365, 45.006),
        (0.2, 9.65364, 17.699),
        (1.0, 2.00211, 3.688),
    ],
)
def test_resonance_curve(beside: float, amplitude_um: float, phase_deg: float) -> None:
    """Mode 1, 10 um off, 20 mA, x plane, at the antinode: X = -(I b / mu) / D."""
    w1 = 2 * np.pi * F1
    d = stiffness(w1, w1, 0.4, 0.0, 2 * np.pi * (F1 + beside))[0, 0]
    x = -0.02 * gradient_integral(1, 10 * UM, 0.0) / WIRE.mass_per_length / d
    assert abs(x) == pytest.approx(amplitude_um * UM, abs=1e-10)
    assert np.degrees(np.angle(x)) == pytest.approx(phase_deg, abs=1e-3)


def test_two_modes_give_offset_and_angle() -> None:
    b = [gradient_integral(n, 35 * UM, 0.8e-3) for n in (1, 3)]
    assert b == pytest.approx([1.18135184e-4, -2.62351416e-5], rel=1e-8)
    s, c = (np.array([mode_integrals(QUAD, n, WIRE)[i] for n in (1, 3)]) for i in (0, 1))
    d = np.array(b) * WIRE.length / (2.0 * QUAD.derivative)
    weights = mode_weights(s, c, 1e-20 * np.eye(2))
    assert weights.slope is not None
    assert weights.slope @ d == pytest.approx(0.8e-3, abs=1e-9)
    # the prior of the slope leaves less than a picometre of it, noise being 0.1 nm here
    assert weights.centre @ d == pytest.approx(35 * UM, abs=1e-12)


@pytest.mark.parametrize(("mode", "apparent_um"), [(1, 37.007), (2, 31.657), (3, -90.470), (4, 44.610), (5, 28.111)])
def test_one_mode_takes_the_angle_for_an_offset(mode: int, apparent_um: float) -> None:
    s, _ = mode_integrals(QUAD, mode, WIRE)
    d = gradient_integral(mode, 35 * UM, 0.8e-3) * WIRE.length / (2.0 * QUAD.derivative)
    assert d / s == pytest.approx(apparent_um * UM, abs=5e-10)


@pytest.mark.parametrize(
    ("mode", "uniform_um", "local_um"),
    [
        (1, -15.954, -0.551),
        (2, 0.0, -1.045),
        (3, -58.543, -17.533),
        (4, 0.0, 2.219),
        (5, 3.062, 2.362),
        (7, -2.764, None),
    ],
)
def test_background_shifts_a_quadrupole(mode: int, uniform_um: float, local_um: float | None) -> None:
    """40 uT all along the wire, and 100 uT on its first 0.3 m: shift = - Int B sin / (G S)."""
    s, _ = mode_integrals(QUAD, mode, WIRE)
    nodes = room_nodes(WIRE, 4001)
    whole = float(nodes.weight @ nodes.shapes[:, mode - 1])
    assert -40e-6 * whole / (30.0 * s) == pytest.approx(uniform_um * UM, abs=6e-10)
    if local_um is not None:
        k = mode * np.pi / 4.0
        part = (1.0 - np.cos(0.3 * k)) / k
        assert -100e-6 * part / (30.0 * s) == pytest.approx(local_um * UM, abs=6e-10)


def test_powered_neighbour_pulls_the_apparent_centre() -> None:
    near = replace(QUAD, name="N", point=(0.0, 0.0, 2.2), length=0.2, derivative=-25.0)
    for mode, expected in ((1, -169.98), (2, 9.41), (4, 16.42)):
        own, other = (m.derivative * mode_integrals(m, mode, WIRE)[0] for m in (QUAD, near))
        assert 50.0 * other / (own + other) == pytest.approx(expected, abs=6e-3)


@pytest.mark.parametrize(("centre_mm", "sigma_um"), [(0.0, 0.3015), (0.1, 0.3408), (0.3, 0.5641)])
def test_noise_of_a_quadrupole_centre(centre_mm: float, sigma_um: float) -> None:
    """11 points over +-0.3 mm, 0.2 um of noise, 0.2 um of motion per um: sigma = (noise/gain) sqrt(1/N + x_c^2/sum x^2)."""
    x = np.linspace(-0.3, 0.3, 11)
    law = law_of(x.astype(complex), np.asarray(0.2 * (x - centre_mm), complex), 1, sigma=0.2e-3)
    lead, row = (
        law.coefficients[1],
        np.array([-1.0 / law.coefficients[1], law.coefficients[0] / law.coefficients[1] ** 2]),
    )
    g = np.array([row.real, -row.imag]).T.ravel() * law.plan.scale
    assert float(np.sqrt(g @ law.cov @ g)) * 1e3 == pytest.approx(sigma_um, abs=6e-5)
    assert lead.real > 0.0


@pytest.mark.parametrize(("half_mm", "sigma_um"), [(0.3, 28.58), (0.5, 17.15), (1.0, 8.575)])
def test_noise_of_a_sextupole_centre(half_mm: float, sigma_um: float) -> None:
    """(K/2) x^2 with K = 11.11898 m/m2, 0.2 um of noise: sigma = noise / (K sqrt(sum x^2)) at the middle."""
    x = np.linspace(-half_mm, half_mm, 11) * 1e-3
    law = law_of(x.astype(complex), np.asarray(0.5 * 11.11898 * x**2, complex), 2, sigma=0.2 * UM)
    sigma = float(np.sqrt(law.cov[2, 2])) / (2.0 * law.coefficients[2].real) * law.plan.scale
    assert sigma == pytest.approx(sigma_um * UM, rel=3e-4)


def test_gain_drift_cancels_forth_and_back() -> None:
    """A gain that rises by 5 % in one way of +-0.3 mm moves the zero by -2.93 um; forth and back together by nothing."""
    x = np.linspace(-0.3e-3, 0.3e-3, 11)
    gain = 1.0 + 0.05 * np.linspace(0.0, 1.0, 11)
    forth = law_of(x.astype(complex), (gain * x).astype(complex), 1)
    both = law_of(np.tile(x, 2).astype(complex), np.concatenate([gain * x, gain[::-1] * x]).astype(complex), 1)
    assert forth.zero.real == pytest.approx(-2.93 * UM, abs=0.005 * UM)
    assert abs(both.zero) < 1e-15


@pytest.mark.parametrize(("gain", "expected_um"), [(0.2, 91.11), (0.4, 81.58)])
def test_saturating_sensor_biases_an_off_centre_scan(gain: float, expected_um: float) -> None:
    """50 um tanh(signal / 50 um), centre at +100 um, +-0.3 mm: the straight line's zero."""
    x = np.linspace(-0.3e-3, 0.3e-3, 11)
    read = 50 * UM * np.tanh(gain * (x - 100 * UM) / (50 * UM))
    assert law_of(x.astype(complex), read.astype(complex), 1).zero.real == pytest.approx(expected_um * UM, abs=6e-9)


def test_wire_out_of_tune_doubts_its_sag_by_enough() -> None:
    """Density 1 + 0.01 cos(2 pi z / L): f1 39.3598, f2/f1 1.99499, true mid sag 198.0053 um, told by f1 197.8177 um."""
    f1, f2 = 39.3598, 39.3598 * 1.99499
    modes, f = np.array([1, 2]), np.array([f1, f2])
    transfer = Transfer(modes, f, f, np.full(2, 0.4), 0.0, 0.0, np.array([1e-4, 1.0]), 0.0, 0.0, 1e-8, True)
    sag = find_sag(transfer, WIRE, 0.0)
    # the true sag of the uniform wire is 198.8111 um; the value told by f1 carries its five digits
    assert sag.mid == pytest.approx(197.8177 * UM, abs=2e-9)
    assert abs(198.0053 * UM - sag.mid) < 1.5 * sag.relative * sag.mid


@pytest.mark.parametrize(("f_b", "size", "real"), [(39.31, 0.1069, 0.0648), (39.27, 0.0266, 0.0040)])
def test_coupling_of_the_planes(f_b: float, size: float, real: float) -> None:
    """Planes turned by 10 deg, f_a = 39.26 Hz, driven there: what y force does to x over what x force does."""
    answer = np.linalg.inv(stiffness(2 * np.pi * 39.26, 2 * np.pi * f_b, 0.4, np.radians(10.0), 2 * np.pi * 39.26))
    ratio = answer[0, 1] / answer[0, 0]
    assert abs(ratio) == pytest.approx(size, abs=6e-5)
    assert abs(ratio.real) == pytest.approx(real, abs=6e-5)


def grid(half: float) -> ComplexArray:
    axis = np.linspace(-half, half, 5)
    return np.asarray((axis[None, :] + 1j * axis[:, None]).ravel(), complex)


def test_sextupole_map() -> None:
    """S = 2000 T/m2, centre (120, -80) um, roll 2 mrad, uniform By 40 and Bx 20 uT, 5 x 5 grid of +-1 mm."""
    zeta = grid(1e-3)
    field = 1000.0 * np.exp(-6e-3j) * (zeta - (120 - 80j) * UM) ** 2 + (40 + 20j) * UM
    law = law_of(zeta, field, 2)
    c = law.coefficients / law.plan.scale ** np.arange(3)
    assert c[0] == pytest.approx(4.788466e-5 + 7.523459e-7j, abs=1e-11)
    assert c[1] == pytest.approx(-0.2390357 + 0.1614371j, abs=1e-7)
    assert c[2] == pytest.approx(999.98200 - 5.99996j, abs=1e-5)
    assert law.zero == pytest.approx((120 - 80j) * UM, abs=1e-12)
    assert -np.angle(c[2]) / 3.0 == pytest.approx(2e-3, abs=1e-9)
    stray = law_of(zeta, field + 0.05 * zeta, 2)
    assert stray.zero == pytest.approx((95.000 - 80.150j) * UM, abs=6e-10)


def test_octupole_map() -> None:
    zeta = grid(3e-3)
    law = law_of(zeta, 1e5 / 6.0 * (zeta - (60 - 40j) * UM) ** 3 + 30 * UM, 3)
    c = law.coefficients / law.plan.scale ** np.arange(4)
    assert c[3] == pytest.approx(16666.667, abs=1e-3)
    assert c[2] == pytest.approx(-3.0 + 2.0j, abs=1e-6)
    assert law.zero == pytest.approx((60 - 40j) * UM, abs=1e-12)


def test_turned_stages_move_the_wire() -> None:
    """Stages turned by 1 and -0.5 mrad, command (1.0, 0.5) mm, z = 1.3 m: the wire is off by (-0.2566, +0.5123) um."""
    wire = replace(WIRE, u_stage_turn=1.0)
    setup = Setup("o", wire, assumed_transfer(F1), {}, 0.0)
    moved = _stages(complex(1.0e-3, 0.5e-3), 1.3, setup)["stage turn"].jacobian @ np.array([1.0e-3, -0.5e-3])
    # the worked value is not linearised: half the square of the turn, 0.5 nm
    assert moved[:2] == pytest.approx([-0.2566 * UM, 0.5123 * UM], abs=0.6e-9)
