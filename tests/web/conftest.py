"""A desk with one small campaign, made once for all tests of the pages; each test works on a copy."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from monochord.job.context import Context
from monochord.job.demo import run_demo
from monochord.job.desk.parts import write_parts
from monochord.job.desk.place import Desk
from monochord.web.app import create_app


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented example, evaluated, with its pages."""
    place = tmp_path_factory.mktemp("demo")
    context = Context(now=lambda: datetime(2031, 7, 1, tzinfo=UTC), new_id=lambda: "run-0001")
    done = run_demo(place / "demo", 1, context)
    write_parts(place / "demo" / "campaign", done.result)
    return place / "demo"


@pytest.fixture
def desk(demo_folder: Path, tmp_path: Path) -> Desk:
    """A desk where the example stands as "Example 1"."""
    shutil.copytree(demo_folder / "campaign", tmp_path / "desk" / "Example 1")
    return Desk(tmp_path / "desk")


@pytest.fixture
def client(desk: Desk) -> Iterator[TestClient]:
    """Asks the application over that desk."""
    with TestClient(create_app(desk, ("testserver",)), follow_redirects=True) as asking:
        yield asking
