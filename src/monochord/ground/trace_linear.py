"""Numbers that are sums over many others: told in groups where they are many, and found by name.

A room keeps a table of what it can tell; a name with a part behind the last ``#`` asks the number before it for one of
its groups, such as ``own_moves/Q1/dx#targets/girder``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from monochord.ground.faults import Fault, Refused
from monochord.ground.trace import Line, Place, Sum, pointer

#: Most lines of one sum where there is a way to group them.
MOST = 40

#: Tells a number, or with a part's name one of its groups.
Teller = Callable[[str], Sum]


@dataclass(frozen=True, slots=True)
class Source:
    """One of many numbers that are summed over: words, its value and unit, its name, its places, and its group.

    group  name of the group, in words that come well after "from"
    """

    words: str
    value: float
    of: str
    unit: str
    group: str
    places: tuple[Place, ...] = ()


@dataclass(frozen=True, eq=False, slots=True)
class Linear:
    """A number that is a sum of factor times source, and of some lines beside.

    factors  of the sources, in the unit of the number per unit of the source;  more  the lines beside

    >>> sources = [Source("T1 x", 2.0, "t/1", "m", "girder"), Source("T2 x", 3.0, "t/2", "m", "girder")]
    >>> Linear("d", "m", 5.5, [1.0, 1.0], sources, "displacements", (Line("expected", 0.5, "e"),)).tell("").again()
    5.5
    """

    name: str
    unit: str
    value: float
    factors: Sequence[float]
    sources: Sequence[Source]
    how: str
    more: tuple[Line, ...] = ()

    def tell(self, part: str) -> Sum:
        """The whole, or one group of its sources; raises Refused for a part that it has not got."""
        lines = [(s.group, _line(f, s)) for f, s in zip(self.factors, self.sources, strict=True) if f != 0.0]
        if not part and len(lines) + len(self.more) <= MOST:
            return Sum(self.name, self.unit, self.value, (*(line for _, line in lines), *self.more), self.how)
        groups: dict[str, list[Line]] = {}
        for group, line in lines:
            groups.setdefault(group, []).append(line)
        if not part:
            heads = [Line(f"from {g}", _total(own), of=part_of(self.name, g)) for g, own in groups.items()]
            return Sum(self.name, self.unit, self.value, (*heads, *self.more), self.how)
        asked = [g for g in groups if part_of("", g) == f"#{part}"]
        if not asked:
            raise _unknown(f"{self.name}#{part}")
        group, own = asked[0], tuple(groups[asked[0]])
        return Sum(part_of(self.name, group), self.unit, _total(own), own, f"{self.how}: the part from {group}")


def part_of(name: str, *keys: str | int) -> str:
    """The name of a part behind a number's own.

    >>> part_of("scale", "targets on Q1/a")
    'scale#targets on Q1~1a'
    """
    return f"{name}#{pointer(*keys)[1:]}"


def relative(*keys: str | int) -> str:
    """A relative name from its keys.

    >>> relative("own_moves", "Q1", "dx")
    'own_moves/Q1/dx'
    """
    return pointer(*keys)[1:]


def told_by(table: Mapping[str, Teller], name: str) -> Sum:
    """What a table of tellers says of a name: the number of that name, or a part of the one before a ``#``.

    Raises Refused for a name that is not in it.

    >>> made = Linear("d", "m", 2.0, [1.0], [Source("T1 x", 2.0, "t/1", "m", "girder")], "displacement")
    >>> told_by({"d": made.tell}, "d").value, told_by({"d": made.tell}, "d#girder").name
    (2.0, 'd#girder')
    """
    if name in table:
        return table[name]("")
    for at in range(len(name) - 1, 0, -1):
        if name[at] == "#" and name[:at] in table:
            return table[name[:at]](name[at + 1 :])
    raise _unknown(name)


def whole(made: Callable[[], Sum]) -> Teller:
    """A teller of a number that has no parts.

    >>> whole(lambda: Sum("n", "1", 2.0, (Line("two", 2.0),), "counted"))("").value
    2.0
    """

    def tell(part: str) -> Sum:
        found = made()
        if part:
            raise _unknown(f"{found.name}#{part}")
        return found

    return tell


def _line(factor: float, source: Source) -> Line:
    factor, value = float(factor), float(source.value)
    return Line(source.words, factor * value, source.of, factor, value, source.unit, source.places)


def _total(lines: Sequence[Line]) -> float:
    return math.fsum(line.amount for line in lines)


def _unknown(name: str) -> Refused:
    return Refused([Fault(f"the name {name!r}", "a number that is told here", "look for its name in the result")])
