"""The write-ahead log that a broken-off program left beside a file of SQLite: whether every write in it is still seen.

A damaged frame of the log ends what SQLite reads of it, without a word: all entries after it are gone. So the log is
looked at before SQLite is. A log ends rightly with nothing, with frames of a write that was never finished, with half a
frame, or with frames of an earlier round of the log. When the last finished write is not whole, the power may have failed
before it was acknowledged; before it every write was acknowledged, and is on the disk.

Source: the SQLite file format, section "The Write-Ahead Log" (sqlite.org/fileformat2.html), from memory.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np

HEADER, FRAME, WORD = 32, 24, 0xFFFFFFFF
#: First number of a log; its last bit tells the order of bytes in the sums.
MAGIC = 0x377F0682
VERSION = 3007000


@dataclass(frozen=True, slots=True)
class Flaw:
    """Where a log is not whole, from which byte on it is not read, and whether a write that broke off could look the same."""

    words: str
    offset: int
    certain: bool


def log_of(path: Path) -> Path:
    """Where the log of a file of SQLite stands when there is one."""
    return path.with_name(path.name + "-wal")


def flaw_of(log: Path) -> Flaw | None:
    """The first flaw of a log; None when all that was written to it is seen, or when there is no log."""
    try:
        content = log.read_bytes()
    except FileNotFoundError:
        return None
    return flaw_in(content)


def flaw_in(content: bytes) -> Flaw | None:
    """The first flaw in the bytes of a log.

    >>> flaw_in(b"") is None
    True
    >>> flaw_in(bytes(32)).words
    'its head is damaged'
    """
    if not content:
        return None
    head = content[:HEADER]
    if len(head) < HEADER or not _head_is_whole(head):
        return Flaw("its head is damaged", 0, certain=True)
    return _flaw_in_frames(content, head)


def _head_is_whole(head: bytes) -> bool:
    magic, version, size = struct.unpack_from(">3I", head)
    if magic & ~1 != MAGIC or version != VERSION or not (512 <= size <= 65536 and size & (size - 1) == 0):
        return False
    return _Sums(3, magic).of(head[:24], (0, 0)) == struct.unpack_from(">2I", head, 24)


def _flaw_in_frames(content: bytes, head: bytes) -> Flaw | None:
    magic, _, size = struct.unpack_from(">3I", head)
    round_of_log = head[16:24]
    running = struct.unpack_from(">2I", head, 24)
    starts = range(HEADER, len(content) - FRAME - size + 1, FRAME + size)
    sums = _Sums((8 + size) // 8, magic)
    for start in starts:
        frame = content[start : start + FRAME]
        found = sums.of(frame[:8] + content[start + FRAME : start + FRAME + size], running)
        this_round, right = frame[8:16] == round_of_log, found == struct.unpack_from(">2I", frame, 16)
        if this_round and right and frame[:4] != bytes(4):
            running = found
            continue
        number = (start - HEADER) // (FRAME + size) + 1
        if right:
            return Flaw(f"write {number} in it is damaged, and nothing after it is read", start, certain=True)
        after = [content[s : s + FRAME] for s in starts if s >= start and content[s + 8 : s + 16] == round_of_log]
        ended = sum(frame[4:8] != bytes(4) for frame in after)  # the last frame of a kept write tells the file's length
        if ended > 1:
            return Flaw(f"write {number} in it is damaged, and nothing after it is read", start, certain=True)
        if ended == 1 or (this_round and _ended_once(content[start : start + FRAME + size], running, sums)):
            return Flaw(f"its last write, {number}, is not whole and is not read", start, certain=False)
        return None
    return None


def _ended_once(frame: bytes, running: tuple[int, int], sums: _Sums) -> bool:
    """Whether a frame's sums are right with another length of the file in its head: then it ended a write."""
    stored, content = struct.unpack_from(">2I", frame, 16), frame[FRAME:]
    lengths = (value << shift for value in range(1, 256) for shift in (0, 8, 16, 24))
    return any(sums.of(frame[:4] + struct.pack(">I", n) + content, running) == stored for n in lengths)


class _Sums:
    """The log's two running sums over pairs of 32-bit words, s0 += a + s1 and s1 += b + s0, modulo 2**32.

    They are linear, so the sums over ``pairs`` pairs are weights times words, and a matrix times the sums before: what a loop
    over every word would give, a hundred times sooner.
    """

    def __init__(self, pairs: int, magic: int) -> None:
        one, other = np.zeros((2, pairs), np.uint64), np.zeros((2, pairs), np.uint64)
        step = (1, 0, 0, 1)  # the power of ((1, 1), (1, 2)) by which the sums go on past the pairs that follow
        for i in range(pairs - 1, -1, -1):
            p, q, r, s = step
            one[:, i], other[:, i] = (p + q, q), (r + s, s)
            step = tuple(value & WORD for value in (p + q, p + 2 * q, r + s, r + 2 * s))  # type: ignore[assignment]
        self._one, self._other, self._step = one.T.ravel(), other.T.ravel(), step
        self._kind = np.dtype(">u4" if magic & 1 else "<u4")

    def of(self, content: bytes, before: tuple[int, int]) -> tuple[int, int]:
        """The sums with more bytes, from those before."""
        words = np.frombuffer(content, self._kind).astype(np.uint64)
        p, q, r, s = self._step
        # products and sums of 64 bits overflow at 2**64, which leaves them right modulo 2**32
        one = int(self._one @ words) + p * before[0] + q * before[1]
        other = int(self._other @ words) + r * before[0] + s * before[1]
        return one & WORD, other & WORD
