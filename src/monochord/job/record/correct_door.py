"""What the doors ask when somebody corrects an entry."""

from __future__ import annotations

from collections.abc import Sequence

from monochord.job.context import real_context
from monochord.job.record.correct import correct
from monochord.job.record.door import hand
from monochord.job.record.enter_door import cells_of
from monochord.store.making import opened


def corrected(
    address: str, name: str, pairs: Sequence[str], *, why: str, withdraw: bool, seen: int | None, by: str
) -> str:
    """Correct an entry or take it back, and say by which entry."""
    cells = cells_of(pairs)
    with opened(address) as record:
        old, new = correct(
            record, name, cells, why, context=real_context(), hand=hand(by), withdraw=withdraw, seen=seen
        )
    deed = "takes back" if withdraw else "takes the place of"
    about = f"a {new.draft.kind} about {new.draft.subject}"
    return f"entry {new.number} {deed} entry {old.number}, {about}; both stay\nid {new.draft.id}"
