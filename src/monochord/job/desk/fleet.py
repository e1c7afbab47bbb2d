"""The fleet's pages: the questions to the record, each answered when it is asked."""

from __future__ import annotations

from dataclasses import dataclass, replace

from monochord.ground.faults import Fault, Refused
from monochord.job.context import Context
from monochord.job.desk.place import Desk
from monochord.job.record.fleet_door import QUESTIONS, Asked
from monochord.report.fleet.answer import answer_document, answer_html
from monochord.store.making import open_record

#: Question -> its title on a page, in the order of the pages.
TITLES = {
    "state": "States",
    "margins": "Margins",
    "outliers": "What stands out",
    "trends": "Trends",
    "charts": "Charts",
    "magnets": "Magnets",
}


@dataclass(frozen=True, slots=True)
class Answered:
    """An answer: its sentence, what a page shows below it, and its numbers as JSON."""

    sentence: str
    html: str
    document: str


def answered(desk: Desk, question: str, girder: str, quantity: str, context: Context) -> Answered:
    """Ask the record of a desk; Refused when it has none, or when there is no such question."""
    if not desk.record:
        remedy = "name one when the pages are opened: monochord serve FOLDER --at ring.sqlite"
        raise Refused([Fault("no record", "the record of a fleet", remedy)])
    if question not in QUESTIONS:
        raise Refused([Fault(f"the question {question!r}", f"one of {', '.join(QUESTIONS)}", "choose one of these")])
    asked = replace(Asked(girder=girder, quantity=quantity), today=context.now().date())
    with open_record(desk.record).reading() as connection:
        answer = QUESTIONS[question](connection, asked)
    return Answered(answer.sentence, answer_html(answer), answer_document(answer))
