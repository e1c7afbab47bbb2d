"""Corrections that a centre carries, each with its size and how well it is known."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from monochord.campaign.found.axes import Correction
from monochord.ground.estimate import kind_of
from monochord.wire.blocks import Block
from monochord.wire.centre import Combined
from monochord.wire.field_law import zero_of
from monochord.wire.gates import strength_ratio
from monochord.wire.readings import COLUMN

#: Kinds of causes that tell how well a correction is known.
KINDS: Mapping[str, tuple[str, ...]] = {
    "background": ("background",),
    "detuning": ("detuning", "planes"),
    "sensor turn": ("gain",),
    "sag": ("sag",),
    "slope leakage": ("slope leakage",),
}


def corrections_of(found: Combined) -> tuple[Correction, ...]:
    """What was added to the plain reading of the sharpest block, cause by cause [m].

    background        zero with the background subtracted, minus zero without
    detuning          zero after phase and coupling of the planes, minus zero of each sensor's quadrature alone
    sensor turn       minus (zeta_scan - zeta_c) tan(angle), what a single plane would have been off by
    sag               of the wire below its chord, weighted as the modes weigh
    slope leakage     centre by all modes, minus centre by the sharpest alone
    """
    first = found.views[0]
    block, law = first.block, first.block.law
    background = law.zero - block.whole
    detuning = law.zero - zero_of(law.solved[:, COLUMN["plain"]], law.plan.ref, law.plan.scale)
    turned = sensor_turn_effect(block, found.point)
    sag = -float(found.t[1, 1::2] @ np.array([v.sag for v in found.views]))
    value = found.estimate.value
    leak = complex(value[0], value[1]) - found.alone
    return (
        _correction("background", background, found),
        _correction("detuning", detuning, found),
        _correction("sensor turn", turned, found),
        _correction("sag", complex(0.0, sag), found),
        _correction("slope leakage", leak, found),
    )


def _correction(cause: str, size: complex, found: Combined) -> Correction:
    parts = [f.cov for c, f in found.estimate.factors.items() if kind_of(c) in KINDS[cause]]
    u = np.sqrt(np.maximum(np.diag(np.sum(parts, axis=0)), 0.0)) if parts else np.zeros(2)
    return Correction(cause, size.real, size.imag, float(u[0]), float(u[1]))


def sensor_turn_effect(block: Block, centre: complex) -> complex:
    """What the common field law adds to the zeros that each sensor would have shown in its own scan [m].

    A field whose phase is turned by a moves the x zero of a scan at y by (y - y_c) tan a, and the y zero of a scan
    at x by -(x - x_c) tan a.
    """
    tangent = float(np.tan(np.angle(strength_ratio(block))))
    zeta, along_x = block.readings.passes.zeta, block.readings.passes.along_x
    x = -(float(zeta.imag[along_x].mean()) - centre.imag) * tangent if along_x.any() else 0.0
    y = (float(zeta.real[~along_x].mean()) - centre.real) * tangent if not along_x.all() else 0.0
    return complex(x, y)
