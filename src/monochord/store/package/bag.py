"""A bag by RFC 8493, written: payload under ``data``, manifests over it, and manifests over all that stands beside it.

Every file of a bag but the payload is a function of the payload and of what is told, in one spelling, so that a
changed byte is found also where the standard would let it pass. The library in use writes an older version and an order
that the disk gives; it is the second opinion when a bag is checked.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from monochord.ground.faults import Fault, Refused
from monochord.store.package.names import wrong_in

#: The first file of every bag.
BAGIT = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
#: Hashes of every file, and the names of the files about a bag.
HASHES = ("sha256", "sha512")
MANIFESTS = tuple(f"manifest-{name}.txt" for name in HASHES)
TAG_MANIFESTS = tuple(f"tagmanifest-{name}.txt" for name in HASHES)
PAYLOAD, INFO, README = "data", "bag-info.txt", "README.txt"
#: What a tag manifest lists.
TAGS = (README, INFO, "bagit.txt", *MANIFESTS)


@dataclass(frozen=True, slots=True)
class Sums:
    """Hashes of a file, in the order of :data:`HASHES`, and its size [bytes]."""

    hashes: tuple[str, ...]
    size: int

    @property
    def sha256(self) -> str:
        """The first of them."""
        return self.hashes[0]


class Hasher:
    """Takes blocks and gives their sums."""

    def __init__(self) -> None:
        self._hashes = [hashlib.new(name) for name in HASHES]
        self._size = 0

    def add(self, block: bytes) -> None:
        """Take a block."""
        for one in self._hashes:
            one.update(block)
        self._size += len(block)

    @property
    def sums(self) -> Sums:
        """The sums of all that was taken."""
        return Sums(tuple(one.hexdigest() for one in self._hashes), self._size)


def sums_of(content: bytes) -> Sums:
    """The sums of some bytes."""
    hasher = Hasher()
    hasher.add(content)
    return hasher.sums


def manifest(sums: Mapping[str, Sums], which: int) -> bytes:
    """A manifest in its one spelling: a line a file, by path, two blanks behind the hash."""
    return "".join(f"{sums[path].hashes[which]}  {path}\n" for path in sorted(sums)).encode("utf-8")


def oxum(sums: Iterable[Sums]) -> str:
    """Payload-Oxum: bytes and number of the payload's files."""
    sizes = [s.size for s in sums]
    return f"{sum(sizes)}.{len(sizes)}"


class Writer:
    """Writes a bag into an empty folder; until :meth:`close` it is none."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.sums: dict[str, Sums] = {}

    def put(self, path: str, blocks: Iterable[bytes]) -> Sums:
        """Write a file of the payload, block by block."""
        inside = f"{PAYLOAD}/{path}"
        if (why := wrong_in(inside)) or inside in self.sums:
            raise Refused([Fault(inside, "a name of its own that a package may have", why or "report it")])
        hasher, target = Hasher(), self.folder / inside
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("xb") as stream:
            for block in blocks:
                hasher.add(block)
                stream.write(block)
            stream.flush()
            os.fsync(stream.fileno())
        self.sums[inside] = hasher.sums
        return hasher.sums

    def close(self, info: Mapping[str, str], readme: str) -> str:
        """Write what stands beside the payload, ``bagit.txt`` last; gives the sha256 of the tag manifest, which holds all."""
        told = {**info, "Payload-Oxum": oxum(self.sums.values())}
        tags = {
            README: readme.encode("utf-8"),
            INFO: "".join(f"{key}: {' '.join(value.split())}\n" for key, value in told.items()).encode("utf-8"),
            **{name: manifest(self.sums, which) for which, name in enumerate(MANIFESTS)},
            "bagit.txt": BAGIT,
        }
        sums = {name: sums_of(content) for name, content in tags.items()}
        above = {name: manifest(sums, which) for which, name in enumerate(TAG_MANIFESTS)}
        for name, content in {**above, **tags}.items():
            self._write(name, content)
        for folder, _, _ in os.walk(self.folder):
            settle(Path(folder))
        return hashlib.sha256(above[TAG_MANIFESTS[0]]).hexdigest()

    def _write(self, name: str, content: bytes) -> None:
        with (self.folder / name).open("xb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())


def settle(folder: Path) -> None:
    """Bring the names in a folder to the disk, where the system lets folders be opened."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
