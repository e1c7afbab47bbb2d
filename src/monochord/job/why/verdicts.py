"""Verdicts: the value that is judged, how good it is, its limit, and what the rule makes of the three."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.campaign.found.verdict import Verdict
from monochord.ground.trace import Line, Place, Sum, pointer
from monochord.job.why.known import Known
from monochord.report.document_verdict import key_of, ordered
from monochord.verdict.conformity import guard_factor, probability_within
from monochord.verdict.decide import RISK

#: Where the accepted risk is declared.
RISK_PLACE = Place("", 0, "verdict.decide.RISK")


def of_verdict(known: Known, keys: Sequence[str], part: str) -> Sum | None:
    """A number of a verdict; None for any other number."""
    match tuple(keys), part:
        case (("verdicts", o, magnet, quantity, which), ""):
            for found in ordered(known.result):
                if (found.occasion, found.magnet, key_of(found)) == (o, magnet, quantity):
                    return _told(known, found, keys, which)
    return None


def _told(known: Known, found: Verdict, keys: Sequence[str], which: str) -> Sum | None:
    value = known.number(*keys)
    name, unit = pointer(*keys), "rad" if found.quantity.startswith(("roll", "slope")) else "m"
    base = pointer(*keys[:-1])
    if which in ("offset", "u"):
        of = judged_number(known, found, which)
        words = "the value that is judged" if which == "offset" else "its standard uncertainty"
        line = Line(f"{words}: {found.quantity.replace('_', ' ')} of {found.magnet}", value, of)
        return Sum(name, unit, value, (line,), f"{words}; evidence: {found.evidence}") if of else None
    if which == "limit":
        return _limit(known, found, name, unit, value)
    u = Line("standard uncertainty of the value", found.u, f"{base}/u", unit=unit)
    risk = Line("accepted risk of a wrong decision", RISK, unit="1", places=(RISK_PLACE,))
    if which == "guard":
        how = f"half width of the guard band: the quantile of the normal law that leaves the risk outside, times u; {found.rule}"
        return Sum(name, unit, value, (u, risk), how, lambda a: guard_factor(a[1]) * a[0])
    if which == "probability":
        judged = Line("the value that is judged", found.value, f"{base}/offset", unit=unit)
        limit = Line("its limit on either side", found.limit, f"{base}/limit", unit=unit)
        how = "the part of a normal law about the value, as wide as u, that lies within the limit"
        return Sum(name, "1", value, (judged, u, limit), how, lambda a: probability_within(a[0], a[1], a[2]))
    return None


def judged_number(known: Known, found: Verdict, which: str) -> str:
    """Name of the number that a verdict takes over: the value, or with ``which`` "u" its uncertainty; "" for none."""
    quantity = key_of(found)
    if quantity in ("x", "y"):
        of = ("occasions", found.occasion, "line", "offsets", found.magnet)
        return pointer(*of, quantity if which == "offset" else f"u_{quantity}")
    if quantity.startswith("own_move_"):
        since = known.since_reference(found.occasion)
        if since is None:
            return ""
        component = pointer("comparisons", since[0], "own_moves", found.magnet, f"d{quantity[-1]}")
        return component if which == "offset" else f"{component}#u"
    axis = ("occasions", found.occasion, "axes", found.magnet)
    if quantity == "roll":
        return pointer(*axis, "roll" if which == "offset" else "u_roll")
    return pointer(*axis, quantity) + ("" if which == "offset" else "#u")


def _limit(known: Known, found: Verdict, name: str, unit: str, value: float) -> Sum | None:
    wanted = found.limit_by.removeprefix("tolerance of the ")
    for i, t in enumerate(known.result.campaign.tolerances):
        if t.quantity == wanted and t.limit == found.limit and (not t.magnets or found.magnet in t.magnets):
            line = Line(f"declared tolerance of the {t.quantity}", value, pointer("tolerances", i, "limit"))
            return Sum(name, unit, value, (line,), "the tightest of the limits that are declared for it")
    return None
