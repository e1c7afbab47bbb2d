"""Which scans can be used at all, and what the occasion's bench looks like as a whole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from monochord.campaign.found.axes import Gate
from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.wire import Sweep, Wire, WireScan
from monochord.wire.blocks import Lost
from monochord.wire.centre import Combined
from monochord.wire.gates import strength_ratio
from monochord.wire.model import TAIL_MODES
from monochord.wire.readings import Readings
from monochord.wire.resonance import LOWEST_Q, SweepFit, runs_backwards, sensor_shape, usable
from monochord.wire.sensors import SensorFinding
from monochord.wire.setup import Setup
from monochord.wire.turn import sensor_turn

_TUNE = 1e-3
_DRIFT = 0.5
_SPLIT = 2e-3
#: A sensor pair that seems turned by more than this [rad] was not mounted so: its channels are mixed up.
_MOUNTING_TURN = 0.2
#: A sensor that sees less than this part of a mode's motion is blind to it.
_BLIND = 0.02
#: A scan driven further than this part away from the mode it names does not belong to that mode.
_FAR = 0.02


def usable_scans(
    scans: Sequence[WireScan], wire: Wire, magnets: Mapping[str, Magnet], f1: float | None
) -> tuple[list[WireScan], dict[str, list[str]]]:
    """The scans that can be evaluated, and for each magnet's name what was wrong with the others.

    f1  fundamental that the sweeps found [Hz], None without sweeps
    """
    good: list[WireScan] = []
    bad: dict[tuple[str, str], list[str]] = {}
    for scan in scans:
        why = _unfit(scan, wire, magnets, f1)
        if why is None:
            good.append(_finite(scan))
        else:
            bad.setdefault((scan.magnet, why), []).append(scan.name)
    notes: dict[str, list[str]] = {}
    for (magnet, why), names in bad.items():
        notes.setdefault(magnet, []).append(f"scan{'s' if len(names) > 1 else ''} {', '.join(names)}: {why}")
    return good, notes


def _unfit(scan: WireScan, wire: Wire, magnets: Mapping[str, Magnet], f1: float | None) -> str | None:
    told = 1 <= scan.mode <= TAIL_MODES
    blind = not told or bool(np.abs(sensor_shape(scan.mode, wire)).min() < _BLIND)
    far = told and f1 is not None and abs(scan.drive_frequency / (scan.mode * f1) - 1.0) > _FAR
    faults = {
        f"magnet {scan.magnet!r} is not on the girder; mend its name": scan.magnet not in magnets,
        "a dipole has no centre that a wire can find": scan.magnet in magnets and magnets[scan.magnet].order < 2,
        f"mode {scan.mode} cannot be seen by both sensors; use another mode": blind,
        "drive frequency and drive current must be positive": not (scan.drive_frequency > 0 and scan.drive_current > 0),
        f"driven at {scan.drive_frequency:g} Hz, far from mode {scan.mode}; check the mode's number": far,
        "the magnet's current is not told": not np.isfinite(scan.magnet_current),
        "fewer than two whole readings": len(_finite(scan).x) < 2,
        "a sensor shows nothing at all; check its cable and channel": not (scan.x.any() and scan.y.any()),
    }
    return next((words for words, wrong in faults.items() if wrong), None)


def _finite(scan: WireScan) -> WireScan:
    """The scan without readings that are not whole."""
    whole = np.isfinite(scan.x) & np.isfinite(scan.y) & np.isfinite(scan.stage_x) & np.isfinite(scan.stage_y)
    if bool(whole.all()):
        return scan
    rows = tuple(r for r, w in zip(scan.rows, whole, strict=False) if w)
    return WireScan(
        scan.name,
        scan.magnet,
        scan.moved,
        scan.magnet_current,
        scan.mode,
        scan.drive_frequency,
        scan.drive_current,
        scan.stage_x[whole],
        scan.stage_y[whole],
        scan.x[whole],
        scan.y[whole],
        scan.times[whole],
        scan.file,
        rows,
    )


def finding_gates(
    fit: SweepFit | None,
    sweeps: Sequence[Sweep],
    readings: Sequence[Readings],
    setup: Setup,
    sensors: SensorFinding,
    *,
    notes: Mapping[str, Sequence[str]],
    lost: Sequence[Lost],
    found: Mapping[str, Combined],
) -> tuple[Gate, ...]:
    """Gates of the whole occasion."""
    gates = [*_sweep_gates(fit, sweeps, setup), _sensors(sensors, setup)]
    if readings:
        gates.append(_drift(readings, setup))
    if found:
        gates.append(_polarity(found))
        gates += _sensor_planes(found)
    for told in notes.values():
        gates += [Gate("scan left out", False, why) for why in told]
    gates += [Gate("scans refused", False, f"{one.magnet}, {one.reason}") for one in lost]
    return tuple(gates)


def _sweep_gates(fit: SweepFit | None, sweeps: Sequence[Sweep], setup: Setup) -> list[Gate]:
    left = [s.name for s in sweeps if not usable(s, setup.wire)]
    gates = [Gate("sweep left out", False, f"{n}: too few points, or a mode the sensors do not see") for n in left]
    if fit is None or not fit.sound:
        what = "no usable frequency sweep"
        if fit is not None:
            what = f"the sweeps show no resonance (residuals {100 * fit.rough:.0f} % of the peak)"
        if fit is not None and runs_backwards(fit, sweeps, setup.wire):
            what = "the sweeps' phases run backwards, as with a time factor exp(-iwt): mend the lab description"
        rest = "; the sag rests on the drive frequency and the coupling of the planes is unknown: sweep the modes that are scanned"
        return [*gates, Gate("resonance", False, what + rest)]
    t = fit.transfer
    a, b = t.fundamental
    tune, split = t.inharmonicity, abs(a - b) / a
    words = f"f_n / (n f1) = 1 within {tune:.1e} over modes {', '.join(map(str, t.modes))}"
    remedy = "; the wire is not uniform or is kinked, and the sag told by f1 is doubtful: string a fresh wire"
    gates.append(Gate("wire in tune", tune < _TUNE, words if tune < _TUNE else words + remedy))
    words = f"the two planes differ by {split:.1e}, turned by {np.degrees(t.turn):.1f} deg"
    remedy = "; the wire's supports hold it badly: clamp it anew"
    gates.append(Gate("planes", split < _SPLIT, words if split < _SPLIT else words + remedy))
    q = [t.quality(int(n)) for n in t.modes]
    ok = min(q) > 2.0 * LOWEST_Q and max(q) < 1e5
    words = f"Q from {min(q):.0f} to {max(q):.0f}"
    gates.append(Gate("resonance", ok, words if ok else f"{words}; is the sweep wide and fine enough?"))
    return gates


def _sensors(sensors: SensorFinding, setup: Setup) -> Gate:
    gain = sensors.values["gain"] + setup.transfer.log_gain
    u = float(np.sqrt(sensors.cov[0, 0]))
    ok = abs(gain) < 3.0 * np.hypot(np.sqrt(2.0) * setup.wire.u_gain, u)
    words = (
        f"x sensor's gain over y sensor's is {100 * gain:+.2f} % off what is told (u {100 * u:.2f} %), square within "
        f"{sensors.values['square'] * 1e3:+.2f} mrad, noise {sensors.noise * 1e9:.0f} nm"
    )
    return Gate("sensors", ok, words if ok else f"{words}; calibrate the sensors")


def _drift(readings: Sequence[Readings], setup: Setup) -> Gate:
    """How far the resonance wandered, in half linewidths of the highest scanned mode."""
    shifts = np.concatenate([r.tuned.shift for r in readings])
    mode = max(r.passes.mode for r in readings)
    part = mode * float(np.ptp(shifts)) / setup.transfer.damping(mode)
    words = (
        f"f1 moved by {1e3 * np.ptp(shifts) / (2 * np.pi):.1f} mHz, {part:.2f} half linewidths of mode {mode}; followed"
    )
    ok = part < _DRIFT
    return Gate("drift", ok, words if ok else f"{words}; let the wire rest longer after stringing")


def _sensor_planes(found: Mapping[str, Combined]) -> list[Gate]:
    """Whether the sensor pair looks along the axes it is named for; a large turn is a mix-up, not a mounting."""
    turn = sensor_turn(found)
    if turn is None:
        return []
    words = f"the sensor pair is turned by {turn.angle * 1e3:+.1f} mrad about the wire"
    ok = abs(turn.angle) < _MOUNTING_TURN
    remedy = (
        "; no mounting is so far off: x and y of the sensors, or of the stages, appear swapped or one of them reversed"
    )
    return [Gate("sensor planes", ok, words if ok else f"{words}{remedy}; mend the lab description or the file")]


def _polarity(found: Mapping[str, Combined]) -> Gate:
    """Whether all magnets have the sign that the plan says, or all the other one."""
    turned = [name for name, one in found.items() if strength_ratio(one.views[0].block).real < 0.0]
    if not turned:
        return Gate("polarity", True, "every magnet has the sign of the plan")
    if len(turned) == len(found):
        words = "every magnet appears with the other sign: drive current or sensors are reversed; the centres do not depend on it"
        return Gate("polarity", True, words)
    words = (
        f"{', '.join(turned)}: polarity reversed against the plan; check the cables. The centre does not depend on it"
    )
    return Gate("polarity", False, words)
