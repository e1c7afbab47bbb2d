"""Our own files written as TOML that people can read and edit: one line a thing, units in the numbers."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def toml(data: Mapping[str, object], head: str = "") -> str:
    """A document: plain keys first, then tables; tables inside a table stand on one line each.

    head  a remark for the first lines

    >>> print(toml({"a": "1 m", "t": {"Q.1": {"x": "2 mm"}}}), end="")
    a = "1 m"
    <BLANKLINE>
    [t]
    "Q.1" = { x = "2 mm" }
    """
    lines = [f"# {line}" for line in head.splitlines()]
    plain = {k: v for k, v in data.items() if not _is_block(v)}
    lines += [f"{_key(k)} = {_value(v)}" for k, v in plain.items()]
    for key, value in data.items():
        if isinstance(value, Mapping):
            lines += ["", f"[{_key(key)}]", *_pairs(value)]
        elif _is_block(value) and isinstance(value, list):
            for entry in value:
                lines += ["", f"[[{_key(key)}]]", *_pairs(entry)]
    return "\n".join(lines) + "\n"


def _is_block(value: object) -> bool:
    return isinstance(value, Mapping) or (
        isinstance(value, list) and bool(value) and all(isinstance(v, Mapping) for v in value)
    )


def _pairs(table: Mapping[str, object]) -> list[str]:
    return [f"{_key(k)} = {_value(v)}" for k, v in table.items()]


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _text(key)


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, (list, tuple)):
        if value and all(isinstance(v, Mapping) for v in value):
            return "[\n" + "".join(f"  {_value(v)},\n" for v in value) + "]"
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if isinstance(value, (int, float)):
        return repr(value)
    raise TypeError(f"no TOML for {type(value).__name__}")


def _text(text: str) -> str:
    # JSON's escapes are TOML's, but for DEL, which TOML wants escaped too.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
