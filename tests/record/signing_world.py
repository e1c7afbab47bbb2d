"""A girder whose run can be signed, and people with keys: what the tests of signatures and packages share."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

from monochord.job.context import Context
from monochord.job.record.keyring import make_key
from monochord.job.record.sign import Done, Wish, sign
from monochord.job.record.take import Hand
from monochord.store.entry import Draft, Entry, stamp
from monochord.store.files import keep_bytes
from monochord.store.ledger import append
from monochord.store.opening import Record

START = datetime(2031, 5, 7, 8, 0, tzinfo=UTC)
HAND = Hand("bench crew", "bench computer")
PASSPHRASE = "nine bolts and a wire"
TWO: Mapping[str, object] = {
    "signatures": 2,
    "roles": ["engineer", "approver"],
    "different_persons": True,
    "different_roles": False,
}


def context() -> Context:
    """A clock that goes a minute each time it is looked at, and ids that count."""
    ticks = count(1)
    names = count(1)
    return Context(lambda: START + timedelta(minutes=next(ticks)), lambda: f"{next(names):032x}", made_by="a test")


def verdict(word: str = "conforms") -> dict[str, object]:
    rule = "straight line, refitted on the occasion; guard band of 1.64 u on either side of the limit (risk 5 %)"
    told = {"offset": 1.5e-6, "u": 4e-7, "limit": 3e-5, "lower": -3e-5, "upper": 3e-5, "rule": rule, "verdict": word}
    return told | {"probability": 1.0, "evidence": "wire"}


def document(words: Sequence[str] = ("conforms", "conforms"), girder: str = "G07") -> dict[str, object]:
    """A small result document: an occasion on which magnets were judged."""
    magnets = {f"Q{i}": {"x": verdict(word)} for i, word in enumerate(words, 1)}
    lacks = [{"what": "slopes", "why": "one mode only for Q1"}]
    tolerance = {
        "quantity": "offset",
        "limit": 3e-5,
        "magnets": [],
        "form": "each axis",
        "rule": "guard band",
        "risk": 0.05,
    }
    return {
        "schema": "monochord-result/1",
        "girder": {"name": girder, "type": "long"},
        "occasions": {"1-bench": {"lacks": []}, "5-restored": {"lacks": lacks}},
        "verdicts": {"5-restored": magnets} if magnets else {},
        "tolerances": [tolerance],
        "sentence": "every magnet conforms to 30 µm",
    }


def keep_run(
    record: Record,
    name: str,
    at: Context,
    *,
    girder: str = "G07",
    words: Sequence[str] = ("conforms", "conforms"),
    signing: Mapping[str, object] | None = TWO,
    files: Mapping[str, bytes] | None = None,
    replaces: str | None = None,
) -> Entry:
    """Keep a run about a girder with its document and the files that it read."""
    text = json.dumps(document(words, girder), ensure_ascii=False, indent=1) + "\n"
    inputs = [{"path": path, "sha256": keep_bytes(record, content)} for path, content in (files or {}).items()]
    body: dict[str, object] = {"girder": girder, "document": keep_bytes(record, text.encode()), "inputs": inputs}
    body |= {"inputs_digest": "0" * 64, "numbers": "1" * 64, "code": "2" * 64}
    if signing is not None:
        body["signing"] = dict(signing)
    draft = Draft(name, "run", f"girder/{girder}", stamp(at.now()), "monochord 0.1.0", "bench computer", body, replaces)
    return append(record, [draft], at.now())[0]


def people(record: Record, at: Context, folder: Path) -> dict[str, Path]:
    """Ada, an engineer; Bo, an approver and surveyor; Cy, a reader: each with a key. Name -> file of the key."""
    roles = {"Ada Voß": ["engineer"], "Bo": ["approver", "surveyor"], "Cy": ["reader"]}
    found: dict[str, Path] = {}
    for name, has in roles.items():
        body = {"name": name, "roles": has}
        draft = Draft(f"person-{name}", "person", f"person/{name}", stamp(at.now()), "office", "office", body)
        append(record, [draft], at.now())
        found[name] = folder / f"{name.split()[0].lower()}.pem"
        make_key(record, name, found[name], PASSPHRASE, context=at, hand=HAND)
    return found


def signed(record: Record, at: Context, key: Path, role: str, what: str = "girder/G07", **more: str) -> Done:
    """Sign what a girder's run tells."""
    return sign(record, Wish(what, role, **more), key, PASSPHRASE, context=at, hand=HAND)


def names(start: str = "a") -> Iterator[str]:
    """Ids for runs."""
    return (f"{start}{n:031x}" for n in count(1))
