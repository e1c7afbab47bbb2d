"""Shared fixtures: where the laboratories' data stand, if they are there."""

from __future__ import annotations

import os
from pathlib import Path

# Matrices of one girder are small: more threads only wait for each other, the more so when tests run side by side.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import settings

# The same examples on every run in CI, so that what passed there passes again; elsewhere new ones are drawn each time.
settings.register_profile("ci", derandomize=True, deadline=None)
if os.environ.get("CI"):
    settings.load_profile("ci")

LABS = Path(__file__).resolve().parents[2] / "shared" / "labs"


@pytest.fixture(scope="session")
def labs() -> Path:
    """Folder of the two laboratories' data; the test is skipped when it is not there, except in CI."""
    if not LABS.is_dir():
        if os.environ.get("CI"):
            pytest.fail("the laboratories' data must stand beside the clone in CI")
        pytest.skip("the laboratories' data do not stand beside this clone")
    return LABS
