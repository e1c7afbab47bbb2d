"""The girder on eight one-sided feet against a general finite-element frame package, with feet that lift off."""

from __future__ import annotations

from importlib import import_module
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.given.girder import Beam, Bolt, Girder, Item
from monochord.girder.contact import settle
from monochord.girder.model import elastic, standing

Array = NDArray[np.float64]

BEAM = Beam(390.0, 4.4, 3.1e8, 3.7e8, 1.2e8, -0.55, 0.45, 12e-6)
FOOT, SIDE, ARM = 6.5e8, 2.8e8, 1e12
GRAVITY = 9.80665
MASSES = ((-1.6, 520.0), (-0.9, 400.0), (-0.1, 800.0), (0.8, 400.0), (1.5, 560.0))


def girder(*more: Item) -> Girder:
    feet = [
        Bolt(f"V{k}{side}", (0.0, 1.0, 0.0), (x, -0.85, z), 1e-3, None, 0.01, True, FOOT)
        for k, z in enumerate((-1.8, -0.6, 0.7, 1.8))
        for side, x in (("l", 0.27), ("r", -0.27))
    ]
    sides = [
        Bolt(f"S{k}", (1.0, 0.0, 0.0), (-0.3, -0.7, z), 1e-3, None, 0.01, False, SIDE)
        for k, z in enumerate((-1.8, 0.1, 1.8))
    ]
    end = Bolt("E", (0.0, 0.0, 1.0), (0.0, -0.7, -2.2), 1e-3, None, 0.01, False, SIDE)
    items = tuple(Item(f"m{k}", "dummy", (0.0, 0.0, z), mass=mass) for k, (z, mass) in enumerate(MASSES))
    return Girder("pair", "test", BEAM, (*items, *more), (), (*feet, *sides, end))


def framed(told: Girder) -> tuple[Any, list[float]]:
    """The girder as a frame of the package: members along the neutral line, stiff arms out to the feet, loads; no supports."""
    model = import_module("Pynite").FEModel3D()
    model.add_material("steel", 1.0, 1.0, 0.3, 0.0)
    area = 12.0 * BEAM.bending_vertical / BEAM.depth**2
    # a member along global Z has its local z across the girder, so that Iz bends it vertically
    model.add_section("girder", area, BEAM.bending_lateral, BEAM.bending_vertical, BEAM.torsion)
    model.add_section("arm", ARM, ARM, ARM, ARM)
    places = sorted({-2.2, 2.2, *(i.point[2] for i in told.items), *(b.point[2] for b in told.bolts)})
    for z in places:
        model.add_node(f"n{z}", 0.0, BEAM.neutral_line, z)
    for a, b in pairwise(places):
        model.add_member(f"g{a}", f"n{a}", f"n{b}", "steel", "girder")
        model.add_member_dist_load(f"g{a}", "FY", -BEAM.mass_per_length * GRAVITY, -BEAM.mass_per_length * GRAVITY)
    for item in told.items:
        model.add_node_load(f"n{item.point[2]}", "FY", -item.mass * GRAVITY)
        model.add_node_load(f"n{item.point[2]}", "MZ", -item.mass * GRAVITY * item.point[0])
    for bolt in told.bolts:
        model.add_node(f"p{bolt.name}", *bolt.point)
        model.add_member(f"a{bolt.name}", f"n{bolt.point[2]}", f"p{bolt.name}", "steel", "arm")
    return model, places


def axis_of(bolt: Bolt) -> str:
    return "D" + "XYZ"[int(np.abs(np.array(bolt.direction)).argmax())]


def at_nodes(model: Any, names: list[str], axes: list[str]) -> Array:
    return np.array([[getattr(model.nodes[n], axis)["Combo 1"] for axis in axes] for n in names])


def test_lift_off_on_level_bolts() -> None:
    """A load beyond an end foot and off the middle lifts others; the package's own one-way springs find which."""
    told = girder(Item("crate", "dummy", (0.22, 0.0, 2.1), mass=14000.0))
    model, places = framed(told)
    for bolt in told.bolts:
        model.def_support_spring(f"p{bolt.name}", axis_of(bolt), bolt.stiffness, "-" if bolt.one_sided else None)
    model.analyze(check_stability=False, max_iter=100)
    free = elastic(told, gravity=GRAVITY)
    rest = settle(standing(told, free), np.zeros(len(told.bolts)), free.weight)
    there = [float(at_nodes(model, [f"p{b.name}"], [axis_of(b)])[0, 0]) for b in told.bolts]
    loads = np.array(
        [-b.stiffness * (min(v, 0.0) if b.one_sided else v) for b, v in zip(told.bolts, there, strict=True)]
    )

    assert (~rest.closed).sum() >= 2
    np.testing.assert_array_equal(~rest.closed, (loads == 0.0) & np.array([b.one_sided for b in told.bolts]))
    # the package's arms give way a little: stiffness 1e12 N against 1e9 N/m of a foot
    np.testing.assert_allclose(rest.loads, loads, atol=1e-4 * loads.max())
    points = np.array([[0.0, BEAM.neutral_line, z] for z in places])
    mine = free.follow(points)[:, :3] @ rest.displacement
    np.testing.assert_allclose(
        mine, at_nodes(model, [f"n{z}" for z in places], ["DX", "DY", "DZ"]), atol=5e-8
    )  # m, of 200 um


@pytest.mark.parametrize("seed", range(4))
def test_loads_and_gaps_on_bolts_anywhere(seed: int) -> None:
    """With the feet open that we found open, the package must find pushing loads elsewhere and gaps there: then it agrees."""
    told = girder()
    heights = 100e-6 * np.random.default_rng(seed).normal(size=len(told.bolts))
    free = elastic(told, gravity=GRAVITY)
    rest = settle(standing(told, free), heights, free.weight)
    model, _ = framed(told)
    for bolt, height, closed in zip(told.bolts, heights, rest.closed, strict=True):
        if closed:
            foot = np.array(bolt.point) - np.array(bolt.direction)
            model.add_node(f"e{bolt.name}", *foot)
            model.add_spring(f"s{bolt.name}", f"e{bolt.name}", f"p{bolt.name}", bolt.stiffness)
            model.def_support(f"e{bolt.name}", True, True, True, True, True, True)
            model.def_node_disp(f"e{bolt.name}", axis_of(bolt), height)
    model.analyze(check_stability=False)
    there = np.array([float(at_nodes(model, [f"p{b.name}"], [axis_of(b)])[0, 0]) for b in told.bolts])

    assert 0 < (~rest.closed).sum() < 6
    assert (heights - there)[rest.closed & standing(told, free).one_sided].min() > 0.0
    assert (there - heights)[~rest.closed].min() > 0.0
    loads = np.where(rest.closed, standing(told, free).stiffness * (heights - there), 0.0)
    np.testing.assert_allclose(rest.loads, loads, atol=1e-4 * loads.max())  # N; the arms again
    np.testing.assert_allclose(rest.gaps, np.where(rest.closed, 0.0, there - heights), atol=5e-8)
