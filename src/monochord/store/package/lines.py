"""Entries as lines of a package: JSON in one spelling, with the hash of the content and the links of the chain."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

from monochord.ground.faults import Fault, Refused
from monochord.store.entry import START, Draft, Entry, canonical, chained, content_of, moment, stamp
from monochord.store.package.walk import some
from monochord.store.package.whole import REMEDY, lines_of

#: Where the entries stand in a package.
ENTRIES = "entries.jsonl"
#: Longest line [bytes], and most lines.
LONGEST, MOST = 4 << 20, 200_000
#: Texts of an entry and how long they may be.
TEXTS = {"id": 64, "kind": 40, "subject": 200, "made_at": 40, "made_by": 200, "device": 200}


def line_of(entry: Entry) -> bytes:
    """An entry as a line."""
    d = entry.draft
    stated = {name: getattr(d, name) for name in (*TEXTS, "replaces", "body")}
    chain = {"number": entry.number, "kept_at": entry.kept_at, "previous": entry.previous, "hash": entry.hash}
    line = (canonical({"entry": stated, "content": entry.content, "chain": chain}) + "\n").encode("utf-8")
    if len(line) > LONGEST:
        given = f"entry {entry.number} of {len(line)} bytes"
        raise Refused([Fault(given, f"at most {LONGEST} bytes in a package", "keep long things as files")])
    return line


def entry_of(line: bytes) -> Entry:
    """The entry of a line; ValueError with what is wrong, also for a line that is spelled otherwise."""
    try:
        text = line.decode("utf-8")
        found = json.loads(text, parse_constant=_no_number)
        entry = _entry(found)
        if line_of(entry) != line:
            raise ValueError("a line in another spelling")
    except (RecursionError, KeyError, TypeError, AttributeError) as error:
        raise ValueError(f"a line of another form ({type(error).__name__})") from None
    _linked(entry)
    return entry


def _no_number(text: str) -> float:
    raise ValueError(f"{text} for a number")


def _entry(found: Mapping[str, Mapping[str, object]]) -> Entry:
    stated, chain = found["entry"], found["chain"]
    texts = {name: _text(stated[name], most) for name, most in TEXTS.items()}
    body, replaces, number = stated["body"], stated["replaces"], chain["number"]
    if not isinstance(body, dict) or type(number) is not int or not 1 <= number < 1 << 53:
        raise ValueError("a line of another form")
    for when in (texts["made_at"], _text(chain["kept_at"], 40)):
        if stamp(moment(when)) != when:
            raise ValueError(f"the time {when!r}")
    draft = Draft(**texts, body=body, replaces=None if replaces is None else _text(replaces, 64))
    hashes = [_text(value, 64) for value in (found["content"], chain["previous"], chain["hash"])]
    return Entry(number, draft, str(chain["kept_at"]), *hashes)


def _text(value: object, most: int) -> str:
    if not isinstance(value, str) or len(value) > most or "\0" in value:
        raise ValueError(f"something else than a text of at most {most} letters")
    return value


def _linked(entry: Entry) -> None:
    if content_of(entry.draft) != entry.content:
        raise ValueError("a content that does not have its hash")
    if chained(entry.previous, entry.number, entry.kept_at, entry.content) != entry.hash:
        raise ValueError("a link of the chain that does not have its hash")


def entries_in(folder: Path) -> Iterator[Entry]:
    """The entries of a package in their order, each held against its hashes and against the one before.

    Raises Refused, after the last line, with the line of everything that is wrong.
    """
    faults: list[Fault] = []
    path = f"data/{ENTRIES}"
    seen: set[str] = set()
    last = Entry(0, Draft("", "", "", "", "", "", {}), "", "", START, START)
    with (folder / path).open("rb") as stream:
        for number, line in lines_of(stream, LONGEST):
            if number > MOST:
                raise Refused([Fault(f"more than {MOST} entries", "the record of one girder", REMEDY, path)])
            try:
                entry = entry_of(line)
                _behind(last, entry, seen)
            except ValueError as error:
                faults.append(Fault(str(error)[:200], "an entry as it was written", REMEDY, path, number))
                continue
            seen.add(entry.draft.id)
            last = replace(entry, draft=replace(entry.draft, body={}))
            yield entry
    if faults:
        raise Refused(some(faults))


def _behind(last: Entry, entry: Entry, seen: set[str]) -> None:
    """Hold an entry against the one before: the order of numbers, the chain where they are neighbours, ids, corrections."""
    if entry.number <= last.number or entry.kept_at < last.kept_at:
        raise ValueError("an entry out of order")
    if entry.number == last.number + 1 and entry.previous != last.hash:
        raise ValueError("a chain that is broken before this entry")
    if entry.draft.id in seen:
        raise ValueError("an entry that stands twice")
    if entry.draft.replaces is not None and entry.draft.replaces not in seen:
        raise ValueError("a correction of what is not in the package")
