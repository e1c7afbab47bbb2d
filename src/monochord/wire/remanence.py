"""Centre of a magnet's whole field: what its own remanence, kept by the beam's view, adds to the centre.

Only the room's field is foreign to a magnet; its remanence belongs to it. Scans without current show both
at once, of all magnets on the wire. What sets them apart:

- how the background changes with position is remanence alone: a gradient for every quadrupole, and for a
  displaced sextupole; modes weigh the magnets differently, which tells them from each other;
- a constant background is the room's field as well as a displaced quadrupole. A uniform field leaves even
  modes alone and goes as 1/n in odd ones; but rooms are not uniform, so PATCH is allowed in every mode.

So each magnet's remanence r (part of its working field) is found well, its displacement only as far as
these priors allow, and the answer comes with its uncertainty. To first order in the displacement q / r,

    B_rem = r lead ((zeta - zeta_c)^(N-1) - (N-1) (zeta - zeta_c)^(N-2) q / r),    shift of the centre = q / (1 + r)

Source: derived; the sizes expected beforehand are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import comb

import numpy as np
from numpy.typing import NDArray

from monochord.ground.string import sag_below_chord
from monochord.wire.background import Background
from monochord.wire.centre import Combined
from monochord.wire.missing import PATCH, REMANENCE, ROOM
from monochord.wire.model import ComplexArray
from monochord.wire.setup import Setup

Array = NDArray[np.float64]

#: How far a magnet's remanence may lie from its axis, one standard deviation [m].
DISPLACED = 250e-6


@dataclass(frozen=True, slots=True)
class Remanence:
    """One magnet's remanence: part of the working field, and what it adds to the centre (x + i y) [m], good to u."""

    part: float
    shift: complex
    u: float


def find_remanence(
    backgrounds: Sequence[Background], found: Mapping[str, Combined], setup: Setup
) -> dict[str, Remanence]:
    """Magnet -> its remanence, for the magnets whose centre is known; empty without common backgrounds.

    backgrounds  the shared ones of all modes
    """
    names = list(found)
    shared = [b for b in backgrounds if b.shared]
    if not names or not shared:
        return {}
    rows, data = zip(*(_mode(b, names, found, setup) for b in shared), strict=True)
    right = np.concatenate(data)
    width, scaled, cov = _system(rows, len(names))
    x = width * (cov @ (scaled.conj().T @ right))
    u = width * np.sqrt(np.diag(cov).real)
    k = len(names)
    return {
        name: Remanence(float(x[1 + j].real), complex(x[1 + k + j] / (1.0 + x[1 + j])), float(u[1 + k + j]))
        for j, name in enumerate(names)
    }


def _system(rows: Sequence[ComplexArray], k: int) -> tuple[Array, ComplexArray, ComplexArray]:
    """Widths of the 1 + 2 k unknowns, the rows in units of them, and the inverse of their normal matrix."""
    width = np.array([ROOM] + [2.0 * REMANENCE] * k + [REMANENCE * DISPLACED] * k)
    scaled = np.concatenate(rows) * width
    return width, scaled, np.linalg.inv(scaled.conj().T @ scaled + np.eye(len(width)))


def remanence_gains(
    backgrounds: Sequence[Background], found: Mapping[str, Combined], setup: Setup
) -> list[tuple[Background, ComplexArray]]:
    """For each shared background, change of the unknowns by its law's coefficients, (1 + 2 k, degree + 1) complex.

    Unknowns are the room's field, then every magnet's remanence, then every remanence times its displacement.
    """
    names, shared = list(found), [b for b in backgrounds if b.shared]
    if not names or not shared:
        return []
    rows = [_mode(b, names, found, setup)[0] for b in shared]
    width, scaled, cov = _system(rows, len(names))
    gain, start, out = width[:, None] * (cov @ scaled.conj().T), 0, []
    for background, own in zip(shared, rows, strict=True):
        size = _size(background)
        out.append((background, gain[:, start : start + len(own)] / size))
        start += len(own)
    return out


def _size(background: Background) -> Array:
    """By how much a law's coefficients (degree + 1,) may be off as a sign of remanence: noise, and what rooms add."""
    law = background.law
    unit = law.plan.scale ** np.arange(law.degree + 1)
    u = np.sqrt(np.diag(law.cov)[0::2]) / unit
    u[0] = np.hypot(u[0], PATCH)
    return np.asarray(u * unit, float)


def _mode(
    background: Background, names: Sequence[str], found: Mapping[str, Combined], setup: Setup
) -> tuple[ComplexArray, ComplexArray]:
    """Whitened rows (degree + 1, 1 + 2 k) and data (degree + 1,): coefficients about the middle of the scans."""
    law, wire, mode, w, shift = background.law, setup.wire, background.mode, background.w, background.shift
    design = np.zeros((law.degree + 1, 1 + 2 * len(names)), complex)
    design[0, 0] = setup.weigh_room(mode, w, shift)
    for j, name in enumerate(names):
        seen = setup.weigh(name, mode, w, shift)
        sag = sag_below_chord(seen.z - wire.z_start, wire.length, setup.f1(shift), wire.gravity)
        one = found[name]
        order = one.views[0].block.magnet.order
        away = law.plan.ref - 1j * sag - complex(*one.estimate.value[:2])
        for k in range(law.degree + 1):
            if k <= order - 1:
                design[k, 1 + j] = one.lead * comb(order - 1, k) * (seen.weight @ away ** (order - 1 - k))
            if k <= order - 2:
                own = comb(order - 2, k) * (seen.weight @ away ** (order - 2 - k))
                design[k, 1 + len(names) + j] = -one.lead * (order - 1) * own
    unit = law.plan.scale ** np.arange(law.degree + 1)
    u = np.sqrt(np.diag(law.cov)[0::2]) / unit
    u[0] = np.hypot(u[0], PATCH)
    return design / u[:, None], np.asarray(law.coefficients / unit / u, complex)
