"""Packages of the record: one girder written, checked, and taken into another record."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from monochord.files.writers import csv_text
from monochord.files.writers_tables import result_tables
from monochord.job.context import Context, real_context
from monochord.job.record.door import hand
from monochord.job.record.take import Hand, fact_id
from monochord.report.schema import SCHEMA_FILE
from monochord.store.keys import public_key_file
from monochord.store.making import open_record
from monochord.store.opening import Record
from monochord.store.package.checking import Checked, Proven, check_package
from monochord.store.package.taking import Came, take_package
from monochord.store.package.writing import Told, Written, write_package


def export_girder(record: Record, girder: str, into: Path, context: Context, hand: Hand) -> Written:
    """Write the whole record of a girder as a package into a new folder."""
    schema = SCHEMA_FILE.read_bytes()
    told = Told(hand.made_by, hand.device, context.now(), context.made_by, schema, tables_of)
    return write_package(record, girder, into, told)


def tables_of(document: bytes) -> Iterable[tuple[str, bytes]]:
    """The tables of a result document as CSV, units in the heads; none of what is no document."""
    try:
        found = json.loads(document)
    except (ValueError, RecursionError):
        return []
    if not isinstance(found, dict):
        return []
    return [(f"{table.name}.csv", csv_text(table).encode("utf-8")) for table in result_tables(found)]


def import_package(record: Record, folder: Path, context: Context, hand: Hand) -> tuple[Checked, Came]:
    """Check a package and take it into a record; the same package changes nothing the second time."""
    context.say(f"checking {folder}")
    checked = check_package(folder)
    name = fact_id("imported", checked.manifest)
    context.say("taking it in")
    return checked, take_package(record, folder, checked, context.now(), by=hand.made_by, device=hand.device, name=name)


def exported(address: str, girder: str, into: Path, by: str) -> Iterator[str]:
    """Write a package, and say what is in it."""
    name = girder.removeprefix("girder/")
    written = export_girder(open_record(address), name, into, real_context(), hand(by))
    facts = written.facts
    yield f"{into}: {facts.entries} entries, {written.files} files, {written.signatures} signatures of the girder {name}"
    yield f"its tag manifest has the sha256 {written.manifest}; who has that number can tell this package from any other"
    for path in written.missing:
        yield f"note: {path} is not in the record, and so not in the package"


def package_checked(folder: Path, keys: Sequence[Path]) -> tuple[list[str], bool]:
    """What a check of a package tells, and whether every signature counts and was proven by a key that was given, if one was."""
    pems = [public_key_file(path) for path in keys]
    checked = check_package(folder, pems)
    facts = checked.facts
    lines = [
        f"{folder} is whole: {facts.entries} entries and {len(checked.files)} files of the girder {facts.girder}, "
        f"written {facts.made_at[:19]} by {facts.by} on {facts.device}",
        f"its tag manifest has the sha256 {checked.manifest}",
        *(f"note: {path} was not in the record, and so not in the package" for path in checked.missing),
        *map(_signature_line, checked.signatures),
    ]
    good = [s for s in checked.signatures if not s.trouble]
    if pems and not any(s.given for s in good):
        lines.append("no signature was made with a key that you gave")
    elif not pems and good:
        lines.append(
            "the keys came with the package: compare their fingerprints with what the people gave you, or give --key"
        )
    return lines, len(good) == len(checked.signatures) and (not pems or any(s.given for s in good))


def _signature_line(proven: Proven) -> str:
    who = f"{proven.person} as {proven.role} on {proven.when[:19]} about {proven.about[:12]}"
    if proven.trouble:
        return f"signature of {who} DOES NOT COUNT: {proven.trouble}"
    by = "the key that you gave" if proven.given else "the key inside the package"
    return f"signature of {who}: good, by {by} ({proven.key[:16]})"


def imported(address: str, folder: Path, by: str, context: Context) -> Iterator[str]:
    """Take a package in, and say what came."""
    checked, came = import_package(open_record(address), folder, context, hand(by))
    girder = checked.facts.girder
    yield f"{folder}: {came.new} new entries and {came.files} new files of the girder {girder}; {came.known} entries known already"
    for note in came.notes:
        yield f"note: {note}"
    for path in checked.missing:
        yield f"note: {path} was not in the package"
    for proven in checked.signatures:
        yield _signature_line(proven)
