"""One target, several spellings: "Q1-1", "q1_1" and "Q01.1" are read as one name."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

_PARTS = re.compile(r"[^\W\d_]+|\d+")


def parts(name: str) -> tuple[str | int, ...]:
    """Words and numbers of a name, without case, separators and leading zeros.

    Digits stay together, so "Q11" and "Q1-1" are different names.

    >>> parts("Q01_1") == parts("q1-1"), parts("Q11") == parts("Q1-1")
    (True, False)
    """
    found = tuple(int(part) if part.isdigit() else part for part in _PARTS.findall(name.casefold()))
    return found or (name,)


def other_spellings(sighted: Mapping[str, int], listed: Sequence[str]) -> dict[str, str]:
    """Sighted names that are another name in another spelling: spelling -> name.

    sighted  name -> how often it was sighted;  listed  names of the girder's list, which decide where they can;
    among unlisted spellings the most frequent decides, then the first in the alphabet

    >>> other_spellings({"q1_1": 2, "M1": 6, "m-1": 1}, ["Q1-1"])
    {'q1_1': 'Q1-1', 'm-1': 'M1'}
    """
    by_parts: dict[tuple[str | int, ...], list[str]] = {}
    for name in dict.fromkeys(listed):
        by_parts.setdefault(parts(name), []).append(name)
    strangers = [name for name in sighted if name not in set(listed)]
    for name in sorted(strangers, key=lambda n: (-sighted[n], n)):
        by_parts.setdefault(parts(name), [name])
    # A spelling that fits two listed targets fits neither: it stays a name of its own.
    owners = {name: by_parts[parts(name)] for name in strangers}
    return {name: owner[0] for name, owner in owners.items() if len(owner) == 1 and owner[0] != name}
