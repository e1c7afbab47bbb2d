"""Verdicts in the result document: occasion, magnet, quantity."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from itertools import count

from monochord.campaign.found.result import Result
from monochord.campaign.found.verdict import CANNOT_BE_DECIDED, CONFORMS, DOES_NOT_CONFORM, Verdict
from monochord.campaign.given.tolerance import EACH_AXIS, SIMPLE_ACCEPTANCE
from monochord.report.entries import NO_REASON, Part, Value, entry
from monochord.report.facts import finite, magnets_of

#: What stands before the reason where a verdict's value is not known.
NOT_KNOWN = "not known: "


def verdicts_part(result: Result) -> Part:
    """Occasion -> magnet, or the girder -> quantity -> verdict; of several limits on one quantity the one kept least is told."""
    parts: dict[str, dict[str, dict[str, object]]] = {}
    for found in ordered(result):
        quantities = parts.setdefault(found.occasion, {}).setdefault(place_of(result, found), {})
        quantities[_free(quantities, key_of(found))] = verdict_part(found)
    return parts, {} if parts else {"verdicts": why_none(result)}


def place_of(result: Result, found: Verdict) -> str:
    """The key under which a verdict's magnet, or the girder as a whole, stands."""
    return found.magnet or ("whole girder" if "girder" in magnets_of(result) else "girder")


def _free(taken: Mapping[str, object], key: str) -> str:
    """The key, or with the first number that is free: one quantity of the girder over other magnets."""
    return key if key not in taken else next(k for k in (f"{key}_{i}" for i in count(2)) if k not in taken)


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


#: The three words, the one that asks for work first.
WORDS = (DOES_NOT_CONFORM, CANNOT_BE_DECIDED, CONFORMS)


def ordered(result: Result) -> tuple[Verdict, ...]:
    """One verdict for every occasion, magnet and quantity: occasions as they happened, magnets along the beam, the girder last."""
    occasions = [o.name for o in result.occasions]
    magnets = magnets_of(result)
    least: dict[tuple[object, ...], Verdict] = {}
    for found in result.verdicts:
        place = (found.occasion, found.magnet, key_of(found), found.magnets)
        if place not in least or _kept(found) < _kept(least[place]):
            least[place] = found
    return tuple(sorted(least.values(), key=lambda v: (_place(occasions, v.occasion), _place(magnets, v.magnet))))


def _kept(found: Verdict) -> tuple[int, float, float]:
    """How well a limit is kept: the worse word, then the smaller probability, then the tighter limit comes first."""
    p = finite(found.probability)
    return WORDS.index(word_of(found)), -1.0 if p is None else p, found.limit


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
    lower, upper = found.ends
    values: dict[str, Value] = {
        "offset": finite(found.value),
        "u": finite(found.u),
        "limit": finite(found.limit),
        "lower": finite(lower),
        "upper": finite(upper),
        "guard": finite(found.guard),
        "rule": found.rule,
        "rule_name": found.rule_name,
        "form": found.form,
        "risk": None if found.rule_name == SIMPLE_ACCEPTANCE else finite(found.risk),
        "whose": None if found.rule_name == SIMPLE_ACCEPTANCE else found.whose,
        "probability": finite(found.probability),
        "verdict": word_of(found),
        "limits_by": found.limit_by,
        "evidence": found.evidence,
        "prior": found.prior,
        "posterior": finite(found.posterior),
        "consumers_risk": finite(found.consumers_risk),
        "producers_risk": finite(found.producers_risk),
        "global_consumers_risk": finite(found.global_consumers_risk),
        "global_producers_risk": finite(found.global_producers_risk),
        "dof": finite(found.dof),
    }
    if not found.magnet:
        values["magnets"] = list(found.magnets)
    return entry(values, _reasons(found, known=values["u"] is not None))


def _reasons(found: Verdict, *, known: bool) -> dict[str, str]:
    """Why something is null."""
    why = dict.fromkeys(("offset", "u", "probability"), reason_of(found))
    why |= dict.fromkeys(("consumers_risk", "producers_risk"), "it was not told" if known else reason_of(found))
    given_prior = ("posterior", "global_consumers_risk", "global_producers_risk")
    why |= dict.fromkeys(given_prior, (found.why_no_prior or NO_REASON) if known else reason_of(found))
    if found.rule_name == SIMPLE_ACCEPTANCE:
        why |= dict.fromkeys(("risk", "whose"), "simple acceptance keeps no risk")
        guard = "simple acceptance has no guard band"
    elif found.form != EACH_AXIS:
        guard = "this form is decided by its probability, not by a guard band of one width"
    else:
        guard = "the rule has no guard band that was told"
    why |= {"lower": "no lower limit is declared", "upper": "no upper limit is declared"}
    why["dof"] = "infinite: the uncertainty is taken as known" if math.isinf(found.dof) else NO_REASON
    return why | {"guard": guard if known else reason_of(found)}
