"""Programs ended by signal 9 in the middle of their work: what they acknowledged is kept, and nothing is there in half."""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import shutil
import sqlite3
import time
import uuid
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from importlib import resources
from multiprocessing.connection import Connection
from pathlib import Path
from random import Random

from evidence.record.filled import document
from evidence.record.postgres import Server
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.job.context import real_context
from monochord.job.demo import BEGAN
from monochord.job.record.take import Hand, take_campaign
from monochord.job.run import FOUND, RECORD, run_campaign, write_whole
from monochord.simulate.demo import demo_campaign
from monochord.store import journal
from monochord.store.entry import Draft, stamp
from monochord.store.ledger import append, entries
from monochord.store.making import open_record
from monochord.store.verify import Walked, verify

CONTEXT = multiprocessing.get_context("forkserver")
CONTEXT.set_forkserver_preload(
    ["evidence.record.kills", "evidence.record.writers", "psycopg", "sqlalchemy.dialects.postgresql.psycopg"]
)

HAND = Hand("a program that is killed", "a bench computer")
#: Work -> longest time until the end [s], about as long as the work takes on a machine that does nothing else.
WORKS = {"append": 0.3, "take": 0.6, "run": 1.5}
#: A program that says nothing for so long is stuck [s].
STUCK = 120.0


def working(work: str, address: str, folder: str, seed: int, told: Connection) -> None:
    """Work without end, and tell of each thing after it is kept."""

    def tell(*words: str) -> None:
        told.send_bytes(json.dumps(words).encode())

    rng = Random(seed)
    if work == "run":
        campaign = Path(folder) / "whole"
        load_campaign(campaign)
        tell("ready")
        while True:
            run = run_campaign(campaign, real_context(), with_page=False, with_paper=False)
            tell("whole", run.result.origin.run)
    record = open_record(address)
    tell("entry", append(record, [note()], datetime.now(UTC))[0].draft.id)
    while True:
        if work == "append":
            tell("entry", append(record, [note()], datetime.now(UTC))[0].draft.id)
        else:
            small = Path(folder) / "small"
            tell("small", measured(small, rng))
            for entry in take_campaign(record, small, real_context(), HAND).new:
                tell("entry", entry.draft.id)


def note() -> Draft:
    """A fact that nobody stated before."""
    now = stamp(datetime.now(UTC))
    return Draft(uuid.uuid4().hex, "note", "girder/G01", now, "ada", "tablet 2", {"words": "dust"})


def measured(campaign: Path, rng: Random) -> str:
    """One more run in the journal of a small campaign, with a document of some pieces; its id."""
    ident = uuid.uuid4().hex
    told = json.loads(document("G01", rng)) | {"run": ident, "long": rng.randbytes(1_200_000).hex(), "inputs": []}
    kept = journal.Entry(ident, datetime.now(UTC).isoformat(), "a program", "code", {}, json.dumps(told))
    return journal.append(campaign / RECORD, kept)[0].id


def small_campaign(folder: Path) -> None:
    """A campaign of two files, as small as one can be."""
    (folder / "measured").mkdir(parents=True)
    listed = {}
    for name, length in (("girder.csv", 900), ("wire.csv", 2_500_000)):
        content = Random(name).randbytes(length)
        (folder / "measured" / name).write_bytes(content)
        listed[name] = f'{{path = "measured/{name}", sha256 = "{hashlib.sha256(content).hexdigest()}"}}'
    (folder / "campaign.toml").write_text(
        f'girder = "G01"\nfiles = [{listed["girder.csv"]}]\n\n[[occasions]]\nname = "bench"\nfiles = [{listed["wire.csv"]}]\n'
    )


def whole_campaign(folder: Path) -> Path:
    """The invented example as a campaign that nobody ran yet."""
    handed_over = folder / "handed-over"
    for path, words in demo_campaign(1).texts.items():
        write_whole(handed_over / path, words)
    lab = folder / "lab.toml"
    write_whole(lab, resources.files("monochord.job.demo").joinpath("lab.toml").read_text(encoding="utf-8"))
    begin(handed_over, lab, folder / "campaign", {"girder": "Example 1"}, BEGAN)
    return folder / "campaign"


@dataclass(slots=True)
class Killed:
    """What was acknowledged so far, by where it must be, how many programs were killed, and what was found wrong."""

    acknowledged: dict[str, list[str]] = field(default_factory=lambda: {"entry": [], "small": [], "whole": []})
    kills: int = 0
    wrong: list[str] = field(default_factory=list)


