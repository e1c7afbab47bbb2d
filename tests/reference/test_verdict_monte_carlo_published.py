"""Monte Carlo runs against the worked examples of JCGM 101 and 102; "read" or "memory" beside each.

What was read was seen in public tests that quote the documents. Seeds are fixed, so nothing here flickers; tolerances are
the last printed digit, and where the draws are the limit, four of their own standard deviations.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.ground.estimate import Estimate, Label
from monochord.verdict.monte_carlo import MonteCarlo, monte_carlo
from monochord.verdict.monte_carlo_laws import (
    Arcsine,
    Law,
    Normal,
    Rectangular,
    RoughlyLimited,
    Student,
    drawer_of,
    independent,
)
from monochord.verdict.monte_carlo_validate import check_linear
from monochord.verdict.propagation import propagate
from monochord.verdict.propagation_coverage import expanded

Array = NDArray[np.float64]


def total(x: Array) -> Array:
    return np.asarray(x.sum(axis=1))


# JCGM 101:2008, 9.2.2 and 9.2.3: limits read; 9.2.4: memory. The linear law of the last gives 19.9.
@pytest.mark.parametrize(
    ("laws", "u", "limit", "unit"),
    [
        ([Normal(0.0, 1.0)] * 4, 2.0, 3.92, 0.005),
        ([Rectangular(0.0, math.sqrt(3.0))] * 4, 2.0, 3.88, 0.005),
        ([Rectangular(0.0, math.sqrt(3.0))] * 3 + [Rectangular(0.0, 10.0 * math.sqrt(3.0))], 10.1, 17.0, 0.05),
    ],
)
def test_sums(laws: list[Law], u: float, limit: float, unit: float) -> None:
    run = monte_carlo(total, independent(laws), np.random.default_rng(92), digits=2)
    assert run.settled
    assert run.u[0] == pytest.approx(u, abs=run.tolerance[0])
    for end, doubt in ((-run.low[0], run.doubt[2, 0]), (run.high[0], run.doubt[3, 0])):
        assert end == pytest.approx(limit, abs=unit + 4.0 * doubt)
        assert 2.0 * doubt <= run.tolerance[0]


def test_the_linear_law_is_refused_where_one_rectangle_rules() -> None:
    laws = [Rectangular(0.0, math.sqrt(3.0) * wide) for wide in (1.0, 1.0, 1.0, 10.0)]
    run = monte_carlo(total, independent(laws), np.random.default_rng(924), digits=1, tighter=5.0)
    linear = Estimate.of([0.0], ["y"], unit="1", frame="bench", causes={"all": np.array([[103.0]])})
    check = check_linear(linear, run, digits=2)
    assert linear.u[0] == pytest.approx(10.1, abs=0.05)
    assert expanded(linear, 0.95)[0] == pytest.approx(19.9, abs=0.05)
    assert not check.holds[0]
    assert check.d_high[0] == pytest.approx(19.9 - 17.0, abs=0.1)  # memory, both ends printed to 0.1
    assert "does not hold" in check.words


# JCGM 101:2008, 9.3, mass: inputs and results from memory.
def mass_run(digits: int, tighter: float) -> MonteCarlo:
    laws: list[Law] = [
        Normal(1e5, 0.05), Normal(1.234, 0.02), Rectangular(1.2, 0.1), Rectangular(8000.0, 1000.0), Rectangular(8000.0, 50.0)
    ]  # fmt: skip

    def mass(x: Array) -> Array:
        return np.asarray((x[:, 0] + x[:, 1]) * (1.0 + (x[:, 2] - 1.2) * (1.0 / x[:, 3] - 1.0 / x[:, 4])) - 1e5)

    return monte_carlo(mass, independent(laws), np.random.default_rng(93), digits=digits, tighter=tighter)


def test_mass() -> None:
    run = mass_run(2, 1.0)
    assert run.settled
    assert run.value[0] == pytest.approx(1.2340, abs=5e-5 + 4.0 * run.doubt[0, 0])  # mg
    assert run.u[0] == pytest.approx(0.0754, abs=5e-5 + 4.0 * run.doubt[1, 0])
    # the printed ends are those of a shortest interval, which wander by 1e-3 along the flat bottom of the law
    assert run.shortest_low[0] == pytest.approx(1.0834, abs=2e-3)
    assert run.shortest_high[0] == pytest.approx(1.3825, abs=2e-3)
    # nearly symmetric: both kinds of interval are equally long (derived), to the draws' own doubt
    long = run.high[0] - run.low[0]
    assert 0.0 <= long - (run.shortest_high[0] - run.shortest_low[0]) < 4.0 * np.hypot(*run.doubt[2:, 0])


def test_mass_and_the_linear_law() -> None:
    """Table 3 of the example: differences 0.045 and 0.043 mg against a tolerance of 0.005 mg, so not validated."""
    linear = Estimate.of([1.234], ["m"], unit="mg", frame="bench", causes={"all": np.array([[0.05**2 + 0.02**2]])})
    check = check_linear(linear, mass_run(2, 1.0), digits=1)
    assert check.tolerance[0] == pytest.approx(0.005, rel=1e-12)
    # printed for a shortest interval; the law is nearly symmetric, and the symmetric interval wanders less: 1.6e-3 between them
    assert check.d_low[0] == pytest.approx(0.0451, abs=1.6e-3)
    assert check.d_high[0] == pytest.approx(0.0430, abs=1.6e-3)
    assert not check.holds[0]
    second = Estimate.of([1.234], ["m"], unit="mg", frame="bench", causes={"all": np.array([[0.0750**2]])})
    # with the second order the differences were 0.0036 and 0.0015 mg, within the tolerance
    assert check_linear(second, mass_run(1, 5.0), digits=1).holds[0]


# JCGM 101:2008, 9.4, comparison loss: memory; units of 1e-6.
@pytest.mark.parametrize(
    ("x1", "r", "y", "u"), [(0.0, 0.0, 50, 50), (0.010, 0.0, 150, 112), (0.050, 0.0, 2550, 502), (0.0, 0.9, 50, 67)]
)
def test_comparison_loss(x1: float, r: float, y: float, u: float) -> None:
    inputs = Estimate.of(
        [x1, 0.0], ["x1", "x2"], unit="1", frame="bench", causes={"noise": 0.005**2 * np.array([[1.0, r], [r, 1.0]])}
    )
    run = monte_carlo(lambda x: 1e6 * (x**2).sum(axis=1), drawer_of(inputs), np.random.default_rng(94), digits=2)
    assert run.settled
    assert run.value[0] == pytest.approx(y, abs=0.5 + 4.0 * run.doubt[0, 0])
    assert run.u[0] == pytest.approx(u, abs=0.5 + 4.0 * run.doubt[1, 0])
    if x1 == r == 0.0:
        # an exponential law: the shortest interval begins at 0 and ends at -2 u^2 ln 0.05 = 149.8 (printed 150)
        assert run.shortest_low[0] == pytest.approx(0.0, abs=0.1)
        assert run.shortest_high[0] == pytest.approx(-50.0 * math.log(0.05), abs=0.6)
        assert run.high[0] == pytest.approx(-50.0 * math.log(0.025), abs=4.0 * run.doubt[3, 0])


# JCGM 101:2008, 9.5, gauge block: memory.
def test_gauge_block() -> None:
    laws: list[Law] = [
        Student(50_000_623.0, 25.0, 18.0), Student(215.0, 6.0, 24.0), Student(0.0, 4.0, 5.0), Student(0.0, 7.0, 8.0),
        Rectangular(11.5e-6, 2e-6), Normal(-0.1, 0.2), Arcsine(0.0, 0.5), RoughlyLimited(0.0, 1e-6, 0.1e-6),
        RoughlyLimited(0.0, 0.05, 0.025),
    ]  # fmt: skip

    def length(x: Array) -> Array:
        standard = x[:, 0]
        strain = x[:, 7] * (x[:, 5] + x[:, 6]) + x[:, 4] * x[:, 8]
        return np.asarray(standard + x[:, 1] + x[:, 2] + x[:, 3] - standard * strain - 50e6)

    run = monte_carlo(length, independent(laws), np.random.default_rng(95), coverage=0.99, digits=2)
    assert run.settled
    assert run.value[0] == pytest.approx(838.0, abs=0.5)  # nm
    assert run.u[0] == pytest.approx(36.0, abs=0.5)
    assert run.low[0] == pytest.approx(745.0, abs=1.5)  # printed ends are of a shortest interval
    assert run.high[0] == pytest.approx(932.0, abs=1.5)


# JCGM 102:2011, 9.3, amplitude and phase of a phasor, tables 6 and 7: read.
@pytest.mark.parametrize(
    ("real", "r", "printed"),  # amplitude and its u, phase and its u
    [
        (0.001, 0.0, (0.013, 0.007, 0.0, 1.744)),
        (0.001, 0.9, (0.012, 0.008, -0.556, 1.599)),
        (0.010, 0.9, (0.015, 0.008, -0.343, 0.903)),
    ],
)
def test_polar_coordinates(real: float, r: float, printed: tuple[float, float, float, float]) -> None:
    amplitude, u_amplitude, phase, u_phase = printed
    cov = 0.010**2 * np.array([[1.0, r], [r, 1.0]])
    inputs = Estimate.of([real, 0.0], ["re", "im"], unit="1", frame="bench", causes={"noise": cov})

    def polar(x: Array) -> Array:
        return np.column_stack([np.hypot(x[:, 0], x[:, 1]), np.arctan2(x[:, 1], x[:, 0])])

    run = monte_carlo(polar, drawer_of(inputs), np.random.default_rng(102), digits=2)
    assert run.settled
    assert run.value[0] == pytest.approx(amplitude, abs=5.1e-4)
    assert run.u[0] == pytest.approx(u_amplitude, abs=5.1e-4)
    assert run.value[1] == pytest.approx(phase, abs=5e-4 + 4.0 * run.doubt[0, 1])
    assert run.u[1] == pytest.approx(u_phase, abs=5e-4 + 4.0 * run.doubt[1, 1])
    if r == 0.0:
        # exact mean and standard deviation of Rice's law (derived)
        assert run.value[0] == pytest.approx(0.012564, abs=4.0 * run.doubt[0, 0])
        assert run.u[0] == pytest.approx(0.0065678, abs=4.0 * run.doubt[1, 0])
        linear = propagate(lambda x: polar(x[None])[0], inputs, [Label("a", "1", "bench"), Label("p", "rad", "bench")])
        check = check_linear(linear, run, digits=1)
        assert not check.holds.all()
        assert not check.holds_jointly


# NPL report DEM-ES-011, logarithm of a quantity between 0.1 and 1.1: read.
def test_logarithm() -> None:
    run = monte_carlo(
        lambda x: np.log(x[:, 0]), independent([Rectangular(0.6, 0.5)]), np.random.default_rng(11), digits=2
    )
    assert run.value[0] == pytest.approx(-0.665, abs=5e-4 + 4.0 * run.doubt[0, 0])
    assert run.u[0] == pytest.approx(0.606, abs=5e-4 + 4.0 * run.doubt[1, 0])
    # the law of ln X rises to its upper end, so the shortest interval reaches up to ln 1.1 (derived)
    assert run.shortest_high[0] == pytest.approx(math.log(1.1), abs=2e-3)
    assert run.shortest_high[0] - run.shortest_low[0] < run.high[0] - run.low[0]
