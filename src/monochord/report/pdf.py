"""The report on paper: sentence, verdict, changes, plan, pictures, tables and origin as one PDF in A4.

Page and PDF are made of the same chapters, so they say the same. Text stays text, numbers in tables can be
selected and searched, and the same result gives the same bytes.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from functools import cache

from monochord.campaign.found.result import Result
from monochord.report.cautions import ADVICE
from monochord.report.chapter import Box, Chapter, Section
from monochord.report.page import TEMPLATES, headline_and_rest, unbroken
from monochord.report.sections import CHAPTERS
from monochord.report.svg import Picture
from monochord.report.tables.table import Cell, Table
from monochord.report.words import listed

#: The one typeface of the drawings that comes with the typesetter, so that no machine's own fonts are needed.
FONT = "Libertinus Serif"
LARGER = 1.08

#: Said where the page shows more than the paper.
MORE = "More stands on the page of this result: {what}."
PICTURES = "scans and resonances with their fits"


def pdf(result: Result) -> bytes:
    """The whole result as a PDF.

    Scans and resonances with their fits stand on the page only: they are many, and their numbers are in the tables. The
    date in the file is that of the run, so the same result gives the same bytes. The typesetter is loaded only here.
    """
    import typst  # here: a run without a PDF need not load it

    report = json.dumps(report_of(result), ensure_ascii=False)
    template = (TEMPLATES / "report.typ").read_bytes()
    return typst.compile(template, format="pdf", ignore_system_fonts=True, sys_inputs={"report": report})


def report_of(result: Result) -> dict[str, object]:
    """Everything that the template sets, as plain data; drawings are markup."""
    headline, rest = headline_and_rest(result.sentence)
    girder, origin = result.campaign.girder, result.origin
    return {
        "headline": unbroken(headline),
        "rest": unbroken(rest),
        "girder": girder.name,
        "facts": [
            ["Girder", girder.name],
            ["Type", girder.type_name],
            ["Occasions", ", ".join(o.name for o in result.occasions)],
            ["Evaluated", f"{origin.made_at}, run {origin.run}"],
        ],
        "advice": ADVICE,
        "date": date_of(origin.made_at),
        "chapters": [_chapter(build(result)) for build in CHAPTERS],
    }


def date_of(made_at: str) -> list[int] | None:
    """Year, month, day, hour, minute, second of an ISO 8601 time, or None.

    >>> date_of("2026-07-14T09:30:05Z"), date_of("once")
    ([2026, 7, 14, 9, 30, 5], None)
    """
    found = re.match(r"(\d{4})-(\d\d)-(\d\d)[T ](\d\d):(\d\d):(\d\d)", made_at)
    return [int(part) for part in found.groups()] if found else None


def _chapter(chapter: Chapter) -> dict[str, object]:
    """A chapter without its small pictures and long tables, and with a word about what the page has more."""
    sections = [_section(part) for part in chapter.sections if not _only_on_page(part)]
    more = [PICTURES] if any(part.small for part in chapter.sections) else []
    more += [part.title.lower() for part in chapter.sections if part.page_only or any(t.long for t in part.tables)]
    lead = f"{chapter.lead} {MORE.format(what=listed(more))}" if more else chapter.lead
    return {"title": chapter.title, "lead": unbroken(lead), "sections": sections}


def _only_on_page(part: Section) -> bool:
    return (
        part.small
        or part.page_only
        or (bool(part.tables) and all(table.long for table in part.tables) and not part.pictures)
    )


def _section(part: Section) -> dict[str, object]:
    nothing = not (part.pictures or part.tables or part.words or part.boxes)
    return {
        "title": part.title,
        "empty": part.empty if nothing else "",
        "words": [unbroken(words) for words in part.words],
        "boxes": [_box(box) for box in part.boxes],
        "pictures": [_picture(picture) for picture in part.pictures],
        "tables": [_table(table) for table in part.tables if not table.long],
    }


def _box(box: Box) -> dict[str, object]:
    lines = [unbroken(line) for line in box.lines]
    return {"title": box.title, "lines": lines, "tone": box.tone, "numbered": box.numbered}


def _picture(picture: Picture) -> dict[str, object]:
    words = f"{picture.title}. {picture.description}"
    return {"drawing": standing_alone(picture), "words": words, "caption": unbroken(picture.caption)}


def standing_alone(picture: Picture) -> str:
    """The drawing as a file of its own: with its name space, and with the looks that a page gives it."""
    opened = picture.markup.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return opened.replace("</title>", f"</title><style>{_looks()}</style>", 1)


@cache
def _looks() -> str:
    """The rules of the drawings in the typesetter's own typeface: it is narrower, so letters may be larger."""
    rules = (TEMPLATES / "figures.css").read_text(encoding="utf-8")
    rules = re.sub(r"font-family:[^;]*;", f'font-family: "{FONT}";', rules)
    rules = re.sub(r"font-weight: \d+", "font-weight: 700", rules)
    return re.sub(r"font-size: ([\d.]+)px", lambda size: f"font-size: {LARGER * float(size[1]):.4g}px", rules)


def _table(table: Table) -> dict[str, object]:
    first: Sequence[Cell] = table.rows[0] if table.rows else ()
    return {
        "caption": table.caption,
        "columns": list(table.columns) if table.rows else [],
        "right": [cell.style == "number" for cell in first],
        "rows": [[_cell(cell) for cell in row] for row in table.rows],
        "note": unbroken(table.note),
        "empty": table.empty,
    }


def _cell(cell: Cell) -> dict[str, object]:
    return {"text": cell.text, "word": cell.word, "strong": "strong" in cell.style, "digest": cell.style == "digest"}
