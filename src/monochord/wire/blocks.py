"""Blocks: all scans of one magnet in one mode, their background subtracted, fitted by one field law."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Magnet
from monochord.ground.faults import Undetermined
from monochord.wire.background import Background, find_backgrounds, from_currents
from monochord.wire.field_law import Law, fit_law
from monochord.wire.model import ComplexArray
from monochord.wire.readings import BENCH, STATE, FieldScan
from monochord.wire.setup import Setup
from monochord.wire.weights import Weighing

Array = NDArray[np.float64]

#: A scan counts as background when its magnet carries less than this part of the largest current of the magnet.
OFF = 0.01


@dataclass(frozen=True, eq=False, slots=True)
class Block:
    """One magnet under one mode.

    scans       with current, in the order they were read;  current  to which all are scaled [A]
    law         of the field that follows the current;  whole  zero of the law without the background subtracted
    background  what was subtracted, or None;  carry  (2 N, 2 k) change of the law by the background's coefficients
    weighing    how the mode weighs this magnet;  shift  mean shift of the fundamental while it was read [rad/s]
    """

    magnet: Magnet
    mode: int
    scans: tuple[FieldScan, ...]
    current: float
    law: Law
    whole: complex
    background: Background | None
    carry: Array
    weighing: Weighing
    shift: float

    @property
    def name(self) -> str:
        """As a person calls it."""
        return f"{self.magnet.name} in mode {self.mode}"


@dataclass(frozen=True, eq=False, slots=True)
class Lost:
    """A block that could not be evaluated, and why."""

    magnet: str
    mode: int
    reason: str


def powered(currents: Sequence[float], magnets: Sequence[str]) -> list[bool]:
    """Which scans had their magnet on.

    >>> powered([100.0, 0.0, 0.3], ["Q", "Q", "Q"])
    [True, False, False]
    """
    most = {m: max(abs(c) for c, n in zip(currents, magnets, strict=True) if n == m) for m in set(magnets)}
    return [abs(c) > OFF * most[m] for c, m in zip(currents, magnets, strict=True)]


def build_blocks(fields: Sequence[FieldScan], setup: Setup) -> tuple[list[Block], list[Background], list[Lost]]:
    """Blocks of all magnets and modes, with the backgrounds they share."""
    names = [f.tuned.scan.magnet for f in fields]
    on = powered([f.magnet_current for f in fields], names)
    blocks: list[Block] = []
    lost: list[Lost] = []
    found: list[Background] = []
    for mode in sorted({f.tuned.scan.mode for f in fields}):
        here = [(f, name, p) for f, name, p in zip(fields, names, on, strict=True) if f.tuned.scan.mode == mode]
        off: dict[str, list[FieldScan]] = {}
        lit: dict[str, list[FieldScan]] = {}
        for f, name, p in here:
            (lit if p else off).setdefault(name, []).append(f)
        backgrounds = find_backgrounds(mode, off, setup.magnets)
        for name, scans in lit.items():
            magnet = setup.magnets[name]
            background = backgrounds.get(name) or from_currents(scans, magnet, mode)
            try:
                blocks.append(_block(magnet, mode, scans, background, setup))
            except Undetermined as error:
                lost.append(Lost(name, mode, f"mode {mode}: {error.why}"))
            if background is not None and background not in found:
                found.append(background)
    return blocks, found, lost


def _block(magnet: Magnet, mode: int, scans: Sequence[FieldScan], background: Background | None, setup: Setup) -> Block:
    current = max((s.magnet_current for s in scans), key=abs)
    factors = [current / s.magnet_current for s in scans]
    even = [_scaled(s, f) for s, f in zip(scans, factors, strict=True)]
    degree = magnet.order - 1
    bare = fit_law(even, degree)
    law, carry = bare, np.zeros((2 * degree + 2, 0))
    if background is not None:
        pairs = list(zip(scans, factors, strict=True))
        by = [background.by_at(s) for s in scans]
        law = fit_law(
            even,
            degree,
            known=[f * background.at(s) for s, f in pairs],
            known_by={name: [f * b[name] for b, f in zip(by, factors, strict=True)] for name in (*BENCH, *STATE)},
            known_plain=[f * background.plain_at(s) for s, f in pairs],
        )
        carry = -law.gain @ np.concatenate([f * background.design_at(s) for s, f in pairs])
    shift = float(np.mean([s.tuned.shift for s in scans]))
    w = float(np.mean([s.tuned.w for s in scans]))
    weighing = setup.weigh(magnet.name, mode, w, shift)
    return Block(magnet, mode, tuple(scans), current, law, bare.zero, background, carry, weighing, shift)


def _scaled(scan: FieldScan, factor: float) -> FieldScan:
    if factor == 1.0:
        return scan
    by: dict[str, ComplexArray] = {name: factor * v for name, v in scan.by.items()}
    return replace(
        scan,
        value=factor * scan.value,
        sigma=abs(factor) * scan.sigma,
        by=by,
        plain=factor * scan.plain,
    )
