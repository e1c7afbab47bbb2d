"""Raw signals to phasors: the part of a sensor's signal that follows the drive current.

The drive is a sine whose frequency is set at a generator and may drift; the shunt tells what it really was.
Every channel is then fitted by weighted least squares with that very tone, its harmonics (a curved sensor
makes them), the mains lines and a slow background; samples at full scale and holes are left out. The weights
are one but for a short cosine taper at both ends, so that a line that is not in the model leaks little and the
noise hardly grows.

Sums run over chunks: within a chunk all waves count from its middle, and a rotation brings them to the middle
of the record. Memory so does not grow with the record, and equal chunks share one set of waves.

Source: linear least squares; derived.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monochord.campaign.given.wire import RawScan, RawSweep, Sweep, Waveform, WireScan
from monochord.ground.faults import Fault, Refused
from monochord.wire.samples import Spoilt, spoilt, usable

Array = NDArray[np.float64]
Phasors = NDArray[np.complex128]

#: Samples taken at a time; a record that is not longer is one chunk.
CHUNK = 131072
#: Harmonics of the drive that are fitted beside it.
HARMONICS = (1, 2, 3)
#: Mains frequency [Hz] and how many of its multiples are fitted.
MAINS, MAINS_LINES = 50.0, 7
#: A mains line nearer to a harmonic of the drive than so many resolutions of the record cannot be told from it.
NEAREST_LINE = 1.5
#: Part of a chunk over which the weights rise at the record's start and fall at its end.
TAPER = 0.04
#: Periods of the drive in one piece when its phase is followed, and the fewest pieces that tell a drift.
PIECE_PERIODS, FEWEST_PIECES = 4.0, 5
#: How often a drive is followed anew when it turns out to be off its setting.
MOST_PASSES = 3
#: A record with less than this part of the samples that the others of its scan have is told to be short.
SHORT = 0.9
#: The generator's setting is believed unless the shunt departs from it by so many standard uncertainties.
BELIEVED = 4.0


@dataclass(frozen=True, slots=True)
class Tone:
    """The drive as the shunt saw it: phase(t) = 2 pi (f t + chirp t^2 / 2), t [s] from the middle of the record."""

    frequency: float
    chirp: float

    def phase(self, t: ArrayLike) -> Array:
        """Phase [rad] at t [s]."""
        at = np.asarray(t, float)
        return np.asarray(2.0 * np.pi * (self.frequency * at + 0.5 * self.chirp * at**2), float)


def follow_drive(reference: Array, sample_rate: float, frequency: float) -> Tone:
    """Frequency and slow drift of a sine near ``frequency`` [Hz], from the phase of successive pieces.

    reference  (n,) samples of the shunt. What cannot be told from the setting is given as the setting.

    >>> t = (np.arange(4000) - 1999.5) / 4000.0
    >>> round(follow_drive(np.cos(2 * np.pi * 76.83 * t), 4000.0, 76.8).frequency, 4)
    76.83
    """
    length = _piece_length(len(reference), sample_rate, frequency)
    tone = Tone(frequency, 0.0)
    for _ in range(MOST_PASSES):
        pieces = _pieces(reference, length, sample_rate, tone.frequency)
        before = tone.frequency
        tone = _tone(pieces, length, len(reference), sample_rate=sample_rate, frequency=before)
        if _settled(tone.frequency - before, length, sample_rate):
            break
    return tone


def _settled(moved: float, length: int, sample_rate: float) -> bool:
    """Whether a piece fitted with a frequency so far off [Hz] tells its phase to a hundred thousandth of a turn."""
    return abs(moved) * length / sample_rate < 1e-4


def _piece_length(n: int, sample_rate: float, frequency: float) -> int:
    """Samples of one piece: some periods of the drive, and not so few that a long record has thousands of pieces."""
    return int(min(n, max(PIECE_PERIODS * sample_rate / frequency, n / 64.0)))


def _pieces(reference: Array, length: int, sample_rate: float, frequency: float) -> Phasors:
    """Amplitude of the sine in each whole piece, its phase counted from the piece's middle."""
    count = len(reference) // length
    gain = _piece_gain(length, sample_rate, frequency)
    found = reference[: count * length].reshape(count, length) @ gain
    return np.asarray(found[:, 0] - 1j * found[:, 1], complex)


