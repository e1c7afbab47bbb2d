"""Correcting an entry: a new one takes its place, and both stay. Whoever is second is told what the first wrote."""

from __future__ import annotations

import json
from collections.abc import Mapping

from sqlalchemy import Connection, select

from monochord.ground.faults import Fault, Refused
from monochord.job.context import Context
from monochord.job.record.enter import read_value
from monochord.job.record.take import Hand
from monochord.store.bodies import KINDS, WITHDRAWN, subject_of
from monochord.store.entry import Draft, Entry, canonical, stamp
from monochord.store.ledger import append, entry_of, entry_with
from monochord.store.opening import Record
from monochord.store.tables import ENTRY

#: Kinds that nobody corrects by hand: a run is done again, a signature is withdrawn, a merge happened.
NOT_BY_HAND = {
    "run": "mend the campaign and run it again",
    "signature": "sign again",
    "key": "withdraw the key",
    "merged": "merge the queue again",
    "occasion": "mend the campaign and take it in again",
}
#: Kinds that are not taken back either.
STAYS = ("signature", "key", "merged")
#: The key of a correction that says why.
WHY = "why"
#: Shortest beginning of an id that names an entry.
SHORTEST = 6


def correct(
    record: Record,
    name: str,
    cells: Mapping[str, str],
    why: str,
    *,
    context: Context,
    hand: Hand,
    withdraw: bool = False,
    seen: int | None = None,
) -> tuple[Entry, Entry]:
    """Put an entry with other values in the place of one, or take it back; gives the old and the new one.

    name   number of the entry, its id, or the beginning of its id
    seen   number of the last entry about its subject that the person has seen

    Raises Refused when it is corrected already, with what was written then, and when a value does not fit.
    """
    if not why.strip():
        raise Refused([Fault("no reason", "why it is corrected", "say it with --why")])
    with record.reading() as connection:
        old = entry_named(connection, name)
        _refuse_corrected(connection, old)
    body = _withdrawn(old, why) if withdraw else _changed(old, cells, why)
    now = context.now()
    draft = Draft(
        context.new_id(), old.draft.kind, old.draft.subject, stamp(now), hand.made_by, hand.device, body, old.draft.id
    )
    [new] = append(record, [draft], now, seen={} if seen is None else {draft.subject: seen})
    return old, new


def entry_named(connection: Connection, name: str) -> Entry:
    """The entry with this number, this id or this beginning of an id; Refused when there is none, or more than one."""
    if name.isdecimal() and len(name) <= 15:
        found = connection.execute(select(ENTRY).where(ENTRY.c.number == int(name))).all()
    elif entry := entry_with(connection, name):
        return entry
    elif len(name) >= SHORTEST:
        beginning = ENTRY.c.id.startswith(name, autoescape=True)
        found = connection.execute(select(ENTRY).where(beginning).order_by(ENTRY.c.number).limit(2)).all()
    else:
        found = []
    if len(found) != 1:
        given = f"{'no entry' if not found else 'several entries'} under {name!r}"
        expected = "a number, an id, or a beginning of at least six letters that one id has"
        raise Refused([Fault(given, expected, "look with `monochord record list`")])
    return entry_of(found[0])


def _refuse_corrected(connection: Connection, old: Entry) -> None:
    row = connection.execute(select(ENTRY).where(ENTRY.c.replaces == old.draft.id)).first()
    if row is None:
        return
    newer = entry_of(row)
    words = json.dumps(newer.draft.body, ensure_ascii=False)
    given = f"entry {old.number}, which {newer.draft.made_by} corrected at {newer.kept_at} by entry {newer.number}: {words[:300]}"
    raise Refused([Fault(given, "the last word on a fact", f"look at entry {newer.number} and correct that one")])


def _withdrawn(old: Entry, why: str) -> dict[str, object]:
    if old.draft.kind in STAYS:
        raise Refused([Fault(f"a {old.draft.kind}", "what people state", NOT_BY_HAND[old.draft.kind])])
    return {**old.draft.body, WITHDRAWN: why}


def _changed(old: Entry, cells: Mapping[str, str], why: str) -> dict[str, object]:
    kind = old.draft.kind
    if kind in NOT_BY_HAND:
        raise Refused([Fault(f"a {kind}", "what people state", NOT_BY_HAND[kind])])
    known = KINDS.get(kind)
    forms = {key.name: key.form for key in known.keys} if known else {}
    body = {key: value for key, value in old.draft.body.items() if key not in (WHY, WITHDRAWN)}
    faults = []
    for key, text in cells.items():
        if key not in {*forms, *body}:
            expected = f"one of {', '.join(sorted({*forms, *body}))}"
            faults.append(Fault(f"the key {key!r}", expected, "mend it", f"a {kind}", None, key))
        body[key] = read_value(forms.get(key, ""), text) if forms.get(key) else _alike(old.draft.body.get(key), text)
    if faults:
        raise Refused(faults)
    if canonical(body) == canonical({k: v for k, v in old.draft.body.items() if k not in (WHY, WITHDRAWN)}):
        raise Refused([Fault("the values that stand there", "a value that is another", "state what was wrong")])
    if known and known.subject and subject_of(kind, body) != old.draft.subject:
        given = f"{subject_of(kind, body)} in place of {old.draft.subject}"
        remedy = "take the entry back with --withdraw, and state the right one"
        raise Refused([Fault(given, "a correction about the same subject", remedy)])
    return {**body, WHY: why}


def _alike(before: object, text: str) -> object:
    """A value of a key that no kind knows: of the sort that stood there."""
    if isinstance(before, str):
        return text
    try:
        value: object = json.loads(text)
    except ValueError:
        return text
    return value
