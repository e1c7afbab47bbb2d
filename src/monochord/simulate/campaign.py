"""A whole simulated campaign: bench, line-up, ride, arrival, and the girder settled again, from one seed. Invented data.

Every theme draws from a stream of its own, so that one more draw in the ride leaves the survey as it was.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.campaign import Campaign
from monochord.campaign.given.girder import Girder, Target
from monochord.campaign.given.occasion import Occasion, Turn
from monochord.campaign.given.survey import Sighting
from monochord.campaign.given.wire import Wire
from monochord.ground.frames import Rigid, rotation_from_vector
from monochord.simulate import truth
from monochord.simulate.bench import Bench, Stringing, build_bench, string_up
from monochord.simulate.crew import Crew, bring_to_bear, turn_home
from monochord.simulate.girder import Placed, VirtualGirder, build_girder, place
from monochord.simulate.iron import Iron, build_iron
from monochord.simulate.ride import ride
from monochord.simulate.scanning import wire_day
from monochord.simulate.scenario import OCCASIONS, REFERENCE, Scenario, demo_scenario
from monochord.simulate.story import Story, draw_story
from monochord.simulate.survey import Room, in_hall, set_up, sight
from monochord.simulate.truth import Truth
from monochord.simulate.tunnel import Stand, feel, stand, temperatures, vertical

Array = NDArray[np.float64]

#: Themes that draw from streams of their own. New ones go to the end, so that old campaigns stay what they were.
THEMES = (
    "girder", "story", "bench", "strings", "crew", "scans", "survey", "feet", "warmth", "ride", "ends", "pose", "iron", "bolts",
)  # fmt: skip
#: Goes into every seed; chosen so that seed 1, the demo's own, tells a story with a plain slip, three hanging feet and a good bend.
SALT = 24
#: Names of the tables of one occasion.
FILES = {
    "scans": "wire.tsv",
    "sweeps": "resonance.tsv",
    "sightings": "sightings.tsv",
    "feet": "feet.tsv",
    "temperatures": "temperatures.tsv",
    "turns": "turns.tsv",
    "ride": "logger.tsv",
}
#: Names of the two stringings: one wire served both occasions on the bench.
STRUNG = ("bench string", "tunnel string")
#: Lines of a table's first reading: one line of remark and one of column heads stand above it.
FIRST_ROW = 3


@dataclass(frozen=True, eq=False, slots=True)
class Simulated:
    """A campaign as a laboratory would have measured it, and what was true."""

    campaign: Campaign
    truth: Truth


def simulate_campaign(seed: int, scenario: Scenario | None = None, story: Story | None = None) -> Simulated:
    """A campaign from a seed: the same seed gives the same bits.

    scenario  the demo's fictional bench when None;  story  drawn from the seed when None

    >>> made = simulate_campaign(1)
    >>> [o.name for o in made.campaign.occasions]
    ['10-placed', '20-lined', '30-road', '40-arrival', '50-settled']
    >>> sorted(made.truth["occasions"]) == [o.name for o in made.campaign.occasions]
    True
    """
    told = demo_scenario() if scenario is None else scenario
    rng = dict(zip(THEMES, np.random.default_rng([SALT, seed]).spawn(len(THEMES)), strict=True))
    fate = draw_story(told, rng["story"]) if story is None else story
    lab = _lab(told, fate, rng)

    level = _heights(told, fate.bench_level, rng["bolts"])
    bench_wire = lab.string_up()
    crane = lab.stand("10-placed", level)
    lined_up = _line_up(lab.here("10-placed", crane, {}), fate, rng["crew"])
    journey = ride(rng["ride"])
    ridden = {name: move + fate.ride_moves[name] for name, move in lined_up.items()}
    arrived = lab.stand("40-arrival", _heights(told, fate.bolt_scatter, rng["bolts"]))
    turns, settled = _settled(lab, arrived, level)
    crept = {name: move + fate.settling[name] for name, move in ridden.items()}
    tunnel_wire = lab.string_up()

    built = [
        lab.measured(_State("10-placed", crane, {}, lined_up, bench_wire, STRUNG[0], surveyed=False)),
        lab.measured(_State("20-lined", lab.stand("20-lined", level), lined_up, lined_up, bench_wire, STRUNG[0])),
        (Occasion("30-road", "truck", ride=journey.samples), truth.journey(journey, fate)),
        lab.measured(_State("40-arrival", arrived, ridden, lined_up)),
        lab.measured(_State("50-settled", settled, crept, lined_up, tunnel_wire, STRUNG[1], turns=turns)),
    ]
    campaign = Campaign(
        girder=_with_walls(told),
        wire=told.wire,
        instrument=told.instrument,
        line_rule=told.line_rule,
        tolerances=told.tolerances,
        occasions=tuple(occasion for occasion, _ in built),
        reference=REFERENCE,
        inputs=(),
        settings={"data": "invented", "seed": str(seed)},
    )
    facts: Truth = {
        "data": "invented",
        "seed": seed,
        "units": "SI; girder frame unless a key says hall",
        "reference": REFERENCE,
        "stiffness_over_told": truth.iron(lab.iron),
        "occasions": {occasion.name: fact for occasion, fact in built},
    }
    return Simulated(campaign, facts)


@dataclass(frozen=True, eq=False, slots=True)
class _State:
    """One occasion before it is measured: how the girder stands, own moves since rest and at the reference, the wire if strung.

    strung  name of the stringing
    """

    name: str
    standing: Stand
    moves: Mapping[str, Array]
    at_reference: Mapping[str, Array]
    stringing: Stringing | None = None
    strung: str = ""
    surveyed: bool = True
    turns: tuple[Turn, ...] = ()


@dataclass(frozen=True, eq=False, slots=True)
class _Lab:
    """What stays the same through the campaign."""

    told: Scenario
    story: Story
    rng: Mapping[str, np.random.Generator]
    girder: VirtualGirder
    iron: Iron
    bench: Bench
    to_wire: Mapping[str, Array]
    poses: Mapping[str, Rigid]

    def string_up(self) -> Stringing:
        return string_up(self.bench, self.told.f1, self.told.wire.u_stringing, self.rng["strings"])

    def stand(self, name: str, heights: Mapping[str, float]) -> Stand:
        """How the girder stands on bolts of these heights in an occasion's place and warmth."""
        return stand(self.iron, OCCASIONS[name], heights, self.story.warmth[name][1])

    def here(self, name: str, standing: Stand, moves: Mapping[str, Array]) -> Placed:
        """Where everything is: bolts, feet and bow, growth and own moves."""
        mean, _ = self.story.warmth[name]
        foot = min((b.point[1] for b in vertical(self.told.girder)), default=0.0)
        return place(self.girder, standing.shape, moves, warmer=mean - self.told.rest_temperature, foot=foot)

    def measured(self, state: _State) -> tuple[Occasion, Truth]:
        """One occasion as the laboratory measured it, and what is true there."""
        name, room = state.name, self.told.rooms[OCCASIONS[state.name]]
        mean, difference = self.story.warmth[name]
        here = self.here(name, state.standing, state.moves)
        still = np.zeros(6)
        since = {m: state.moves.get(m, still) - move for m, move in state.at_reference.items()}
        facts = truth.shape(here, self.told.day.full_current, since)
        facts["shape"] = truth.carried_by_girder(state.standing, here, self.iron.free.beam.neutral_line)
        facts["feet"] = truth.feet(state.standing)
        facts["temperature"] = {"mean": mean, "top_minus_bottom": difference}
        occasion = Occasion(
            name=name,
            place=room.name,
            stringing=state.strung,
            temperatures=temperatures(self.told.girder, mean, difference, self.rng["warmth"]),
            turns=state.turns,
        )
        if state.stringing is not None:
            files = (f"{name}/{FILES['scans']}", f"{name}/{FILES['sweeps']}")
            day = wire_day(
                self.bench, state.stringing, here, self.told.day,
                rng=self.rng["scans"], files=files, first_row=FIRST_ROW,
            )  # fmt: skip
            occasion = replace(occasion, scans=day.scans, sweeps=day.sweeps)
            facts["wire"] = truth.wire(self.bench, state.stringing, here, self.to_wire)
        if state.surveyed:
            sightings, facts["survey"] = self._sighted(name, room, here, state.stringing)
            occasion = replace(occasion, sightings=sightings, feet=feel(state.standing, self.rng["feet"]))
        return occasion, facts

    def _sighted(
        self, name: str, room: Room, here: Placed, stringing: Stringing | None
    ) -> tuple[tuple[Sighting, ...], Truth]:
        pose = self.poses[OCCASIONS[name]]
        points = dict(here.targets)
        if stringing is not None:
            points.update(_nests(self.told.wire, stringing, self.to_wire))
        points = in_hall(pose, points) | {n: np.array(p) for n, p in room.monuments.items()}
        wrong = self.story.wrong if name == "40-arrival" else None
        rng = self.rng["survey"]
        setup = set_up(self.told.instrument, room, list(points), rng, scale=self.story.scales[name], wrong=wrong)
        file = f"{name}/{FILES['sightings']}"
        seen = sight(self.told.instrument, room, setup, points, rng, file=file, first_row=FIRST_ROW)
        return seen, truth.survey(setup, points, pose)


