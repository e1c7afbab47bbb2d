"""Adding entries to the record and reading them; each either is kept whole or is not there."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from sqlalchemy import Connection, Row, select

from monochord.ground.faults import Fault, Refused
from monochord.store.bodies import check
from monochord.store.entry import START, Draft, Entry, canonical, chained, content_of, moment, stamp
from monochord.store.opening import Record
from monochord.store.tables import ENTRY
from monochord.store.told import tell

#: So many entries are read at once, and so many are told to a writer who has not seen them.
BATCH, MOST = 200, 5


def append(
    record: Record, drafts: Sequence[Draft], now: datetime, *, seen: Mapping[str, int] | None = None
) -> list[Entry]:
    """Keep drafts in their order, all or none; those that are kept already are given as they are.

    now   the record's own clock, UTC
    seen  subject -> number of the last entry about it that the writer has seen, 0 for none: when another was
          written since, nothing is kept

    Raises Refused when a draft's id stands for another fact, when its body lacks what its kind needs, when it corrects
    what is not there or is corrected already, and when somebody else wrote about a subject meanwhile.
    """
    with record.writing() as connection:
        for subject, number in (seen or {}).items():
            _unchanged_since(connection, subject, number)
        return [keep(connection, draft, now) for draft in drafts]


def keep(connection: Connection, draft: Draft, now: datetime) -> Entry:
    """Keep one draft on a connection that may write, as :func:`append` does; gives the kept one when it is kept already."""
    content = content_of(draft)
    if earlier := entry_with(connection, draft.id):
        if _same_fact(earlier.draft, draft):
            return earlier
        given = f"another fact under the id {draft.id} of entry {earlier.number}"
        raise Refused([Fault(given, "an id of its own for every fact", "state it under a new id; the kept one stays")])
    _stamped(draft)
    if draft.replaces is not None:
        _correctable(connection, draft)
    check(draft.kind, draft.body, correction=draft.replaces is not None)
    last = connection.execute(select(ENTRY).order_by(ENTRY.c.number.desc()).limit(1)).first()
    number, previous, before = (last.number + 1, last.hash, last.kept_at) if last else (1, START, "")
    kept_at = max(stamp(now), before)  # a clock that was set back does not bring entries out of order
    entry = Entry(number, draft, kept_at, content, previous, chained(previous, number, kept_at, content))
    connection.execute(ENTRY.insert().values(_row(entry)))
    tell(connection, entry)
    return entry


def _stamped(draft: Draft) -> None:
    """Refuse a time in another spelling: the hash is over the text, and a moment must have one."""
    try:
        same = stamp(moment(draft.made_at)) == draft.made_at
    except ValueError:
        same = False
    if not same:
        expected = "UTC with microseconds, such as 2026-03-02T07:30:00.000000Z"
        raise Refused([Fault(f"the time {draft.made_at!r} of {draft.id}", expected, "write the time so")])


def _same_fact(one: Draft, other: Draft) -> bool:
    """Whether two drafts state the same; who says it, and when, may differ: a retry is a retry."""
    stated = [canonical([d.kind, d.subject, d.replaces, d.body]) for d in (one, other)]
    return stated[0] == stated[1]


def _correctable(connection: Connection, draft: Draft) -> None:
    old = entry_with(connection, str(draft.replaces))
    if old is None:
        raise Refused(
            [Fault(f"a correction of {draft.replaces}", "an entry that is in the record", "list the entries first")]
        )
    if (old.draft.kind, old.draft.subject) != (draft.kind, draft.subject):
        given = f"a {draft.kind} about {draft.subject} in place of entry {old.number}, a {old.draft.kind} about {old.draft.subject}"
        raise Refused([Fault(given, "a correction of the same kind about the same subject", "name the right entry")])
    newer = connection.execute(select(ENTRY.c.number, ENTRY.c.made_by).where(ENTRY.c.replaces == old.draft.id)).first()
    if newer is not None:
        given = f"a correction of entry {old.number}, which {newer.made_by} corrected meanwhile by entry {newer.number}"
        raise Refused([Fault(given, "the last word on a fact", f"look at entry {newer.number} and correct that one")])


def _unchanged_since(connection: Connection, subject: str, number: int) -> None:
    about = select(ENTRY).where(ENTRY.c.subject == subject)
    last = connection.execute(about.order_by(ENTRY.c.number.desc()).limit(1)).first()
    if (last.number if last else 0) == number:
        return
    newer = connection.execute(about.where(ENTRY.c.number > number).order_by(ENTRY.c.number).limit(MOST + 1)).all()
    if newer:
        told = [f"entry {row.number}, a {row.kind} by {row.made_by}: {_short(row.body)}" for row in newer[:MOST]]
        more = ["and more"] if len(newer) > MOST else []
        given = f"what was written about {subject} since entry {number}: {'; '.join([*told, *more])}"
    else:
        given = f"entry {number} about {subject} as seen, which is not there: the last is entry {last.number if last else 0}"
    raise Refused([Fault(given, f"entry {number} as the last", "look at what was written, then decide again")])


def _short(body: str, most: int = 120) -> str:
    return body if len(body) <= most else f"{body[:most]}..."


def last_number(record: Record, subject: str) -> int:
    """Number of the last entry about a subject, 0 when there is none."""
    with record.reading() as connection:
        wanted = select(ENTRY.c.number).where(ENTRY.c.subject == subject).order_by(ENTRY.c.number.desc()).limit(1)
        return int(connection.execute(wanted).scalar() or 0)


def head(record: Record) -> tuple[int, str]:
    """Number and hash of the last entry; whoever keeps them elsewhere can see later that no entry is missing."""
    with record.reading() as connection:
        last = connection.execute(select(ENTRY.c.number, ENTRY.c.hash).order_by(ENTRY.c.number.desc()).limit(1)).first()
    return (last.number, last.hash) if last else (0, START)


def entries(
    connection: Connection, *, kind: str | None = None, subject: str | None = None, after: int = 0
) -> Iterator[Entry]:
    """Entries in their order, those of a kind or about a subject only where one is named."""
    wanted = select(ENTRY).order_by(ENTRY.c.number).limit(BATCH)
    if kind is not None:
        wanted = wanted.where(ENTRY.c.kind == kind)
    if subject is not None:
        wanted = wanted.where(ENTRY.c.subject == subject)
    while rows := connection.execute(wanted.where(ENTRY.c.number > after)).all():
        yield from map(entry_of, rows)
        after = rows[-1].number


def entry_with(connection: Connection, name: str) -> Entry | None:
    """The entry with this id."""
    row = connection.execute(select(ENTRY).where(ENTRY.c.id == name)).first()
    return entry_of(row) if row else None


def entries_with(connection: Connection, names: Sequence[str]) -> dict[str, Entry]:
    """Those of the entries with these ids that are in the record, by their ids."""
    found: dict[str, Entry] = {}
    for start in range(0, len(names), BATCH):
        wanted = select(ENTRY).where(ENTRY.c.id.in_(names[start : start + BATCH]))
        found |= {row.id: entry_of(row) for row in connection.execute(wanted)}
    return found


def entry_of(row: Row[tuple[object, ...]]) -> Entry:
    """An entry from its row."""
    draft = Draft(
        row.id, row.kind, row.subject, row.made_at, row.made_by, row.device, json.loads(row.body), row.replaces
    )
    return Entry(row.number, draft, row.kept_at, row.content, row.previous, row.hash)


def _row(entry: Entry) -> dict[str, object]:
    draft = entry.draft
    return {
        "number": entry.number,
        "id": draft.id,
        "kind": draft.kind,
        "subject": draft.subject,
        "made_at": draft.made_at,
        "made_by": draft.made_by,
        "device": draft.device,
        "replaces": draft.replaces,
        "body": canonical(draft.body),
        "content": entry.content,
        "kept_at": entry.kept_at,
        "previous": entry.previous,
        "hash": entry.hash,
    }
