"""Readings that people set aside: the entries ``[[excluded]]`` of a campaign's file, matched with what was read.

An entry must name one sighting or one scan and no other. A sighting is named by the file and line of its row, or by
station, target and round; a scan by magnet and plane, and by its mode, its name in the file, or its number among the
scans of that magnet and plane on the occasion, counted from 1 in the order of the files.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from monochord.campaign.given.excluded import SCAN, SIGHTING, Excluded
from monochord.campaign.given.survey import Sighting
from monochord.campaign.given.wire import RawScan, WireScan
from monochord.files.document import Node
from monochord.files.words import did_you_mean, listed
from monochord.ground.faults import Fault

#: The key of the entries in a campaign's file.
EXCLUDED = "excluded"
#: Keys that name a reading, by what it is, in the order in which they narrow the choice.
NAMES: Mapping[str, tuple[str, ...]] = {
    SIGHTING: ("file", "line", "station", "target", "round"),
    SCAN: ("file", "line", "magnet", "plane", "mode", "scan", "number"),
}
#: A reason says at least this many letters.
FEWEST_LETTERS = 3


@dataclass(frozen=True, eq=False, slots=True)
class Candidate:
    """A sighting or scan that can be set aside: what it is called by, and the lines where it stands."""

    what: str
    name: str
    keys: Mapping[str, str | int]
    lines: tuple[int, ...]
    reading: Sighting | WireScan | RawScan

    def fits(self, key: str, value: object) -> bool:
        """Whether a key of an entry names this one; any line of a scan will do."""
        if key == "line":
            return value in self.lines
        return self.keys.get(key) == value


def candidates(
    sightings: Iterable[Sighting], scans: Iterable[WireScan], raw_scans: Iterable[RawScan]
) -> list[Candidate]:
    """Everything of one occasion that can be set aside, with all that names it.

    >>> found = candidates([Sighting("T1", "B4", 0.1, 1.5, 2.0, 2, "survey.csv", 17)], [], [])
    >>> found[0].name, found[0].keys["line"]
    ('T1 to B4, round 2', 17)
    """
    found = [_sighting(s) for s in sightings]
    seen: Counter[tuple[str, str]] = Counter()
    both: list[WireScan | RawScan] = [*scans, *raw_scans]
    for scan in both:
        seen[scan.magnet, scan.moved] += 1
        found.append(_scan(scan, seen[scan.magnet, scan.moved]))
    return found


def _sighting(s: Sighting) -> Candidate:
    keys: dict[str, str | int] = {
        "file": s.file,
        "line": s.line,
        "station": s.station,
        "target": s.target,
        "round": s.round,
    }
    return Candidate(SIGHTING, f"{s.station} to {s.target}, round {s.round}", keys, (s.line,), s)


def _scan(scan: WireScan | RawScan, number: int) -> Candidate:
    keys: dict[str, str | int] = {"file": scan.file, "line": scan.rows[0] if scan.rows else 0, "magnet": scan.magnet}
    keys |= {"plane": scan.moved, "mode": scan.mode, "scan": scan.name, "number": number}
    without = ", without current" if scan.magnet_current == 0.0 else ""
    name = f"{scan.magnet} {scan.moved}, mode {scan.mode}, number {number} (scan {scan.name}{without})"
    return Candidate(SCAN, name, keys, scan.rows, scan)


def matched(node: Node, among: Sequence[Candidate], faults: list[Fault]) -> Candidate | None:
    """The one reading that an entry names; a fault at the key that names nothing, or at the entry that names several."""
    what = node.text("what")
    left = [c for c in among if c.what == what]
    names = [key for key in NAMES[what] if key in node]
    if not names:
        expected = "file and line, or station, target and round" if what == SIGHTING else "magnet, plane and number"
        faults.append(node.fault("", f"a {what} without a name", expected, "say which one is meant"))
        return None
    for key in names:
        value = node.data[key]
        fitting = [c for c in left if c.fits(key, value)]
        if not fitting:
            faults.append(_nothing(node, what, key, left))
            return None
        left = fitting
    if len(left) > 1:
        more = [key for key in NAMES[what] if key not in node and len({c.keys[key] for c in left}) > 1]
        remedy = f"add {' or '.join(more) or 'what tells them apart'}"
        given = f"what names {len(left)} {what}s ({listed([c.name for c in left], 4)})"
        faults.append(node.fault("", given, f"the name of one {what}", remedy))
        return None
    return left[0]


def _nothing(node: Node, what: str, key: str, left: Sequence[Candidate]) -> Fault:
    """The fault of a key behind which nothing is left."""
    value, known = node.data[key], list(dict.fromkeys(str(c.keys[key]) for c in left))
    before = " with what stands before it" if next(k for k in NAMES[what] if k in node) != key else ""
    if not left:
        return node.fault(key, f"{value!r}", f"a {what} of {node.text('occasion')}", f"no {what} was read there")
    if key == "line":
        expected, remedy = f"the line of a {what}", "count lines from 1, with head and remarks"
    else:
        expected, remedy = f"one of {listed(known)}", f"{did_you_mean(str(value), known)}mend it"
    return node.fault(key, f"{key} {value!r}{before}", expected, remedy)


def taken_out(
    nodes: Sequence[Node], among: Sequence[Candidate], faults: list[Fault]
) -> tuple[dict[int, Excluded], set[int]]:
    """The entries of one occasion by their place in the file, and the ids of the readings that do not count.

    An entry that was taken back may name what is not there any more.
    """
    found: dict[int, Excluded] = {}
    out: dict[int, str] = {}
    for node in nodes:
        holds = "taken_back" not in node
        here = matched(node, among, faults if holds else [])
        if here is not None and holds:
            if id(here.reading) in out:
                given = f"{here.name}, which another entry sets aside"
                faults.append(node.fault("", given, "each reading once", "take one of the two back"))
            out[id(here.reading)] = here.name
        found[int(node.path[-1])] = _excluded(node, here)
    return found, set(out)


def _excluded(node: Node, here: Candidate | None) -> Excluded:
    what = node.text("what")
    said = ", ".join(f"{key} {node.data[key]}" for key in NAMES[what] if key in node)
    told: Callable[[str], str] = node.text
    return Excluded(
        told("occasion"),
        what,
        here.name if here else said,
        told("why").strip(),
        told("by"),
        told("at"),
        told("taken_back").strip(),
        told("taken_back_by"),
        told("taken_back_at"),
        str(here.keys["file"]) if here else "",
        int(here.keys["line"]) if here else 0,
        here.reading if here else None,
    )


def entries(root: Node, occasions: Iterable[str]) -> tuple[list[Node], list[Fault]]:
    """The entries of a campaign's file and what is wrong with them in themselves: reason, occasion, keys of the other kind."""
    names = list(occasions)
    faults: list[Fault] = []
    nodes = root.nodes(EXCLUDED)
    for node in nodes:
        for key in ("why", "taken_back"):
            if key in node and sum(c.isalpha() for c in node.text(key)) < FEWEST_LETTERS:
                faults.append(node.fault(key, repr(node.text(key)), "a reason in words", "say why in a sentence"))
        occasion = node.text("occasion")
        if occasion not in names:
            remedy = f"{did_you_mean(occasion, names)}mend the occasion"
            faults.append(node.fault("occasion", repr(occasion), f"one of {listed(names)}", remedy))
        what = node.text("what")
        for key in dict.fromkeys(k for ks in NAMES.values() for k in ks if k in node and k not in NAMES[what]):
            faults.append(node.fault(key, f"{key} of a {what}", f"{', '.join(NAMES[what])}", "take the key out"))
    return nodes, faults
