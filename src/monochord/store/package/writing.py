"""Write the whole record of one girder as a package; until it is whole it does not have its name."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, select

from monochord.ground.faults import Fault, Refused
from monochord.store import signing
from monochord.store.entry import START, Entry, stamp
from monochord.store.files import blocks_of
from monochord.store.opening import Record
from monochord.store.package import index
from monochord.store.package.bag import Writer, settle
from monochord.store.package.gather import Gathered, entries_about, folder_of, gather
from monochord.store.package.lines import ENTRIES, line_of
from monochord.store.package.names import part_of
from monochord.store.package.readme import readme
from monochord.store.package.whole import whole
from monochord.store.tables import ENTRY

#: What a result document gives beside itself: (name, bytes) of each table.
Tables = Callable[[bytes], Iterable[tuple[str, bytes]]]


@dataclass(frozen=True, slots=True)
class Told:
    """Who writes a package, where, when and with what; the schema of results, and how tables are made of one."""

    by: str
    device: str
    now: datetime
    program: str
    schema: bytes
    tables: Tables


@dataclass(frozen=True, slots=True)
class Written:
    """What was written: the facts, how many files and signatures, sha256 of the tag manifest, and files that are not kept."""

    facts: index.Facts
    files: int
    signatures: int
    manifest: str
    missing: tuple[str, ...]


def write_package(record: Record, girder: str, into: Path, told: Told) -> Written:
    """Write a package into a new folder, as the record is at one moment.

    Raises Refused when the folder is there already, or nothing is known about the girder.
    """
    if into.exists() or into.is_symlink():
        remedy = "choose a new folder: a package is never changed"
        raise Refused([Fault("a folder that is there already", "a new folder", remedy, str(into))])
    _left_over(into)
    into.parent.mkdir(parents=True, exist_ok=True)
    part = into.with_name(f"{into.name}.part-{os.getpid()}")
    part.mkdir()
    try:
        with record.reading() as connection:
            written = _write(connection, girder, Writer(part), told)
        whole(part)
        os.rename(part, into)
        settle(into.parent)
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return written


def _left_over(into: Path) -> None:
    """Tell of what an export left that was broken off; it may be another one that goes on at this moment."""
    if not into.parent.is_dir():
        return
    left = sorted(p for p in into.parent.iterdir() if p.name.startswith(f"{into.name}.part-"))
    if left:
        remedy = "remove it, or wait when another export goes on"
        raise Refused([Fault("what a broken-off export left", "a new folder", remedy, str(p)) for p in left])


def _write(connection: Connection, girder: str, bag: Writer, told: Told) -> Written:
    found = gather(connection, girder)
    if not found.entries:
        remedy = "list the girders with `monochord record list --kind girder`"
        raise Refused([Fault(f"the girder {girder!r}", "a girder of which something is known", remedy)])
    facts = _facts(connection, girder, found.entries, told)
    bag.put(ENTRIES, (line_of(entry) for entry in entries_about(connection, found.subjects)))
    bag.put(index.FILES, [index.files_text(found.files)])
    bag.put(index.FACTS, [index.facts_text(facts)])
    kept = {f.sha256: f for f in reversed(found.files) if f.place}
    for file in kept.values():
        _put_file(bag, file.place, file.sha256, blocks_of(connection, file.sha256))
    _results(connection, found, bag, told, {f.sha256: f.place for f in kept.values()})
    signatures = _signatures(connection, found, bag)
    info = {
        "Bagging-Date": stamp(told.now)[:10],
        "External-Description": f"The whole record of the girder {girder}",
        "External-Identifier": f"girder/{girder}",
        "Bag-Software-Agent": told.program,
        "Contact-Name": told.by,
    }
    manifest = bag.close(info, readme(facts))
    missing = tuple(f"{f.path} ({f.sha256[:12]})" for f in found.files if not f.place)
    return Written(facts, len(kept), signatures, manifest, missing)


def _facts(connection: Connection, girder: str, entries: int, told: Told) -> index.Facts:
    chain = select(ENTRY.c.number, ENTRY.c.hash)
    first = connection.execute(chain.order_by(ENTRY.c.number).limit(1)).first()
    last = connection.execute(chain.order_by(ENTRY.c.number.desc()).limit(1)).first()
    record, number, head = (first.hash, last.number, last.hash) if first and last else (START, 0, START)
    return index.Facts(girder, entries, record, number, head, told.device, told.by, stamp(told.now), told.program)


def _put_file(bag: Writer, place: str, digest: str, blocks: Iterator[bytes]) -> None:
    if bag.put(place, blocks).sha256 != digest:
        remedy = "run `monochord record verify`, and restore what is damaged"
        raise Refused(
            [Fault(f"other bytes than were kept under {digest[:12]}", "the file that was kept", remedy, place)]
        )


def _results(connection: Connection, found: Gathered, bag: Writer, told: Told, places: Mapping[str, str]) -> None:
    """Beside every result document its tables, and the schema once."""
    any_result = False
    for entry in entries_about(connection, found.subjects):
        digest = str(entry.draft.body.get("document", ""))
        if entry.draft.kind != "run" or places.get(digest) != f"results/{folder_of(entry)}/result.json":
            continue
        any_result = True
        for name, content in told.tables(b"".join(blocks_of(connection, digest))):
            bag.put(f"results/{folder_of(entry)}/{name}", [content])
    if any_result:
        bag.put("results/result.schema.json", [told.schema])


def _signatures(connection: Connection, found: Gathered, bag: Writer) -> int:
    known = signing.keys(connection)
    count = 0
    for entry in entries_about(connection, found.subjects):
        if entry.draft.kind == signing.SIGNATURE:
            count += 1
            for name, content in signature_files(entry, known).items():
                bag.put(f"signatures/{signature_folder(entry)}/{name}", [content])
    return count


def signature_folder(entry: Entry) -> str:
    """The folder of a signature: when, who, and the beginning of its id."""
    who = part_of(str(entry.draft.body.get("person", ""))[:40])
    return f"{entry.draft.made_at[:10]}-{who}-{part_of(entry.draft.id[:12])}"


def signature_files(entry: Entry, known: Mapping[str, signing.Key]) -> dict[str, bytes]:
    """What a third party needs: the signed text, the signature, and the public key where it is known."""
    body = entry.draft.body
    key = known.get(str(body.get("key", "")))
    found = {"statement.json": signing.signed_bytes(body), "signature.bin": signing.raw_signature(body)}
    return found | ({"key.pem": key.pem.encode("utf-8")} if key else {})
