"""A tablet's queue: facts stated where there is no network, one a line, each under an id of its own.

A line is a JSON object with the keys of a draft and ``n``, the device's running number. When a queue is closed, a line
with the tablet's clock and a sha256 over all lines before it follows; a queue that came in part is seen by it. A queue
may be closed again and again while it grows. Every line stands for itself: damage costs the damaged lines only.
"""

from __future__ import annotations

import hashlib
import json
from codecs import BOM_UTF8
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from monochord.files.checksum import unreadable
from monochord.ground.faults import Fault, Refused
from monochord.store.bodies import KINDS, subject_of
from monochord.store.entry import Draft, canonical, stamp

#: Longest queue and longest line that are read [bytes].
LONGEST_QUEUE, LONGEST_LINE = 64 << 20, 1 << 20
#: Keys of a draft's line that are texts, and their greatest length.
TEXTS = {"id": 64, "kind": 40, "subject": 200, "made_by": 200, "device": 200}
#: All keys of a draft's line; ``replaces`` and ``n`` may be missing.
KEYS = frozenset({*TEXTS, "made_at", "body", "replaces", "n"})
#: Kinds that are not stated at a tablet: they need files, keys, or are made by merging.
NOT_QUEUED = frozenset({"run", "signature", "key", "merged"})


@dataclass(frozen=True, slots=True)
class Queued:
    """A draft in a queue: its line (from 1), the device's running number (None when it has none), and the line as it stands."""

    line: int
    number: int | None
    draft: Draft
    raw: bytes


@dataclass(frozen=True, slots=True)
class Bad:
    """A line that cannot be kept, as it stands, and why."""

    line: int
    raw: bytes
    faults: tuple[Fault, ...]


@dataclass(frozen=True, slots=True)
class Seal:
    """What closes a queue: by the clock of the device, how many lines stand before, and whether they are those that stood there."""

    line: int
    device: str
    sent_at: str
    lines: int
    whole: bool


@dataclass(frozen=True, slots=True)
class Queue:
    """What a queue's file holds; ``after`` counts the lines after its last seal."""

    name: str
    entries: tuple[Queued, ...]
    refused: tuple[Bad, ...]
    seals: tuple[Seal, ...]
    after: int


class _Wrong(ValueError):
    """What is wrong with one line."""

    def __init__(self, given: str, expected: str, remedy: str = "", column: str | int | None = None) -> None:
        super().__init__(given)
        self.given, self.expected, self.remedy, self.column = given, expected, remedy or "mend the line", column

    def at(self, name: str, line: int) -> Fault:
        return Fault(self.given, self.expected, self.remedy, name, line, self.column)


def read_queue(path: Path) -> Queue:
    """Read a queue's file; Refused when it cannot be read at all, damaged lines are given as they are."""
    try:
        if path.stat().st_size > LONGEST_QUEUE:
            given, expected = f"a queue of {path.stat().st_size >> 20} MiB", f"at most {LONGEST_QUEUE >> 20} MiB"
            raise Refused([Fault(given, expected, "cut it between lines; pieces may come in any order", str(path))])
        data = path.read_bytes()
    except OSError as error:
        raise unreadable(error, str(path)) from None
    return parse(data, str(path))


def parse(data: bytes, name: str) -> Queue:
    """Lines of a queue.

    >>> parse(b'{"n": 1, "id": ', "tablet.jsonl").refused[0].faults[0].column
    16
    """
    entries, refused, seals, after = list[Queued](), list[Bad](), list[Seal](), 0
    before, count = hashlib.sha256(), 0
    lines = data.removeprefix(BOM_UTF8).split(b"\n")
    for line, text in enumerate(lines, start=1):
        raw = text.removesuffix(b"\r")  # a stick or a mail may have changed the ends of lines
        if not raw.strip():
            continue
        after += 1
        try:
            found = _object(raw)
            if "sha256" in found:
                seals.append(_seal(found, line, count, before.hexdigest()))
                after = 0
            else:
                entries.append(_queued(found, line, raw))
        except _Wrong as wrong:
            if line == len(lines):
                wrong.remedy = "the queue seems cut off; bring it again"
            refused.append(Bad(line, raw, (wrong.at(name, line),)))
        before.update(raw + b"\n")
        count += 1
    return Queue(name, tuple(entries), tuple(refused), tuple(seals), after)


