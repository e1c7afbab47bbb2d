"""Pieces of the wire room on cases that can be done on paper."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.wire import Wire, WireScan
from monochord.ground.faults import Undetermined
from monochord.wire.background import from_currents
from monochord.wire.detuning import Tuned
from monochord.wire.drift import follow_drift
from monochord.wire.field_law import as_real, plan_law, solve_law, zero_of
from monochord.wire.passes import Passes, group_scans
from monochord.wire.readings import Readings
from monochord.wire.setup import reading_noise
from monochord.wire.slope import SLOPE, mode_weights
from monochord.wire.stringing import HALF_WAVES, stringing_factor

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

UM = 1e-6
QUAD = Magnet("Q", "quadrupole", (0.0, 0.0, 0.0), 0.2, derivative=0.1)
WIRE = Wire(-2.0, 4.0, 1e-4, 9.8, -1.9, -1.9, 0.0, 1e-6, 0.0, 0.0, 0.0)


def scan(x: Array, value: ComplexArray, *, current: float = 100.0, moved: str = "x", start: float = 0.0) -> WireScan:
    still = np.zeros_like(x)
    place = (x, still) if moved == "x" else (still, x)
    times = start + np.arange(len(x), dtype=float)
    return WireScan("1", "Q", moved, current, 1, 40.0, 0.02, *place, value, 1j * value, times, "", ())


def readings(*scans: WireScan) -> Readings:
    """Readings whose value is the scans' x signal itself, one unit of noise in both planes."""
    passes = group_scans(scans)[0]
    n, k = len(passes.zeta), len(passes.scans)
    tuned = Tuned(passes, passes.raw, np.zeros((n, 2, 2), complex), np.zeros(k), np.zeros(k), np.zeros(k))
    columns = np.zeros((n, 8), complex)
    columns[:, 0] = passes.raw[0]
    return Readings(tuned, columns, np.ones((n, 2)))


def test_zero_of_a_line_and_of_a_parabola() -> None:
    # 2 (t - 0.25) about 1 mm with a scale of 2 mm: zero at 1.5 mm
    assert zero_of(np.array([-0.5 + 0j, 2.0]), 1e-3, 2e-3) == pytest.approx(1.5e-3, abs=1e-18)
    # 3 (t - i)^2 = 3 t^2 - 6i t - 3
    assert zero_of(np.array([-3.0 + 0j, -6j, 3.0]), 0.0, 1e-3) == pytest.approx(1e-3j, abs=1e-18)


def test_one_law_for_both_sensors_halves_the_variance_of_a_gradient() -> None:
    """x at -1, 0, 1 alone: variance of Re c1 is 1/2. With y at -1, 0, 1 as well, both sensors tell it: 1/4."""
    x = np.array([-1.0, 0.0, 1.0])
    alone = plan_law(x.astype(complex), np.ones((3, 2)), 1)
    both = plan_law(np.concatenate([x, 1j * x]), np.ones((6, 2)), 1)
    assert alone.cov[2, 2] == pytest.approx(1 / 2, abs=1e-12)
    assert both.cov[2, 2] == pytest.approx(1 / 4, abs=1e-12)
    assert both.cov[0, 0] == pytest.approx(1 / 6, abs=1e-12)


def test_mirrored_plane_fits_the_mirrored_field() -> None:
    """By = x, Bx = -y is no field of a magnet: the law misses it, its mirror image fits."""
    zeta = np.concatenate([np.linspace(-1, 1, 5), 1j * np.linspace(-1, 1, 5)])
    columns = np.zeros((10, 8), complex)
    columns[:, 0] = zeta.conj()
    law = solve_law(plan_law(zeta, np.ones((10, 2)), 1), columns)
    assert law.square == pytest.approx(5.0, abs=1e-12)  # nothing of sum |zeta|^2 = 5 is explained
    assert law.mirror[0] == pytest.approx(0.0, abs=1e-12)
    assert law.mirror[1] == pytest.approx(1.0, abs=1e-12)


def test_constants_of_single_scans_leave_a_parabola_alone() -> None:
    """Two scans of one parabola, lifted by 1 and -1: each takes its own constant, the vertex stays."""
    x = np.linspace(-1.0, 1.0, 5)
    zeta = np.tile(x, 2).astype(complex)
    columns = np.zeros((10, 8), complex)
    columns[:, 0] = (zeta - 0.5) ** 2 + np.repeat([1.0, -1.0], 5)
    law = solve_law(plan_law(zeta, np.ones((10, 2)), 2, scan=np.repeat([0, 1], 5)), columns)
    assert law.zero == pytest.approx(0.5, abs=1e-12)
    assert law.square == pytest.approx(0.0, abs=1e-20)
    assert law.dof == 20 - 6 - 2


@pytest.mark.parametrize(("zeta", "degree"), [([0.0, 0.0, 0.0], 1), ([0.0, 1.0], 2), ([0.0, 1.0, 1.0], 2)])
def test_too_few_places_are_undetermined(zeta: list[float], degree: int) -> None:
    with pytest.raises(Undetermined, match="centre"):
        plan_law(np.array(zeta, complex), np.ones((len(zeta), 2)), degree)


def test_complex_map_as_a_real_one() -> None:
    assert as_real(np.array([[1 + 2j]])).tolist() == [[1.0, -2.0], [2.0, 1.0]]


