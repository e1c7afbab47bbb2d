"""What the doors ask of the fleet: answers, one for each question, and all of them for a page."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from sqlalchemy import Connection

from monochord.campaign.found.charts import Chart, Trend
from monochord.ground.faults import Fault, Refused
from monochord.job.record.questions import LAST, charts, margins, stays
from monochord.job.record.states import instruments, states
from monochord.job.run import write_whole
from monochord.report.fleet.answer import Answer, answer_document, answer_lines, answers_page
from monochord.report.fleet.charting import charts_answer, outliers_answer, trends_answer
from monochord.report.fleet.quantities import CHARTED
from monochord.report.fleet.standing import margins_answer, states_answer, stays_answer
from monochord.store import asking
from monochord.store.making import open_record
from monochord.verdict.control import significant

#: The risk of calling any of all charts' slopes a trend that is none.
RISK = 0.05


@dataclass(frozen=True, slots=True)
class Asked:
    """What a question is narrowed to: one girder, quantity, or magnets; how many rows; how many values of a chart."""

    girder: str = ""
    quantity: str = ""
    magnets: tuple[str, ...] = ()
    most: int = 50
    last: int = LAST
    today: date = date.max


def state(connection: Connection, asked: Asked) -> Answer:
    """Where every girder stands, and what it waits for."""
    found = [s for s in states(connection) if asked.girder in {"", s.girder}]
    return states_answer(found, instruments(connection, asked.today), asked.most)


def margin(connection: Connection, asked: Asked) -> Answer:
    """The smallest margins to tolerance."""
    found = margins(connection, girder=asked.girder, quantity=asked.quantity, most=asked.most)
    narrowed = asked.girder or asked.quantity
    return margins_answer(found, len(found) if narrowed else asking.count_margins(connection))


def chart(connection: Connection, asked: Asked) -> Answer:
    """Control charts."""
    return charts_answer(_charts(connection, asked))


def outliers(connection: Connection, asked: Asked) -> Answer:
    """Values that stand out."""
    return outliers_answer(_charts(connection, asked))


def trends(connection: Connection, asked: Asked) -> Answer:
    """Slopes in time."""
    return trends_answer(_trends(_charts(connection, asked)), RISK)


def _trends(found: tuple[Chart, ...]) -> list[tuple[Chart, Trend, bool]]:
    sloped = sorted(((c, c.trend) for c in found if c.trend is not None), key=lambda t: t[1].probability)
    called = significant([t.probability for _, t in sloped], RISK)
    return [(c, t, yes) for (c, t), yes in zip(sloped, called, strict=True)]


def magnets(connection: Connection, asked: Asked) -> Answer:
    """Where magnets were."""
    about = (
        f" that was on {asked.girder}" if asked.girder else f" of {', '.join(asked.magnets)}" if asked.magnets else ""
    )
    return stays_answer(stays(connection, serials=asked.magnets, girder=asked.girder), about)


def _charts(connection: Connection, asked: Asked) -> tuple[Chart, ...]:
    found = charts(connection, quantity=asked.quantity, girder=asked.girder, last=asked.last)
    if not found and asked.quantity and asked.quantity not in CHARTED:
        expected = f"one of {', '.join(CHARTED)}"
        raise Refused([Fault(f"the quantity {asked.quantity!r}", expected, "ask for one of these")])
    return found


QUESTIONS: dict[str, Callable[[Connection, Asked], Answer]] = {
    "state": state,
    "margins": margin,
    "charts": chart,
    "outliers": outliers,
    "trends": trends,
    "magnets": magnets,
}
#: The questions of the page, in its order.
PAGE = ("state", "margins", "outliers", "trends", "charts", "magnets")


def answered(address: str, question: str, asked: Asked, page: Path | None, json_out: Path | None) -> Iterator[str]:
    """The lines of one answer; it is written as a page and as numbers where that is wanted."""
    with open_record(address).reading() as connection:
        answer = QUESTIONS[question](connection, asked)
    yield from answer_lines(answer)
    if page is not None:
        write_whole(page, answers_page([answer]))
        yield f"Page: {page}"
    if json_out is not None:
        write_whole(json_out, answer_document(answer))
        yield f"Numbers: {json_out}"


def paged(address: str, asked: Asked, page: Path) -> Iterator[str]:
    """All answers on one page, of one state of the record."""
    with open_record(address).reading() as connection:
        answers = [QUESTIONS[name](connection, asked) for name in PAGE]
    write_whole(page, answers_page(answers))
    yield from (answer.sentence for answer in answers)
    yield f"Page: {page}"
