"""The verb of the wire room: scans and sweeps of one occasion in, magnetic axes in the wire's frame out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from monochord.campaign.found.axes import Axis, Gate
from monochord.campaign.found.result import WireFinding
from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.wire import Sweep, Wire, WireScan
from monochord.ground.estimate import Estimate, Label
from monochord.wire.blocks import Block, Lost, lay_out, solve_blocks
from monochord.wire.centre import Circumstances, Combined, combine
from monochord.wire.corrections import corrections_of
from monochord.wire.curves import all_curves, resonance_curves
from monochord.wire.detuning import tune
from monochord.wire.evidence import Evidence, Round, Sound, WireUnfold
from monochord.wire.fitness import finding_gates, usable_scans
from monochord.wire.gates import axis_gates, refused
from monochord.wire.passes import group_scans
from monochord.wire.readings import Readings, corrected, read_field, without_far_modes
from monochord.wire.remanence import Remanence, find_remanence
from monochord.wire.resonance import Transfer, assumed_transfer, fit_sweeps
from monochord.wire.sag import find_sag
from monochord.wire.sensors import judge_sensors
from monochord.wire.setup import Setup, reading_noise
from monochord.wire.turn import roll_of, sensor_turn


def find_axes(
    occasion: str,
    scans: Sequence[WireScan],
    sweeps: Sequence[Sweep],
    wire: Wire,
    magnets: Sequence[Magnet],
    *,
    stringing: str | None = None,
) -> WireFinding:
    """Magnetic axes of all magnets, in the frame "wire": origin on the chord of the wire, stages at zero, at z = 0.

    occasion   its name, the scope of the causes that belong to it
    scans      passes across magnets, with and without current;  sweeps  across resonances
    stringing  name of the stringing; occasions that name the same one share its departure from a straight line.
               Without a name every occasion counts as strung anew.

    The centre is where the axis of the field that follows the current passes the magnet's middle z: y is the
    stages' y at the zero, less the sag there. A magnet that cannot be evaluated is listed with NaN and the reason.
    Never raises for what was measured: what does not fit ends in a gate or a reason.

    >>> bench = Wire(-2.0, 4.0, 1e-4, 9.80665, -1.9, -1.9, 0.0, 1e-6, 0.0, 0.0, 0.01)
    >>> find_axes("o", [], [], bench, [Magnet("Q", "quadrupole", (0.0, 0.0, 0.0), 0.2)]).axes[0].unknown["x"]
    'no scan of this magnet with current; scan it'
    """
    known = {m.name: m for m in magnets}
    tried = fit_sweeps(sweeps, wire)
    fit = tried if tried is not None and tried.sound else None
    good, notes = usable_scans(scans, wire, known, sum(fit.transfer.fundamental) / 2.0 if fit is not None else None)
    transfer = fit.transfer if fit is not None else _assume(good)
    setup = Setup(occasion, wire, transfer, known, reading_noise(good))
    readings = [read_field(tuned, setup) for tuned in tune(group_scans(good), setup)]
    evaluated, lost = _evaluate(readings, setup)
    sound, sensors = evaluated.rounds[-1].blocks, evaluated.sensors
    shift = float(np.mean(np.concatenate([r.tuned.shift for r in readings]))) if readings else 0.0
    sag = find_sag(transfer, wire, shift)
    around = Circumstances(setup, sensors, sag, stringing or occasion)
    found = {m.name: combine(own, around) for m in magnets if (own := [b for b in sound if b.magnet.name == m.name])}
    backgrounds = list({id(b.background): b.background for b in sound if b.background is not None}.values())
    kept = find_remanence(backgrounds, found, setup)
    reasons = _reasons(magnets, lost, notes)
    axes = tuple(
        _axis(m, found[m.name], kept.get(m.name), setup) if m.name in found else _blank(m, reasons[m.name])
        for m in magnets
    )
    turn = sensor_turn(found)
    f_a, f_b = transfer.fundamental
    moved = shift / (2.0 * np.pi)
    f_x, f_y = by_plane(f_a + moved, f_b + moved, transfer.turn)
    evidence = Evidence(
        setup, good, readings, evaluated, fit, sag, shift, around.stringing, found, kept, turn, axes, (f_x, f_y)
    )
    return WireFinding(
        axes,
        f_x,
        f_y,
        sag.mid,
        sag.mid * sag.relative,
        turn.angle if turn is not None else None,
        turn.u if turn is not None else None,
        all_curves(sound),
        tuple(resonance_curves(fit)) if fit is not None else (),
        finding_gates(tried, sweeps, readings, setup, sensors, notes=notes, lost=lost, found=found),
        WireUnfold(evidence),
    )


def _assume(scans: Sequence[WireScan]) -> Transfer:
    """A transfer from the drive frequencies alone."""
    told = [s.drive_frequency / s.mode for s in scans]
    return assumed_transfer(float(np.median(told)) if told else float("nan"))


def _evaluate(readings: Sequence[Readings], setup: Setup) -> tuple[Sound, list[Lost]]:
    """Three rounds of blocks: as told, then without what far modes leak, then for the sensors as all scans show them.

    What is refused is refused on sight of the first round, by the noise that the scans themselves show, with its
    background scans.
    """
    layout = lay_out(readings, setup)
    blocks, found = solve_blocks(layout, readings, setup)
    bad = refused(blocks)
    lost = [*layout.lost, *bad]
    if bad:
        out = {(one.magnet, one.mode) for one in bad}
        readings = [r for r in readings if (r.passes.magnet, r.passes.mode) not in out]
        layout = lay_out(readings, setup)
        blocks, found = solve_blocks(layout, readings, setup)
    told = Round(readings, blocks, found, 1.0)
    clean = _without_leaks(readings, blocks, setup)
    blocks, found = solve_blocks(layout, clean, setup)
    free = Round(clean, blocks, found, 1.0)
    sensors = judge_sensors([*(b.law for b in blocks), *(b.law for b in found)], setup)
    better, noisier = [corrected(r, sensors.values) for r in clean], max(sensors.noise / setup.noise, 1e-6)
    blocks, found = solve_blocks(layout, better, setup, noisier)
    return Sound((told, free, Round(better, blocks, found, noisier)), sensors), lost


def _without_leaks(readings: Sequence[Readings], blocks: Sequence[Block], setup: Setup) -> list[Readings]:
    """The readings freed from far modes, by strength and centre of each magnet's sharpest block."""
    sharpest = {b.magnet.name: b for b in sorted(blocks, key=lambda b: -b.sharpness)}
    out = []
    for r in readings:
        best = sharpest.get(r.passes.magnet) if r.passes.on else None
        out.append(r if best is None else without_far_modes(r, best.lead, best.law.zero, setup))
    return out


