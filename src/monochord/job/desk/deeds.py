"""What a person does to a campaign from a page: set readings aside, bring it into the record, sign, hand results on."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile

from monochord.campaign.given.excluded import Excluded
from monochord.ground.faults import Fault, Refused
from monochord.job.context import Context
from monochord.job.desk.place import Desk
from monochord.job.exclude import Excludable, exclude, list_excludable, list_excluded, take_back
from monochord.job.export import KINDS, export_campaign
from monochord.job.record.door import hand, taken
from monochord.job.record.door_sign import signatures_told
from monochord.job.record.sign import Wish, sign
from monochord.store.making import open_record

#: A file with a private key is no longer than this [bytes].
LONGEST_KEY = 10_000


@dataclass(frozen=True, slots=True)
class Readings:
    """What can be set aside, and what is: entries of the campaign in their order."""

    able: tuple[Excludable, ...]
    aside: tuple[Excluded, ...]


def readings(desk: Desk, name: str) -> Readings:
    """All sightings and scans of a campaign."""
    folder = desk.campaign(name)
    return Readings(tuple(list_excludable(folder)), tuple(list_excluded(folder)))


def set_aside(desk: Desk, name: str, what: str, address: str, why: str, *, by: str, context: Context) -> str:
    """Set a reading aside, and say what that leaves."""
    written = exclude(desk.campaign(name), context, what, address, why, by=by)
    return f"set aside as entry {written.number}; {written.leaves}"


def counts_again(desk: Desk, name: str, number: int, why: str, *, by: str, context: Context) -> str:
    """Take back what was set aside."""
    written = take_back(desk.campaign(name), context, number, why, by=by)
    return f"entry {written.number} is taken back; {written.leaves}"


def record_of(desk: Desk) -> str:
    """The address of the desk's record; Refused when it has none."""
    if not desk.record:
        remedy = "name one when the pages are opened: monochord serve FOLDER --at ring.sqlite"
        raise Refused([Fault("no record", "a record to keep campaigns in", remedy)])
    return desk.record


def into_record(desk: Desk, name: str, by: str, context: Context) -> list[str]:
    """Take a campaign into the desk's record, and say what came."""
    return list(taken(record_of(desk), desk.campaign(name), by, context.say))


def signatures(desk: Desk, girder: str) -> list[str]:
    """Who signed what of a girder; nothing without a record."""
    return signatures_told(desk.record, f"girder/{girder}") if desk.record else []


def signed(desk: Desk, wish: Wish, key: bytes, passphrase: str, context: Context) -> list[str]:
    """Sign with a key that was handed over for this one time; it is kept nowhere."""
    if len(key) > LONGEST_KEY:
        expected = f"a file with a private key, at most {LONGEST_KEY} bytes"
        raise Refused([Fault(f"a file of {len(key)} bytes", expected, "choose the file that `record key new` made")])
    record = open_record(record_of(desk))
    with tempfile.TemporaryDirectory(prefix="monochord-") as place:
        path = Path(place) / "key.pem"
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as stream:
            stream.write(key)
        done = sign(record, wish, path, passphrase, context=context, hand=hand(""))
    return [
        f"{done.entry.draft.made_by} signed {done.signing.run[:12]} as {wish.role}; {done.signing.words}",
        *(f"signed in spite of: {words}" for words in done.finding.concerns),
        *(f"the result lacks {words}" for words in done.finding.lacks),
    ]


def handed_on(desk: Desk, name: str, kinds: Iterable[str]) -> bytes:
    """The last run's results as one archive, for other programs; Refused for a kind that is not written."""
    wanted = tuple(kinds) or KINDS
    if unknown := [kind for kind in wanted if kind not in KINDS]:
        raise Refused([Fault(f"the kind {unknown[0]!r}", f"some of {', '.join(KINDS)}", "choose among these")])
    archive = BytesIO()
    with tempfile.TemporaryDirectory(prefix="monochord-") as place:
        _, files = export_campaign(desk.campaign(name), Path(place), wanted)
        with ZipFile(archive, "w", ZIP_DEFLATED) as written:
            for path in files:
                written.write(path, path.name)
    return archive.getvalue()
