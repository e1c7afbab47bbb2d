"""Comparisons of many simulated pairs of surveys: how often something is found in vain or missed, and whether u is honest.

The surveys here are drawn by their own small generator, seeded, so every run sees the same draws; the limits are those that a
right comparison breaks with a probability below 0.1 %, by the binomial distribution.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import bdtr

from monochord.campaign.found.comparison import Comparison
from monochord.survey.compare import compare
from tests.survey_compare_girder import Curve, What, make_girder, moved, two_occasions

Array = NDArray[np.float64]
GIRDER = make_girder()
MAGNETS = [m.name for m in GIRDER.magnets]
DRAWS = 60
#: Level of the family of tests, the default of the comparison.
LEVEL = 0.05


#: Chance that a normal value lies more than two standard deviations off.
BEYOND = 0.0455


def beyond(drawn: list[Draw]) -> int:
    """How many own moves, two planes of five magnets a draw, are off by more than 2 u."""
    return int((np.abs([d.errors for d in drawn]) > 2.0).sum())


def most(draws: int, chance: float) -> int:
    """The smallest count that is exceeded with a probability below 0.1 %."""
    return next(k for k in range(draws + 1) if 1.0 - float(bdtr(k, draws, chance)) < 1e-3)


def polynomial(rng: np.random.Generator, size: float) -> Curve:
    """A smooth curve of random shape with about this size."""
    c = size * rng.normal(size=3)

    def curve(z: Array) -> tuple[Array, Array]:
        s = z / 2.1
        value = c[0] * s**2 + c[1] * s**3 + c[2] * s**4
        return value, (2 * c[0] * s + 3 * c[1] * s**2 + 4 * c[2] * s**3) / 2.1

    return curve


def creep(rng: np.random.Generator) -> dict[str, Array]:
    """What clamps do that hold."""
    return {m: np.concatenate([1.5e-6 * rng.normal(size=3), 4e-6 * rng.normal(size=3)]) for m in MAGNETS}


def slip(rng: np.random.Generator) -> Array:
    """A magnet that went 30 to 60 um across the beam and rolled."""
    angle, far = rng.uniform(0.0, 2.0 * np.pi), rng.uniform(30e-6, 60e-6)
    return np.array([far * np.cos(angle), far * np.sin(angle), 0.0, 0.0, 0.0, 60e-6 * rng.normal()])


@dataclass(frozen=True, eq=False)
class Draw:
    """One simulated pair, what was done and what was found."""

    bodies: dict[str, Array]
    slipped: str | None
    knocked: str | None
    found: Comparison

    @property
    def in_vain(self) -> bool:
        """Whether anything is said to have moved that did not."""
        magnets = {m.magnet for m in self.found.own_moves if m.found} - {self.slipped}
        targets = {t.target for t in self.found.targets_moved if t.found} - {self.knocked}
        return bool(magnets or targets) or not next(g.ok for g in self.found.gates if g.name == "range scale")

    @property
    def errors(self) -> Array:
        """Error of dx and dy of every magnet in units of u (m, 2)."""
        true = np.array([self.bodies[m.magnet][:2] for m in self.found.own_moves])
        said = np.array([m.estimate.value[:2] for m in self.found.own_moves])
        u = np.array([m.estimate.u[:2] for m in self.found.own_moves])
        return np.asarray((said - true) / u, float)


def draw(rng: np.random.Generator, *, wire: bool, size: float, slips: bool = False, knocks: bool = False) -> Draw:
    bodies = creep(rng)
    slipped = str(rng.choice(MAGNETS)) if slips else None
    if slipped is not None:
        bodies[slipped] = bodies[slipped] + slip(rng)
    knocked = str(rng.choice([t.name for t in GIRDER.targets])) if knocks else None
    away = rng.normal(size=3)
    nests = {} if knocked is None else {knocked: 60e-6 * away / np.linalg.norm(away)}
    what = What(
        vertical=polynomial(rng, size), lateral=polynomial(rng, size), twist=polynomial(rng, 2.0 * size),
        bodies=bodies, nests=nests, rigid=1e-5 * rng.normal(size=6), giving=float(rng.integers(2)),
    )  # fmt: skip
    two = two_occasions(GIRDER, what, rng)
    before, after = (two.axes_a, two.axes_b) if wire else (None, None)
    return Draw(bodies, slipped, knocked, compare("before", "after", two.a, two.b, before, after, GIRDER))


def many(seed: int, *, wire: bool, size: float, slips: bool = False, knocks: bool = False) -> list[Draw]:
    rng = np.random.default_rng(seed)
    return [draw(rng, wire=wire, size=size, slips=slips, knocks=knocks) for _ in range(DRAWS)]


@pytest.fixture(scope="module")
def quiet() -> list[Draw]:
    """Nothing moved but the shape; wire and targets."""
    return many(1, wire=True, size=5e-6)


@pytest.fixture(scope="module")
def slipped() -> list[Draw]:
    """One magnet slipped; wire and targets."""
    return many(2, wire=True, size=10e-6, slips=True)


def test_nothing_is_found_in_vain_more_often_than_the_level_says(quiet: list[Draw]) -> None:
    assert sum(d.in_vain for d in quiet) <= most(DRAWS, LEVEL)


@pytest.mark.parametrize("size", [5e-6, 60e-6])
def test_nor_from_targets_alone_whatever_the_shape(size: float) -> None:
    drawn = many(3, wire=False, size=size)

    assert sum(d.in_vain for d in drawn) <= most(DRAWS, LEVEL)
    assert beyond(drawn) <= most(10 * DRAWS, BEYOND)


def test_a_magnet_that_slipped_is_found_or_at_least_not_said_to_have_stayed(slipped: list[Draw]) -> None:
    states = [next(m.found for m in d.found.own_moves if m.magnet == d.slipped) for d in slipped]

    assert states.count(True) >= 0.9 * DRAWS
    assert states.count(False) <= most(DRAWS, 0.01)
    assert sum(d.in_vain for d in slipped) <= most(DRAWS, LEVEL)


def test_the_uncertainty_of_own_moves_is_honest(quiet: list[Draw], slipped: list[Draw]) -> None:
    # nobody told how far clamps creep; the data say it, so u is neither too small nor much too large
    for drawn in (quiet, slipped):
        assert beyond(drawn) <= most(10 * DRAWS, BEYOND)
        assert 0.8 < float(np.sqrt(np.mean([d.errors**2 for d in drawn]))) < 1.15
    gone = np.array([d.errors[MAGNETS.index(d.slipped)] for d in slipped if d.slipped])
    # of the magnet that moved nothing is expected beforehand: here u is neither too large nor too small
    assert 2 * DRAWS - int((np.abs(gone) < 2.0).sum()) <= most(2 * DRAWS, 0.0455)
    assert 0.6 < float(np.sqrt((gone**2).mean())) < 1.25


def test_a_knocked_nest_is_found_and_moves_no_magnet() -> None:
    drawn = many(4, wire=True, size=5e-6, knocks=True)

    assert sum(d.knocked in {t.target for t in d.found.targets_moved} for d in drawn) >= 0.95 * DRAWS
    assert sum(d.in_vain for d in drawn) <= most(DRAWS, LEVEL)
    assert beyond(drawn) <= most(10 * DRAWS, BEYOND)


def test_wire_and_survey_close_as_often_as_they_should(quiet: list[Draw], slipped: list[Draw]) -> None:
    closures = [d.found.closure for d in (*quiet, *slipped)]
    chance = np.array([c.probability for c in closures if c is not None])

    assert len(chance) == 2 * DRAWS
    assert int((chance < 0.01).sum()) <= most(2 * DRAWS, 0.01)
    assert 0.35 < float(chance.mean()) < 0.65  # one half, and 4 standard deviations of a mean of as many draws


def test_the_change_of_the_axes_carries_its_whole_uncertainty() -> None:
    rng = np.random.default_rng(5)
    squares = []
    for _ in range(DRAWS):
        what = What(vertical=polynomial(rng, 20e-6), twist=polynomial(rng, 40e-6), bodies=creep(rng))
        two = two_occasions(GIRDER, what, rng)
        found = compare("before", "after", two.a, two.b, None, None, GIRDER).axis_changes
        centres = np.array([m.point for m in GIRDER.magnets])
        true = (moved(GIRDER, centres, MAGNETS, what) - centres)[:, :2].reshape(-1)
        line = np.stack([np.ones(5), centres[:, 2]], axis=1)
        about = np.kron(np.eye(5) - line @ np.linalg.pinv(line), np.eye(2))
        error, spread = about @ (found.value - true), about @ found.cov @ about.T
        squares.append(float(error @ np.linalg.pinv(spread, rcond=1e-9, hermitian=True) @ error))
    # six degrees of freedom about a line in x and in y; clamps crept by less than told
    assert 2.0 < float(np.mean(squares)) < 7.0
    assert int((np.array(squares) > 22.46).sum()) <= most(DRAWS, 0.001)  # chi-square(0.999; 6), from memory
