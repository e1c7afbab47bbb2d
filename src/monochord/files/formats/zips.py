"""Archives from outside: what they hold is counted before anything is unpacked."""

from __future__ import annotations

import io
import zipfile

from monochord.ground.faults import Fault, Refused

#: Entries an archive may have, bytes they may unpack to, and how much larger than its packed form an entry may be
#: once it is larger than a few megabytes.
MOST_ENTRIES, MOST_BYTES, MOST_RATIO, SMALL = 4000, 1 << 30, 250, 4 << 20


def opened(data: bytes, file: str, wanted: str) -> zipfile.ZipFile:
    """An archive whose sizes are within reason.

    data  the whole file;  file  as shown;  wanted  what it should be, in words

    Raises Refused when it is damaged, cut off, encrypted, names an entry twice, or unpacks to more than is allowed.
    """
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except (zipfile.BadZipFile, ValueError, NotImplementedError) as error:
        if data[:4] == b"PK\x03\x04":
            raise refusal(f"an incomplete file of {len(data)} bytes ({error})", wanted, file) from None
        raise refusal(f"a file that begins with {data[:8]!r}", wanted, file) from None
    entries = archive.infolist()
    if len(entries) > MOST_ENTRIES:
        raise refusal(f"{len(entries)} entries in the archive", f"at most {MOST_ENTRIES}", file)
    names = [entry.filename for entry in entries]
    if len(set(names)) < len(names):
        twice = next(name for place, name in enumerate(names) if name in names[:place])
        raise refusal(f"two entries {twice!r}", "names that stand once in the archive", file)
    total = sum(entry.file_size for entry in entries)
    if total > MOST_BYTES:
        raise refusal(f"{total >> 20} MB when unpacked", f"at most {MOST_BYTES >> 20} MB", file)
    for entry in entries:
        if entry.flag_bits & 1:
            raise refusal(f"entry {entry.filename!r} is encrypted", "a file without password", file)
        if entry.file_size > SMALL and entry.file_size > MOST_RATIO * max(entry.compress_size, 1):
            given = (
                f"entry {entry.filename!r} unpacks to {entry.file_size // max(entry.compress_size, 1)} times its size"
            )
            raise refusal(given, f"at most {MOST_RATIO} times", file)
    return archive


def refusal(given: str, expected: str, file: str) -> Refused:
    """A refusal of an archive."""
    return Refused([Fault(given, expected, "save or copy the file again from where it was made", file)])