def _object(raw: bytes) -> dict[str, object]:
    if len(raw) > LONGEST_LINE:
        raise _Wrong(f"a line of {len(raw)} bytes", f"at most {LONGEST_LINE}", column=LONGEST_LINE)
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        given = f"the byte {raw[error.start : error.start + 1].hex()}, which is no UTF-8"
        raise _Wrong(given, "text in UTF-8", column=error.start + 1) from None
    try:
        found = json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
        canonical(found).encode("utf-8")
    except json.JSONDecodeError as error:
        given = f"{text[:60]!r} ({error.msg})"
        raise _Wrong(given, "one JSON object", column=error.colno) from None
    except RecursionError:
        raise _Wrong("an object nested too deeply", "one flat JSON object") from None
    except UnicodeEncodeError:
        raise _Wrong("half of a sign", "whole signs in UTF-8") from None
    except _Wrong:
        raise
    except ValueError:
        raise _Wrong("a number too large to keep", "numbers that a computer holds") from None
    if not isinstance(found, dict):
        raise _Wrong(f"{text[:60]!r}", "one JSON object", column=1)
    return found


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    made = dict(pairs)
    if len(made) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise _Wrong(f"the key {twice!r} twice in one object", "every key once", column=twice)
    return made


def _no_constant(word: str) -> object:
    raise _Wrong(word, "numbers that JSON has")


def _queued(found: Mapping[str, object], line: int, raw: bytes) -> Queued:
    if unknown := sorted(set(found) - KEYS):
        remedy = "bring this program up to date, or mend the line"
        raise _Wrong(f"the key {unknown[0]!r}", f"only {', '.join(sorted(KEYS))}", remedy, unknown[0])
    texts = {key: _text(found, key, most) for key, most in TEXTS.items()}
    body, number = found.get("body"), found.get("n")
    if not isinstance(body, dict):
        raise _Wrong("no body", "an object with what is stated", column="body")
    if number is not None and (not isinstance(number, int) or isinstance(number, bool) or not 1 <= number < 1 << 53):
        raise _Wrong(f"the running number {number!r}", "a whole number from 1", column="n")
    replaces = None if found.get("replaces") is None else _text(found, "replaces", TEXTS["id"])
    draft = Draft(**texts, made_at=_moment(found, "made_at"), body=body, replaces=replaces)
    _fits(draft)
    return Queued(line, number, draft, raw)


def _fits(draft: Draft) -> None:
    if draft.kind in NOT_QUEUED:
        raise _Wrong(f"a {draft.kind}", "what a person states at a tablet", "state it at the record", "kind")
    kind = KINDS.get(draft.kind)
    if kind is None or not kind.subject:
        return
    try:
        subject = subject_of(draft.kind, draft.body)
    except KeyError as error:
        name = str(error.args[0])
        raise _Wrong(f"a {draft.kind} without {name}", f"{name} in its body", column=name) from None
    if subject != draft.subject:
        raise _Wrong(f"the subject {draft.subject!r}", f"{subject!r}, of which its body speaks", column="subject")


def _text(found: Mapping[str, object], key: str, most: int) -> str:
    value = found.get(key)
    if not isinstance(value, str) or not value.strip():
        raise _Wrong("nothing" if value is None or value == "" else repr(value), f"{key}: a text", column=key)
    if len(value) > most:
        raise _Wrong(f"{len(value)} letters", f"at most {most}", column=key)
    if not value.isprintable():
        raise _Wrong(repr(value), "letters that can be printed", column=key)
    return value


def _moment(found: Mapping[str, object], key: str) -> str:
    value = found.get(key)
    expected = "a time with its zone, such as 2031-05-07T09:30:00Z"
    try:
        told = datetime.fromisoformat(str(value))
        if told.tzinfo is None or told.astimezone(UTC).year < 1000:
            raise ValueError(key)
        return stamp(told)
    except (ValueError, OverflowError):
        raise _Wrong(repr(value), expected, column=key) from None


def _seal(found: Mapping[str, object], line: int, count: int, digest: str) -> Seal:
    lines = found.get("lines")
    if not isinstance(lines, int):
        raise _Wrong(repr(lines), "how many lines stand before", column="lines")
    device, sent_at = _text(found, "device", TEXTS["device"]), _moment(found, "sent_at")
    return Seal(line, device, sent_at, lines, (lines, found["sha256"]) == (count, digest))


def line_of(draft: Draft, number: int) -> bytes:
    """A draft as a line of a queue."""
    stated = {
        "n": number,
        "id": draft.id,
        "kind": draft.kind,
        "subject": draft.subject,
        "made_at": draft.made_at,
        "made_by": draft.made_by,
        "device": draft.device,
        "body": draft.body,
        "replaces": draft.replaces,
    }
    return json.dumps(stated, ensure_ascii=False, allow_nan=False).encode("utf-8") + b"\n"


def seal_of(data: bytes, device: str, now: datetime) -> bytes:
    """The line that closes a queue with these bytes before it."""
    lines = list(_written(data))
    digest = hashlib.sha256(b"".join(line + b"\n" for line in lines)).hexdigest()
    told = {"sent_at": stamp(now), "device": device, "lines": len(lines), "sha256": digest}
    return json.dumps(told, ensure_ascii=False).encode("utf-8") + b"\n"


def _written(data: bytes) -> Iterator[bytes]:
    for text in data.removeprefix(BOM_UTF8).split(b"\n"):
        raw = text.removesuffix(b"\r")
        if raw.strip():
            yield raw
