"""Whether a package is whole: every byte of every file, and every name, as its manifests tell."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import BinaryIO

from monochord.ground.faults import Fault, Refused
from monochord.store.package.bag import (
    BAGIT,
    HASHES,
    INFO,
    MANIFESTS,
    PAYLOAD,
    TAG_MANIFESTS,
    TAGS,
    Hasher,
    Sums,
    manifest,
    oxum,
)
from monochord.store.package.walk import MOST, files_in, some

#: So many bytes are read at once; so long may a file beside the payload be, manifests apart.
BLOCK, LONGEST_TAG = 1 << 20, 1 << 20
#: So long may a line of a manifest be [bytes].
LONGEST_LINE = 1000
#: Hexadecimal digits of each hash.
DIGITS = (64, 128)

REMEDY = "take the package anew from where it came"


def whole(folder: Path) -> tuple[dict[str, Sums], str]:
    """Path -> sums of every file of the payload, and the sha256 of the tag manifest, which holds all; Refused with what is wrong.

    Names, manifests and bytes are held against each other here; then the library for bags says what it thinks.
    """
    sizes = files_in(folder)
    faults = [
        _fault(name, f"{sizes[name]} bytes", "a file of a package")
        for name in TAGS
        if name not in MANIFESTS and sizes[name] > LONGEST_TAG
    ]
    if faults:
        raise Refused(faults)
    listed = [_listed(folder, name, digits, faults) for name, digits in zip(MANIFESTS, DIGITS, strict=True)]
    payload = {path: _sums(folder / path) for path in sorted(sizes) if path.startswith(f"{PAYLOAD}/")}
    faults += _differing(payload, listed)
    tags = {name: _sums(folder / name) for name in TAGS}
    for which, name in enumerate(TAG_MANIFESTS):
        faults += _tag_faults(folder, name, which, tags)
    if (folder / "bagit.txt").read_bytes() != BAGIT:
        faults.append(_fault("bagit.txt", "another text", "the first file of a package"))
    faults += _oxum_faults(folder, payload)
    if faults:
        raise Refused(some(_each_once(faults)))
    _second_opinion(folder)
    return payload, _sums(folder / TAG_MANIFESTS[0]).sha256


def _each_once(faults: list[Fault]) -> list[Fault]:
    return list(dict.fromkeys(faults))


def _fault(path: str, given: str, expected: str, line: int | None = None) -> Fault:
    return Fault(given, expected, REMEDY, path, line)


def blocks(path: Path) -> Iterator[bytes]:
    """The bytes of a file, block by block."""
    with path.open("rb") as stream:
        while block := stream.read(BLOCK):
            yield block


def _sums(path: Path) -> Sums:
    hasher = Hasher()
    for block in blocks(path):
        hasher.add(block)
    return hasher.sums


def lines_of(stream: BinaryIO, longest: int) -> Iterator[tuple[int, bytes]]:
    """Lines with their numbers; one that is longer than allowed comes cut, and is the last."""
    number = 0
    while line := stream.readline(longest + 1):
        number += 1
        yield number, line
        if len(line) > longest:
            return


def _listed(folder: Path, name: str, digits: int, faults: list[Fault]) -> dict[str, str]:
    """Path -> hash of a manifest, whose spelling is strict: by path, two blanks, small letters, a line end at each end."""
    form = re.compile(rb"([0-9a-f]{%d})  (data/[^\r\n]+)\n" % digits)
    found: dict[str, str] = {}
    last = ""
    with (folder / name).open("rb") as stream:
        for number, line in lines_of(stream, LONGEST_LINE):
            if number > MOST:
                faults.append(_fault(name, f"more than {MOST} lines", "the record of one girder"))
                break
            fits = form.fullmatch(line)
            try:
                path = fits[2].decode("utf-8") if fits else ""
            except UnicodeDecodeError:
                path = ""
            if fits is None or path <= last:
                faults.append(_fault(name, "a line of another form or order", "hash, two blanks, path", number))
                continue
            last = path
            found[path] = fits[1].decode("ascii")
    return found


def _differing(payload: Mapping[str, Sums], listed: list[dict[str, str]]) -> list[Fault]:
    faults = []
    for which, (name, told) in enumerate(zip(MANIFESTS, listed, strict=True)):
        faults += [_fault(path, "no such file", f"the file that {name} lists") for path in told if path not in payload]
        faults += [
            _fault(path, f"a file that {name} does not list", "listed files") for path in payload if path not in told
        ]
        faults += [
            _fault(path, f"other bytes than {name} tells", f"the file with {HASHES[which]} {told[path][:16]}...")
            for path, sums in payload.items()
            if path in told and told[path] != sums.hashes[which]
        ]
    return faults


def _tag_faults(folder: Path, name: str, which: int, tags: Mapping[str, Sums]) -> list[Fault]:
    """Where a tag manifest is not, byte for byte, what the files beside the payload make it."""
    expected = manifest(tags, which).splitlines(keepends=True)
    with (folder / name).open("rb") as stream:
        given = [line for _, line in lines_of(stream, LONGEST_LINE)][: len(expected) + 1]
    faults = []
    for number, path in enumerate(sorted(tags), 1):
        if number > len(given) or given[number - 1] != expected[number - 1]:
            faults.append(_fault(name, "a line that does not fit", f"that of {path} as it is", number))
    if len(given) > len(expected):
        faults.append(_fault(name, "more lines", f"{len(expected)} lines", len(expected) + 1))
    if not faults:
        return []
    return [
        *faults,
        *(_fault(p, f"a file or its line in {name} that was changed", "both as they were") for p in _named(faults)),
    ]


def _named(faults: list[Fault]) -> list[str]:
    paths = [f.expected.removeprefix("that of ").removesuffix(" as it is") for f in faults]
    return [path for path in paths if path in TAGS]


def _oxum_faults(folder: Path, payload: Mapping[str, Sums]) -> list[Fault]:
    wanted = f"Payload-Oxum: {oxum(payload.values())}"
    text = (folder / INFO).read_bytes().decode("utf-8", "replace")
    told = [line for line in text.split("\n") if line.startswith("Payload-Oxum:")]
    return [] if told == [wanted] else [_fault(INFO, f"{told[0] if told else 'no Payload-Oxum'}", wanted)]


def info_of(folder: Path) -> dict[str, str]:
    """What ``bag-info.txt`` tells."""
    text = (folder / INFO).read_bytes().decode("utf-8", "replace")
    pairs = (line.partition(": ") for line in text.split("\n") if ": " in line)
    return {key: value for key, _, value in pairs}


def _second_opinion(folder: Path) -> None:
    """What the library for bags says, which reads all bytes a second time."""
    import bagit

    log = logging.getLogger("bagit")
    before, log.disabled = log.disabled, True
    try:
        bagit.Bag(str(folder)).validate()
    except bagit.BagError as error:
        raise Refused([_fault(str(folder), f"a bag that is not valid ({error})", "a valid bag")]) from None
    finally:
        log.disabled = before
