"""Gates: checks that a person would make before believing a centre, each with a sentence and a remedy."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.axes import Gate
from monochord.campaign.given.wire import WireScan
from monochord.wire.blocks import Block, Lost
from monochord.wire.centre import Combined
from monochord.wire.scale_mixups import scale_mixups
from monochord.wire.slope import SLOPE

Array = NDArray[np.float64]

#: Beyond this turn of the phase a scan is refused [rad]; so is a block whose scans differ by more than the second.
STEEPEST, APART = np.radians(45.0), np.radians(20.0)
_SIDE = 3
_LAW = 2.0
_BLIND = 0.35
#: How many times better a mirrored field must fit, and how far beyond noise the field as it stands must miss.
_MIXED = 10.0
_STRENGTH = 0.1
_UM = 1e6


def refused(blocks: Sequence[Block]) -> list[Lost]:
    """The blocks that must not be used, and why: phase too far off, scans that disagree, planes mixed up.

    A mix-up that shows in one mode concerns all modes of the magnet, also those that are too blind to show it.
    """
    mixed = {b.magnet.name: why for b in blocks if (why := mixed_up(b)) is not None}
    reasons = [(b, mixed.get(b.magnet.name) or out_of_phase(b)) for b in blocks]
    return [Lost(b.magnet.name, b.mode, f"mode {b.mode}: {why}") for b, why in reasons if why is not None]


def out_of_phase(block: Block) -> str | None:
    """Whether a block was scanned too far from resonance, or its scans disagree about where that was."""
    phases = block.readings.tuned.phase
    worst = float(np.abs(phases).max())
    if worst > STEEPEST:
        return (
            f"the signal's phase is turned by {np.degrees(worst):.0f} deg, more than 45; the wire was not near its "
            "resonance; find the resonance again, then repeat the scan"
        )
    if np.ptp(phases) > APART:
        return (
            f"the scans' phases differ by {np.degrees(np.ptp(phases)):.0f} deg; the wire drifted between them; "
            "let it settle, then repeat them"
        )
    return None


def mixed_up(block: Block) -> str | None:
    """Whether the planes are exchanged or one is upside down: then conj(B), not B, is analytic in zeta."""
    square, lead = block.law.mirror
    blind = abs(block.weighing.offset) < _BLIND * block.magnet.length
    if blind or block.law.square < _MIXED * max(block.law.dof, 1, square):
        return None
    skew = abs(lead.imag) > abs(lead.real)
    what = "x and y appear exchanged, in the sensors or in the stages" if skew else "one plane appears upside down"
    return f"{what}; check channels and signs by moving the wire by hand, mend the lab description"


def axis_gates(found: Combined, *, measured: bool) -> list[Gate]:
    """All gates of one magnet whose centre was found; measured  whether sweeps told the damping, and so strengths."""
    blocks = [v.block for v in found.views]
    first = blocks[0]
    centre = found.point
    gates = [*_points(first, centre), _phase(blocks), *(_law(b) for b in blocks), _sight(first)]
    gates += [_strength(blocks)] if measured else []
    gates += [_background(b) for b in blocks]
    gates += [g for b in blocks if (g := _forth_and_back(b)) is not None]
    agree = _agreement(found)
    return gates if agree is None else [*gates, agree]


def _points(block: Block, centre: complex) -> list[Gate]:
    """Readings on both sides of the zero, in both planes."""
    gates = []
    for axis in ("x", "y"):
        passes = block.readings.passes
        zeta = passes.zeta[passes.along_x == (axis == "x")]
        if not len(zeta):
            message = f"the wire was not moved along {axis}; {axis} rests on the other plane's sensor: scan it too"
            gates.append(Gate(f"scanned in {axis}", False, message))
            continue
        place = zeta.real if axis == "x" else zeta.imag
        zero = centre.real if axis == "x" else centre.imag
        low, high = int((place < zero).sum()), int((place > zero).sum())
        ok = min(low, high) >= _SIDE
        words = f"{low} readings below and {high} above the zero in {axis}"
        gates.append(Gate(f"scanned in {axis}", ok, words if ok else f"{words}; scan evenly about the zero"))
    return gates


def _phase(blocks: Sequence[Block]) -> Gate:
    worst = max((float(phase) for b in blocks for phase in b.readings.tuned.phase), key=abs)
    words = f"phase turned by up to {np.degrees(worst):.1f} deg, taken into account"
    ok = abs(worst) < 0.8 * STEEPEST
    return Gate("near resonance", ok, words if ok else f"{words}; find the resonance again before the next scan")


def _law(block: Block) -> Gate:
    factor = block.law.square / max(block.law.dof, 1)
    words = f"mode {block.mode}: residuals are {np.sqrt(factor):.2f} times the noise"
    ok = factor < _LAW
    return Gate("field law", ok, words if ok else f"{words}; look at the scan's residuals: drift, saturation or a jump")


def _sight(block: Block) -> Gate:
    part = abs(block.weighing.offset) / block.magnet.length
    leak = block.weighing.slope / block.weighing.offset * 1e3
    words = f"mode {block.mode} sees {100 * part:.0f} % of the magnet, and {leak:.1f} um of offset per mrad of slope"
    ok = part > _BLIND
    return Gate("mode sees the magnet", ok, words if ok else f"{words}; use a mode with its belly at this magnet")


def _background(block: Block) -> Gate:
    if block.background is None:
        words = f"mode {block.mode}: no scan with the magnet off, nor at a second current; measure the background"
        return Gate("background", False, words)
    how = "all background scans of the mode" if block.background.shared else f"{block.background.scope}"
    size = abs(block.law.zero - block.whole) * _UM
    return Gate("background", True, f"mode {block.mode}: subtracted, from {how}; it moved the zero by {size:.2f} um")


def _strength(blocks: Sequence[Block]) -> Gate:
    """Size and sense of the strength against the plan, and of the modes against each other."""
    ratio = strength_ratio(blocks[0])
    words = f"strength {100 * abs(ratio):.1f} % of the plan, turned by {np.degrees(np.angle(ratio)):.2f} deg as the sensors see it"
    ok = abs(abs(ratio) - 1.0) < _STRENGTH
    named = scale_mixups(abs(ratio), blocks[0].magnet.order)
    told = f"; as it would be with {' or '.join(named)}" if named else ""
    remedy = f"{told}; check the magnet's current, the drive current and the linear density"
    return Gate("strength", ok, words if ok else words + remedy)


def strength_ratio(block: Block) -> complex:
    """Found over planned leading coefficient; its angle is sensor turn minus N times the roll."""
    order = block.magnet.order
    lead, _ = block.law.about(block.law.zero, order - 1)
    plan = block.magnet.derivative * block.current * block.weighing.offset
    for i in range(2, order):
        plan /= i
    return lead / plan if plan != 0.0 else complex("nan")


def _forth_and_back(block: Block) -> Gate | None:
    """Zero on the way forth against the way back; None when the wire went one way only."""
    law, passes = block.law, block.readings.passes
    ways = [(s.moved, _way(s)) for s in passes.scans]
    if not any((axis, -way) in ways for axis, way in ways if way != 0.0):
        return None
    way = np.array([w for _, w in ways])[passes.scan]
    k = np.arange(1, law.degree + 1)
    slope = law.plan.powers(passes.zeta)[:, :-1] @ (k * law.coefficients[1:]) / law.plan.scale
    free = law.free_part(-0.5 * way * np.where(passes.along_x, 1.0, 1j) * slope)
    size = float(free @ free)
    if size == 0.0:
        return None
    apart, u = float(free @ law.residual) / size, 1.0 / np.sqrt(size)
    ok = abs(apart) < 4.0 * u + 0.3e-6
    words = f"mode {block.mode}: zero forth minus back {apart * _UM:+.2f} um (u {u * _UM:.2f} um)"
    return Gate("forth and back", ok, words if ok else f"{words}; something drifts: repeat the scan")


def _way(scan: WireScan) -> float:
    """+1 for a scan towards larger stage positions, -1 for one back."""
    along = scan.stage_x if scan.moved == "x" else scan.stage_y
    return float(np.sign(along[-1] - along[0]))


def _agreement(found: Combined) -> Gate | None:
    """Whether the modes can be one magnet: with a slope as magnets have, and one strength."""
    if len(found.views) < 2:
        return None
    modes = " and ".join(str(v.block.mode) for v in found.views)
    s = np.array([v.block.weighing.offset for v in found.views])
    c = np.array([v.block.weighing.slope for v in found.views])
    square = 0.0
    for i, pick in ((0, np.real), (1, np.imag)):
        d = np.array([float(pick(v.d)) for v in found.views])
        cov = np.diag([v.cov[i, i] for v in found.views]) + SLOPE**2 * np.outer(c, c)
        away = d - s * float(pick(found.alone - found.point))
        white = np.linalg.inv(cov)
        best = float(s @ white @ away) / float(s @ white @ s)
        rest = away - s * best
        square = max(square, float(rest @ white @ rest) / (len(d) - 1))
    ok = square < 9.0
    words = (
        f"modes {modes} differ by {np.sqrt(square):.1f} times what noise and a slope of {SLOPE * _UM:.0f} urad allow"
    )
    return Gate("modes agree", ok, words if ok else f"{words}; are other magnets on, or is the slope larger?")
