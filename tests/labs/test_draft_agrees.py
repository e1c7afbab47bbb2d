"""A draft with answers to what no file tells reads a laboratory as the description that a person wrote does."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from monochord.campaign.found.result import Result
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.job.demo import run_demo
from monochord.job.draft import Drafted, answers_from, draft_description
from monochord.job.evaluate import evaluate
from monochord.report.document import result_document
from tests.labs.conftest import HERE, LabRun, fixed_context

#: What no file tells and no number can: choices that a person answers from what they know of their laboratory.
A = {
    "frame": "x left, y up, z along beam",
    "strength.means": "derivative",
    "signals.displacements": "peak",
    "signals.currents": "peak",
    "signs": "along the axes",
    "tables.bolts.positive_turn": "along the direction",
    "layout.reference": "2-aligned",
    "tables.ride.kind": "window maxima",
}
B = {
    "frame": "x along beam, y left, z up",
    "strength.means": "derivative",
    "signs": "along the axes",
    "tables.bolts.positive_turn": "along the direction",
    "waveforms.sensors": "sensor_x along y, sensor_y along z",
    "layout.order": "by name",
    "layout.reference": "bench",
}
DEMO = {
    "frame": "x right, y along beam, z up",
    "strength.means": "coefficient",
    "signals.displacements": "peak",
    "signs": "along the axes",
    "tables.bolts.positive_turn": "along the direction",
    "layout.reference": "20-lined",
    "tables.ride.kind": "window maxima",
}
#: Facts of the demo's description that stand elsewhere in it than in a sheet.
DEMO_FACTS = {
    "strength.at_current": "90 A",
    "layout.stringings.10-placed": "bench string",
    "layout.stringings.20-lined": "bench string",
    "layout.stringings.50-settled": "tunnel string",
}

SHEETS = ("wire", "instrument", "girder", "line", "tolerances", "throughout", "field_profile")


def sheet_of(lab: Path) -> dict[str, object]:
    """The facts of a written description that no file tells: sheets of wire, tracker, girder, and how good things are."""
    flat = answers_from(lab)
    return {k: v for k, v in flat.items() if k.partition(".")[0] in SHEETS or k.endswith("good_to")}


def numbers(result: Result) -> dict[str, Any]:
    """The result document without places in words, checksums of descriptions, and the order in which columns were read."""
    document: dict[str, Any] = dict(result_document(result))
    document.pop("inputs")
    document["imports"] = [{k: i[k] for k in ("path", "role", "rows", "data")} for i in document.get("imports", [])]
    for occasion in document["occasions"].values():
        occasion.pop("place")
    return document


def run(folder: Path, drafted: Drafted, into: Path, settings: dict[str, str]) -> Result:
    lab = into / "drafted.toml"
    lab.write_text(drafted.text, "utf-8")
    begin(folder, lab, into / "campaign", settings)
    return evaluate(load_campaign(into / "campaign"), fixed_context())


@pytest.mark.parametrize(("lab", "choices"), [("a", A), ("b", B)], ids=["lab a", "lab b"])
def test_a_draft_gives_the_numbers_of_the_written_description(
    lab: str, choices: dict[str, str], labs: Path, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    written: LabRun = request.getfixturevalue(f"lab_{lab}")
    drafted = draft_description(labs / lab, sheet_of(HERE / f"{lab}.toml") | choices)

    assert numbers(run(labs / lab, drafted, tmp_path, {})) == numbers(written.result)


@pytest.mark.parametrize(("lab", "choices"), [("a", A), ("b", B)], ids=["lab a", "lab b"])
def test_nothing_is_asked_but_what_the_files_cannot_tell(
    lab: str, choices: dict[str, str], labs: Path, tmp_path: Path
) -> None:
    drafted = draft_description(labs / lab, sheet_of(HERE / f"{lab}.toml"))

    assert {q.key for q in drafted.draft.questions if q.kind == "choice"} == set(choices)
    assert len(choices) == {"a": 8, "b": 7}[lab]
    assert {q.key for q in drafted.draft.questions if q.kind == "fact" and q.needed} == set()
    assert drafted.proof.open, "with a choice left open it is not loaded"


@pytest.mark.parametrize("lab", ["a", "b"])
def test_every_file_reads_back_whole_and_lies_on_the_nominal_targets(lab: str, labs: Path, tmp_path: Path) -> None:
    choices = {"a": A, "b": B}[lab]
    drafted = draft_description(labs / lab, sheet_of(HERE / f"{lab}.toml") | choices)
    proof = drafted.proof

    assert proof.open == ()
    assert [r.refused for r in proof.read] == [0] * len(proof.read)
    tables = list((labs / lab).rglob("*.csv"))
    assert len(proof.read) == len(tables)
    assert len(proof.geometry) == 3
    assert all("half of the targets lie within 0.0" in line for line in proof.geometry)


def test_the_demo_drafts_to_its_own_numbers(tmp_path: Path) -> None:
    """A third laboratory: tabs, a remark line, clockwise elevations, amplitudes and phases, rms currents."""
    done = run_demo(tmp_path / "demo", 2, fixed_context())
    folder, lab = tmp_path / "demo" / "handed-over", tmp_path / "demo" / "lab.toml"
    facts = sheet_of(lab) | DEMO_FACTS
    drafted = draft_description(folder, facts | DEMO)

    assert {q.key for q in draft_description(folder, facts).draft.questions if q.kind == "choice"} == set(DEMO)
    (tmp_path / "own").mkdir()
    assert numbers(run(folder, drafted, tmp_path / "own", {"girder": "Example 2"})) == numbers(done.result)
