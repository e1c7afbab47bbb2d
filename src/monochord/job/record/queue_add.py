"""Adding to a tablet's queue, and closing it before it is brought to the record."""

from __future__ import annotations

import os
import platform
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from monochord.files.entry_lists import Listed
from monochord.ground.faults import Fault, Gatherer, Refused
from monochord.job.context import Context
from monochord.job.record.enter import body_of
from monochord.job.record.queue import NOT_QUEUED, Queue, line_of, parse, seal_of
from monochord.job.record.take import Hand
from monochord.store.bodies import subject_of
from monochord.store.entry import Draft, stamp


def add_to_queue(
    path: Path,
    kind: str,
    cells: Mapping[str, str],
    *,
    context: Context,
    hand: Hand,
    subject: str = "",
    first: int = 1,
) -> tuple[int, Draft]:
    """Add one fact, given as texts, at the end of a queue, made when it is new; gives its running number.

    subject  what a note is about;  first  running number with which a new queue begins

    Raises Refused when a value does not fit its kind, and when the file cannot be written.
    """
    faults = Gatherer()
    if kind in NOT_QUEUED:
        raise Refused([Fault(f"a {kind}", "what a person states at a tablet", "state it at the record")])
    body = body_of(Listed(kind, 0, dict(cells)), faults)
    faults.refuse_if_any()
    about = subject if kind == "note" else subject_of(kind, body)
    if not about:
        raise Refused([Fault("a note about nothing", "what it is about, such as girder/G07", "say it with --about")])
    replaces = cells.get("replaces") or None
    with _held(path) as stream:
        data = stream.read()
        number = _next(parse(data, str(path)), hand.device, first)
        made = stamp(context.now())
        draft = Draft(context.new_id(), kind, about, made, hand.made_by, hand.device, body, replaces)
        line = line_of(draft, number)
        _refuse_misfit(line, path)
        _write(stream, data, line)
    return number, draft


def close_queue(path: Path, device: str, context: Context) -> int:
    """Write the line by which is seen that a queue came whole; gives the number of lines before it."""
    if not path.is_file():
        raise Refused([Fault("no such file", "a queue", "check the path", str(path))])
    with _held(path) as stream:
        data = stream.read()
        queue = parse(data, str(path))
        if queue.seals and not queue.after:
            return queue.seals[-1].lines
        _write(stream, data, seal_of(data, device or _device_of(queue), context.now()))
    return len(queue.entries) + len(queue.refused) + len(queue.seals)


def _device_of(queue: Queue) -> str:
    return queue.entries[-1].draft.device if queue.entries else platform.node() or "a device without a name"


def _next(queue: Queue, device: str, first: int) -> int:
    came = [q.number for q in queue.entries if q.draft.device == device and q.number is not None]
    return max(came) + 1 if came else first


def _refuse_misfit(line: bytes, path: Path) -> None:
    """What would be refused at the record is refused now, while the person who wrote it is there."""
    if refused := parse(line, str(path)).refused:
        raise Refused([Fault(f.given, f.expected, "state it otherwise", "", None, f.column) for f in refused[0].faults])


@contextmanager
def _held(path: Path) -> Iterator[BinaryIO]:
    """The queue's file, for one program at a time."""
    try:
        with path.open("a+b") as stream:
            if os.name == "posix":
                import fcntl

                fcntl.flock(stream, fcntl.LOCK_EX)
            stream.seek(0)
            yield stream
    except OSError as error:
        given = f"a file that cannot be written ({error.strerror or error})"
        raise Refused(
            [Fault(given, "room and the right to write", "see to both, then do it again", str(path))]
        ) from error


def _write(stream: BinaryIO, data: bytes, line: bytes) -> None:
    """Add a line behind what stands there; half a line that a power failure left gets its end first."""
    stream.write((b"" if not data or data.endswith(b"\n") else b"\n") + line)
    stream.flush()
    os.fsync(stream.fileno())
