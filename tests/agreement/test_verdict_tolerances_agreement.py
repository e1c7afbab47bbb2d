"""Verdicts in every form of a tolerance against drawing: probability, posterior and risks, with binomial bounds and fixed seeds.

Each bound is 4.5 standard deviations of a share counted over the draws: a right program breaks one in 150 000 (derived).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.found.axes import CommonLine
from monochord.campaign.found.verdict import Verdict
from monochord.campaign.given.tolerance import PriorKnowledge, Tolerance
from monochord.ground.estimate import Estimate
from monochord.verdict.decide import offset_verdicts

Array = NDArray[np.float64]
UM = 1e-6
DRAWS = 200_000
MAGNETS = ("Q1", "S1", "Q2")
NAMES = [f"{m}.{p}" for m in MAGNETS for p in "xy"]
#: Offsets [um]: one magnet near its limit, so that no probability is trivial.
VALUE = np.array([3.0, -8.0, 14.0, 6.0, -5.0, 11.0])


def covariance() -> Array:
    """Correlated through a sag and a roll that all share [um^2]."""
    sag = np.outer([0, 1.0, 0, 1.5, 0, 1.0], [0, 1.0, 0, 1.5, 0, 1.0])
    roll = np.outer([1.0, 0.2, -1, 0.1, 2, 0], [1.0, 0.2, -1, 0.1, 2, 0])
    return 4.0 * np.eye(6) + 3.0 * sag + 2.0 * roll


def judged(tolerance: Tolerance, value: Array = VALUE, cov: Array | None = None) -> list[Verdict]:
    spread = covariance() if cov is None else cov
    offsets = Estimate.of(UM * value, NAMES, unit="m", frame="girder", causes={"all": UM**2 * spread})
    line = CommonLine("a line", offsets, (0.0, 0.0), (0.0, 0.0), {})
    return offset_verdicts("bench", line, MAGNETS, tolerance, "wire")


def truths(seed: int) -> Array:
    """Draws of all true offsets about the reading [um], (DRAWS, 6)."""
    return np.random.default_rng(seed).multivariate_normal(VALUE, covariance(), DRAWS)


def bound(p: float, draws: int = DRAWS) -> float:
    return 4.5 * math.sqrt(max(p * (1.0 - p), 1.0 / draws) / draws)


@pytest.mark.parametrize(("sides", "lower"), [("both", None), ("both", -9.0), ("upper", None), ("lower", None)])
def test_one_sided_and_uneven_limits(sides: str, lower: float | None) -> None:
    limit = -10.0 if sides == "lower" else 13.0
    found = judged(Tolerance("offset", UM * limit, sides=sides, lower=None if lower is None else UM * lower))
    low = {"both": -limit if lower is None else lower, "upper": -math.inf, "lower": limit}[sides]
    high = math.inf if sides == "lower" else limit
    drawn = truths(1)
    for i, verdict in enumerate(found):
        share = float(((drawn[:, i] >= low) & (drawn[:, i] <= high)).mean())
        assert verdict.probability == pytest.approx(share, abs=bound(share))
        # proven on one side only: outside by more than 1.645 u, however far inside the other limit
        u = 1.6449 * verdict.u / UM
        inside = VALUE[i] - u >= low and VALUE[i] + u <= high
        assert (verdict.verdict == "conforms") == inside


def test_radial() -> None:
    found = judged(Tolerance("offset", 16.0 * UM, form="radial"))
    drawn = truths(2).reshape(DRAWS, 3, 2)
    shares = (np.hypot(drawn[:, :, 0], drawn[:, :, 1]) <= 16.0).mean(axis=0)
    assert [v.magnet for v in found] == list(MAGNETS)
    for verdict, share in zip(found, shares, strict=True):
        assert verdict.quantity == "offset_radial"
        assert verdict.probability == pytest.approx(float(share), abs=bound(float(share)))


def test_rms() -> None:
    for limit in (7.0, 9.0, 10.5):
        (verdict,) = judged(Tolerance("offset", limit * UM, form="rms"))
        share = float((np.sqrt((truths(3) ** 2).mean(axis=1)) <= limit).mean())
        assert (verdict.magnet, verdict.quantity) == ("", "offset_rms")
        assert verdict.value == pytest.approx(UM * math.sqrt(float((VALUE**2).mean())), rel=1e-12)
        assert verdict.probability == pytest.approx(share, abs=bound(share))
        assert (verdict.verdict == "conforms") == (share >= 0.95)


@pytest.mark.parametrize(("limit", "lower"), [(16.0, None), (19.0, None), (18.0, -12.0)])
def test_all_together(limit: float, lower: float | None) -> None:
    tolerance = Tolerance("offset", limit * UM, form="all together", lower=None if lower is None else lower * UM)
    (verdict,) = judged(tolerance)
    low = -limit if lower is None else lower
    drawn = truths(4)
    share = float(((drawn >= low) & (drawn <= limit)).all(axis=1).mean())
    singles = ((drawn >= low) & (drawn <= limit)).mean(axis=0)
    assert verdict.quantity == "offset_all"
    # 2e-4: error at which the sum of the joint probability stops
    assert verdict.probability == pytest.approx(share, abs=bound(share) + 2e-4)
    assert verdict.probability < singles.min()
    # the value told is that of the component drawn outside most often
    assert verdict.value == pytest.approx(UM * VALUE[int(np.argmin(singles))])


def test_posterior_of_each_axis_and_of_x_and_y_together() -> None:
    """Truths drawn from the prior, each read with noise; those whose reading is the one at hand are kept."""
    prior = PriorKnowledge("normal", mean=2.0 * UM, sd=8.0 * UM)
    cov = np.zeros((6, 6))
    cov[:2, :2] = [[9.0, 3.0], [3.0, 6.0]]
    cov[2:, 2:] = np.eye(4)
    (first, *_) = judged(
        Tolerance("offset", 12.0 * UM, form="radial", prior=prior), np.array([9.0, 6.0, 0, 0, 0, 0]), cov
    )
    rng = np.random.default_rng(5)
    truth = rng.normal(2.0, 8.0, (40 * DRAWS, 2))
    reading = truth + rng.multivariate_normal([0.0, 0.0], cov[:2, :2], len(truth))
    near = np.hypot(*(reading - [9.0, 6.0]).T) < 0.4
    kept = truth[near]
    share = float((np.hypot(kept[:, 0], kept[:, 1]) <= 12.0).mean())
    assert len(kept) > 5000
    assert first.posterior is not None
    # the window of 0.4 um about the reading bends the share by less than 1e-3 (derived from its second derivative)
    assert first.posterior == pytest.approx(share, abs=bound(share, len(kept)) + 1e-3)


def test_posterior_under_a_uniform_prior_is_a_truncated_law() -> None:
    prior = PriorKnowledge("uniform", low=-10.0 * UM, high=12.0 * UM)
    found = judged(Tolerance("offset", 11.0 * UM, prior=prior))
    drawn = truths(6)
    for i, verdict in enumerate(found):
        kept = drawn[(drawn[:, i] >= -10.0) & (drawn[:, i] <= 12.0), i]
        share = float((np.abs(kept) <= 11.0).mean())
        assert verdict.posterior == pytest.approx(share, abs=bound(share, len(kept)))
    (together,) = judged(
        Tolerance("offset", 11.0 * UM, form="all together", prior=PriorKnowledge("uniform", low=-20 * UM, high=20 * UM))
    )
    allowed = drawn[(np.abs(drawn) <= 20.0).all(axis=1)]
    share = float((np.abs(allowed) <= 11.0).all(axis=1).mean())
    assert together.posterior == pytest.approx(share, abs=bound(share, len(allowed)) + 5e-4)


@pytest.mark.parametrize("rule", ["guard band", "simple acceptance"])
@pytest.mark.parametrize("whose", ["consumer's", "producer's"])
def test_global_risks_of_every_rule(rule: str, whose: str) -> None:
    """A fleet drawn, read, and judged by the very verdicts."""
    tolerance = Tolerance(
        "offset", 10.0 * UM, rule=rule, whose=whose, prior=PriorKnowledge("uniform", low=-14.0 * UM, high=14.0 * UM)
    )
    cov = 4.0 * np.eye(6)
    one = judged(tolerance, np.zeros(6), cov)[0]
    rng = np.random.default_rng(7)
    truth = rng.uniform(-14.0, 14.0, 60_000)
    readings = truth + rng.normal(0.0, 2.0, len(truth))
    # the verdict changes at a few places only: found once, then counted
    grid = np.linspace(-25.0, 25.0, 501)
    words = [judged(tolerance, np.array([g, 0, 0, 0, 0, 0]), cov)[0].verdict == "conforms" for g in grid]
    accepted = np.interp(readings, grid, np.array(words, float)) > 0.5
    wrong = float((accepted & (np.abs(truth) > 10.0)).mean())
    lost = float((~accepted & (np.abs(truth) <= 10.0)).mean())
    assert one.global_consumers_risk is not None
    assert one.global_producers_risk is not None
    # the step of the grid moves each edge by at most 0.05 um of a span of 28
    assert one.global_consumers_risk == pytest.approx(wrong, abs=bound(wrong, len(truth)) + 2 * 0.05 / 28.0)
    assert one.global_producers_risk == pytest.approx(lost, abs=bound(lost, len(truth)) + 2 * 0.05 / 28.0)


def test_the_share_of_wrong_acceptances_at_the_limit() -> None:
    """At the limit simple acceptance is wrong for about half, the guard band for its risk; seen by drawing readings."""
    rng = np.random.default_rng(8)
    readings = 30.0 + rng.normal(0.0, 2.0, 1500)
    cov = 4.0 * np.eye(6)
    beyond = 30.0 + 1e-9  # a truth just beyond the limit

    def accepted(tolerance: Tolerance) -> float:
        words = [judged(tolerance, np.array([r + beyond - 30.0, 0, 0, 0, 0, 0]), cov)[0].verdict for r in readings]
        return float(np.mean([w == "conforms" for w in words]))

    simple = accepted(Tolerance("offset", 30.0 * UM, rule="simple acceptance"))
    guarded = accepted(Tolerance("offset", 30.0 * UM, risk=0.02))
    relaxed = accepted(Tolerance("offset", 30.0 * UM, risk=0.02, whose="producer's"))
    assert simple == pytest.approx(0.5, abs=bound(0.5, 1500))
    assert guarded == pytest.approx(0.02, abs=bound(0.02, 1500))
    assert relaxed == pytest.approx(0.98, abs=bound(0.98, 1500))
