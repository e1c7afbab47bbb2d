"""What moved, what to turn, what to decide, on both laboratories' own files. Bounds are the goals set beforehand."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.result import Result
from monochord.campaign.given.campaign import Tolerance
from monochord.job.verdicts import verdicts

if TYPE_CHECKING:
    from tests.labs.conftest import LabRun

UM = 1e-6
Array = NDArray[np.float64]


def comparison(result: Result, start: str, end: str) -> Comparison:
    return next(c for c in result.comparisons if (c.start, c.end) == (start, end))


def true_offsets(lab: LabRun, occasion: str) -> dict[tuple[str, str], float]:
    """True offsets about the refitted line of equal weights, (magnet, plane) -> [m]."""
    axes = lab.truth[occasion]["axes"]
    names = list(axes)
    centre = np.array([axes[m]["centre"] for m in names])
    found: dict[tuple[str, str], float] = {}
    for k, plane in enumerate("xy"):
        line = np.polyval(np.polyfit(centre[:, 2], centre[:, k], 1), centre[:, 2])
        found |= {(m, plane): float(v) for m, v in zip(names, centre[:, k] - line, strict=True)}
    return found


def test_lab_a_own_moves_by_wire_and_targets_together(lab_a: LabRun) -> None:
    change = comparison(lab_a.result, "2-aligned", "5-restored")
    true = lab_a.truth["5-restored"]["own_move_since_alignment"]
    assert {m.magnet for m in change.own_moves} == set(true)
    for move in change.own_moves:
        error = move.estimate.value[:2] - np.array(true[move.magnet][:2])
        u = move.estimate.u[:2]
        assert (np.abs(error) <= 2.5 * u).all(), move.words
        assert (u <= 4.0 * UM).all()
    moved = [m.magnet for m in change.own_moves if m.found]
    assert moved == [max(true, key=lambda m: float(np.hypot(*true[m][:2])))]


def test_lab_a_the_slip_is_hardly_seen_by_the_targets_and_not_called_absent(lab_a: LabRun) -> None:
    """At 4-back there is no wire: a slip that rolled about its targets may not be denied."""
    change = comparison(lab_a.result, "2-aligned", "4-back")
    true = lab_a.truth["4-back"]["own_move_since_alignment"]
    for move in change.own_moves:
        error = move.estimate.value[:2] - np.array(true[move.magnet][:2])
        assert (np.abs(error) <= 3.0 * move.estimate.u[:2]).all()
    assert [m.magnet for m in change.own_moves if m.found is not False] == ["S2"]


def test_lab_a_wire_and_survey_close(lab_a: LabRun) -> None:
    closure = comparison(lab_a.result, "2-aligned", "5-restored").closure
    assert closure is not None
    assert closure.ok
    assert closure.dof > 0


@pytest.mark.parametrize("limit_um", [30.0, 12.0, 8.0])
@pytest.mark.parametrize("occasion", ["2-aligned", "4-back", "5-restored"])
def test_lab_a_no_verdict_is_wrong(lab_a: LabRun, occasion: str, limit_um: float) -> None:
    limit = limit_um * UM
    campaign = replace(lab_a.campaign, tolerances=(Tolerance("offset", limit),))
    made = [v for v in verdicts(campaign, lab_a.result.occasions, lab_a.result.comparisons) if v.occasion == occasion]
    true = true_offsets(lab_a, occasion)
    assert len(made) == 10
    for v in made:
        within = abs(true[v.magnet, v.quantity]) <= limit
        assert v.verdict != "conforms" or within, v
        assert v.verdict != "does not conform" or not within, v
        near = abs(abs(v.value) - limit) <= 1.64 * v.u
        assert (v.verdict == "cannot be decided") == near
    if limit_um == 30.0:
        assert {v.verdict for v in made} == {"conforms"}


def test_lab_a_without_the_second_wire_is_less_sure(lab_a: LabRun) -> None:
    by = {(v.occasion, v.magnet, v.quantity): v.u for v in lab_a.result.verdicts}
    for magnet in ("Q1", "S1", "Q2", "S2", "Q3"):
        for plane in "xy":
            assert by["4-back", magnet, plane] > 2.0 * by["5-restored", magnet, plane]
    finding = next(f for f in lab_a.result.occasions if f.name == "4-back")
    assert "carried by the targets" in finding.line_evidence


def test_lab_a_loose_feet_come_first(lab_a: LabRun) -> None:
    plan = next(p for p in lab_a.result.plans if p.at == "4-back")
    assert set(plan.loose) == {"V1L", "V2L", "V2R", "V4L"}
    assert all(any(text.startswith(f"{foot} is loose") for text in plan.first) for foot in plan.loose)
    assert plan.sentence.startswith("First bring")
    assert any("local rules and licensed people decide" in text for text in plan.cautions)


def test_lab_b_the_magnet_that_moved_by_itself(lab_b: LabRun) -> None:
    change = comparison(lab_b.result, "bench", "tunnel-1")
    assert [m.magnet for m in change.own_moves if m.found] == ["QD2"]
    moved = next(m for m in change.own_moves if m.magnet == "QD2")
    assert 20.0 * UM < float(np.hypot(*moved.estimate.value[:2])) < 80.0 * UM
    assert (moved.estimate.u[:2] < 6.0 * UM).all()
    on_arrival = comparison(lab_b.result, "bench", "tunnel-0")
    assert [m.magnet for m in on_arrival.own_moves if m.found] == ["QD2"]


def test_lab_b_line_and_own_move_are_two_statements(lab_b: LabRun) -> None:
    made = [v for v in lab_b.result.verdicts if v.occasion == "tunnel-1"]
    about_line = [v for v in made if v.limit_by == "tolerance of the offset"]
    assert len(about_line) == 8
    assert {v.verdict for v in about_line} == {"conforms"}
    own = {v.magnet for v in made if v.limit_by == "tolerance of the own move" and v.verdict == "does not conform"}
    assert own == {"QD2"}
    assert "leverage" in lab_b.result.sentence


def test_the_same_readings_give_the_same_numbers(lab_a: LabRun) -> None:
    from monochord.job.evaluate import evaluate
    from monochord.report.document import document_text, result_document
    from tests.labs.conftest import fixed_context

    again = evaluate(lab_a.campaign, fixed_context())
    assert document_text(result_document(again)) == document_text(result_document(lab_a.result))
