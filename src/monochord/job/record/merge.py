"""Merging a tablet's queue: every entry kept exactly once, however often and in whatever pieces the queue comes.

What cannot be kept is written beside the queue, line by line as it stands, and everything else is kept. With the entries
goes one more, of kind "merged", that says from which queue they came, how the tablet's clock stood, and what was strange.
The queue itself is kept as a file.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection

from monochord.files.checksum import sha256_of
from monochord.ground.faults import Fault, Refused
from monochord.job.context import Context
from monochord.job.record import numbers
from monochord.job.record.clocks import Shown, clock_words, compared
from monochord.job.record.merge_told import clock_told, numbers_told
from monochord.job.record.order import last_merge, strange_order
from monochord.job.record.queue import Bad, Queue, Queued, read_queue
from monochord.job.record.take import Hand, fact_id
from monochord.job.run import write_whole
from monochord.report.words import counted
from monochord.store.entry import Draft, Entry, canonical, content_of, stamp
from monochord.store.files import keep_file
from monochord.store.ledger import entry_with, keep
from monochord.store.opening import Record

#: So many entries are kept in one go, so that other writers get their turn.
TOGETHER = 400
#: So many strange things are told of each go.
MOST = 30


@dataclass(frozen=True, slots=True)
class Merged:
    """What a queue brought.

    new  entries that were not there, without those of kind "merged";  known  how many were there already
    refused  lines that were not kept, and why;  beside  the file where they stand now, None when there are none
    told  what is strange about queue, clocks and order
    """

    new: tuple[Entry, ...]
    known: int
    refused: tuple[Bad, ...]
    beside: Path | None
    told: tuple[str, ...]


def merge(record: Record, path: Path, context: Context, hand: Hand, shown: Shown | None = None) -> Merged:
    """Take a queue in; ``shown`` is what the tablet's clock shows now, when somebody looked.

    Raises Refused only when the queue cannot be read at all, or the record not be written.
    """
    queue = read_queue(path)
    sha256 = keep_file(record, path)
    new, known, refused, told = list[Entry](), 0, list(queue.refused), list(_about(queue))
    entries = list(_in_order(queue.entries))
    for first in range(0, len(entries), TOGETHER):
        part = entries[first : first + TOGETHER]
        context.say(f"merging {first + len(part)} of {len(entries)} entries")
        with record.writing() as connection:
            now = context.now()
            found = _keep_part(connection, queue, part, now)
            later = {entry.draft.id for _, entry in found.new}
            for device in dict.fromkeys(q.draft.device for q, _ in found.new):
                mine = [(q, e) for q, e in found.new if q.draft.device == device]
                later -= {entry.draft.id for _, entry in mine}
                go = _Go(queue, sha256, now, hand, shown, frozenset(later))
                told += _note_merge(connection, go, mine)
        new += [entry for _, entry in found.new]
        known += found.known
        refused += found.refused
    refused.sort(key=lambda bad: bad.line)
    return Merged(tuple(new), known, tuple(refused), _written_beside(path, refused), tuple(dict.fromkeys(told)))


@dataclass(slots=True)
class _Part:
    new: list[tuple[Queued, Entry]]
    known: int
    refused: list[Bad]


def _about(queue: Queue) -> Iterator[str]:
    """Whether the queue is whole, by its seals."""
    for seal in queue.seals:
        if not seal.whole:
            yield (
                f"line {seal.line} closes a queue of {seal.lines} lines that are not those before it: it came in part, "
                "or was changed; bring the whole queue again, nothing is kept twice"
            )
    if queue.after or not queue.seals:
        count = f"{counted(queue.after, 'line')} after the last close" if queue.seals else "the queue was not closed"
        yield f"{count}: whether more was to come cannot be told (`monochord record queue close`)"


def _in_order(entries: Sequence[Queued]) -> Iterator[Queued]:
    """What is corrected before what corrects it, else as they stand."""
    waiting, open_ids = list(entries), {q.draft.id for q in entries}
    while waiting:
        ready = [q for q in waiting if q.draft.replaces not in open_ids]
        if not ready:
            break  # corrections of each other in a ring: they are refused one by one
        later = [q for q in waiting if q.draft.replaces in open_ids]
        yield from ready
        open_ids -= {q.draft.id for q in ready}
        waiting = later
    yield from waiting


def _keep_part(connection: Connection, queue: Queue, part: Sequence[Queued], now: datetime) -> _Part:
    found = _Part([], 0, [])
    for queued in part:
        draft = queued.draft
        earlier = entry_with(connection, draft.id)
        if earlier is not None and earlier.content == content_of(draft):
            found.known += 1
        elif earlier is not None:
            found.refused.append(Bad(queued.line, queued.raw, (_other_content(earlier, queued, queue.name),)))
        else:
            try:
                with connection.begin_nested():
                    found.new.append((queued, keep(connection, draft, now)))
            except Refused as refused:
                faults = tuple(replace(f, file=queue.name, line=queued.line) for f in refused.faults)
                found.refused.append(Bad(queued.line, queued.raw, faults))
    return found


def _other_content(earlier: Entry, queued: Queued, name: str) -> Fault:
    one, other = (
        {"kind": d.kind, "subject": d.subject, "made_at": d.made_at, "made_by": d.made_by, "device": d.device,
         "replaces": d.replaces, **{f"body.{key}": value for key, value in d.body.items()}}
        for d in (earlier.draft, queued.draft)
    )  # fmt: skip
    keys = [
        k for k in {**one, **other} if canonical(one.get(k)) != canonical(other.get(k)) or (k in one) != (k in other)
    ]
    told = "; ".join(f"{k} {_short(one.get(k))} there, {_short(other.get(k))} here" for k in keys[:3])
    given = f"the id {queued.draft.id} of entry {earlier.number} with another content ({told})"
    remedy = "the kept one stays; if the line is right, state it under a new id"
    return Fault(given, "the same content under the same id", remedy, name, queued.line, "id")


def _short(value: object) -> str:
    text = canonical(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


@dataclass(frozen=True, slots=True)
class _Go:
    """What all entries of one go have in common; ``later`` are those of devices whose turn comes."""

    queue: Queue
    sha256: str
    now: datetime
    hand: Hand
    shown: Shown | None
    later: frozenset[str]


def _note_merge(connection: Connection, go: _Go, mine: Sequence[tuple[Queued, Entry]]) -> list[str]:
    """Keep with new entries of one device where they came from and what is strange; gives what is strange."""
    device = mine[0][0].draft.device
    queued = [q for q, _ in mine]
    seals = [seal.sent_at for seal in go.queue.seals if seal.device == device]
    sent_at = seals[-1] if seals else None
    ahead = compared(go.now, go.shown, sent_at, max(q.draft.made_at for q, _ in mine))
    have = _have(connection, device)
    came = [q.number for q, _ in mine if q.number is not None]
    ranges = numbers.joined(have, came)
    told = [clock_words(device, ahead)]
    told += numbers_told(connection, device, queued, have, ranges)
    told += clock_told(device, queued, ahead, go.now)
    told += strange_order(connection, [(q.line, e) for q, e in mine], ahead, go.later)
    told = [*told[:MOST], f"and {len(told) - MOST} more of this kind"] if len(told) > MOST else told
    body: dict[str, object] = {
        "device": device,
        "files": [{"path": Path(go.queue.name).name, "sha256": go.sha256}],
        "received_at": stamp(go.now),
        "sent_at": sent_at,
        "clock_shown": stamp(go.shown.at) if go.shown else None,
        "ahead": ahead.stated(),
        "entries": [[q.number, e.draft.id] for q, e in mine],
        "have": [list(r) for r in ranges],
        "told": told,
    }
    name = fact_id("merged", device, sorted(e.draft.id for _, e in mine))
    draft = Draft(name, "merged", f"device/{device}"[:200], stamp(go.now), go.hand.made_by, go.hand.device, body)
    keep(connection, draft, go.now)
    return told


def _have(connection: Connection, device: str) -> numbers.Ranges:
    last = last_merge(connection, device)
    told = last.draft.body.get("have") if last else None
    return numbers.joined([r for r in told if isinstance(r, list)], []) if isinstance(told, list) else ()


def _written_beside(path: Path, refused: Sequence[Bad]) -> Path | None:
    """Write refused lines, as they stand, into a file beside the queue whose name comes from them."""
    if not refused:
        return None
    content = b"".join(bad.raw + b"\n" for bad in refused)
    beside = path.with_name(f"{path.stem}.refused-{sha256_of(content)[:8]}{path.suffix}")
    if not beside.exists():
        write_whole(beside, content)
    return beside


def merged_lines(found: Merged, name: str, number: int, digest: str) -> Iterator[str]:
    """What a queue brought, in lines."""
    kinds = [entry.draft.kind for entry in found.new]
    counts = ", ".join(f"{kinds.count(kind)} {kind}" for kind in dict.fromkeys(kinds)) or "nothing new"
    yield f"{name}: {counts}; {found.known} known already; the record holds {number} entries, its head is {digest[:16]}"
    yield from (f"note: {line}" for line in found.told)
