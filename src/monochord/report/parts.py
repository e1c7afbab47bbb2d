"""The parts of a girder's pages: the same chapters as the report, one subject a page, each with its sentence first."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from monochord.campaign.found.result import Result
from monochord.report.chapter import Chapter
from monochord.report.decisions import comparison_chapter, plan_chapter, verdict_chapter
from monochord.report.limits import limits_chapter
from monochord.report.page import template
from monochord.report.sections import line_chapter, origin_chapter, state_chapter, survey_chapter, wire_chapter


@dataclass(frozen=True, slots=True)
class Part:
    """One page of a girder: its name in addresses, its title, and what it holds."""

    ident: str
    title: str
    build: tuple[Callable[[Result], Chapter], ...]


#: In the order of the job: what was decided first, then how it was found.
PARTS = (
    Part("line", "Line of magnets", (line_chapter,)),
    Part("verdict", "Verdict", (verdict_chapter, limits_chapter)),
    Part("shape", "Shape and bolts", (comparison_chapter, plan_chapter)),
    Part("wire", "Wire", (wire_chapter,)),
    Part("survey", "Survey", (survey_chapter,)),
    Part("state", "State and ride", (state_chapter,)),
    Part("origin", "Origin", (origin_chapter,)),
)


def part_html(result: Result, part: Part) -> str:
    """One part as HTML without head and body, to be set into a page."""
    return template("part.html").render(chapters=[build(result) for build in part.build])
