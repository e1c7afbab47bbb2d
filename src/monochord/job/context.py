"""What the outside gives to a run: the clock, the id maker and the voice for progress."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from monochord import __version__
from monochord.job.machine import versions


def _silent(_: str) -> None:
    """Say nothing."""


@dataclass(frozen=True, slots=True)
class Context:
    """Clock, ids and progress of one run; tests hand in their own.

    now     gives the UTC time;  new_id  gives an id never used before;  say  takes one line of progress
    made_by  program and version;  versions  tells what computes here
    """

    now: Callable[[], datetime]
    new_id: Callable[[], str]
    say: Callable[[str], None] = _silent
    made_by: str = f"monochord {__version__}"
    versions: Callable[[], Mapping[str, str]] = dict


def real_context(say: Callable[[str], None] = _silent) -> Context:
    """The context of a real run: the machine's clock, random ids."""
    return Context(now=lambda: datetime.now(UTC), new_id=lambda: uuid.uuid4().hex, say=say, versions=versions)
