"""WAV files, damaged in their bytes or in the numbers of their head; a plain reader says what is in them."""

from __future__ import annotations

import io
import struct
import wave
from random import Random

import numpy as np

from evidence.fuzz import mutate
from evidence.fuzz.children import folder
from monochord.files.formats.wav import signals

#: Kind and bits of a sample.
KINDS = ((1, 16), (1, 24), (1, 32), (3, 32), (3, 64))


def made(rng: Random) -> bytes:
    """A sound file: parts in their order, some of them strange to a reader of samples."""
    kind, bits = rng.choice(KINDS)
    channels, frames, rate = rng.choice((1, 1, 2, 3)), rng.randrange(9), rng.choice((8000, 44100, 96000))
    if kind == 1:
        raw = b"".join(rng.choice((rng.randbytes(bits // 8), b"\xff" * (bits // 8))) for _ in range(channels * frames))
    else:
        form = "<f" if bits == 32 else "<d"
        raw = b"".join(struct.pack(form, rng.uniform(-1.0, 1.0)) for _ in range(channels * frames))
    frame = channels * bits // 8
    told = struct.pack("<HHIIHH", kind, channels, rate, rate * frame, frame, bits)
    if rng.random() < 0.2:
        told = struct.pack("<H", 0xFFFE) + told[2:] + struct.pack("<HHIH", 22, bits, 0, kind) + bytes(14)
    parts = [(b"fmt ", told), (b"data", raw)]
    if rng.random() < 0.3:
        parts.insert(rng.randrange(3), (rng.choice((b"LIST", b"bext", b"fact")), rng.randbytes(rng.randrange(7))))
    body = b"WAVE" + b"".join(
        name + struct.pack("<I", len(part)) + part + b"\0" * (len(part) % 2) for name, part in parts
    )
    return b"RIFF" + struct.pack("<I", len(body)) + body


def changed(data: bytes, rng: Random) -> bytes:
    """Damage anywhere, or another number in the head."""
    if rng.random() < 0.5:
        return mutate.damaged(data, rng)
    place, size = rng.randrange(4, 48), rng.choice((1, 2, 4))
    new = rng.choice((b"\0" * size, b"\xff" * size, b"\x01" + b"\0" * (size - 1), rng.randbytes(size)))
    return data[:place] + new + data[place + size :]


def samples(rng: Random) -> str:
    """A WAV file, most of them damaged: refused, or read as the plain reader does and never in part."""
    data, sound = made(rng), rng.random() < 0.15
    if not sound:
        for _ in range(rng.choice((1, 1, 2))):
            data = changed(data, rng)
    with folder() as place:
        path = place / "a.wav"
        path.write_bytes(data)
        found = signals(path, "a.wav")
        told = found.contents.attributes
        values = np.asarray(found.read("", ""))
    true = plain(data)
    if true is None:
        return f"wrong: {values.shape} samples of a file that a plain reader refuses"
    rate, channels, wanted = true
    if (told["sample_rate"], told["channels"]) != (float(rate), float(channels)):
        return f"wrong: {dict(told)} for {rate} Hz and {channels} channels"
    own = values.ravel().tolist()
    if len(own) != len(wanted):
        return f"partial: {len(own)} of {len(wanted)} samples"
    if [struct.pack("<d", v) for v in own] != [struct.pack("<d", v) for v in wanted]:
        return f"wrong: samples {own[:6]} for {wanted[:6]}"
    return _by_library(data, len(own))


def plain(data: bytes) -> tuple[int, int, list[float]] | None:  # noqa: PLR0911 - one question after the other
    """Rate, channels and samples one after the other, None where the file's own sizes do not fit."""
    if data[:4] != b"RIFF" or data[8:12] != b"WAVE" or len(data) < struct.unpack_from("<I", data, 4)[0] + 8:
        return None
    parts: dict[bytes, bytes] = {}
    place = 12
    while place + 8 <= len(data):
        name, size = data[place : place + 4], struct.unpack_from("<I", data, place + 4)[0]
        if place + 8 + size > len(data) or name in parts:
            return None
        parts[name] = data[place + 8 : place + 8 + size]
        place += 8 + size + size % 2
    if len(parts.get(b"fmt ", b"")) < 16 or b"data" not in parts:
        return None
    kind, channels, rate, _, frame, bits = struct.unpack_from("<HHIIHH", parts[b"fmt "])
    if kind == 0xFFFE and len(parts[b"fmt "]) >= 26:
        kind = struct.unpack_from("<H", parts[b"fmt "], 24)[0]
    width = bits // 8
    if (kind, bits) not in KINDS or not channels or not rate or frame != channels * width:
        return None
    raw = parts[b"data"]
    if len(raw) % frame:
        return None
    pieces = [raw[i : i + width] for i in range(0, len(raw), width)]
    if kind == 1:
        return rate, channels, [int.from_bytes(p, "little", signed=True) / 2 ** (bits - 1) for p in pieces]
    return rate, channels, [struct.unpack("<f" if bits == 32 else "<d", p)[0] for p in pieces]


def _by_library(data: bytes, count: int) -> str:
    """The standard library's reader, where it reads the file, counts as many samples."""
    try:
        with wave.open(io.BytesIO(data)) as file:
            there = file.getnframes() * file.getnchannels()
    except (wave.Error, EOFError, RuntimeError):
        return ""
    return "" if there == count else f"partial: {count} samples, {there} by the standard library"
