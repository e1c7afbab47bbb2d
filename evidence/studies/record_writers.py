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

WRITERS = 50


def run(seed: int, size: int) -> Mapping[str, Figure]:
    """Figures of ``size`` seconds on each database; nothing is drawn, so the seed is not used."""
    found: dict[str, Figure] = {}
    with tempfile.TemporaryDirectory() as folder, own_server() as server:
        for name, address in (("SQLite", str(Path(folder) / "ring.sqlite")), ("PostgreSQL", database(server.url))):
            make_record(address).engine.dispose()
            wrote = written(address, WRITERS, float(size))
            lines = list(wrong(address, wrote))
            for line in lines[:20]:
                print(f"  {name}: {line}")
            found |= dict(_figures(name, wrote, lines, size))
    return found


def _figures(name: str, wrote: Written, lines: list[str], seconds: int) -> Iterator[tuple[str, Figure]]:
    count, most = float(len(wrote.acknowledged)), 10_000.0 * seconds
    yield f"{name}, entries", Figure(count, float(WRITERS), most, "", "each writer came to its turn at least once")
    yield f"{name}, fewest of one writer", Figure(float(wrote.fewest), 1.0, count / WRITERS, "", "up to the mean")
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
