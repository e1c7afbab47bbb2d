"""What people do to a campaign from the pages."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from monochord.job.context import Context
from monochord.job.desk.place import Desk
from monochord.job.record.enter import enter_one
from monochord.job.record.keyring import make_key
from monochord.job.record.take import Hand
from monochord.store.making import make_record
from monochord.web.app import create_app


@pytest.fixture
def kept(desk: Desk, tmp_path: Path) -> Iterator[tuple[TestClient, Path]]:
    """Asks the pages of a desk with a record, where Ada is engineer and has a key."""
    address = str(tmp_path / "ring.sqlite")
    record = make_record(address)
    ids = iter(range(1000))
    context = Context(now=lambda: datetime(2031, 7, 1, tzinfo=UTC), new_id=lambda: f"id-{next(ids)}")
    hand = Hand("ada", "office")
    enter_one(record, "person", {"name": "Ada", "roles": "engineer"}, context=context, hand=hand)
    make_key(record, "Ada", tmp_path / "ada.pem", "a long passphrase", context=context, hand=hand)
    with TestClient(create_app(replace(desk, record=address), ("testserver",))) as asking:
        yield asking, tmp_path / "ada.pem"


def test_a_sighting_is_set_aside_with_its_reason_and_counts_again(client: TestClient, desk: Desk) -> None:
    from monochord.job.desk.deeds import readings

    one = next(r for r in readings(desk, "Example 1").able if r.what == "sighting")
    page = client.post(
        "/girder/Example 1/aside",
        data={"what": "sighting", "address": one.address, "why": "the crew leaned on the tripod", "by": "Bo"},
    )
    assert page.status_code == 200
    assert "the crew leaned on the tripod (Bo)" in page.text
    assert [e.why for e in readings(desk, "Example 1").aside] == ["the crew leaned on the tripod"]
    page = client.post("/girder/Example 1/again", data={"number": "1", "why": "it was another tripod"})
    assert "it counts again" in page.text
    assert not readings(desk, "Example 1").aside[0].holds


def test_a_reading_without_a_reason_or_that_is_not_there_is_refused(client: TestClient) -> None:
    for data in (
        {"address": "nowhere.csv:3", "why": "dust"},
        {"address": "", "why": "dust"},
        {"address": "nowhere.csv:3", "why": " "},
    ):
        page = client.post("/girder/Example 1/aside", data={"what": "sighting"} | data)
        assert page.status_code == 422
        assert "Nothing was changed" in page.text or "faults" in page.text


def test_a_campaign_is_kept_once_and_signed_by_its_key(kept: tuple[TestClient, Path]) -> None:
    asking, key = kept
    assert "1 run" in asking.post("/girder/Example 1/keep", data={"by": "Ada"}).text
    assert "nothing new" in asking.post("/girder/Example 1/keep", data={"by": "Ada"}).text
    told = {
        "passphrase": "a long passphrase",
        "role": "engineer",
        "rule": "acceptance plan, 4",
        "words": "looked at every page",
    }
    page = asking.post("/girder/Example 1/sign", data=told, files={"key": ("ada.pem", key.read_bytes())})
    assert page.status_code == 200, page.text
    assert "Ada signed" in page.text


def test_a_wrong_passphrase_signs_nothing_and_is_not_repeated(kept: tuple[TestClient, Path]) -> None:
    asking, key = kept
    asking.post("/girder/Example 1/keep", data={"by": "Ada"})
    told = {"passphrase": "not this one", "role": "engineer"}
    page = asking.post("/girder/Example 1/sign", data=told, files={"key": ("ada.pem", key.read_bytes())})
    assert page.status_code == 422
    assert "passphrase" in page.text
    assert "not this one" not in page.text


def test_results_are_handed_on_as_one_archive(client: TestClient) -> None:
    answer = client.get("/girder/Example 1/results.zip")
    assert answer.status_code == 200
    names = zipfile.ZipFile(io.BytesIO(answer.content)).namelist()
    assert "result.json" in names
    assert any(name.endswith(".csv") for name in names)
    assert client.get("/girder/Example 1/results.zip", params={"kind": "exe"}).status_code == 422


def test_the_fleet_answers_on_pages_and_for_programs(kept: tuple[TestClient, Path]) -> None:
    asking, _ = kept
    asking.post("/girder/Example 1/keep", data={"by": "Ada"})
    for question in ("state", "margins", "outliers", "trends", "charts", "magnets"):
        assert asking.get(f"/fleet/{question}").status_code == 200, question
        assert asking.get(f"/api/fleet/{question}").json()["schema"] == "monochord-fleet/1"
    assert "Example 1" in asking.get("/fleet/state").text
    assert asking.get("/fleet/nothing").status_code == 422
