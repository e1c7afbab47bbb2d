"""Waveforms as a format hands them over: what is inside, and one block at a time."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from monochord.ground.faults import Fault

Value = str | float | list[str] | list[float]


@dataclass(frozen=True, slots=True)
class Block:
    """One block of samples: name, shape, attributes, and its 1-based row where a table put it in order, else 0."""

    name: str
    shape: tuple[int, ...]
    attributes: Mapping[str, Value]
    row: int = 0


@dataclass(frozen=True, slots=True)
class Group:
    """One group: name, attributes, and its blocks in natural order of their names."""

    name: str
    attributes: Mapping[str, Value]
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Contents:
    """What a container holds; links names what was not followed."""

    attributes: Mapping[str, Value]
    groups: tuple[Group, ...]
    links: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Signals:
    """An opened waveform file.

    read   (group, block) -> samples as stored, in two dimensions;  notes  what was found on the way
    """

    contents: Contents
    read: Callable[[str, str], NDArray[np.generic]]
    notes: tuple[Fault, ...] = field(default=())
