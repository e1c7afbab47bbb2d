"""Readings that people set aside: by hand and by the command, what the result tells of them, and that nothing else moves."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from monochord.campaign.found.result import Result
from monochord.campaign.given.occasion import Occasion
from monochord.campaign.given.survey import Sighting
from monochord.cli.main import main
from monochord.files.campaign_file import load_campaign
from monochord.job.context import Context
from monochord.job.evaluate import evaluate
from monochord.job.exclude import list_excludable, list_excluded
from monochord.job.set_aside import NO_SCAN, geometry, residual, spread
from monochord.job.why.explain import explainer
from monochord.job.why.names import numbers
from monochord.job.why.rows import Folder
from monochord.report.document import result_document
from monochord.report.page import page
from monochord.report.schema import document_faults
from monochord.report.summary import summary
from monochord.survey.model import KINDS
from tests.trial_bench import EXCERPT, Bench, Ended

TRACKER = "measured/2-aligned/tracker.csv"
SCAN = "2-aligned/Q1/x/1"
WHY = "the reflector was knocked"


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("exclude")
    shutil.copytree(EXCERPT / "a", root / "data")
    shutil.copy(EXCERPT / "a.toml", root / "lab.toml")
    bench = Bench(root)
    bench.begun()
    with (bench.campaign / "campaign.toml").open("a", encoding="utf-8") as stream:
        stream.write("# a remark that somebody wrote\n")
    return bench.campaign


@pytest.fixture
def campaign(begun: Path, tmp_path: Path) -> Path:
    shutil.copytree(begun, tmp_path / "campaign")
    return tmp_path / "campaign"


def exclude(campaign: Path, *arguments: str) -> Ended:
    done = CliRunner().invoke(main, ["exclude", str(campaign), *arguments], catch_exceptions=False)
    return Ended(done.exit_code, done.output)


def occasion(campaign: Path, name: str = "2-aligned") -> Occasion:
    return next(o for o in load_campaign(campaign).occasions if o.name == name)


def result_of(campaign: Path) -> Result:
    context = Context(now=lambda: datetime(2031, 5, 5, tzinfo=UTC), new_id=lambda: "test")
    return evaluate(load_campaign(campaign), context)


def document_of(result: Result) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(json.dumps(result_document(result)))
    return told


def test_a_sighting_set_aside_is_the_only_thing_that_goes(campaign: Path) -> None:
    before = occasion(campaign)
    done = exclude(campaign, "--sighting", f"{TRACKER}:3", "--why", WHY, "--by", "A. Surveyor")
    after = occasion(campaign)

    assert done.code == 0, done.printed
    assert f"leaves {len(before.sightings) - 1} sightings" in done.printed
    assert after.sightings == tuple(s for s in before.sightings if s.line != 3)
    assert [s.rows for s in after.scans] == [s.rows for s in before.scans]
    (told,) = load_campaign(campaign).excluded
    assert (told.why, told.by, told.file, told.line) == (WHY, "A. Surveyor", TRACKER, 3)
    assert told.reading == next(s for s in before.sightings if s.line == 3)


def test_a_scan_set_aside_is_the_only_thing_that_goes(campaign: Path) -> None:
    before = occasion(campaign)
    first = next(s for s in before.scans if (s.magnet, s.moved) == ("Q1", "x"))
    done = exclude(campaign, "--scan", SCAN, "--why", "a crane passed")

    assert done.code == 0, done.printed
    after = occasion(campaign)
    assert [s.name for s in after.scans] == [s.name for s in before.scans if s.name != first.name]
    assert after.sightings == before.sightings


def test_measured_files_and_remarks_stay(campaign: Path, begun: Path) -> None:
    exclude(campaign, "--sighting", f"{TRACKER}:3", "--why", WHY)
    then, now = ((c / "campaign.toml").read_text("utf-8") for c in (begun, campaign))

    assert now.startswith(then)
    assert "# a remark that somebody wrote" in now
    assert (campaign / TRACKER).read_bytes() == (begun / TRACKER).read_bytes()


def test_what_is_taken_back_counts_again_and_stays_told(campaign: Path) -> None:
    before = occasion(campaign)
    exclude(campaign, "--sighting", f"{TRACKER}:3", "--why", WHY)
    exclude(campaign, "--scan", SCAN, "--why", "a crane passed")
    done = exclude(campaign, "--take-back", "1", "--why", "it was another pointing", "--by", "B. Surveyor")

    assert done.code == 0, done.printed
    assert occasion(campaign).sightings == before.sightings
    assert len(occasion(campaign).scans) == len(before.scans) - 1
    first, second = load_campaign(campaign).excluded
    assert (first.holds, first.taken_back, first.taken_back_by) == (False, "it was another pointing", "B. Surveyor")
    assert (second.holds, first.why) == (True, WHY)
    listed = exclude(campaign, "--list").printed
    assert WHY in listed
    assert "counts again: it was another pointing" in listed
    anew = exclude(campaign, "--sighting", f"{TRACKER}:3", "--why", "knocked after all")
    assert "(entry 3)" in anew.printed
    assert [e.holds for e in list_excluded(campaign)] == [False, True, True]


def test_a_reason_over_several_lines_is_taken_back_too(campaign: Path) -> None:
    with (campaign / "campaign.toml").open("a", encoding="utf-8") as stream:
        stream.write(
            f'[[excluded]] # noted by hand\noccasion = "2-aligned"\nwhat = "sighting"\nfile = "{TRACKER}"\nline = 3\n'
            'why = """knocked,\nand = "nobody" saw it\n"""\n'
        )
    done = exclude(campaign, "--take-back", "1", "--why", "somebody did see it")

    assert done.code == 0, done.printed
    assert load_campaign(campaign).excluded[0].taken_back == "somebody did see it"
    assert "# noted by hand" in (campaign / "campaign.toml").read_text("utf-8")


def test_what_can_be_set_aside_is_listed_with_its_address(campaign: Path) -> None:
    found = list_excludable(campaign)
    measured = load_campaign(campaign).occasions

    assert len(found) == sum(len(o.sightings) + len(o.scans) + len(o.raw_scans) for o in measured)
    assert len({e.address for e in found}) == len(found)
    assert not any(e.entry for e in found)
    exclude(campaign, "--scan", SCAN, "--why", "a crane passed")
    assert [e.address for e in list_excludable(campaign) if e.entry == 1] == [SCAN]


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("--sighting", f"{TRACKER}:1", "--why", WHY), 3, "FILE:LINE of a sighting"),
        (("--sighting", "trackr.csv:3", "--why", WHY), 3, "take one of"),
        (("--sighting", "tracker.csv:3", "--why", WHY), 3, "which names 2 sightings"),
        (("--scan", "2-aligned/Q1/x", "--why", WHY), 3, "scans; expected one of them"),
        (("--scan", "2-aligned/Q77/x/1", "--why", WHY), 3, "did you mean"),
        (("--sighting", f"{TRACKER}:3", "--why", "?"), 3, "a reason in words"),
        (("--sighting", f"{TRACKER}:3"), 2, "give the reason by --why"),
        (("--why", WHY), 2, "give one of --sighting"),
        (("--list", "--scan", SCAN), 2, "give one of --sighting"),
        (("--take-back", "1", "--why", WHY), 3, "one of 0 entries"),
    ],
)
def test_what_cannot_be_set_aside_is_refused_and_nothing_written(
    campaign: Path, begun: Path, arguments: tuple[str, ...], code: int, words: str
) -> None:
    done = exclude(campaign, *arguments)

    assert done.code == code, done.printed
    assert words in done.printed
    assert "Traceback" not in done.printed
    assert (campaign / "campaign.toml").read_bytes() == (begun / "campaign.toml").read_bytes()


def test_twice_the_same_is_refused(campaign: Path) -> None:
    exclude(campaign, "--scan", SCAN, "--why", "a crane passed")
    again = exclude(campaign, "--scan", SCAN, "--why", "a crane passed")
    exclude(campaign, "--take-back", "1", "--why", "no crane passed")
    back = exclude(campaign, "--take-back", "1", "--why", "no crane passed")

    assert again.code == back.code == 3
    assert "which entry 1 sets aside already" in again.printed
    assert "taken back already (no crane passed)" in back.printed


def test_lines_that_end_as_elsewhere_stay_so(campaign: Path) -> None:
    path = campaign / "campaign.toml"
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert exclude(campaign, "--scan", SCAN, "--why", "a crane passed").code == 0

    assert path.read_bytes().count(b"\r\n") == path.read_bytes().count(b"\n")
    assert len(load_campaign(campaign).excluded) == 1


@pytest.fixture(scope="module")
def aside(begun: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    """A campaign with a sighting and a scan aside and one taken back, and its result."""
    campaign = tmp_path_factory.mktemp("aside") / "campaign"
    shutil.copytree(begun, campaign)
    for arguments in (
        ("--sighting", f"{TRACKER}:3", "--why", WHY, "--by", "A. Surveyor"),
        ("--scan", SCAN, "--why", "a crane passed"),
        ("--sighting", f"{TRACKER}:4", "--why", WHY),
        ("--take-back", "3", "--why", "it was the pointing before"),
    ):
        assert exclude(campaign, *arguments).code == 0
    return campaign, result_of(campaign)


def test_the_document_tells_every_entry_and_fits_its_schema(aside: tuple[Path, Result]) -> None:
    document = document_of(aside[1])

    assert document_faults(document) == ()
    assert [(e["what"], e["state"]) for e in document["excluded"]] == [
        ("sighting", "set aside"), ("scan", "set aside"), ("sighting", "taken back"),
    ]  # fmt: skip
    assert document["excluded"][0]["place"] == f"{TRACKER}, line 3"
    assert (document["excluded"][0]["why"], document["excluded"][0]["by"]) == (WHY, "A. Surveyor")
    assert [r["kind"] for r in document["excluded"][0]["readings"]] == list(KINDS)
    assert document["excluded"][1]["reasons"]["readings"] == NO_SCAN


def test_without_entries_the_document_says_so(begun: Path) -> None:
    document = document_of(result_of(begun))

    assert document["excluded"] == []
    assert document["reasons"]["excluded"].startswith("nobody set")


def test_taken_back_all_the_numbers_are_as_before(campaign: Path, begun: Path) -> None:
    exclude(campaign, "--sighting", f"{TRACKER}:3", "--why", WHY)
    exclude(campaign, "--take-back", "1", "--why", "it was another pointing")
    before, after = (dict(numbers(document_of(result_of(c)))) for c in (begun, campaign))

    assert after == before


def test_what_a_sighting_would_have_said_is_computed_as_residuals_are(aside: tuple[Path, Result]) -> None:
    """The same formula on sightings that count gives the adjustment's own residuals, to roundings of doubles."""
    campaign, result = aside
    points = next(o.points for o in result.occasions if o.name == "2-aligned")
    instrument = result.campaign.instrument
    assert points is not None
    assert instrument is not None
    own = {(r.station, r.target, r.round, r.kind): r for r in points.residuals}
    compared = 0
    for s in occasion(campaign).sightings:
        lines = geometry("2-aligned", points, s)
        assert not isinstance(lines, str)
        amounts = [line.amount for line in lines]
        for k, value in enumerate((s.direction, s.zenith, s.distance)):
            r = own.get((s.station, s.target, s.round, KINDS[k]))
            if r is not None and value is not None:
                assert residual(value, amounts, k) == pytest.approx(r.residual, abs=1e-12)
                # the adjustment weighs by where it began, some millimetres away of metres
                assert spread(instrument, amounts, k) == pytest.approx(r.sigma, rel=1e-2)
                compared += 1

    assert compared > 100


