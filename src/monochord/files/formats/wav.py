"""WAV files as blocks of a waveform: whole samples of 16, 24 or 32 bits and floating point of 32 or 64 bits.

The sizes in the file are held against the bytes that are there: a file that was cut off is refused, never padded.
Samples come out as numbers between -1 and 1 in double precision, a whole sample divided by the largest power of its
type (2^15, 2^23, 2^31), which is exact. How many samples stand at full scale is told, channel by channel.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from monochord.files.formats.asked import Format
from monochord.files.formats.zips import refusal
from monochord.files.signals import Block, Contents, Group, Signals
from monochord.ground.faults import Fault

Array = NDArray[np.float64]

_WANTED = "a WAV file of whole samples (16, 24, 32 bits) or floating point"
_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_TYPES = {(_PCM, 16): "<i2", (_PCM, 24): "24", (_PCM, 32): "<i4", (_FLOAT, 32): "<f4", (_FLOAT, 64): "<f8"}
#: How long a run at full scale must be to be told: a single sample may just touch it.
_RUN = 2


@dataclass(frozen=True, slots=True)
class Wave:
    """What the head of a file tells: samples per second, channels, type of a sample, and where samples begin and end."""

    rate: int
    channels: int
    kind: int
    bits: int
    begins: int
    bytes: int

    @property
    def frame(self) -> int:
        """Bytes of one sample of all channels."""
        return self.channels * self.bits // 8


def wave(data: bytes | memoryview, file: str) -> Wave:
    """The head of a WAV file, held against its bytes.

    data  the whole file;  file  as shown

    Raises Refused when it is none, is cut off, or holds samples of a kind that is not known here.
    """
    if len(data) < 12 or bytes(data[:4]) not in (b"RIFF", b"RF64") or bytes(data[8:12]) != b"WAVE":
        raise refusal(f"a file that begins with {bytes(data[:4])!r}", _WANTED, file)
    if bytes(data[:4]) == b"RF64":
        raise refusal("a WAV file of more than 4 GB (RF64)", _WANTED, file)
    told = int.from_bytes(data[4:8], "little") + 8
    if told > len(data):
        raise refusal(f"incomplete: {len(data)} of {told} bytes", "the bytes that the file tells", file)
    parts = _parts(data, file)
    if b"fmt " not in parts or b"data" not in parts:
        lacks = "no description of its samples" if b"fmt " not in parts else "no samples"
        raise refusal(lacks, _WANTED, file)
    begins, size = parts[b"fmt "]
    if size < 16:
        raise refusal(f"a description of {size} bytes", "16 or more", file)
    kind, channels, rate, _, frame, bits = np.frombuffer(
        data[begins : begins + 16],
        np.dtype([("k", "<u2"), ("c", "<u2"), ("r", "<u4"), ("b", "<u4"), ("f", "<u2"), ("n", "<u2")]),
    )[0].tolist()
    if kind == _EXTENSIBLE and size >= 26:
        kind = int.from_bytes(data[begins + 24 : begins + 26], "little")
    found = Wave(rate, channels, kind, bits, *parts[b"data"])
    if (kind, bits) not in _TYPES or not channels or not rate:
        raise refusal(f"samples of kind {kind} with {bits} bits, {channels} channels, {rate} Hz", _WANTED, file)
    if frame != found.frame or found.bytes % found.frame:
        given = f"{found.bytes} bytes of samples in frames of {frame} bytes"
        raise refusal(given, f"whole frames of {found.frame} bytes", file)
    return found


def _parts(data: bytes | memoryview, file: str) -> dict[bytes, tuple[int, int]]:
    """Name -> (where it begins, bytes) of every part; a part that runs past the end is a refusal."""
    found: dict[bytes, tuple[int, int]] = {}
    place = 12
    while place + 8 <= len(data):
        name, size = bytes(data[place : place + 4]), int.from_bytes(data[place + 4 : place + 8], "little")
        if place + 8 + size > len(data):
            given = f"incomplete: {len(data) - place - 8} of {size} bytes of part {name.decode('latin-1')!r}"
            raise refusal(given, "the bytes that the file tells", file)
        if name in found:
            raise refusal(f"two parts {name.decode('latin-1')!r}", "one", file)
        found[name] = (place + 8, size)
        place += 8 + size + size % 2
    return found


def samples(data: bytes | memoryview, found: Wave) -> Array:
    r"""Samples (n, channels) in double precision, whole ones divided by the largest power of their type.

    data  the whole file;  found  its head

    >>> head = Wave(1000, 1, 1, 16, 0, 4)
    >>> samples(b"\x00\x80\xff\x7f", head).tolist()
    [[-1.0], [0.999969482421875]]
    """
    part = data[found.begins : found.begins + found.bytes]
    if found.bits == 24:
        three = np.frombuffer(part, np.uint8).reshape(-1, 3)
        wide = np.zeros((len(three), 4), np.uint8)
        wide[:, 1:] = three
        values = wide.view("<i4")[:, 0].astype(np.float64) / 2.0**31
    else:
        raw = np.frombuffer(part, _TYPES[found.kind, found.bits])
        with np.errstate(invalid="ignore"):  # no number stays none
            values = raw.astype(np.float64)
        if found.kind == _PCM:
            values /= 2.0 ** (found.bits - 1)
    return values.reshape(-1, found.channels)


def at_full_scale(values: Array, found: Wave) -> Array:
    """Share (channels,) of samples that stand at full scale in runs; a single one may just touch it.

    values  (n, channels) between -1 and 1;  found  the head, which tells the largest number of its type
    """
    highest = 1.0 - 2.0 ** -(found.bits - 1) if found.kind == _PCM else 1.0
    full = (values >= highest) | (values <= -1.0)
    beside = np.zeros_like(full)
    beside[1:] |= full[:-1]
    beside[:-1] |= full[1:]
    share: Array = (full & beside).mean(axis=0) if len(values) >= _RUN else np.zeros(values.shape[1])
    return share


def signals(path: Path, file: str) -> Signals:
    """One block without a name; the file tells ``sample_rate`` [Hz] and ``channels``.

    path  of the file;  file  as shown

    Raises Refused as :func:`wave` does.
    """
    data = path.read_bytes()
    found = wave(data, file)
    values = samples(data, found)
    notes = [
        Fault(
            f"{share:.2%} of the samples of channel {channel} at full scale",
            "a signal below full scale",
            "it was clipped there: lower the gain; amplitudes from it are too small",
            file,
        )
        for channel, share in enumerate(at_full_scale(values, found).tolist(), start=1)
        if share
    ]
    told = {"sample_rate": float(found.rate), "channels": float(found.channels)}
    contents = Contents(told, (Group("", {}, (Block("", values.shape, {}),)),))

    def read(_group: str, _block: str) -> NDArray[np.generic]:
        again = path.read_bytes()
        return samples(again, wave(again, file))

    return Signals(contents, read, tuple(notes))


FORMAT = Format("wav", "WAV files", None, signals)
