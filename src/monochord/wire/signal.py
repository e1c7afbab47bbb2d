"""Raw signals to phasors: the part of a sensor's signal that follows the drive current.

The drive is a sine whose frequency is set at a generator and drifts a little; the shunt tells what it
really was. Every channel is then fitted with that very tone, its harmonics (a curved sensor makes them),
the mains lines, and a slow background. The window falls off softly at both ends of the record only: a line
that is not in the model leaks less than from a hard cut, and hardly any noise is paid for it, where a
full Hann window would pay half as much again. Sums run over blocks, so memory does not grow with the record.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.wire import RawScan, RawSweep, Sweep, Waveform, WireScan
from monochord.ground.faults import Fault, Refused

Array = NDArray[np.float64]
Phasors = NDArray[np.complex128]

#: Samples taken at a time.
BLOCK = 65536
#: Harmonics of the drive that are fitted beside it.
HARMONICS = (1, 2, 3)
#: Mains frequency [Hz] and how many of its multiples are fitted.
MAINS, MAINS_LINES = 50.0, 3
#: A mains line nearer to a harmonic of the drive than so many resolutions of the record is left to the window.
NEAREST_LINE = 2.0
#: Part of a record over which the window falls off at either end.
SOFT = 0.05
#: Pieces into which a record is cut to follow the phase of the drive.
PIECES = 8


@dataclass(frozen=True, slots=True)
class Tone:
    """The drive as the shunt saw it: phase(t) = 2 pi (f t + chirp t^2 / 2), t [s] from the middle of the record."""

    frequency: float
    chirp: float

    def phase(self, t: Array) -> Array:
        """Phase [rad] at t [s]."""
        return 2.0 * np.pi * (self.frequency * t + 0.5 * self.chirp * t**2)


def hann(n: int) -> Array:
    """The Hann window, (n,), zero at both ends.

    >>> hann(5).round(12).tolist()
    [0.0, 0.5, 1.0, 0.5, 0.0]
    """
    return np.asarray(0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(n) / (n - 1)), float)


def soft_ends(k: Array, n: int) -> Array:
    """Weights of samples k of a record of n: 1 inside, a cosine fall-off over SOFT of the record at either end.

    >>> soft_ends(np.array([0.0, 50.0, 99.0]), 100).round(12).tolist()
    [0.0, 1.0, 0.0]
    """
    from_end = np.minimum(k, n - 1 - k) / (SOFT * (n - 1))
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.minimum(from_end, 1.0)), float)


def follow_drive(reference: Array, sample_rate: float, frequency: float) -> Tone:
    """Frequency and slow drift of a sine near ``frequency`` [Hz], from the phase of successive pieces.

    reference  (n,) samples of the shunt

    >>> t = (np.arange(4000) - 1999.5) / 4000.0
    >>> round(follow_drive(np.cos(2 * np.pi * 76.83 * t), 4000.0, 76.8).frequency, 4)
    76.83
    """
    tone = Tone(frequency, 0.0)
    n = len(reference)
    for _ in range(3):
        t = np.asarray((np.arange(n) - 0.5 * (n - 1)) / sample_rate, np.float64)
        turning = (reference - reference.mean()) * np.exp(-1j * tone.phase(t))
        length = 2 * (n // (PIECES + 1))  # pieces overlap by half
        window = hann(length)
        starts = np.arange(PIECES) * (length // 2)
        sums = np.array([window @ turning[s : s + length] for s in starts])
        middles = (starts + 0.5 * (length - 1) - 0.5 * (n - 1)) / sample_rate
        curve = np.polynomial.polynomial.polyfit(middles, np.unwrap(np.angle(sums)), 2, w=np.abs(sums))
        tone = Tone(tone.frequency + float(curve[1]) / (2.0 * np.pi), tone.chirp + float(curve[2]) / np.pi)
    return tone


def _lines(tone: Tone, duration: float) -> list[float]:
    """Mains lines that stand far enough from the drive and its harmonics to be told apart."""
    lines = [MAINS * k for k in range(1, MAINS_LINES + 1)]
    return [f for f in lines if all(abs(f - h * tone.frequency) > NEAREST_LINE / duration for h in HARMONICS)]


def _columns(t: Array, tone: Tone, lines: Sequence[float], duration: float) -> Array:
    phase = tone.phase(t)
    angles = [h * phase for h in HARMONICS] + [2.0 * np.pi * f * t for f in lines]
    slow = 2.0 * t / duration
    waves = [wave(a) for a in angles for wave in (np.cos, np.sin)]
    return np.stack([*waves, np.ones_like(t), slow, slow**2], axis=1)


def tone_amplitudes(samples: Array, sample_rate: float, tone: Tone) -> Phasors:
    """Complex amplitude (channels,) of the tone in every channel: signal = Re(a exp(+i phase)) and what else is in it.

    samples  (n, channels), in any unit; the amplitudes are peak, in the same unit

    >>> t = (np.arange(4000) - 1999.5) / 4000.0
    >>> wave = 2.0 * np.cos(2 * np.pi * 76.83 * t + 0.5) + 3.0 + np.sin(2 * np.pi * 50 * t)
    >>> a = tone_amplitudes(wave[:, None], 4000.0, Tone(76.83, 0.0))[0]
    >>> bool(abs(a - 2.0 * np.exp(0.5j)) < 1e-12)
    True
    """
    n, channels = samples.shape
    duration = n / sample_rate
    lines = _lines(tone, duration)
    size = 2 * (len(HARMONICS) + len(lines)) + 3
    normal, right = np.zeros((size, size)), np.zeros((size, channels))
    for first in range(0, n, BLOCK):
        k = np.arange(first, min(first + BLOCK, n))
        columns = _columns((k - 0.5 * (n - 1)) / sample_rate, tone, lines, duration)
        weighted = columns * soft_ends(k.astype(np.float64), n)[:, None]
        normal += weighted.T @ columns
        right += weighted.T @ samples[k]
    found = np.linalg.solve(normal, right)
    return np.asarray(found[0] - 1j * found[1], np.complex128)


@dataclass(frozen=True, slots=True)
class Reading:
    """One wire position reduced: drive frequency [Hz], drive current [A] peak, displacements x, y [m] peak, complex."""

    frequency: float
    current: float
    x: complex
    y: complex


def reduce_waveform(waveform: Waveform) -> Reading:
    """Displacement phasors of one record, their phase counted from the current in the shunt.

    Raises Refused when the record holds no drive to count from.
    """
    samples = waveform.read()
    tone = follow_drive(samples[:, waveform.reference], waveform.sample_rate, waveform.frequency)
    amplitudes = tone_amplitudes(samples, waveform.sample_rate, tone)
    reference = amplitudes[waveform.reference]
    spread = float(samples[:, waveform.reference].std())
    resolution = 4.0 * waveform.sample_rate / len(samples)
    if not abs(reference) > 0.5 * spread or abs(tone.frequency - waveform.frequency) > resolution:
        given = f"a drive of {waveform.frequency:g} Hz that the reference channel does not show"
        raise Refused([Fault(given, "a sine near that frequency", "check the channel order and the generator setting")])
    turned = amplitudes * np.conj(reference) / abs(reference)
    x, y = turned[waveform.x] / waveform.x_scale, turned[waveform.y] / waveform.y_scale
    return Reading(tone.frequency, float(abs(reference)) / waveform.reference_scale, complex(x), complex(y))


def _reduced(waveforms: Sequence[Waveform], name: str, file: str, rows: Sequence[int]) -> list[Reading]:
    """All records of a scan or sweep; the faults of all come at once, with their place."""
    readings: list[Reading] = []
    faults: list[Fault] = []
    for waveform, row in zip(waveforms, rows, strict=True):
        try:
            readings.append(reduce_waveform(waveform))
        except Refused as refused:
            faults += [Fault(f.given, f.expected, f.remedy, f.file or file, row, name) for f in refused.faults]
    if faults:
        raise Refused(faults)
    return readings


def _at_one_current(readings: Sequence[Reading]) -> tuple[float, Phasors, Phasors]:
    """Mean current, and displacements as they would be at just that current."""
    current = float(np.mean([r.current for r in readings]))
    factor = np.array([current / r.current for r in readings])
    return current, np.array([r.x for r in readings]) * factor, np.array([r.y for r in readings]) * factor


def reduce_scan(raw: RawScan) -> WireScan:
    """A scan of waveforms as a scan of phasors."""
    readings = _reduced(raw.waveforms, raw.name, raw.file, raw.rows)
    current, x, y = _at_one_current(readings)
    return WireScan(
        name=raw.name,
        magnet=raw.magnet,
        moved=raw.moved,
        magnet_current=raw.magnet_current,
        mode=raw.mode,
        drive_frequency=float(np.mean([r.frequency for r in readings])),
        drive_current=current,
        stage_x=raw.stage_x,
        stage_y=raw.stage_y,
        x=x,
        y=y,
        times=raw.times,
        file=raw.file,
        rows=raw.rows,
    )


def reduce_sweep(raw: RawSweep) -> Sweep:
    """A sweep of waveforms as a sweep of phasors."""
    readings = _reduced(raw.waveforms, raw.name, raw.file, raw.rows)
    current, x, y = _at_one_current(readings)
    frequencies = np.array([r.frequency for r in readings])
    return Sweep(raw.name, raw.mode, frequencies, x, y, current, raw.file, raw.rows)
