"""Numbers of the wire room unfolded: every sum makes its number again, leads to rows and settings, and its factors are true."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import TypeVar

import numpy as np
import pytest

from monochord.campaign.found.result import WireFinding
from monochord.campaign.given.occasion import Occasion
from monochord.campaign.given.wire import Sweep, Wire, WireScan
from monochord.ground.estimate import Estimate, Factor
from monochord.ground.faults import Refused
from monochord.ground.trace import Place, Sum, Unfold, pointer
from monochord.simulate.campaign import simulate_campaign
from monochord.wire.axes import find_axes
from monochord.wire.place import place_axes

#: Sums are made again to this part of their largest line: rounding of least squares whose unknowns are well apart.
ROUNDING = 1e-9
#: A reading that is moved by 1 nm moves numbers as the sums say, to this part of what it moves most: the weights of modes
#: and of scans follow the readings a little as well, and stand still in the sums.
CURVED = 0.01
STEP = 1e-9

Source = TypeVar("Source", WireScan, Sweep)

CAMPAIGN = simulate_campaign(1).campaign
OCCASION: Occasion = CAMPAIGN.occasions[1]
WIRE: Wire = CAMPAIGN.wire  # type: ignore[assignment]
SCANS = tuple(s for s in OCCASION.scans if s.magnet in {"Quad1", "Sext1"})
ALONE = tuple(s for s in SCANS if s.magnet == "Quad1")
SIGNALS = {
    "x sensor, in phase": ("x", 1.0), "x sensor, in quadrature": ("x", 1j),
    "y sensor, in phase": ("y", 1.0), "y sensor, in quadrature": ("y", 1j),
    "x in phase": ("x", 1.0), "y in quadrature": ("y", 1j),
}  # fmt: skip


def found(
    scans: Sequence[WireScan] = SCANS, sweeps: Sequence[Sweep] = OCCASION.sweeps, wire: Wire = WIRE
) -> WireFinding:
    return find_axes(OCCASION.name, scans, sweeps, wire, CAMPAIGN.girder.magnets)


def teller(finding: WireFinding) -> Unfold:
    assert finding.unfold is not None
    return finding.unfold


def numbers(finding: WireFinding) -> dict[str, float]:
    """Every number of a finding that is told, with its value."""
    keys = ("f1_x", "f1_y", "sag", "u_sag", "sensor_turn", "u_sensor_turn")
    known = {f"wire/{key}": getattr(finding, key) for key in keys}
    for axis in finding.axes:
        own = dict(zip(("x", "y", "slope_x", "slope_y"), axis.estimate.value.tolist(), strict=True))
        own |= {"roll": axis.roll, "u_roll": axis.u_roll}
        own |= {"x_with_remanence": axis.remanence_x, "y_with_remanence": axis.remanence_y}
        known |= {pointer("axes", axis.magnet, key)[1:]: value for key, value in own.items()}
        for i, one in enumerate(axis.corrections):
            sizes = {"x": one.x, "y": one.y, "u_x": one.u_x, "u_y": one.u_y}
            known |= {pointer("axes", axis.magnet, "corrections", i, key)[1:]: value for key, value in sizes.items()}
    return {name: value for name, value in known.items() if value is not None and np.isfinite(value)}


def spreads(finding: WireFinding) -> dict[str, float]:
    """Every entry of the spread of every cause of the axes, by name."""
    causes: dict[str, Factor] = {}
    for axis in finding.axes:
        causes |= axis.estimate.factors
        causes |= axis.roll_estimate.factors if axis.roll_estimate is not None else {}
    return {
        pointer("cause", cause, i, j)[1:]: float(f.spread[i, j])
        for cause, f in causes.items()
        for i in range(len(f.spread))
        for j in range(i, len(f.spread))
    }


@dataclass
class Walk:
    """Everything behind some names, and what was wrong with it."""

    sums: dict[str, Sum] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)
    places: set[Place] = field(default_factory=set)
    elsewhere: set[str] = field(default_factory=set)


def walked(tell: Unfold, names: Iterable[str]) -> Walk:
    walk, waiting = Walk(), list(names)
    while waiting:
        name = waiting.pop()
        if name in walk.sums:
            continue
        made = walk.sums[name] = tell(name)
        largest = max([abs(made.value), *(abs(line.amount) for line in made.lines)])
        walk.wrong += [f"{name} is called {made.name}"] if made.name != name else []
        walk.wrong += (
            [f"{name}: {made.again()} for {made.value}"] if not _near(made.again(), made.value, largest) else []
        )
        walk.wrong += [f"{name} has no lines"] if not made.lines else []
        for line in made.lines:
            walk.wrong += [f"{name}, {line.words}: leads nowhere"] if not (line.of or line.places) else []
            walk.places |= set(line.places)
            if line.of.startswith("/"):
                walk.elsewhere.add(line.of)
            elif line.of:
                waiting.append(line.of)
    walk.wrong += _unlike(walk) + _circles(walk)
    return walk


def _near(a: float, b: float, largest: float) -> bool:
    return abs(a - b) <= ROUNDING * largest


def _unlike(walk: Walk) -> list[str]:
    """Lines that carry another number than the one they lead to."""
    out = []
    for name, made in walk.sums.items():
        for line in made.lines:
            there = walk.sums.get(line.of)
            given = line.amount if line.given is None else line.given
            if there is not None and not _near(given, there.value, abs(there.value)):
                out.append(f"{name}, {line.words}: {given}, there {there.value}")
            if line.factor is not None and not _near(line.factor * given, line.amount, abs(line.amount)):
                out.append(f"{name}, {line.words}: {line.factor} times {given} for {line.amount}")
    return out


def _circles(walk: Walk) -> list[str]:
    done: set[str] = set()
    for root in walk.sums:
        path: set[str] = set()
        stack = [(root, False)]
        while stack:
            name, left = stack.pop()
            if left:
                path.discard(name)
                done.add(name)
            elif name in path:
                return [f"{name} rests on itself"]
            elif name not in done and name in walk.sums:
                path.add(name)
                stack.append((name, True))
                stack += [(line.of, False) for line in walk.sums[name].lines if line.of and line.of not in done]
    return []


@cache
def usual() -> tuple[WireFinding, Walk]:
    finding = found()
    return finding, walked(teller(finding), [*numbers(finding), *spreads(finding)])


def test_every_number_is_told_with_its_own_value() -> None:
    finding, walk = usual()

    told = {name: walk.sums[name].value for name in numbers(finding)}
    assert told == numbers(finding)
    assert len(told) > 50


def test_every_spread_of_a_cause_is_told() -> None:
    finding, walk = usual()

    for name, value in spreads(finding).items():
        assert walk.sums[name].value == pytest.approx(value, rel=ROUNDING, abs=0.0), name
    assert {name.split("/")[1].split(":")[0] for name in spreads(finding)} == {
        "fit", "background", "gain", "detuning", "planes", "sag", "slope leakage", "stage scale", "stage turn", "stringing",
    }  # fmt: skip


def test_every_sum_makes_its_number_again_and_ends_in_rows_or_settings() -> None:
    _, walk = usual()

    assert not walk.wrong, f"{len(walk.wrong)}: {walk.wrong[:5]}"
    assert len(walk.sums) > 10_000
    assert max(len(made.lines) for made in walk.sums.values()) <= 41  # points of one sweep, which have no groups
    assert {place.file for place in walk.places} == {"", SCANS[0].file, OCCASION.sweeps[0].file}


def test_a_centre_rests_on_every_row_of_its_scans_and_of_the_sweeps() -> None:
    finding, _ = usual()
    rows = walked(teller(finding), ["axes/Quad1/x"]).places

    scans = {Place(scan.file, row) for scan in ALONE for row in scan.rows}
    sweeps = {Place(sweep.file, row) for sweep in OCCASION.sweeps for row in sweep.rows}
    assert scans | sweeps <= rows
    settings = {place.column for place in rows if not place.file}
    assert {"wire.length", "wire.z_start", "wire.mass_per_length", "girder.items.Quad1.length"} <= settings


class Slope:
    """How a number follows one raw number, along the sums; what serves as a reference only moves with the factor beside it."""

    def __init__(self, place: Place, words: str) -> None:
        finding, walk = usual()
        self.tell, self.sums, self.place, self.words = teller(finding), walk.sums, place, words
        self.known: dict[str, float] = {}

    def __call__(self, name: str) -> float:
        if name not in self.known:
            made = self.sums.get(name) or self.tell(name)
            parts = [self._of(line.of) if line.of else float(line.places == (self.place,) and line.words == self.words)
                     for line in made.lines]  # fmt: skip
            parts = [0.0 if "reference" in line.words else p for line, p in zip(made.lines, parts, strict=True)]
            self.known[name] = sum(p * self._weight(made, i) for i, p in enumerate(parts) if p != 0.0)
        return self.known[name]

    def _of(self, name: str) -> float:
        return 0.0 if name.startswith("/") else self(name)

    @staticmethod
    def _weight(made: Sum, i: int) -> float:
        line, amounts = made.lines[i], [line.amount for line in made.lines]
        if made.formula is None:
            return 1.0 if line.factor is None else line.factor
        step = 1e-6 * abs(amounts[i]) or 1e-12
        up = made.formula([a + step * (k == i) for k, a in enumerate(amounts)])
        down = made.formula([a - step * (k == i) for k, a in enumerate(amounts)])
        return (up - down) / (2.0 * step)


def moved(sources: Sequence[Source], which: int, at: int, words: str, step: float) -> list[Source]:
    """Scans or sweeps with one raw number of one of them moved."""
    sensor, unit = SIGNALS[words]
    values = getattr(sources[which], sensor).copy()
    values[at] += step * unit
    return [replace(s, **{sensor: values}) if i == which else s for i, s in enumerate(sources)]


def real(words: str, which: int, at: int, *, sweep: bool, names: Sequence[str]) -> list[float]:
    """How the numbers follow, by evaluating twice."""
    if sweep:
        ends = [found(SCANS, moved(OCCASION.sweeps, which, at, words, step)) for step in (STEP, -STEP)]
    else:
        ends = [found(moved(SCANS, which, at, words, step)) for step in (STEP, -STEP)]
    return [(teller(ends[0])(n).value - teller(ends[1])(n).value) / (2.0 * STEP) for n in names]


@pytest.mark.parametrize(
    ("source", "at", "words", "names"),
    [
        # a quadrupole with current, scanned along x: its own x and the turn of the pair
        (0, 4, "x sensor, in quadrature", ["axes/Quad1/x", "wire/sensor_turn"]),
        # the same in the phase that tells the drift
        (0, 7, "x sensor, in phase", ["axes/Quad1/x", "axes/Quad1/y", "wire/f1_x", "axes/Quad1/x_with_remanence"]),
        (4, 2, "y sensor, in quadrature", ["axes/Quad1/y", "axes/Quad1/x"]),
        # a scan without current moves both magnets, and the correction for the background
        (2, 1, "x sensor, in quadrature", ["axes/Quad1/x", "axes/Quad1/corrections/0/x", "axes/Sext1/slope_x"]),
        (16, 3, "x sensor, in quadrature", ["axes/Sext1/x", "axes/Sext1/slope_x"]),
    ],
)
def test_a_reading_moves_numbers_as_their_sums_say(source: int, at: int, words: str, names: list[str]) -> None:
    scan = SCANS[source]
    slope = Slope(Place(scan.file, scan.rows[at]), words)

    for name, value in zip(names, real(words, source, at, sweep=False, names=names), strict=True):
        assert value != 0.0
        assert slope(name) == pytest.approx(value, rel=CURVED), name


@pytest.mark.parametrize(("source", "at", "words"), [(1, 18, "x in phase"), (1, 22, "y in quadrature")])
def test_a_reading_of_a_sweep_moves_the_transfer_as_its_sums_say(source: int, at: int, words: str) -> None:
    sweep = OCCASION.sweeps[source]
    names = [f"wire#transfer/mode 2/{what}" for what in ("f_a", "f_b", "decay")] + ["wire#transfer/turn"]
    slope = Slope(Place(sweep.file, sweep.rows[at]), words)

    for name, value in zip(names, real(words, source, at, sweep=True, names=names), strict=True):
        assert slope(name) == pytest.approx(value, rel=CURVED), name


def _two_currents(scan: WireScan) -> WireScan:
    """A background scan as one at two fifths of the current."""
    if scan.magnet_current:
        return scan
    lit = next(s for s in ALONE if s.magnet_current and (s.mode, s.moved) == (scan.mode, scan.moved))
    return replace(scan, magnet_current=0.4 * lit.magnet_current, x=scan.x + 0.4 * lit.x, y=scan.y + 0.4 * lit.y)


def _hurt(scan: WireScan) -> WireScan:
    """A scan without times, with a reading that is not whole."""
    x = scan.x.copy()
    x[2] = np.nan
    return replace(scan, x=x, times=np.full(len(scan.x), np.nan))


CASES: dict[str, Callable[[], WireFinding]] = {
    "nobody swept": lambda: found(SCANS, ()),
    "no background": lambda: found([s for s in ALONE if s.magnet_current]),
    "two currents": lambda: found([_two_currents(s) for s in ALONE]),
    "levelled sensors, two sweeps": lambda: found(ALONE, OCCASION.sweeps[:2], replace(WIRE, u_sensor_turn=1e-3)),
    "readings that are not whole": lambda: found([_hurt(s) for s in ALONE]),
    "one scan a plane": lambda: found([s for s in ALONE if s.mode == ALONE[0].mode][::2]),
}


@pytest.mark.parametrize("case", CASES)
def test_other_days_are_told_as_well(case: str) -> None:
    finding = CASES[case]()
    walk = walked(teller(finding), [*numbers(finding), *spreads(finding)])

    assert any(name.startswith("axes/") and name.endswith("/x") for name in numbers(finding))
    assert not walk.wrong, f"{len(walk.wrong)}: {walk.wrong[:5]}"
    assert {name: walk.sums[name].value for name in numbers(finding)} == numbers(finding)


ENDS = Estimate.of(
    [-0.0379, 0.0152, -2.79, -0.0383, 0.0149, 2.81],
    [f"{end.nest}.{c}" for end in WIRE.ends for c in "xyz"],
    unit="m", frame="girder", causes={"reading": 1e-10 * np.eye(6)},
)  # fmt: skip
UP = np.array([2e-4, 1.0, 1e-3]) / np.linalg.norm([2e-4, 1.0, 1e-3])


def test_a_placed_axis_is_told_from_the_ends_of_the_wire() -> None:
    finding = place_axes(found(ALONE), ENDS, WIRE, OCCASION.name, UP)
    names = [n for n in numbers(finding) if not n.startswith("wire/")]
    vectors = {n: v for n, v in spreads(finding).items() if n.startswith("cause/nest vector:")}
    walk = walked(teller(finding), [*names, *vectors])

    assert {name: walk.sums[name].value for name in [*names, *vectors]} == {
        **{n: numbers(finding)[n] for n in names},
        **vectors,
    }
    assert len(vectors) == 12  # two nests, six entries each on and above the diagonal
    assert not walk.wrong, walk.wrong[:5]
    targets = {pointer("occasions", OCCASION.name, "targets", end.nest, "xyz", k) for end in WIRE.ends for k in (0, 1)}
    assert walk.elsewhere == targets
    assert {"wire.ends.WA.to_wire.0", "wire.ends.WB.u_to_wire"} <= {place.column for place in walk.places}


def test_a_nest_that_is_elsewhere_moves_the_axis_by_its_factor() -> None:
    away = 1e-6
    other = Estimate(ENDS.value + np.array([away, 0.0, 0.0, 0.0, 0.0, 0.0]), ENDS.labels, ENDS.factors)
    here, there = (place_axes(found(ALONE), ends, WIRE, OCCASION.name, UP) for ends in (ENDS, other))

    chord = teller(here)("axes/Quad1/x").lines[0]
    change = float(there.axes[0].estimate.value[0] - here.axes[0].estimate.value[0])
    assert chord.of == "wire#end/WA/x"
    assert chord.factor is not None
    assert change == pytest.approx(chord.factor * away, rel=1e-9)


@pytest.mark.parametrize(
    "name",
    [
        "axes/Nobody/x", "axes/Quad1/x#mode 99", "axes/Quad1/corrections/9/x", "axes/Quad1", "axes", "wire/f1_z", "wire#",
        "wire#law/3/mode 2/Quad1/c/7/re", "wire#as read/1/99/by", "cause/gain:another day/0/0", "cause/fit/0/0", "line/start/0",
        "axes/Quad1/roll",
    ],
)  # fmt: skip
def test_a_name_that_nobody_knows_is_refused(name: str) -> None:
    with pytest.raises(Refused, match="given no number"):
        teller(usual()[0])(name)


def test_the_room_does_not_load_what_tells_its_numbers_before_it_is_asked() -> None:
    code = "import sys, monochord.wire.axes, monochord.wire.place; print('monochord.wire.unfold' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "False"
