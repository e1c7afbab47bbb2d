"""Whether a record of SQLite with any one byte changed is found and named, or says all that it said before.

Two records are put to the test: one whose writers have all gone, with pages left free, and one as a program leaves it that was
ended suddenly, with a log of writes beside it. Every page of file and log is hit in its head and in its body, and every byte
of the file's first head; the other places are drawn evenly. A plain reader tells what the rows of all tables are.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from random import Random

from evidence.record.flips import Tally, anywhere, broken_off_record, closed_record, every_page, flipped
from evidence.study import Figure, Study

#: Flips from which on every page is hit, and the machine's cores are shared.
LONG = 2000
MAKERS = {"closed": closed_record, "broken off": broken_off_record}


def run(seed: int, size: int) -> Mapping[str, Figure]:
    """Figures of ``size`` drawn places, half of them in each record, and of every page in the long form."""
    workers = (os.cpu_count() or 1) if size >= LONG else 1
    share = -(-size // (len(MAKERS) * workers))
    tasks = [(name, seed, number, share, size >= LONG) for name in MAKERS for number in range(workers)]
    if workers == 1:
        found = dict(zip(tasks, map(_part, tasks), strict=True))
    else:
        with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
            found = dict(zip(tasks, pool.map(_part, tasks), strict=True))
    figures: dict[str, Figure] = {}
    for name in MAKERS:
        tally = Tally()
        for task, part in found.items():
            if task[0] == name:
                tally.add(part)
        for line in tally.missed[:20]:
            print(f"  {name}: {line}")
        figures |= _figures(name, tally, share * workers)
    return figures


def _part(task: tuple[str, int, int, int, bool]) -> Tally:
    name, seed, number, count, pages = task
    with tempfile.TemporaryDirectory() as folder:
        path = MAKERS[name](Path(folder), 2, seed)
        rng = Random(f"{seed}/{name}/{number}")
        return flipped(path, _places(path, rng, count, every=pages and number == 0))


def _places(path: Path, rng: Random, count: int, *, every: bool) -> Iterator[tuple[str, int, int]]:
    if every:
        yield from every_page(path, rng)
    yield from anywhere(path, rng, count)


def _figures(name: str, tally: Tally, drawn: int) -> Mapping[str, Figure]:
    named, harmless = sum(tally.named.values()), sum(tally.harmless.values())
    total, missed = named + harmless + len(tally.missed), len(tally.missed)
    most = "all that were named or changed nothing, and those missed"
    return {
        f"{name}, places": Figure(
            float(total), float(drawn), 10.0 * drawn, "", "drawn ones, and every page in the long form"
        ),
        f"{name}, found and named": Figure(float(named), 1.0, float(total), "", most),
        f"{name}, rows all as they were": Figure(float(harmless), 1.0, float(total), "", most),
        f"{name}, rows differ and nothing named": Figure(float(missed), 0.0, 0.0, "", "none is right"),
    }


STUDY = Study(
    name="record_bytes",
    question="Is a record with any one byte changed found and named, or are all its rows as they were?",
    run=run,
    sources=(
        "evidence/studies/record_bytes.py",
        "evidence/record/filled.py",
        "evidence/record/flips.py",
        *(
            f"src/monochord/store/{name}.py"
            for name in ("entry", "guards", "tables", "unaltered", "verify", "verify_entries", "verify_files", "wal")
        ),
    ),
    seed=20310611,
    size=20_000,
    short_size=60,
)
