"""Raw signals: sums over chunks under a window, against plain least squares of all samples."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.given.wire import RawScan, RawSweep, Waveform
from monochord.ground.faults import Refused
from monochord.wire import signal
from monochord.wire.signal import reduce_scan, reduce_sweep, reduce_waveform

Array = NDArray[np.float64]

NM, UM = 1e-9, 1e-6
SCALE = 20e3  # V/m


@dataclass(frozen=True)
class Made:
    """A record that never stands in memory as a whole: drive, two sensors, hum, offset, drift, curvature and noise."""

    rate: float
    count: int
    frequency: float
    chirp: float
    x: complex
    y: complex
    noise: float = 1e-3
    seed: int = 1

    def chunks(self, most: int) -> Iterator[Array]:
        rng = np.random.default_rng(self.seed)
        for first in range(0, self.count, most):
            k = np.arange(first, min(first + most, self.count))
            t = (k - 0.5 * (self.count - 1)) / self.rate
            turn = np.exp(2j * np.pi * (self.frequency * t + 0.5 * self.chirp * t**2))
            columns = [np.real(turn * np.exp(0.4j))]
            for amplitude, offset in ((self.x, 2.1), (self.y, 1.8)):
                moved = np.real(amplitude * turn * np.exp(0.4j)) * SCALE
                hum = 5e-3 * np.cos(2 * np.pi * 50.0 * t + 1.0) + 2e-3 * np.sin(2 * np.pi * 150.0 * t)
                columns.append(moved + 0.01 * moved**2 + hum + offset + 1e-3 * t / t[-1])
            yield np.stack(columns, 1) + self.noise * rng.normal(size=(len(k), 3))

    def whole(self) -> Array:
        return next(self.chunks(self.count))

    def waveform(self, told: float, *, streamed: bool = False) -> Waveform:
        return Waveform(self.whole, self.rate, 0, 1, 2, 10.0, SCALE, SCALE, told, self.chunks if streamed else None)


def direct(made: Made) -> tuple[complex, complex]:
    """x and y [m] by one plain least squares of drive, mains lines and offset through all samples."""
    samples = made.whole()
    t = (np.arange(made.count) - 0.5 * (made.count - 1)) / made.rate
    turn = 2 * np.pi * (made.frequency * t + 0.5 * made.chirp * t**2)
    angles = [turn, 2 * turn, 2 * np.pi * 50.0 * t, 2 * np.pi * 150.0 * t]
    design = np.stack([*(w(a) for a in angles for w in (np.cos, np.sin)), np.ones_like(t), t], 1)
    c = np.linalg.lstsq(design, samples, rcond=None)[0]
    a = c[0] - 1j * c[1]
    a = a * np.conj(a[0]) / abs(a[0]) / SCALE
    return complex(a[1]), complex(a[2])


SHORT = Made(4000.0, 4000, 76.812, 0.0, (3.0 - 12.0j) * UM, (0.4 + 1.1j) * UM)


@pytest.mark.parametrize("frequency", [38.406, 76.812, 115.218, 153.624])
@pytest.mark.parametrize("beside", [0.0, 0.004, 0.3])
def test_short_records_agree_with_a_direct_fit(frequency: float, beside: float) -> None:
    """To 1 nm, also when the generator is 4 or 300 mHz off its setting."""
    made = Made(4000.0, 4000, frequency + beside, 0.0, SHORT.x, SHORT.y)
    got, want = reduce_waveform(made.waveform(frequency)), direct(made)
    assert abs(got.x - want[0]) < 1 * NM
    assert abs(got.y - want[1]) < 1 * NM
    # 1 mV of noise on 4000 samples of a 1 V reference: 16 uHz over one second, five of them
    assert got.frequency == pytest.approx(frequency + beside, abs=1e-4 if beside != 0.004 else 4.1e-3)


def test_a_setting_that_the_shunt_does_not_contradict_is_believed() -> None:
    made = Made(4000.0, 4000, 76.812, 0.0, SHORT.x, SHORT.y, noise=5e-3)
    assert reduce_waveform(made.waveform(76.812)).frequency == 76.812


def test_long_records_agree_with_a_direct_fit_and_need_no_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    """A drive that drifts by 6 mHz in 20 s, in eighteen chunks: the same as one fit of all samples."""
    monkeypatch.setattr(signal, "CHUNK", 4500)
    made = Made(4000.0, 80000, 76.83, 3e-4, SHORT.x, SHORT.y)
    want = direct(made)
    for streamed in (False, True):
        got = reduce_waveform(made.waveform(76.812, streamed=streamed))
        assert abs(got.x - want[0]) < 0.3 * NM
        assert abs(got.y - want[1]) < 0.3 * NM
        assert got.current == pytest.approx(0.1, rel=1e-5)


def test_a_streamed_record_is_never_read_whole() -> None:
    made = Made(4000.0, 300000, 76.83, 0.0, SHORT.x, SHORT.y)

    def never() -> Array:
        raise AssertionError("the whole record was asked for")

    waveform = made.waveform(76.83, streamed=True)
    got = reduce_waveform(replace(waveform, read=never))
    # noise alone: 1 mV over 300000 samples is 0.1 nm
    assert abs(got.x - made.x) < 0.6 * NM


def test_harmonics_of_a_curved_sensor_and_hum_do_not_leak() -> None:
    quiet = Made(4000.0, 4000, 76.812, 0.0, SHORT.x, SHORT.y, noise=0.0)
    got = reduce_waveform(quiet.waveform(76.812))
    assert abs(got.x - quiet.x) < 0.01 * NM
    assert abs(got.y - quiet.y) < 0.01 * NM


def raw_scan(*made: Made, told: float = 76.812) -> RawScan:
    stage = np.arange(float(len(made)))
    waveforms = tuple(m.waveform(told) for m in made)
    return RawScan("s", "Q", "x", 100.0, 2, stage, 0 * stage, stage, waveforms, "wire.h5", tuple(range(len(made))))


def test_a_scan_and_a_sweep_keep_what_they_were_told() -> None:
    scan = reduce_scan(raw_scan(SHORT, Made(4000.0, 4000, 76.812, 0.0, 2 * SHORT.x, SHORT.y, seed=2)))
    assert (scan.name, scan.magnet, scan.moved, scan.mode, scan.magnet_current) == ("s", "Q", "x", 2, 100.0)
    assert (scan.file, scan.rows, scan.drive_frequency) == ("wire.h5", (0, 1), 76.812)
    assert scan.drive_current == pytest.approx(0.1, rel=1e-4)
    assert scan.x == pytest.approx([SHORT.x, 2 * SHORT.x], abs=5 * NM)
    sweep = reduce_sweep(RawSweep("w", 2, (SHORT.waveform(76.812),), "wire.h5", (7,)))
    assert (sweep.name, sweep.mode, sweep.rows, sweep.frequencies.tolist()) == ("w", 2, (7,), [76.812])
    assert sweep.y == pytest.approx([SHORT.y], abs=5 * NM)


def test_readings_are_brought_to_one_drive_current() -> None:
    """A second position at 1 % less current in shunt and sensors alike reads as the first."""

    def weaker() -> Array:
        return 0.99 * SHORT.whole()

    one = SHORT.waveform(76.812)
    other = replace(one, read=weaker)
    raw = raw_scan(SHORT, SHORT)
    scan = reduce_scan(replace(raw, waveforms=(one, other)))
    assert scan.x[1] == pytest.approx(scan.x[0], abs=0.001 * NM)
    assert scan.drive_current == pytest.approx(0.0995, rel=1e-4)


def test_records_without_a_drive_are_refused_with_their_place() -> None:
    silent = Made(4000.0, 4000, 110.0, 0.0, SHORT.x, SHORT.y)
    with pytest.raises(Refused) as refused:
        reduce_scan(raw_scan(SHORT, silent, silent))
    assert [(f.file, f.line) for f in refused.value.faults] == [("wire.h5", 1), ("wire.h5", 2)]
    assert "does not show" in str(refused.value)


def test_records_too_short_or_too_slow_are_refused() -> None:
    with pytest.raises(Refused, match="record longer"):
        reduce_waveform(Made(4000.0, 100, 76.812, 0.0, SHORT.x, SHORT.y).waveform(76.812))
    with pytest.raises(Refused, match="half the sampling rate"):
        reduce_waveform(SHORT.waveform(2500.0))
