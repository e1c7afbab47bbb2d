"""A copy of a laboratory's excerpt that a test may spoil, and the commands run on it: what they print and what they keep."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from monochord.cli.main import main

EXCERPT = Path(__file__).parent / "labs"


@dataclass(frozen=True)
class Ended:
    """A command that ended: exit code, and everything that it printed."""

    code: int
    printed: str


@dataclass(frozen=True)
class Bench:
    """Folder with the excerpt (``data``) and its description (``lab``)."""

    root: Path

    @property
    def data(self) -> Path:
        return self.root / "data"

    @property
    def lab(self) -> Path:
        return self.root / "lab.toml"

    @property
    def campaign(self) -> Path:
        return self.root / "campaign"

    def change(self, name: str, old: str, new: str, *, count: int = 1) -> int:
        """Put new for old in a file; the line of the first change."""
        path = self.lab if name == "lab.toml" else self.data / name
        text = path.read_bytes().decode()
        assert old in text, f"the test looks for {old!r}, which {name} does not hold"
        path.write_bytes(text.replace(old, new, count).encode())
        return text[: text.index(old)].count("\n") + 1

    def rows(self, name: str, change: Callable[[list[str], int], Sequence[str]], head: Sequence[str] = ()) -> None:
        """Change the cells of every row of a comma-separated table; head for its column names."""
        path = self.data / name
        first, *rest = path.read_text().splitlines()
        rows = [",".join(change(line.split(","), i)) for i, line in enumerate(rest)]
        path.write_text("\n".join([",".join(head) if head else first, *rows]) + "\n")

    def describe(self, table: str, old: str, new: str) -> None:
        """Change one line inside ``[tables.TABLE]`` of the description, or its columns."""
        text = self.lab.read_text()
        start = text.index(f"[tables.{table}]")
        place = text.index(old, start)
        self.lab.write_text(text[:place] + new + text[place + len(old) :])

    def begin(self, *settings: str) -> Ended:
        """Begin the campaign by the command."""
        told = [word for s in ("girder=G7", *settings) for word in ("--set", s)]
        return _ended(["begin", str(self.data), "--lab", str(self.lab), "--into", str(self.campaign), *told])

    def refused(self, *settings: str) -> str:
        """What a refused beginning prints; nothing is left behind."""
        ended = self.begin(*settings)
        assert ended.code == 3, ended.printed
        assert "Traceback" not in ended.printed
        assert not self.campaign.exists()
        return ended.printed

    def begun(self, *settings: str) -> str:
        """What a beginning prints that goes through."""
        ended = self.begin(*settings)
        assert ended.code == 0, ended.printed
        return ended.printed

    def run(self) -> Ended:
        """Run the campaign by the command."""
        return _ended(["run", str(self.campaign), "--no-paper"])

    def ran(self) -> tuple[dict[str, Any], str]:
        """The record of a run, and what it prints on screen and page."""
        ended = self.run()
        assert ended.code in (0, 4), ended.printed
        page = re.sub(r"<[^>]*>", " ", (self.campaign / "found/report.html").read_text("utf-8"))
        document = json.loads((self.campaign / "found/result.json").read_text("utf-8"))
        return document, ended.printed + re.sub(r"\s+", " ", unescape(page))


def _ended(arguments: list[str]) -> Ended:
    done = CliRunner().invoke(main, arguments, catch_exceptions=False)
    return Ended(done.exit_code, done.output)


def notes_of(document: dict[str, Any]) -> str:
    """All notes of a record, one a line."""
    return "\n".join(str(n["text"]) for n in document["notes"])
