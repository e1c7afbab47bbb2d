"""Where a result comes from: the files that were read, the settings, and the code that ran."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Source:
    """One input file: path inside the campaign and sha256 of its bytes."""

    path: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Origin:
    """Origin of one result.

    made_by   program and version;  made_at  UTC time, ISO 8601, from the caller's clock
    run       id from the caller's id maker;  inputs  files read;  settings  name -> value in words
    versions  of what computed it: library -> version or kind, {} when nobody told
    """

    made_by: str
    made_at: str
    run: str
    inputs: tuple[Source, ...] = ()
    settings: Mapping[str, str] = field(default_factory=dict)
    versions: Mapping[str, str] = field(default_factory=dict)
