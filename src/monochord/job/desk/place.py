"""A folder of campaigns, and what stands in it; names from outside never lead out of it."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from monochord.files.campaign_file import CAMPAIGN
from monochord.ground.faults import Fault, Refused
from monochord.job.desk.parts import INDEX, PAGES, space_file
from monochord.job.run import FOUND

#: A name of a campaign: one folder, nothing that a path is made of, nothing hidden.
NAME = re.compile(r"[^\W_][\w .+-]{0,79}")


@dataclass(frozen=True, slots=True)
class Desk:
    """One folder of campaigns, and the address of the record where they are kept ("" for none)."""

    folder: Path
    record: str = ""

    def campaigns(self) -> list[str]:
        """Names of the campaigns, in alphabetical order."""
        found = self.folder.iterdir() if self.folder.is_dir() else ()
        return sorted(p.name for p in found if NAME.fullmatch(p.name) and (p / CAMPAIGN).is_file())

    def campaign(self, name: str) -> Path:
        """The folder of a campaign; Refused when there is none of this name."""
        place = self.new(name)
        if not (place / CAMPAIGN).is_file():
            raise Refused(
                [Fault(f"the campaign {name!r}", "one of this folder", "choose one from the list", str(self.folder))]
            )
        return place

    def new(self, name: str) -> Path:
        """The folder that a campaign of this name has or would have; Refused for a name that is a path."""
        if not NAME.fullmatch(name) or name.endswith((".", " ")):
            expected = "letters, digits, spaces, points, hyphens, a letter or digit first, at most 80"
            raise Refused([Fault(f"the name {name[:90]!r}", expected, "choose such a name")])
        place = self.folder / name
        if place.is_symlink():
            raise Refused(
                [Fault(f"the campaign {name!r}, a link", "a folder that lies here", "move it here", str(self.folder))]
            )
        return place

    def told(self, name: str) -> Mapping[str, object] | None:
        """What the pages of a campaign's last run begin with, None when there are none yet."""
        path = self.campaign(name) / FOUND / PAGES / INDEX
        if not path.is_file():
            return None
        told: Mapping[str, object] = json.loads(path.read_text(encoding="utf-8"))
        return told

    def part(self, name: str, part: str) -> str | None:
        """One part of a campaign's pages as HTML, None when there is none."""
        path = self.campaign(name) / FOUND / PAGES / f"{part}.html"
        return path.read_text(encoding="utf-8") if re.fullmatch(r"[a-z]+", part) and path.is_file() else None

    def space(self, name: str, occasion: str) -> str | None:
        """An occasion's survey in space as JSON, None when there is none."""
        path = self.campaign(name) / FOUND / PAGES / space_file(occasion)
        return path.read_text(encoding="utf-8") if path.is_file() else None

    def document(self, name: str) -> str | None:
        """The result document of a campaign's last run as text, None when it was not run."""
        path = self.campaign(name) / FOUND / "result.json"
        return path.read_text(encoding="utf-8") if path.is_file() else None
