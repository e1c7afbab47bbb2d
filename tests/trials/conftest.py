"""A bench for every trial: a copy of the excerpt of a laboratory."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.trial_bench import EXCERPT, Bench


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    shutil.copytree(EXCERPT / "a", tmp_path / "data")
    shutil.copy(EXCERPT / "a.toml", tmp_path / "lab.toml")
    return Bench(tmp_path)
