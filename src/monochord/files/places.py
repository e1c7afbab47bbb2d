"""Where a key stands in a TOML text: key path -> line, because the parser keeps no line numbers.

A small scanner of lines, used only when a fault has to be placed. It knows table heads, arrays of
tables, dotted and quoted keys, and skips over values that run on (strings and brackets).
"""

from __future__ import annotations

import json
import re

Path = tuple[str | int, ...]

_KEY = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|'[^']*')"""
_DOTTED = rf"{_KEY}(?:\s*\.\s*{_KEY})*"
_HEAD = re.compile(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]\]?\s*(?:#.*)?$")
_PAIR = re.compile(rf"\s*({_DOTTED})\s*=(.*)$")
_ONE_KEY = re.compile(_KEY)
_PIECE = re.compile(r'"""|\'\'\'|"(?:[^"\\]|\\.)*"|\'[^\']*\'|#|[\[\]{}]')


def key_lines(text: str) -> dict[Path, int]:
    r"""Line (1-based) of every key and table head of a TOML text.

    >>> key_lines('[a]\nb = 1\n[[c]]\n"d e".f = 2\n')[("c", 0, "d e", "f")]
    4
    """
    found: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    depth, quote = 0, ""
    for number, line in enumerate(text.split("\n"), start=1):
        if depth or quote:
            depth, quote = _run_on(line, depth, quote)
            continue
        if head := _HEAD.match(line):
            table = _enter(head[1], _keys(head[2]), counts)
            found.setdefault(table, number)
        elif pair := _PAIR.match(line):
            path = table
            for key in _keys(pair[1]):
                path = (*path, key)
                found.setdefault(path, number)
            depth, quote = _run_on(pair[2], 0, "")
    return found


def line_of(text: str, path: Path) -> int | None:
    r"""Line of the key path, or of the nearest key above it; None for the whole document.

    >>> line_of('[a]\nb = [1,\n 2]\n', ("a", "b", 1))
    2
    """
    lines = key_lines(text)
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return lines[path[:end]]
    return None


def _keys(dotted: str) -> list[str]:
    return [_unquoted(key) for key in _ONE_KEY.findall(dotted)]


def _unquoted(key: str) -> str:
    if key[0] == '"':
        # TOML's escapes are JSON's and a few more that nobody writes in a key.
        try:
            return str(json.loads(key, strict=False))
        except ValueError:
            return key[1:-1]
    return key[1:-1] if key[0] == "'" else key


def _enter(brackets: str, keys: list[str], counts: dict[Path, int]) -> Path:
    path: Path = ()
    for i, key in enumerate(keys):
        path = (*path, key)
        last = i == len(keys) - 1
        if last and brackets == "[[":
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _run_on(rest: str, depth: int, quote: str) -> tuple[int, str]:
    """Brackets still open and long quote still open at the end of a line."""
    place = 0
    while place < len(rest):
        if quote:
            end = rest.find(quote, place)
            if end < 0:
                return depth, quote
            place, quote = end + 3, ""
            continue
        piece = _PIECE.search(rest, place)
        if piece is None or piece[0] == "#":
            break
        place = piece.end()
        if piece[0] in ('"""', "'''"):
            quote = piece[0]
        elif piece[0] in "[{":
            depth += 1
        elif piece[0] in "]}":
            depth -= 1
    return depth, quote
