"""Whether a record loses what it acknowledged, or keeps anything in half, when programs are killed in the middle of their work.

Programs import campaigns, evaluate them with their journal, and append entries, and are ended by signal 9; on PostgreSQL every
fifth time the whole server is killed with them and started again. Works and waits are drawn from the seed; at which
instruction a program then is, no seed decides. After every kill all acknowledged is looked for, and the record is verified.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from random import Random

from evidence.record.kills import WORKS, Killed, completed, killed_at, ready, whole_campaign
from evidence.record.postgres import Server, database, own_server
from evidence.study import Figure, Study
from monochord.store.making import make_record

#: Kills after which a new record is begun, so that looking at all of it stays quick.
EACH = 25
#: How often of ten each work is killed, and every how many kills on PostgreSQL the server goes too.
OFTEN, SERVER_TOO = {"append": 4, "take": 4, "run": 2}, 5


def run(seed: int, size: int) -> Mapping[str, Figure]:
    """Figures of ``size`` kills, half of them on each database."""
    rng = Random(seed)
    with tempfile.TemporaryDirectory() as folder, own_server() as server:
        campaign = whole_campaign(Path(folder) / "invented")
        found: dict[str, Figure] = {}
        for name in ("SQLite", "PostgreSQL"):
            total, wrong = Killed(), list[str]()
            while total.kills < size // 2:
                kills = min(EACH, size // 2 - total.kills)
                with tempfile.TemporaryDirectory(dir=folder) as place:
                    part = _part(rng, kills, Path(place), campaign, server if name == "PostgreSQL" else None)
                total.kills += part.kills
                for where, words in part.acknowledged.items():
                    total.acknowledged.setdefault(where, []).extend(words)
                wrong += part.wrong
            for line in wrong[:20]:
                print(f"  {name}: {line}")
            found |= dict(_figures(name, total, wrong, size // 2))
    return found


def _part(rng: Random, kills: int, place: Path, campaign: Path, server: Server | None) -> Killed:
    address = database(server.url) if server else str(place / "ring.sqlite")
    make_record(address).engine.dispose()
    ready(place, campaign)
    found = Killed()
    for number in range(kills):
        moment = rng.choices(list(WORKS), [OFTEN[w] for w in WORKS])[0], rng.random()
        too = server if server and number % SERVER_TOO == SERVER_TOO - 1 else None
        killed_at(iter([moment]), address, place, found, too)
    found.wrong += [f"after doing it again: {said}" for said in completed(address, place, found)]
    return found


def _figures(name: str, total: Killed, wrong: list[str], kills: int) -> Iterator[tuple[str, Figure]]:
    acknowledged = sum(map(len, total.acknowledged.values()))
    yield f"{name}, kills", Figure(float(total.kills), float(kills), float(kills), "", "as asked")
    least, most = kills / 4.0, 1000.0 * kills
    yield f"{name}, acknowledged before a kill", Figure(float(acknowledged), least, most, "", "kills must meet work")
    yield f"{name}, lost, in half or against a check", Figure(float(len(wrong)), 0.0, 0.0, "", "none is right")


STUDY = Study(
    name="record_kills",
    question="Does a kill at any moment lose what was acknowledged, or leave anything in half?",
    run=run,
    sources=(
        "evidence/studies/record_kills.py",
        "evidence/record/kills.py",
        "evidence/record/postgres.py",
        *(f"src/monochord/store/{name}.py" for name in ("entry", "files", "journal", "ledger", "opening", "turn")),
        "src/monochord/job/record/take.py",
        "src/monochord/job/run.py",
    ),
    seed=20310701,
    size=500,
    short_size=6,
)
