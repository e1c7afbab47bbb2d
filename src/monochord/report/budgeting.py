"""Budgets in words: what limits a number, what would help, and what would have to be wrong to turn its verdict."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from monochord.campaign.found.budget import Budget, Flip, Relief, Share
from monochord.campaign.found.result import Result
from monochord.ground.estimate import kind_of
from monochord.report.facts import finite
from monochord.report.judged import QUANTITIES
from monochord.report.words import listed, number, percent, with_uncertainty

#: A measure that gains less than this part of u is not told.
WORTH = 0.01
#: A measure that gains less than this does not help much.
MUCH = 0.05
#: Causes whose part of the variance is below this are told together.
SMALL = 0.001
#: How many kinds, measures and flips a list of words tells.
MOST = 3
#: An error of more than so many standard uncertainties is not told beside the smallest: nobody makes it.
ABSURD = 100.0
#: Unit of a cause's own variable -> what it is printed in, and the factor.
PRINTED = {"m": ("µm", 1e6), "rad": ("µrad", 1e6), "1": ("µm/m", 1e6), "rad/s": ("rad/s", 1.0)}


def unit_of(made: Budget) -> str:
    """What the quantity is printed in, with the factor 1e6: µm, or µrad."""
    return "µrad" if made.unit == "rad" else "µm"


def quantity_of(made: Budget) -> str:
    """The quantity as people say it."""
    return QUANTITIES.get(made.quantity, (made.quantity or made.name, ""))[0]


def printed(u: float, made: Budget, *, unit: bool = True) -> str:
    """A standard uncertainty with two significant digits, in the quantity's unit of the print."""
    shown = number(1e6 * u, _decimals(1e6 * u))
    return f"{shown} {unit_of(made)}" if unit else shown


def _decimals(value: float) -> int:
    return 0 if value >= 9.95 else 1 if value >= 0.995 else 2 if value >= 0.0995 else 3


def helpful(made: Budget, most: int = MOST) -> list[Relief]:
    """The strongest measures that are worth telling."""
    return [r for r in made.reliefs if r.gain >= WORTH][:most]


def nearest_flip(made: Budget) -> Flip | None:
    """The flip that takes the smallest error."""
    return made.flips[0] if made.flips else None


def own_flip(made: Budget) -> Flip | None:
    """The smallest flip that can be told in the cause's own unit."""
    return next((f for f in made.flips if f.size is not None), None)


def sentence_of(made: Budget) -> str:
    """One budget in one sentence: its largest share, and what would help most.

    >>> from monochord.campaign.found.budget import Share
    >>> shares = (Share("stringing", 0.7e-6, 0.61), Share("fit", 0.56e-6, 0.39))
    >>> relief = Relief("stringing", "a second stringing", 0.7e-6, 0.22, "predicted")
    >>> sentence_of(Budget("Quad2.y", 1e-6, 0.9e-6, shares, (relief,), (), "m", None, "bench", "Quad2", "y"))
    'stringing brings 61 % of the variance of Quad2 y, height (u 0.90 µm); a second stringing would bring u from 0.90 to 0.70 µm'
    """
    if not made.shares:
        return f"{made.magnet} {quantity_of(made)} has no uncertainty that a cause is known for"
    first = made.shares[0]
    words = (
        f"{first.kind} brings {number(100.0 * first.part, 0)} % of the variance of {made.magnet} {quantity_of(made)} "
    )
    words += f"(u {printed(made.u, made)})"
    best = helpful(made, 1)
    if not best or best[0].gain < MUCH:
        return f"{words}; nothing done once more would help much"
    places = max(_decimals(1e6 * made.u), _decimals(1e6 * best[0].u_after))
    before, after = (number(1e6 * u, places) for u in (made.u, best[0].u_after))
    return f"{words}; {best[0].measure} would bring u from {before} to {after} {unit_of(made)}"


def worst_first(made: Iterable[Budget]) -> list[Budget]:
    """Budgets whose uncertainty counts most against their limit first; those without a limit by u, behind them."""

    def rank(one: Budget) -> tuple[bool, float]:
        share = one.u / one.limit if one.limit else one.u
        return not one.limit, -share

    return sorted((b for b in made if b.u > 0.0), key=rank)


def of_occasion(result: Result, occasion: str) -> list[Budget]:
    """The budgets of one occasion, as they stand."""
    return [b for b in result.budgets if b.occasion == occasion]


