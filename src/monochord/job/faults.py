"""What stopped a part of a run, told as faults; the rest of the run goes on."""

from __future__ import annotations

from monochord.ground.faults import Fault, MonochordError, Refused

#: Faults that did not stop the run, in the order in which they came up.
Notes = list[Fault]


def as_faults(error: MonochordError, where: str, what: str) -> list[Fault]:
    """The error's own faults, or one that says what could not be found where."""
    if isinstance(error, Refused):
        return list(error.faults)
    return [Fault(f"{where}: {error}", f"readings that determine {what}", "measure what is named, then run again")]
