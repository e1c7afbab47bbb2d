"""What the tables of a description say beside their columns: how good, which way, in which order, which further points."""

from __future__ import annotations

from collections.abc import Mapping

from monochord.files.draft import facts, geometry, survey
from monochord.files.draft.columns import LETTERS
from monochord.files.draft.conventions import logger
from monochord.files.draft.findings import Choice, Question
from monochord.files.draft.kinds import Kind
from monochord.files.draft.lines import Draft, Section
from monochord.files.draft.survey import Survey
from monochord.files.draft.tables import Work


def further(work: Work, section: Section, kind: Kind, chosen: Mapping[str, Kind | None], seen: Survey) -> None:
    """The keys of a role beside its columns.

    section  of the role's table;  chosen  role -> its kind of file;  seen  the survey that the sightings make
    """
    draft = work.draft
    if kind.role == "targets":
        facts.loose(
            draft, section, "good_to", "how well the nominal places are known, one standard deviation", "length"
        )
    elif kind.role == "temperatures":
        facts.loose(
            draft, section, "good_to", "how good the sensors are, one standard deviation", "temperature difference"
        )
    elif kind.role == "feet" and kind.fit and "load" in kind.fit.places:
        facts.loose(draft, section, "load_good_to", "how good the loads are, relative", "ratio", needed=False)
    elif kind.role == "bolts":
        asks = "Which way does a positive turn push the girder? No file can show it before something was turned."
        known = (Choice("along the direction"), Choice("against the direction"))
        draft.put(section, "positive_turn", Question("tables.bolts.positive_turn", asks, known))
    elif kind.role == "wire_ends":
        _order(work, section, kind, seen)
    elif kind.role == "ride":
        logger(draft, section, kind)
    elif kind.role == "sightings":
        _other_points(draft, section, kind, chosen, seen)


def _order(work: Work, section: Section, kind: Kind, seen: Survey) -> None:
    """Which end stands upstream: a column along the beam, or where the nests were sighted."""
    assert kind.fit is not None
    if "along_beam" in kind.fit.places:
        section.add(
            "order", "by the column along_beam", f"{kind.columns[kind.fit.places['along_beam']].header} tells it"
        )
        return
    asks = "Which row is the upstream end?"
    ends = names(kind)
    direction = {"along beam": 1.0, "against beam": -1.0}.get(work.frame.get(work.along, ""), 0.0)
    if seen.good and work.along:
        places = [geometry.place_of(seen.good[0], seen.pictures, seen.seen, n) for n in ends]
        if all(p is not None for p in places) and len(places) == 2:
            first, second = (float(p[LETTERS.index(work.along)]) for p in places if p is not None)
            where = f"sighted at {work.along} = {first * 1e3:.1f} mm and {second * 1e3:.1f} mm"
            if direction and abs(second - first) > 0.1:
                ahead = direction * (second - first) > 0.0
                section.add(
                    "order",
                    "upstream first" if ahead else "downstream first",
                    f"{ends[0]} and {ends[1]} were {where}",
                )
                return
            asks = f"{asks} {ends[0]} and {ends[1]} were {where}; the frame settles it."
    known = (
        Choice("upstream first", f"{ends[0]} is upstream"),
        Choice("downstream first", f"{ends[0]} is downstream"),
    )
    draft = work.draft
    if not work.frame and "settles" in asks:
        section.add("order", None, f"OPEN frame: {asks}")
        return
    draft.put(section, "order", Question("tables.wire_ends.order", asks, known))


def names(kind: Kind | None) -> list[str]:
    """The names in a kind of file, one a row; none where it has no such column.

    >>> names(None)
    []
    """
    if kind is None or kind.fit is None or "name" not in kind.fit.places:
        return []
    return [c.strip() for c in kind.columns[kind.fit.places["name"]].cells]


def _other_points(draft: Draft, section: Section, kind: Kind, chosen: Mapping[str, Kind | None], seen: Survey) -> None:
    known = [*names(chosen["targets"]), *names(chosen["wire_ends"])]
    assert kind.fit is not None
    if not known or "target" not in kind.fit.places:
        return
    found, slips = survey.patterns([c.strip() for c in kind.columns[kind.fit.places["target"]].cells], known)
    if found:
        section.add("other_points", found, "seen, and no target or nest has such a name: points on walls?")
    for slip in slips:
        draft.notes.append(
            f"{kind.name}: point {slip!r} looks like a slip of a target's name; it is not listed as a wall point"
        )
