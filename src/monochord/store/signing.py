"""What people sign, kept as an entry, and whether a signature in the record is good.

The signed bytes are canonical JSON and are kept as they are, so that whoever has them and the public key needs nothing
of ours to prove them.
"""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from sqlalchemy import Connection, select

from monochord.ground.faults import Refused
from monochord.store.bodies import WITHDRAWN
from monochord.store.entry import Entry, canonical
from monochord.store.keys import fingerprint, is_good
from monochord.store.ledger import entries, entry_of, entry_with
from monochord.store.tables import ENTRY
from monochord.store.tables_told import SIGNED

#: First key of every statement: its form and version.
FORM = "monochord-signature/1"
#: Kinds of entries. A key is withdrawn by a correction that says so; what it signed before stays good.
KEY, SIGNATURE = "key", "signature"
#: So long may a statement be [bytes].
LONGEST = 65_536
#: So many ids are asked for at once.
TOGETHER = 500


@dataclass(frozen=True, slots=True)
class Key:
    """A person's public key as the record knows it.

    pem     the key;  number, entry  number and id of the entry that made it known
    ended   number of the entry that withdrew it, 0 while it holds;  why  in the words of that entry
    """

    person: str
    pem: str
    fingerprint: str
    number: int
    entry: str
    ended: int = 0
    why: str = ""


@dataclass(frozen=True, slots=True)
class Signature:
    """A signature in the record.

    about, occasion  entry and occasion that it speaks of;  statement  what was signed, read
    trouble  why it does not count, "" when it does;  notes  what else must be known about it
    """

    entry: Entry
    about: str
    occasion: str
    person: str
    role: str
    when: str
    statement: Mapping[str, object]
    trouble: str = ""
    notes: tuple[str, ...] = ()


def signature_body(statement: Mapping[str, object], signature: bytes, pem: str) -> dict[str, object]:
    """The body of a signature's entry: the signed text itself, the 64 bytes in base64, and whose key it was."""
    what, who = _part(statement, "what"), _part(statement, "who")
    return {
        "about": what.get("entry"),
        "person": who.get("name"),
        "role": statement.get("role"),
        "statement": canonical(statement),
        "signature": base64.b64encode(signature).decode("ascii"),
        "key": fingerprint(pem),
    }


def signed_bytes(body: Mapping[str, object]) -> bytes:
    """The bytes that were signed."""
    return str(body.get("statement", "")).encode("utf-8")


def raw_signature(body: Mapping[str, object]) -> bytes:
    """The 64 bytes of a signature; empty when they cannot be read."""
    try:
        return base64.b64decode(str(body.get("signature", "")), validate=True)
    except (binascii.Error, ValueError):
        return b""


def statement_of(body: Mapping[str, object]) -> Mapping[str, object]:
    """The statement that a body holds; empty when it cannot be read."""
    try:
        found = json.loads(str(body.get("statement", "")))
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def _part(of: Mapping[str, object], name: str) -> Mapping[str, object]:
    found = of.get(name)
    return found if isinstance(found, dict) else {}


def wrong_in(body: Mapping[str, object], pem: str, signed: Entry | None) -> str:
    """Why a signature does not prove what it says about the entry that it was made over; "" when it does."""
    statement = statement_of(body)
    what, who = _part(statement, "what"), _part(statement, "who")
    mark, told = body.get("key"), (what.get("entry"), who.get("name"), statement.get("role"))
    named = None if signed is None else signed.draft.body.get("document")
    other = signed is not None and what.get("content") != signed.content and named is None
    checks = (
        (statement.get("statement") != FORM, "its statement is of no known form"),
        (mark != _mark(pem) or who.get("key") != mark, "it names another key than the one that it was made with"),
        (not is_good(pem, raw_signature(body), signed_bytes(body)), "it does not fit the statement and the key"),
        (told != tuple(map(body.get, ("about", "person", "role"))), "its entry says something else than its statement"),
        (signed is None, "the entry that it speaks of is not there"),
        (
            signed is not None and what.get("document") != named,
            "it was made over another document than the entry names",
        ),
        (other, "it was made over another content than the entry has"),
    )
    return next((words for wrong, words in checks if wrong), "")


