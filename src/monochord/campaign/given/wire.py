"""The taut wire, its bench, and what was measured with it.

Displacements are complex: amplitude (peak, metres) in the time convention exp(+i w t), phase counted
from the drive current. Positive displacement is positive x or y of the girder frame.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.ground.faults import Fault

Array = NDArray[np.float64]
Phasors = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class WireEnd:
    """One end of the wire: the surveyed nest and the calibrated vector from it to the wire.

    to_wire  (x, y, z) [m], girder frame, good to u_to_wire per axis, the same on all occasions;  z  [m] nominal z
    """

    nest: str
    to_wire: tuple[float, float, float]
    u_to_wire: float
    z: float


@dataclass(frozen=True, slots=True)
class Wire:
    """The wire and its bench.

    z_start, length         upstream support and distance between supports [m], girder frame
    mass_per_length         [kg/m];  gravity  [m/s2]
    sensor_x_z, sensor_y_z  z of the two displacement sensors [m], girder frame
    u_sensor_turn           prior of the turn of the sensor pair about the wire [rad], infinity when nobody checked
    u_stringing             one fresh stringing against another, per magnet [m], one standard deviation
    u_stage_turn            prior of the turn of the stages about z [rad]; u_stage_scale  relative scale of the stages
    u_gain                  relative uncertainty of a sensor's gain
    ends                    upstream end first; () when nests are not surveyed
    """

    z_start: float
    length: float
    mass_per_length: float
    gravity: float
    sensor_x_z: float
    sensor_y_z: float
    u_sensor_turn: float
    u_stringing: float
    u_stage_turn: float
    u_stage_scale: float
    u_gain: float
    ends: tuple[WireEnd, ...] = ()


@dataclass(frozen=True, eq=False, slots=True)
class WireScan:
    """One pass of the wire across one magnet in one mode.

    name            as in the file;  magnet  its name;  moved  "x" or "y", the axis along which the stages moved
    magnet_current  [A], 0 for background;  mode  n;  drive_frequency  [Hz];  drive_current  peak [A]
    stage_x, stage_y  (n,) [m], both ends moved alike;  x, y  (n,) complex displacement at the sensors [m], peak
    times           (n,) seconds from the first reading of the occasion, NaN when not told
    file, rows      where the readings stand (1-based lines, or block numbers of a container)
    notes           what of its raw signals was left out, and why
    """

    name: str
    magnet: str
    moved: str
    magnet_current: float
    mode: int
    drive_frequency: float
    drive_current: float
    stage_x: Array
    stage_y: Array
    x: Phasors
    y: Phasors
    times: Array
    file: str
    rows: tuple[int, ...]
    notes: tuple[Fault, ...] = ()


@dataclass(frozen=True, eq=False, slots=True)
class Sweep:
    """Displacement against drive frequency in one mode, the wire held still off centre.

    frequencies  (n,) [Hz];  x, y  (n,) complex displacement at the sensors [m], peak
    drive_current  peak [A], NaN when not told (the resonance does not need it);  notes  as of a scan
    """

    name: str
    mode: int
    frequencies: Array
    x: Phasors
    y: Phasors
    drive_current: float
    file: str
    rows: tuple[int, ...]
    notes: tuple[Fault, ...] = ()


@dataclass(frozen=True, eq=False, slots=True)
class Waveform:
    """Raw signals of one wire position, read when asked for.

    read           gives (samples, channels) in volts;  sample_rate  [Hz]
    reference, x, y   channel numbers;  reference_scale  [V/A];  x_scale, y_scale  [V/m], with sign
    frequency      what the generator was set to [Hz]; it may have drifted
    chunks         given a number of samples, the same record in successive pieces of at most so many, for records
                   that do not fit into memory; None when the source gives only the whole
    """

    read: Callable[[], Array]
    sample_rate: float
    reference: int
    x: int
    y: int
    reference_scale: float
    x_scale: float
    y_scale: float
    frequency: float
    chunks: Callable[[int], Iterable[Array]] | None = None


@dataclass(frozen=True, eq=False, slots=True)
class RawScan:
    """A wire scan whose readings are still waveforms; fields as in :class:`WireScan`."""

    name: str
    magnet: str
    moved: str
    magnet_current: float
    mode: int
    stage_x: Array
    stage_y: Array
    times: Array
    waveforms: tuple[Waveform, ...]
    file: str
    rows: tuple[int, ...]


@dataclass(frozen=True, eq=False, slots=True)
class RawSweep:
    """A frequency sweep whose readings are still waveforms; fields as in :class:`Sweep`."""

    name: str
    mode: int
    waveforms: tuple[Waveform, ...]
    file: str
    rows: tuple[int, ...]
