"""What every elastic girder on one-sided feet must do, whatever its numbers."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.given.girder import Beam, Bolt, Girder, Item
from monochord.girder.contact import response, settle
from monochord.girder.influence import influence, secant
from monochord.girder.model import Standing, elastic, standing
from monochord.girder.shape import balanced, elastic_basis, free_shapes
from monochord.girder.steps import Wish, whole_steps
from monochord.ground.faults import Undetermined

Array = NDArray[np.float64]
SEEDS = range(12)


def drawn(seed: int, pairs: int = 4) -> Girder:
    """A girder of its own for each seed: pairs of one-sided feet, lateral bolts, one along the beam, masses off the middle."""
    rng = np.random.default_rng(seed)
    length = rng.uniform(3.0, 6.0)
    along = np.sort(rng.uniform(-0.45, 0.45, pairs)) * length
    along[0], along[-1] = -0.42 * length, 0.42 * length
    feet = [
        Bolt(f"V{k}{side}", (0.0, 1.0, 0.0), (x, -0.9, float(z)), 1.5e-3, 6e-3, 1 / 120, True, rng.uniform(4e8, 1.2e9))
        for k, z in enumerate(along)
        for side, x in (("l", 0.3), ("r", -0.3))
    ]
    sides = [
        Bolt(f"S{k}", (1.0, 0.0, 0.0), (-0.3, -0.75, float(z)), 1.5e-3, 6e-3, 1 / 120, False, 3e8)
        for k, z in enumerate((-0.4 * length, 0.05 * length, 0.4 * length))
    ]
    end = Bolt("E", (0.0, 0.0, 1.0), (0.0, -0.75, -0.5 * length), 1.5e-3, 6e-3, 1 / 120, False, 3e8)
    items = tuple(
        Item(f"m{k}", "dummy", (float(rng.uniform(-0.1, 0.1)), 0.0, float(z)), mass=float(rng.uniform(200.0, 900.0)))
        for k, z in enumerate(rng.uniform(-0.45, 0.45, 5) * length)
    )
    stiff = rng.uniform(2e8, 5e8, 3) * [1.0, 1.2, 0.4]
    beam = Beam(400.0, length, stiff[0], stiff[1], stiff[2], -0.6, 0.5, 11.7e-6)
    return Girder(f"g{seed}", "drawn", beam, items, (), (*feet, *sides, end))


def stood(seed: int) -> Standing:
    girder = drawn(seed)
    return standing(girder, elastic(girder))


def scattered(on: Standing, seed: int, size: float = 100e-6) -> Array:
    heights: Array = size * np.random.default_rng(1000 + seed).normal(size=len(on.names))
    return heights


@pytest.mark.parametrize("seed", SEEDS)
def test_feet_carry_the_whole_weight_and_balance_its_moments(seed: int) -> None:
    on = stood(seed)
    rest = settle(on, scattered(on, seed), on.free.weight)
    missing = on.free.rigid.T @ (on.free.weight + on.push.T @ rest.loads)

    # 50 kN on arms of metres; the weak springs to earth hold 1e-4 N and rounding is of that size
    np.testing.assert_allclose(missing, 0.0, atol=0.05)
    assert (rest.loads[on.one_sided] >= 0.0).all()
    assert (rest.gaps >= 0.0).all()
    assert not np.any((rest.loads != 0.0) & (rest.gaps > 0.0))


@pytest.mark.parametrize("seed", range(4))
def test_the_settled_contact_is_the_only_one_that_is_possible(seed: int) -> None:
    """All 256 sets of bearing feet are tried: one has pushing loads at closed feet and gaps at open ones."""
    on = stood(seed)
    heights = scattered(on, seed)
    rest = settle(on, heights, on.free.weight)
    possible = []
    for choice in product((False, True), repeat=int(on.one_sided.sum())):
        closed = ~on.one_sided
        closed[on.one_sided] = choice
        pushed = on.push[closed].T @ (on.stiffness[closed] * heights[closed])
        u = on.solve(closed, on.free.weight + pushed)
        squeeze = heights - on.push @ u
        held = np.abs(u).max() < 0.1  # m: else the girder fell off its feet onto the weak springs to earth
        if held and np.all(np.where(closed, squeeze, -squeeze)[on.one_sided] >= 0.0):
            possible.append(closed)

    assert len(possible) == 1
    np.testing.assert_array_equal(possible[0], rest.closed)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_rigid_motion_of_all_bolts_bends_nothing_and_changes_no_load(seed: int) -> None:
    on = stood(seed)
    heights = scattered(on, seed)
    motion = np.array([1e-4, -2e-4, 3e-5, 4e-5, -6e-5, 5e-5])
    before = settle(on, heights, on.free.weight)
    after = settle(on, heights + on.push @ on.free.rigid @ motion, on.free.weight)

    np.testing.assert_allclose(after.loads, before.loads, atol=0.5)  # N, of 50 kN
    moved = after.displacement - before.displacement - on.free.rigid @ motion
    assert np.abs(moved).max() < 1e-9  # m and rad: 1 nm of 200 um


@pytest.mark.parametrize("seed", SEEDS)
def test_answers_are_reciprocal(seed: int) -> None:
    on = stood(seed)
    rest = settle(on, scattered(on, seed), on.free.weight)
    _, loads = response(on, rest.closed)

    # load at i for height at j equals load at j for height at i
    np.testing.assert_allclose(loads, loads.T, atol=1e-6 * np.abs(loads).max())


@pytest.mark.parametrize("seed", SEEDS)
def test_answers_add_up_while_the_contact_stays(seed: int) -> None:
    on = stood(seed)
    points = np.array([[0.0, 0.0, -1.0], [0.1, 0.3, 0.4], [-0.2, -0.3, 1.2]])
    heights = scattered(on, seed)
    before = settle(on, heights, on.free.weight)
    moved, loads = response(on, before.closed)
    turn = 1e-8 * np.random.default_rng(seed).normal(size=len(on.names))
    after = settle(on, heights + turn, on.free.weight)
    told = influence(on, points, before.closed)
    change = on.free.follow(points)[:, :3] @ (after.displacement - before.displacement)

    np.testing.assert_array_equal(after.closed, before.closed)
    np.testing.assert_allclose(after.loads - before.loads, loads @ turn, atol=1e-3)  # N, of some 5 N
    np.testing.assert_allclose(change, told.shift @ turn, atol=1e-12)  # m, of 10 nm
    np.testing.assert_allclose(on.free.follow(points)[:, :3] @ moved, told.shift, atol=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_raising_a_bolt_never_takes_load_off_it(seed: int) -> None:
    on = stood(seed)
    heights = scattered(on, seed)
    foot = int(np.random.default_rng(seed).integers(0, 8))
    loads = []
    for lift in np.linspace(-3e-4, 3e-4, 13):
        raised = heights.copy()
        raised[foot] += lift
        loads.append(settle(on, raised, on.free.weight).loads[foot])

    assert (np.diff(loads) >= -1e-3).all()  # N
    assert loads[-1] > loads[0]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_secant_is_the_tangent_for_small_steps_and_not_over_a_lift_off(seed: int) -> None:
    on = stood(seed)
    heights = scattered(on, seed)
    rest = settle(on, heights, on.free.weight)
    points = np.array([[0.0, 0.0, -1.0], [0.0, 0.0, 1.0]])
    tangent = influence(on, points, rest.closed)
    bearing = rest.closed & (~on.one_sided | (rest.loads > 200.0))
    small = secant(on, points, heights, on.free.weight, np.where(bearing, 1e-8, 0.0))
    wide = secant(on, points, heights, on.free.weight, np.where(on.one_sided, -1e-3, 0.0))

    # 10 nm keep every contact, except of a foot that is nearly touching
    if rest.gaps[~rest.closed].min(initial=1.0) > 1e-7:
        np.testing.assert_allclose(small.shift[..., bearing], tangent.shift[..., bearing], atol=1e-4)
    lowered = wide.loads[np.diag_indices(len(on.names))] * -1e-3
    np.testing.assert_allclose(lowered[on.one_sided], -rest.loads[on.one_sided], atol=1e-3)


@pytest.mark.parametrize("seed", SEEDS)
def test_what_bolts_do_to_the_shape_is_made_of_balanced_forces(seed: int) -> None:
    on = stood(seed)
    patterns = balanced(on)
    rest = [settle(on, scattered(on, k), on.free.weight) for k in (seed, seed + 100)]
    forces = rest[1].loads - rest[0].loads
    shapes = free_shapes(on.free, on.push.T @ patterns)
    change = rest[1].displacement - rest[0].displacement - shapes @ (patterns.T @ forces)

    assert patterns.shape == (12, 6)
    np.testing.assert_allclose(patterns @ (patterns.T @ forces), forces, atol=0.05)  # N
    rigid = on.free.rigid
    left = change - rigid @ np.linalg.lstsq(rigid, change, rcond=None)[0]
    assert np.abs(left).max() < 1e-9  # m and rad: the shape comes from the loads alone, whatever the contacts


def test_named_shapes_hold_the_bends_and_twists_of_the_bolts() -> None:
    on = stood(0)
    basis = elastic_basis(on)
    z = np.linspace(-1.0, 1.0, 9)
    points = np.vstack([np.column_stack([0 * z + x, 0 * z + y, z]) for x, y in ((0.0, 0.0), (0.3, -0.3))])
    shapes = free_shapes(on.free, on.push.T @ balanced(on))
    wanted = (on.free.follow(points)[:, :3] @ shapes).reshape(-1, 6)
    rigid = (on.free.follow(points)[:, :3] @ on.free.rigid).reshape(-1, 6)
    have = np.hstack([basis.at(points).reshape(len(wanted), -1), rigid])

    kinds = [name.split(".")[0] for name in basis.names]
    assert (kinds.count("bend_x"), kinds.count("bend_y"), kinds.count("twist")) == (1, 2, 4)
    left = wanted - have @ np.linalg.lstsq(have, wanted, rcond=1e-12)[0]
    assert np.abs(left).max() < 1e-6 * np.abs(wanted).max()


def test_a_girder_without_enough_feet_is_not_held() -> None:
    girder = drawn(3)
    few = Girder("few", "drawn", girder.beam, girder.items, (), girder.bolts[:2])

    with pytest.raises(Undetermined):
        settle(standing(few, elastic(few)), np.zeros(2), elastic(few).weight)


@pytest.mark.parametrize("seed", SEEDS)
def test_whole_steps_are_better_than_plain_rounding_and_stay_in_reach(seed: int) -> None:
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(6, 10))
    square = root.T @ root + 1e-3 * np.eye(10)
    wanted = 3.0 * rng.normal(size=10)
    free = np.linalg.svd(root)[2][6:].T
    wish = Wish(square, -square @ wanted, np.full(10, -8.0), np.full(10, 8.0), free / np.abs(free).max(axis=0))
    found = whole_steps(wish, wanted)

    def cost(n: Array) -> float:
        return float((n - wanted) @ square @ (n - wanted))

    assert np.array_equal(found, np.rint(found))
    assert np.abs(found).max() <= 8.0
    assert cost(found[0]) == min(cost(n) for n in found)
    assert cost(found[0]) < 0.25 * cost(np.rint(wanted))
