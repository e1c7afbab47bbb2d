"""Scans and resonances as curves that a page can show."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monochord.campaign.found.result import Curve
from monochord.wire.blocks import Block
from monochord.wire.resonance import SweepFit

#: Points of a fitted curve, and the most readings of one curve: more cannot be told apart on a page.
_FIT, _MOST = 41, 400


def scan_curves(block: Block) -> list[Curve]:
    """One curve for each axis along which the wire was moved: the field that the moved plane saw, background removed."""
    curves = []
    for axis in ("x", "y"):
        here = block.readings.passes.along_x == (axis == "x")
        if not here.any():
            continue
        zeta = block.readings.passes.zeta[here]
        fit, scaled = block.law.at(zeta)[:, 0], block.current / block.readings.passes.current[here]
        less = block.background.law.at(zeta)[:, 0] if block.background else 0.0
        value = scaled * (block.readings.value[here] - less)
        along, across = (zeta.real, zeta.imag.mean()) if axis == "x" else (zeta.imag, zeta.real.mean())
        grid = np.linspace(along.min(), along.max(), _FIT)
        line = grid + 1j * across if axis == "x" else across + 1j * grid
        smooth = block.law.at(line)[:, 0]
        # the plane that shows the magnet's zero along a line: By along x; along y the part that is odd like Bx for a
        # quadrupole, and By's parabola for a sextupole
        pick = np.real if axis == "x" or block.magnet.order % 2 else np.imag
        part = "By" if pick is np.real else "Bx"
        keep = slice(None, None, max(1, -(-len(along) // _MOST)))
        curves.append(
            Curve(
                f"{block.name}, moved along {axis}",
                f"stages {axis} [um]",
                f"{part} along the wire [uT m]",
                along[keep] * 1e6,
                pick(value)[keep] * 1e6,
                grid * 1e6,
                pick(smooth) * 1e6,
                (pick(value) - pick(fit))[keep] * 1e6,
            )
        )
    return curves


def resonance_curves(fit: SweepFit) -> list[Curve]:
    """Amplitude against drive frequency, both sensors of every sweep."""
    curves = []
    for sweep, fitted in fit.fitted:
        finite = np.isfinite(sweep.x) & np.isfinite(sweep.y) & np.isfinite(sweep.frequencies)
        keep = slice(None, None, max(1, -(-int(finite.sum()) // _MOST)))
        f = sweep.frequencies[finite][keep]
        for name, reading, model in (("x", sweep.x[finite], fitted[0]), ("y", sweep.y[finite], fitted[1])):
            size, modelled = np.abs(reading[keep]) * 1e6, np.abs(model[keep]) * 1e6
            curves.append(
                Curve(
                    f"mode {sweep.mode}, {name} sensor",
                    "drive [Hz]",
                    "amplitude [um]",
                    f,
                    size,
                    f,
                    modelled,
                    size - modelled,
                )
            )
    return curves


def all_curves(blocks: Sequence[Block]) -> tuple[Curve, ...]:
    """Curves of all blocks, magnet by magnet."""
    return tuple(curve for block in blocks for curve in scan_curves(block))
