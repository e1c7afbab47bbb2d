"""Programs and servers that are ended in the middle: what was acknowledged is kept, and the same done again completes."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from evidence.record.kills import WORKS, Killed, completed, killed_at, left_over, ready, whole_campaign
from evidence.record.postgres import database, own_server
from evidence.record.writers import written, wrong
from monochord.store.making import make_record
from monochord.store.opening import PATIENCE, Record


@pytest.fixture(scope="module")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return whole_campaign(tmp_path_factory.mktemp("invented"))


def test_programs_killed_in_their_work_lose_nothing_and_leave_nothing_half(
    record: Record, address: str, tmp_path: Path, campaign: Path
) -> None:
    ready(tmp_path / "work", campaign)
    rng, found = Random(20310701), Killed()
    works = ["append"] * 4 + ["take"] * 4 + ["run"]

    killed_at(((work, rng.random()) for work in works), address, tmp_path / "work", found)

    assert found.kills == len(works)
    assert len(found.acknowledged["entry"]) >= 8  # each but the last had something kept
    assert found.wrong == []
    assert list(completed(address, tmp_path / "work", found)) == []


def test_a_server_killed_with_its_clients_keeps_what_it_acknowledged(
    tmp_path: Path, campaign: Path, server: str
) -> None:
    ready(tmp_path / "work", campaign)
    with own_server() as own:
        address, found = database(own.url), Killed()
        make_record(address).engine.dispose()
        killed_at(iter([("append", 0.8), ("take", 0.5)]), address, tmp_path / "work", found, own)

        assert found.acknowledged["entry"]
        assert found.wrong == []


def test_what_is_missing_after_a_kill_would_be_seen(record: Record, address: str, tmp_path: Path) -> None:
    found = Killed()
    found.acknowledged["entry"].append("never")
    found.acknowledged["small"].append("nor this")

    assert sorted(left_over(address, tmp_path, found)) == [
        "entry never was acknowledged and is gone",
        "run nor this was acknowledged, and there is no journal",
    ]
    assert sorted(WORKS) == ["append", "run", "take"]


def test_many_writers_at_once_lose_nothing_and_all_come_to_their_turn(record: Record, address: str) -> None:
    found = written(address, 50, 3.0)

    assert list(wrong(address, found)) == []
    assert found.fewest >= 1
    assert found.longest < PATIENCE
