"""Certified non-linear regressions: NIST Statistical Reference Datasets (StRD), public domain.

The files in data/strd carry their own headers with model, both starts and certified values to 11 digits; they were read
from the source package of a general-purpose fitting library that ships them.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.ground.nonlinear import fit

Array = NDArray[np.float64]
FOLDER = Path(__file__).parent / "data" / "strd"


@dataclass(frozen=True)
class Certified:
    starts: tuple[Array, Array]
    b: Array
    sd: Array
    rss: float
    dof: int
    x: Array
    y: Array


def read(name: str) -> Certified:
    lines = (FOLDER / f"{name}.dat").read_text(encoding="ascii").splitlines()
    table = [[float(v) for v in line.split("=")[1].split()] for line in lines if re.match(r"\s*b\d+ =", line)]
    rows = np.array(table)

    def after(label: str) -> float:
        return float(next(line for line in lines if line.startswith(label)).split(":")[1])

    first, last = map(
        int, re.findall(r"\(lines (\d+) to (\d+)\)", next(s for s in lines if s.strip().startswith("Data  ")))[0]
    )
    data = np.array([[float(v) for v in line.split()] for line in lines[first - 1 : last]])
    return Certified(
        (rows[:, 0], rows[:, 1]),
        rows[:, 2],
        rows[:, 3],
        after("Residual Sum of Squares"),
        int(after("Degrees of Freedom")),
        data[:, 1:].T.squeeze(),
        data[:, 0],
    )


def gauss2(b: Array, x: Array) -> Array:
    peak = [b[i] * np.exp(-(((x - b[i + 1]) / b[i + 2]) ** 2)) for i in (2, 5)]
    y: Array = b[0] * np.exp(-b[1] * x) + peak[0] + peak[1]
    return y


def exponentials(b: Array, x: Array) -> Array:
    y: Array = b[0] * np.exp(-b[1] * x) + b[2] * np.exp(-b[3] * x) + b[4] * np.exp(-b[5] * x)
    return y


def cubic_over_cubic(b: Array, x: Array) -> Array:
    y: Array = (b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3) / (1 + b[4] * x + b[5] * x**2 + b[6] * x**3)
    return y


def wave(b: Array, x: Array) -> Array:
    turns = [2 * np.pi * x / period for period in (12.0, b[3], b[6])]
    amplitudes = [(b[1], b[2]), (b[4], b[5]), (b[7], b[8])]
    y: Array = b[0] + sum(c * np.cos(t) + s * np.sin(t) for t, (c, s) in zip(turns, amplitudes, strict=True))
    return y


MODELS: dict[str, Callable[[Array, Array], Array]] = {
    "Misra1a": lambda b, x: b[0] * (1 - np.exp(-b[1] * x)),
    "Misra1b": lambda b, x: b[0] * (1 - (1 + b[1] * x / 2) ** -2.0),
    "Misra1c": lambda b, x: b[0] * (1 - (1 + 2 * b[1] * x) ** -0.5),
    "Misra1d": lambda b, x: b[0] * b[1] * x / (1 + b[1] * x),
    "BoxBOD": lambda b, x: b[0] * (1 - np.exp(-b[1] * x)),
    "Chwirut1": lambda b, x: np.exp(-b[0] * x) / (b[1] + b[2] * x),
    "Chwirut2": lambda b, x: np.exp(-b[0] * x) / (b[1] + b[2] * x),
    "DanWood": lambda b, x: b[0] * x ** b[1],
    "ENSO": wave,
    "Eckerle4": lambda b, x: b[0] / b[1] * np.exp(-0.5 * ((x - b[2]) / b[1]) ** 2),
    "Gauss1": gauss2,
    "Gauss2": gauss2,
    "Gauss3": gauss2,
    "Hahn1": cubic_over_cubic,
    "Kirby2": lambda b, x: (b[0] + b[1] * x + b[2] * x**2) / (1 + b[3] * x + b[4] * x**2),
    "Lanczos1": exponentials,
    "Lanczos2": exponentials,
    "Lanczos3": exponentials,
    "MGH09": lambda b, x: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
    "MGH10": lambda b, x: b[0] * np.exp(b[1] / (x + b[2])),
    "MGH17": lambda b, x: b[0] + b[1] * np.exp(-x * b[3]) + b[2] * np.exp(-x * b[4]),
    "Nelson": lambda b, x: b[0] - b[1] * x[0] * np.exp(-b[2] * x[1]),
    "Rat42": lambda b, x: b[0] / (1 + np.exp(b[1] - b[2] * x)),
    "Rat43": lambda b, x: b[0] / (1 + np.exp(b[1] - b[2] * x)) ** (1 / b[3]),
    "Roszman1": lambda b, x: b[0] - b[1] * x - np.arctan(b[2] / (x - b[3])) / np.pi,
    "Thurber": cubic_over_cubic,
    "Bennett5": lambda b, x: b[0] * (b[1] + x) ** (-1 / b[2]),
}


def derivatives(name: str, x: Array) -> Callable[[Array], Array]:
    """Exact to rounding: the imaginary part of the model one tiny imaginary step aside."""

    def by(b: Array) -> Array:
        steps = b + 1e-30j * np.eye(len(b))
        return np.array([np.imag(MODELS[name](step, x)) / 1e-30 for step in steps]).T

    return by


def response(name: str, certified: Certified) -> Array:
    return np.log(certified.y) if name == "Nelson" else certified.y


def test_all_sets_are_tried() -> None:
    assert {path.stem for path in FOLDER.glob("*.dat")} - {"Norris"} == set(MODELS)


@pytest.mark.parametrize("start", [0, 1], ids=["far start", "near start"])
@pytest.mark.parametrize("name", MODELS)
def test_certified_values_come_out_to_ten_of_eleven_digits(name: str, start: int) -> None:
    """Eleven digits are printed; half a unit of the last one is up to 5e-11 of the value."""
    given = read(name)
    model = MODELS[name]
    found = fit(
        lambda b: model(b, given.x),
        given.starts[start],
        response(name, given),
        jacobian=derivatives(name, given.x),
        max_steps=1500,
        tolerance=1e-10,
    )
    got = found.adjustment
    assert found.converged
    np.testing.assert_allclose(got.x, given.b, rtol=1e-10)
    if name == "Lanczos1":  # residuals of 1e-13 on readings near 1: their digits are the rounding of a double
        assert got.omega < 1e-24
        return
    np.testing.assert_allclose(got.posterior_u, given.sd, rtol=2e-10)
    assert got.omega == pytest.approx(given.rss, rel=2e-10)
    # The file of Rat43 states 9 degrees of freedom for 15 readings and 4 unknowns; its standard deviations go with 11.
    assert got.dof == (11 if name == "Rat43" else given.dof)


@pytest.mark.parametrize("name", MODELS)
def test_without_derivatives_the_answer_is_right_within_a_small_part_of_its_uncertainty(name: str) -> None:
    given = read(name)
    model = MODELS[name]
    found = fit(lambda b: model(b, given.x), given.starts[1], response(name, given), max_steps=300)
    assert found.converged
    # The last step is below 1e-6 of the uncertainty; slowly converging sets (a step leaves 0.7 of the last) end within 1e-5.
    # Lanczos1 has certified uncertainties of 1e-12, below what the rounding of its readings allows.
    assert (np.abs(found.adjustment.x - given.b) < 1e-5 * given.sd + 1e-9 * np.abs(given.b)).all()
