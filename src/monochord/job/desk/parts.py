"""The pages of a run, written once when it ends, so that looking at them computes nothing."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

from monochord.campaign.found.result import Result
from monochord.job.run import FOUND, write_whole
from monochord.report.facts import with_points
from monochord.report.page import headline_and_rest, sentences
from monochord.report.parts import PARTS, part_html
from monochord.report.space import space_of

#: Folder of the pages inside ``found``, and the file that lists them; written last, so that it never lists what is not there.
PAGES, INDEX = "pages", "index.json"


def write_parts(folder: Path, result: Result) -> None:
    """Write every part of a run's pages into its campaign's folder."""
    place = folder / FOUND / PAGES
    for part in PARTS:
        write_whole(place / f"{part.ident}.html", part_html(result, part))
    spaces = {o.name: space for o, points in with_points(result) if (space := space_of(o.name, points))}
    for name, space in spaces.items():
        write_whole(place / space_file(name), json.dumps(space, ensure_ascii=False, allow_nan=False))
    headline, rest = headline_and_rest(result.sentence)
    last = result.verdicts[-1].occasion if result.verdicts else None
    told = {
        "girder": result.campaign.girder.name,
        "type": result.campaign.girder.type_name,
        "run": result.origin.run,
        "made_at": result.origin.made_at,
        "made_by": result.origin.made_by,
        "headline": headline,
        "sentences": sentences(rest),
        "occasions": [o.name for o in result.occasions],
        "last": last,
        "verdicts": Counter(v.verdict for v in result.verdicts if v.occasion == last),
        "spaces": {
            name: {
                "factor": space["factor"],
                "targets": len(_list(space, "targets")),
                "stations": len(_list(space, "stations")),
            }
            for name, space in spaces.items()
        },
        "parts": [{"ident": part.ident, "title": part.title} for part in PARTS],
    }
    write_whole(place / INDEX, json.dumps(told, indent=1, ensure_ascii=False) + "\n")


def space_file(occasion: str) -> str:
    """Name of the file that holds an occasion's survey in space; names of occasions are any text, names of files are not."""
    return f"space-{hashlib.sha256(occasion.encode('utf-8')).hexdigest()[:16]}.json"


def _list(part: Mapping[str, object], key: str) -> list[object]:
    found = part[key]
    return found if isinstance(found, list) else []
