"""Damage: what disks, transfers, editors, spreadsheets and people do to a file, drawn at random."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

Change = Callable[[bytes, Random], bytes]

#: Pieces that have surprised readers before: marks of encodings, control characters, odd digits, blanks and signs.
PIECES = (
    b"\x00", b"\x00\x00\x00\x00", b"\x1a", b"\x0c", b"\x0b", b"\x85", b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff", b"\xff",
    b"\xc2\xa0", b"\xe2\x80\xaf", b"\xe2\x88\x92", b"\xe2\x80\xa8", b"\xc3\x82\xc2\xb0", b"\xef\xbf\xbd", b"\xed\xa0\x80",
    b"\xd9\xa1", b"\xef\xbc\x91", b"\xc2\xb2", b"\xe2\x80\x8b", b"\xcc\x81", b"\xf0\x9f\x93\x8f", b"\r", b"\n", b"\t", b'"',
    b'""', b'"""', b"'", b",", b";", b"|", b" ", b"  ", b"=", b"#", b"!", b"\\", b"{", b"}", b"[", b"]", b":", b"-", b"+",
    b"--", b"\xc3", b"\xe2\x82",
)  # fmt: skip

#: Spellings of numbers, sound, odd and absurd.
NUMBERS = (
    b"0", b"-0", b"-0.0", b"1e999", b"-1e999", b"1e-999", b"1E5", b"1e05", b"0x1F", b"1_000", b"nan", b"NaN", b"inf",
    b"-Infinity", b"1.5D+02", b"0.1000000-003", b"1,5", b"1.234,5", b"1,234.5", b"1 234.5", b"1'234.5", b".", b"+.", b"0e",
    b"1e", b"1.2.3", b"--1", b"1-", b"(1.5)", b"1.5mm", b"12%", b"-999", b"9.99999999e+37", b"2147483648", b"1/3", b"TRUE",
    b"#N/A", b"1e+", b"00012", b"1.", b".5", b"5e-324", b"1.7976931348623157e308", b"1.7976931348623159e308", b"9" * 400,
    b"0." + b"0" * 400 + b"1", b"1" + b"0" * 5000, b"1e1e1", b"1" * 20, b"24:00:00", b"31.02.2026",
)  # fmt: skip


def flipped(data: bytes, rng: Random) -> bytes:
    """One bit or one byte changed."""
    if not data:
        return data
    out, place = bytearray(data), rng.randrange(len(data))
    out[place] = out[place] ^ (1 << rng.randrange(8)) if rng.random() < 0.5 else rng.randrange(256)
    return bytes(out)


def deleted(data: bytes, rng: Random) -> bytes:
    """A piece taken out."""
    start, stop = _span(data, rng)
    return data[:start] + data[stop:]


def doubled(data: bytes, rng: Random) -> bytes:
    """A piece twice."""
    start, stop = _span(data, rng)
    return data[:stop] + data[start:]


def cut_off(data: bytes, rng: Random) -> bytes:
    """The end lost."""
    return data[: rng.randrange(len(data) + 1)]


def moved(data: bytes, rng: Random) -> bytes:
    """A piece put elsewhere."""
    start, stop = _span(data, rng)
    rest, place = data[:start] + data[stop:], rng.randrange(len(data) - (stop - start) + 1)
    return rest[:place] + data[start:stop] + rest[place:]


def with_piece(data: bytes, rng: Random) -> bytes:
    """An odd sign put in."""
    return _put_in(data, rng.choice(PIECES) * rng.choice((1, 1, 1, 2, 50)), rng)


def with_number(data: bytes, rng: Random) -> bytes:
    """A run of digits replaced by another spelling of a number."""
    places = [i for i, byte in enumerate(data) if 48 <= byte <= 57]
    if not places:
        return _put_in(data, rng.choice(NUMBERS), rng)
    start = stop = rng.choice(places)
    while stop < len(data) and data[stop : stop + 1] in _NUMERIC:
        stop += 1
    while start and data[start - 1 : start] in _NUMERIC:
        start -= 1
    return data[:start] + rng.choice(NUMBERS) + data[stop:]