@lru_cache(maxsize=8)
def _piece_gain(length: int, sample_rate: float, frequency: float) -> Array:
    """(length, 2): least squares of cosine, sine and a constant over one piece, its first two results."""
    angle = 2.0 * np.pi * frequency * (np.arange(length) - 0.5 * (length - 1)) / sample_rate
    columns = np.stack([np.cos(angle), np.sin(angle), np.ones(length)], axis=1)
    return np.asarray(np.linalg.pinv(columns).T[:, :2], float)


def _tone(pieces: Phasors, length: int, n: int, *, sample_rate: float, frequency: float) -> Tone:
    """Tone from the phases of pieces that began with the record of n samples.

    A parabola in time beside the set frequency, as far as it is significant.
    """
    middle = ((np.arange(len(pieces)) + 0.5) * length - 0.5 * n) / sample_rate
    if len(pieces) < FEWEST_PIECES or not np.abs(pieces).min() > 0.0:
        return Tone(frequency, 0.0)
    beside = np.unwrap(np.angle(pieces * np.exp(-2j * np.pi * frequency * middle)))
    x = middle / np.abs(middle).max()
    columns = np.stack([np.ones_like(x), x, x**2], axis=1)
    cov = np.linalg.inv(columns.T @ columns)
    curve = cov @ columns.T @ beside
    rest = beside - columns @ curve
    u = np.sqrt(np.diag(cov) * (rest @ rest) / (len(x) - 3))
    scale = float(np.abs(middle).max())
    told = [float(c) if abs(c) > BELIEVED * s + 1e-9 else 0.0 for c, s in zip(curve, u, strict=True)]
    return Tone(frequency + told[1] / scale / (2.0 * np.pi), told[2] / scale**2 / np.pi)


def _lines(frequency: float, duration: float, sample_rate: float) -> tuple[float, ...]:
    """Mains lines below the sampling limit that can be told from the drive and its harmonics."""
    lines = [MAINS * k for k in range(1, MAINS_LINES + 1) if MAINS * k < 0.45 * sample_rate]
    apart = NEAREST_LINE / duration
    return tuple(f for f in lines if all(abs(f - h * frequency) > apart for h in HARMONICS))


@lru_cache(maxsize=8)
def _waves(
    count: int, sample_rate: float, tone: Tone, *, lines: tuple[float, ...], ends: tuple[bool, bool]
) -> tuple[Array, Array]:
    """Weighted columns (count, m) about a chunk's middle, cosine and sine of every wave, then 1 and t; their products (m, m).

    ends  whether the record begins and whether it ends with this chunk
    """
    t = (np.arange(count) - 0.5 * (count - 1)) / sample_rate
    one = np.exp(1j * tone.phase(t))
    waves = [one**h for h in HARMONICS] + [np.exp(2j * np.pi * f * t) for f in lines]
    columns = np.stack([*(part for w in waves for part in (w.real, w.imag)), np.ones(count), t], axis=1)
    weighted = columns * _taper(count, *ends)[:, None]
    return weighted, weighted.T @ columns


def _taper(count: int, first: bool, last: bool) -> Array:
    """Weights (count,) of a chunk: one, but at an end of the record."""
    short = max(int(TAPER * count), 1)
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(short) + 0.5) / short)
    weight = np.ones(count)
    if first:
        weight[:short] = rise
    if last:
        weight[-short:] *= rise[::-1]
    return weight


def _rotation(tone: Tone, lines: Sequence[float], at: float) -> Array:
    """(m, m): columns about the record's middle from columns about a chunk's middle, which lies at time ``at`` [s]."""
    angles = np.concatenate([np.array(HARMONICS) * tone.phase(at), 2.0 * np.pi * np.array(lines) * at])
    m = 2 * len(angles)
    out = np.eye(m + 2)
    c, s, even = np.cos(angles), np.sin(angles), np.arange(0, m, 2)
    out[even, even], out[even, even + 1] = c, s
    out[even + 1, even], out[even + 1, even + 1] = -s, c
    out[m, m + 1] = at
    return out


