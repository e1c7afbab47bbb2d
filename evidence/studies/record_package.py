"""Whether a package of which any byte or any name is changed is found out, and what was changed is named.

In the long form every byte of every file of a small package is changed, each to a drawn other one; the trials beyond that
cut files off, put bytes in, take files away, change names by one bit, and add files.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from random import Random

from evidence.record.packages import DAMAGE, Tally, damage, flip, places_of, small_package
from evidence.study import ROOT, Figure, Study

#: Trials from which on every byte is changed, and the machine's cores are shared.
LONG = 10_000


def run(seed: int, size: int) -> Mapping[str, Figure]:
    """Figures of ``size`` trials, and of every byte in the long form."""
    workers = (os.cpu_count() or 1) if size >= LONG else 1
    tasks = [(seed, size, number, workers) for number in range(workers)]
    tally = Tally()
    if workers == 1:
        tally.add(_part(tasks[0]))
    else:
        with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
            for part in pool.map(_part, tasks):
                tally.add(part)
    for line in [*tally.unseen, *tally.unnamed][:20]:
        print(f"  {line}")
    figures = {
        f"trials: {kind}": Figure(float(tally.trials.get(kind, 0)), 1.0, 2.0 * size + 1e6, "", "some of every kind")
        for kind in ("byte changed", *DAMAGE)
    }
    figures["changes that passed unseen"] = Figure(float(len(tally.unseen)), 0.0, 0.0, "", "none is right")
    figures["found, but not named"] = Figure(float(len(tally.unnamed)), 0.0, 0.0, "", "none is right")
    return figures


def _part(task: tuple[int, int, int, int]) -> Tally:
    seed, size, number, workers = task
    tally, rng = Tally(), Random(f"{seed}/{number}")
    with tempfile.TemporaryDirectory() as folder:
        package = small_package(Path(folder))
        places = places_of(package)
        if size < LONG:
            places = rng.sample(places, size // 2)
        for name, place in places[number::workers]:
            flip(package, name, place, rng, tally)
        for _ in range((size - size // 2) // workers):
            damage(package, rng, tally)
    return tally


STUDY = Study(
    name="record_package",
    question="Is any change to a package, of a byte or of a name, found, and what was changed named?",
    run=run,
    sources=(
        "evidence/record/packages.py",
        "evidence/studies/record_package.py",
        "src/monochord/store/entry.py",
        *sorted(p.relative_to(ROOT).as_posix() for p in (ROOT / "src/monochord/store/package").glob("*.py")),
    ),
    seed=20310921,
    size=20_000,
    short_size=120,
)
