"""Samples that tell nothing of the wire: at full scale, not recorded, or rolled over; found before anything is fitted.

A recorder that is driven too far writes one and the same value again and again: its full scale. Where the record does
not say what that is, it shows in the samples: the largest value comes far more often than the next one. A sine alone
cannot do that: at its crest, the top step of its staircase is held less than two and a half times as long as the next.

Such samples are left out, and what is left is fitted; how many they were is told. A record whose full scale rolls over
to nothing, or to the other end, is refused, because what lies behind it is anybody's guess.

Source: derived.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.ground.faults import Fault, Refused

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: Fewest samples at one end of the range, and how many times more than at the next value, that tell a full scale.
FEWEST_AT_END, TIMES_NEXT = 8, 6
#: Fewest steps of its staircase that a channel must span before its ends tell anything.
FEWEST_STEPS = 10.0
#: Largest part of a channel's samples that may be left out.
MOST_LEFT_OUT = 0.5
#: A jump from sample to sample by so large a part of the range, where nine in ten are below the second, is no signal.
JUMP, USUAL_STEP = 0.4, 0.1
#: How near to an end of the range a roll-over begins and ends, as a part of the range.
NEAR_END = 0.2


@dataclass(frozen=True, eq=False, slots=True)
class Spoilt:
    """What of a record tells nothing, by channel.

    samples    of each channel;  low, high (c,)  full scale, -inf and inf where it was never reached
    clipped, missing, jumps (c,)  samples at full scale, samples that are no number, jumps of a roll-over
    still (c,)  channels that hold one value throughout
    """

    samples: int
    low: Array
    high: Array
    clipped: NDArray[np.int64]
    missing: NDArray[np.int64]
    jumps: NDArray[np.int64]
    still: Flags

    @property
    def any(self) -> bool:
        """Whether there is anything to be left out."""
        return bool(self.clipped.any() or self.missing.any())

    def told(self, channel: int, name: str) -> list[Fault]:
        """What was left out of one channel, in words; its place is for the caller to add.

        Raises Refused where too little is left, where full scale rolled over, or where nothing was recorded.
        """
        if self.still[channel]:
            given = f"one and the same value in all {self.samples} samples of the {name} channel"
            raise Refused(
                [Fault(given, "a signal", "nothing was recorded on it; see its cable and gain, record again")]
            )
        clipped, missing = int(self.clipped[channel]), int(self.missing[channel])
        if self.jumps[channel] > 1:
            given = f"{self.jumps[channel]} jumps across the range in the {name} channel: its full scale rolled over"
            raise Refused([Fault(given, "a signal within the recorder's range", "record again with less gain")])
        lost = clipped + missing
        if lost > MOST_LEFT_OUT * self.samples:
            given = f"{_share(lost, self.samples)} of the {name} channel at full scale or not recorded"
            raise Refused([Fault(given, f"at most {100 * MOST_LEFT_OUT:g} %", "record again with less gain")])
        found = []
        if clipped:
            given = f"{_share(clipped, self.samples)} of the {name} channel at full scale ({_ends(self, channel)} V)"
            remedy = "left out; the fit stands on the others; record with less gain"
            found.append(Fault(given, "a signal within the recorder's range", remedy))
        if missing:
            given = f"{missing} of {self.samples} samples of the {name} channel are no numbers"
            remedy = f"left out; the fit stands on {self.samples - lost}"
            found.append(Fault(given, "a number in every sample", remedy))
        return found


def spoilt(chunks: Iterator[Array]) -> Spoilt:
    """Full scale, holes and roll-overs of a record (n, channels) that comes in chunks.

    >>> t = np.arange(1000) / 10e3
    >>> wave = np.clip(1.2 * np.sin(2 * np.pi * 52.3 * t), -1.0, 1.0)
    >>> found = spoilt(iter([wave[:, None]]))
    >>> found.high.tolist(), int(found.clipped[0])
    ([1.0], 371)
    """
    tops: list[_Top] = []
    samples, missing, jumps = 0, np.zeros(0, np.int64), np.zeros(0, np.int64)
    for chunk in chunks:
        if not tops:
            missing, jumps = np.zeros(chunk.shape[1], np.int64), np.zeros(chunk.shape[1], np.int64)
            tops = [_Top() for _ in range(2 * chunk.shape[1])]
        samples += len(chunk)
        whole = bool(np.isfinite(chunk.sum()))
        for channel in range(chunk.shape[1]):
            wave = chunk[:, channel] if whole else chunk[np.isfinite(chunk[:, channel]), channel]
            missing[channel] += len(chunk) - len(wave)
            if len(wave):
                tops[2 * channel].add(wave, 1.0)
                tops[2 * channel + 1].add(wave, -1.0)
                jumps[channel] += _jumps(wave)
    ends = [top.full_scale(-other.value) for top, other in zip(tops, _partners(tops), strict=True)]
    counts = np.array([t.count if np.isfinite(end) else 0 for t, end in zip(tops, ends, strict=True)], np.int64)
    still = np.array([a.value + b.value == 0.0 for a, b in zip(tops[::2], tops[1::2], strict=True)], bool)
    low, high = -np.array(ends[1::2], float), np.array(ends[::2], float)
    return Spoilt(samples, low, high, counts[::2] + counts[1::2], missing, jumps, still)


def _partners(tops: Sequence[_Top]) -> list[_Top]:
    """The other end of every end's channel."""
    return [tops[k ^ 1] for k in range(len(tops))]


