"""The pages in a real browser, on a tablet's screen and a desktop's: the example by clicks, and whether everybody can use them."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from monochord.job.desk.place import Desk
from monochord.report.parts import PARTS
from monochord.store.making import make_record
from monochord.web.app import create_app
from tests.web.serving import served

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

#: A 10-inch tablet upright, and an office screen [CSS pixels].
SCREENS = {"tablet": (800, 1280), "desktop": (1440, 900)}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium, as the distribution brings it."""
    from playwright.sync_api import sync_playwright

    program = os.environ.get("MONOCHORD_CHROMIUM") or shutil.which("chromium")
    if program is None:
        if os.environ.get("CI"):
            pytest.fail("Chromium must be installed in CI")
        pytest.skip("Chromium is not installed here")
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path=program, args=["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
        )
        yield started
        started.close()


@pytest.fixture
def handed_over(demo_folder: Path, tmp_path: Path) -> tuple[Path, Path]:
    """What an invented laboratory hands over, and the description of how its files read."""
    folder = shutil.copytree(demo_folder / "handed-over", tmp_path / "handed-over")
    lab = tmp_path / "lab.toml"
    lab.write_text(resources.files("monochord.job.demo").joinpath("lab.toml").read_text("utf-8"), "utf-8")
    return folder, lab


def opened(browser: Browser, screen: str) -> tuple[Page, list[str]]:
    """A page on a screen, and what the browser complains of."""
    wide, high = SCREENS[screen]
    page = browser.new_page(viewport={"width": wide, "height": high}, has_touch=screen == "tablet")
    said: list[str] = []
    page.on("pageerror", lambda error: said.append(f"error: {error}"))
    page.on("console", lambda message: said.append(message.text) if message.type == "error" else None)
    page.on(
        "request",
        lambda asked: said.append(f"asks elsewhere: {asked.url}") if "://127.0.0.1" not in asked.url else None,
    )
    page.set_default_timeout(60_000)
    return page, [s for s in said if not s.startswith("asks elsewhere: data:")] if said else said


@pytest.mark.parametrize("screen", list(SCREENS))
def test_the_whole_example_by_clicks(
    browser: Browser, screen: str, tmp_path: Path, handed_over: tuple[Path, Path]
) -> None:
    (tmp_path / "desk").mkdir()
    record = str(tmp_path / "ring.sqlite")
    make_record(record)
    folder, lab = handed_over
    with served(create_app(Desk(tmp_path / "desk", record))) as port:
        page, complaints = opened(browser, screen)
        page.goto(f"http://127.0.0.1:{port}/")
        page.get_by_role("link", name="Begin a campaign").last.click()
        page.get_by_label("Folder that the laboratory handed over").fill(str(folder))
        page.get_by_label("Description of how its files read").fill(str(lab))
        page.get_by_label("Name of the girder").fill("Larch 3")
        page.get_by_role("button", name="Begin").click()
        page.get_by_role("link", name="To Larch 3").click()
        page.get_by_role("button", name="Evaluate").click()
        page.get_by_role("link", name="To Larch 3").click()
        for part in PARTS:
            page.get_by_role("link", name=part.title, exact=True).click()
            page.get_by_role("heading", level=2).first.wait_for()
            assert page.locator("figure svg, .sheet").count() >= 1, part.ident
        page.get_by_role("link", name="Deeds").click()
        page.get_by_label("Which: FILE:LINE").fill(first_sighting(tmp_path / "desk"))
        page.get_by_label("Why, in a sentence").fill("the crew leaned on the tripod")
        page.get_by_role("button", name="Set aside").click()
        page.get_by_text("the crew leaned on the tripod").first.wait_for()
        page.get_by_role("button", name="Take into the record").click()
        page.get_by_text("1 run").first.wait_for()
        page.get_by_role("link", name="Fleet").click()
        page.get_by_role("row", name="Larch 3").first.wait_for()
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= SCREENS[screen][0]  # nothing hangs over the edge
        assert complaints == []
        page.close()


def first_sighting(folder: Path) -> str:
    from monochord.job.desk.deeds import readings

    return next(r for r in readings(Desk(folder), "Larch 3").able if r.what == "sighting").address


@pytest.mark.parametrize(
    "address", ["/", "/begin", "/tasks", *(f"/girder/Example 1/{p.ident}" for p in PARTS), "/girder/Example 1/deeds"]
)
def test_everybody_can_use_the_page(browser: Browser, desk: Desk, address: str) -> None:
    """No serious finding of axe-core (its rules of WCAG 2.0 to 2.2, levels A and AA)."""
    from axe_playwright_python.sync_playwright import Axe

    with served(create_app(desk)) as port:
        page, _ = opened(browser, "tablet")
        page.goto(f"http://127.0.0.1:{port}{address}")
        found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]})
        serious = [v for v in found.response["violations"] if v["impact"] in ("serious", "critical")]
        assert [(v["id"], [n["html"][:120] for n in v["nodes"][:3]]) for v in serious] == []
        page.close()
