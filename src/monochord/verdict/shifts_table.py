"""Whether each magnet has moved, how far in units of its expanded uncertainty, and whether by less than a margin."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from monochord.campaign.found.shift import Shift, Shifts
from monochord.ground.estimate import Estimate, Factor, stack
from monochord.ground.faults import MonochordError
from monochord.ground.statistics import family_wise
from monochord.verdict.shifts import ShiftTest, e_n, judge_shift
from monochord.verdict.shifts_equivalence import moved_less_than, planar_moved_less_than

#: Coverage factor of an expanded uncertainty in an E_n score.
K = 2.0
UNDECIDED = "cannot be decided"


def shifts(
    of: str, pairs: Mapping[str, Estimate], margins: Mapping[str, float], margin_by: str, *, level: float = 0.05
) -> Shifts:
    """Shifts of all magnets: significance at a family's level, E_n scores, and whether each is less than its margin.

    each magnet: T = d' C^+ d against chi-square with rank(C) degrees, at the level 1 - (1 - level)^(1/n);
    E_n = d / (2 u(d)), causes that both occasions share having cancelled in d already;
    less than the margin: by the probability that the true (x, y) lies within the circle, and for each component by two one-sided
    tests, each question at 5 % by itself

    pairs    magnet -> shift (x, y) [m], after minus before, joint causes named;  margins  magnet -> [m]
    Source: the congruence test, Sidak 1967, ISO/IEC 17043 and ISO 13528, Schuirmann 1987 (all from memory).

    >>> d = Estimate.of([12e-6, 1e-6], ["Q.dx", "Q.dy"], unit="m", frame="girder", causes={"n": 1e-12 * np.eye(2)})
    >>> made = shifts("own move", {"Q": d}, {"Q": 10e-6}, "declared")
    >>> made.each[0].found, round(made.each[0].e_n_x, 2), made.each[0].less
    (True, 6.0, 'no')
    """
    settled = {m: _settled(pair) for m, pair in pairs.items()}
    known = {m: pair for m, pair in settled.items() if _testable(pair)}
    own = family_wise(level, max(len(known), 1))
    each = tuple(
        _shift(m, pair, margins[m], own) if m in known else _unknown(m, pair, margins[m]) for m, pair in settled.items()
    )
    whole = _together([pairs[m] for m in known], level)
    return Shifts(
        of=of,
        level=level,
        level_each=own,
        each=each,
        chi_square=whole.square if whole else math.nan,
        dof=whole.rank if whole else 0,
        probability=whole.probability if whole else math.nan,
        found=whole.found if whole else None,
        margin_by=margin_by,
        words=_words(each, level),
    )


def _settled(estimate: Estimate) -> Estimate:
    """The same with its causes added up once, as they are asked for many times."""
    return replace(estimate, factors={"all": Factor(np.eye(len(estimate.value)), estimate.cov)})


def _testable(pair: Estimate) -> bool:
    return bool(np.isfinite(pair.value).all() and np.isfinite(pair.u).all() and (pair.u > 0.0).all())


def _together(pairs: Sequence[Estimate], level: float) -> ShiftTest | None:
    """The test of all magnets at once; None where there is none, or where their causes do not fit together."""
    if not pairs:
        return None
    try:
        return judge_shift(_settled(stack(pairs)), level=level)
    except MonochordError:
        return None


def _shift(magnet: str, pair: Estimate, margin: float, level: float) -> Shift:
    tested = judge_shift(pair, level=level)
    (x, y), (u_x, u_y) = pair.value.tolist(), pair.u.tolist()
    both = planar_moved_less_than(pair, margin)
    less_x, less_y = (moved_less_than(d, u, margin, dof=pair.dof).answer for d, u in ((x, u_x), (y, u_y)))
    return Shift(
        magnet, x, y, u_x, u_y, tested.square, tested.rank, tested.probability, tested.found,
        e_n(x, K * u_x, 0.0, 0.0), e_n(y, K * u_y, 0.0, 0.0), margin,
        both.answer, less_x, less_y, both.moved_more, both.answerable,
    )  # fmt: skip


def _unknown(magnet: str, pair: Estimate, margin: float) -> Shift:
    (x, y), (u_x, u_y) = pair.value.tolist(), pair.u.tolist()
    gone = bool(np.isfinite(pair.value).all())
    why = "its shift has no uncertainty that could be tested" if gone else "its shift was not seen"
    nan = math.nan
    return Shift(
        magnet, x, y, u_x, u_y, nan, 0, nan, None, nan, nan, margin, UNDECIDED, UNDECIDED, UNDECIDED, nan, nan, why
    )


def _words(each: Sequence[Shift], level: float) -> str:
    """What was found and what could be excluded, in one sentence."""
    known = [s for s in each if s.found is not None]
    if not known:
        return "no magnet's shift is known"
    found = [s.magnet for s in known if s.found]
    share = f"{100.0 * level:g} % for all {len(known)} together"
    said = f"beyond chance ({share}): {', '.join(found) or 'none'}"
    margins = sorted({s.margin for s in known})
    within = f"less than {1e6 * margins[0]:.4g} um" if len(margins) == 1 else "less than its margin"
    told = [f"{within}: {_counted(known, 'yes')}"]
    told += [f"{word}: {', '.join(names)}" for word in ("no", UNDECIDED) if (names := _named(known, word))]
    return f"{said}; {', '.join(told)}"


def _named(known: Sequence[Shift], word: str) -> list[str]:
    return [s.magnet for s in known if s.less == word]


def _counted(known: Sequence[Shift], word: str) -> str:
    names = _named(known, word)
    return f"{len(names)} of {len(known)} {word}"
