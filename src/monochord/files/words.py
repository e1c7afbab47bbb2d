"""Words: near misses, natural order, and what a person gets to read about a name that is not known."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

_DIGITS = re.compile(r"(\d+)")


def natural(name: str) -> tuple[tuple[int, int, str], ...]:
    """A sort key that counts numbers inside names as numbers.

    >>> sorted(["10-last", "2-next", "1-first"], key=natural)
    ['1-first', '2-next', '10-last']
    """
    pieces = _DIGITS.split(name)
    return tuple((0, int(p), "") if p.isdecimal() else (1, 0, p) for p in pieces if p)


def folded(name: str) -> str:
    """A name without case, spaces and separators, used only to find near misses, never to pair.

    >>> folded("q1 - 2") == folded("Q1-2")
    True
    """
    return re.sub(r"[\s_.\-/]+", "", name).casefold()


def near(name: str, known: Iterable[str], *, cutoff: float = 0.6) -> list[str]:
    """Up to three known names that look like the given one, best first.

    >>> near("zenith", ["zenith_deg", "hz_deg"])
    ['zenith_deg']
    """
    import difflib

    names = list(known)
    same = [k for k in names if folded(k) == folded(name)]
    by_fold = {folded(k): k for k in names}
    close = [by_fold[f] for f in difflib.get_close_matches(folded(name), list(by_fold), n=3, cutoff=cutoff)]
    return list(dict.fromkeys([*same, *close]))[:3]


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """A question for the remedy of a fault, or "" when nothing looks alike.

    >>> did_you_mean("Q11", ["Q1", "S1"])
    "did you mean 'Q1'? "
    """
    close = near(name, known)
    if not close:
        return ""
    return f"did you mean {' or '.join(repr(c) for c in close)}? "


def listed(names: Sequence[str], most: int = 12) -> str:
    """Names in one line, shortened when there are many.

    >>> listed(["a", "b", "c"], most=2)
    'a, b and 1 more'
    """
    if len(names) <= most:
        return ", ".join(names)
    return f"{', '.join(names[:most])} and {len(names) - most} more"
