"""Bolt plans whose right answer is known without a computer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.given.girder import Beam, Bolt, Girder, Magnet, Target
from monochord.campaign.given.occasion import FootFinding
from monochord.girder.contact import Contact, settle
from monochord.girder.model import Standing, elastic, standing
from monochord.girder.plan import plan_bolts
from monochord.girder.words import sense
from monochord.ground.estimate import Estimate
from monochord.ground.faults import Refused, Undetermined

Array = NDArray[np.float64]

BEAM = Beam(400.0, 4.0, 3e8, 3.5e8, 1.2e8, -0.6, 0.5, 12e-6)
ALONG = (-1.7, -0.6, 0.6, 1.7)


def foot(name: str, x: float, z: float) -> Bolt:
    return Bolt(name, (0.0, 1.0, 0.0), (x, -0.9, z), 1.2e-3, 6e-3, 1 / 100, True, 8e8, True)


def girder(feet: tuple[Bolt, ...] | None = None, magnets: int = 5) -> Girder:
    feet = feet or tuple(foot(f"V{k}{s}", x, z) for k, z in enumerate(ALONG) for s, x in (("l", 0.3), ("r", -0.3)))
    sides = tuple(
        Bolt(f"S{k}", (1.0, 0.0, 0.0), (-0.3, -0.7, z), 1.2e-3, 6e-3, 1 / 100, False, 3e8)
        for k, z in enumerate((-1.7, 0.0, 1.7))
    )
    end = Bolt("E", (0.0, 0.0, 1.0), (0.0, -0.7, -2.0), 1.2e-3, 6e-3, 1 / 100, False, 3e8)
    items = tuple(
        Magnet(f"Q{k}", "quadrupole", (0.0, 0.0, float(z)), 0.2, 500.0)
        for k, z in enumerate(np.linspace(-1.6, 1.6, magnets))
    )
    on_girder = [
        Target(f"G{k}{s}", "girder", (x, -0.35, float(z)))
        for k, z in enumerate(np.linspace(-1.9, 1.9, 7))
        for s, x in (("l", 0.3), ("r", -0.3))
    ]
    on_magnets = [
        Target(f"{m.name}.{k}", m.name, (x, 0.3, m.point[2] + dz))
        for m in items
        for k, (x, dz) in enumerate(((0.2, -0.06), (-0.2, -0.06), (0.2, 0.06), (-0.2, 0.06)))
    ]
    return Girder("hand", "test", BEAM, items, (*on_girder, *on_magnets), (*feet, *sides, end))


def stood(told: Girder) -> Standing:
    return standing(told, elastic(told))


def shape_between(told: Girder, before: Contact, now: Contact, noise: float = 1e-6, seed: int = 0) -> Estimate:
    on = stood(told)
    places = np.array([t.nominal for t in told.targets])
    shift = (on.free.follow(places)[:, :3] @ (now.displacement - before.displacement)).ravel()
    shift = shift + noise * np.random.default_rng(seed).normal(size=len(shift))
    names = [f"{t.name}.{axis}" for t in told.targets for axis in "xyz"]
    return Estimate.of(shift, names, unit="m", frame="girder", causes={"survey": noise**2 * np.eye(len(shift))})


def offsets_of(told: Girder) -> Estimate:
    names = [f"{m.name}.{axis}" for m in told.magnets for axis in "xy"]
    return Estimate.of(
        np.zeros(len(names)), names, unit="m", frame="girder", causes={"axes": 1e-12 * np.eye(len(names))}
    )


def felt(told: Girder, rest: Contact, words: tuple[str, str] = ("loose", "tight")) -> tuple[FootFinding, ...]:
    feet = [(b, closed) for b, closed in zip(told.bolts, rest.closed, strict=True) if b.one_sided]
    return tuple(FootFinding(b.name, words[int(closed)]) for b, closed in feet)


def planned(
    told: Girder, heights: Array, own_moved: tuple[str, ...] = (), least_load: float = 0.2
) -> tuple[BoltPlan, Contact, Contact]:
    """A plan from a reference on level bolts, for bolts at these heights; the reference's and today's contact."""
    on = stood(told)
    before = settle(on, np.zeros(len(on.names)), on.free.weight)
    now = settle(on, heights, on.free.weight)
    plan = plan_bolts(
        told, "now", "then", felt(told, now), shape_between(told, before, now), offsets_now=offsets_of(told),
        top_minus_bottom=0.0, temperature_change=0.0, own_moved=own_moved,
        feet_reference=felt(told, before), least_load=least_load,
    )  # fmt: skip
    return plan, before, now


def left(told: Girder, plan: BoltPlan, heights: Array, before: Contact, now: Contact) -> float:
    """Root mean square departure of the magnets after the plan, on the girder that made the data."""
    on = stood(told)
    turned = heights + now.gaps + np.array([plan.turns[b.name] * b.thread_pitch for b in told.bolts])
    after = settle(on, turned, on.free.weight)
    z = np.array([m.point[2] for m in told.magnets])
    moved = on.free.follow(np.array([m.point for m in told.magnets]))[:, :2] @ (
        after.displacement - before.displacement
    )
    moved = moved - np.stack([np.polyval(np.polyfit(z, moved[:, k], 1), z) for k in (0, 1)], axis=1)
    return float(np.sqrt(np.mean(moved**2)))


def test_one_foot_too_high_is_lowered() -> None:
    told = girder()
    heights = np.zeros(12)
    heights[2] = heights[3] = 24e-6  # both feet of the second pair, two smallest steps of 12 um: no foot lifts off
    plan, before, now = planned(told, heights)

    assert now.closed.all()
    assert plan.loose == ()
    assert plan.first == ()
    assert left(told, plan, heights, before, now) < 1e-6
    assert plan.left_after < 0.5 * plan.left_before
    assert "clockwise seen from below" in " ".join(plan.senses.values())


def test_a_rigid_motion_is_no_shape_and_is_left() -> None:
    told = girder()
    on = stood(told)
    motion = np.array([3e-4, -5e-4, 1e-4, 2e-4, -1e-4, 1.5e-4])
    plan, *_ = planned(told, on.push @ on.free.rigid @ motion)

    assert plan.do_nothing
    assert not any(plan.turns.values())
    assert set(plan.senses.values()) == {"leave"}
    assert "not worth it" in plan.sentence


@pytest.mark.parametrize("seed", range(6))
def test_loose_feet_come_first_and_the_shape_comes_back(seed: int) -> None:
    told = girder()
    heights = 100e-6 * np.random.default_rng(seed).normal(size=12)
    plan, before, now = planned(told, heights)
    open_feet = tuple(b.name for b, closed in zip(told.bolts, now.closed, strict=True) if not closed)

    assert len(open_feet) >= 2
    assert plan.loose == open_feet
    assert len(plan.first) == len(open_feet) + 1
    got = left(told, plan, heights, before, now)
    assert got < 1.5e-6  # with coordinates good to 1 um and steps of 12 um
    assert got <= plan.left_after_95
    assert min(plan.loads_after[b.name] for b in told.bolts if b.one_sided) > 0.0
    assert next(g for g in plan.gates if g.name == "feet bear after the turns").ok


def test_feet_nobody_felt_are_found_by_the_shape_where_it_is_clear() -> None:
    told = girder()
    on = stood(told)
    heights = np.zeros(12)
    heights[[2, 3]] = -400e-6  # the second pair hangs in the air
    before, now = settle(on, np.zeros(12), on.free.weight), settle(on, heights, on.free.weight)
    weighed = tuple(
        FootFinding(f.bolt, "tight", float(load)) for f, load in zip(felt(told, before), before.loads, strict=False)
    )
    plan = plan_bolts(
        told, "now", "then", (), shape_between(told, before, now, 0.3e-6), offsets_now=offsets_of(told),
        top_minus_bottom=0.0, temperature_change=0.0, own_moved=(), feet_reference=weighed,
    )  # fmt: skip

    assert np.flatnonzero(~now.closed).tolist() == [2, 3]
    assert plan.loose == ("V1l", "V1r")
    assert not next(g for g in plan.gates if g.name == "every foot felt").ok


def test_a_foot_felt_loose_that_bears_by_the_shape_is_doubted() -> None:
    told = girder()
    on = stood(told)
    heights = np.zeros(12)
    before = settle(on, heights, on.free.weight)
    wrong = tuple(replace(f, state="loose") if f.bolt == "V2r" else f for f in felt(told, before))
    plan = plan_bolts(
        told, "now", "then", wrong, shape_between(told, before, before, 0.3e-6), offsets_now=offsets_of(told),
        top_minus_bottom=0.0, temperature_change=0.0, own_moved=(),
        feet_reference=tuple(replace(f, load=float(load)) for f, load in zip(felt(told, before), before.loads, strict=False)),
    )  # fmt: skip
    gate = next(g for g in plan.gates if g.name == "feet and shape agree")

    assert not gate.ok
    assert "V2r" in gate.message or "contact" in gate.message


def test_a_reference_frozen_on_loose_feet_is_flagged_before_anything_else() -> None:
    told = girder()
    on = stood(told)
    heights = np.zeros(12)
    heights[2] = -300e-6
    before = settle(on, heights, on.free.weight)
    plan = plan_bolts(
        told, "now", "then", felt(told, before), shape_between(told, before, before), offsets_now=offsets_of(told),
        top_minus_bottom=None, temperature_change=None, own_moved=(), feet_reference=felt(told, before),
    )  # fmt: skip

    assert not plan.gates[0].ok
    assert plan.sentence.startswith(
        "The reference then was frozen while V1l hung loose: that shape will not come back."
    )


def test_a_magnet_that_moved_by_itself_is_not_chased() -> None:
    told = girder()
    on = stood(told)
    before = settle(on, np.zeros(12), on.free.weight)
    shape = shape_between(told, before, before)
    pushed = shape.value + np.array(
        [40e-6 if name.startswith("Q2.") and name.endswith(".x") else 0.0 for name in shape.names]
    )
    shape = Estimate(pushed, shape.labels, shape.factors)
    for own_moved in (("Q2",), ()):
        plan = plan_bolts(
            told, "now", "then", felt(told, before), shape, offsets_now=offsets_of(told),
            top_minus_bottom=0.0, temperature_change=0.0, own_moved=own_moved, feet_reference=felt(told, before),
        )  # fmt: skip

        assert plan.do_nothing
        assert "No bolt cures that Q2 moved on the girder." in plan.sentence
        assert plan.curable_share is not None
        assert plan.curable_share < 0.1


def test_a_knocked_target_is_set_aside_and_named() -> None:
    told = girder()
    on = stood(told)
    before = settle(on, np.zeros(12), on.free.weight)
    shape = shape_between(told, before, before)
    knocked = shape.value + np.array([60e-6 if name == "G3l.y" else 0.0 for name in shape.names])
    plan = plan_bolts(
        told, "now", "then", felt(told, before), Estimate(knocked, shape.labels, shape.factors), offsets_now=offsets_of(told),
        top_minus_bottom=0.0, temperature_change=0.0, own_moved=(), feet_reference=felt(told, before),
    )  # fmt: skip
    gate = next(g for g in plan.gates if g.name == "targets follow the girder")

    assert plan.do_nothing
    assert not gate.ok
    assert gate.message.startswith("G3l:")


def test_three_feet_bend_nothing_so_nothing_is_turned() -> None:
    three = (foot("V1", -0.3, -1.2), foot("V2", 0.3, -1.2), foot("V3", 0.0, 1.2))
    told = girder(three)
    told = replace(told, bolts=(*three, told.bolts[3], told.bolts[5], told.bolts[6]))
    plan, *_ = planned(told, np.array([50e-6, -50e-6, 20e-6, 0.0, 0.0, 0.0]))

    assert plan.do_nothing
    assert plan.loose == ()


def test_least_loads_that_nothing_can_keep_are_told() -> None:
    told = girder()
    heights = np.zeros(12)
    heights[2] = 24e-6
    plan, *_ = planned(told, heights, least_load=3.0)

    assert not next(g for g in plan.gates if g.name == "feet bear after the turns").ok


def test_no_bolt_leaves_half_its_travel() -> None:
    told = girder()
    short = tuple(replace(b, travel=50e-6) for b in told.bolts)
    heights = 100e-6 * np.random.default_rng(2).normal(size=12)
    free_plan, *_ = planned(told, heights)
    plan, *_ = planned(replace(told, bolts=short), heights)

    assert max(abs(t) for t in free_plan.turns.values()) * 1.2e-3 > 25e-6
    assert max(abs(t) for t in plan.turns.values()) * 1.2e-3 <= 25e-6


def test_the_line_stays_where_it_is_when_it_is_asked_to() -> None:
    told = girder()
    on = stood(told)
    heights = 100e-6 * np.random.default_rng(1).normal(size=12)
    before, now = settle(on, np.zeros(12), on.free.weight), settle(on, heights, on.free.weight)
    rows = on.free.follow(np.array([m.point for m in told.magnets]))[:, :2]
    shift = []
    for hold in (False, True):
        plan = plan_bolts(
            told, "now", "then", felt(told, now), shape_between(told, before, now), offsets_now=offsets_of(told),
            top_minus_bottom=0.0, temperature_change=0.0, own_moved=(), feet_reference=felt(told, before), hold_rigid=hold,
        )  # fmt: skip
        turned = heights + now.gaps + np.array([plan.turns[b.name] * b.thread_pitch for b in told.bolts])
        moved = rows @ (settle(on, turned, on.free.weight).displacement - now.displacement)
        shift.append(np.abs(moved.mean(axis=0)).max())

    # whole steps of 12 um on eight feet leave the line some micrometres off
    assert shift[1] < 5e-6
    assert shift[1] < shift[0]


def test_a_bolt_without_a_smallest_step_is_turned_by_thousandths() -> None:
    told = girder()
    smooth = tuple(replace(b, smallest_step=float("nan")) for b in told.bolts)
    heights = np.zeros(12)
    heights[2] = heights[3] = 24e-6
    plan, *_ = planned(replace(told, bolts=smooth), heights)

    assert any(plan.turns.values())
    assert all(abs(t * 1000.0 - round(t * 1000.0)) < 1e-9 for t in plan.turns.values())


def test_offsets_follow_the_turns_and_what_is_not_known_stays_unknown() -> None:
    told = girder()
    on = stood(told)
    heights = np.zeros(12)
    heights[2] = heights[3] = 24e-6
    before, now = settle(on, np.zeros(12), on.free.weight), settle(on, heights, on.free.weight)
    known = offsets_of(told)
    values = known.value.copy()
    values[4] = np.nan
    plan = plan_bolts(
        told, "now", "then", felt(told, now), shape_between(told, before, now),
        offsets_now=Estimate(values, known.labels, known.factors),
        top_minus_bottom=0.0, temperature_change=0.0, own_moved=(), feet_reference=felt(told, before),
    )  # fmt: skip
    change = plan.offsets_after.value - plan.offsets_before.value
    shape = plan.shape_after.value - plan.shape_before.value

    assert np.isnan(plan.offsets_after.value[4])
    # at equal temperatures offsets and shape change by the same
    np.testing.assert_allclose(np.delete(change, 4), np.delete(shape, 4), atol=0.05e-6)
    assert (plan.offsets_after.u >= plan.offsets_before.u).all()


UP, LEFT, AGAINST = (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, -1.0)


@pytest.mark.parametrize(
    ("direction", "right_handed", "turns", "size", "way", "does"),
    [
        (UP, True, 0.02, "0.0200 turn (2 of the smallest steps)", "clockwise seen from below", "raises the girder by 24"),
        (UP, False, 0.01, "0.0100 turn (1 smallest step)", "anticlockwise seen from below", "raises the girder by 12"),
        (UP, False, -0.03, "0.0300 turn (3 of the smallest steps)", "clockwise seen from below", "lowers the girder by 36"),
        (
            LEFT, True, 0.02, "0.0200 turn (2 of the smallest steps)",
            "clockwise seen from the right of the beam", "pushes the girder to the left by 24",
        ),
        (
            AGAINST, True, 0.02, "0.0200 turn (2 of the smallest steps)",
            "clockwise seen from downstream", "pushes the girder upstream by 24",
        ),
        (UP, None, -0.02, "0.0200 turn (2 of the smallest steps)", "negative", "lowers the girder by 24"),
    ],
)  # fmt: skip
def test_turns_in_words(
    *, direction: tuple[float, float, float], right_handed: bool | None, turns: float, size: str, way: str, does: str
) -> None:
    """A right-handed screw in a standing nut goes away from whoever turns it clockwise."""
    bolt = Bolt("B", direction, (0.0, 0.0, 0.0), 1.2e-3, None, 1 / 100, True, 1e9, right_handed)
    ask = "; hand of the thread not told (positive raises the girder): try which way that is first"

    assert sense(bolt, turns) == f"{size} {way}: {does} um at the bolt" + (ask if right_handed is None else "")


def test_a_girder_without_beam_or_bolts_is_refused() -> None:
    told = girder()
    on = stood(told)
    before = settle(on, np.zeros(12), on.free.weight)
    shape = shape_between(told, before, before)
    for bare in (replace(told, beam=None), replace(told, bolts=()), replace(told, beam=replace(BEAM, torsion=0.0))):
        with pytest.raises(Refused):
            plan_bolts(
                bare, "now", "then", (), shape, offsets_now=offsets_of(told),
                top_minus_bottom=None, temperature_change=None, own_moved=(),
            )  # fmt: skip


def test_too_few_targets_determine_no_shape() -> None:
    told = girder()
    on = stood(told)
    before = settle(on, np.zeros(12), on.free.weight)
    shape = shape_between(told, before, before).pick([f"{t}.{axis}" for t in ("G0l", "G0r", "G6l") for axis in "xyz"])
    with pytest.raises(Undetermined):
        plan_bolts(
            told, "now", "then", (), shape, offsets_now=offsets_of(told),
            top_minus_bottom=None, temperature_change=None, own_moved=(),
        )  # fmt: skip
