"""What the doors ask of the record, with addresses and names as people give them."""

from __future__ import annotations

import getpass
import platform
from collections.abc import Callable, Iterator
from pathlib import Path

from monochord.job.context import real_context
from monochord.job.record.take import Hand, take_campaign, take_journal
from monochord.store.ledger import entries, head
from monochord.store.making import make_record, opened


def hand(by: str) -> Hand:
    """Who writes here: the name given, else that of the account; and this machine's name."""
    return Hand(by or _account(), platform.node() or "a machine without a name")


def _account() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # an account without a name
        return "unknown"


def made(address: str) -> str:
    """Make a record, and say what it holds."""
    record = make_record(address)
    number, digest = head(record)
    record.engine.dispose()
    return f"the record {record.address} holds {number} entries; its head is {digest[:16]}"


def taken(address: str, campaign: Path, by: str, say: Callable[[str], None]) -> Iterator[str]:
    """Take a campaign, or the journal of one, into a record, and say what came."""
    with opened(address) as record:
        take = take_campaign if campaign.is_dir() else take_journal
        found = take(record, campaign, real_context(say), hand(by))
        number, digest = head(record)
    kinds = [entry.draft.kind for entry in found.new]
    counts = ", ".join(f"{kinds.count(kind)} {kind}" for kind in dict.fromkeys(kinds)) or "nothing new"
    yield f"{campaign}: {counts}; {found.known} known already; the record holds {number} entries, its head is {digest[:16]}"
    for line in found.missing:
        yield f"note: {line}"


def entry_lines(address: str, kind: str | None, subject: str | None) -> Iterator[str]:
    """The entries, a line each."""
    with opened(address) as record, record.reading() as connection:
        for entry in entries(connection, kind=kind, subject=subject):
            d = entry.draft
            corrects = f", corrects {d.replaces}" if d.replaces else ""
            what = f"{entry.number:6d}  {entry.kept_at[:19]}  {d.kind:14s} {d.subject:24s}"
            yield f"{what} {d.made_by} on {d.device}  {d.id}{corrects}"
