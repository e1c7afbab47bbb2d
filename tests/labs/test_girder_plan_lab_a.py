"""Lab A's girder back in its tunnel: loose feet, contact loads, and the bolt plan judged by what is true."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.given.campaign import Campaign
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.girder.contact import Contact, settle
from monochord.girder.model import Standing, elastic, standing
from monochord.girder.plan import plan_bolts
from monochord.girder.temperature import temperature_of
from monochord.ground.estimate import Estimate

if TYPE_CHECKING:
    from tests.labs.conftest import LabRun

Array = NDArray[np.float64]
HERE = Path(__file__).parent

#: Noise of a target's coordinate on one occasion, per axis [m]: reading and seating of a good survey.
NOISE = 4e-6
BACK, ALIGNED = "4-back", "2-aligned"


@dataclass(frozen=True, eq=False)
class Lab:
    """The campaign as it was read, and what its simulator knew."""

    campaign: Campaign
    truth: dict[str, Any]
    on: Standing

    def rest(self, occasion: str) -> Contact:
        known = self.truth[occasion]
        heights = np.array([known["bolt_heights"][name] for name in self.on.names])
        return settle(self.on, heights, self.on.free.weight + known["top_minus_bottom_K"] * self.on.free.bow)


@pytest.fixture(scope="module")
def lab(labs: Path, tmp_path_factory: pytest.TempPathFactory) -> Lab:
    into = tmp_path_factory.mktemp("lab") / "a"
    begin(labs / "a", HERE / "a.toml", into, {}, "2026-06-01T00:00:00Z")
    campaign = load_campaign(into)
    truth = json.loads((labs / "a" / "truth.json").read_text(encoding="utf-8"))["epochs"]
    return Lab(campaign, truth, standing(campaign.girder, elastic(campaign.girder)))


def moved_magnets(lab: Lab, nodes: Array) -> Array:
    """Departures (M, 2) of the magnets from a straight line, from nodal displacements."""
    z = np.array([m.point[2] for m in lab.campaign.girder.magnets])
    points = np.array([m.point for m in lab.campaign.girder.magnets])
    moved = lab.on.free.follow(points)[:, :2] @ nodes
    line = np.stack([np.polyval(np.polyfit(z, moved[:, k], 1), z) for k in (0, 1)], axis=1)
    return np.asarray(moved - line, float)


def rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


@pytest.mark.parametrize("occasion", [ALIGNED, BACK, "5-restored"])
def test_loads_at_the_true_heights(lab: Lab, occasion: str) -> None:
    """Within 1 % of the largest load, and every foot without load found."""
    true = np.array([lab.truth[occasion]["reactions_N"][name] for name in lab.on.names])
    rest = lab.rest(occasion)

    # the beam of the simulator is a little different from ours (how masses are spread is not told): 0.5 % were seen
    np.testing.assert_allclose(rest.loads, true, atol=0.01 * true.max())
    feet = lab.on.one_sided
    assert not np.any(rest.loads[feet] * (true[feet] == 0.0))


def test_shape_at_the_true_heights(lab: Lab) -> None:
    """Magnets' true shift between the occasions, own moves taken off, against the elastic girder with its thermal bow."""
    change = lab.rest(BACK).displacement - lab.rest(ALIGNED).displacement
    z = np.array([m.point[2] for m in lab.campaign.girder.magnets])
    true = np.array(
        [
            np.array(lab.truth[BACK]["axes"][m.name]["centre"])[:2]
            - np.array(lab.truth[ALIGNED]["axes"][m.name]["centre"])[:2]
            - np.array(lab.truth[BACK]["own_move_since_alignment"][m.name])[:2]
            for m in lab.campaign.girder.magnets
        ]
    )
    true = true - np.stack([np.polyval(np.polyfit(z, true[:, k], 1), z) for k in (0, 1)], axis=1)

    # 0.3 um of 20 um: the simulator treats the bow of a girder half in the air a little differently
    np.testing.assert_allclose(moved_magnets(lab, change), true, atol=0.5e-6)


def plan_of(lab: Lab, seed: int, own_moved: tuple[str, ...] = ("S2",)) -> BoltPlan:
    rng = np.random.default_rng(seed)
    before, now = (lab.truth[name]["fiducials_girder"] for name in (ALIGNED, BACK))
    names = [f"{target}.{axis}" for target in now for axis in "xyz"]
    shift = np.concatenate([np.subtract(now[target], before[target]) for target in now])
    shift += NOISE * np.sqrt(2.0) * rng.normal(size=len(shift))
    cov = 2.0 * NOISE**2 * np.eye(len(shift))
    return plan_from(lab, Estimate.of(shift, names, unit="m", frame="girder", causes={"survey": cov}), own_moved)


