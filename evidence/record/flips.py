"""One byte of a record changed: verify names it, or all that a plain reader sees is as it was."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from evidence.record.filled import fill
from monochord.ground.faults import Refused
from monochord.store.making import make_record
from monochord.store.unaltered import unaltered
from monochord.store.verify import Walked, verify_opened

Content = dict[str, list[tuple[object, ...]]]


@dataclass(slots=True)
class Tally:
    """What came of many flips: by the kind of place how many were named and how many changed nothing, and the bad ones."""

    named: Counter[str] = field(default_factory=Counter)
    harmless: Counter[str] = field(default_factory=Counter)
    missed: list[str] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        """Take in what came of other flips."""
        self.named += other.named
        self.harmless += other.harmless
        self.missed += other.missed


def closed_record(folder: Path, girders: int, seed: int) -> Path:
    """A record whose writers have all gone: one file, with pages left free by a table that went."""
    path = folder / "closed.sqlite"
    record = make_record(str(path))
    fill(record, girders, seed)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("CREATE TABLE gone (x BLOB)")
        connection.execute("INSERT INTO gone VALUES (?)", (Random(seed).randbytes(12_000),))
        connection.execute("DROP TABLE gone")
    record.engine.dispose()
    return path


def broken_off_record(folder: Path, girders: int, seed: int) -> Path:
    """A record as a program leaves it that was ended suddenly: with a log of writes that are not in the file yet."""
    source = folder / "source.sqlite"
    record = make_record(str(source))
    fill(record, girders, seed)
    with closing(sqlite3.connect(source)) as holder:
        holder.execute("SELECT count(*) FROM entry").fetchone()
        fill(record, girders + 1, seed + 1)  # the reader holds the log open, so that nobody clears it away
        path = folder / "broken-off.sqlite"
        for end in ("", "-wal"):
            shutil.copyfile(f"{source}{end}", f"{path}{end}")
    record.engine.dispose()
    return path


def content(path: Path) -> Content | str:
    """Every row of every table, by a plain reader; what it said when it could not read."""
    try:
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
            connection.text_factory = bytes
            listed = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
            tables = [name.decode() for (name,) in listed.fetchall()]
            return {t: [_typed(row) for row in connection.execute(f"SELECT * FROM {t} NOT INDEXED")] for t in tables}
    except (sqlite3.Error, UnicodeDecodeError, MemoryError) as error:
        return str(error)


def _typed(row: tuple[object, ...]) -> tuple[object, ...]:
    return tuple((type(value), repr(value) if isinstance(value, float) else value) for value in row)


def flipped(path: Path, places: Iterator[tuple[str, int, int]]) -> Tally:
    """What came of flips of (end of the file's name, place, new bits), one after the other, each undone again."""
    tally, right, record = Tally(), content(path), unaltered(str(path))
    assert isinstance(right, dict), right
    for end, place, bits in places:
        file = Path(f"{path}{end}")
        with file.open("r+b") as stream:
            stream.seek(place)
            old = stream.read(1)[0]
            stream.seek(place)
            stream.write(bytes([old ^ bits]))
        where = "log" if end else "file"
        try:
            found = next(verify_opened(record, str(path), _quiet, Walked(), looks=1), None)
            named = str(found) if found else ""
        except Refused as refused:
            named = str(refused)
        if named:
            tally.named[where] += 1
        elif content(path) == right:
            tally.harmless[where] += 1
        else:
            tally.missed.append(f"byte {place} of the {where} changed by {bits:#04x}: not named, and rows differ")
        with file.open("r+b") as stream:
            stream.seek(place)
            stream.write(bytes([old]))
        _without_memory(path)
    record.engine.dispose()
    return tally


def _quiet(_: str) -> None:
    """Say nothing."""


def _without_memory(path: Path) -> None:
    Path(f"{path}-shm").unlink(missing_ok=True)


def every_page(path: Path, rng: Random, page: int = 4096) -> Iterator[tuple[str, int, int]]:
    """A place in every page of the file and of its log, in the page's head and in its middle, and each byte of the first head."""
    for place in range(100):
        yield "", place, rng.randrange(1, 256)
    for end in ends(path):
        size = os.path.getsize(f"{path}{end}")
        for start in range(0, size, page):
            yield end, min(start + rng.randrange(12), size - 1), rng.randrange(1, 256)
            yield end, min(start + rng.randrange(page), size - 1), rng.randrange(1, 256)


def anywhere(path: Path, rng: Random, count: int) -> Iterator[tuple[str, int, int]]:
    """Places drawn evenly over file and log, where half the changes are of a single bit."""
    sizes = {end: os.path.getsize(f"{path}{end}") for end in ends(path)}
    for _ in range(count):
        end = rng.choices(list(sizes), list(sizes.values()))[0]
        bits = 1 << rng.randrange(8) if rng.random() < 0.5 else rng.randrange(1, 256)
        yield end, rng.randrange(sizes[end]), bits


def ends(path: Path) -> list[str]:
    """Ends of the names of the files that make up a record."""
    return [end for end in ("", "-wal") if Path(f"{path}{end}").exists() and os.path.getsize(f"{path}{end}")]
