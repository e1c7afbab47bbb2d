"""What was decided and what is to be done, in a few lines of a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from monochord.campaign.found.comparison import Comparison, OwnMove
from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.found.result import Result
from monochord.campaign.found.shift import OWN_MOVE, Shifts
from monochord.campaign.found.verdict import Verdict
from monochord.report.bolting import later_occasions, turned
from monochord.report.document_verdict import word_of
from monochord.report.facts import by_weight, component
from monochord.report.judged import Family, by_occasion, limit_words, magnets_words, quantity_words, rule_caution
from monochord.report.words import counted, height_word, limit_number, listed, micrometres, number, side_word

COLUMNS = 100
#: So many names stand in a line before the rest is counted.
MOST_NAMES = 4


def decision_lines(result: Result, most: int) -> list[str]:
    """First steps at the feet, verdicts, own moves, turns; each in at most so many lines of 100 columns."""
    plan = result.plans[-1] if result.plans else None
    found = next(iter(by_weight(result)), None)
    cautions = _cautions(result)
    parts = [
        _first(result, plan) if plan else "",
        _verdicts(result),
        cautions,
        _own_moves(found) if found else "",
        _turns(result, plan) if plan else "",
    ]
    told = {cautions: 3}  # never cut: whoever reads the verdict must read how it was made
    return [line for part in parts for line in wrapped(part, told.get(part, most))]


def wrapped(text: str, most: int) -> list[str]:
    """Text in at most so many lines, cut with a hint to the report."""
    return textwrap.wrap(text, COLUMNS, max_lines=most, placeholder=" ... (see the report)")


def _first(result: Result, plan: BoltPlan) -> str:
    if not plan.loose or later_occasions(result, plan):
        return ""
    steps = f" {counted(len(plan.first), 'step')} before any turn: {'; '.join(plan.first)}" if plan.first else ""
    return f"FIRST, {plan.at}: {listed(plan.loose, MOST_NAMES)} {'bears' if len(plan.loose) == 1 else 'bear'} nothing.{steps}"


def _verdicts(result: Result) -> str:
    """Verdicts of the latest occasion, by limit."""
    groups = next(iter(by_occasion(result).items()), None)
    if groups is None:
        return ""
    told = [f"{family.title.capitalize()}: {_judged_words(family, found)}." for family, found in groups[1]]
    return f"Verdict {groups[0]}. {' '.join(told)}"


def _judged_words(family: Family, found: Sequence[Verdict]) -> str:
    if family.whole:
        return "; ".join(f"{quantity_words(v)} {word_of(v)} to {limit_words(v)}" for v in found)
    return magnets_words(found, MOST_NAMES)


def _cautions(result: Result) -> str:
    """What must stand beside verdicts of a rule that accepts what is not proven, with the limits that it is for."""
    groups = next(iter(by_occasion(result).items()), None)
    said: dict[str, list[str]] = {}
    for family, found in groups[1] if groups else []:
        for words in dict.fromkeys(rule_caution(v) for v in found):
            if words:
                said.setdefault(words, []).append(family.title)
    return ". ".join(f"{listed(titles).capitalize()} by {words}" for words, titles in said.items())


def _own_moves(found: Comparison) -> str:
    moves = found.own_moves or found.own_moves_from_targets
    if not moves:
        return ""
    moved = [_move_words(move) for move in moves if move.found]
    unclear = [move.magnet for move in moves if move.found is None]
    parts = [listed(moved, MOST_NAMES)] if moved else ["no magnet moved by itself"]
    parts += [f"cannot be told apart: {listed(unclear, MOST_NAMES)}"] if unclear else []
    said = f"Own moves {found.start} to {found.end}: {'; '.join(parts)}"
    more = "; ".join([said, *(w for s in found.shifts if s.of == OWN_MOVE and (w := _less_words(s)))])
    # the margin is told where it costs no line of its own
    return more if len(textwrap.wrap(more, COLUMNS)) == len(textwrap.wrap(said, COLUMNS)) else said


def _less_words(found: Shifts) -> str:
    """How many magnets surely moved by less than their margin, in few words: the page names the others."""
    known = [s for s in found.each if s.found is not None]
    if not known:
        return ""
    margins = {s.margin for s in known}
    than = f"{limit_number(1e6 * known[0].margin, sign=False)} µm" if len(margins) == 1 else "its margin"
    return f"surely less than {than}: {sum(s.less == 'yes' for s in known)} of {len(known)}"


def _move_words(move: OwnMove) -> str:
    """The larger of the two components across the beam."""
    parts = [
        (component(move.estimate, f"{move.magnet}.d{q}"), word) for q, word in (("x", side_word), ("y", height_word))
    ]
    known = [(k, word(k.value)) for k, word in parts if k.value is not None]
    if not known:
        return move.magnet
    largest, side = max(known, key=lambda item: abs(item[0].value or 0.0))
    size = micrometres(abs(largest.value or 0.0), largest.u).lstrip("+")
    return f"{move.magnet} {size} {side}".rstrip()


def _turns(result: Result, plan: BoltPlan) -> str:
    later = later_occasions(result, plan)
    past = f"Past plan {plan.at} (before {later[0]})" if later else f"Bolts {plan.at}"
    if plan.do_nothing:
        return f"{past}: turn nothing"
    turns = turned(plan)
    if not turns:
        return f"{past}: no turn"
    far = max(turns, key=lambda item: abs(item[1]))
    loose = f"bring {listed(plan.loose, MOST_NAMES)} to bear, then " if plan.loose else ""
    size = f"{counted(len(turns), 'turn')}, the farthest {far[0]} {number(far[1], 4, sign=True)} turn"
    left = f"{plan.left_before * 1e6:.1f} to {plan.left_after * 1e6:.1f} µm rms from the shape of {plan.reference}"
    return f"{past}: {loose}{size}; {left}"
