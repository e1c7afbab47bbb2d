"""The demo laboratory's own tables: from nouns to the text that such a laboratory would hand over. Invented data.

Its habits: tab-separated, a remark line, then the column heads; axes x to the right, y along the beam, z up;
millimetres and micrometres, clockwise circles and elevations in degrees, amplitude and phase in place of two
quadratures, drive currents as effective values, multipole coefficients in place of derivatives. Pure text: who
calls it writes the files.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import factorial, sqrt

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Bolt, Girder, Item, Magnet, Target
from monochord.campaign.given.occasion import FootFinding, RideSample, TemperatureReading, Turn
from monochord.campaign.given.survey import Sighting
from monochord.campaign.given.wire import Sweep, WireEnd, WireScan

Complex = NDArray[np.complex128]

REMARK = "# invented data of a fictional bench"
#: Contact states in this laboratory's words.
FELT = {"loose": "free", "touching": "just on", "tight": "firm", "held": "clamped"}
#: Girder axis -> this laboratory's letter and sign.
_LETTERS = {"x": ("x", -1.0), "y": ("z", 1.0), "z": ("y", 1.0)}


def table(heads: str, rows: Iterable[Sequence[str]]) -> str:
    r"""A table's text: remark, heads (written here with blanks between), rows.

    >>> table("a b", [("1", "2")]).splitlines()[1:]
    ['a\tb', '1\t2']
    """
    lines = ["\t".join(row) for row in rows]
    return "\n".join([REMARK, "\t".join(heads.split()), *lines]) + "\n"


def _place(point: tuple[float, float, float]) -> tuple[str, str, str]:
    x, y, z = point
    return f"{-x * 1e3 + 0.0:.2f}", f"{z * 1e3:.2f}", f"{y * 1e3:.2f}"


def elements(girder: Girder, full_current: float) -> str:
    """Magnets and other items, with coefficients derivative / (N-1)! at full current.

    The coefficients are those of the vertical field along the laboratory's own x, which runs to the right: with
    x turned round, the field of a quadrupole or an octupole along it changes sign, that of a sextupole does not.
    """
    rows = [(i.name, i.kind, *_place(i.point), f"{i.length * 1e3:.1f}", *_strength(i, full_current), f"{i.mass:.0f}")
            for i in girder.items]  # fmt: skip
    return table("element kind x_mm y_mm z_mm length_mm coefficient per mass_kg", rows)


def _strength(item: Item, full_current: float) -> tuple[str, str]:
    if not isinstance(item, Magnet):
        return "", ""
    n = item.order
    unit = {1: "T", 2: "T/m"}.get(n, f"T/m{n - 1}")
    return f"{(-1.0) ** (n - 1) * item.derivative * full_current / factorial(n - 1):.6g}", unit


def points(targets: Sequence[Target]) -> str:
    """Targets with nominal places; those on walls are not listed."""
    rows = [(t.name, t.carrier, *_place(t.nominal)) for t in targets if t.carrier != "wall" and t.nominal is not None]
    return table("point sits_on x_mm y_mm z_mm", rows)


def bolts(listed: Sequence[Bolt]) -> str:
    """Bolts with the axis along which a positive turn pushes the girder."""
    rows = [
        (b.name, _pushes(b), *_place(b.point), f"{b.thread_pitch * 1e3:.3f}",
         "" if b.travel is None else f"{b.travel * 1e3:.1f}", "yes" if b.one_sided else "no")
        for b in listed
    ]  # fmt: skip
    return table("bolt pushes x_mm y_mm z_mm thread_mm travel_mm can_lift_off", rows)


def _pushes(bolt: Bolt) -> str:
    place = max(range(3), key=lambda k: abs(bolt.direction[k]))
    letter, sign = _LETTERS["xyz"[place]]
    return letter if sign * bolt.direction[place] > 0.0 else f"-{letter}"


def wire_ends(ends: Sequence[WireEnd]) -> str:
    """Nests at the wire's ends: vector from nest to wire, and where along the beam."""
    rows = [(e.nest, *_vector(e.to_wire), f"{e.z * 1e3:.1f}") for e in ends]
    return table("nest dx_mm dy_mm dz_mm along_mm", rows)


def _vector(v: tuple[float, float, float]) -> tuple[str, str, str]:
    return f"{-v[0] * 1e3 + 0.0:.3f}", f"{v[2] * 1e3:.3f}", f"{v[1] * 1e3:.3f}"


