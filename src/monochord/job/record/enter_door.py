"""What the doors ask when people enter something."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from monochord.ground.faults import Fault, Refused
from monochord.job.context import real_context
from monochord.job.record.door import hand
from monochord.job.record.enter import enter_list, enter_one, entered_lines
from monochord.store.ledger import head
from monochord.store.making import open_record


def entered(address: str, path: Path, kind: str, by: str) -> Iterator[str]:
    """Enter a list, and say what came."""
    record = open_record(address)
    found = enter_list(record, path, kind, real_context(), hand(by))
    yield from entered_lines(found, str(path), *head(record))


def stated(address: str, kind: str, pairs: Sequence[str], about: str, by: str) -> Iterator[str]:
    """Enter one statement given as KEY=VALUE, and say what came."""
    record = open_record(address)
    cells = dict(_pair(pair) for pair in pairs)
    found = enter_one(record, kind, cells, real_context(), hand(by), subject=about)
    yield from entered_lines(found, kind, *head(record))


def _pair(text: str) -> tuple[str, str]:
    key, sign, value = text.partition("=")
    if not sign or not key.strip():
        raise Refused([Fault(repr(text), "KEY=VALUE, such as done_on=2031-06-01", "write it so")])
    return key.strip(), value.strip()
