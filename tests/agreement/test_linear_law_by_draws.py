"""The linear law of the offsets against draws of the whole chain over redrawn readings: few draws, bands that follow from them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import chdtri

from monochord.campaign.found.points import PointSet
from monochord.ground.estimate import Estimate, kind_of
from monochord.ground.faults import Refused
from monochord.job.check import Chain, bends_of, chain_of, check_lines, drawn_run, left_out
from monochord.job.redraw import DRAWN, Normals
from monochord.simulate.campaign import simulate_campaign
from monochord.survey.points import adjust_survey
from monochord.verdict.monte_carlo_chain import NOT_VALIDATED, VALIDATED, check_chain
from monochord.wire.axes import find_axes
from monochord.wire.setup import reading_noise

MADE = simulate_campaign(1).campaign
BENCH = next(o for o in MADE.occasions if o.name == "10-placed")
#: So many runs of 0.1 s; the bands below follow from it.
RUNS = 60


@pytest.fixture(scope="module")
def chain() -> Chain:
    return chain_of(MADE, BENCH)


def test_draws_scatter_as_the_linear_law_says(chain: Chain) -> None:
    rng = np.random.default_rng(20310505)
    draws = np.array([chain.run(Normals(int(s))) for s in rng.integers(2**48, size=RUNS)])
    ratio = np.square((draws - chain.at) / chain.linear.u).mean(axis=0)
    # n ratio is chi-square with n degrees for each offset; 12 of them and both sides share one chance in 1000
    p = 1e-3 / (2.0 * len(ratio))
    assert (ratio < chdtri(RUNS, p) / RUNS).all()
    assert (ratio > chdtri(RUNS, 1.0 - p) / RUNS).all()


def test_the_chain_hardly_bends(chain: Chain) -> None:
    # a bend of a third of u would add 5 % to u, half a unit of its first digit at worst
    bends = bends_of(chain, 3, 6)
    assert float(np.max(np.sqrt((bends**2).mean(axis=0)) / chain.linear.u)) < 1.0 / 3.0


def test_the_same_seed_gives_the_same_draw(chain: Chain) -> None:
    one, other = (chain.run(Normals(5)) for _ in range(2))
    np.testing.assert_array_equal(one, other)
    assert not np.array_equal(one, chain.run(Normals(6)))


def test_what_is_not_drawn_is_left_out_of_the_linear_law_and_told(chain: Chain) -> None:
    assert {kind_of(c) for c in chain.linear.factors} <= set(DRAWN)
    out = left_out(chain)
    assert set(out) == {"detuning"}
    assert 0.0 < out["detuning"] < 0.05
    assert (chain.linear.u < chain.whole.u).all()


def test_an_occasion_without_a_wire_is_refused() -> None:
    with pytest.raises(Refused, match="wire was scanned"):
        chain_of(MADE, next(o for o in MADE.occasions if o.name == "40-arrival"))


def law(u: float = 1.0) -> Estimate:
    cov = u**2 * np.array([[1.0, 0.3], [0.3, 1.0]])
    return Estimate.of([0.0, 0.0], ["Q1.x", "Q1.y"], unit="m", frame="girder", causes={"fit:a": cov})


def told(linear: Estimate, draws: np.ndarray[tuple[int, int], np.dtype[np.float64]], digits: int = 1) -> str:
    chain = Chain("a", linear, linear, linear.value, lambda draw: linear.value + draw(2))
    rows = iter(draws)
    replayed = replace(chain, run=lambda _: next(rows))
    run = drawn_run(replayed, 1, len(draws), digits, batch=100)
    found = check_chain(linear, run, np.zeros((0, 2)), digits=digits)
    assert found.draws <= len(draws)
    assert check_lines(chain, found)[0].startswith("a: ")
    return found.word


def test_a_law_that_is_wrong_by_half_is_not_validated_and_a_right_one_is() -> None:
    draws = np.random.default_rng(7).multivariate_normal([0.0, 0.0], [[1.0, 0.3], [0.3, 1.0]], 4000)
    assert told(law(), draws) == VALIDATED
    assert told(law(2.0), draws) == NOT_VALIDATED
    # to two digits 4000 draws know an end to 0.04, and half a unit of the second digit is 0.05
    assert told(law(), draws, digits=2) != NOT_VALIDATED
    assert told(law(), draws[:200], digits=2) not in (VALIDATED, NOT_VALIDATED)


def test_degrees_of_freedom_behind_the_noise_do_not_matter() -> None:
    settled = next(o for o in MADE.occasions if o.name == "50-settled")
    assert MADE.instrument is not None
    points: PointSet = adjust_survey("50-settled", settled.sightings, MADE.instrument, MADE.girder.targets)
    # readings less unknowns: two components of two planes each; a law has at most 8 real coefficients, a scan one more
    readings = 4 * sum(len(s.x) for s in settled.scans)
    wire = readings - 10 * len(settled.scans)
    assert min(points.dof, float(wire)) > 500.0
    # Student's factor exceeds the normal one by z (z^2 + 1) / (4 nu) to first order: below 0.3 % of u, under half a second digit
    z = 1.959964
    assert (z**2 + 1.0) / (4.0 * min(points.dof, float(wire))) < 0.003


def test_the_noise_that_is_drawn_is_the_noise_that_the_law_assumes() -> None:
    assert MADE.wire is not None
    found = find_axes("a", BENCH.scans, BENCH.sweeps, MADE.wire, MADE.girder.magnets)
    noise = reading_noise(BENCH.scans)
    doubled = [
        replace(s, x=s.x + noise * _complex(i, len(s.x)), y=s.y + noise * _complex(1000 + i, len(s.x)))
        for i, s in enumerate(BENCH.scans)
    ]
    again = find_axes("a", doubled, BENCH.sweeps, MADE.wire, MADE.girder.magnets)
    before, after = (
        np.array([a.estimate.factors[f"fit:a/{a.magnet}"].spread[0, 0] for a in f.axes]) for f in (found, again)
    )
    # noise upon noise doubles the variance that the residuals tell; some thousand residuals know it to 5 %
    assert math.sqrt(float(np.median(after / before))) == pytest.approx(math.sqrt(2.0), rel=0.05)


def _complex(seed: int, n: int) -> np.ndarray[tuple[int], np.dtype[np.complex128]]:
    rng = np.random.default_rng([11, seed])
    return np.asarray(rng.normal(size=n) + 1j * rng.normal(size=n), complex)
