"""Makes v0002.sqlite, a record of version 2 in one file, v0002.sql, the same from PostgreSQL, and v0002.json with what they hold.

Run once, with the program of that version and an empty database of a PostgreSQL server:
``python tests/record/kept/make_v0002.py postgresql://USER@HOST/DATABASE``. The files are kept for ever; the script is kept to
show where they come from.
"""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

from monochord.store.backup import back_up, restore
from monochord.store.entry import Draft, Entry, stamp
from monochord.store.files import keep_bytes
from monochord.store.ledger import append
from monochord.store.making import make_record
from monochord.store.opening import Record, url_of

HERE = Path(__file__).parent
START = datetime(2026, 3, 2, 7, 30, tzinfo=UTC)
VERDICT = {"offset": 1.2e-05, "u": 4e-06, "limit": 3e-05, "lower": -3e-05, "upper": 3e-05, "verdict": "conforms"}
DOCUMENT = json.dumps(
    {
        "schema": "monochord-result/1",
        "girder": {"name": "G07", "type": "arc"},
        "inputs": [],
        "occasions": {"1-bench": {"place": "hall"}},
        "verdicts": {"1-bench": {"Q1": {"x": VERDICT, "y": {**VERDICT, "offset": -2.9e-05}}}},
        "sentence": "Invented; Prüfstand, 0.1 µm.",
    },
    ensure_ascii=False,
).encode()
FILES = {"result": DOCUMENT, "readings": bytes(range(256)) * 40, "empty": b""}
DAY = "2026-03-02"
STATED: tuple[tuple[str, str, dict[str, object]], ...] = (
    ("girder", "girder/G07", {"name": "G07", "type": "arc", "files": []}),
    ("occasion", "girder/G07", {"girder": "G07", "name": "1-bench", "place": "hall", "files": []}),
    (
        "run",
        "girder/G07",
        {"girder": "G07", "document": hashlib.sha256(DOCUMENT).hexdigest(), "inputs": [], "code": "c0de"},
    ),
    ("magnet", "magnet/Q-017", {"serial": "Q-017", "kind": "quadrupole"}),
    ("placed", "magnet/Q-017", {"serial": "Q-017", "girder": "G07", "position": "Q1", "since": DAY}),
    ("instrument", "instrument/T1", {"name": "T1", "kind": "tracker", "serial": "0042"}),
    ("calibration", "instrument/T1", {"instrument": "T1", "made_on": DAY, "valid_until": "2027-03-01"}),
    ("person", "person/ada", {"name": "ada", "roles": ["survey", "sign"]}),
    (
        "step",
        "girder/G07",
        {"girder": "G07", "step": "lifted", "done_on": DAY, "words": "off the bench", "instrument": "T1"},
    ),
    ("nonconformance", "girder/G07", {"girder": "G07", "magnet": "Q1", "words": "clamp torn", "state": "open"}),
    ("turned", "girder/G07", {"girder": "G07", "occasion": "1-bench", "bolt": "B3", "turns": -0.25}),
    ("foot", "girder/G07", {"girder": "G07", "occasion": "1-bench", "foot": "F2", "found": "loose"}),
    ("note", "girder/G07", {"words": "Staub im Nest, 0.1 µm", "about": ["kept-3"]}),
)


def drafts() -> list[Draft]:
    found = [
        Draft(f"kept-{n}", kind, subject, stamp(START + timedelta(minutes=n)), "ada", "bench 1", body)
        for n, (kind, subject, body) in enumerate(STATED, start=1)
    ]
    body = {**found[8].body, "done_on": "2026-03-03", "why": "after midnight"}
    at = stamp(START + timedelta(minutes=50))
    return [*found, Draft("kept-corrected", "step", "girder/G07", at, "ben", "tablet 2", body, "kept-9")]


def filled(address: str) -> tuple[Record, list[Entry]]:
    record = make_record(address)
    for content in FILES.values():
        keep_bytes(record, content)
    return record, [append(record, [d], START + timedelta(hours=1, seconds=n))[0] for n, d in enumerate(drafts())]


def told(entry: Entry) -> dict[str, object]:
    d = entry.draft
    return {
        "number": entry.number,
        "id": d.id,
        "kind": d.kind,
        "subject": d.subject,
        "made_at": d.made_at,
        "made_by": d.made_by,
        "device": d.device,
        "replaces": d.replaces,
        "body": d.body,
        "kept_at": entry.kept_at,
        "content": entry.content,
        "previous": entry.previous,
        "hash": entry.hash,
    }


def main(address: str) -> None:
    with tempfile.TemporaryDirectory() as room:
        record, entries = filled(f"{room}/record.sqlite")
        path = HERE / "v0002.sqlite"
        path.unlink(missing_ok=True)
        back_up(record, path, print)
    restore(path, address, print)
    files = {hashlib.sha256(content).hexdigest(): len(content) for content in FILES.values()}
    whole = {"entries": [told(entry) for entry in entries], "files": files}
    (HERE / "v0002.json").write_text(json.dumps(whole, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    (HERE / "v0002.sql").write_text(dumped(address), encoding="utf-8")


def dumped(address: str) -> str:
    """The database as statements that any server reads: what a server of one version says to its own is left out."""
    plain = url_of(address).set(drivername="postgresql").render_as_string(hide_password=False)
    command = ["pg_dump", "--inserts", "--no-owner", "--no-privileges", plain]
    lines = subprocess.run(command, check=True, capture_output=True, text=True).stdout.splitlines()
    own = ("SET ", "\\", "SELECT pg_catalog.set_config", "--")
    return "\n".join(line for line in lines if line.strip() and not line.startswith(own)) + "\n"


if __name__ == "__main__":
    main(sys.argv[1])
