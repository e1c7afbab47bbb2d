"""What a lab description converts in a whole table: axes, senses of circles, peak and rms, the time convention."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from monochord.campaign.given.imports import Import
from monochord.campaign.given.wire import RawScan, RawSweep
from monochord.files.lab import Lab

_SIDES = {"x": ("left", "right"), "y": ("up", "down"), "z": ("along beam", "against beam")}

#: Roles whose places or directions stand in the laboratory's axes.
_PLACED = ("magnets", "targets", "bolts", "wire_ends", "temperatures", "wire_scans", "wire_sweeps", "ride", "waveforms")


def of_lab(role: str, lab: Lab) -> tuple[str, ...]:
    """Conversions of a role that the description orders for all its rows, in words; none where ours are used."""
    made = _axes(lab) if role in _PLACED else []
    angles, signals = lab.root.node("angles"), lab.root.node("signals")
    if role == "sightings":
        if angles.text("horizontal") == "clockwise":
            made.append("horizontal circle: clockwise to counter-clockwise")
        if angles.text("vertical") == "elevation":
            made.append("vertical circle: elevation to zenith angle")
    if role in ("wire_scans", "wire_sweeps"):
        for what in ("displacements", "currents"):
            if signals.text(what) == "rms":
                made.append(f"{what}: rms to peak, factor 1.41421356")
        if signals.text("time_factor") == "exp(-iwt)":
            made.append("phases: exp(-iwt) to exp(+iwt)")
    return tuple(made)


def _axes(lab: Lab) -> list[str]:
    made = []
    for letter in "xyz":
        house, sign = lab.axes.house(letter)
        if (house, sign) != (letter, 1.0):
            made.append(f"axis {letter} ({_SIDES[house][sign < 0.0]}) to {'-' if sign < 0.0 else ''}{house}")
    return made


def told_of(told: Import | None, lab: Lab) -> list[Import]:
    """The import report of a table with what the description converts in all its rows; none without a report."""
    return [] if told is None else [replace(told, conversions=(*of_lab(told.role, lab), *told.conversions))]


def of_waveforms(name: str, lab: Lab, scans: Iterable[RawScan], sweeps: Iterable[RawSweep]) -> Import:
    """The import report of a container: its rows are blocks of samples."""
    both: list[RawScan | RawSweep] = [*scans, *sweeps]
    blocks = sum(len(s.waveforms) for s in both)
    read = tuple(s.name for s in both)
    kind = lab.root.node("waveforms").text("format", "hdf5")
    made = ("samples to volts", *of_lab("waveforms", lab))
    return Import(name, "waveforms", blocks, blocks, encoding=kind, conversions=made, read=read)
