"""Verdicts in the result document: occasion, magnet, quantity."""

from __future__ import annotations

from collections.abc import Iterable

from monochord.campaign.found.result import Result
from monochord.campaign.found.verdict import CANNOT_BE_DECIDED, Verdict
from monochord.report.entries import Part, Value, entry
from monochord.report.facts import finite, magnets_of

#: What stands before the reason where a verdict's value is not known.
NOT_KNOWN = "not known: "


def verdicts_part(result: Result) -> Part:
    """Occasion -> magnet -> quantity -> verdict; of several limits on one quantity the tightest is told."""
    parts: dict[str, dict[str, dict[str, object]]] = {}
    for found in ordered(result):
        magnets = parts.setdefault(found.occasion, {})
        magnets.setdefault(found.magnet, {})[key_of(found)] = verdict_part(found)
    return parts, {} if parts else {"verdicts": why_none(result)}


def why_none(result: Result) -> str:
    """Why a result has no verdict."""
    declared = "no occasion gave a value that a limit is declared for"
    return declared if result.campaign.tolerances else "no tolerance is declared"


def key_of(found: Verdict) -> str:
    """The quantity as a key.

    >>> key_of(Verdict("o", "Q1", "own move x", 0.0, 1.0, 2.0, "", 0.95, "conforms", "", ""))
    'own_move_x'
    """
    return found.quantity.replace(" ", "_")


def ordered(result: Result) -> tuple[Verdict, ...]:
    """One verdict for every occasion, magnet and quantity: occasions as they happened, magnets along the beam."""
    occasions = [o.name for o in result.occasions]
    magnets = magnets_of(result)
    tightest: dict[tuple[str, str, str], Verdict] = {}
    for found in result.verdicts:
        place = (found.occasion, found.magnet, key_of(found))
        if place not in tightest or found.limit < tightest[place].limit:
            tightest[place] = found
    return tuple(sorted(tightest.values(), key=lambda v: (_place(occasions, v.occasion), _place(magnets, v.magnet))))


def _place(names: Iterable[str], name: str) -> int:
    known = list(names)
    return known.index(name) if name in known else len(known)


def word_of(found: Verdict) -> str:
    """The verdict; without a value and its uncertainty nothing can be decided, whatever was said."""
    return found.verdict if finite(found.value) is not None and finite(found.u) is not None else CANNOT_BE_DECIDED


def reason_of(found: Verdict) -> str:
    """Why the value of a verdict is not known."""
    return found.evidence.removeprefix(NOT_KNOWN) or "no value was found"


def verdict_part(found: Verdict) -> dict[str, object]:
    """One verdict."""
    values: dict[str, Value] = {
        "offset": finite(found.value),
        "u": finite(found.u),
        "limit": finite(found.limit),
        "guard": finite(found.guard),
        "rule": found.rule,
        "probability": finite(found.probability),
        "verdict": word_of(found),
        "limits_by": found.limit_by,
        "evidence": found.evidence,
    }
    why = dict.fromkeys(("offset", "u", "probability"), reason_of(found))
    known = "the rule has no guard band that was told"
    return entry(values, why | {"guard": known if values["u"] is not None else reason_of(found)})
