"""The built-in example as a whole: invented, handed over, evaluated, and held to what was true."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monochord.campaign.found.result import OccasionFinding, Result
from monochord.campaign.found.verdict import CONFORMS, DOES_NOT_CONFORM
from monochord.ground.faults import Refused
from monochord.job.context import Context
from monochord.job.demo import MARK, TRUTH, run_demo
from monochord.simulate.demo import demo_campaign

CONTEXT = Context(now=lambda: datetime(2031, 6, 1, tzinfo=UTC), new_id=lambda: "run")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("demo") / "example"


@pytest.fixture(scope="module")
def result(folder: Path) -> Result:
    return run_demo(folder, 1, CONTEXT).result


@pytest.fixture(scope="module")
def truth(folder: Path, result: Result) -> dict[str, Any]:
    assert result.occasions
    told: dict[str, Any] = json.loads((folder / TRUTH).read_text(encoding="utf-8"))
    occasions: dict[str, Any] = told["occasions"]
    return occasions


def finding(result: Result, name: str) -> OccasionFinding:
    return next(f for f in result.occasions if f.name == name)


def test_what_was_true_stands_where_no_evaluation_reads_it(folder: Path, truth: dict[str, Any]) -> None:
    assert truth == json.loads(json.dumps(demo_campaign(1).truth))["occasions"]
    assert [p for p in folder.rglob("*") if "true" in p.name] == [folder / TRUTH]
    assert (folder / MARK).is_file()


def test_exactly_the_slipped_magnet_is_found_and_how_far_it_went(result: Result, truth: dict[str, Any]) -> None:
    change = next(c for c in result.comparisons if (c.start, c.end) == ("20-lined", "50-settled"))

    assert [m.magnet for m in change.own_moves if m.found] == [truth["30-road"]["slipped"]]
    for move in change.own_moves:
        error = move.estimate.value[:2] - np.array(truth["50-settled"]["own_moves"][move.magnet][:2])
        # twelve values: one of them beyond 3.3 u once in a hundred campaigns
        assert (np.abs(error) <= 3.3 * move.estimate.u[:2]).all(), move.words


def test_hanging_feet_are_named_first(result: Result, truth: dict[str, Any]) -> None:
    plan = next(p for p in result.plans if p.at == "40-arrival")
    hanging = {name for name, foot in truth["40-arrival"]["feet"].items() if foot["gap"]}

    assert set(plan.loose) == hanging
    assert {text.split(" is loose")[0] for text in plan.first[: len(hanging)]} == hanging
    assert next(p for p in result.plans if p.at == "50-settled").loose == ()


def test_the_wrong_sighting_and_the_wrong_range_entry_are_named(result: Result, truth: dict[str, Any]) -> None:
    wrong = truth["40-arrival"]["survey"]["wrong"]
    for name in ("20-lined", "40-arrival", "50-settled"):
        points = finding(result, name).points
        assert points is not None
        expected = [(wrong["station"], wrong["target"])] if name == "40-arrival" else []
        assert [(r.station, r.target) for r in points.rejected] == expected
        scale = truth[name]["survey"]["range_scale"]
        named = [g for g in points.gates if g.name == "range scale" and not g.ok]
        assert bool(named) == bool(scale), points.gates
        if scale:
            assert points.scale == pytest.approx(scale, abs=3.0 * points.u_scale)


def test_no_verdict_is_wrong(result: Result, truth: dict[str, Any]) -> None:
    decided = 0
    for verdict in result.verdicts:
        fact = truth[verdict.occasion]
        if verdict.limit_by == "tolerance of the offset":
            centre = np.array([a["centre"] for a in fact["axes"].values()])
            line = np.stack([np.ones(len(centre)), centre[:, 2]], axis=1)
            away = centre[:, :2] - line @ np.linalg.lstsq(line, centre[:, :2], rcond=None)[0]
            true = float(away[list(fact["axes"]).index(verdict.magnet), "xy".index(verdict.quantity)])
        else:
            true = fact["own_moves"][verdict.magnet]["xy".index(verdict.quantity[-1])]
        within = abs(true) <= verdict.limit
        assert verdict.verdict != CONFORMS or within, verdict
        assert verdict.verdict != DOES_NOT_CONFORM or not within, verdict
        decided += verdict.verdict in (CONFORMS, DOES_NOT_CONFORM)

    assert decided > 0.9 * len(result.verdicts)


def test_a_folder_of_somebody_else_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "precious.txt").write_text("mine", encoding="utf-8")

    with pytest.raises(Refused, match="not the example's"):
        run_demo(tmp_path, 1, CONTEXT)
    assert (tmp_path / "precious.txt").read_text(encoding="utf-8") == "mine"
