"""What the doors ask about queues of tablets."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from monochord.job.context import real_context
from monochord.job.record.clocks import shown_of
from monochord.job.record.door import hand
from monochord.job.record.enter_door import cells_of
from monochord.job.record.merge import merge, merged_lines
from monochord.job.record.queue_add import add_to_queue, close_queue
from monochord.job.record.take import Hand
from monochord.report.words import counted
from monochord.store.ledger import head
from monochord.store.making import opened


@dataclass(frozen=True, slots=True)
class Said:
    """What to say about a merge: what came, and the faults of lines that did not."""

    lines: tuple[str, ...]
    faults: tuple[str, ...]


def queued(
    path: Path, kind: str, pairs: Sequence[str], *, about: str, by: str, device: str, first: int
) -> Iterator[str]:
    """Add one fact to a queue, and say under which number."""
    here = hand(by)
    number, draft = add_to_queue(
        path,
        kind,
        cells_of(pairs),
        context=real_context(),
        hand=Hand(here.made_by, device or here.device),
        subject=about,
        first=first,
    )
    yield f"number {number} of {draft.device}: {draft.kind} about {draft.subject}, id {draft.id}"


def closed(path: Path, device: str) -> str:
    """Close a queue, and say how long it is."""
    return f"{path} is closed after {counted(close_queue(path, device, real_context()), 'line')}"


def merged(address: str, path: Path, clock_shown: str, by: str, say: Callable[[str], None]) -> Said:
    """Take a queue into a record, and say what came."""
    context = real_context(say)
    shown = shown_of(clock_shown, context.now()) if clock_shown else None
    with opened(address) as record:
        found = merge(record, path, context, hand(by), shown)
        last = head(record)
    faults = [str(fault) for bad in found.refused for fault in bad.faults]
    if found.beside:
        faults.append(f"not kept: {counted(len(found.refused), 'line')}, as it came in {found.beside}")
    return Said(tuple(merged_lines(found, str(path), *last)), tuple(faults))
