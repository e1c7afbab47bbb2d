"""The list of files in a package, and the few facts about it as a whole."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from monochord.ground.faults import Fault, Refused
from monochord.store.entry import canonical
from monochord.store.package.bag import Sums
from monochord.store.package.gather import Kept
from monochord.store.package.whole import REMEDY

#: Where the list of files and the facts stand in a package, and the form of the facts.
FILES, FACTS, FORM = "files.csv", "package.json", "monochord-package/1"
HEADS = ("sha256", "bytes", "place in this package", "path where it was read", "entry that names it")
#: Longest file of facts [bytes]; most rows of the list.
LONGEST, MOST = 1 << 20, 200_000


@dataclass(frozen=True, slots=True)
class Facts:
    """What a package tells of itself.

    girder    whose record;  entries  how many
    record    hash of the first entry of the record that it comes from, which tells one record from another
    number, head  of that record's last entry when it was written
    device, by, made_at, program  where, by whom, when and with what it was written
    """

    girder: str
    entries: int
    record: str
    number: int
    head: str
    device: str
    by: str
    made_at: str
    program: str


def facts_text(facts: Facts) -> bytes:
    """The facts as JSON."""
    told = {"form": FORM, **{name: getattr(facts, name) for name in Facts.__slots__}}
    return (canonical(told) + "\n").encode("utf-8")


def facts_in(folder: Path) -> Facts:
    """The facts of a package; Refused when they are not those of a package."""
    path = f"data/{FACTS}"
    with (folder / path).open("rb") as stream:
        content = stream.read(LONGEST + 1)
    try:
        told = json.loads(content)
        facts = Facts(**{name: told[name] for name in Facts.__slots__})
        numbers = all(type(value) is int and value >= 0 for value in (facts.entries, facts.number))
        texts = all(isinstance(getattr(facts, n), str) for n in Facts.__slots__ if n not in ("entries", "number"))
        fits = told["form"] == FORM and numbers and texts and facts_text(facts) == content
    except (ValueError, TypeError, KeyError, RecursionError):
        fits = False
    if not fits:
        raise Refused([Fault("no facts of a package", f"a package of the form {FORM}", REMEDY, path)])
    return facts


def files_text(files: list[Kept]) -> bytes:
    """The list of files as CSV (RFC 4180)."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(HEADS)
    writer.writerows((f.sha256, f.size if f.place else "", f.place, f.path, f.entry) for f in files)
    return stream.getvalue().encode("utf-8")


def files_in(folder: Path) -> Iterator[Kept]:
    """The list of files of a package, row by row; Refused at the first row of another form."""
    path = f"data/{FILES}"
    with (folder / path).open(encoding="utf-8", newline="") as stream:
        try:
            for number, row in enumerate(csv.reader(stream, strict=True), 1):
                if number == 1 and tuple(row) == HEADS:
                    continue
                if number > MOST:
                    raise ValueError(f"more than {MOST} rows")
                yield _kept(number, row)
        except (csv.Error, UnicodeDecodeError, ValueError) as error:
            raise Refused([Fault(str(error)[:200], "a list of files", REMEDY, path)]) from None


def _kept(number: int, row: list[str]) -> Kept:
    if number == 1 or len(row) != len(HEADS) or not re.fullmatch("[0-9a-f]{64}", row[0]):
        raise ValueError(f"row {number} of another form")
    if not re.fullmatch("[0-9]{1,18}" if row[2] else "", row[1]):
        raise ValueError(f"row {number} with {row[1]!r} for a size")
    return Kept(row[0], int(row[1] or 0), row[2], row[3], row[4])


def misplaced(payload: Mapping[str, Sums], files: Mapping[str, Kept]) -> list[Fault]:
    """What the list of files tells otherwise than the manifests, and files that nothing lists.

    files  place -> file
    """
    where = f"data/{FILES}"
    faults = []
    for place, kept in files.items():
        sums = payload.get(f"data/{place}")
        if sums is None:
            faults.append(Fault(f"{place!r}, which is not there", "files of the package", REMEDY, where))
        elif (sums.sha256, sums.size) != (kept.sha256, kept.size):
            faults.append(Fault(f"other bytes than {where} tells", f"{kept.sha256[:16]}...", REMEDY, f"data/{place}"))
    faults += [
        Fault("a file that no entry names", f"files that {where} lists", REMEDY, path)
        for path in payload
        if path.startswith("data/files/") and path.removeprefix("data/") not in files
    ]
    return faults
