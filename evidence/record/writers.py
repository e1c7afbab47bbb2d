"""Many programs that write into one record at the same time."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from multiprocessing.connection import Connection

from evidence.record.kills import CONTEXT, STUCK
from monochord.ground.faults import Refused
from monochord.store.entry import Draft, stamp
from monochord.store.ledger import append, entries
from monochord.store.making import open_record
from monochord.store.verify import Walked, verify


@dataclass(frozen=True, slots=True)
class Written:
    """What writers told at their end: ids acknowledged, the longest wait of any [s], the fewest entries of one, faults met."""

    acknowledged: list[str]
    longest: float
    fewest: int
    faults: list[str]


def writing(name: str, address: str, seconds: float, told: Connection) -> None:
    """Append facts for some time, then tell what was acknowledged."""
    record, kept, longest, fault = open_record(address), list[str](), 0.0, ""
    end = time.monotonic() + seconds
    try:
        while (start := time.monotonic()) < end:
            now = datetime.now(UTC)
            draft = Draft(f"{name}-{len(kept)}", "note", "girder/G01", stamp(now), "ada", name, {"words": "dust"})
            append(record, [draft], now)
            kept.append(draft.id)
            longest = max(longest, time.monotonic() - start)
    except Refused as refused:
        fault = str(refused)
    told.send_bytes(json.dumps([kept, longest, fault]).encode())
    told.close()


def written(address: str, writers: int, seconds: float) -> Written:
    """Let so many programs write for so long."""
    started = []
    for number in range(writers):
        hears, told = CONTEXT.Pipe(duplex=False)
        program = CONTEXT.Process(target=writing, args=(f"writer-{number}", address, seconds, told), daemon=True)
        program.start()
        told.close()
        started.append((program, hears))
    acknowledged, longest, fewest, faults = list[str](), 0.0, 1 << 30, list[str]()
    for program, hears in started:
        kept, wait, fault = json.loads(hears.recv_bytes()) if hears.poll(seconds + STUCK) else ([], 0.0, "stuck")
        hears.close()
        program.join(STUCK)
        acknowledged += kept
        longest, fewest = max(longest, wait), min(fewest, len(kept))
        faults += [fault] if fault else []
    return Written(acknowledged, longest, fewest, faults)


def wrong(address: str, found: Written) -> Iterator[str]:
    """What is wrong with the record that they wrote."""
    yield from found.faults
    yield from (str(fault) for fault in verify(address, lambda _: None, Walked()))
    record = open_record(address)
    with record.reading() as connection:
        there = [entry.draft.id for entry in entries(connection)]
    record.engine.dispose()
    if sorted(there) != sorted(found.acknowledged):
        yield f"{len(there)} entries are there, {len(found.acknowledged)} were acknowledged"