def with_other_mark(data: bytes, rng: Random) -> bytes:
    """One mark for another, once or everywhere: decimal marks, delimiters, quotes, minus signs."""
    old, new = rng.sample((b",", b".", b";", b"\t", b" ", b"'", b'"', b"|", b"-", b"\xe2\x88\x92", b"e", b"D"), 2)
    if rng.random() < 0.3:
        return data.replace(old, new)
    places = [i for i in range(len(data)) if data.startswith(old, i)]
    if not places:
        return data
    place = rng.choice(places)
    return data[:place] + new + data[place + len(old) :]


def with_other_ends(data: bytes, rng: Random) -> bytes:
    """Other line ends, everywhere or once, or none at the end."""
    how = rng.random()
    if how < 0.2:
        return data.rstrip(b"\r\n")
    new = rng.choice((b"\n", b"\r\n", b"\r", b"\r\r\n", b"\n\n", b"\n\r", b"\x0b", b"\xe2\x80\xa8", b""))
    if how < 0.6:
        return data.replace(b"\r\n", b"\n").replace(b"\n", new)
    places = [i for i, byte in enumerate(data) if byte == 10]
    if not places:
        return data + new
    place = rng.choice(places)
    return data[:place] + new + data[place + 1 :]


def with_other_lines(data: bytes, rng: Random) -> bytes:
    """A line lost, doubled, exchanged with another, emptied or run together with the next."""
    lines = data.split(b"\n")
    i, j = rng.randrange(len(lines)), rng.randrange(len(lines))
    how = rng.randrange(5)
    if how == 0:
        del lines[i]
    elif how == 1:
        lines.insert(j, lines[i])
    elif how == 2:
        lines[i], lines[j] = lines[j], lines[i]
    elif how == 3:
        lines[i] = b" " * rng.randrange(3)
    elif i + 1 < len(lines):
        lines[i : i + 2] = [lines[i] + lines[i + 1]]
    return b"\n".join(lines)


def in_other_encoding(data: bytes, rng: Random) -> bytes:
    """Decoded by one encoding and saved in another, as editors do; a part of the file or all of it."""
    names = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "latin-1", "cp437")
    start = 0 if rng.random() < 0.7 else rng.randrange(len(data) + 1)
    first, second = rng.choice(("utf-8", "cp1252", "latin-1")), rng.choice(names)
    return data[:start] + data[start:].decode(first, "replace").encode(second, "replace")


def nested(data: bytes, rng: Random) -> bytes:
    """Brackets or tables inside each other, very deep."""
    opens, closes = rng.choice(((b"[", b"]"), (b"{", b"}"), (b'{"a":', b"}"), (b"a.", b""), (b"(", b")"), (b'"', b'"')))
    deep = rng.choice((3, 200, 3000, 30000))
    return _put_in(data, opens * deep + (closes * deep if rng.random() < 0.5 else b""), rng)


CHANGES: tuple[tuple[Change, float], ...] = (
    (flipped, 3.0),
    (deleted, 2.0),
    (doubled, 2.0),
    (cut_off, 2.0),
    (moved, 1.0),
    (with_piece, 3.0),
    (with_number, 3.0),
    (with_other_mark, 2.0),
    (with_other_ends, 1.5),
    (with_other_lines, 2.0),
    (in_other_encoding, 0.7),
    (nested, 0.1),
)


def damaged(data: bytes, rng: Random, other: bytes = b"") -> bytes:
    """One to four changes; now and then the tail of another file behind the head of this one."""
    if other and rng.random() < 0.05:
        data = data[: rng.randrange(len(data) + 1)] + other[rng.randrange(len(other) + 1) :]
    for change in rng.choices([c for c, _ in CHANGES], [w for _, w in CHANGES], k=rng.choice((1, 1, 1, 2, 2, 3, 4))):
        data = change(data, rng)
    return data


_NUMERIC = frozenset(bytes([byte]) for byte in b"0123456789.,+-eE")


def _span(data: bytes, rng: Random) -> tuple[int, int]:
    start = rng.randrange(len(data) + 1)
    return start, min(len(data), start + rng.choice((1, 1, 2, 4, 8, 40, 400)))


def _put_in(data: bytes, piece: bytes, rng: Random) -> bytes:
    place = rng.randrange(len(data) + 1)
    return data[:place] + piece + data[place:]
