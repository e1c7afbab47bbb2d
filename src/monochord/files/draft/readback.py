"""The proof of a draft: its files read by it, rows counted, the first ones in SI, and the geometry once more."""

from __future__ import annotations

import fnmatch
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from monochord.campaign.given.girder import Target
from monochord.files.checks_survey import check_survey
from monochord.files.columns import Rows
from monochord.files.document import parse
from monochord.files.lab import Lab, lab_of
from monochord.files.reading import read_rows
from monochord.files.sightings import sightings
from monochord.ground.faults import Fault, Gatherer, Refused


@dataclass(frozen=True, slots=True)
class Read:
    """One file as the description reads it: rows, faults, and the first rows in SI."""

    path: str
    role: str
    rows: int
    refused: int
    first: tuple[str, ...]
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True)
class Proof:
    """What came of reading everything back; open holds the faults that keep the description from being loaded."""

    open: tuple[Fault, ...] = ()
    read: tuple[Read, ...] = ()
    geometry: tuple[str, ...] = ()
    misfits: Mapping[str, float] = field(default_factory=dict)


def read_back(text: str, name: str, files: Mapping[str, bytes]) -> Proof:
    """Load a description and read every file that it describes.

    text   the description;  name  as it is shown in faults;  files  path -> bytes
    """
    try:
        lab = lab_of(parse(text, name))
    except Refused as refusal:
        return Proof(open=refusal.faults)
    found: list[Read] = []
    rows: dict[str, list[Rows]] = {}
    for path, data in files.items():
        for role, pattern in lab.files.items():
            if role not in lab.forms or not fnmatch.fnmatchcase(path.rpartition("/")[2], pattern):
                continue
            faults, notes = Gatherer(path), list[Fault]()
            read = read_rows(data, path, lab.forms[role], faults, notes)
            count = len(read) if read is not None else 0
            refused = len({(f.line, f.file) for f in faults.faults})
            found.append(Read(path, role, count, refused, _first(read), tuple(faults.faults)))
            if read is not None and not faults.faults:
                rows.setdefault(role, []).append(read)
    return Proof((), tuple(found), tuple(_geometry(lab, rows)))


def _first(rows: Rows | None) -> tuple[str, ...]:
    """The first three rows as they are kept: names as text, numbers in SI."""
    if rows is None:
        return ()
    shown = []
    for i in range(min(3, len(rows))):
        cells = [f"{k} {v[i]}" for k, v in rows.text.items()]
        cells += [f"{k} {v[i]:.9g}" for k, v in rows.number.items()]
        shown.append(", ".join(cells))
    return tuple(shown)


def _geometry(lab: Lab, rows: Mapping[str, list[Rows]]) -> list[str]:
    """How far the sightings, read by the description, leave the targets from their nominal places."""
    if "targets" not in rows or "sightings" not in rows:
        return []
    nominal = rows["targets"][0]
    u = lab.root.node("tables").node("targets").amount("good_to", "length")
    places = lab.axes.points(nominal).tolist()
    targets = [Target(n, "girder", (x, y, z), u) for n, (x, y, z) in zip(nominal.text["name"], places, strict=True)]
    told = []
    for read in rows["sightings"]:
        faults, notes = Gatherer(read.file), list[Fault]()
        seen = sightings(read, lab, faults, notes)
        wrong = [*faults.faults, *check_survey(seen, targets)]
        if wrong:
            told += [str(f) for f in wrong]
            continue
        stations = list(dict.fromkeys(s.station for s in seen))
        misfits = [_misfit([s for s in seen if s.station == station], targets) for station in stations]
        known = [m for m in misfits if np.isfinite(m)]
        if known:
            told.append(
                f"{read.file}: from each of {len(known)} stations half of the targets lie within {max(known) * 1e3:.3g} mm "
                "of their nominal places"
            )
    return told


def _misfit(seen: list[object], targets: list[Target]) -> float:
    from monochord.campaign.given.survey import Sighting
    from monochord.files.draft import geometry

    nominal = {t.name: t.nominal for t in targets}
    first: dict[str, Sighting] = {}
    for s in seen:
        assert isinstance(s, Sighting)
        if nominal.get(s.target) is not None and None not in (s.direction, s.zenith, s.distance):
            first.setdefault(s.target, s)
    if len(first) < geometry.FEWEST:
        return float("nan")
    polar = np.array([(s.direction, s.zenith, s.distance) for s in first.values()], float)
    places = np.array([nominal[n] for n in first], float)
    reading = ("rad",), ("m",)
    return geometry.tried([geometry.Picture("", polar, places, tuple(first))], 1.0, *reading)[0].misfit