def test_a_gross_error_is_told_by_its_size(campaign: Path) -> None:
    """A sighting made 1 mm too long and set aside would have said 1 mm: the others do not know of it, but for its own noise."""
    path = campaign / TRACKER
    rows = path.read_text("utf-8").splitlines()
    place = rows[0].split(",").index("distance_mm")
    cells = rows[2].split(",")
    cells[place] = f"{float(cells[place]) + 1.0:.4f}"
    path.write_text("\n".join([*rows[:2], ",".join(cells), *rows[3:]]) + "\n", encoding="utf-8")
    _with_checksum(campaign)
    exclude(campaign, "--sighting", f"{TRACKER}:3", "--why", WHY)
    (told,) = result_of(campaign).excluded
    distance = told.readings[2]

    assert isinstance(told.excluded.reading, Sighting)
    # noise of one distance and of the place that the others give: below 15 um each
    assert distance.residual == pytest.approx(1e-3, abs=5e-5)
    assert distance.in_u == pytest.approx(distance.residual / distance.u)
    assert distance.in_u > 50.0


def _with_checksum(campaign: Path) -> None:
    path = campaign / "campaign.toml"
    lines = path.read_text("utf-8").splitlines()
    now = sha256((campaign / TRACKER).read_bytes()).hexdigest()
    at = next(i for i, line in enumerate(lines) if TRACKER in line)
    then = lines[at].split('sha256 = "')[1][:64]
    path.write_text("\n".join(lines).replace(then, now) + "\n", encoding="utf-8")


