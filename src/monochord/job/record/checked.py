"""A record held against itself, told in lines."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from monochord.store.entry import START
from monochord.store.making import open_record
from monochord.store.retelling import rebuild
from monochord.store.verify import Walked, head_told, verify


@dataclass(frozen=True, slots=True)
class Said:
    """A line, and whether it tells of nothing wrong."""

    words: str
    sound: bool


def checked(address: str, head: str | None, say: Callable[[str], None]) -> Iterator[Said]:
    """Each fault of a record in a line, then what was gone through; Refused when there is nothing to look at."""
    noted = head_told(head) if head else None
    walked, count = Walked(), 0
    for fault in verify(address, say, walked, noted):
        count += 1
        yield Said(str(fault), sound=False)
    number, digest = walked.last if walked.entries else (0, START)
    told = f"{walked.entries} entries, {walked.files} files of {walked.size / 1e6:.1f} MB; head {number}:{digest}"
    if count:
        yield Said(f"NOT whole: {count} fault{'s' if count != 1 else ''} in {told}", sound=False)
    else:
        yield Said(f"whole: {told}", sound=True)


def rebuilt(address: str) -> str:
    """Tell the tables for questions anew from the ledger, all or nothing, and say by how many entries."""
    record = open_record(address)
    try:
        with record.writing() as connection:
            count = rebuild(connection)
    finally:
        record.engine.dispose()
    return f"the tables for questions are told anew by {count} entries"
