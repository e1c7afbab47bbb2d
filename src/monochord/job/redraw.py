"""The raw inputs of one occasion drawn anew: every reading by its noise, every shared cause by its spread.

What the linear law carries as a Jacobian times a spread is here put into the readings themselves, so that a run of the
whole chain over them is an honest draw of what the chain makes of such errors. The draws add to readings that were
measured: about them, not about the truth.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import WireFinding
from monochord.campaign.given.campaign import Campaign
from monochord.campaign.given.survey import Instrument, Sighting
from monochord.campaign.given.wire import Phasors, Sweep, Wire, WireScan
from monochord.survey.model import KINDS, from_polar, read, spreads
from monochord.wire.resonance import assumed_transfer, fit_sweeps
from monochord.wire.setup import Setup, reading_noise
from monochord.wire.slope import SLOPE
from monochord.wire.stringing import stringing_factor

Array = NDArray[np.float64]

#: Kinds of causes that are drawn. The rest cannot be put into readings: what no reading shows, and floors of the method.
DRAWN = (
    "fit", "background", "stringing", "stage scale", "stage turn", "slope leakage", "sag", "gain", "planes",
    "nest vector", "reading", "mounting", "level", "range scale",
)  # fmt: skip
#: The pair's turn is drawn so wide at most [rad]; no offset follows it, and that is what the draw is to show.
WIDEST_TURN = 5e-3


class Normals:
    """Standard normal numbers of one draw; with sign -1 the mirrored draw of the same seed."""

    def __init__(self, seed: int, sign: float = 1.0) -> None:
        self._rng, self._sign = np.random.default_rng(seed), sign

    def __call__(self, *shape: int) -> Array:
        """An array of that shape."""
        drawn: Array = self._sign * self._rng.normal(size=shape)
        return drawn


@dataclass(frozen=True, eq=False, slots=True)
class Raw:
    """The raw inputs of one occasion."""

    wire: Wire
    scans: tuple[WireScan, ...]
    sweeps: tuple[Sweep, ...]
    sightings: tuple[Sighting, ...]


@dataclass(frozen=True, eq=False, slots=True)
class Spreads:
    """How widely the inputs scatter.

    wire         with the spreads of bench and stringing;  scan, sweep  noise of one reading, per component [m];  sag  relative
    leaning      (magnet, mode) -> by how much a slope of 1 seems to shift the magnet in that mode, C / S [m]
    """

    wire: Wire
    scan: float
    sweep: float
    sag: float
    leaning: Mapping[tuple[str, int], float]


def spreads_of(raw: Raw, occasion: str, campaign: Campaign, found: WireFinding) -> Spreads:
    """The spreads of an occasion's inputs, as its evaluation takes them."""
    fit = fit_sweeps(raw.sweeps, raw.wire)
    transfer = fit.transfer if fit is not None else assumed_transfer((found.f1_x + found.f1_y) / 2.0)
    noise = reading_noise(raw.scans)
    setup = Setup(occasion, raw.wire, transfer, {m.name: m for m in campaign.girder.magnets}, noise)
    leaning: dict[tuple[str, int], float] = {}
    for scan in raw.scans:
        key = (scan.magnet, scan.mode)
        if key not in leaning and scan.magnet in setup.magnets:
            weighing = setup.weigh(*key, 2.0 * np.pi * scan.drive_frequency, 0.0)
            leaning[key] = weighing.slope / weighing.offset if weighing.offset else 0.0
    sweep = transfer.noise if np.isfinite(transfer.noise) else noise
    return Spreads(raw.wire, noise, sweep, found.u_sag / found.sag, leaning)


def redrawn(raw: Raw, spread: Spreads, campaign: Campaign, points: PointSet | None, draw: Normals) -> Raw:
    """The inputs with one draw of every error."""
    places = {m.name: m.point[2] for m in campaign.girder.magnets}
    errors = _errors(raw.wire, list(places), draw)
    scans = tuple(_scan(s, spread, places.get(s.magnet, 0.0), errors, draw) for s in raw.scans)
    sweeps = []
    for sweep in raw.sweeps:
        x, y = _signals(sweep, errors.sensor, spread.sweep, draw)
        sweeps.append(replace(sweep, x=x, y=y))
    ends = tuple(replace(e, to_wire=_shifted(e.to_wire, e.u_to_wire * draw(3))) for e in raw.wire.ends)
    wire = replace(raw.wire, gravity=raw.wire.gravity * (1.0 + spread.sag * float(draw(1)[0])), ends=ends)
    sightings = raw.sightings
    if points is not None and campaign.instrument is not None:
        sightings = _sightings(sightings, campaign.instrument, points, draw)
    return Raw(wire, scans, tuple(sweeps), sightings)