def test_two_modes_by_hand() -> None:
    """S = (1, 1), C = (0, 1), unit noise: slope = d2 - d1, u = sqrt 2; the centre is d1 when slopes may be anything."""
    weights = mode_weights(np.array([1.0, 1.0]), np.array([0.0, 1.0]), 1e-12 * SLOPE**2 * np.eye(2))
    assert weights.slope is not None
    assert weights.slope.tolist() == pytest.approx([-1.0, 1.0], abs=1e-9)
    assert weights.centre.tolist() == pytest.approx([1.0, 0.0], abs=1e-9)


def test_second_mode_is_left_out_as_far_as_it_harms() -> None:
    """Noise as large as the slope's prior: centre weights ((1 + 1)/3, 1/3), and 1/3 of a slope leaks in."""
    weights = mode_weights(np.array([1.0, 1.0]), np.array([0.0, 1.0]), SLOPE**2 * np.eye(2))
    assert weights.centre.tolist() == pytest.approx([2 / 3, 1 / 3], abs=1e-9)
    assert weights.leak == pytest.approx(1 / 3, abs=1e-9)
    assert weights.slope is None
    assert "141 urad" in weights.reason


def test_one_mode_gives_no_slope() -> None:
    weights = mode_weights(np.array([0.2]), np.array([1e-3]), np.eye(1) * 1e-16)
    assert weights.centre.tolist() == [5.0]
    assert weights.leak == pytest.approx(5e-3, abs=1e-15)
    assert "one mode" in weights.reason


def test_modes_that_see_alike_give_no_slope() -> None:
    weights = mode_weights(np.array([1.0, 2.0]), np.array([0.1, 0.2]), np.eye(2) * 1e-16)
    assert weights.slope is None
    assert "alike" in weights.reason


def test_two_currents_give_the_background() -> None:
    """Signals k (x - 35) + 3.3 um with k = 0.0520 and 0.2080 um per um: zeros at -28.4615 and 19.1346 um, centre 35.000.

    Source: worked values of the two-current rule, computed elsewhere (derived).
    """
    x = np.linspace(-100.0, 100.0, 9)
    signals = [np.asarray(k * (x - 35.0) + 3.3, complex) for k in (0.0520, 0.2080)]
    assert [float(np.roots(np.polyfit(x, s.real, 1))[0]) for s in signals] == pytest.approx(
        [-28.4615, 19.1346], abs=6e-5
    )
    taken = readings(scan(x, signals[0], current=25.0), scan(x, signals[1], current=100.0, start=100.0))
    background = from_currents(taken, QUAD, 1, 1.0)
    assert background is not None
    assert background.law.at(np.array([0.0 + 0j]))[0, 0] == pytest.approx(3.3, abs=1e-9)
    # what is left of the larger signal follows the current: its zero is the centre
    left = solve_law(background.law.plan, np.pad((signals[1] - 3.3)[:, None], ((0, 0), (0, 7))))
    assert left.zero == pytest.approx(35.0, abs=1e-9)


def test_one_current_gives_no_background() -> None:
    x = np.linspace(-1.0, 1.0, 5)
    assert from_currents(readings(scan(x, x.astype(complex))), QUAD, 1, 1.0) is None


def test_stringing_has_the_mean_square_that_it_is_told() -> None:
    z = np.linspace(-2.0, 2.0, 20001)
    variance = [np.diag(stringing_factor(float(p), WIRE).cov)[:2] for p in z[::20]]
    assert np.mean(variance, axis=0) == pytest.approx([UM**2, UM**2], rel=2e-3)
    assert np.diag(stringing_factor(-2.0, WIRE).cov)[:2] == pytest.approx([0.0, 0.0], abs=1e-40)
    assert stringing_factor(0.0, WIRE).spread.shape == (2 * HALF_WAVES, 2 * HALF_WAVES)


def test_drift_reaches_over_scans_that_tell_nothing() -> None:
    """A steady drift with two modes swept apart: their offset is found, and silent scans lie on the line of their mode."""
    moments = np.asarray(np.arange(12) * 100.0, float)
    mode = np.repeat([1, 2], 6)
    true = 1e-5 * moments + np.where(mode == 2, 3e-3, 0.0)
    told = np.stack([true, np.full(12, 1e-5)], axis=1)
    told[[2, 3, 8, 9]] = np.nan
    drift = follow_drift(moments, told, mode, mode)
    # 2 % of a millihertz: the offsets of modes and blocks are only loosely held
    assert drift.shift == pytest.approx(true, abs=2 * np.pi * 2e-5)


def test_noise_is_read_from_what_no_cubic_can_follow() -> None:
    rng = np.random.default_rng(5)
    x = np.linspace(-1.0, 1.0, 13)
    noisy = [
        scan(x, np.asarray(x**3 + 2e-3 * (rng.normal(size=13) + 1j * rng.normal(size=13)), complex)) for _ in range(40)
    ]
    # 40 scans of 9 differences in four components: 10 % is three standard deviations of a median
    assert reading_noise(noisy) == pytest.approx(2e-3, rel=0.1)


def test_passes_keep_scans_apart() -> None:
    x = np.linspace(0.0, 1.0, 4)
    passes: Passes = group_scans(
        [scan(x, np.asarray(x + 1j, complex)), scan(x[::-1], np.asarray(2.0 * x, complex), moved="y", start=50.0)]
    )[0]
    assert passes.scan.tolist() == [0] * 4 + [1] * 4
    assert passes.along_x.tolist() == [True] * 4 + [False] * 4
    left = passes.without_low(np.stack([passes.raw[0].real] * 2), 1)
    assert np.abs(left).max() < 1e-15