def _lab(told: Scenario, story: Story, rng: Mapping[str, np.random.Generator]) -> _Lab:
    pose = rng["pose"].normal(size=6) * [2e-4, 2e-4, 1e-4, 2e-3, 1e-3, 3e-3]
    return _Lab(
        told,
        story,
        rng,
        build_girder(told.girder, told.day.full_current, told.spread, rng["girder"]),
        build_iron(told.girder, list(told.rooms), told.spread, rng["iron"]),
        build_bench(told.wire, rng["bench"], told.bench),
        {e.nest: np.array(e.to_wire) + e.u_to_wire * rng["ends"].normal(size=3) for e in told.wire.ends},
        {
            "bench": Rigid("girder", "hall", np.eye(3), np.zeros(3)),
            "tunnel": Rigid("girder", "hall", rotation_from_vector(pose[:3]), pose[3:]),
        },
    )


def _with_walls(told: Scenario) -> Girder:
    walls = [Target(name, "wall", None) for room in told.rooms.values() for name in room.monuments]
    nests = [Target(end.nest, "wall", None) for end in told.wire.ends]
    return replace(told.girder, targets=(*told.girder.targets, *walls, *nests))


def _nests(wire: Wire, stringing: Stringing, to_wire: Mapping[str, Array]) -> dict[str, Array]:
    """Nests of the wire's ends, girder frame: the wire with the stages at zero less the vector from nest to wire."""
    ends = (stringing.start, stringing.end)
    return {e.nest: np.array([w.real, w.imag, e.z]) - to_wire[e.nest] for e, w in zip(wire.ends, ends, strict=True)}


