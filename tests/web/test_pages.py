"""The pages answer, lead on, and refuse with words."""

from __future__ import annotations

import re
import time

import pytest
from starlette.testclient import TestClient

from monochord.job.desk.place import Desk
from monochord.report.parts import PARTS


def test_the_first_page_tells_every_girder_with_its_sentence(client: TestClient) -> None:
    page = client.get("/")
    assert page.status_code == 200
    assert "Example 1" in page.text
    assert "conform" in page.text


@pytest.mark.parametrize("part", [part.ident for part in PARTS])
def test_every_part_of_a_girder_stands_on_a_page_of_its_own(client: TestClient, part: str) -> None:
    page = client.get(f"/girder/Example 1/{part}")
    assert page.status_code == 200
    assert page.text.count("<h2") >= 1
    assert f'/{part}" aria-current="page"' in page.text


def test_every_link_of_a_page_leads_somewhere(client: TestClient) -> None:
    met, waiting = set(), ["/"]
    while waiting:
        here = waiting.pop()
        if here not in met:
            met.add(here)
            page = client.get(here)
            assert page.status_code == 200, here
            waiting += [
                link
                for link in re.findall(r'(?:href|src)="(/[^"#]*)"', page.text)
                if not link.startswith("/api/events")
            ]
    assert len(met) >= 10


def test_nothing_on_a_page_is_fetched_from_elsewhere(client: TestClient) -> None:
    for part in PARTS:
        text = client.get(f"/girder/Example 1/{part.ident}").text
        assert not re.search(r"""(?:src|href|action)=["']?(?:https?:)?//""", text)
        assert " style=" not in text  # the policy forbids it, so it would be lost


def test_an_evaluation_goes_on_beside_and_leads_back(client: TestClient) -> None:
    page = client.post("/girder/Example 1/run")
    assert page.url.path.startswith("/tasks/")  # people are led to a page, not to numbers
    key = page.url.path.rsplit("/", 1)[-1]
    for _ in range(600):
        task = client.get(f"/api/tasks/{key}").json()
        if task["state"] != "running":
            break
        time.sleep(0.1)
    assert task["state"] == "done", task
    assert "writing the pages" in task["lines"]
    assert "/girder/Example%201" in client.get(f"/tasks/{key}").text


def test_a_task_is_stopped_and_says_so(client: TestClient, desk: Desk) -> None:
    before = desk.document("Example 1")
    key = client.post("/api/campaigns/Example 1/run").json()["id"]
    assert client.post(f"/api/tasks/{key}/stop").json()["state"] == "stopped"
    time.sleep(0.5)
    assert client.get(f"/api/tasks/{key}").json()["state"] == "stopped"
    assert desk.document("Example 1") == before


@pytest.mark.parametrize("name", ["..", "../demo", "%2e%2e%2fdemo", "a/b", ".hidden", "nul\0", "x" * 90, "Example 1."])
def test_a_name_that_is_a_path_leads_nowhere(client: TestClient, name: str) -> None:
    for address in (f"/girder/{name}/verdict", f"/api/campaigns/{name}/result"):
        try:
            answer = client.get(address)
        except Exception as error:  # an address that cannot even be sent
            assert "Invalid" in str(error) or "invalid" in str(error)  # noqa: PT017
            continue
        assert answer.status_code in (404, 422), address


def test_what_another_sites_page_sends_is_refused(client: TestClient) -> None:
    for header in ({"origin": "https://elsewhere.example"}, {"sec-fetch-site": "cross-site"}):
        assert client.post("/girder/Example 1/run", headers=header).status_code == 403
    assert client.get("/", headers={"host": "elsewhere.example"}).status_code == 400
