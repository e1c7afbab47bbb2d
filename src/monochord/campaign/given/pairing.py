"""What paired by name with what, and what did not: told for every two lists that the work lays side by side."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class NearMiss:
    """Two names that are not equal and were probably meant to be, and why that is thought."""

    first: str
    second: str
    why: str


@dataclass(frozen=True, slots=True)
class Pairing:
    """Two lists of names, paired by equal names only and never by their order.

    first, second    what the lists are, in words;  matched  names in both
    only_first, only_second   names in one of them;  near  names of the two that look as if they were meant to be equal
    set_aside        names of the second list that are known to be something else, such as points on walls
    """

    first: str
    second: str
    matched: tuple[str, ...]
    only_first: tuple[str, ...] = ()
    only_second: tuple[str, ...] = ()
    near: tuple[NearMiss, ...] = ()
    set_aside: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """The pairing in one line.

        >>> Pairing("list of targets", "sightings", ("A", "B"), ("F07",), ("FO7",), (NearMiss("F07", "FO7", "0 and O"),)).words
        'list of targets with sightings: 2 matched; only in the first: F07; only in the second: FO7; near: F07 and FO7 (0 and O)'
        """
        parts = [f"{len(self.matched)} matched"]
        for names, what in ((self.only_first, "only in the first"), (self.only_second, "only in the second")):
            parts += [f"{what}: {_listed(names)}"] if names else []
        parts += [f"set aside: {len(self.set_aside)}"] if self.set_aside else []
        near = [f"{n.first} and {n.second} ({n.why})" for n in self.near[:6]]
        parts += [f"near: {'; '.join(near)}"] if near else []
        return f"{self.first} with {self.second}: {'; '.join(parts)}"


def _listed(names: tuple[str, ...], most: int = 12) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")
