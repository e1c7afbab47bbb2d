"""A small record that holds something of everything: kinds of entries, corrections, files, and what a run tells."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from random import Random

from monochord.store.entry import Draft, stamp
from monochord.store.files import keep_bytes
from monochord.store.ledger import append
from monochord.store.opening import Record

START = datetime(2031, 3, 2, 7, 30, tzinfo=UTC)


def document(girder: str, rng: Random) -> str:
    """What a run found, so far as tables are told by it; invented."""
    magnets = ("Q1", "S2", "Q3")
    offsets = {m: rng.gauss(0.0, 12e-6) for m in magnets}
    verdicts = {
        m: {"x": {"offset": v, "u": 4e-6, "limit": 3e-5, "lower": -3e-5, "upper": 3e-5, "probability": 0.99,
                  "verdict": "conforms", "evidence": "wire"}}
        for m, v in offsets.items()
    }  # fmt: skip
    told = {
        "girder": girder,
        "occasions": {
            "bench": {"place": "bench", "survey": {"variance_factor": 1.1, "dof": 40}, "wire": {"f1_x": 41.5, "sag": 0.0}},
            "tunnel": {"place": "tunnel", "ride": True},
        },
        "clocks": [{"occasion": "bench", "first_utc": "2031-03-01T09:00:00+00:00"}],
        "verdicts": {"bench": verdicts},
        "comparisons": [
            {"from": "bench", "to": "tunnel", "own_moves": {m: {"dx": v, "dy": -0.0} for m, v in offsets.items()}}
        ],
        "sentence": f"{girder} conforms",
    }  # fmt: skip
    return json.dumps(told)


def drafts(girder: str, files: Mapping[str, str], rng: Random) -> Iterator[Draft]:
    """Entries about one girder: what it is, where its magnets are, what was measured, found, done and corrected."""
    subject = f"girder/{girder}"
    listed = [{"path": path, "sha256": sha256} for path, sha256 in files.items() if path != "document"]
    serial = f"{girder}-17"

    def entry(kind: str, body: dict[str, object], about: str = subject, replaces: str | None = None) -> Draft:
        at = stamp(START + timedelta(seconds=rng.randrange(10**6)))
        return Draft(f"{rng.getrandbits(128):032x}", kind, about, at, "ada", "tablet µ2", body, replaces)

    yield entry("girder", {"name": girder, "type": "short", "files": listed[:1]})
    yield entry("magnet", {"serial": serial, "kind": "quadrupole"}, f"magnet/{serial}")
    placed: dict[str, object] = {"serial": serial, "girder": girder, "position": "Q1", "since": "2031-02-01"}
    yield entry("placed", placed, f"magnet/{serial}")
    yield entry("occasion", {"girder": girder, "name": "bench", "place": "bench", "files": listed[1:]})
    yield entry("run", {"girder": girder, "document": files["document"], "inputs": listed})
    yield entry("step", {"girder": girder, "step": "shipped", "done_on": "2031-03-02", "words": "no rain"})
    note = entry("note", {"words": "dust on the nest", "u": rng.random() * 1e-6})
    yield note
    yield entry("note", {"words": "rust, not dust"}, replaces=note.id)


def fill(record: Record, girders: int, seed: int) -> None:
    """Entries and files of some girders; among the files an empty one, one in two pieces that shares a piece, and a loose piece."""
    rng, now = Random(seed), START
    for number in range(girders):
        girder = f"G{number + 1:02d}"
        small = rng.randbytes(900)
        files = {
            "empty.txt": keep_bytes(record, b""),
            "small.csv": keep_bytes(record, small),
            "long.csv": keep_bytes(record, rng.randbytes(9000)),
            "document": keep_bytes(record, document(girder, rng).encode()),
        }
        now += timedelta(days=1)
        for draft in drafts(girder, files, rng):
            append(record, [draft], now)
