"""Closure over the fleet: the last run of every campaign's record, taken together, and a factor written where it is asked for."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from monochord.campaign.found.comparison import Closure
from monochord.campaign.found.fleet import FleetClosure, GirderClosure
from monochord.campaign.given.budget_scale import FEWEST_GIRDERS, BudgetScale
from monochord.files.budget_scale import write_budget_scale
from monochord.ground.faults import Fault, Refused
from monochord.job.run import RECORD, write_whole
from monochord.report.fleet.document import fleet_document
from monochord.report.fleet.words import scale_source, scale_why
from monochord.store.journal import document_of, runs
from monochord.verdict.fleet import fleet_closure

Part = Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Fleet:
    """The closures of the campaigns that were named.

    without  campaign -> why it tells no closure
    """

    found: FleetClosure
    without: Mapping[str, str]


def closure_of_fleet(places: Sequence[Path]) -> Fleet:
    """The closures in the records of campaigns, or of all campaigns below a folder.

    Of campaigns that read the same measured files only the first counts. Raises Refused when a place holds no record.
    """
    told: list[GirderClosure] = []
    without: dict[str, str] = {}
    met: dict[frozenset[str], str] = {}
    for record in _records(places):
        name = str(record.parent)
        kept = runs(record)
        if not kept:
            without[name] = "its record holds no run"
            continue
        document = json.loads(document_of(record, kept[-1].number))
        measured = _measured(document)
        if measured and measured in met:
            without[name] = f"it read the same measured files as {met[measured]}, which counts"
            continue
        met[measured] = name
        one = _girder(name, kept[0].made_at, document)
        if one is None:
            without[name] = _why_none(document)
        else:
            told.append(one)
    return Fleet(fleet_closure(told), without)


def _measured(document: Part) -> frozenset[str]:
    """Checksums of the measured files that a run read; a campaign's own files lie in no folder."""
    return frozenset(str(i.get("sha256")) for i in _list(document, "inputs") if "/" in str(i.get("path")))


def _records(places: Iterable[Path]) -> list[Path]:
    found: list[Path] = []
    for place in places:
        here = [place / RECORD] if (place / RECORD).is_file() else sorted(place.rglob(RECORD))
        if not here:
            remedy = "run its campaigns first, or name another folder"
            raise Refused([Fault(f"no {RECORD}", "a campaign that was run, or a folder of such", remedy, str(place))])
        found += here
    return list(dict.fromkeys(path.resolve() for path in found))


def _girder(name: str, since: str, document: Part) -> GirderClosure | None:
    """The closure of one girder: of the last comparison that has one, since the reference before others."""
    comparisons = [c for c in _list(document, "comparisons") if _closes(c)]
    if not comparisons:
        return None
    first = _list(document, "comparisons")[0].get("from")
    chosen = ([c for c in comparisons if c.get("from") == first] or comparisons)[-1]
    closure, girder, run = _part(chosen, "closure"), _part(document, "girder"), _part(document, "run")
    offsets = {
        magnet: tuple(_number(numbers, key) for key in ("x", "y", "u_x", "u_y"))
        for magnet, numbers in _part(closure, "offsets").items()
        if isinstance(numbers, dict)
    }
    return GirderClosure(
        campaign=name,
        girder=str(girder.get("name", "")),
        type_name=str(girder.get("type", "")),
        since=since,
        run=str(run.get("id", "")),
        start=str(chosen.get("from", "")),
        end=str(chosen.get("to", "")),
        closure=Closure(
            {m: (v[0], v[1], v[2], v[3]) for m, v in offsets.items()},
            _number(closure, "chi_square"),
            int(_number(closure, "dof")),
            _number(closure, "probability"),
            bool(closure.get("ok")),
            str(closure.get("words", "")),
        ),
    )


def _closes(comparison: Part) -> bool:
    closure = _part(comparison, "closure")
    numbers = [_number(closure, key) for key in ("chi_square", "dof", "probability")]
    return all(math.isfinite(v) for v in numbers) and numbers[1] >= 1


def _why_none(document: Part) -> str:
    """The document's own reason for having no closure."""
    comparisons = _list(document, "comparisons")
    reasons = [str(why) for c in comparisons if (why := _part(c, "reasons").get("closure"))]
    if reasons:
        return reasons[-1]
    return str(_part(document, "reasons").get("comparisons", "its document tells no closure of wire and survey"))


def _part(part: Part, name: str) -> Part:
    found = part.get(name)
    return found if isinstance(found, dict) else {}


def _list(part: Part, name: str) -> list[Part]:
    found = part.get(name)
    return [item for item in found if isinstance(item, dict)] if isinstance(found, list) else []


def _number(part: Part, name: str) -> float:
    value = part.get(name)
    return float(value) if isinstance(value, (int, float)) else math.nan


def proposed(found: FleetClosure) -> BudgetScale:
    """The factor that the closure of a fleet proposes; Refused with the reason when it proposes none."""
    if found.factor is None:
        if len(found.girders) < FEWEST_GIRDERS:
            given, expected = f"the closure of {len(found.girders)} girders", f"{FEWEST_GIRDERS} girders or more"
            remedy = "wait for more girders: a factor from so few would be chance"
        else:
            given = f"a pooled closure with probability {found.probability:.2g}"
            expected = f"a probability below {found.risk:g}"
            remedy = "leave the budget as it is: it fits, or is larger than the differences, and is never shrunk"
        raise Refused([Fault(given, expected, remedy)])
    return BudgetScale(round(found.factor, 2), len(found.girders), scale_source(found), scale_why(found))


def scale_into_campaign(campaign: Path, found: FleetClosure) -> BudgetScale:
    """Write the proposed factor into a campaign's file, so that its next run enlarges what decides and says so."""
    scale = proposed(found)
    write_budget_scale(campaign, scale)
    return scale


def write_fleet(fleet: Fleet, *, page: Path | None = None, json_out: Path | None = None) -> None:
    """Write the page for people and the document for programs, where they are wanted."""
    if json_out is not None:
        write_whole(json_out, json.dumps(fleet_document(fleet.found, fleet.without), indent=1, allow_nan=False) + "\n")
    if page is not None:
        from monochord.report.fleet.page import fleet_page  # templates load only when wanted

        write_whole(page, fleet_page(fleet.found, fleet.without))
