"""How long each question to the record takes as the fleet grows: ``python -m benchmarks.record_questions``.

The rows are invented and written straight into the tables that entries tell, not through the ledger: the questions read
nothing else, and a hundred fleets of entries would take hours to chain. Sizes are multiples of 200 girders with 40
occasions each; 3 magnets are judged on the first and the last occasion of each girder, and every occasion gives 5 values for
charts. Each ratio of times is held against that of n log n, with n the number of occasions; what is quicker than a floor is
not compared, for it measures the start of things.
"""

from __future__ import annotations

import argparse
import math
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from itertools import islice
from pathlib import Path

import numpy as np
from sqlalchemy import Connection, Table

from monochord.job.record.fleet_door import PAGE, QUESTIONS, Asked
from monochord.report.fleet.answer import answers_page
from monochord.store.entry import stamp
from monochord.store.making import make_record
from monochord.store.opening import Record
from monochord.store.tables_told import GIRDER, MEASURE, OCCASION, RUN, STEP, VERDICT

GIRDERS, OCCASIONS, MAGNETS = 200, 40, ("Q1", "Q2", "S1")
START = datetime(2031, 1, 1, tzinfo=UTC)
#: Times below these are not compared [s].
FLOOR = 0.05
#: A ratio may exceed that of n log n by this factor: the machine is shared and caches end.
ROOM = 1.25
BATCH = 20_000

Row = dict[str, object]


def made(record: Record, girders: int, rng: np.random.Generator) -> None:
    """Write an invented fleet into the tables for questions."""
    with record.writing() as connection:
        for table, rows in (
            (GIRDER, _girders(girders)),
            (RUN, _runs(girders)),
            (OCCASION, _occasions(girders)),
            (VERDICT, _verdicts(girders, rng)),
            (MEASURE, _measures(girders, rng)),
            (STEP, _steps(girders)),
        ):
            _write(connection, table, rows)


def _write(connection: Connection, table: Table, rows: Iterator[Row]) -> None:
    while some := list(islice(rows, BATCH)):
        connection.execute(table.insert(), some)


def _name(girder: int) -> str:
    return f"G{girder:05d}"


def _when(girder: int, occasion: int) -> str:
    return stamp(START + timedelta(hours=97.0 * occasion + 0.5 * girder))


def _girders(girders: int) -> Iterator[Row]:
    for g in range(girders):
        yield {"name": _name(g), "type": "arc", "judged": f"o{OCCASIONS - 1:02d}", "entry": f"g{g}"}


def _runs(girders: int) -> Iterator[Row]:
    same = {"made_by": "bench", "code": "c", "document": "d", "sentence": "invented", "signatures": 0}
    for g in range(girders):
        at = _when(g, OCCASIONS)
        yield {"id": f"r{g}", "number": g + 1, "girder": _name(g), "made_at": at} | same


def _occasions(girders: int) -> Iterator[Row]:
    same = {"place": "tunnel", "timed_by": "its clock", "judged": 1}
    for g in range(girders):
        for o in range(OCCASIONS):
            at = _when(g, o)
            yield {
                "girder": _name(g), "name": f"o{o:02d}", "first": g * OCCASIONS + o, "known_at": at, "at": at, "run": f"r{g}",
                "entry": f"e{g}-{o}",
            } | same  # fmt: skip


def _verdicts(girders: int, rng: np.random.Generator) -> Iterator[Row]:
    for g in range(girders):
        for o in (0, OCCASIONS - 1):
            for magnet in MAGNETS:
                for q in ("x", "y", "own_move_x", "own_move_y"):
                    value = float(rng.normal(0.0, 9e-6))
                    margin = 30e-6 - abs(value)
                    yield {
                        "girder": _name(g), "occasion": f"o{o:02d}", "magnet": magnet, "quantity": q, "value": value, "u": 1e-6,
                        "limit_value": 30e-6, "margin": margin, "margin_share": margin / 30e-6, "probability": 0.9,
                        "verdict": "conforms" if margin > 0.0 else "does not conform", "evidence": "wire", "run": f"r{g}",
                    }  # fmt: skip


