"""Every number of a bolt plan agrees with the sum that tells it, and follows what was found as that sum says."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.given.campaign import Campaign
from monochord.campaign.given.occasion import FootFinding
from monochord.ground.faults import Refused
from monochord.ground.trace import Unfold
from monochord.job.changes import Found, comparisons, plans
from monochord.job.why.names import numbers
from monochord.report.document import result_document
from tests.agreement.test_compare_unfold import moved, result
from tests.trace_walk import MOST, Walked, apart, found_in, lines_below, rests_on, walk

#: Sums are made again in another order of the same additions: rounding, in units of the largest line.
ROUNDING = 1e-9
#: The first plan, of the arrival with loose feet, turns bolts; the second leaves them.
BOTH = [0, 1]


@cache
def told(i: int) -> dict[str, float]:
    """The numbers of one plan in the result document, by relative name."""
    document: Any = result_document(result())["plans"]
    return {name[1:]: value for name, value in numbers(document[i])}


def unfold(i: int) -> Unfold:
    found = result().plans[i].unfold
    assert found is not None
    return found


@cache
def walked(i: int) -> Walked:
    return walk(unfold(i), list(told(i)))


def of_the_job(name: str) -> bool:
    """Uncertainties of estimates, which the job tells by their causes."""
    keys = name.split("/")
    return keys[0].startswith(("shape_", "offsets_")) and keys[-1].startswith("u_")


@pytest.mark.parametrize("i", BOTH)
def test_every_number_is_told_and_is_the_document_s_own(i: int) -> None:
    own = {name: value for name, value in told(i).items() if not of_the_job(name)}
    assert not {name for name in own if name in walked(i).untold}
    assert {name: walked(i).sums[name].value for name in own} == own  # bit for bit
    assert len(own) == 100


@pytest.mark.parametrize("i", BOTH)
def test_every_sum_makes_its_number_again(i: int) -> None:
    off = {name: apart(s) for name, s in walked(i).sums.items()}
    assert {name: size for name, size in off.items() if size > ROUNDING} == {}


@pytest.mark.parametrize("i", BOTH)
def test_every_line_is_the_number_that_it_rests_on(i: int) -> None:
    for found in walked(i).sums.values():
        assert len(found.lines) <= MOST or found.formula is not None
        for line, below in rests_on(walked(i), found):
            given = line.amount if line.given is None else line.given
            assert given == pytest.approx(below.value, rel=1e-9, abs=1e-12)
            if line.factor is not None and line.given is not None:
                assert line.amount == line.factor * line.given


@pytest.mark.parametrize("i", BOTH)
def test_what_other_nouns_are_asked_for_is_in_the_document(i: int) -> None:
    document: Any = result_document(result())
    kinds = set()
    for name, found in walked(i).sums.items():
        for line in found.lines:
            keys = line.of.split("#")[0].split("/")
            if not line.of.startswith("/"):
                continue
            kinds.add(keys[3])
            if keys[3] == "cause" or line.of.endswith("#carried"):
                continue
            value = document
            for key in keys[1:]:
                value = value[int(key)] if isinstance(value, list) else value[key]
            assert (line.amount if line.given is None else line.given) == value, (name, line)
    assert kinds == {"targets", "axes", "temperature", "feet", "cause"}


def test_an_unknown_name_is_refused() -> None:
    for name in ("turns/nobody", "left_before#nothing", ""):
        with pytest.raises(Refused):
            unfold(0)(name)


def test_turns_are_decided_again_from_what_their_lines_say() -> None:
    plan = result().plans[0]
    assert any(plan.turns.values())
    for bolt, turns in plan.turns.items():
        found = unfold(0)(f"turns/{bolt}")
        assert found.formula is not None
        assert found.again() == turns
        straight = [0.0 if "force" in line.words or "top" in line.words else line.amount for line in found.lines]
        level = [unfold(0)(f"loads_before#level/{name}").value for name in plan.loads_before]
        straight[-len(level) :] = level
        assert found.formula(straight) == 0.0  # a girder in its reference's shape on level loads is left alone


def test_a_foot_that_would_pull_is_held_because_it_would() -> None:
    held = [name for name in told(0) if name.startswith("loads_before/") and unfold(0)(name).formula is not None]
    assert held
    for name in held:
        found = unfold(0)(name)
        assert found.formula is not None
        assert found.again() == found.value == 0.0
        # were every foot to push by itself, each would carry what it carries
        pushing = [abs(line.amount) for line in found.lines]
        own = next(k for k, line in enumerate(found.lines) if line.of.endswith(name.split("/")[1]))
        assert found.formula(pushing) == pushing[own]


def planned(found: Found, campaign: Campaign) -> list[BoltPlan]:
    return list(plans(campaign, found, comparisons(campaign, found, []), []))


def test_a_number_follows_a_displacement_as_its_line_says() -> None:
    by = 1e-8  # [m]
    before = planned(found_in(result()), result().campaign)
    for name, part in (("loads_before/V1l", 0.05), ("shape_before/Quad1/y", 0.02), ("shape_before/Quad2/y", 0.02)):
        assert before[1].unfold is not None
        rows = lines_below(before[1].unfold, name)
        of, line = max(
            ((of, line) for of, line in rows.items() if "displacement/B" in of),
            key=lambda item: abs(item[1].factor or 0.0),
        )
        target, axis = of.split("displacement/")[1].split("/")
        after = planned(moved(found_in(result()), "50-settled", f"{target}.{axis}", by), result().campaign)
        assert after[1].unfold is not None
        came = after[1].unfold(name).value - before[1].unfold(name).value
        assert line.factor is not None
        # the error of the drawing's stiffness counts with the loads that the shape tells, so weights follow the rows a little
        assert abs(came - line.factor * by) < part * abs(line.factor * by)


def test_a_load_follows_a_washer_and_a_temperature_as_its_lines_say() -> None:
    campaign = result().campaign
    before = planned(found_in(result()), campaign)[1]
    assert before.unfold is not None
    rows = lines_below(before.unfold, "loads_before/V2r")
    line = rows["loads_before#finding/today/V2r"]
    assert line.factor is not None
    assert line.factor > 0.05
    feet = tuple(_heavier(f, 10.0) for f in next(o for o in campaign.occasions if o.name == "50-settled").feet)
    changed = replace(
        campaign, occasions=tuple(replace(o, feet=feet) if o.name == "50-settled" else o for o in campaign.occasions)
    )
    after = planned(found_in(result()), changed)[1]
    came = after.loads_before["V2r"] - before.loads_before["V2r"]
    assert came == pytest.approx(10.0 * line.factor, rel=1e-6)  # a stated uncertainty leaves the weights as they are


def _heavier(finding: FootFinding, by: float) -> FootFinding:
    if finding.bolt != "V2r" or finding.load is None:
        return finding
    u = finding.u_load if finding.u_load is not None else 0.1 * finding.load
    return replace(finding, load=finding.load + by, u_load=u)


def test_what_the_turns_do_is_told_bolt_by_bolt() -> None:
    plan = result().plans[0]
    for label, value in zip(plan.shape_after.names, plan.shape_after.value, strict=True):
        magnet, plane = label.rsplit(".", 1)
        found = unfold(0)(f"shape_after/{magnet}/{plane}")
        turned = {line.of for line in found.lines if line.of.startswith("turns/")}
        assert turned == {f"turns/{bolt}" for bolt, t in plan.turns.items() if t}
        assert found.value == value
    left = unfold(1)("shape_after/Quad1/x")
    assert [line.of for line in left.lines] == ["shape_before/Quad1/x"]


def test_loads_on_level_bolts_carry_every_mass() -> None:
    girder = result().campaign.girder
    assert girder.beam is not None
    weight = sum(item.mass for item in girder.items) + girder.beam.mass_per_length * girder.beam.length
    level = [unfold(0)(f"loads_before#level/{b.name}").value for b in girder.bolts if b.direction[1] > 0.5]
    assert sum(level) == pytest.approx(9.80665 * weight, rel=1e-6)
    shared = [unfold(0)(f"loads_before#level/{b.name}").lines for b in girder.bolts if b.direction[1] > 0.5]
    for lines in zip(*shared, strict=True):
        mass = np.array([line.given for line in lines], float)
        assert np.ptp(mass) == 0.0
        total = sum(line.amount for line in lines)
        times = girder.beam.length if "per length" in lines[0].words else 1.0
        assert total == pytest.approx(9.80665 * float(mass[0]) * times, rel=1e-6)
