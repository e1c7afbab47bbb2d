"""What is strange about the running numbers and the clock of a device whose queue is merged."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import pairwise

from sqlalchemy import Connection, select

from monochord.job.record import numbers
from monochord.job.record.clocks import Ahead
from monochord.job.record.queue import Queued
from monochord.report.words import counted
from monochord.store.entry import stamp
from monochord.store.ledger import entry_of
from monochord.store.tables import ENTRY


def numbers_told(
    connection: Connection, device: str, mine: Sequence[Queued], have: numbers.Ranges, ranges: numbers.Ranges
) -> Iterator[str]:
    """Numbers that are missing, or that came twice; ``have`` came before, ``ranges`` have come now."""
    here: dict[int, Queued] = {}
    for queued in mine:
        if queued.number is None:
            yield f"line {queued.line}: no running number; whether one before it is missing cannot be told"
            continue
        other = here.setdefault(queued.number, queued)
        what = f"number {queued.number} of {device}"
        why = f"two devices bear the name {device}, or it was set up anew; both entries are kept"
        if other is not queued:
            yield f"{what} stands on line {other.line} and on line {queued.line} under two ids: {why}"
        elif numbers.holds(have, queued.number):
            yield f"{what} came before under the id {_id_of(connection, device, queued.number)}, now under {queued.draft.id}: {why}"
    if missing := numbers.gaps(ranges):
        yield f"missing of {device}: the running numbers {numbers.words(missing)}; look for the rest of the queue on the device"
    elif numbers.gaps(have):
        yield f"the running numbers of {device} that were missing have come"


def _id_of(connection: Connection, device: str, number: int) -> str:
    """Under which id a device's number came; looked for only when it comes twice."""
    wanted = select(ENTRY).where(ENTRY.c.subject == f"device/{device}"[:200], ENTRY.c.kind == "merged")
    for row in connection.execute(wanted.order_by(ENTRY.c.number.desc())):
        listed = entry_of(row).draft.body.get("entries")
        for pair in listed if isinstance(listed, list) else []:
            if isinstance(pair, list) and pair[:1] == [number]:
                return str(pair[1])
    return "of an entry that is not listed"


def clock_told(device: str, mine: Sequence[Queued], ahead: Ahead, now: datetime) -> Iterator[str]:
    """Entries from the future, and a clock that was set back between two of them."""
    present = stamp(now)
    late = [q for q in mine if q.draft.made_at > present]
    if late:
        worst = max(late, key=lambda q: q.draft.made_at)
        yield (
            f"{counted(len(late), 'entry', 'entries')} of {device} from the future, the latest line {worst.line} with "
            f"{worst.draft.made_at}; the record's clock stands at {present}: one of the two clocks is wrong"
        )
    if ahead.known and any(q.draft.made_at > ahead.at for q in mine):
        yield f"entries of {device} bear later times than its clock shows: it was set back after they were made"
    numbered = sorted((q for q in mine if q.number is not None), key=lambda q: q.number or 0)
    for one, other in pairwise(numbered):
        if other.draft.made_at < one.draft.made_at:
            times = f"{one.draft.made_at} and {other.draft.made_at}"
            yield f"the clock of {device} was set back between its numbers {one.number} and {other.number} ({times})"
