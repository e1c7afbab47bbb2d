"""The virtual string against numbers worked out by hand from the equations of a damped string.

Source of the equations: any textbook on vibrations (modal sum of a damped, driven string); derived, not read.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.wire import Wire
from monochord.simulate.bench import Bench, Stringing, read_bench
from monochord.simulate.girder import Placed, Spread, VirtualMagnet, build_magnet
from monochord.simulate.taut import Chord, Readings, departure, magnet_modes, room_modes

Array = NDArray[np.float64]

#: 0.125 mm copper-beryllium at 10 N over 4 m: f1 = sqrt(T/mu) / (2 L) = 39.26133 Hz. Sensors at the antinode of mode 1.
WIRE = Wire(-2.0, 4.0, 1.013655e-4, 9.80665, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
F1 = 39.261333
PLAIN = Spread(*([0.0] * 10))
QUIET = Bench(
    wire=WIRE, decay=0.4, decay_growth=0.0, stiffness=0.0, split=0.0, principal=0.0, sensor_turn=(0.0, 0.0),
    sensor_gain=(1.0, 1.0), gain_creep=(0.0, 0.0), sensor_cubic=0.0, pickup=(0j, 0j), phase=0.0,
    stage_turn=(0.0, 0.0), stage_scale=(1.0, 1.0), noise=0.0, drive_noise=0.0,
)  # fmt: skip


def stringing(height: float = 0.0) -> Stringing:
    return Stringing(height * 1j, height * 1j, F1, 0.0, (0.0, 1.0), np.zeros(1, complex), 0j, 0j, (0j, 0.0, 1.0))


def magnet(kind: str, z: float, length: float, derivative: float) -> VirtualMagnet:
    told = Magnet(kind, kind, (0.0, 0.0, z), length, 0.0, derivative, 0.0)
    return build_magnet(told, 1.0, PLAIN, np.random.default_rng(0))


def readings(stage: Array, frequency: float | Array, drive: float = 0.02) -> Readings:
    n = len(stage)
    return Readings(
        stage, np.zeros(n, np.int64), np.ones(n), np.broadcast_to(frequency, n), np.full(n, drive), np.zeros(n)
    )


#: A quadrupole of 30 T/m, 0.25 m, its middle 1.3 m from the upstream support; sag there 174.457 um (computed below).
QUAD = magnet("quadrupole", -0.7, 0.25, 30.0)
SAG_AT_QUAD = 4.0 * 9.80665 / (32.0 * F1**2) * (1.3 / 4.0) * (1.0 - 1.3 / 4.0)


def read(stage: Array, frequency: float | Array) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    return read_bench(QUIET, stringing(SAG_AT_QUAD), Placed((QUAD,), {}), readings(stage, frequency), None)


def test_ten_micrometres_off_a_quadrupole_swing_the_string_by_the_hand_worked_amplitude() -> None:
    # S_1 = (2/k) sin(k 1.3) sin(k 0.125), k = pi/4: 0.212818 m; b_1 = (2/4) 30 S_1 10e-6 = 3.19227e-5 T;
    # |X| = I b_1 / (2 mu alpha w_1) = 0.02 * 3.19227e-5 / (2 * 1.013655e-4 * 0.4 * 246.686) = 31.9157 um, a quarter
    # period ahead of the drive: Im X > 0 for a field that grows with x.
    x, _ = read(np.array([[10e-6, 0.0]]), F1)

    assert x[0].imag == pytest.approx(31.9157e-6, abs=1e-9)  # last digit of the hand figure is 0.1 nm
    # the other 47 modes answer far from resonance, in phase: the next with a belly at the sensor is mode 5, 5 nm
    assert abs(x[0].real) < 20e-9


def test_the_resonance_curve_passes_through_hand_worked_points() -> None:
    # amplitude and phase of 1/(w_1^2 - w^2 + 2 i alpha w), times -I b_1/mu, at 0.2 Hz below and above
    x, _ = read(np.tile([10e-6, 0.0], (2, 1)), F1 + np.array([-0.2, 0.2]))

    # other modes add up to 10 nm in phase
    assert np.abs(x) == pytest.approx(np.array([9.70749e-6, 9.65364e-6]), abs=20e-9)
    assert np.angle(x, deg=True) == pytest.approx(np.array([162.386, 17.699]), abs=0.15)


def test_the_y_sensor_answers_with_the_other_sign() -> None:
    # f_y = +I B_x and B_x = G y above the axis: Im Y < 0; against the wire on the axis, for its sag is no straight line
    x, y = read(np.array([[0.0, 10e-6], [0.0, 0.0]]), F1)

    assert y[0].imag - y[1].imag == pytest.approx(-31.9157e-6, abs=1e-9)
    assert abs(x[0].imag) < 1e-9  # nothing in x


def test_a_wire_on_the_axis_stands_still_but_for_the_slope_of_its_own_sag() -> None:
    # slope at the magnet: (kappa/2)(L - 2 s) down; C_1/S_1 = 2.5083 um per mrad of slope
    _, y = read(np.array([[0.0, 0.0]]), F1)
    slope = -4.0 * 9.80665 / (32.0 * F1**2) / 4.0 * (1.0 - 2.0 * 1.3 / 4.0)
    # the parabola lies above its tangent by (kappa/2) l^2 / 12 = 0.259 um in the mean over the magnet
    bent = 4.0 * 9.80665 / (32.0 * F1**2) / 4.0**2 * 0.25**2 / 12.0

    expected = -(slope * 2.5083e-3 + bent) * 3.19157
    assert y[0].imag == pytest.approx(expected, abs=20e-9)  # the profile's weight of the curvature is not even: 2 %


def test_the_sag_is_the_hand_worked_one() -> None:
    # s = g/(32 f1^2) = 198.811 um at mid-span, 149.108 um a metre from one end
    chord = Chord(
        np.zeros(1, complex), np.zeros(1, complex), np.array([9.80665 / (32.0 * F1**2)]), np.zeros(1, complex)
    )

    assert chord.at(np.array([0.5, 0.25]))[0].imag == pytest.approx([-198.811e-6, -149.108e-6], abs=1e-9)


def test_the_string_s_own_departure_is_its_sines() -> None:
    assert departure(np.array([2e-6, 1e-6j]), np.array([0.25])) == pytest.approx(
        np.array([2e-6 * np.sin(np.pi / 4) + 1e-6j])
    )


def test_a_uniform_field_moves_odd_modes_only() -> None:
    # (2/L) int B sin(k_n s) ds = 2 B (1 - cos n pi) / (n pi): 4 B / pi, 0, 4 B / (3 pi), ...
    z = np.linspace(-2.0, 2.0, 601)
    modes = room_modes(z, np.full(601, 40e-6 + 0j), WIRE)

    assert modes[:3].real == pytest.approx([4 * 40e-6 / np.pi, 0.0, 4 * 40e-6 / (3 * np.pi)], abs=1e-9)  # T


def test_a_sextupole_and_an_octupole_give_their_hand_worked_fields() -> None:
    # B_y = (S/2)(x^2 - y^2), B_x = S x y; on the x axis B_y = (O/6) x^3. Amplitude in mode n: B (2/L) S_n.
    flat = np.array([[1e-3, 0.5e-3]])
    chord = Chord(flat[:, 0] + 1j * flat[:, 1], flat[:, 0] + 1j * flat[:, 1], np.zeros(1), np.zeros(1, complex))
    sextupole = magnet("sextupole", 0.0, 0.2, 2000.0)
    seen = magnet_modes([sextupole], WIRE, chord, readings(flat, F1))[0, 0]
    weight = (2.0 / 4.0) * (2.0 / (np.pi / 4.0)) * np.sin(np.pi / 4.0 * 0.1)

    assert seen == pytest.approx((0.75e-3 + 1j * 1.0e-3) * weight, rel=1e-9)

    along = Chord(np.full(1, 3e-3 + 0j), np.full(1, 3e-3 + 0j), np.zeros(1), np.zeros(1, complex))
    octupole = magnet("octupole", 0.0, 0.2, 6e4)
    seen = magnet_modes([octupole], WIRE, along, readings(np.zeros((1, 2)), F1))[0, 0]

    assert seen == pytest.approx(2.7e-4 * weight, rel=1e-9)


def test_a_rolled_quadrupole_stands_still_along_a_turned_line() -> None:
    # rolled by phi (x towards y): B_y = G (x cos 2 phi + y sin 2 phi), zero at x = -y tan 2 phi
    rolled = replace(QUAD, roll=1.5e-3)
    at = np.array([-0.5e-3 * np.tan(3e-3) + 0.5e-3j])
    chord = Chord(at, at, np.zeros(1), np.zeros(1, complex))

    assert abs(magnet_modes([rolled], WIRE, chord, readings(np.zeros((1, 2)), F1))[0, 0].real) < 1e-12  # T, of 1.6e-3


def test_a_soft_edge_does_not_change_the_integrated_strength() -> None:
    # int 0.5 (tanh((z-a)/e) - tanh((z-b)/e)) dz = b - a for any e
    flat = np.array([1e-3 + 0j])
    chord = Chord(flat, flat, np.zeros(1), np.zeros(1, complex))
    total = [
        magnet_modes([replace(QUAD, edge=e)], replace(WIRE, length=4000.0, z_start=-2000.0), chord,
                     readings(np.zeros((1, 2)), F1))[0, 0].real
        for e in (0.0, 0.03)
    ]  # fmt: skip

    # a string of 4 km is as good as straight over one magnet
    assert total[1] == pytest.approx(total[0], rel=1e-6)


def test_a_curved_sensor_shows_three_quarters_of_its_curvature() -> None:
    # u (1 - c u^2) with u = A cos wt has the fundamental A (1 - 3/4 c A^2)
    stage = np.array([[10e-6, 0.0]])
    curved = replace(QUIET, sensor_cubic=0.01 / 30e-6**2)
    straight, _ = read(stage, F1)
    shown, _ = read_bench(curved, stringing(SAG_AT_QUAD), Placed((QUAD,), {}), readings(stage, F1), None)

    assert shown[0] / straight[0] == pytest.approx(1.0 - 0.75 * 0.01 * abs(straight[0]) ** 2 / 30e-6**2, abs=1e-12)