def _line_up(here: Placed, fate: Story, rng: np.random.Generator) -> dict[str, Array]:
    """The crew moves every magnet onto the line through all of them, as well as it does, and turns them a little on the way."""
    z = np.array([m.centre[2] for m in here.magnets])
    xy = np.array([m.centre[:2] for m in here.magnets])
    away = (
        xy - np.stack([np.ones_like(z), z], 1) @ np.linalg.lstsq(np.stack([np.ones_like(z), z], 1), xy, rcond=None)[0]
    )
    planted = np.array([fate.planted.get(m.name, (0.0, 0.0)) for m in here.magnets])
    moves = fate.line_up * rng.normal(size=xy.shape) + planted - away
    turns = 4e-6 * rng.normal(size=(len(z), 3))
    return {m.name: np.array([*d, 0.0, *t]) for m, d, t in zip(here.magnets, moves, turns, strict=True)}


def _heights(told: Scenario, scatter: float, rng: np.random.Generator) -> dict[str, float]:
    return {b.name: scatter * float(rng.normal()) for b in told.girder.bolts}


def _settled(lab: _Lab, arrived: Stand, home: Mapping[str, float]) -> tuple[tuple[Turn, ...], Stand]:
    """What the crew turned in the tunnel, as it wrote it down, and how the girder stands after it."""
    crew = Crew(lab.iron, OCCASIONS["40-arrival"], lab.story.warmth["40-arrival"][1], lab.story.hands, lab.rng["bolts"])
    done = turn_home(crew, bring_to_bear(crew, arrived), home)
    return done.written(), lab.stand("50-settled", done.heights)
