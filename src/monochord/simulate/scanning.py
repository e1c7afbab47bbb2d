"""A day at the virtual bench: what the crew scans, in which order, and the scans and sweeps that come of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.wire import Sweep, Wire, WireScan
from monochord.simulate.bench import Bench, Stringing, read_bench
from monochord.simulate.girder import Placed
from monochord.simulate.taut import Readings

Array = NDArray[np.float64]

#: Seconds from one reading to the next.
DWELL = 12.0


@dataclass(frozen=True, slots=True)
class ScanPlan:
    """How one magnet is scanned: in which modes, with which drive [A peak], half range [m] and number of positions."""

    magnet: str
    modes: tuple[int, ...]
    drive: float
    half_range: float
    points: int


@dataclass(frozen=True, slots=True)
class SweepPlan:
    """How the resonances are swept: with which magnet on, how far off its centre [m], which modes, how wide (relative)."""

    magnet: str
    off_centre: float
    modes: tuple[int, ...]
    drive: float
    half_width: float = 0.015
    points: int = 41


@dataclass(frozen=True, slots=True)
class DayPlan:
    """A day's work: the sweeps first, then the scans in this order, each with its magnet at full_current [A]."""

    scans: tuple[ScanPlan, ...]
    sweep: SweepPlan
    full_current: float


@dataclass(frozen=True, eq=False, slots=True)
class WireDay:
    """What the bench gave on one occasion."""

    scans: tuple[WireScan, ...]
    sweeps: tuple[Sweep, ...]


def wire_day(
    bench: Bench,
    stringing: Stringing,
    placed: Placed,
    plan: DayPlan,
    *,
    rng: np.random.Generator,
    noisy: bool = True,
    files: tuple[str, str] = ("", ""),
    first_row: int = 2,
) -> WireDay:
    """One day at the bench: sweeps, then every magnet in every mode, in x and in y, on and off, forth and back.

    files  names of the scans' and the sweeps' tables;  first_row  line of a table's first reading
    noisy  False leaves out the noise of reading and drive; where the crew scans is drawn all the same
    """
    names = [m.name for m in placed.magnets]
    tuned = round(stringing.f1 * (1.0 + 2e-5 * float(rng.normal())), 4)

    def centre(magnet: str) -> Array:
        # the crew finds it to 15 um and sets the stages to whole 10 um
        need = onto_axis(magnet, bench.wire, stringing, placed) + 15e-6 * rng.normal(size=2)
        rounded: Array = np.round(need / 10e-6) * 10e-6
        return rounded

    passes = [p for scan in plan.scans for p in _passes(scan, tuned, plan.full_current, centre)]
    swept = _swept(plan.sweep, tuned, plan.full_current, centre(plan.sweep.magnet))
    ahead, counts = sum(len(p.stage) for p in swept), [len(p.stage) for p in [*swept, *passes]]

    def each(values: Sequence[float]) -> Array:
        return np.repeat(np.array(values, float), counts)

    both = [*swept, *passes]
    readings = Readings(
        stage=np.concatenate([p.stage for p in both]),
        powered=np.repeat(np.array([names.index(p.magnet) if p.current else -1 for p in both]), counts),
        magnet_current=each([p.current for p in both]),
        frequency=np.concatenate([p.frequency for p in both]),
        drive=each([p.drive for p in both]),
        time=DWELL * (np.arange(sum(counts), dtype=float) - ahead),
    )
    x, y = read_bench(bench, stringing, placed, readings, rng if noisy else None)
    starts = np.concatenate([[0], np.cumsum(counts)])
    parts = [slice(int(a), int(b)) for a, b in pairwise(starts)]
    sweeps = tuple(
        Sweep(f"mode {p.mode}", p.mode, p.frequency, x[part], y[part], p.drive, files[1], _rows(part, first_row))
        for p, part in zip(swept, parts, strict=False)
    )
    scans = tuple(
        WireScan(
            name=str(i + 1),
            magnet=p.magnet,
            moved=p.moved,
            magnet_current=p.current,
            mode=p.mode,
            drive_frequency=float(p.frequency[0]),
            drive_current=p.drive,
            stage_x=p.stage[:, 0],
            stage_y=p.stage[:, 1],
            x=x[part],
            y=y[part],
            times=readings.time[part],
            file=files[0],
            rows=_rows(part, first_row - ahead),
        )
        for i, (p, part) in enumerate(zip(passes, parts[len(swept) :], strict=True))
    )
    return WireDay(scans, sweeps)


@dataclass(frozen=True, eq=False, slots=True)
class _Pass:
    magnet: str
    moved: str
    current: float
    mode: int
    drive: float
    stage: Array
    frequency: Array


def _rows(part: slice, first_row: int) -> tuple[int, ...]:
    return tuple(range(first_row + part.start, first_row + part.stop))


def _passes(plan: ScanPlan, tuned: float, current: float, centre: Callable[[str], Array]) -> list[_Pass]:
    found: list[_Pass] = []
    grid = np.linspace(-plan.half_range, plan.half_range, plan.points)
    for mode in plan.modes:
        frequency = np.full(plan.points, round(mode * tuned, 3))
        for axis in (0, 1):
            stage = np.tile(centre(plan.magnet), (plan.points, 1))
            stage[:, axis] += grid
            found += [
                _Pass(plan.magnet, "xy"[axis], amperes, mode, plan.drive, way, frequency)
                for amperes in (current, 0.0)
                for way in (stage, stage[::-1])
            ]
    return found


def _swept(plan: SweepPlan, tuned: float, current: float, centre: Array) -> list[_Pass]:
    width = 1.0 + np.linspace(-plan.half_width, plan.half_width, plan.points)
    stage = np.tile(centre + plan.off_centre, (plan.points, 1))
    return [
        _Pass(plan.magnet, "", current, mode, plan.drive, stage, np.round(mode * tuned * width, 4))
        for mode in plan.modes
    ]


def onto_axis(magnet: str, wire: Wire, stringing: Stringing, placed: Placed) -> Array:
    """Stage position (2,) [m] that puts the sagging wire on a magnet's axis, stages square and string ideal.

    x_axis - x_chord, y_axis - y_chord + 4 s t (1 - t), s = g/(32 f1^2), t = (z - z_start)/L
    """
    where = placed.magnet(magnet).centre
    t = (where[2] - wire.z_start) / wire.length
    hang = 4.0 * wire.gravity / (32.0 * stringing.f1**2) * t * (1.0 - t)
    now = stringing.start * (1.0 - t) + stringing.end * t - 1j * hang
    return np.array([where[0] - now.real, where[1] - now.imag])
