"""Entries of the record, and the two hashes that hold them.

The hash of the content belongs to the entry wherever it is kept, so that a signature over it stays good in
another installation. The hash of the chain belongs to the place in one record: it holds the content,
the number, the time of keeping and the chain's hash before it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

#: What stands before the first entry.
START = "0" * 64


@dataclass(frozen=True, slots=True)
class Draft:
    """A fact that somebody states, before it is kept.

    id        unique for ever; who sends the same id twice sends the same fact
    kind      what is stated, such as "run";  subject  about what, such as "girder/G07"
    made_at   UTC by the clock of ``device``;  made_by  person or program
    replaces  id of the entry that this one corrects;  body  what is stated, as JSON
    """

    id: str
    kind: str
    subject: str
    made_at: str
    made_by: str
    device: str
    body: Mapping[str, object]
    replaces: str | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """A fact in the record.

    number   counts from 1 without a gap;  kept_at  UTC by the record's own clock
    content  sha256 of the draft;  previous, hash  of the chain before and with this entry
    """

    number: int
    draft: Draft
    kept_at: str
    content: str
    previous: str
    hash: str


def canonical(value: object) -> str:
    """JSON in the one spelling that is hashed: keys sorted, no spaces, letters as they are.

    >>> canonical({"b": 1.0, "a": "Ü"})
    '{"a":"Ü","b":1.0}'
    """
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def content_of(draft: Draft) -> str:
    """sha256 of all that a draft states."""
    stated = [
        draft.id,
        draft.kind,
        draft.subject,
        draft.made_at,
        draft.made_by,
        draft.device,
        draft.replaces,
        draft.body,
    ]
    return hashlib.sha256(canonical(stated).encode("utf-8")).hexdigest()


def chained(previous: str, number: int, kept_at: str, content: str) -> str:
    """The chain's hash with one more entry.

    >>> chained(START, 1, "2026-03-02T07:30:00.000000Z", "ab")[:8]
    '95266653'
    """
    return hashlib.sha256(canonical([previous, number, kept_at, content]).encode("utf-8")).hexdigest()


def stamp(moment: datetime) -> str:
    """A moment as the record writes it.

    >>> stamp(datetime(2026, 3, 2, 7, 30, tzinfo=UTC))
    '2026-03-02T07:30:00.000000Z'
    """
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def moment(text: str) -> datetime:
    """A moment from a stamp; ValueError when it is none."""
    return datetime.strptime(text, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC)
