"""The pages of a run, written once when it ends, so that looking at them computes nothing."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

from monochord.campaign.found.result import Result
from monochord.job.run import FOUND, write_whole
from monochord.report.page import headline_and_rest, sentences
from monochord.report.parts import PARTS, part_html

#: Folder of the pages inside ``found``, and the file that lists them; written last, so that it never lists what is not there.
PAGES, INDEX = "pages", "index.json"


def write_parts(folder: Path, result: Result) -> None:
    """Write every part of a run's pages into its campaign's folder."""
    place = folder / FOUND / PAGES
    for part in PARTS:
        write_whole(place / f"{part.ident}.html", part_html(result, part))
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
        "parts": [{"ident": part.ident, "title": part.title} for part in PARTS],
    }
    write_whole(place / INDEX, json.dumps(told, indent=1, ensure_ascii=False) + "\n")
