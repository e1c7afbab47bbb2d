"""Begin a campaign from a laboratory's folder."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from monochord.campaign.given.imports import total
from monochord.files.begin import begin
from monochord.files.imports import IMPORTS, kept
from monochord.files.pairing import in_brief
from monochord.files.patience import Patience
from monochord.job.context import Context


def begin_campaign(folder: Path, lab: Path, into: Path, settings: Mapping[str, str], context: Context) -> list[str]:
    """Copy the measured files untouched into a new campaign and write the girder's facts; notes in words, names last."""
    now = context.now().isoformat(timespec="seconds")
    notes = begin(folder, lab, into, settings, now, patience=Patience(say=context.say))
    return [*map(str, notes), *in_brief(into)]


def import_lines(into: Path) -> list[str]:
    """How every file of a campaign was read when it began: one line a file, and the sum of all rows."""
    imports = kept(into)
    return (
        [*(told.brief for told in imports), f"{total(imports)}; {IMPORTS} tells what was converted"] if imports else []
    )
