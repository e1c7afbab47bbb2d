"""Every pairing of names that the work makes: what matched, what stands on one side only, and near misses.

Lists are paired by equal names after the clean-up of :mod:`monochord.files.names`, never by order. Two lists
of which not one name matches are a fault: then one of them is of something else, or its names were changed.
"""

from __future__ import annotations

import fnmatch
import json
from collections.abc import Iterable, Sequence
from pathlib import Path

from monochord.campaign.given.girder import Girder
from monochord.campaign.given.occasion import Occasion
from monochord.campaign.given.pairing import Pairing
from monochord.files.imports import IMPORTS
from monochord.files.names import near_misses
from monochord.files.words import listed, natural
from monochord.ground.faults import Fault


def paired(first: str, names: Iterable[str], second: str, others: Iterable[str], aside: Iterable[str] = ()) -> Pairing:
    """Two lists of names laid side by side; ``first`` and ``second`` say in words what they are.

    aside  names and patterns of names of the second list that are known to be something else

    >>> p = paired("list", ["A", "F07"], "sightings", ["FO7", "A", "P1"], ["P*"])
    >>> p.matched, p.only_first, p.only_second, p.set_aside
    (('A',), ('F07',), ('FO7',), ('P1',))
    """
    ours, theirs, patterns = set(names), set(others), tuple(aside)
    put = {n for n in theirs - ours if any(fnmatch.fnmatchcase(n, p) or n == p for p in patterns)}
    here, there = _sorted(ours - theirs), _sorted(theirs - ours - put)
    return Pairing(first, second, _sorted(ours & theirs), here, there, near_misses(here, there), _sorted(put))


def none_matched(pairing: Pairing, file: str, line: int | None = None) -> list[Fault]:
    """A fault when neither list is empty and not one name is in both."""
    if pairing.matched or not (pairing.only_first and pairing.only_second):
        return []
    given = f"0 names matched: {pairing.second} has {listed(pairing.only_second, 6)}"
    expected = f"names of the {pairing.first}: {listed(pairing.only_first, 6)}"
    why = "; ".join(dict.fromkeys(f"{n.second!r}: {n.why}" for n in pairing.near[:3]))
    remedy = "mend the names in one of the two; nothing is paired by its order"
    return [Fault(given, expected, f"{why}; {remedy}" if why else remedy, file, line)]


def in_brief(folder: Path) -> list[str]:
    """The pairings of a campaign that was begun in ``folder``, shortly: one line for all, one for each with names left over."""
    kept = json.loads((folder / IMPORTS).read_text("utf-8"))["pairings"]
    left = [p["words"] for p in kept if p["only_second"] or p["near"]]
    matched = sum(len(p["matched"]) for p in kept)
    head = f"{len(kept)} pairs of lists of names, {matched} names matched, {len(left)} pairs with names left over"
    return [head, *(f"names: {words}" for words in left)] if kept else []


def of_occasion(girder: Girder, occasion: Occasion, aside: Sequence[str]) -> list[Pairing]:
    """The pairings of one occasion with the girder's own lists, and of its rounds with each other."""
    name = occasion.name
    found = []
    if occasion.sightings:
        targets, seen = [t.name for t in girder.targets], {s.target for s in occasion.sightings}
        found.append(paired("list of targets", targets, f"sightings of {name}", seen, aside))
        found += _rounds(occasion)
    scans = {s.magnet for s in occasion.scans} | {s.magnet for s in occasion.raw_scans}
    bolts = [b.name for b in girder.bolts]
    lists = (
        ("list of magnets", [m.name for m in girder.magnets], f"scans of {name}", scans),
        ("list of bolts", bolts, f"findings at the feet of {name}", {f.bolt for f in occasion.feet}),
        ("list of bolts", bolts, f"turns of {name}", {t.bolt for t in occasion.turns}),
    )
    return [*found, *(paired(*entry) for entry in lists if entry[3])]


def between_occasions(girder: Girder, occasions: Sequence[Occasion], reference: str | None) -> list[Pairing]:
    """The targets of the reference occasion (the first with a survey where there is none) with those of all others."""
    told = {t.name for t in girder.targets if t.carrier != "wall"}
    seen = {o.name: {s.target for s in o.sightings if not told or s.target in told} for o in occasions if o.sightings}
    if len(seen) < 2:
        return []
    base = reference if reference in seen else next(iter(seen))
    return [
        paired(f"targets seen on {base}", seen[base], f"targets seen on {name}", names)
        for name, names in seen.items()
        if name != base
    ]


def _rounds(occasion: Occasion) -> list[Pairing]:
    """Each further round with the first one, by station and target."""
    rounds: dict[int, set[str]] = {}
    for s in occasion.sightings:
        rounds.setdefault(s.round, set()).add(f"{s.target} from {s.station}")
    first, *rest = sorted(rounds)
    return [
        paired(f"round {first} of {occasion.name}", rounds[first], f"round {r} of {occasion.name}", rounds[r])
        for r in rest
    ]


def _sorted(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted(names, key=natural))
