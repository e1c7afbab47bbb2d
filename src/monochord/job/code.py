"""Which code ran: one checksum over the program's own source."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

import monochord


@cache
def code_digest() -> str:
    """sha256 over the names and bytes of every source file of the installed program, in order of path."""
    root = Path(monochord.__file__).parent
    digest = hashlib.sha256()
    for path in sorted(root.rglob("*.py")):
        digest.update(path.relative_to(root).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()
