"""Passes: all scans of one magnet in one mode and one state of its current, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.wire import WireScan
from monochord.wire.model import ComplexArray

Array = NDArray[np.float64]

#: A scan counts as background when its magnet carries less than this part of the largest current of the magnet.
OFF = 0.01
#: How long a scan takes when nobody told its times [s].
_SCAN = 100.0


@dataclass(frozen=True, eq=False, slots=True)
class Passes:
    """Scans of one magnet, one mode, one state; n readings of them all, scan after scan.

    scan      (n,) place of each reading's scan in ``scans``;  zeta  (n,) stages x + i y [m]
    raw       (2, n) readings of the two sensors [m];  along_x  (n,) whether the stages moved along x
    w         (n,) drive [rad/s];  drive  (n,) its current, peak [A];  current  (n,) of the magnet [A]
    moments   (k,) when each scan was read, its mean [s]
    time      (n,) when each reading was taken [s]
    """

    magnet: str
    mode: int
    on: bool
    scans: tuple[WireScan, ...]
    scan: NDArray[np.int64]
    zeta: ComplexArray
    raw: ComplexArray
    along_x: NDArray[np.bool_]
    w: Array
    drive: Array
    current: Array
    moments: Array
    time: Array

    def without_low(self, values: Array, degree: int) -> Array:
        """Values (2, n) less their best polynomial of this degree in the position, scan by scan."""
        out = values.copy()
        for i in range(len(self.scans)):
            here = self.scan == i
            place = np.where(self.along_x[here], self.zeta[here].real, self.zeta[here].imag)
            span = float(np.ptp(place)) or 1.0
            base, _ = np.linalg.qr(((place - place.mean()) / span)[:, None] ** np.arange(degree + 1))
            out[:, here] -= (values[:, here] @ base) @ base.T
        return out

    def per_scan(self, values: Array) -> Array:
        """Sum of values (n,) over each scan, (k,)."""
        return np.asarray(np.bincount(self.scan, values, len(self.scans)), float)


def powered(currents: Sequence[float], magnets: Sequence[str]) -> list[bool]:
    """Which scans had their magnet on.

    >>> powered([100.0, 0.0, 0.3], ["Q", "Q", "Q"])
    [True, False, False]
    """
    most = {m: max(abs(c) for c, n in zip(currents, magnets, strict=True) if n == m) for m in set(magnets)}
    return [abs(c) > OFF * most[m] for c, m in zip(currents, magnets, strict=True)]


def group_scans(scans: Sequence[WireScan]) -> list[Passes]:
    """All scans sorted into passes, in the order of mode and first appearance."""
    on = powered([s.magnet_current for s in scans], [s.magnet for s in scans])
    times = _times(scans)
    groups: dict[tuple[int, str, bool], list[int]] = {}
    for i, (scan, state) in enumerate(zip(scans, on, strict=True)):
        groups.setdefault((scan.mode, scan.magnet, state), []).append(i)
    return [
        _side_by_side(key, [scans[i] for i in places], [times[i] for i in places])
        for key, places in sorted(groups.items(), key=lambda item: item[0][0])
    ]


def _side_by_side(key: tuple[int, str, bool], scans: Sequence[WireScan], times: Sequence[Array]) -> Passes:
    mode, magnet, on = key
    sizes = [len(s.x) for s in scans]
    scan = np.repeat(np.arange(len(scans)), sizes)

    def spread(values: Sequence[float]) -> Array:
        return np.repeat(np.array(values, float), sizes)

    return Passes(
        magnet,
        mode,
        on,
        tuple(scans),
        scan,
        np.concatenate([s.stage_x for s in scans]) + 1j * np.concatenate([s.stage_y for s in scans]),
        np.stack([np.concatenate([s.x for s in scans]), np.concatenate([s.y for s in scans])]),
        np.repeat([s.moved == "x" for s in scans], sizes),
        2.0 * np.pi * spread([s.drive_frequency for s in scans]),
        spread([s.drive_current for s in scans]),
        spread([s.magnet_current for s in scans]),
        np.array([float(t.mean()) for t in times]),
        np.concatenate(times),
    )


def _times(scans: Sequence[WireScan]) -> list[Array]:
    """Times of the readings of each scan [s]; when some are not told, every scan takes _SCAN seconds in its turn."""
    if all(len(s.times) == len(s.x) and bool(np.isfinite(s.times).all()) for s in scans):
        return [s.times for s in scans]
    return [_SCAN * (i + (np.arange(len(s.x)) + 0.5) / len(s.x)) for i, s in enumerate(scans)]