def _measures(girders: int, rng: np.random.Generator) -> Iterator[Row]:
    names = ("own_move_x", "own_move_x", "own_move_x", "survey_variance_factor", "wire_sag")
    magnets = (*MAGNETS, "", "")
    for g in range(girders):
        for o in range(OCCASIONS):
            for name, magnet, value in zip(names, magnets, rng.normal(0.0, 1e-6, 5), strict=True):
                yield {
                    "girder": _name(g), "occasion": f"o{o:02d}", "quantity": name, "magnet": magnet, "type": "arc", "since": "",
                    "at": _when(g, o), "value": float(value), "u": 1e-6, "unit": "m", "run": f"r{g}",
                }  # fmt: skip


def _steps(girders: int) -> Iterator[Row]:
    for g in range(0, girders, 5):
        yield {
            "entry": f"s{g}", "girder": _name(g), "step": "bake-out", "done_on": "2041-01-01", "instrument": "", "words": "",
            "made_by": "bench",
        }  # fmt: skip


def timed(call: Callable[[], object], rounds: int, clock: Callable[[], float]) -> float:
    """The shortest time of some calls [s]."""
    shortest = math.inf
    for _ in range(rounds):
        start = clock()
        call()
        shortest = min(shortest, clock() - start)
    return shortest


def times(record: Record, rounds: int) -> dict[str, float]:
    """Seconds of every question, and of the whole page: of this process, in which SQLite works too, else by the wall clock."""
    clock = time.process_time if record.is_file else time.perf_counter
    asked = Asked(today=date(2041, 6, 1))
    found: dict[str, float] = {}
    with record.reading() as connection:
        for name in PAGE:
            found[name] = timed(lambda question=QUESTIONS[name]: question(connection, asked), rounds, clock)  # type: ignore[misc]  # bound now
        found["page"] = timed(lambda: answers_page([QUESTIONS[n](connection, asked) for n in PAGE]), rounds, clock)
    return found


def told(name: str, sizes: Sequence[int], seconds: Sequence[float]) -> str:
    """One line: seconds at every size, and the growth against n log n from the first size that is above the floor."""
    line = f"{name:9s} " + "  ".join(f"{size}x {s:.3f} s" for size, s in zip(sizes, seconds, strict=True))
    first = next((i for i, s in enumerate(seconds) if s >= FLOOR), len(sizes))
    if first >= len(sizes) - 1:
        return f"{line}; too quick to compare"
    one, other = (size * GIRDERS * OCCASIONS for size in (sizes[first], sizes[-1]))
    grown = seconds[-1] / seconds[first]
    allowed = other * math.log(other) / (one * math.log(one))
    word = "reached" if grown <= ROOM * allowed else "NOT reached"
    return f"{line}; {grown:.1f} times from {sizes[first]}x, n log n {allowed:.1f}: {grown / allowed:.2f} of it, {word}"


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.record_questions", description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=[1, 10, 100], help="multiples of 200 girders")
    parser.add_argument("--rounds", type=int, default=2, help="calls of each question, the shortest counts")
    parser.add_argument("--address", default="", help="an empty PostgreSQL database; without it, files of SQLite")
    wanted = parser.parse_args()
    found: list[dict[str, float]] = []
    with tempfile.TemporaryDirectory() as folder:
        for size in wanted.sizes:
            record = make_record(wanted.address or str(Path(folder) / f"{size}.sqlite"))
            start = time.perf_counter()
            _emptied(record)
            made(record, size * GIRDERS, np.random.default_rng(size))
            print(f"{size}x: {size * GIRDERS} girders written in {time.perf_counter() - start:.0f} s", flush=True)
            found.append(times(record, wanted.rounds))
    for name in found[0]:
        print(told(name, wanted.sizes, [seconds[name] for seconds in found]), flush=True)


def _emptied(record: Record) -> None:
    with record.writing() as connection:
        for table in (GIRDER, RUN, OCCASION, VERDICT, MEASURE, STEP):
            connection.execute(table.delete())


if __name__ == "__main__":
    main()