def scans(listed: Sequence[WireScan], day: str, start: float) -> str:
    """Wire scans, one row a reading.

    day  as this laboratory writes it, such as "04.05.2031";  start  of the first reading, seconds since midnight
    """
    rows: list[tuple[str, ...]] = []
    for s in listed:
        fixed = (
            s.name,
            s.magnet,
            _LETTERS[s.moved][0],
            f"{s.magnet_current:.2f}",
            str(s.mode),
            f"{s.drive_frequency:.3f}",
        )
        drive = f"{s.drive_current / sqrt(2.0) * 1e3:.4f}"
        signals = zip(_phasors(-s.x), _phasors(s.y), strict=True)
        for x, y, (in_x, in_z), t in zip(s.stage_x, s.stage_y, signals, s.times, strict=True):
            stage = (f"{-x * 1e6 + 0.0:.1f}", f"{y * 1e6:.1f}")
            rows.append((*fixed, drive, *stage, *in_x, *in_z, clock(day, start + float(t))))
    heads = "run element moved I_A order f_Hz drive_mA_eff stage_x_um stage_z_um ax_um px_deg az_um pz_deg clock"
    return table(heads, rows)


def _phasors(values: Complex) -> list[tuple[str, str]]:
    sizes, angles = np.abs(values) * 1e6, np.angle(values, deg=True)
    return [(f"{a:.5f}", f"{p:.3f}") for a, p in zip(sizes, angles, strict=True)]


def sweeps(listed: Sequence[Sweep]) -> str:
    """Frequency sweeps, one row a reading."""
    rows = [
        (str(s.mode), f"{f:.4f}", f"{s.drive_current / sqrt(2.0) * 1e3:.4f}", *x, *z)
        for s in listed
        for f, x, z in zip(s.frequencies, _phasors(-s.x), _phasors(s.y), strict=True)
    ]
    return table("order f_Hz drive_mA_eff ax_um px_deg az_um pz_deg", rows)


def sightings(listed: Sequence[Sighting]) -> str:
    """Tracker sightings: clockwise circle, elevation, slope distance; an empty cell where one was not read."""
    rows = [
        (s.station, s.target, str(s.round), _degrees(s.direction, -1.0, 0.0), _degrees(s.zenith, -1.0, 90.0),
         "" if s.distance is None else f"{s.distance * 1e3:.4f}")
        for s in listed
    ]  # fmt: skip
    return table("station point round circle_deg elevation_deg distance_mm", rows)


def _degrees(angle: float | None, sign: float, zero: float) -> str:
    if angle is None:
        return ""
    turned = zero + sign * float(np.degrees(angle))
    return f"{turned % 360.0 if zero == 0.0 else turned:.7f}"


def feet(listed: Sequence[FootFinding]) -> str:
    """What the crew felt at the feet, and the load washers."""
    rows = [
        (f.bolt, "" if f.state is None else FELT[f.state], "" if f.load is None else f"{f.load * 1e-3:.1f}")
        for f in listed
    ]
    return table("bolt felt washer_kN", rows)


def temperatures(listed: Sequence[TemperatureReading]) -> str:
    """Contact sensors on the girder."""
    return table("sensor x_mm y_mm z_mm t_degC", [(t.sensor, *_place(t.point), f"{t.value:.3f}") for t in listed])


def turns(listed: Sequence[Turn]) -> str:
    """Turns made at the bolts, positive along the bolt's axis."""
    return table("bolt turned", [(t.bolt, f"{t.turns + 0.0:+.4f}") for t in listed])


def logger(listed: Sequence[RideSample], day: str, start: float) -> str:
    """The ride logger: largest acceleration per axis in each window, in g of 9.80665 m/s2."""
    g = 9.80665
    rows = [
        (clock(day, start + s.time), f"{-s.acceleration[0] / g:.3f}", f"{s.acceleration[2] / g:.3f}",
         f"{s.acceleration[1] / g:.3f}", "" if s.temperature is None else f"{s.temperature:.2f}")
        for s in listed
    ]  # fmt: skip
    return table("clock right_g ahead_g up_g t_degC", rows)


def clock(day: str, seconds: float) -> str:
    """A time of day in whole seconds.

    >>> clock("04.05.2031", 31262.0)
    '04.05.2031 08:41:02'
    """
    whole = round(seconds)
    return f"{day} {whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}"