def amplitudes_in(
    chunks: Iterator[Array], n: int, sample_rate: float, tone: Tone, *, found: Spoilt | None = None
) -> Phasors:
    """Complex amplitude (channels,) of the tone from n samples that come in chunks (k, channels), one after the other.

    found  samples that tell nothing and are left out, channel by channel; None where all tell something
    """
    duration = n / sample_rate
    lines = _lines(tone.frequency, duration, sample_rate)
    size = 2 * (len(HARMONICS) + len(lines)) + 2
    normal, right = np.zeros((1, size, size)), np.zeros((size, 1))
    start = 0
    for chunk in chunks:
        count = len(chunk)
        ends = (start == 0, start + count >= n)
        at = (start + 0.5 * (count - 1) - 0.5 * (n - 1)) / sample_rate
        inside = Tone(tone.frequency + tone.chirp * at, tone.chirp)
        weighted, products = _waves(count, sample_rate, inside, lines=lines, ends=ends)
        rotation = _rotation(tone, lines, at)
        kept, told = (products[None], chunk) if found is None else _left(chunk, found, weighted, products, ends)
        normal = normal + rotation.T @ kept @ rotation
        right = right + rotation.T @ (weighted.T @ told)
        start += count
    scale = np.sqrt(np.einsum("cii->ci", normal))
    scaled = normal / (scale[:, :, None] * scale[:, None, :])
    if found is None:
        solved = np.linalg.solve(scaled[0], right / scale[0][:, None]) / scale[0][:, None]
    else:
        solved = np.linalg.solve(scaled, (right.T / scale)[..., None])[..., 0].T / scale.T
    return np.asarray(solved[0] - 1j * solved[1], complex)


def _left(
    chunk: Array, found: Spoilt, weighted: Array, products: Array, ends: tuple[bool, bool]
) -> tuple[Array, Array]:
    """Products (channels, m, m) of what a channel's samples leave of the waves, and the samples with nothing for the rest."""
    good = usable(chunk, found)
    taper = _taper(len(chunk), *ends)
    kept = np.empty((chunk.shape[1], *products.shape))
    for channel, fine in enumerate(good.T):
        lost = weighted[~fine]
        kept[channel] = products - lost.T @ (lost / taper[~fine, None])
    return kept, np.where(good, chunk, 0.0)


def tone_amplitudes(samples: Array, sample_rate: float, tone: Tone) -> Phasors:
    """Complex amplitude (channels,) of the tone in every channel: signal = Re(a exp(+i phase)) and what else is in it.

    samples  (n, channels), in any unit; the amplitudes are peak, in the same unit

    >>> t = (np.arange(4000) - 1999.5) / 4000.0
    >>> wave = 2.0 * np.cos(2 * np.pi * 76.83 * t + 0.5) + 3.0 + np.sin(2 * np.pi * 50 * t)
    >>> a = tone_amplitudes(wave[:, None], 4000.0, Tone(76.83, 0.0))[0]
    >>> bool(abs(a - 2.0 * np.exp(0.5j)) < 1e-12)
    True
    """
    return amplitudes_in(_cut(samples), len(samples), sample_rate, tone)


def _cut(samples: Array) -> Iterator[Array]:
    return (samples[k : k + CHUNK] for k in range(0, len(samples), CHUNK))


#: Gives a record's samples (k, channels) in chunks, as often as it is called.
Source = Callable[[], Iterator[Array]]


def _source(waveform: Waveform) -> Source:
    """The record in chunks: as its file gives them, else cut from the whole, which is read once."""
    chunks = waveform.chunks
    if chunks is not None:
        return lambda: iter(chunks(CHUNK))
    whole = waveform.read()
    return lambda: _cut(whole)


@dataclass(frozen=True, slots=True)
class Reading:
    """One wire position reduced: drive frequency [Hz], drive current [A] peak, displacements x, y [m] peak, complex.

    samples  in the record;  notes  what of them was left out, without its place
    """

    frequency: float
    current: float
    x: complex
    y: complex
    samples: int = 0
    notes: tuple[Fault, ...] = ()


