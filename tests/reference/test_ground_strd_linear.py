"""Certified linear regressions: NIST Statistical Reference Datasets (StRD), public domain.

Norris: data and certificate read in the file that a general-purpose package ships. Longley: data read, certificate from
memory. Filip and Wampler: from memory. What is from memory is confirmed here: solved in exact fractions, data and
certificate agree to the 15 digits that are certified, which they could not with one digit wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.ground.least_squares import adjust

Array = NDArray[np.float64]
FOLDER = Path(__file__).parent / "data"

LONGLEY = (
    (-3482258.63459582, 890420.383607373),
    (15.0618722713733, 84.9149257747669),
    (-0.358191792925910e-1, 0.334910077722432e-1),
    (-2.02022980381683, 0.488399681651699),
    (-1.03322686717359, 0.214274163161675),
    (-0.511041056535807e-1, 0.226073200069370),
    (1829.15146461355, 455.478499142212),
)
FILIP = (
    (-1467.48961422980, 298.084530995537),
    (-2772.17959193342, 559.779865474950),
    (-2316.37108160893, 466.477572127796),
    (-1127.97394098372, 227.204274477751),
    (-354.478233703349, 71.6478660875927),
    (-75.1242017393757, 15.2897178747400),
    (-10.8753180355343, 2.23691159816033),
    (-1.06221498588947, 0.221624321934227),
    (-0.670191154593408e-1, 0.142363763154724e-1),
    (-0.246781078275479e-2, 0.535617408889821e-3),
    (-0.402962525080404e-4, 0.896632837373868e-5),
)
WAMPLER3 = (  # every coefficient is 1
    (1.0, 2152.32624678170),
    (1.0, 2363.55173469681),
    (1.0, 779.343524331583),
    (1.0, 101.475507550350),
    (1.0, 5.64566512170752),
    (1.0, 0.112324854679312),
)
WAMPLER3_Y = """760 -2042 2111 -1684 3888 1858 11379 17560 39287 64382 113159 175108 273291 400186 581243
811568 1121004 1506550 2002767 2611612 3369180"""


def cells(name: str) -> list[list[str]]:
    lines = (FOLDER / name).read_text(encoding="ascii").splitlines()
    return [line.split(",") for line in lines if line and not line.startswith("#")][1:]


def longley() -> tuple[list[list[str]], list[str]]:
    rows = cells("longley.csv")
    return [["1", *row[1:]] for row in rows], [row[0] for row in rows]


def filip() -> tuple[list[str], list[str]]:
    rows = cells("filip.csv")
    return [row[1] for row in rows], [row[0] for row in rows]


def exact_solution(
    design: Sequence[Sequence[Fraction]], y: Sequence[Fraction]
) -> tuple[list[float], list[float], float]:
    """Coefficients, their standard deviations and the residual standard deviation, rounded only at the end."""
    u = len(design[0])
    rows = [
        [sum((r[i] * r[j] for r in design), Fraction(0)) for j in range(u)]
        + [sum((r[i] * v for r, v in zip(design, y, strict=True)), Fraction(0))]
        + [Fraction(int(i == j)) for j in range(u)]
        for i in range(u)
    ]
    for c in range(u):
        pivot = rows[c][c]
        rows[c] = [v / pivot for v in rows[c]]
        for i in range(u):
            if i != c:
                factor = rows[i][c]
                rows[i] = [a - factor * b for a, b in zip(rows[i], rows[c], strict=True)]
    b = [row[u] for row in rows]
    rss = sum((v - sum(a * x for a, x in zip(r, b, strict=True))) ** 2 for r, v in zip(design, y, strict=True))
    s2 = rss / (len(y) - u)
    return [float(v) for v in b], [float(s2 * rows[i][u + 1 + i]) ** 0.5 for i in range(u)], float(s2) ** 0.5


def powers(x: Sequence[str], degree: int) -> list[list[Fraction]]:
    return [[Fraction(v) ** k for k in range(degree + 1)] for v in x]


def certified(table: Sequence[tuple[float, float]]) -> tuple[Array, Array]:
    both = np.array(table)
    return both[:, 0], both[:, 1]


# --- data and certificates belong together ---------------------------------------------------------------------


@pytest.mark.parametrize("name", ["longley", "filip", "wampler3"])
def test_remembered_certificates_follow_from_the_data_in_exact_arithmetic(name: str) -> None:
    table: Sequence[tuple[float, float]]
    if name == "longley":
        rows, y = longley()
        design, table, sd = [[Fraction(v) for v in row] for row in rows], LONGLEY, 304.854073561965
    elif name == "filip":
        x, y = filip()
        design, table, sd = powers(x, 10), FILIP, 0.334801051324544e-2
    else:
        y = WAMPLER3_Y.split()
        design, table, sd = powers([str(k) for k in range(21)], 5), WAMPLER3, 2360.14502379268
    b, u, s = exact_solution(design, [Fraction(v) for v in y])
    np.testing.assert_allclose(b, certified(table)[0], rtol=1e-14)
    np.testing.assert_allclose(u, certified(table)[1], rtol=1e-14)
    assert s == pytest.approx(sd, rel=1e-14)


# --- what the adjustment makes of them ----------------------------------------------------------------------------


def test_norris() -> None:
    lines = (FOLDER / "strd" / "Norris.dat").read_text(encoding="ascii").splitlines()
    data = np.array([[float(v) for v in line.split()] for line in lines[60:96]])
    got = adjust(np.column_stack([np.ones(36), data[:, 1]]), data[:, 0], names=["B0", "B1"])
    np.testing.assert_allclose(got.x, [-0.262323073774029, 1.00211681802045], rtol=1e-13)
    np.testing.assert_allclose(got.posterior_u, [0.232818234301152, 0.429796848199937e-3], rtol=1e-13)
    assert np.sqrt(got.variance_factor) == pytest.approx(0.884796396144373, rel=1e-13)


def test_longley_to_ten_digits_with_years_and_prices_as_they_stand() -> None:
    rows, y = longley()
    got = adjust(np.array(rows, float), np.array(y, float))
    b, sd = certified(LONGLEY)
    np.testing.assert_allclose(got.x, b, rtol=1e-10)
    np.testing.assert_allclose(got.posterior_u, sd, rtol=1e-10)
    assert np.sqrt(got.variance_factor) == pytest.approx(304.854073561965, rel=1e-12)


def test_filip_to_seven_digits() -> None:
    """Condition 5e9 after scaling times rounding 1e-16 of the powers themselves leaves 7 digits."""
    x, y = filip()
    design = np.vander(np.array(x, float), 11, increasing=True)
    got = adjust(design, np.array(y, float))
    b, sd = certified(FILIP)
    np.testing.assert_allclose(got.x, b, rtol=2e-7)
    np.testing.assert_allclose(got.posterior_u, sd, rtol=2e-7)
    assert np.sqrt(got.variance_factor) == pytest.approx(0.334801051324544e-2, rel=1e-8)


@pytest.mark.parametrize(("number", "scale"), [(1, 1.0), (2, 0.1)])
def test_wampler_with_exact_data(number: int, scale: float) -> None:
    """Coefficients are scale^k; the largest reading is 3e6, so rounding leaves 1e-10 of a unit in the constant."""
    x = np.arange(21.0)
    design = np.vander(x, 6, increasing=True)
    want = scale ** np.arange(6)
    got = adjust(design, design @ want)
    np.testing.assert_allclose(got.x / want, 1.0, rtol=1e-9)
    assert np.sqrt(got.variance_factor) < 1e-9


def test_wampler3_with_large_residuals() -> None:
    y = np.array(WAMPLER3_Y.split(), float)
    got = adjust(np.vander(np.arange(21.0), 6, increasing=True), y)
    b, sd = certified(WAMPLER3)
    np.testing.assert_allclose(got.x, b, rtol=1e-8)
    np.testing.assert_allclose(got.posterior_u, sd, rtol=1e-12)
