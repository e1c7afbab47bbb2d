"""Whether fifty programs that write into one record at the same time lose anything, fail, or wait without end."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path

from evidence.record.postgres import database, own_server
from evidence.record.writers import Written, written, wrong
from evidence.study import Figure, Study
from monochord.store.making import make_record
from monochord.store.opening import PATIENCE

#: Writers at once in the long form and in the short one, and the seconds from which on it is the long one.
MANY, FEW, LONG = 50, 12, 30


def run(seed: int, size: int) -> Mapping[str, Figure]:
    """Figures of ``size`` seconds on each database; nothing is drawn, so the seed is not used."""
    found: dict[str, Figure] = {}
    with tempfile.TemporaryDirectory() as folder, own_server() as server:
        for name, address in (("SQLite", str(Path(folder) / "ring.sqlite")), ("PostgreSQL", database(server.url))):
            make_record(address).engine.dispose()
            writers = MANY if size >= LONG else FEW
            wrote = written(address, writers, float(size))
            lines = list(wrong(address, wrote))
            for line in lines[:20]:
                print(f"  {name}: {line}")
            found |= dict(_figures(name, wrote, lines, writers * 10_000.0 * size))
    return found


def _figures(name: str, wrote: Written, lines: list[str], most: float) -> Iterator[tuple[str, Figure]]:
    count = float(len(wrote.acknowledged))
    yield f"{name}, entries", Figure(count, 1.0, most, "", "what came")
    yield f"{name}, fewest of one writer", Figure(float(wrote.fewest), 1.0, count, "", "each came to its turn")
    yield f"{name}, longest wait", Figure(wrote.longest, 0.0, float(PATIENCE), "s", "up to the patience of a writer")
    yield f"{name}, lost, doubled, failed or against a check", Figure(float(len(lines)), 0.0, 0.0, "", "none is right")


STUDY = Study(
    name="record_writers",
    question="Do fifty writers at once lose or double anything, fail, or wait without end?",
    run=run,
    sources=(
        "evidence/studies/record_writers.py",
        "evidence/record/writers.py",
        *(f"src/monochord/store/{name}.py" for name in ("entry", "ledger", "opening", "turn")),
    ),
    seed=1,
    size=60,
    short_size=2,
)