def test_every_number_that_is_told_of_them_is_explained_to_its_row(aside: tuple[Path, Result]) -> None:
    campaign, result = aside
    ask, folder = explainer(result), Folder(campaign)
    names = [name for name, _ in numbers(result_document(result)) if name.startswith("/excluded")]
    rows = set()
    for name in names:
        made = ask(name)
        assert made.again() == pytest.approx(made.value, rel=1e-9, abs=1e-13), name
        for line in made.lines:
            assert line.of or line.places, f"{name}: {line.words} ends nowhere"
            if line.of:
                assert ask(line.of).value == pytest.approx(line.amount, rel=1e-9, abs=1e-13), line.of
            rows |= {place for place in line.places if folder.rows(place)}

    assert len(names) == 9
    assert (TRACKER, 3) in {(place.file, place.line) for place in rows}


def test_screen_and_page_tell_them(aside: tuple[Path, Result]) -> None:
    screen, shown = summary(aside[1]), page(aside[1])

    (line,) = [line for line in screen.splitlines() if line.startswith("Set aside by people (1 sighting and 1 scan): ")]
    assert "2-aligned" in line
    assert "Set aside by people, with the reason" in shown
    assert WHY in shown
    assert "counts again: it was the pointing before" in shown


def test_the_screen_is_silent_where_nobody_set_anything_aside(begun: Path) -> None:
    assert "Set aside" not in summary(result_of(begun))
