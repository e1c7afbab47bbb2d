"""Changes that one can work out by hand: one cause at a time, without noise, must come back with its name and its size.

Priors pull every number a little towards what is expected, by a part of its uncertainty; shapes are therefore judged with
surveys ten times sharper than real ones, where one standard uncertainty is below 0.7 um and 2 urad.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monochord.campaign.found.comparison import Comparison, OwnMove
from monochord.campaign.found.points import PointSet
from monochord.campaign.given.girder import Item, Target
from monochord.ground.faults import Refused
from monochord.survey.compare import compare
from monochord.survey.sizes import Stretch
from tests.survey_compare_girder import Noise, What, make_girder, parabola, straight, two_occasions

GIRDER = make_girder()
#: One standard uncertainty of a shape [m] and of a twist [rad] as sharp surveys tell it.
CLOSE, TURNED = 0.7e-6, 2e-6
REAL, SHARP = Noise(), Noise(2.5e-7, 3e-7, 1e-6, 1e-7, 1e-7, 4e-7)


def compared(
    what: What,
    *,
    wire: bool = True,
    noise: Noise = REAL,
    scale: float = 0.0,
    stretch: float = 0.0,
    bow: float | None = None,
) -> Comparison:
    two = two_occasions(GIRDER, what, noise=noise, scale=scale)
    return compare(
        "before", "after", two.a, two.b, two.axes_a if wire else None, two.axes_b if wire else None, GIRDER,
        stretch=Stretch(stretch, 0.3e-6), bow=None if bow is None else (bow, 0.01),
    )  # fmt: skip


def size(found: Comparison, cause: str) -> float:
    return next(p.size for p in found.shape if p.cause == cause)


def own(found: Comparison, magnet: str) -> OwnMove:
    return next(m for m in found.own_moves if m.magnet == magnet)


def moves(found: Comparison) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return np.array([m.estimate.value for m in found.own_moves])


def told(found: Comparison) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return np.array([m.estimate.u for m in found.own_moves])


def without(points: PointSet, *starts: str) -> PointSet:
    kept = tuple(n for n in points.names if not n.startswith(starts))
    estimate = points.estimate.pick([f"{n}.{c}" for n in kept for c in "xyz"])
    return replace(points, names=kept, estimate=estimate, carriers={n: points.carriers[n] for n in kept})


@pytest.mark.parametrize("wire", [True, False])
def test_nothing_changed_is_nothing_found(wire: bool) -> None:
    found = compared(What(), wire=wire)

    assert np.abs(moves(found)).max() < 1e-9
    assert [m.found for m in found.own_moves] == [False] * 5
    assert found.targets_moved == ()
    assert all(gate.ok for gate in found.gates)
    assert "the girder kept its shape" in found.sentence
    assert "no magnet moved by itself" in found.sentence


@pytest.mark.parametrize("wire", [True, False])
def test_a_rigid_motion_is_taken_out_whole(wire: bool) -> None:
    six = np.array([120e-6, -80e-6, 40e-6, 30e-6, -60e-6, 90e-6])
    found = compared(What(rigid=six), wire=wire)

    assert np.abs(moves(found)).max() < 1e-8
    assert np.allclose(found.rigid.shift, six[:3], atol=1e-8)
    turn = found.rigid.rotation
    assert np.allclose([turn[2, 1], turn[0, 2], turn[1, 0]], six[3:], atol=2e-8)  # second order: 90e-6 times 90e-6


@pytest.mark.parametrize("wire", [True, False])
def test_a_pure_sag_is_a_sag(wire: bool) -> None:
    found = compared(What(vertical=parabola(-42e-6)), wire=wire, noise=SHARP)

    assert size(found, "vertical bend") == pytest.approx(-42e-6, abs=CLOSE)
    for other in ("vertical S bend", "lateral bend", "lateral S bend"):
        assert size(found, other) == pytest.approx(0.0, abs=CLOSE)
    assert "the girder sagged 41.9 +-" in found.sentence
    assert np.all(np.abs(moves(found)[:, :3]) < told(found)[:, :3])
    assert [m.found for m in found.own_moves] == [False] * 5


def test_a_bend_to_the_left_and_a_twist_have_their_own_names_and_signs() -> None:
    found = compared(What(lateral=parabola(30e-6), twist=straight(80e-6)), noise=SHARP)

    assert size(found, "lateral bend") == pytest.approx(30e-6, abs=CLOSE)
    assert size(found, "twist") == pytest.approx(80e-6, abs=TURNED)
    assert size(found, "vertical bend") == pytest.approx(0.0, abs=CLOSE)
    assert "to the left in the middle" in found.sentence
    assert "x towards y" in found.sentence
    assert np.all(np.abs(moves(found)[:, :2]) < told(found)[:, :2])


def test_the_change_of_the_axes_is_the_shape_at_the_beam_with_its_arm_over_the_neutral_line() -> None:
    found = compared(What(twist=straight(80e-6)), wire=False, noise=SHARP)
    z = np.array([m.point[2] for m in GIRDER.magnets])
    by_hand = -0.58 * 0.5 * 80e-6 * z / 2.1  # x = -(y - y0) t with y = 0 and y0 = -0.58 m
    x = found.axis_changes.value.reshape(-1, 2)[:, 0]

    departure = x - by_hand
    assert np.abs(departure - np.polyval(np.polyfit(z, departure, 1), z)).max() < CLOSE


@pytest.mark.parametrize("giving", [0.0, 1.0])
def test_it_is_all_one_whether_magnets_ride_rigidly_or_give_way(giving: float) -> None:
    found = compared(What(vertical=parabola(-150e-6), twist=straight(300e-6), giving=giving), noise=SHARP)

    assert [m.found for m in found.own_moves] == [False] * 5
    assert np.all(np.abs(moves(found)[:, :2]) < told(found)[:, :2])


@pytest.mark.parametrize("wire", [True, False])
def test_one_magnet_alone_moved_as_a_body(wire: bool) -> None:
    six = np.array([40e-6, -25e-6, 0.0, 0.0, 0.0, 120e-6])
    found = compared(What(bodies={"M2": six}), wire=wire)
    move = own(found, "M2")

    assert [m.magnet for m in found.own_moves if m.found] == ["M2"]
    assert np.allclose(move.estimate.value[:3], six[:3], atol=0.5 * move.estimate.u[0])
    assert move.estimate.value[5] == pytest.approx(120e-6, abs=0.5 * move.estimate.u[5])
    assert found.targets_moved == ()
    assert "M2 alone moved" in found.sentence
    assert "left" in move.words
    assert "down" in move.words
    assert np.abs(np.delete(moves(found), 1, axis=0)[:, :2]).max() < 2e-6


def test_a_magnet_whose_targets_hardly_moved_is_found_by_wire_and_targets_together() -> None:
    # 20 um left at the axis and rolled so that its top, 0.29 m above, came back by 17 um: targets alone do not find it
    six = np.array([20e-6, 0.0, 0.0, 0.0, 0.0, 60e-6])
    found = compared(What(bodies={"M3": six}))

    assert [m.magnet for m in found.own_moves if m.found] == ["M3"]
    assert own(found, "M3").estimate.value[0] == pytest.approx(20e-6, abs=own(found, "M3").estimate.u[0])
    assert own(found, "M3").evidence == "wire and targets"
    alone = next(m for m in found.own_moves_from_targets if m.magnet == "M3")
    assert alone.evidence == "targets"
    assert alone.estimate.u[0] > 1.5 * own(found, "M3").estimate.u[0]
    assert abs(alone.estimate.value[0] - 20e-6) < 2.0 * alone.estimate.u[0]


@pytest.mark.parametrize("nest", ["B3l", "M4.2"])
def test_one_nest_alone_was_knocked(nest: str) -> None:
    found = compared(What(nests={nest: np.array([0.0, 45e-6, -20e-6])}))

    assert [t.target for t in found.targets_moved] == [nest]
    knocked = found.targets_moved[0]
    assert knocked.found is True
    assert np.allclose(knocked.move, [0.0, 45e-6, -20e-6], atol=1.5e-6)  # a quarter of its own uncertainty
    assert [m.found for m in found.own_moves] == [False] * 5
    assert f"target {nest} moved" in found.sentence
    assert not next(g for g in found.gates if g.name == "targets stayed").ok


def test_a_magnet_with_one_target_cannot_be_told_from_its_nest() -> None:
    single = make_girder(nests=1)
    two = two_occasions(single, What(bodies={"M2": np.array([0.0, 50e-6, 0.0, 0.0, 0.0, 0.0])}))
    found = compare("before", "after", two.a, two.b, None, None, single)
    move = own(found, "M2")

    assert move.found is None
    assert "M2.1" in move.words
    assert "the data do not tell which" in move.words
    assert [t.found for t in found.targets_moved] == [None]
    assert move.estimate.u[1] > 20e-6  # half of what moved: the data leave nearly everything open

    with_wire = compare("before", "after", two.a, two.b, two.axes_a, two.axes_b, single)
    assert own(with_wire, "M2").found is True
    assert own(with_wire, "M2").estimate.value[1] == pytest.approx(50e-6, abs=own(with_wire, "M2").estimate.u[1])


def test_several_magnets_that_were_moved_are_all_found() -> None:
    orders = {"M1": [100e-6, 0.0], "M3": [0.0, -60e-6], "M5": [-80e-6, 50e-6]}
    bodies = {m: np.array([x, y, 0.0, 0.0, 0.0, 0.0]) for m, (x, y) in orders.items()}
    found = compared(What(bodies=bodies))

    assert [m.magnet for m in found.own_moves if m.found] == ["M1", "M3", "M5"]
    for magnet, six in bodies.items():
        assert np.all(np.abs(own(found, magnet).estimate.value[:2] - six[:2]) < 2.5 * own(found, magnet).estimate.u[:2])


def test_a_range_scale_that_went_wrong_is_named_and_moves_nothing() -> None:
    found = compared(What(), scale=12e-6)

    assert found.scale == pytest.approx(12e-6, abs=found.u_scale)
    assert "reads distances 12" in found.sentence
    assert not next(g for g in found.gates if g.name == "range scale").ok
    assert [m.found for m in found.own_moves] == [False] * 5


def test_real_growth_with_temperature_is_no_scale() -> None:
    found = compared(What(grown=6e-6), stretch=6e-6)

    assert size(found, "stretch") == pytest.approx(6e-6, abs=0.01e-6)
    assert found.scale == pytest.approx(0.0, abs=0.01e-6)
    assert next(g for g in found.gates if g.name == "range scale").ok


def test_the_thermal_bow_is_the_one_that_the_sensors_predict() -> None:
    # alpha dT L^2 / (8 h) over the 4.2 m between the end targets: 12e-6 * 0.2 * 4.2^2 / (8 * 0.5) = 10.584 um, hogged
    found = compared(What(vertical=parabola(10.584e-6)), bow=0.2, noise=SHARP)

    assert size(found, "thermal bow") == pytest.approx(10.584e-6, abs=0.01e-6)
    assert size(found, "vertical bend") == pytest.approx(10.584e-6, abs=CLOSE)


def test_a_wire_that_disagrees_does_not_close() -> None:
    two = two_occasions(GIRDER, What())
    off = [0.0, 0.0, 15e-6, 0.0, 0.0]
    bad = [
        replace(x, estimate=replace(x.estimate, value=x.estimate.value + np.array([shift, 0.0])))
        for x, shift in zip(two.axes_b, off, strict=True)
    ]
    good = compare("before", "after", two.a, two.b, two.axes_a, two.axes_b, GIRDER).closure
    assert good is not None
    assert good.ok
    assert good.dof == 6  # x and y of five magnets, less a straight line each
    assert good.chi_square == pytest.approx(0.0, abs=1e-6)

    found = compare("before", "after", two.a, two.b, two.axes_a, bad, GIRDER)
    assert found.closure is not None
    assert max(found.closure.offsets, key=lambda m: abs(found.closure.offsets[m][0]) if found.closure else 0.0) == "M3"
    assert found.closure.chi_square > 5.0
    # two fifths of the step and its lever are taken by the line: what is left is by hand (I - L L^+) e
    z = np.array([m.point[2] for m in GIRDER.magnets])
    left = np.array(off) - np.polyval(np.polyfit(z, off, 1), z)
    assert found.closure.offsets["M3"][0] == pytest.approx(left[2], abs=0.5e-6)


def test_the_same_stringing_cancels_and_a_fresh_one_does_not() -> None:
    two = two_occasions(GIRDER, What())
    fresh = compare("before", "after", two.a, two.b, two.axes_a, two.axes_b, GIRDER)
    same = compare("before", "after", two.a, two.b, two.axes_a, two.axes_b, GIRDER, same_stringing=True)

    assert own(same, "M3").estimate.u[0] < own(fresh, "M3").estimate.u[0]
    assert any(c.startswith("stringing:") for c in fresh.axis_changes.factors)
    assert not any(c.startswith("stringing:") for c in same.axis_changes.factors)
    assert "nest vector" not in fresh.axis_changes.factors


def test_axes_in_the_wires_own_frame_do_not_count() -> None:
    two = two_occasions(GIRDER, What())
    own_frame = [replace(axis, frame="wire") for axis in two.axes_a]
    found = compare("before", "after", two.a, two.b, own_frame, two.axes_b, GIRDER)

    assert found.closure is None
    assert {m.evidence for m in found.own_moves} == {"targets"}


def test_a_magnet_of_which_nothing_was_seen_is_not_known() -> None:
    two = two_occasions(GIRDER, What())
    found = compare("before", "after", without(two.a, "M3"), two.b, None, None, GIRDER)

    assert own(found, "M3").found is None
    assert np.isnan(own(found, "M3").estimate.value).all()
    assert "nothing was seen of M3" in found.sentence
    assert "M3.x" not in found.axis_changes.names
    assert "M2.x" in found.axis_changes.names


def test_something_that_is_no_magnet_is_told_too() -> None:
    pump = Item("pump", "pump", (0.0, -0.2, 1.2), 0.2, 40.0)
    extra = tuple(
        Target(f"P{k}", "pump", (x, -0.1, z), 5e-4) for k, (x, z) in enumerate([(0.1, 1.1), (-0.1, 1.1), (0.1, 1.3)])
    )
    girder = replace(GIRDER, items=(*GIRDER.items, pump), targets=(*GIRDER.targets, *extra))
    two = two_occasions(girder, What(nests={t.name: np.array([60e-6, 0.0, 0.0]) for t in extra}))
    found = compare("before", "after", two.a, two.b, two.axes_a, two.axes_b, girder)

    assert [m.found for m in found.own_moves] == [False] * 5
    assert found.targets_moved == ()
    assert "pump moved 60" in found.sentence
    assert not next(g for g in found.gates if g.name == "other things stayed").ok


def test_too_few_common_targets_are_refused_with_their_number() -> None:
    two = two_occasions(GIRDER, What())
    three = without(two.b, "M", "B1", "B2", "B3", "B4", "B5l", "B5r", "B6l")
    with pytest.raises(Refused, match="1 common targets"):
        compare("before", "after", two.a, three, None, None, GIRDER)
    row = without(two.b, "M", *(f"B{k}r" for k in range(1, 7)))
    with pytest.raises(Refused, match="along one line"):
        compare("before", "after", two.a, row, None, None, GIRDER)


def test_targets_in_another_frame_are_refused() -> None:
    two = two_occasions(GIRDER, What())
    with pytest.raises(Refused, match="girder frame"):
        compare("before", "after", replace(two.a, frame="survey"), two.b, None, None, GIRDER)