def _mark(pem: str) -> str:
    try:
        return fingerprint(pem)
    except Refused:
        return ""


def keys(connection: Connection, person: str | None = None) -> dict[str, Key]:
    """Keys by fingerprint, of one person or of all; a correction ends the key that it corrects."""
    subject = None if person is None else f"person/{person}"
    found: dict[str, Key] = {}
    marks: dict[str, str] = {}
    for entry in entries(connection, kind=KEY, subject=subject):
        learn(found, marks, entry)
    return found


def learn(found: dict[str, Key], marks: dict[str, str], entry: Entry) -> None:
    """Learn what an entry tells about keys.

    found  fingerprint -> key, changed here;  marks  id of an entry -> fingerprint of the key that it made known
    """
    body = entry.draft.body
    if mark := marks.get(str(entry.draft.replaces)):
        found[mark] = replace(found[mark], ended=entry.number, why=str(body.get(WITHDRAWN, "another took its place")))
    if WITHDRAWN not in body:
        pem, mark = str(body.get("public_key", "")), str(body.get("fingerprint", ""))
        marks[entry.draft.id] = mark
        found.setdefault(mark, Key(str(body.get("person", "")), pem, mark, entry.number, entry.draft.id))


def signatures(connection: Connection, about: Iterable[str]) -> list[Signature]:
    """Every signature about these entries, in the order in which they were kept; three queries for each 500 of them."""
    wanted = list(dict.fromkeys(about))
    found = [entry for some in _some(wanted) for entry in _signing(connection, some)]
    if not found:
        return []
    known = keys(connection)
    signed = {entry.draft.id: entry for some in _some(wanted) for entry in _with_ids(connection, some)}
    judged = [_judged(entry, known, signed.get(str(entry.draft.body.get("about")))) for entry in found]
    return sorted(judged, key=lambda s: s.entry.number)


def _some(ids: Sequence[str]) -> Iterable[Sequence[str]]:
    return (ids[i : i + TOGETHER] for i in range(0, len(ids), TOGETHER))


def _signing(connection: Connection, about: Sequence[str]) -> list[Entry]:
    joined = select(ENTRY).join(SIGNED, SIGNED.c.entry == ENTRY.c.id).where(SIGNED.c.about.in_(about))
    return [entry_of(row) for row in connection.execute(joined).all()]


def _with_ids(connection: Connection, ids: Sequence[str]) -> list[Entry]:
    return [entry_of(row) for row in connection.execute(select(ENTRY).where(ENTRY.c.id.in_(ids))).all()]


def _judged(entry: Entry, known: Mapping[str, Key], signed: Entry | None) -> Signature:
    body = entry.draft.body
    statement = statement_of(body)
    what = _part(statement, "what")
    key = known.get(str(body.get("key", "")))
    return Signature(
        entry,
        str(body.get("about", "")),
        str(what.get("occasion") or ""),
        str(body.get("person", "")),
        str(body.get("role", "")),
        str(statement.get("when", "")),
        statement,
        trouble_of(entry, key, signed),
        _notes(what, signed),
    )


def trouble_of(entry: Entry, key: Key | None, signed: Entry | None) -> str:
    """Why a signature does not count, by the key that is known for it and the entry that it speaks of; "" when it does."""
    body = entry.draft.body
    if key is None:
        return "its key is not in the record"
    if key.person != body.get("person"):
        return f"its key is that of {key.person}"
    if key.ended and key.ended < entry.number:
        return f"it came in after its key was withdrawn by entry {key.ended} ({key.why})"
    return wrong_in(body, key.pem, signed)


def _notes(what: Mapping[str, object], signed: Entry | None) -> tuple[str, ...]:
    if signed is None or what.get("content") == signed.content:
        return ()
    return ("made where the same run was taken in by another hand; the document is the same",)


def signed_entry(connection: Connection, name: str) -> Entry | None:
    """The entry with an id, or the only one whose id begins so."""
    if found := entry_with(connection, name):
        return found
    if len(name) < 6:
        return None
    like = name.replace("/", "//").replace("%", "/%").replace("_", "/_") + "%"
    rows = connection.execute(select(ENTRY).where(ENTRY.c.id.like(like, escape="/")).limit(2)).all()
    return entry_of(rows[0]) if len(rows) == 1 else None
