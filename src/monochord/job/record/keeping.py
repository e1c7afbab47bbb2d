"""Backups of the record and records from backups, as the doors ask for them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from monochord.store.backup import back_up, restore
from monochord.store.making import opened


def backed_up(address: str, path: Path, say: Callable[[str], None]) -> str:
    """Copy a record into a file while others write, and say what it holds."""
    with opened(address) as record:
        copied = back_up(record, path, say)
        source = record.address
    return f"{copied.place} holds {copied.number} entries of {source}; its head is {copied.hash[:16]}"


def restored(path: Path, address: str, say: Callable[[str], None]) -> str:
    """Make a record from a backup, and say what it holds."""
    copied = restore(path, address, say)
    return f"the record {copied.place} holds {copied.number} entries; its head is {copied.hash[:16]}"