def _reasons(magnets: Sequence[Magnet], lost: Sequence[Lost], notes: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Why a magnet has no centre."""
    reasons = {}
    for m in magnets:
        told = [one.reason for one in lost if one.magnet == m.name] + list(notes.get(m.name, []))
        reasons[m.name] = "; ".join(told) or "no scan of this magnet with current; scan it"
    return reasons


def by_plane(f_a: float, f_b: float, turn: float) -> tuple[float, float]:
    """Fundamental that x and y see: the stiffness of the planes as each axis shares them [Hz]."""
    c, s = np.cos(turn) ** 2, np.sin(turn) ** 2
    return float(np.sqrt(c * f_a**2 + s * f_b**2)), float(np.sqrt(s * f_a**2 + c * f_b**2))


def _axis(magnet: Magnet, found: Combined, kept: Remanence | None, setup: Setup) -> Axis:
    unknown = {f"slope_{p}": w.reason for p, w in (("x", found.x), ("y", found.y)) if w.slope is None}
    roll, why = roll_of(found, setup.wire.u_sensor_turn, setup.occasion)
    if why:
        unknown["roll"] = why
    if kept is None:
        unknown["remanence"] = "no background scans common to the magnets of a mode"
    x, y = found.estimate.value[:2]
    return Axis(
        magnet.name,
        "wire",
        magnet.point[2],
        found.estimate,
        float(x + kept.shift.real) if kept is not None else None,
        float(y + kept.shift.imag) if kept is not None else None,
        float(roll.value[0]) if roll is not None else None,
        float(roll.u[0]) if roll is not None else None,
        corrections_of(found),
        tuple(axis_gates(found, measured=setup.transfer.measured)),
        unknown,
        kept.u if kept is not None else None,
        roll,
    )


def _blank(magnet: Magnet, reason: str) -> Axis:
    """A magnet without a centre, and why."""
    units = {"x": "m", "y": "m", "slope_x": "rad", "slope_y": "rad"}
    labels = tuple(Label(f"{magnet.name}.{q}", unit, "wire") for q, unit in units.items())
    empty = Estimate(np.full(4, np.nan), labels, {})
    unknown = dict.fromkeys(("x", "y", "slope_x", "slope_y", "roll", "remanence"), reason)
    gate = Gate("evaluated", False, reason)
    return Axis(magnet.name, "wire", magnet.point[2], empty, None, None, None, None, (), (gate,), unknown)
