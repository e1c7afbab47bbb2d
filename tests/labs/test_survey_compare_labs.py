"""Both laboratories' occasions compared: no move in vain, what is said agrees over occasions, and axes carried by targets hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.found.comparison import Comparison, OwnMove
from monochord.ground.reliability import quadratic_form
from monochord.ground.statistics import chi_square_quantile
from monochord.survey.compare import compare

if TYPE_CHECKING:
    from tests.labs.conftest import LabRun

Array = NDArray[np.float64]
UM = 1e-6


def between(lab: LabRun, start: str, end: str) -> Comparison:
    return next(c for c in lab.result.comparisons if (c.start, c.end) == (start, end))


def moved(found: Comparison) -> list[str]:
    return [m.magnet for m in found.own_moves if m.found]


def own(found: Comparison, magnet: str) -> OwnMove:
    return next(m for m in found.own_moves if m.magnet == magnet)


@pytest.mark.parametrize(
    ("start", "end"), [("2-aligned", "4-back"), ("2-aligned", "5-restored"), ("4-back", "5-restored")]
)
def test_lab_a_only_what_moved_is_found(lab_a: LabRun, start: str, end: str) -> None:
    found = between(lab_a, start, end)
    true = {
        m: np.array(lab_a.truth[end]["own_move_since_alignment"][m]) - np.array(six)
        for m, six in lab_a.truth[start]["own_move_since_alignment"].items()
    }
    gone = {m for m, six in true.items() if np.abs(six[:2]).max() > 10.0 * UM}

    assert set(moved(found)) <= gone
    assert {m.magnet for m in found.own_moves if m.found is not False} >= gone
    assert found.targets_moved == ()
    assert next(g for g in found.gates if g.name == "change explained").ok


def test_lab_a_the_roll_of_the_magnet_that_slipped(lab_a: LabRun) -> None:
    found = between(lab_a, "2-aligned", "5-restored")
    true = lab_a.truth["5-restored"]["own_move_since_alignment"]
    for magnet in moved(found):
        estimate = own(found, magnet).estimate
        assert abs(estimate.value[5] - true[magnet][5]) <= 2.5 * estimate.u[5]
        assert abs(estimate.value[5]) > 2.0 * estimate.u[5]


@pytest.mark.parametrize("wire", [True, False])
@pytest.mark.parametrize("end", ["4-back", "5-restored"])
def test_lab_a_the_change_of_the_axes_about_a_line(lab_a: LabRun, end: str, wire: bool) -> None:
    if wire:
        found = between(lab_a, "2-aligned", end)
    else:
        points = {o.name: o.points for o in lab_a.result.occasions}
        before, after = points["2-aligned"], points[end]
        assert before is not None
        assert after is not None
        found = compare("2-aligned", end, before, after, None, None, lab_a.campaign.girder)
    axes = [lab_a.truth[o]["axes"] for o in ("2-aligned", end)]
    names = [m.name for m in lab_a.campaign.girder.magnets]
    true = np.array([np.subtract(axes[1][m]["centre"][:2], axes[0][m]["centre"][:2]) for m in names]).reshape(-1)
    z = np.array([m.point[2] for m in lab_a.campaign.girder.magnets])
    line = np.stack([np.ones_like(z), z], axis=1)
    about = np.kron(np.eye(len(z)) - line @ np.linalg.pinv(line), np.eye(2))
    error = about @ (found.axis_changes.value - true)

    square, dof = quadratic_form(error, about @ found.axis_changes.cov @ about.T)
    assert dof == 2 * (len(z) - 2)
    assert square < chi_square_quantile(0.99, dof)


def test_lab_b_names_one_magnet_on_both_occasions_after_the_bench(lab_b: LabRun) -> None:
    with_wire, without = between(lab_b, "bench", "tunnel-1"), between(lab_b, "bench", "tunnel-0")
    assert len(moved(with_wire)) == 1
    assert moved(without) == moved(with_wire)
    assert moved(between(lab_b, "tunnel-0", "tunnel-1")) == []

    magnet = moved(with_wire)[0]
    a, b = own(with_wire, magnet).estimate, own(without, magnet).estimate
    assert float(np.hypot(*a.value[:2])) > 20.0 * UM
    # the bench is common to both, so their difference is less uncertain than the two would be apart
    assert np.all(np.abs(a.value[:2] - b.value[:2]) < 2.5 * np.hypot(a.u[:2], b.u[:2]))


def test_lab_b_the_wire_alone_shows_the_same_magnet(lab_b: LabRun) -> None:
    wires = {o.name: o.wire for o in lab_b.result.occasions}
    before, after = wires["bench"], wires["tunnel-1"]
    assert before is not None
    assert after is not None
    y = {a.magnet: b.estimate.value[1] - a.estimate.value[1] for a, b in zip(before.axes, after.axes, strict=True)}
    z = {a.magnet: a.z for a in before.axes}
    magnet = moved(between(lab_b, "bench", "tunnel-1"))[0]
    others = [m for m in y if m != magnet]
    line = np.polyfit([z[m] for m in others], [y[m] for m in others], 1)
    alone = float(y[magnet] - np.polyval(line, z[magnet]))

    said = own(between(lab_b, "bench", "tunnel-1"), magnet).estimate
    # what the shape of the girder did between is at most a few um on this pair
    assert alone == pytest.approx(float(said.value[1]), abs=2.5 * float(said.u[1]))


def test_lab_b_closes(lab_b: LabRun) -> None:
    closure = between(lab_b, "bench", "tunnel-1").closure
    assert closure is not None
    assert closure.ok
    assert closure.dof == 4
