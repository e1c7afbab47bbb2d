"""The elastic virtual girder obeys statics whatever its bolts do, and its crew does what crews do."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from monochord.simulate.bearing import Rest, at_rest
from monochord.simulate.crew import Crew, Hands, bring_to_bear, turn_home
from monochord.simulate.girder import Spread
from monochord.simulate.iron import Iron, build_iron
from monochord.simulate.scenario import demo_scenario
from monochord.simulate.shape import carried
from monochord.simulate.tunnel import feel, stand, vertical

Array = NDArray[np.float64]

TOLD = demo_scenario()
G = 9.80665
FEET = [b.name for b in vertical(TOLD.girder)]
EXACT = Spread(beam=0.0, bolt=0.0, floor=0.0)
IRONS = [build_iron(TOLD.girder, ["bench", "tunnel"], Spread(), np.random.default_rng(k)) for k in range(3)]
seeds = st.integers(0, 100_000)
scatters = st.sampled_from([1e-6, 1e-5, 1e-4, 1e-3])


def heights(seed: int, scatter: float) -> dict[str, float]:
    drawn = scatter * np.random.default_rng(seed).normal(size=len(TOLD.girder.bolts))
    return {b.name: float(h) for b, h in zip(TOLD.girder.bolts, drawn, strict=True)}


def energy(iron: Iron, bolts: Array, nodes: Array) -> float:
    """Energy of the girder on its bolts, from the whole matrices [J]."""
    on = iron.places["tunnel"].on
    squeeze = bolts - on.push @ nodes
    pressed = np.where(on.one_sided, np.maximum(squeeze, 0.0), squeeze)
    return float(0.5 * nodes @ on.held @ nodes - on.free.weight @ nodes + 0.5 * on.stiffness @ pressed**2)


@settings(max_examples=40, deadline=None)
@given(seeds, scatters, st.sampled_from(IRONS), st.floats(-0.3, 0.3))
def test_loads_carry_the_weight_never_pull_and_leave_no_foot_both_open_and_loaded(
    seed: int, scatter: float, iron: Iron, bow: float
) -> None:
    standing = stand(iron, "tunnel", heights(seed, scatter), bow)
    points = np.array([b.point for b in TOLD.girder.bolts])
    directions = np.array([b.direction for b in TOLD.girder.bolts])
    forces = directions * np.array([standing.loads[b.name] for b in TOLD.girder.bolts])[:, None]
    masses = [(375.0 * 4.1, np.array([0.0, -0.575, 0.0])), *((i.mass, np.array(i.point)) for i in TOLD.girder.items)]
    down = [(m, np.array([0.0, -G * m, 0.0]), p) for m, p in masses]
    neutral = [0.0, -0.575, 0.0]
    moment = np.cross(points - neutral, forces).sum(axis=0) + sum(np.cross(p - neutral, f) for _, f, p in down)

    # newtons and newton metres of 43 kN
    assert forces.sum(axis=0) == pytest.approx([0.0, G * sum(m for m, *_ in down), 0.0], abs=1.0)
    assert moment == pytest.approx([0.0, 0.0, 0.0], abs=2.0)
    for name in FEET:
        assert standing.loads[name] >= 0.0
        assert standing.gaps[name] >= 0.0
        assert standing.loads[name] == 0.0 or standing.gaps[name] == 0.0


@settings(max_examples=30, deadline=None)
@given(seeds, scatters)
def test_no_other_shape_has_less_energy(seed: int, scatter: float) -> None:
    iron = IRONS[0]
    of = iron.places["tunnel"]
    bolts = np.array(list(heights(seed, scatter).values()))
    rest: Rest = at_rest(of, bolts)
    rng = np.random.default_rng(seed)
    least = energy(iron, bolts, rest.nodes)
    for size in (1e-7, 1e-6, 1e-5, 1e-4):
        # away along what bolts can do, rigid motion, and anything
        other = of.pushed @ rng.normal(size=len(bolts))
        for way in (other, of.on.free.rigid @ rng.normal(size=6), rng.normal(size=len(rest.nodes))):
            away = energy(iron, bolts, rest.nodes + way * size / np.abs(way).max())
            # joules, of which some 1e-1 are there: rounding
            assert away > least - 1e-11


@settings(max_examples=20, deadline=None)
@given(seeds)
def test_the_shape_meets_the_feet(seed: int) -> None:
    iron, told = IRONS[1], heights(seed, 1e-4)
    standing = stand(iron, "tunnel", told, 0.0)
    level = stand(iron, "bench", dict.fromkeys(told, 0.0), 0.0)
    met = carried(np.array([b.point for b in vertical(TOLD.girder)]), standing.shape, -0.575)[:, 1]
    on = iron.places["tunnel"].on
    for name, height in zip(FEET, met, strict=True):
        under = standing.girder[name]
        assert height == pytest.approx(under - level.girder[name], abs=1e-12)
        pressed = standing.loads[name] / on.stiffness[on.names.index(name)]
        assert under == pytest.approx(told[name] + standing.gaps[name] - pressed, abs=1e-12)


def test_the_iron_is_off_its_drawing_as_much_as_told() -> None:
    many = [build_iron(TOLD.girder, ["bench", "tunnel"], Spread(), np.random.default_rng(k)) for k in range(100)]
    beams = np.log([[m.factors[k] for k in ("bending_vertical", "bending_lateral", "torsion")] for m in many])
    feet = np.log([[m.factors[f"tunnel {name}"] for name in FEET] for m in many])
    places = np.log([[m.factors[f"tunnel {n}"] / m.factors[f"bench {n}"] for n in FEET] for m in many])

    # 300, 800 and 800 draws: four deviations of a standard deviation
    assert beams.std() == pytest.approx(0.05, rel=4.0 / np.sqrt(2.0 * 300))
    assert feet.std() == pytest.approx(np.hypot(0.14, 0.05), rel=4.0 / np.sqrt(2.0 * 800))
    assert places.std() == pytest.approx(np.sqrt(2.0) * 0.05, rel=4.0 / np.sqrt(2.0 * 800))


def test_without_spread_the_iron_is_its_drawing_and_level_bolts_give_its_shape_at_rest() -> None:
    exact = build_iron(TOLD.girder, ["bench"], EXACT, np.random.default_rng(0))
    assert set(exact.factors.values()) == {1.0}
    rest = exact.rest("bench", heights(0, 0.0), 0.0)
    assert exact.shape(rest)(np.array([0.3])).shift[0] == pytest.approx([0.0, 0.0, 0.0], abs=1e-15)


@settings(max_examples=20, deadline=None)
@given(seeds, st.sampled_from(IRONS))
def test_the_crew_brings_every_foot_to_bear_and_the_girder_home(seed: int, iron: Iron) -> None:
    crew = Crew(iron, "tunnel", 0.1, Hands(), np.random.default_rng(seed))
    home = heights(seed + 1, 2e-6)
    arrived = stand(iron, "tunnel", heights(seed, 1e-4), 0.1)
    bearing = bring_to_bear(crew, arrived)
    touching = stand(iron, "tunnel", bearing.heights, 0.1)
    # loose feet only are touched, upward only but for the hand's 2 um and a quarter step of 3 um
    assert all(turns > 0.0 for turns in bearing.turns.values() if turns)
    assert {n for n, t in bearing.turns.items() if t} >= {n for n, g in arrived.gaps.items() if g > 12e-6}
    assert max(touching.gaps.values()) < 12e-6

    done = turn_home(crew, bearing, home)
    on = iron.places["tunnel"].on
    away = np.array([done.heights[n] - home[n] for n in on.names])
    rigid = on.push @ on.free.rigid
    away -= rigid @ np.linalg.lstsq(rigid, away, rcond=None)[0]
    # half a step of 12.5 um, aim of 3 um and turns to 1.9 um, rms over twelve bolts of which six directions are free
    assert float(np.sqrt(np.mean(away**2))) < 8e-6
    assert [t.bolt for t in done.written()] == list(arrived.bolts)


def test_perfect_hands_lose_only_the_rounding() -> None:
    iron = IRONS[0]
    crew = Crew(iron, "tunnel", 0.0, Hands(0.0, 0.0, 0.0), np.random.default_rng(0))
    home = heights(2, 2e-6)
    done = turn_home(crew, bring_to_bear(crew, stand(iron, "tunnel", heights(1, 1e-4), 0.0)), home)
    on = iron.places["tunnel"].on
    rigid = on.push @ on.free.rigid
    away = np.array([done.heights[n] - home[n] for n in on.names])
    nearest = np.linalg.lstsq(rigid, away, rcond=None)[0]

    # half a step each; fitted again, the rigid motion takes up some of the rounding
    assert np.sqrt(np.mean((away - rigid @ nearest) ** 2)) <= 6.25e-6


def test_a_hand_feels_a_gap_but_not_the_smallest() -> None:
    iron = IRONS[0]
    arrived = stand(iron, "tunnel", heights(5, 1e-4), 0.0)
    loose = [n for n, g in arrived.gaps.items() if g > 0.0]
    assert loose
    felt = {f.bolt: f for f in feel(arrived, np.random.default_rng(0))}
    assert all(felt[n].state == "loose" for n in loose)
    touched = {n: arrived.bolts[n] + arrived.gaps.get(n, 0.0) - 1e-6 * (n in loose) for n in arrived.bolts}
    again = stand(iron, "tunnel", touched, 0.0)
    assert all(0.0 < again.gaps[n] < 1.5e-6 for n in loose)
    assert all(f.state == "touching" for f in feel(again, np.random.default_rng(0)) if f.bolt in loose)
