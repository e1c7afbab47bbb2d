"""Plans on girders of many makes, made of other stiffness than their drawing: the band that is printed must hold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.given.girder import Beam, Bolt, Girder, Magnet, Target
from monochord.campaign.given.occasion import FootFinding
from monochord.girder.contact import Contact, settle
from monochord.girder.model import elastic, standing
from monochord.girder.plan import plan_bolts
from monochord.ground.estimate import Estimate

Array = NDArray[np.float64]

#: What is told: noise of a coordinate, creep of magnets, level of the bench and of the tunnel's bolts [m].
NOISE, CREEP, BENCH, TUNNEL = 3e-6, 1e-6, 2e-6, 80e-6
COUNT = 32


def drawn(rng: np.random.Generator) -> Girder:
    """Three to five pairs of feet, four to seven magnets, sometimes no bolt along the beam; other numbers each time."""
    length = float(rng.uniform(3.0, 5.5))
    pairs = int(rng.integers(3, 6))
    thread = float(rng.choice([1.0e-3, 1.5e-3]))
    feet = [
        Bolt(f"V{k}{s}", (0.0, 1.0, 0.0), (x, -0.9, float(z)), thread, None, 1 / 120, True, 8e8)
        for k, z in enumerate(np.linspace(-0.42, 0.42, pairs) * length)
        for s, x in (("l", 0.28), ("r", -0.28))
    ]
    sides = [
        Bolt(f"S{k}", (-1.0, 0.0, 0.0), (0.3, -0.72, float(z)), thread, None, 1 / 120, False, 3e8)
        for k, z in enumerate(np.linspace(-0.4, 0.4, int(rng.integers(2, 4))) * length)
    ]
    end = [Bolt("E", (0.0, 0.0, 1.0), (0.0, -0.7, -0.5 * length), thread, None, 1 / 120, False, 3e8)]
    places = np.linspace(-0.4, 0.4, int(rng.integers(4, 8))) * length
    magnets = tuple(
        Magnet(f"M{k}", "quadrupole", (0.0, 0.0, float(z)), 0.2, float(rng.uniform(200, 800)))
        for k, z in enumerate(places)
    )
    targets = [
        Target(f"G{k}{s}", "girder", (x, -0.35, float(z)))
        for k, z in enumerate(np.linspace(-0.47, 0.47, 6) * length)
        for s, x in (("l", 0.3), ("r", -0.3))
    ]
    corners = ((0.2, -0.06), (-0.2, -0.06), (0.2, 0.06), (-0.2, 0.06))
    for m in magnets:
        targets += [Target(f"{m.name}-{k}", m.name, (x, 0.3, m.point[2] + dz)) for k, (x, dz) in enumerate(corners)]
    stiff = rng.uniform(0.7, 1.4, 3) * np.array([3e8, 3.5e8, 1.2e8])
    beam = Beam(380.0, length, float(stiff[0]), float(stiff[1]), float(stiff[2]), -0.6, 0.5, 11.7e-6)
    return Girder("any", "drawn", beam, magnets, tuple(targets), (*feet, *sides, *(end if rng.uniform() < 0.7 else [])))


@dataclass(frozen=True, eq=False)
class Played:
    """A plan, and what was left at the magnets [m] before and after it was carried out."""

    plan: BoltPlan
    before: Array
    after: Array
    lifted: int


def played(seed: int) -> Played:
    """One girder on a bench, in the tunnel, surveyed, planned for, and turned by a crew that is not perfect."""
    rng = np.random.default_rng(seed)
    told = drawn(rng)

    def off(part: float) -> float:
        return float(np.clip(1.0 + part * rng.normal(), 0.6, 1.6))

    free = elastic(told, bending_vertical=off(0.05), bending_lateral=off(0.05), torsion=off(0.05))
    on = standing(told, free, foot_stiffness=off(0.2), side_stiffness=off(0.2))
    m = len(on.names)
    bench, bow = BENCH * rng.normal(size=m), 0.1 * float(rng.normal())
    heights = TUNNEL * rng.normal(size=m)
    reference = settle(on, bench, free.weight)
    now = settle(on, heights, free.weight + bow * free.bow)
    shift = _shift(told, free.follow, now.displacement - reference.displacement, rng)
    names = [f"{t.name}.{axis}" for t in told.targets for axis in "xyz"]
    survey = Estimate.of(shift, names, unit="m", frame="girder", causes={"survey": 2.0 * NOISE**2 * np.eye(len(shift))})
    nothing = [f"{q.name}.{axis}" for q in told.magnets for axis in "xy"]
    offsets = Estimate.of(
        np.zeros(len(nothing)), nothing, unit="m", frame="girder", causes={"axes": 1e-12 * np.eye(len(nothing))}
    )
    plan = plan_bolts(
        told, "now", "then", _felt(told, now, rng), survey, offsets_now=offsets, top_minus_bottom=bow,
        temperature_change=None, own_moved=(), feet_reference=_felt(told, reference, rng),
    )  # fmt: skip
    turns = np.array([plan.turns[b.name] * b.thread_pitch for b in told.bolts])
    step = told.bolts[0].thread_pitch / 120.0
    hand = np.where(turns != 0.0, 0.25 * step, 0.0) + np.where(now.closed, 0.0, 2e-6)
    after = settle(on, heights + now.gaps + turns + hand * rng.normal(size=m), free.weight)
    rows = free.follow(np.array([q.point for q in told.magnets]))[:, :2]
    z = np.array([q.point[2] for q in told.magnets])

    def about(nodes: Array) -> Array:
        moved = rows @ nodes
        return np.asarray(
            moved - np.stack([np.polyval(np.polyfit(z, moved[:, k], 1), z) for k in (0, 1)], axis=1), float
        )

    was, left = about(now.displacement - reference.displacement), about(after.displacement - reference.displacement)
    return Played(plan, was, left, int((~after.closed).sum()))


def _shift(told: Girder, follow: object, nodes: Array, rng: np.random.Generator) -> Array:
    assert callable(follow)
    places = np.array([t.nominal for t in told.targets])
    moved: Array = np.asarray(follow(places)[:, :3] @ nodes, float)
    for q in told.magnets:
        creep, turn = CREEP * rng.normal(size=3), CREEP / 0.4 * rng.normal(size=3)
        for k, t in enumerate(told.targets):
            if t.carrier == q.name:
                moved[k] += creep + np.cross(turn, places[k] - np.array(q.point))
    return np.asarray((moved + np.sqrt(2.0) * NOISE * rng.normal(size=moved.shape)).ravel(), float)


def _felt(told: Girder, rest: Contact, rng: np.random.Generator) -> tuple[FootFinding, ...]:
    found = []
    for bolt, closed, load in zip(told.bolts, rest.closed, rest.loads, strict=True):
        if bolt.one_sided:
            read = float(load * (1.0 + 0.1 * rng.normal())) if closed else None
            found.append(FootFinding(bolt.name, "tight" if closed else "loose", read))
    return tuple(found)


def rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


def test_the_band_holds_on_girders_of_many_makes() -> None:
    games = [played(seed) for seed in range(COUNT)]
    inside = np.array([rms(g.after) <= g.plan.left_after_95 for g in games])
    scores = np.concatenate([(g.after.ravel() - g.plan.shape_after.value) / g.plan.shape_after.u for g in games])
    turned = [g for g in games if not g.plan.do_nothing]

    # 95 % of 32 are expected; fewer than 26 has a chance of 1 in 500
    assert inside.sum() >= 26
    # errors of one girder hang together, some five shapes each: the mean square of 160 is good to 0.15
    assert 0.5 < float(np.mean(scores**2)) < 1.5
    assert len(turned) > COUNT // 2
    # left against doing nothing, over all girders
    assert np.median([rms(g.after) for g in turned]) < 0.25 * np.median([rms(g.before) for g in turned])
    # a foot in 50 at most lifts off again, by the drawing's error
    assert sum(g.lifted for g in games) <= 0.02 * 8 * COUNT


def test_loose_feet_and_whole_steps_on_girders_of_many_makes() -> None:
    for seed in range(8):
        plan = played(seed).plan
        assert set(plan.loose) <= set(plan.turns)
        assert len(plan.first) == (len(plan.loose) + 1 if plan.loose else 0)
        for turns in plan.turns.values():
            assert abs(turns * 120 - round(turns * 120)) < 1e-9