def occasions_of(result: Result) -> list[str]:
    """Occasions with budgets, the latest first."""
    return list(reversed(dict.fromkeys(b.occasion for b in result.budgets)))


def whole_sentence(result: Result) -> str:
    """What limits the girder on its latest occasion, "" where nothing is known.

    Of offsets and own moves each the one whose uncertainty is largest against its limit.
    """
    latest = occasions_of(result)
    if not latest:
        return ""
    worst: dict[str, Budget] = {}
    for one in worst_first(of_occasion(result, latest[0])):
        worst.setdefault(one.quantity.rstrip("xy").rstrip("_"), one)
    return f"What limits this girder, {latest[0]}: " + ". ".join(_capital(sentence_of(b)) for b in worst.values()) + "."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def flip_words(flip: Flip) -> str:
    """A flip in the cause's own terms.

    >>> flip_words(Flip("sag:bench", 12.0, "sag at mid-span", 0.8e-6, "m"))
    'sag at mid-span 0.80 µm wrong, 12 times its u'
    >>> flip_words(Flip("fit:bench/Q1", 3.04))
    'fit (bench/Q1) wrong by 3.0 times its u'
    """
    times = f"{number(flip.times_u, 0 if flip.times_u >= 9.95 else 1)} times its u"
    size = finite(flip.size)
    if size is not None:
        unit, factor = PRINTED.get(flip.unit, (flip.unit, 1.0))
        shown = abs(size) * factor
        scope = flip.cause.partition(":")[2] if kind_of(flip.cause) == "nest vector" else ""
        name = f"{flip.variable} ({scope})" if scope else flip.variable
        return f"{name} {number(shown, _decimals(shown))} {unit} wrong, {times}"
    kind, _, scope = flip.cause.partition(":")
    return f"{kind}{f' ({scope})' if scope else ''} wrong by {times}"


def budget_lines(made: Budget) -> list[str]:
    """A budget as lines of text: the sentence, the value, its shares, the strongest measures, what would turn the verdict."""
    value = with_uncertainty(1e6 * made.value, 1e6 * made.u, unit_of(made))
    lines = [
        f"What limits it: {sentence_of(made)}.",
        "",
        f"{made.magnet} {quantity_of(made)}, {made.occasion}: {value} (u, one standard deviation)",
        "",
        "What brings u:",
    ]
    lines += [f"  {s.kind:<26} {printed(s.u, made):>9}  {percent(s.part):>5} % of the variance" for s in big(made)]
    told = helpful(made)
    lines += (
        ["", "What would help most:"] if told else ["", "Nothing that is done once more on this occasion would help."]
    )
    lines += [
        f"  {r.measure}: u {printed(r.u_after, made)}, {number(100.0 * r.gain, 0)} % less ({r.basis})" for r in told
    ]
    return lines + _flip_lines(made)


def big(made: Budget) -> list[Share]:
    """The kinds that are worth a line of their own."""
    return [s for s in made.shares if s.part >= SMALL]


def _flip_lines(made: Budget) -> list[str]:
    first = nearest_flip(made)
    if made.limit is None or first is None:
        return []
    side = "out of" if abs(made.value) <= made.limit else "into"
    told = [first, *(f for f in made.flips if f.size is not None and f.times_u < ABSURD)][:MOST]
    head = f"Limit {number(1e6 * made.limit, 0)} {unit_of(made)}. Each of these alone would bring the true value {side} it:"
    return ["", head, *(f"  {flip_words(f)}" for f in dict.fromkeys(told))]


def table_lines(result: Result, occasion: str) -> list[str]:
    """The budgets of one occasion as aligned lines, the worst against its limit first."""
    rows = [("magnet", "quantity", "u", "what brings most of it", "what would help most")]
    for made in worst_first(of_occasion(result, occasion)):
        best = helpful(made, 1)
        shares = listed(f"{s.kind} {number(100.0 * s.part, 0)} %" for s in made.shares[:2])
        told = f"{best[0].measure}: {printed(best[0].u_after, made)}" if best else "nothing done once more"
        rows.append((made.magnet, quantity_of(made), printed(made.u, made), shares, told))
    widths = [max(len(row[k]) for row in rows) for k in range(4)]
    return ["  ".join([*(c.ljust(w) for c, w in zip(row, widths, strict=False)), row[4]]) for row in rows]


def lines_of(made: Sequence[Budget]) -> list[str]:
    """Several budgets in full, an empty line between."""
    lines: list[str] = []
    for one in made:
        lines += [*([""] if lines else []), *budget_lines(one)]
    return lines
