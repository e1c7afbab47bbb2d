"""The ledger held against itself: numbers, kinds of values, spelling, hashes, the chain, corrections, and files named."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Protocol

from sqlalchemy import Connection, Row, Select, Table, and_, or_, select, type_coerce
from sqlalchemy.types import NULLTYPE

from monochord.ground.faults import Fault
from monochord.store.entry import START, Draft, canonical, chained, content_of, moment
from monochord.store.tables import ENTRY, FILE

#: So many entries come at once, and progress is told after so many.
BATCH, OFTEN = 200, 5000
RESTORE = "restore the last backup beside it, and compare the two from there on"


class Walk(Protocol):
    """What a walk over the ledger fills in."""

    entries: int
    last: tuple[int, str]
    seen: str


def as_stored(table: Table) -> Select[*tuple[Any, ...]]:
    """A table's rows with the values as they stand, whatever they are."""
    return select(*(type_coerce(column, NULLTYPE).label(column.name) for column in table.c))


def entry_faults(
    connection: Connection, address: str, say: Callable[[str], None], walked: Walk, head: tuple[int, str] | None
) -> Iterator[Fault]:
    """Every fault of the ledger."""
    last, before, named = 0, "", dict[str, int]()
    links: set[object] = {START}
    wanted = as_stored(ENTRY).order_by(ENTRY.c.number)
    with connection.execute(wanted, execution_options={"yield_per": BATCH}) as rows:
        for row in rows:
            if row.number != last + 1:
                missing = f"entry {last + 1}" if row.number == last + 2 else f"entries {last + 1} to {row.number - 1}"
                yield Fault(f"entry {row.number} after entry {last}: {missing} missing", "no gap", RESTORE, address)
            found, right = _row_faults(row, links, before)
            for given, expected in found:
                yield Fault(f"{_named(row)}: {given}", expected, RESTORE, address)
            last, links, before = row.number, {row.hash, right}, row.kept_at if isinstance(row.kept_at, str) else ""
            walked.entries, walked.last = walked.entries + 1, (last, str(row.hash))
            if head is not None and head[0] == last:
                walked.seen = str(row.hash)
            named |= dict.fromkeys(files_named(row.body), last)
            if last % BATCH == 0:
                yield from _not_kept(connection, address, named)
                named = {}
            if last % OFTEN == 0:
                say(f"{last} entries")
    yield from _not_kept(connection, address, named)
    yield from _corrections(connection, address)
    yield from _head_faults(address, walked, head)


def _named(row: Row[tuple[object, ...]]) -> str:
    return f"entry {row.number} ({row.kind!s:.40} about {row.subject!s:.80})"


def _row_faults(row: Row[tuple[object, ...]], links: set[object], before: str) -> tuple[list[tuple[str, str]], str]:
    """(given, expected) of each fault of a row, and the chain's hash that the row should bear."""
    odd = [n for n, value in zip(row._fields, row, strict=True) if not _of_its_kind(n, value)]
    if odd:
        return [(f"values of another kind in {', '.join(odd)}", "text, and a number for number")], ""
    faults, draft = [], _draft(row)
    if draft is None:
        faults.append(("a body that is not what was written", "JSON in its one spelling"))
    elif content_of(draft) != row.content:
        stated = "id, kind, subject, made_at, made_by, device, replaces, body or content"
        faults.append((f"one of {stated} is not what was written", f"values with the hash {row.content[:16]}"))
    right = chained(row.previous, row.number, row.kept_at, row.content)
    if right != row.hash:
        faults.append(
            ("one of number, kept_at, content, previous or hash is not what was written", f"hash {right[:16]}")
        )
    if row.previous not in links:
        faults.append((f"a chain that is broken: previous is {row.previous[:16]}", "the hash of the entry before"))
    if _out_of_time(row, before):
        faults.append((f"kept at {row.kept_at[:40]} after {before[:40] or 'nothing'}", "times of keeping in order"))
    return faults, right


def _of_its_kind(name: str, value: object) -> bool:
    if name == "number":
        return type(value) is int
    if value is None:
        return name == "replaces"
    return isinstance(value, str) and not any("\ud800" <= letter <= "\udfff" for letter in value)


def _draft(row: Row[tuple[object, ...]]) -> Draft | None:
    try:
        body = json.loads(row.body)
        if not isinstance(body, dict) or canonical(body) != row.body:
            return None
    except (ValueError, RecursionError):
        return None
    return Draft(row.id, row.kind, row.subject, row.made_at, row.made_by, row.device, body, row.replaces)


def _out_of_time(row: Row[tuple[object, ...]], before: str) -> bool:
    try:
        moment(row.kept_at)
        moment(row.made_at)
    except ValueError:
        return True
    return bool(row.kept_at < before)


def files_named(body: object) -> Iterator[str]:
    """sha256 of the files that an entry's body says are kept: its document, and those under ``files``.

    >>> list(files_named('{"document":"ab","files":[{"path":"x.csv","sha256":"cd"}]}'))
    ['ab', 'cd']
    """
    try:
        told = json.loads(body) if isinstance(body, str) else None
    except (ValueError, RecursionError):
        return
    if not isinstance(told, Mapping):
        return
    listed = told.get("files")
    files = [f.get("sha256") for f in listed if isinstance(f, Mapping)] if isinstance(listed, list) else []
    yield from (name for name in (told.get("document"), *files) if isinstance(name, str))


def _not_kept(connection: Connection, address: str, named: Mapping[str, int]) -> Iterator[Fault]:
    there = set(connection.scalars(select(FILE.c.sha256).where(FILE.c.sha256.in_(list(named))))) if named else set()
    for sha256, number in named.items():
        if sha256 not in there:
            given = f"entry {number} names a file with sha256 {sha256[:16]} that is not kept"
            yield Fault(given, "the file", "take the campaign in again, or " + RESTORE, address)


def _corrections(connection: Connection, address: str) -> Iterator[Fault]:
    """Corrections of what is not there, comes later, or is about something else."""
    old = ENTRY.alias()
    same = and_(old.c.kind == ENTRY.c.kind, old.c.subject == ENTRY.c.subject, old.c.number < ENTRY.c.number)
    joined = ENTRY.outerjoin(old, old.c.id == ENTRY.c.replaces)
    wrong = ENTRY.c.replaces.is_not(None) & or_(old.c.id.is_(None), ~same)
    for number, replaces in connection.execute(
        select(ENTRY.c.number, ENTRY.c.replaces).select_from(joined).where(wrong)
    ):
        given = f"entry {number} corrects {replaces!s:.64}, which is no earlier entry of its kind about the same"
        yield Fault(given, "an earlier entry", RESTORE, address)


def _head_faults(address: str, walked: Walk, head: tuple[int, str] | None) -> Iterator[Fault]:
    if head is None:
        return
    number, digest = head
    last = walked.last[0]
    if number > last:
        given = f"a record that ends with entry {last}"
        yield Fault(given, f"entry {number}, which was noted", f"its end was cut off: {RESTORE}", address)
    elif number > 0 and not walked.seen.startswith(digest):
        given = f"entry {number} with hash {walked.seen[:16]}"
        yield Fault(given, f"the noted hash {digest[:16]}", f"the ledger was written anew: {RESTORE}", address)