def ready(folder: Path, campaign: Path) -> None:
    """Lay out what the programs work on: a small campaign, and a whole one that is evaluated."""
    small_campaign(folder / "small")
    shutil.copytree(campaign, folder / "whole", ignore=shutil.ignore_patterns(FOUND, f"{RECORD}*"))


def killed_at(
    moments: Iterator[tuple[str, float]], address: str, folder: Path, found: Killed, server: Server | None = None
) -> None:
    """Let programs work, end each at its (work, share of the longest time), and look at what is left after each.

    server  is killed too at each moment, and started again
    """
    for work, share in moments:
        _one(found, (work, share * WORKS[work]), (address, str(folder), found.kills), server)
        found.wrong += [f"after {work} ended at {share:.3f}: {w}" for w in left_over(address, folder, found)]


def _one(found: Killed, moment: tuple[str, float], task: tuple[str, str, int], server: Server | None) -> None:
    work, wait = moment
    hears, told = CONTEXT.Pipe(duplex=False)
    program = CONTEXT.Process(target=working, args=(work, *task, told), daemon=True)
    program.start()
    told.close()
    if not hears.poll(STUCK):
        found.wrong.append(f"{work}: nothing said")
    else:
        _listen(found, hears, time.monotonic() + wait)
        if server is not None:
            server.kill()
    program.kill()
    program.join()
    found.kills += 1
    _listen(found, hears, time.monotonic() + STUCK)
    hears.close()
    if server is not None:
        server.start()


def _listen(found: Killed, hears: Connection, until: float) -> None:
    while (left := until - time.monotonic()) > 0 and hears.poll(left):
        try:
            where, *words = json.loads(hears.recv_bytes())
        except (EOFError, OSError):
            return
        found.acknowledged.setdefault(where, []).extend(words)


def left_over(address: str, folder: Path, found: Killed) -> Iterator[str]:
    """What is wrong with what was left: missing, in half, or against its own checks."""
    yield from (str(fault) for fault in verify(address, lambda _: None, Walked()))
    record = open_record(address)
    with record.reading() as connection:
        there = [entry.draft.id for entry in entries(connection)]
    record.engine.dispose()
    yield from (f"entry {name} was acknowledged and is gone" for name in set(found.acknowledged["entry"]) - set(there))
    yield from (f"entry {name} is there twice" for name in {n for n in there if there.count(n) > 1})
    for name in ("small", "whole"):
        yield from _journal(folder / name / RECORD, found.acknowledged[name])
    result = folder / "whole" / FOUND / "result.json"
    if result.exists():
        try:
            json.loads(result.read_text("utf-8"))
        except ValueError:
            yield "a result in half"


def _journal(path: Path, acknowledged: list[str]) -> Iterator[str]:
    if not path.exists():
        yield from (f"run {name} was acknowledged, and there is no journal" for name in acknowledged)
        return
    kept = journal.runs(path)
    yield from (f"run {name} was acknowledged and is gone" for name in set(acknowledged) - {k.id for k in kept})
    if [k.number for k in kept] != list(range(1, len(kept) + 1)):
        yield "runs of a journal with a gap"
    for k in kept[-2:]:
        if journal.numbers_digest(journal.document_of(path, k.number)) != k.numbers:
            yield f"run {k.number} with a document that is not its own"
    with closing(sqlite3.connect(path)) as connection:
        said = connection.execute("PRAGMA integrity_check").fetchone()[0]
    if said != "ok":
        yield f"a journal against SQLite's own check: {said}"


def completed(address: str, folder: Path, found: Killed) -> Iterator[str]:
    """What is wrong after the same was done once more, to its end."""
    run_campaign(folder / "whole", real_context(), with_page=False, with_paper=False)
    measured(folder / "small", Random(0))
    record = open_record(address)
    for name in ("small", "whole"):
        take_campaign(record, folder / name, real_context(), HAND)
        again = take_campaign(record, folder / name, real_context(), HAND)
        if again.new:
            yield f"{len(again.new)} entries came twice"
    with record.reading() as connection:
        there = {entry.draft.id for entry in entries(connection)}
    record.engine.dispose()
    for name in ("small", "whole"):
        ids = {kept.id for kept in journal.runs(folder / name / RECORD)}
        yield from (f"run {run} of the journal is not in the record" for run in ids - there)
    yield from left_over(address, folder, found)
