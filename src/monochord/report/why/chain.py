"""The chain behind a number: sums, one resting on the other, down to rows of files and settings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from monochord.ground.trace import Place, Sum


@dataclass(frozen=True, slots=True)
class Row:
    """What stands at a place, as it was found there.

    file, line  inside the campaign, or of the program's source;  column  as the file calls it, or the key
    text        the line as it stands;  cell  the one number of it, "" when it cannot be told apart
    sha256      checksum of the file;  program  True for a constant of the program
    numbers     what the line holds, by meaning, in SI
    """

    file: str
    line: int
    column: str
    text: str
    cell: str = ""
    sha256: str = ""
    program: bool = False
    numbers: Mapping[str, float] = field(default_factory=dict, compare=False, hash=False)


@dataclass(frozen=True, slots=True)
class Maker:
    """Who made a number: program and version, checksum of its code, run and time."""

    made_by: str
    code: str
    run: str
    made_at: str


@dataclass(frozen=True, eq=False, slots=True)
class Chain:
    """Some numbers and everything that was unfolded behind them.

    roots   names that were asked for;  sums  by name;  rows  by place
    printed name -> the number as the report prints it, where it does
    """

    maker: Maker
    roots: tuple[str, ...]
    sums: Mapping[str, Sum]
    rows: Mapping[Place, tuple[Row, ...]]
    printed: Mapping[str, str] = field(default_factory=dict)
    girder: str = ""

    @property
    def files(self) -> dict[str, str]:
        """Every file that was met -> its checksum, by name."""
        met = {row.file: row.sha256 for rows in self.rows.values() for row in rows}
        return dict(sorted(met.items()))

    def walk(self, root: str) -> Iterator[tuple[int, Sum]]:
        """The sums under a root, each once, with its depth: a sum before those that it rests on."""
        seen: set[str] = set()
        waiting = [(0, root)]
        while waiting:
            depth, name = waiting.pop()
            if name in seen or name not in self.sums:
                continue
            seen.add(name)
            yield depth, self.sums[name]
            waiting += [(depth + 1, line.of) for line in reversed(self.sums[name].lines) if line.of]
