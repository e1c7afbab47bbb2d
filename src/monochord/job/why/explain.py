"""Ask of any number of a result why it is what it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from monochord.campaign.found.result import Result
from monochord.files.words import did_you_mean
from monochord.ground.faults import Fault, Refused
from monochord.ground.trace import Sum
from monochord.job.why.beside import beside
from monochord.job.why.budgets import of_budget
from monochord.job.why.components import uncertainty
from monochord.job.why.excluded import of_excluded
from monochord.job.why.given import of_given
from monochord.job.why.intervals import of_interval
from monochord.job.why.known import Known, Teller, rooms_of
from monochord.job.why.lines import of_line
from monochord.job.why.names import number_at, numbers, split
from monochord.job.why.ride import of_ride, of_weight
from monochord.job.why.shifts import of_shift
from monochord.job.why.verdicts import of_tolerance, of_verdict
from monochord.report.document import result_document

#: The job's own tellers; what none of them knows is asked of the rooms.
TELLERS: tuple[Teller, ...] = (
    of_line,
    of_verdict,
    of_tolerance,
    of_given,
    of_excluded,
    of_shift,
    of_budget,
    of_interval,
    of_ride,
    of_weight,
    beside,
    uncertainty,
)


#: With so many names a name that nobody knows is compared.
MOST_ALIKE = 400


@dataclass(frozen=True, eq=False, slots=True)
class Explainer:
    """Answers for one result; every answer is kept, for many numbers rest on the same ones."""

    known: Known
    told: dict[str, Sum] = field(default_factory=dict)

    def __call__(self, name: str) -> Sum:
        """The sum behind a name; Refused with near misses when nobody knows it."""
        if name not in self.told:
            self.told[name] = self._ask(name)
        return self.told[name]

    def _ask(self, name: str) -> Sum:
        keys, part = split(name, self.known.document)
        for teller in TELLERS:
            if (found := teller(self.known, keys, part)) is not None:
                return found
        return self._ask_rooms(name, keys, part)

    def _ask_rooms(self, name: str, keys: Sequence[str], part: str) -> Sum:
        refusal: Refused | None = None
        for room in self.known.rooms:
            relative = name.removeprefix(room.prefix + "/")
            head = relative.split("/")[0].split("#")[0]
            if relative == name or room.unfold is None or (room.heads and head in _HEADS and head not in room.heads):
                continue
            try:
                return room.unfold(relative).under(room.prefix)
            except Refused as error:
                refusal = error
        if not part and number_at(self.known.document, keys) is not None:
            told = f"; asked of its room: {refusal.faults[0].given}" if refusal else ""
            raise Refused(
                [Fault(f"{name}{told}", "a number that is told", "it is known, but how it came about is not told yet")]
            )
        raise Refused([unknown(name, self.known)])


#: First keys of an occasion's part that one room answers for alone.
_HEADS = ("axes", "wire", "targets", "stations", "survey", "rejected")


def unknown(name: str, known: Known) -> Fault:
    """The fault of a name that is no number's, with those that look like it."""
    keys = split(name)[0]
    ways = [(found, split(found)[0]) for found, _ in numbers(known.document)]
    # of those that go along the farthest: to compare with all of them takes half a second
    along = max((_along(way, keys) for _, way in ways), default=0)
    alike = [found for found, way in ways if _along(way, keys) == along]
    hint = did_you_mean(name, alike[:MOST_ALIKE])
    return Fault(f"name {name!r}", "the name of a number of the result document", f"{hint}ask by a known name")


def _along(way: Sequence[str], keys: Sequence[str]) -> int:
    """How many keys two ways have in common from their beginning."""
    return next((i for i, (a, b) in enumerate(zip(way, keys, strict=False)) if a != b), min(len(way), len(keys)))


@lru_cache(maxsize=4)
def explainer(result: Result) -> Explainer:
    """The explainer of a result."""
    return Explainer(Known(result, result_document(result), rooms_of(result)))


def explain(result: Result, name: str) -> Sum:
    """Why a number is what it is.

    name   a JSON Pointer into the result document, or a name met in another answer;  gives the sum (or formula) that makes
    the number from others, each with its own name, or from rows of files and settings. Raises Refused when nobody knows.
    """
    return explainer(result)(name)
