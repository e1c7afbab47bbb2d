"""The common line on numbers that can be solved on paper."""

from __future__ import annotations

import numpy as np
import pytest

from monochord.campaign.found.axes import Axis
from monochord.campaign.given.campaign import LineRule
from monochord.campaign.given.girder import Magnet
from monochord.ground.estimate import Estimate, Factor, Label
from monochord.ground.faults import FrameMismatch, Undetermined
from monochord.verdict.line import common_line, fit_line, known
from monochord.verdict.moves import moves_onto

UM = 1e-6


def axis(name: str, z: float, x: float, y: float, *, u: float = 1.0, frame: str = "girder", sag: float = 0.0) -> Axis:
    """An axis with independent centre noise u [um] and a shared sag cause that moves y by ``sag`` [um] per unit."""
    labels = tuple(
        Label(f"{name}.{c}", unit, frame)
        for c, unit in (("x", "m"), ("y", "m"), ("slope_x", "rad"), ("slope_y", "rad"))
    )
    noise = Factor(np.eye(4)[:, :2], (u * UM) ** 2 * np.eye(2))
    shared = Factor(np.array([[0.0], [sag * UM], [0.0], [0.0]]), np.eye(1))
    estimate = Estimate(np.array([x * UM, y * UM, np.nan, np.nan]), labels, {f"fit:{name}": noise, "sag:here": shared})
    return Axis(name, frame, z, estimate, None, None, None, None, (), ())


def magnets(*names: str) -> list[Magnet]:
    return [Magnet(n, "quadrupole", (0.0, 0.0, 0.0)) for n in names]


def test_three_magnets_evenly_spaced_leave_one_sixth_of_the_bend_at_the_ends() -> None:
    axes = [axis("A", -1.0, 0.0, 0.0), axis("B", 0.0, 6.0, 0.0), axis("C", 1.0, 0.0, 0.0)]
    line = common_line(axes, LineRule(), magnets("A", "B", "C"))
    # mean 2, so the offsets are -2, +4, -2 um
    assert line.offsets.value[0::2] / UM == pytest.approx([-2.0, 4.0, -2.0], abs=1e-9)
    # leverage of evenly spaced triples: 1/3 + z^2 / sum z^2
    assert list(line.leverage.values()) == pytest.approx([5 / 6, 1 / 3, 5 / 6], abs=1e-12)
    # variance of an offset with unit noise is 1 - leverage
    assert (line.offsets.u[0::2] / UM) ** 2 == pytest.approx([1 / 6, 2 / 3, 1 / 6], abs=1e-12)


def test_a_cause_that_shifts_all_alike_leaves_no_uncertainty_about_the_refitted_line() -> None:
    axes = [axis(n, z, 0.0, 0.0, u=1e-6, sag=5.0) for n, z in (("A", -1.0), ("B", 0.0), ("C", 1.0))]
    line = common_line(axes, LineRule(), magnets("A", "B", "C"))
    assert np.abs(line.offsets.factors["sag:here"].jacobian).max() < 1e-18  # metres per unit: nothing but rounding


def test_a_weight_of_zero_takes_a_kind_out_of_the_line() -> None:
    axes = [axis("A", -1.0, 0.0, 0.0), axis("B", 0.0, 6.0, 0.0), axis("C", 1.0, 0.0, 0.0)]
    rule = LineRule(weights="given", weight_of={"B": 0.0})
    line = common_line(axes, rule, magnets("A", "B", "C"))
    assert line.offsets.value[0::2] / UM == pytest.approx([0.0, 6.0, 0.0], abs=1e-9)


def test_the_bench_line_is_not_dragged_by_an_end_magnet() -> None:
    before = [axis(n, z, 0.0, 0.0) for n, z in (("A", -1.0), ("B", 0.0), ("C", 1.0))]
    after = [axis("A2", -1.0, 12.0, 0.0), axis("B2", 0.0, 0.0, 0.0), axis("C2", 1.0, 0.0, 0.0)]
    bench = fit_line(before, {})
    kept = common_line(after, LineRule(line="bench"), magnets("A2", "B2", "C2"), bench=bench)
    refitted = common_line(after, LineRule(), magnets("A2", "B2", "C2"))
    assert kept.offsets.value[0] / UM == pytest.approx(12.0, abs=1e-9)
    assert refitted.offsets.value[0] / UM == pytest.approx(2.0, abs=1e-9)  # 12 * (1 - 5/6)


def test_an_unknown_centre_is_left_out_and_one_centre_makes_no_line() -> None:
    axes = [axis("A", 0.0, 0.0, 0.0), axis("B", 1.0, float("nan"), 0.0)]
    assert [a.magnet for a in known(axes)] == ["A"]
    with pytest.raises(Undetermined, match="two magnets"):
        common_line(axes, LineRule(), magnets("A", "B"))


def test_axes_of_two_frames_make_no_line() -> None:
    with pytest.raises(FrameMismatch):
        common_line([axis("A", 0.0, 0.0, 0.0), axis("B", 1.0, 0.0, 0.0, frame="wire")], LineRule(), magnets("A", "B"))


def test_a_move_is_minus_the_offset_and_noise_is_left_alone() -> None:
    axes = [axis("A", -1.0, 0.0, 0.0), axis("B", 0.0, 30.0, 0.3), axis("C", 1.0, 0.0, 0.0)]
    line = common_line(axes, LineRule(), magnets("A", "B", "C"))
    moves = {m.magnet: m for m in moves_onto(line, ["A", "B", "C"], lambda x, y: f"{x / UM:.0f},{y / UM:.0f}")}
    assert moves["B"].x / UM == pytest.approx(-20.0, abs=1e-9)
    assert moves["B"].words == "move B -20,0; leave the height, it is within 2 u"
    quiet = common_line(
        [axis(n, z, 0.0, 0.0) for n, z in (("A", -1.0), ("B", 0.0), ("C", 1.0))], LineRule(), magnets("A", "B", "C")
    )
    assert all("leave" in m.words for m in moves_onto(quiet, ["A", "B", "C"], lambda x, y: ""))
