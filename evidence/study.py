"""What a study is, and what is kept of it.

A study is a function of a seed and a size: it draws data with known truth, lets the code judge them, and
gives figures. Each figure has a band that follows from the size and from theory, never from what came out.
The long form is run by ``make evidence`` and stored with a number over the sources that it judges; the
short form, same function and smaller size, is run by the tests.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
RESULTS = ROOT / "evidence" / "results"


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a study with the band that it must lie in, and why the band is that wide."""

    value: float
    low: float
    high: float
    unit: str
    reason: str

    @property
    def inside(self) -> bool:
        """Whether the figure lies in its band; a figure that is no number does not."""
        return self.low <= self.value <= self.high


@dataclass(frozen=True, slots=True)
class Study:
    """A study that is run long by hand and short by the tests.

    name     of the result's file;  question  what it answers, one sentence
    run      (seed, size) -> figures;  sources  files that it judges, from the root of the project
    seed     of the long run;  size, short_size  number of trials
    """

    name: str
    question: str
    run: Callable[[int, int], Mapping[str, Figure]]
    sources: tuple[str, ...]
    seed: int
    size: int
    short_size: int

    @property
    def result(self) -> Path:
        """Where its figures are kept."""
        return RESULTS / f"{self.name}.json"


#: Modules of rooms and ground that only tell what others computed, or read units: no figure of a study rests on them.
TELLING = ("unfold", "trace", "units.py", "faults.py", "words.py", "evidence.py")


def judged(*rooms: str, root: Path = ROOT) -> tuple[str, ...]:
    """Files of these rooms that compute, from the root of the project; those that only tell are left out."""
    return tuple(
        sorted(
            path.relative_to(root).as_posix()
            for room in rooms
            for path in (root / "src" / "monochord" / room).glob("*.py")
            if not any(part in path.name for part in TELLING)
        )
    )


def sources_sha256(sources: tuple[str, ...], root: Path = ROOT) -> str:
    """One number over the names and the bytes of these files; a file that is gone counts as empty."""
    total = hashlib.sha256()
    for name in sorted(sources):
        path = root / name
        total.update(name.encode() + b"\0" + (path.read_bytes() if path.is_file() else b"") + b"\0")
    return total.hexdigest()


def measure(study: Study) -> dict[str, object]:
    """Run the long form and give what is to be kept of it."""
    figures = study.run(study.seed, study.size)
    return {
        "study": study.name,
        "question": study.question,
        "seed": study.seed,
        "size": study.size,
        "sources": sorted(study.sources),
        "sources_sha256": sources_sha256(study.sources),
        "figures": {name: asdict(figure) for name, figure in figures.items()},
    }


def state(study: Study, root: Path = ROOT) -> str:
    """``"current"``, ``"stale"`` (the code that it judges has changed since), or ``"never run"``."""
    if not study.result.is_file():
        return "never run"
    kept = json.loads(study.result.read_text(encoding="utf-8"))
    asked = (study.seed, study.size, sorted(study.sources), sources_sha256(study.sources, root))
    return "current" if (kept["seed"], kept["size"], kept["sources"], kept["sources_sha256"]) == asked else "stale"
