"""Propagation against a general package that carries uncertainties through arithmetic by exact derivatives."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import correlated_values, correlation_matrix, covariance_matrix, ufloat, umath  # type: ignore[import-untyped]

from monochord.ground.estimate import Estimate, Factor, Label
from monochord.verdict.propagation import propagate, sensitivities

Array = NDArray[np.float64]
Model = Callable[[Any, Sequence[Any]], list[Any]]


# Each model is written once, m standing for numpy or for the package's own functions.
def line_offset(m: Any, x: Sequence[Any]) -> list[Any]:
    return [x[1] - (x[0] + x[2]) / 2, x[2] - x[0]]


def distance(m: Any, x: Sequence[Any]) -> list[Any]:
    return [m.sqrt((x[0] - x[3]) ** 2 + (x[1] - x[4]) ** 2 + (x[2] - x[5]) ** 2)]


def polar_to_cartesian(m: Any, x: Sequence[Any]) -> list[Any]:
    r, az, zenith = x
    return [r * m.sin(zenith) * m.sin(az), r * m.cos(zenith), r * m.sin(zenith) * m.cos(az)]


def cartesian_to_polar(m: Any, x: Sequence[Any]) -> list[Any]:
    flat = m.sqrt(x[0] ** 2 + x[2] ** 2)
    atan2 = getattr(m, "atan2", None) or m.arctan2
    return [m.sqrt(x[0] ** 2 + x[1] ** 2 + x[2] ** 2), atan2(x[0], x[2]), atan2(flat, x[1])]


def roll(m: Any, x: Sequence[Any]) -> list[Any]:
    atan2 = getattr(m, "atan2", None) or m.arctan2
    return [atan2(x[1] - x[3], x[0] - x[2])]


def sag(m: Any, x: Sequence[Any]) -> list[Any]:
    gravity, frequency = x
    return [gravity / (32 * frequency**2)]


def amplitude_of_a_resonance(m: Any, x: Sequence[Any]) -> list[Any]:
    force, f0, width, f = x
    return [force / m.sqrt((f0**2 - f**2) ** 2 + (width * f) ** 2)]


def thermal_length(m: Any, x: Sequence[Any]) -> list[Any]:
    length, alpha, t, t0 = x
    return [length * (1 + alpha * (t - t0)), length * m.exp(alpha * (t - t0))]


def mean_and_spread(m: Any, x: Sequence[Any]) -> list[Any]:
    mean = sum(x) / len(x)
    return [mean, m.sqrt(sum((v - mean) ** 2 for v in x) / len(x))]


def growing_and_dying(m: Any, x: Sequence[Any]) -> list[Any]:
    a, tau, t = x
    return [a * m.exp(-t / tau), a * (1 - m.exp(-t / tau)), m.log(a) * t / tau]


MODELS: dict[str, tuple[Model, list[float], float]] = {
    # model, place, relative size of the uncertainties
    "offset from a line": (line_offset, [12e-6, -5e-6, 30e-6], 0.3),
    "distance": (distance, [1.0, 0.2, -0.3, 4.0, 0.1, 2.0], 1e-4),
    "polar to cartesian": (polar_to_cartesian, [5.123, 0.7, 1.4], 1e-5),
    "cartesian to polar": (cartesian_to_polar, [1.0, -0.4, 3.0], 1e-5),
    "roll of a magnet": (roll, [0.15, 2e-4, -0.15, -3e-4], 1e-3),
    "sag": (sag, [9.80665, 51.3], 1e-4),
    "resonance": (amplitude_of_a_resonance, [2.0, 50.0, 0.5, 50.2], 1e-4),
    "thermal length": (thermal_length, [2.9, 11.5e-6, 23.4, 20.0], 1e-2),
    "mean and spread": (mean_and_spread, [1.0, 2.5, -0.5, 4.0, 0.3], 0.05),
    "decay": (growing_and_dying, [3.0, 0.7, 0.4], 0.01),
}


@pytest.mark.parametrize("name", MODELS)
def test_values_and_covariance_agree(name: str) -> None:
    model, place, relative = MODELS[name]
    rng = np.random.default_rng(sum(map(ord, name)))
    x, n = np.array(place), len(place)
    unit = relative * np.abs(x)
    mix, shared = rng.normal(size=(n, n)) / np.sqrt(n), rng.normal(size=(n, 2))
    noise = np.outer(unit, unit) * (mix @ mix.T + 0.1 * np.eye(n))
    causes = {
        "noise": Factor(np.eye(n), noise),
        "scale": Factor(unit[:, None] * shared, np.array([[1.0, 0.4], [0.4, 0.5]])),
    }
    inputs = Estimate(x, tuple(Label(f"x{k}", "1", "bench") for k in range(n)), causes)

    theirs = model(umath, correlated_values(x, inputs.cov))
    labels = [Label(f"y{k}", "1", "bench") for k in range(len(theirs))]
    ours = propagate(lambda v: np.array(model(np, list(v))), inputs, labels)

    # their covariance matrix goes through an eigenvalue decomposition: 1e-9 of sqrt(var var) is their rounding and our slopes'
    scale = np.outer(ours.u, ours.u)
    assert ours.value == pytest.approx([y.nominal_value for y in theirs], rel=1e-13, abs=1e-18)
    assert ours.u == pytest.approx([y.std_dev for y in theirs], rel=1e-8)
    np.testing.assert_allclose(ours.cov / scale, np.array(covariance_matrix(theirs)) / scale, atol=1e-8)
    np.testing.assert_allclose(ours.cov / scale, correlation_matrix(theirs), atol=1e-8)
    # and the parts by cause are what each cause alone would give
    for cause, factor in causes.items():
        alone = model(umath, correlated_values(x, factor.cov + 1e-24 * np.diag(unit**2)))
        part = [ours.shares(label.name)[cause] for label in labels]
        assert np.sqrt(part) == pytest.approx([y.std_dev for y in alone], rel=1e-6, abs=1e-9 * float(ours.u.max()))


@pytest.mark.parametrize("name", MODELS)
def test_slopes_agree_with_derivatives_taken_by_rules(name: str) -> None:
    model, place, relative = MODELS[name]
    x = np.array(place)
    variables = [ufloat(value, relative * abs(value)) for value in place]
    theirs = [[y.derivatives.get(v, 0.0) for v in variables] for y in model(umath, variables)]
    ours = sensitivities(lambda v: np.array(model(np, list(v))), x, relative * np.abs(x))
    # slopes times uncertainties, in parts of the outcome's own uncertainty
    unit = relative * np.abs(x)
    size = np.linalg.norm(ours * unit, axis=1, keepdims=True)
    np.testing.assert_allclose(ours * unit / size, np.array(theirs) * unit / size, atol=2e-9)
