"""A chain as one page: the sentence, and every number as a line that opens to the lines that make it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from monochord.ground.trace import Line, Sum, root_of_sum
from monochord.report.page import headline_and_rest, style, unbroken
from monochord.report.why.chain import Chain
from monochord.report.why.numbers import argument, factored, rooted, shown, variances
from monochord.report.why.text import row_text

if TYPE_CHECKING:
    from jinja2 import Template

TEMPLATES = Path(__file__).parents[1] / "templates"


@dataclass(frozen=True, slots=True)
class Shut:
    """One line of the page: the amount, its words, rows; and what opens below it, or a link to where that stands."""

    amount: str
    words: str
    times: str = ""
    rows: tuple[str, ...] = ()
    name: str = ""
    ident: str = ""
    link: str = ""
    opened: Opened | None = None


@dataclass(frozen=True, slots=True)
class Opened:
    """One sum: what was done, its lines, and the number they make."""

    name: str
    how: str
    value: str
    exact: str
    lines: tuple[Shut, ...] = field(default=())


def why_page(chain: Chain, sentence: str) -> str:
    """The chain as one self-contained HTML page without scripts; a sum met twice stands once and is linked to."""
    headline, rest = headline_and_rest(sentence)
    idents: dict[str, str] = {}
    asked = [_shut_root(chain, root, idents) for root in chain.roots if root in chain.sums]
    met = len(chain.sums)
    waiting = len({line.of for made in chain.sums.values() for line in made.lines if line.of} - set(chain.sums))
    page = _template().render(
        headline=unbroken(headline),
        rest=unbroken(rest),
        chain=chain,
        asked=asked,
        style=style(),
        met=met,
        waiting=waiting,
    )
    return page + "\n"


def _shut_root(chain: Chain, name: str, idents: dict[str, str]) -> Shut:
    made = chain.sums[name]
    kept = shown(made, chain.printed.get(name, ""))
    amount = f"{kept.value(made.value)}{f' {kept.unit}' if kept.unit else ''}"
    return _resting(chain, Shut(amount, name), name, idents)


def _opened(chain: Chain, name: str, idents: dict[str, str]) -> Opened:
    made = chain.sums[name]
    kept = shown(made, chain.printed.get(name, ""))
    unit = f" {kept.unit}" if kept.unit else ""
    amounts = _amounts(chain, made)
    lines = tuple(_shut(chain, made, line, a, idents) for line, a in zip(made.lines, amounts, strict=True))
    exact = f"{made.value!r} {made.unit}".strip()
    return Opened(name, unbroken(made.how), f"{kept.value(made.value)}{unit}", exact, lines)


def _amounts(chain: Chain, made: Sum) -> list[str]:
    if made.formula is root_of_sum:
        return variances(made)
    if made.formula is not None:
        return [argument(line) for line in made.lines]
    kept = shown(made, chain.printed.get(made.name, ""))
    return [f"{kept.line(line.amount)}{f' {kept.unit}' if kept.unit else ''}" for line in made.lines]


def _shut(chain: Chain, made: Sum, line: Line, amount: str, idents: dict[str, str]) -> Shut:
    rows = tuple(row_text(row) for place in line.places for row in chain.rows.get(place, ()))
    return _resting(chain, Shut(amount, line.words, rooted(line, made) or factored(line), rows), line.of, idents)


def _resting(chain: Chain, line: Shut, name: str, idents: dict[str, str]) -> Shut:
    """The line with what it rests on: opened where it is met first, linked to where it is met again."""
    given = (line.amount, line.words, line.times, line.rows)
    if not name or name not in chain.sums:
        return Shut(*given, name=name)
    if name in idents:
        return Shut(*given, name=name, link=idents[name])
    idents[name] = f"s{len(idents) + 1}"
    return Shut(*given, name=name, ident=idents[name], opened=_opened(chain, name, idents))


def opened_all(lines: tuple[Shut, ...]) -> Iterator[Opened]:
    """Every sum that stands on the page under some lines."""
    for line in lines:
        if line.opened is not None:
            yield line.opened
            yield from opened_all(line.opened.lines)


@cache
def _template() -> Template:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined  # here: the command line needs none of it

    room = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return room.get_template("why.html")