def _shifted(point: tuple[float, float, float], by: Array) -> tuple[float, float, float]:
    x, y, z = (float(p + d) for p, d in zip(point, by, strict=True))
    return x, y, z


@dataclass(frozen=True, eq=False, slots=True)
class _Errors:
    """One draw of what all scans share.

    sensor  (2, 2) from true displacement to reading;  scale (2,) of the stages, turn (2,) at either end [rad]
    waves   (12,) standardised, of the string's departure;  slopes  magnet -> (2,) of its axis against the chord [rad]
    """

    sensor: Array
    scale: Array
    turn: Array
    waves: Array
    slopes: Mapping[str, Array]


def _errors(wire: Wire, magnets: Sequence[str], draw: Normals) -> _Errors:
    gain = np.diag(1.0 + wire.u_gain * draw(2))
    a = min(wire.u_sensor_turn, WIDEST_TURN) * float(draw(1)[0])
    sensor = gain @ np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    waves = draw(len(stringing_factor(0.0, wire).spread))
    scale, turn = wire.u_stage_scale * draw(2), wire.u_stage_turn * draw(2)
    return _Errors(sensor, scale, turn, waves, {name: SLOPE * draw(2) for name in magnets})


def _scan(scan: WireScan, spread: Spreads, z: float, errors: _Errors, draw: Normals) -> WireScan:
    """One scan with the stages where they truly were, as far as its magnet can tell, and with its readings drawn anew."""
    along = (z - spread.wire.z_start) / spread.wire.length
    turn = (1.0 - along) * errors.turn[0] + along * errors.turn[1]
    leaning = spread.leaning.get((scan.magnet, scan.mode), 0.0)
    shift = _string_error(z, spread.wire, errors.waves) + leaning * errors.slopes.get(scan.magnet, np.zeros(2))
    x, y = _signals(scan, errors.sensor, spread.scan, draw)
    return replace(
        scan,
        stage_x=(1.0 + errors.scale[0]) * scan.stage_x - turn * scan.stage_y + shift[0],
        stage_y=(1.0 + errors.scale[1]) * scan.stage_y + turn * scan.stage_x + shift[1],
        x=x,
        y=y,
    )


def _signals(given: WireScan | Sweep, sensor: Array, noise: float, draw: Normals) -> tuple[Phasors, Phasors]:
    n = len(given.x)
    x, y = (noise * (draw(n) + 1j * draw(n)) for _ in range(2))
    return sensor[0, 0] * given.x + sensor[0, 1] * given.y + x, sensor[1, 0] * given.x + sensor[1, 1] * given.y + y


def _string_error(z: float, wire: Wire, waves: Array) -> Array:
    """How far a magnet's centre is found off in x and y by one draw of the string's own departure (2,) [m]."""
    factor = stringing_factor(z, wire)
    off: Array = factor.jacobian[:2] @ (np.sqrt(np.diag(factor.spread)) * waves)
    return off


def _sightings(
    given: Sequence[Sighting], instrument: Instrument, points: PointSet, draw: Normals
) -> tuple[Sighting, ...]:
    """Sightings with a draw of mountings, levels, the range scale and the noise of every reading.

    They are drawn about the adjusted readings: noise upon noise would look like something that moved, and be searched for.
    """
    scale = 1.0 + instrument.u_scale * float(draw(1)[0])
    stations = {s.name: s.pose.rotation for s in points.stations}
    lean = {n: (instrument.u_level or 0.0) * draw(2) for n in sorted(stations)}
    seat = {n: instrument.u_mounting * draw(3) for n in sorted({s.target for s in given})}
    noise = draw(len(given), 3)
    left = {(r.station, r.target, r.round, r.kind): r.residual for r in points.residuals}
    made = []
    for sighting, unit in zip(given, noise, strict=True):
        whole = None not in (sighting.direction, sighting.zenith, sighting.distance)
        if not whole or sighting.station not in stations:
            made.append(sighting)
            continue
        place = (sighting.station, sighting.target, sighting.round)
        residual = [left.get((*place, kind), 0.0) for kind in KINDS]
        polar = np.array([[sighting.direction, sighting.zenith, sighting.distance]], float) - residual
        u = from_polar(polar)[0] + stations[sighting.station].T @ seat[sighting.target]
        tilt = np.array([*lean[sighting.station], 0.0])
        values = read((u + np.cross(tilt, u))[None])[0][0]
        values = values + spreads(instrument, values[1:2], values[2:3])[0] * unit
        made.append(
            replace(
                sighting,
                direction=float(values[0] % (2.0 * np.pi)),
                zenith=float(values[1]),
                distance=float(values[2] * scale),
            )
        )
    return tuple(made)
