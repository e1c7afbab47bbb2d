"""TOML documents that know where their keys stand, so that every fault can name file and line."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from monochord.files.amounts import amount
from monochord.files.places import Path as KeyPath
from monochord.files.places import line_of
from monochord.ground.faults import Fault, Refused

_AT = re.compile(r"\(at line (\d+), column (\d+)\)")


@dataclass(frozen=True, slots=True)
class Document:
    """A parsed TOML text: name as the person knows it, text, and data."""

    name: str
    text: str
    data: Mapping[str, object] = field(repr=False)

    @property
    def root(self) -> Node:
        """The whole document as a node."""
        return Node(self, (), self.data)

    def fault(self, path: KeyPath, given: str, expected: str, remedy: str) -> Fault:
        """A fault at the line of a key path."""
        keys = [str(p) for p in path if isinstance(p, str)]
        column = ".".join(keys) if keys else None
        return Fault(given, expected, remedy, self.name, line_of(self.text, path), column)


def parse(text: str, name: str) -> Document:
    """A document from text; Refused with line and column when it is not TOML."""
    try:
        return Document(name, text, tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        place = _AT.search(str(error))
        line, column = (int(place[1]), int(place[2])) if place else (None, None)
        given = _AT.sub("", str(error)).strip() or "text that is not TOML"
        raise Refused(
            [Fault(given, "a TOML document", "mend the line; text values stand in quotes", name, line, column)]
        ) from None
    except (RecursionError, ValueError) as error:  # what the parser of TOML lets through
        deep = isinstance(error, RecursionError)
        given = "brackets nested too deeply" if deep else f"a value that cannot be held ({str(error)[:60]})"
        line = _worst(text, r"[\[{]" if deep else r"[0-9_]")
        raise Refused([Fault(given, "a TOML document as people write it", "mend the line", name, line)]) from None


def _worst(text: str, signs: str) -> int:
    """The line with the most of these signs, 1-based: where the parser does not say where it failed."""
    counts = [len(re.findall(signs, line)) for line in text.split("\n")]
    return counts.index(max(counts)) + 1


def read(path: Path, name: str | None = None) -> Document:
    """A document from a file; Refused when it is not there or not UTF-8 TOML."""
    shown = name if name is not None else str(path)
    try:
        text = path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except OSError as error:
        raise Refused(
            [Fault(error.strerror or "an unreadable file", "a readable TOML file", "check the path", shown)]
        ) from None
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise Refused(
            [Fault(f"byte {error.object[error.start]:#04x}", "UTF-8 text", "save the file as UTF-8", shown, line)]
        ) from None
    return parse(text, shown)


@dataclass(frozen=True, slots=True)
class Node:
    """One table of a document that passed its schema: typed access, and faults in place."""

    document: Document
    path: KeyPath
    data: Mapping[str, object]

    def __contains__(self, key: str) -> bool:
        return key in self.data

    def __iter__(self) -> Iterator[str]:
        return iter(self.data)

    def __len__(self) -> int:
        return len(self.data)

    def text(self, key: str, default: str = "") -> str:
        """A text value."""
        value = self.data.get(key, default)
        return value if isinstance(value, str) else default

    def texts(self, key: str, default: tuple[str, ...] = ()) -> tuple[str, ...]:
        """A list of texts; a single text counts as a list of one."""
        value = self.data.get(key, default)
        if isinstance(value, str):
            return (value,)
        return tuple(v for v in value if isinstance(v, str)) if isinstance(value, (list, tuple)) else default

    def whole(self, key: str, default: int = 0) -> int:
        """A whole number."""
        value = self.data.get(key, default)
        return value if isinstance(value, int) else default

    def yes(self, key: str, default: bool = False) -> bool:
        """True or false."""
        value = self.data.get(key, default)
        return value if isinstance(value, bool) else default

    def number(self, key: str, default: float) -> float:
        """A plain number (weights only; everything else is an amount with a unit)."""
        value = self.data.get(key, default)
        return float(value) if isinstance(value, (int, float)) else default

    def amount(self, key: str, dimension: str, default: float | None = None) -> float:
        """An amount with its unit, in SI; the schema has made sure that it is one."""
        value = self.data.get(key)
        if value is None and default is not None:
            return default
        if not isinstance(value, str):
            raise Refused([self.fault(key, f"no key {key!r}", f"a {dimension} with its unit", f"add {key}")])
        try:
            return amount(value, dimension)
        except Refused as refusal:
            first = refusal.faults[0]
            raise Refused([self.fault(key, first.given, first.expected, first.remedy)]) from None

    def node(self, key: str) -> Node:
        """A table below this one; empty when it is not there."""
        value = self.data.get(key, {})
        return Node(self.document, (*self.path, key), value if isinstance(value, dict) else {})

    def nodes(self, key: str) -> list[Node]:
        """The tables of an array."""
        value = self.data.get(key, [])
        found = value if isinstance(value, list) else []
        return [Node(self.document, (*self.path, key, i), v) for i, v in enumerate(found) if isinstance(v, dict)]

    def named(self) -> Iterator[tuple[str, Node]]:
        """The tables below this one with their names."""
        for key, value in self.data.items():
            if isinstance(value, dict):
                yield key, Node(self.document, (*self.path, key), value)

    def fault(self, key: str, given: str, expected: str, remedy: str) -> Fault:
        """A fault at a key of this table; "" for the table itself."""
        return self.document.fault((*self.path, key) if key else self.path, given, expected, remedy)
