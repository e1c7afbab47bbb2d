"""An invented fleet for tests of questions: documents with chosen verdicts and values, kept as runs of invented girders."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from monochord.store.entry import Draft, stamp
from monochord.store.files import keep_bytes
from monochord.store.ledger import append
from monochord.store.opening import Record

START = datetime(2031, 3, 2, 7, 30, tzinfo=UTC)
MAGNETS = ("Q1", "S1")
LIMIT = 30e-6


@dataclass(frozen=True, slots=True)
class Day:
    """One occasion of an invented girder.

    offsets  magnet -> (x, y) [m], judged to 30 um;  word  the verdict where an offset keeps its limit
    moves    magnet -> (dx, dy) [m] since the occasion before, on which they are told
    """

    name: str
    place: str = "hall"
    offsets: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    moves: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    word: str = "conforms"
    factor: float | None = None
    ride: bool = False
    stringing: str = ""
    changes: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    closure: tuple[float, int, float] | None = None


def when(day: int) -> datetime:
    """So many days after the start."""
    return START + timedelta(days=day)


def document(girder: str, days: Sequence[Day], first: int, *, type_name: str = "arc", clocks: bool = True) -> str:
    """A result document with the parts that tables are told by; one occasion a day from day ``first``."""
    found: dict[str, object] = {
        "girder": {"name": girder, "type": type_name},
        "occasions": {d.name: _occasion(d) for d in days},
        "comparisons": [_comparison(a, b) for a, b in pairwise(days)],
        "verdicts": {d.name: _verdicts(d) for d in days if d.offsets},
        "clocks": [
            {"occasion": d.name, "first_local": None, "first_utc": when(first + i).isoformat()}
            for i, d in enumerate(days)
            if clocks
        ],
        "sentence": f"Girder {girder}, invented.",
    }
    return json.dumps(found)


def _occasion(day: Day) -> dict[str, object]:
    axes = (
        {"Q1": {"causes": [{"cause": f"stringing:{day.stringing}", "u_x": 1e-6, "u_y": 1e-6}]}} if day.stringing else {}
    )
    survey = (
        {"variance_factor": day.factor, "dof": 200.0, "gates": [{"name": "g", "ok": False}]} if day.factor else None
    )
    return {
        "place": day.place,
        "axes": axes,
        "survey": survey,
        "wire": None,
        "ride": {"kind": "peak"} if day.ride else None,
    }


def _verdicts(day: Day) -> dict[str, object]:
    return {
        magnet: {
            q: {
                "offset": value, "u": 1e-6, "limit": LIMIT, "lower": -LIMIT, "upper": LIMIT, "probability": 0.5,
                "verdict": day.word if abs(value) <= LIMIT else "does not conform", "evidence": "wire",
            }
            for q, value in zip("xy", xy, strict=True)
        }
        for magnet, xy in day.offsets.items()
    }  # fmt: skip


def _comparison(one: Day, other: Day) -> dict[str, object]:
    cov = [[4e-12 if i == j else 0.0 for j in range(6)] for i in range(6)]
    chi, dof, p = other.closure or (None, None, None)
    return {
        "from": one.name,
        "to": other.name,
        "own_moves": {m: {"dx": dx, "dy": dy, "cov": cov} for m, (dx, dy) in other.moves.items()},
        "axis_changes": {m: {"x": x, "y": y, "u_x": 1e-6, "u_y": 2e-6} for m, (x, y) in other.changes.items()},
        "closure": None if chi is None else {"chi_square": chi, "dof": dof, "probability": p, "offsets": {}},
    }


def draft(kind: str, name: str, body: Mapping[str, object], *, day: int = 0, replaces: str | None = None) -> Draft:
    """An entry of a kind with an id that says what it is."""
    subjects = {"magnet": "magnet/{serial}", "placed": "magnet/{serial}", "instrument": "instrument/{name}"}
    subjects |= {"calibration": "instrument/{instrument}", "girder": "girder/{name}", "person": "person/{name}"}
    subject = subjects.get(kind, "girder/{girder}").format_map(dict(body))
    return Draft(name, kind, subject, stamp(when(day)), "ada", "desk", dict(body), replaces)


def keep_run(
    record: Record, girder: str, days: Sequence[Day], *, day: int = 0, name: str = "", replaces: str | None = None,
    signatures: int = 0, clocks: bool = True, first: int | None = None,
) -> str:  # fmt: skip
    """Keep a girder's occasions and a run over them made on a day; gives the id of the run."""
    known = [
        draft(
            "occasion", f"{girder} {d.name}", {"girder": girder, "name": d.name, "place": d.place, "files": []}, day=day
        )
        for d in days
    ]
    sha256 = keep_bytes(record, document(girder, days, day if first is None else first, clocks=clocks).encode())
    body: dict[str, object] = {"girder": girder, "document": sha256, "code": "c" * 64}
    if signatures:
        body["signing"] = {"signatures": signatures}
    name = name or f"run of {girder} on {day}"
    append(record, [*known, draft("run", name, body, day=day, replaces=replaces)], when(day))
    return name


def fleet(record: Record, girders: int, *, occasions: int = 3) -> None:
    """Girders with some occasions each: a ride between the first two, own moves and offsets that differ by girder."""
    for g in range(girders):
        days = [
            Day("1-bench", "hall", dict.fromkeys(MAGNETS, (1e-06 * (g % 7 - 3), 2e-06)), factor=1.0, stringing="a"),
            Day("2-arrival", "tunnel", moves=dict.fromkeys(MAGNETS, (1e-06 * (g % 5 - 2), 5e-07)), factor=1.1, ride=True),
            *(
                Day(
                    f"{i + 3}-later", "tunnel", dict.fromkeys(MAGNETS, (1e-06 * (g % 11 - 5), -3e-06)), factor=0.9 + 0.02 * (g % 9),
                    moves=dict.fromkeys(MAGNETS, (2e-07, -2e-07)), stringing=f"b{i}", closure=(4.0 + g % 3, 4, 0.4),
                )
                for i in range(occasions - 2)
            ),
        ]  # fmt: skip
        keep_run(record, f"G{g:03d}", days, day=g)
