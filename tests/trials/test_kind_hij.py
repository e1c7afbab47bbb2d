"""Rank and datum, uncertainty, signals: what is not determined is said, and arithmetic is done in the right type."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.given.wire import Waveform
from monochord.ground.estimate import Estimate, Label
from monochord.ground.faults import Refused, Undetermined
from monochord.ground.least_squares import adjust
from monochord.ground.lines import fit_line
from monochord.ground.nonlinear import fit
from monochord.ground.reliability import suspect
from monochord.wire.signal import reduce_waveform
from tests.trial_bench import Bench

Array = NDArray[np.float64]

# -- rank, conditioning, datum ----------------------------------------------------------------------------


def test_dependent_columns_are_named_all_together() -> None:
    t = np.arange(1.0, 5.0)
    with pytest.raises(Undetermined) as told:
        adjust(np.stack([np.ones(4), t, 1 + t], axis=1), [1, 2, 2.9, 4.1], names=["one", "t", "both"])
    assert all(name in str(told.value) for name in ("one", "t", "both"))


def test_a_covariance_that_is_not_symmetric_is_refused_with_its_place() -> None:
    with pytest.raises(Refused, match=r"1\.2 at \(1, 2\) and 1\.3 at \(2, 1\), apart by 0\.1"):
        adjust(np.eye(3), np.zeros(3), covariance=np.array([[4, 1.2, 0], [1.3, 9, 0], [0, 0, 1]]))


def test_a_poor_start_ends_at_the_answer() -> None:
    t = np.linspace(0, 10, 30)
    found = fit(lambda p: p[0] + p[1] * np.exp(p[2] * t), [1.0, 1.0, 0.0], 0.3 + 1.5 * np.exp(-0.7 * t))
    assert found.converged
    np.testing.assert_allclose(found.adjustment.x, [0.3, 1.5, -0.7], atol=1e-6)


def test_without_redundancy_there_is_no_sigma_from_residuals() -> None:
    found = adjust([[1, 0], [1, 1]], [2.0, 3.0], sigma=0.1)
    assert found.dof == 0
    assert math.isnan(found.variance_factor)


def test_the_same_readings_in_another_unit_give_the_same_record(bench: Bench) -> None:
    bench.begun()
    first, _ = bench.ran()
    other = Bench(bench.root / "metres")
    other.root.mkdir()
    bench.data.rename(other.data)
    other.lab.write_text(bench.lab.read_text())
    for name in ("2-aligned/tracker.csv", "4-back/tracker.csv"):
        other.rows(name, lambda cells, _: [*cells[:-1], f"{float(cells[-1]) / 1e3:.7f}"])
    other.describe(
        "sightings", 'column = "distance_mm", unit = "mm"', 'column = "distance_mm", unit = "m", despite_name = true'
    )
    other.begun()
    second, _ = other.ran()
    for magnet, axis in first["occasions"]["2-aligned"]["axes"].items():
        for key in ("x", "y"):
            assert second["occasions"]["2-aligned"]["axes"][magnet][key] == pytest.approx(axis[key], abs=1e-11)


# -- uncertainty and robust numbers -----------------------------------------------------------------------


def test_a_sigma_ten_times_as_large_is_ten_times_as_large_in_the_answer() -> None:
    x, y = np.arange(6.0), [1.00, 1.98, 3.03, 3.99, 5.02, 5.98]
    design = np.stack([np.ones(6), x], axis=1)
    fine, coarse = adjust(design, y, sigma=0.02), adjust(design, y, sigma=0.2)
    assert fine.u[1] == pytest.approx(0.0047809, abs=5e-8)
    assert coarse.u[1] == pytest.approx(10.0 * fine.u[1], rel=1e-12)
    weights = adjust(np.ones((2, 1)), [0.0, 1.0], sigma=[0.002, 0.02])
    assert weights.x[0] == pytest.approx(1.0 / 101.0)


def test_a_line_through_one_place_is_refused() -> None:
    with pytest.raises(Undetermined, match="fewer than two different places"):
        fit_line([3.0, 3.0], [7.0, 9.0])


def test_a_mean_carries_shared_and_independent_errors_apart() -> None:
    values, mean = [5.0, 7.0] * 4, np.full((1, 8), 1.0 / 8.0)
    names, label = [f"r{i}" for i in range(8)], [Label("mean", "m", "girder")]
    own = Estimate.of(values, names, unit="m", frame="girder", causes={"noise": 4.0 * np.eye(8)}).through(mean, label)
    shared = Estimate.of(values, names, unit="m", frame="girder", causes={"gauge": 4.0 * np.ones((8, 8))})
    assert (own.value[0], round(float(own.u[0]), 3)) == (6.0, 0.707)
    assert float(shared.through(mean, label).u[0]) == pytest.approx(2.0)


def test_one_wrong_reading_among_exact_ones_is_found() -> None:
    x = np.arange(12.0)
    y = 2 * x + 1
    y[-1] = 500.0
    design = np.stack([np.ones(12), x], axis=1)
    found = suspect(adjust(design, y, sigma=1.0))
    assert found is not None
    assert found.index == 11
    assert found.error == pytest.approx(477.0)
    np.testing.assert_allclose(adjust(design[:-1], y[:-1], sigma=1.0).x, [1.0, 2.0], atol=1e-9)


def test_a_model_without_a_number_says_so() -> None:
    with pytest.raises(Refused):
        fit(lambda p: np.sqrt(p[0] - np.arange(3.0)), [1.0], [1.0, 1.0, 1.0])


@pytest.mark.parametrize("angle", ["0 urad", "-2.6 urad", "nan urad", "inf urad"])
def test_a_sigma_that_is_none_is_refused_in_its_line(bench: Bench, angle: str) -> None:
    line = bench.change("lab.toml", 'angle = "2.6 urad"', f'angle = "{angle}"')
    printed = bench.refused()
    assert f"lab.toml, line {line}" in printed
    assert angle in printed


# -- signals ----------------------------------------------------------------------------------------------

RATE, COUNT, TONE = 10e3, 1000, 52.3


def waveform(samples: Array) -> Waveform:
    return Waveform(lambda: samples, RATE, 0, 1, 2, 1.0, 1.0, 1.0, TONE)


def channels(size: float, phase: float = 0.0) -> Array:
    """Current of 1 A, x of that size and phase before it, y a tenth of that."""
    w = 2.0 * np.pi * TONE * np.arange(COUNT) / RATE
    return np.stack([0.9 * np.cos(w), size * np.cos(w + phase), 0.1 * size * np.cos(w + phase)], axis=1)


def test_a_clipped_sine_has_its_true_amplitude_and_says_so() -> None:
    samples = channels(1.2, 0.4)
    samples[:, 1] = np.clip(samples[:, 1], -1.0, 1.0)
    found = reduce_waveform(waveform(samples))
    assert abs(found.x) == pytest.approx(1.2, abs=1e-6)
    assert np.angle(found.x) == pytest.approx(0.4, abs=1e-6)
    assert any("%" in note.given for note in found.notes)


def test_a_sine_that_rolled_over_is_refused() -> None:
    samples = channels(1.2, 0.4)
    samples[:, 1] = np.where(np.abs(samples[:, 1]) >= 1.0, 0.0, samples[:, 1])
    with pytest.raises(Refused):
        reduce_waveform(waveform(samples))


@pytest.mark.parametrize("count", [0, 1, 10])
def test_records_that_were_not_filled_are_refused_in_words(count: int) -> None:
    with pytest.raises(Refused, match="samples"):
        reduce_waveform(waveform(channels(1.0)[:count]))


@pytest.mark.parametrize("phase", [0.3, 2.0, -2.5, 3.1])
def test_amplitude_and_phase_keep_their_sign(phase: float) -> None:
    found = reduce_waveform(waveform(channels(0.8, phase)))
    assert found.x == pytest.approx(0.8 * np.exp(1j * phase), abs=1e-6)
    assert found.frequency == pytest.approx(TONE, abs=1e-3)


def test_whole_numbers_of_a_digitiser_do_not_wrap() -> None:
    counts = np.round(30000.0 * channels(1.0, 0.4)).astype(np.int16)
    found = reduce_waveform(waveform(np.asarray(counts, float)))
    assert abs(found.x) == pytest.approx(30000.0, rel=1e-4)