def usable(chunk: Array, found: Spoilt) -> Flags:
    """Which samples (n, channels) tell something: numbers, and within full scale."""
    with np.errstate(invalid="ignore"):
        return np.asarray((chunk > found.low) & (chunk < found.high) & np.isfinite(chunk))


class _Top:
    """The two largest values of a channel so far, and how often each came."""

    def __init__(self) -> None:
        self.value, self.count, self.next, self.next_count = -np.inf, 0, -np.inf, 0

    def add(self, wave: Array, sign: float) -> None:
        """More samples (n,), turned round where the smallest are asked for."""
        largest = float(wave.max() if sign > 0 else -wave.min())
        if largest < self.next:
            return
        at = wave == sign * largest
        self._note(largest, int(np.count_nonzero(at)))
        rest = wave[~at]
        if len(rest):
            second = float(rest.max() if sign > 0 else -rest.min())
            self._note(second, int(np.count_nonzero(rest == sign * second)))

    def _note(self, value: float, count: int) -> None:
        if value > self.value:
            self.next, self.next_count = self.value, self.count
            self.value, self.count = value, count
        elif value == self.value:
            self.count += count
        elif value > self.next:
            self.next, self.next_count = value, count
        elif value == self.next:
            self.next_count += count

    def full_scale(self, other: float) -> float:
        """The largest value where it is a full scale, else infinity; other  the channel's other end, on the same sign."""
        held = self.count >= FEWEST_AT_END and self.count > TIMES_NEXT * self.next_count
        stairs = self.value - other > FEWEST_STEPS * (self.value - self.next)
        return self.value if held and stairs else np.inf


def _jumps(wave: Array) -> int:
    """Steps from near one end of the range to nothing, to the other end, or back, in a signal that else goes smoothly."""
    low, high = float(wave.min()), float(wave.max())
    steps = np.abs(np.diff(wave))
    large = steps > JUMP * (high - low)
    if np.count_nonzero(large) < 2 or float(np.quantile(steps, 0.9)) > USUAL_STEP * (high - low):
        return 0
    near = NEAR_END * (high - low)
    first, second = wave[:-1][large], wave[1:][large]
    top, bottom = np.maximum(first, second), np.minimum(first, second)
    ends = (top > high - near) & (bottom < low + near)
    nothing = ((first == 0.0) & ((second > high - near) | (second < low + near))) | (
        (second == 0.0) & ((first > high - near) | (first < low + near))
    )
    return int(np.count_nonzero(ends | nothing))


def _share(count: int, samples: int) -> str:
    return f"{count} of {samples} samples ({100.0 * count / samples:.1f} %)"


def _ends(found: Spoilt, channel: int) -> str:
    ends = [v for v in (found.low[channel], found.high[channel]) if np.isfinite(v)]
    return " and ".join(f"{v:.6g}" for v in ends)