def reduce_waveform(waveform: Waveform) -> Reading:
    """Displacement phasors of one record, their phase counted from the current in the shunt.

    Raises Refused when the record holds no drive to count from.
    """
    rate, set_to = waveform.sample_rate, waveform.frequency
    if not 0.0 < set_to < 0.5 * rate:
        given = f"a drive of {set_to:g} Hz sampled at {rate:g} Hz"
        raise Refused([Fault(given, "a drive below half the sampling rate", "check frequency and sampling rate")])
    source = _source(waveform)
    found = spoilt(source())
    n = found.samples
    if not n:
        raise Refused([Fault("no samples", "a signal", "nothing was recorded yet; leave the record out or repeat it")])
    notes = [f for c in _channels(waveform) for f in found.told(*c)]
    if n * set_to < 3.0 * rate:
        given = f"{n} samples, {n * set_to / rate:.1f} periods of the drive"
        raise Refused([Fault(given, "three periods or more", "record longer")])
    tone, spread = _survey(source, waveform, n)
    amplitudes = amplitudes_in(source(), n, rate, tone, found=found if found.any else None)
    reference = amplitudes[waveform.reference]
    if not abs(reference) > 0.5 * spread or abs(tone.frequency - set_to) > 4.0 * rate / n:
        given = f"a drive of {set_to:g} Hz that the reference channel does not show"
        raise Refused([Fault(given, "a sine near that frequency", "check the channel order and the generator setting")])
    turned = amplitudes * np.conj(reference) / abs(reference)
    x, y = turned[waveform.x] / waveform.x_scale, turned[waveform.y] / waveform.y_scale
    current = float(abs(reference)) / waveform.reference_scale
    return Reading(tone.frequency, current, complex(x), complex(y), n, tuple(notes))


def _channels(waveform: Waveform) -> list[tuple[int, str]]:
    """The channels that are used, with their names."""
    return [(waveform.reference, "reference"), (waveform.x, "x"), (waveform.y, "y")]


def _survey(source: Source, waveform: Waveform, n: int) -> tuple[Tone, float]:
    """The drive, followed over a record of n samples, and the spread of the reference channel."""
    rate, set_to = waveform.sample_rate, waveform.frequency
    if n <= CHUNK:
        reference = _bridged(np.concatenate([chunk[:, waveform.reference] for chunk in source()]))
        return follow_drive(reference, rate, set_to), float(reference.std())
    length, tone, spread = _piece_length(CHUNK, rate, set_to), Tone(set_to, 0.0), 0.0
    for _ in range(MOST_PASSES):
        before = tone.frequency
        pieces, spread = _pass_over(source, waveform, n, length=length, frequency=before)
        tone = _tone(pieces, length, n, sample_rate=rate, frequency=before)
        if _settled(tone.frequency - before, length, rate):
            break
    return tone, spread


def _bridged(wave: Array) -> Array:
    """A channel (n,) whose holes are bridged by straight lines: good enough to follow a phase, never fitted."""
    there = np.isfinite(wave)
    if there.all() or not there.any():
        return wave
    at = np.arange(len(wave))
    return np.asarray(np.interp(at, at[there], wave[there]), float)


def _pass_over(source: Source, waveform: Waveform, n: int, *, length: int, frequency: float) -> tuple[Phasors, float]:
    """Pieces of the reference channel of a whole record of n samples, and its spread."""
    pieces = [np.zeros(0, complex)]
    total, square = 0.0, 0.0
    rest = np.zeros(0)
    for chunk in source():
        reference = _bridged(chunk[:, waveform.reference])
        total, square = total + float(reference.sum()), square + float(reference @ reference)
        rest = np.concatenate([rest, reference])
        pieces.append(_pieces(rest, length, waveform.sample_rate, frequency))
        rest = rest[len(rest) // length * length :]
    spread = float(np.sqrt(max(square / n - (total / n) ** 2, 0.0)))
    return np.concatenate(pieces), spread


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


def _notes(readings: Sequence[Reading], name: str, file: str, rows: Sequence[int]) -> tuple[Fault, ...]:
    """What was left out of the records of a scan or sweep, and which were short, with their places."""
    usual = float(np.median([r.samples for r in readings])) if readings else 0.0
    told: list[Fault] = []
    for reading, row in zip(readings, rows, strict=True):
        told += [Fault(f.given, f.expected, f.remedy, file, row, name) for f in reading.notes]
        if reading.samples < SHORT * usual:
            remedy = "fitted as it is, with more noise; was the recording cut off?"
            told.append(Fault(f"{reading.samples} samples", f"{usual:g} as in the others", remedy, file, row, name))
    return tuple(told)


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
        notes=_notes(readings, raw.name, raw.file, raw.rows),
    )


def reduce_sweep(raw: RawSweep) -> Sweep:
    """A sweep of waveforms as a sweep of phasors."""
    readings = _reduced(raw.waveforms, raw.name, raw.file, raw.rows)
    current, x, y = _at_one_current(readings)
    frequencies = np.array([r.frequency for r in readings])
    notes = _notes(readings, raw.name, raw.file, raw.rows)
    return Sweep(raw.name, raw.mode, frequencies, x, y, current, raw.file, raw.rows, notes)
