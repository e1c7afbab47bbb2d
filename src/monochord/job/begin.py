"""Begin a campaign from a laboratory's folder."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from monochord.files.begin import begin
from monochord.files.pairing import in_brief
from monochord.job.context import Context


def begin_campaign(folder: Path, lab: Path, into: Path, settings: Mapping[str, str], context: Context) -> list[str]:
    """Copy the measured files untouched into a new campaign and write the girder's facts; notes in words, names last."""
    notes = begin(folder, lab, into, settings, context.now().isoformat(timespec="seconds"))
    return [*map(str, notes), *in_brief(into)]
