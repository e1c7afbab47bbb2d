"""Take a campaign into the record: its files, its girder, its occasions and its runs, each exactly once.

Whatever was broken off goes on when the same is done again: files are known by their bytes, facts by ids that
come from what they state.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from monochord.files import document
from monochord.files.campaign_file import CAMPAIGN, GIRDER, GIRDER_TYPE
from monochord.files.checksum import sha256
from monochord.files.signing import signing_of
from monochord.ground.faults import Fault, Refused
from monochord.job.context import Context
from monochord.job.run import RECORD
from monochord.store.entry import Draft, Entry, canonical, stamp
from monochord.store.files import blocks_of, files_there, has_file, keep_bytes, keep_file
from monochord.store.journal import TABLES_VERSION as JOURNAL_VERSION
from monochord.store.journal import Kept, document_of, inputs_digest, numbers_digest, runs
from monochord.store.ledger import append, entries, entries_with
from monochord.store.opening import Record
from monochord.store.peek import user_version

#: Ids of facts that come from what they state.
FACTS = uuid.UUID("5a2c1e0e-6f0b-5d3e-9b1a-3d7f4c9e8a21")

Part = Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Taken:
    """What a campaign brought: the entries that are new, how many were there already, and files that runs read and nobody has."""

    new: tuple[Entry, ...]
    known: int
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Hand:
    """Who writes: person or program, on which device, by which clock."""

    made_by: str
    device: str


def take_campaign(record: Record, folder: Path, context: Context, hand: Hand) -> Taken:
    """Keep all that a campaign holds; Refused when a measured file is not the one that the campaign knows."""
    told = document.read(folder / CAMPAIGN).data
    girder = str(told.get("girder", ""))
    _unchanged(folder, told)
    for listed in _listed(told):
        context.say(f"keeping {listed['path']}")
        keep_file(record, folder / str(listed["path"]))
    drafts = [*_girder(told, girder), *_occasions(record, told, girder)]
    missing: list[str] = []
    journal = folder / RECORD
    fresh, known = _fresh(record, journal, missing) if journal.is_file() else ([], 0)
    drafts += [_run(record, journal, girder, kept, missing) for kept in fresh]
    return _append(record, drafts, context, hand, tuple(missing), known=known)


def take_journal(record: Record, journal: Path, context: Context, hand: Hand) -> Taken:
    """Take in the journal of a campaign; with its folder when it still lies there, else its runs alone, from their documents.

    The journal stays as it is. Raises Refused when it is no journal, and when a run is not what its checksums say.
    """
    if user_version(journal) != JOURNAL_VERSION:
        given = "a file that is no journal of a campaign"
        raise Refused([Fault(given, "record.sqlite of a campaign, or its folder", "name one of the two", str(journal))])
    if journal.name == RECORD and (journal.parent / CAMPAIGN).is_file():
        return take_campaign(record, journal.parent, context, hand)
    missing: list[str] = []
    drafts = []
    fresh, known = _fresh(record, journal, missing)
    for kept in fresh:
        context.say(f"keeping run {kept.number}")
        told = json.loads(document_of(journal, kept.number)).get("girder")
        girder = str(told.get("name", "")) if isinstance(told, dict) else ""
        drafts.append(_run(record, journal, girder, kept, missing))
    return _append(record, drafts, context, hand, tuple(missing), known=known)


def _fresh(record: Record, journal: Path, missing: list[str]) -> tuple[list[Kept], int]:
    """Runs of a journal that the record does not hold, and the number of those that it holds.

    A run in the record is there with its document; of its inputs those are kept now that were not at hand before.
    """
    listed = runs(journal)
    with record.reading() as connection:
        held = entries_with(connection, [kept.id for kept in listed])
        inputs = {name: _parts(entry.draft.body, "inputs") for name, entry in held.items()}
        there = files_there(connection, {str(i.get("sha256")) for each in inputs.values() for i in each})
    for kept in listed:
        lacking = [i for i in inputs.get(kept.id, []) if str(i.get("sha256")) not in there]
        _keep_inputs(record, journal, kept, lacking, missing)
    return [kept for kept in listed if kept.id not in held], len(held)


def _append(
    record: Record, drafts: list[Draft], context: Context, hand: Hand, missing: tuple[str, ...], *, known: int
) -> Taken:
    with record.reading() as connection:
        held = entries_with(connection, [d.id for d in drafts])
    fresh = [d for d in drafts if d.id not in held]
    now = context.now()
    signed = [
        Draft(
            d.id, d.kind, d.subject, d.made_at or stamp(now), d.made_by or hand.made_by, hand.device, d.body, d.replaces
        )
        for d in fresh
    ]
    return Taken(tuple(append(record, signed, now)), known + len(drafts) - len(fresh), missing)


def _unchanged(folder: Path, told: Part) -> None:
    faults = []
    for listed in _listed(told):
        path = folder / str(listed["path"])
        if not path.is_file():
            faults.append(Fault("no such file", "the file that the campaign lists", "bring it back", str(path)))
        elif sha256(path) != listed["sha256"]:
            remedy = "bring the file back as it was; a new measurement is a new occasion"
            faults.append(Fault("a file that changed since the campaign began", "the same bytes", remedy, str(path)))
    if faults:
        raise Refused(faults)


def _listed(told: Part) -> Iterator[Part]:
    """Every measured file that a campaign lists."""
    yield from _parts(told, "files")
    for occasion in _parts(told, "occasions"):
        yield from _parts(occasion, "files")


def _parts(part: Part, name: str) -> list[Part]:
    found = part.get(name)
    return [item for item in found if isinstance(item, dict)] if isinstance(found, list) else []


def fact_id(*stated: object) -> str:
    """An id that comes from what is stated: the same fact has the same id wherever it is taken in.

    >>> fact_id("girder", "G1") == fact_id("girder", "G1")
    True
    """
    return uuid.uuid5(FACTS, canonical(list(stated))).hex


def _girder(told: Part, girder: str) -> Iterator[Draft]:
    body = {"name": girder, "files": [dict(f) for f in _parts(told, "files")]}
    yield Draft(fact_id("girder", body), "girder", f"girder/{girder}", "", "", "", body)


def _occasions(record: Record, told: Part, girder: str) -> Iterator[Draft]:
    subject = f"girder/{girder}"
    with record.reading() as connection:
        before = {str(e.draft.body.get("name")): e.draft for e in entries(connection, kind="occasion", subject=subject)}
    for occasion in _parts(told, "occasions"):
        body = {
            "girder": girder,
            "name": occasion.get("name"),
            "place": occasion.get("place", ""),
            "files": [dict(f) for f in _parts(occasion, "files")],
        }
        name, earlier = fact_id("occasion", body), before.get(str(occasion.get("name")))
        replaces = earlier.id if earlier and earlier.id != name else None
        yield Draft(name, "occasion", subject, "", "", "", body, replaces)


def _run(record: Record, journal: Path, girder: str, kept: Kept, missing: list[str]) -> Draft:
    text = document_of(journal, kept.number)
    inputs = _parts(json.loads(text), "inputs")
    _refuse_changed(journal, kept, text, {str(i["path"]): str(i["sha256"]) for i in inputs})
    with record.reading() as connection:
        there = files_there(connection, {str(item["sha256"]) for item in inputs})
    _keep_inputs(record, journal, kept, [item for item in inputs if str(item["sha256"]) not in there], missing)
    body: dict[str, object] = {
        "girder": girder,
        "document": keep_bytes(record, text.encode("utf-8")),
        "inputs": [dict(i) for i in inputs],
        "inputs_digest": kept.inputs,
        "numbers": kept.numbers,
        "code": kept.code,
    }
    if asked := _signing(record, inputs):
        body["signing"] = asked
    return Draft(kept.id, "run", f"girder/{girder}", _stamped(kept.made_at), kept.made_by, "", body)


def _keep_inputs(record: Record, journal: Path, kept: Kept, lacking: list[Part], missing: list[str]) -> None:
    """Keep files that a run read and the record has not, where they still are as they were."""
    for item in lacking:
        path = journal.parent / str(item["path"])
        if path.is_file() and sha256(path) == item["sha256"]:
            keep_file(record, path)
        else:
            missing.append(f"run {kept.number} read {item['path']} with other bytes than are there now")


def _refuse_changed(journal: Path, kept: Kept, text: str, inputs: Mapping[str, str]) -> None:
    """The checksums that were written with a run must be those of its document still."""
    told = (("numbers", numbers_digest(text), kept.numbers), ("inputs", inputs_digest(inputs), kept.inputs))
    faults = [
        Fault(
            f"run {kept.number} whose {name} have checksum {now[:12]}",
            f"{then[:12]}, as when it was made",
            "bring the journal back as it was, from a backup of the campaign",
            str(journal),
        )
        for name, now, then in told
        if now != then
    ]
    if faults:
        raise Refused(faults)


def _signing(record: Record, inputs: list[Part]) -> dict[str, object]:
    """Who signs this run, as the files told when it was made."""
    read = {str(item["path"]): str(item["sha256"]) for item in inputs}
    kept = [read[name] for name in (CAMPAIGN, GIRDER, GIRDER_TYPE) if name in read and has_file(record, read[name])]
    with record.reading() as connection:
        return signing_of([b"".join(blocks_of(connection, digest)).decode("utf-8") for digest in kept])


def _stamped(text: str) -> str:
    from datetime import datetime

    return stamp(datetime.fromisoformat(text))
