"""Both laboratories, begun and evaluated once for all tests of this folder."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from monochord.campaign.found.result import Result
from monochord.campaign.given.campaign import Campaign
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.job.context import Context
from monochord.job.evaluate import evaluate

HERE = Path(__file__).parent


@dataclass(frozen=True)
class LabRun:
    """One laboratory: its campaign, the result, the folder, and the truth where there is one."""

    campaign: Campaign
    result: Result
    folder: Path
    truth: dict[str, Any]


def fixed_context() -> Context:
    """A context whose clock stands still and whose ids are all alike."""
    return Context(now=lambda: datetime(2031, 5, 5, tzinfo=UTC), new_id=lambda: "test")


def _run(lab: str, labs: Path, into: Path) -> LabRun:
    begin(labs / lab, HERE / f"{lab}.toml", into, {})
    campaign = load_campaign(into)
    truth = labs / lab / "truth.json"
    known = json.loads(truth.read_text())["epochs"] if truth.is_file() else {}
    return LabRun(campaign, evaluate(campaign, fixed_context()), into, known)


@pytest.fixture(scope="session")
def lab_a(labs: Path, tmp_path_factory: pytest.TempPathFactory) -> LabRun:
    """Laboratory A, with its truth."""
    return _run("a", labs, tmp_path_factory.mktemp("lab") / "a")


@pytest.fixture(scope="session")
def lab_b(labs: Path, tmp_path_factory: pytest.TempPathFactory) -> LabRun:
    """Laboratory B, whose truth is not told."""
    return _run("b", labs, tmp_path_factory.mktemp("lab") / "b")