def plan_from(lab: Lab, shape_now: Estimate, own_moved: tuple[str, ...]) -> BoltPlan:
    """The plan from any estimate of the targets' shift, with the laboratory's own feet and temperatures."""
    magnets = lab.campaign.girder.magnets
    offsets = Estimate.of(
        np.zeros(2 * len(magnets)),
        [f"{m.name}.{axis}" for m in magnets for axis in "xy"],
        unit="m",
        frame="girder",
        causes={"axes": 9e-12 * np.eye(2 * len(magnets))},
    )
    occasions = {o.name: o for o in lab.campaign.occasions}
    warmth = {name: temperature_of(occasions[name].temperatures, None) for name in (ALIGNED, BACK)}
    back, aligned = warmth[BACK], warmth[ALIGNED]
    assert back.top_minus_bottom is not None
    assert aligned.top_minus_bottom is not None
    assert back.mean is not None
    assert aligned.mean is not None
    return plan_bolts(
        lab.campaign.girder,
        BACK,
        ALIGNED,
        occasions[BACK].feet,
        shape_now,
        offsets_now=offsets,
        top_minus_bottom=back.top_minus_bottom - aligned.top_minus_bottom,
        temperature_change=back.mean - aligned.mean,
        own_moved=own_moved,
        feet_reference=occasions[ALIGNED].feet,
    )


def carried_out(lab: Lab, plan: BoltPlan, bow: float) -> tuple[Array, Contact]:
    """The plan on the true girder: open feet brought to touch today, the turns made, then a top-minus-bottom of ``bow`` [K]."""
    known = lab.truth[BACK]
    open_now = lab.rest(BACK)
    heights = np.array([known["bolt_heights"][name] for name in lab.on.names]) + open_now.gaps
    heights += [plan.turns[b.name] * b.thread_pitch for b in lab.campaign.girder.bolts]
    after = settle(lab.on, heights, lab.on.free.weight + bow * lab.on.free.bow)
    return moved_magnets(lab, after.displacement - lab.rest(ALIGNED).displacement), after


@pytest.mark.parametrize("seed", range(8))
def test_the_plan_restores_the_shape(lab: Lab, seed: int) -> None:
    """At most 4.0 um rms over five magnets and two planes, at most half of doing nothing, and inside the printed band."""
    plan = plan_of(lab, seed)
    nothing = moved_magnets(lab, lab.rest(BACK).displacement - lab.rest(ALIGNED).displacement)
    same_temperature, same = carried_out(lab, plan, 0.0)
    today, warm = carried_out(lab, plan, lab.truth[BACK]["top_minus_bottom_K"])

    assert plan.loose == ("V1L", "V2L", "V2R", "V4L")
    assert [step.split(" is loose")[0] for step in plan.first[:4]] == ["V1L", "V2L", "V2R", "V4L"]
    assert "survey the same targets again" in plan.first[-1]
    for left in (same_temperature, today):
        assert rms(left) <= 4.0e-6
        assert rms(left) <= 0.5 * rms(nothing)
    assert rms(same_temperature) <= plan.left_after_95
    error = (same_temperature.ravel() - plan.shape_after.value) / plan.shape_after.u
    assert np.abs(error).max() < 3.0
    assert same.closed.all()
    assert warm.closed.all()
    told = np.array([plan.loads_after[name] for name in lab.on.names])
    # the plan's loads rest on washers good to 10 % and a shape good to a micrometre, some 0.5 kN
    np.testing.assert_allclose(warm.loads[lab.on.one_sided], told[lab.on.one_sided], atol=1500.0)


def test_the_plan_needs_no_word_about_the_magnet_that_moved(lab: Lab) -> None:
    plan = plan_of(lab, 1, own_moved=())

    assert rms(carried_out(lab, plan, 0.0)[0]) <= 4.0e-6


def test_the_plan_from_the_surveys_as_they_were_taken(lab: Lab, lab_a: LabRun) -> None:
    found = {o.name: o.points for o in lab_a.result.occasions}
    before, now = found[ALIGNED], found[BACK]
    assert before is not None
    assert now is not None
    common = [n for n in now.names if n in before.names and now.carriers[n] != "wall"]
    names = [f"{target}.{axis}" for target in common for axis in "xyz"]
    plan = plan_from(lab, now.estimate.pick(names) - before.estimate.pick(names), ("S2",))
    nothing = moved_magnets(lab, lab.rest(BACK).displacement - lab.rest(ALIGNED).displacement)

    assert before.frame == now.frame == "girder"
    assert plan.loose == ("V1L", "V2L", "V2R", "V4L")
    for bow in (0.0, lab.truth[BACK]["top_minus_bottom_K"]):
        left, _ = carried_out(lab, plan, bow)
        assert rms(left) <= 4.0e-6
        assert rms(left) <= 0.5 * rms(nothing)
        assert rms(left) <= plan.left_after_95


def test_what_the_plan_says(lab: Lab) -> None:
    plan = plan_of(lab, 0)

    assert plan.sentence.startswith("First bring V1L, V2L, V2R and V4L to bear and survey again. Then turn ")
    assert "No bolt cures that S2 moved on the girder." in plan.sentence
    assert not plan.do_nothing
    for bolt in lab.campaign.girder.bolts:
        steps = plan.turns[bolt.name] / bolt.smallest_step
        assert steps == pytest.approx(round(steps), abs=1e-9)
        assert ("hand of the thread not told" in plan.senses[bolt.name]) == (plan.turns[bolt.name] != 0.0)
    assert all(gate.ok for gate in plan.gates), [gate.message for gate in plan.gates if not gate.ok]
