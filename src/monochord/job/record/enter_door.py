"""What the doors ask when people enter something."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from monochord.ground.faults import Fault, Refused
from monochord.job.context import real_context
from monochord.job.record.door import hand
from monochord.job.record.enter import enter_list, enter_one, entered_lines
from monochord.store.ledger import head
from monochord.store.making import opened


def entered(address: str, path: Path, kind: str, by: str) -> Iterator[str]:
    """Enter a list, and say what came."""
    with opened(address) as record:
        found = enter_list(record, path, kind, real_context(), hand(by))
        last = head(record)
    yield from entered_lines(found, str(path), *last)


def stated(address: str, kind: str, pairs: Sequence[str], *, about: str, by: str, seen: int | None) -> Iterator[str]:
    """Enter one statement given as KEY=VALUE, and say what came."""
    with opened(address) as record:
        found = enter_one(record, kind, cells_of(pairs), real_context(), hand(by), subject=about, seen=seen)
        last = head(record)
    yield from entered_lines(found, kind, *last)


def cells_of(pairs: Sequence[str]) -> dict[str, str]:
    """Keys and their values from texts such as KEY=VALUE; Refused for another text and a key that comes twice."""
    cells: dict[str, str] = {}
    for key, value in map(_pair, pairs):
        if key in cells:
            raise Refused([Fault(f"{key} twice", "every key once", "leave one of them out", column=key)])
        cells[key] = value
    return cells


def _pair(text: str) -> tuple[str, str]:
    key, sign, value = text.partition("=")
    if not sign or not key.strip():
        raise Refused([Fault(repr(text), "KEY=VALUE, such as done_on=2031-06-01", "write it so")])
    return key.strip(), value.strip()
