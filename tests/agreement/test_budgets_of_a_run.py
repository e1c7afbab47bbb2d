"""Budgets of a whole run: every verdict with a known value has one, and it adds up to the very u that was judged."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from monochord.campaign.found.result import Result
from monochord.campaign.given.campaign import Tolerance
from monochord.ground.estimate import stack
from monochord.job.budgets import COMPONENTS, find_budgets
from monochord.job.context import Context
from monochord.job.evaluate import evaluate
from monochord.simulate.campaign import simulate_campaign

TURN = 3e-5


@pytest.fixture(scope="module")
def result() -> Result:
    """The demo's campaign with the sensor pair checked to 30 urad, and limits on roll and slope beside its own."""
    made = simulate_campaign(1).campaign
    assert made.wire is not None
    limits = (*made.tolerances, Tolerance("roll", 5e-4), Tolerance("slope", 3e-4))
    context = Context(now=lambda: datetime(2031, 5, 30, tzinfo=UTC), new_id=lambda: "run")
    return evaluate(replace(made, wire=replace(made.wire, u_sensor_turn=TURN), tolerances=limits), context)


def test_every_judged_component_has_a_budget_of_the_same_u(result: Result) -> None:
    judged = [v for v in result.verdicts if v.quantity in COMPONENTS and np.isfinite([v.value, v.u]).all()]
    assert {v.quantity for v in judged} == set(COMPONENTS)
    for v in judged:
        made = find_budgets(result, v.occasion, v.magnet, v.quantity)
        assert len(made) == 1
        assert made[0].u == pytest.approx(v.u, rel=1e-9)
        assert made[0].value == pytest.approx(v.value, rel=1e-12)
        assert sum(s.part for s in made[0].shares) == pytest.approx(1.0, abs=1e-9)
        assert made[0].flips


def test_the_turn_of_the_pair_is_one_cause_of_all_rolls(result: Result) -> None:
    strung = [o.wire for o in result.occasions if o.wire is not None]
    rolls = [(a, a.roll_estimate) for a in strung[0].axes]
    assert all(a.u_roll == pytest.approx(float(e.u[0])) for a, e in rolls if e is not None)
    orders = {m.name: m.order for m in result.campaign.girder.magnets}
    both = stack([e for _, e in rolls if e is not None])
    # by hand: a turn t of the pair shows as -t / N in the roll of a 2N-pole, for all magnets alike
    first, second = (orders[a.magnet] for a, _ in rolls[:2])
    assert both.cov[0, 1] == pytest.approx(TURN**2 / (first * second), rel=1e-9)
    own = find_budgets(result, "50-settled", rolls[0][0].magnet, "roll")[0]
    shares = {s.kind: s.u for s in own.shares}
    assert shares["sensor turn"] == pytest.approx(TURN / first, rel=1e-9)
