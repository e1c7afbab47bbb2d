"""One page for people: self-contained HTML without scripts and without links to the outside."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from monochord.campaign.found.result import Result
from monochord.report.sections import CHAPTERS
from monochord.report.words import pretty

if TYPE_CHECKING:
    from jinja2 import Template

TEMPLATES = Path(__file__).with_name("templates")


def page(result: Result) -> str:
    """The whole result as one HTML page: the sentence, pictures, tables, origin.

    The same result gives the same bytes. Every number of a table carries its exact SI value in the ``value``
    of its ``data`` element.
    """
    headline, rest = headline_and_rest(result.sentence)
    return template("page.html").render(
        headline=unbroken(headline),
        rest=unbroken(rest),
        girder=result.campaign.girder,
        occasions=[o.name for o in result.occasions],
        origin=result.origin,
        chapters=[build(result) for build in CHAPTERS],
        style=style(),
    )


def headline_and_rest(sentence: str) -> tuple[str, str]:
    """The first sentence, and what follows it.

    >>> headline_and_rest("All lie within 8.5 um. S2 moved.")
    ('All lie within 8.5 um.', 'S2 moved.')
    """
    first, *rest = re.split(r"(?<=[.!?])\s+(?=[^\W\d_])", sentence.strip(), maxsplit=1)
    return first, rest[0] if rest else ""


def sentences(text: str) -> list[str]:
    """A text cut after every sentence.

    >>> sentences("S2 moved 1.5 um. Bolts can cure 7 %. 1-mounted: 5 axes.")
    ['S2 moved 1.5 um.', 'Bolts can cure 7 %.', '1-mounted: 5 axes.']
    """
    return [part for part in re.split(r"(?<=[.!?])\s+(?=\w)", text.strip()) if part]


def unbroken(text: str) -> str:
    r"""The text with numbers tied to their signs and units, so that no line ends between them.

    >>> unbroken("S2 moved 13 ± 2 µm up") == "S2 moved 13\u00a0±\u00a02\u00a0µm up"
    True
    """
    return re.sub(r"(?<=[\d±]) (?=±|[µmn]?m\b|[µm]?rad\b|\d|%)", "\N{NO-BREAK SPACE}", pretty(text))


@cache
def style() -> str:
    """All rules of looks, to be inlined: the page's and the drawings'."""
    return "\n".join((TEMPLATES / name).read_text(encoding="utf-8").strip() for name in ("page.css", "figures.css"))


@cache
def template(name: str) -> Template:
    """A template of this folder, with the filter that keeps numbers and units on one line."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined  # here: a run without a page need not load it

    loader = FileSystemLoader(TEMPLATES)
    room = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    room.filters["unbroken"] = unbroken
    return room.get_template(name)
