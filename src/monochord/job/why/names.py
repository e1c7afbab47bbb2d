"""Names of numbers: JSON Pointers into the result document (RFC 6901, read), with a part after ``#``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from monochord.ground.trace import pointer

#: Beside numbers that are not known they hold words only; of imports rows are counted, and nothing is computed.
WORDS_ONLY = ("reasons", "notes", "imports")


def split(name: str, document: object = None) -> tuple[tuple[str, ...], str]:
    """The keys on the way to a number, and the part after ``#``.

    A key may itself hold the sign #: with a document, the first of them counts behind which the way is known.

    >>> split("/occasions/2-aligned/axes/Q1~1a/x#mode 2")
    (('occasions', '2-aligned', 'axes', 'Q1/a', 'x'), 'mode 2')
    """
    pieces = name.split("#")
    for count in range(1, len(pieces) + 1):
        keys = _keys("#".join(pieces[:count]))
        if document is not None and has(document, keys):
            return keys, "#".join(pieces[count:])
    return _keys(pieces[0]), "#".join(pieces[1:])


def _keys(text: str) -> tuple[str, ...]:
    return tuple(key.replace("~1", "/").replace("~0", "~") for key in text.strip().lstrip("/").split("/") if key)


def at(document: object, keys: Sequence[str]) -> object:
    """What stands in a document at the keys; KeyError when nothing does.

    >>> at({"a": [1.0, {"b": 2.0}]}, ("a", "1", "b"))
    2.0
    """
    found = document
    for key in keys:
        if isinstance(found, Mapping) and key in found:
            found = found[key]
        elif isinstance(found, list) and key.isdecimal() and int(key) < len(found):
            found = found[int(key)]
        else:
            raise KeyError(key)
    return found


def has(document: object, keys: Sequence[str]) -> bool:
    """Whether something stands in the document at the keys.

    >>> has({"a": [1.0]}, ("a", "0")), has({"a": [1.0]}, ("a", "1"))
    (True, False)
    """
    try:
        at(document, keys)
    except KeyError:
        return False
    return True


def number_at(document: object, keys: Sequence[str]) -> float | None:
    """The number at the keys, None where there is none.

    >>> number_at({"a": {"n": 3, "ok": True}}, ("a", "n")), number_at({"a": {"n": 3, "ok": True}}, ("a", "ok"))
    (3.0, None)
    """
    found = at(document, keys) if has(document, keys) else None
    return float(found) if isinstance(found, (int, float)) and not isinstance(found, bool) else None


def numbers(document: object, way: tuple[str | int, ...] = ()) -> Iterator[tuple[str, float]]:
    """Every number of a document with its name, in the document's order; yes and no are not numbers.

    >>> list(numbers({"a": [1.0, {"b": 2}], "ok": True}))
    [('/a/0', 1.0), ('/a/1/b', 2.0)]
    """
    if isinstance(document, Mapping):
        for key, value in document.items():
            if key not in WORDS_ONLY:
                yield from numbers(value, (*way, str(key)))
    elif isinstance(document, list):
        for i, value in enumerate(document):
            yield from numbers(value, (*way, i))
    elif isinstance(document, (int, float)) and not isinstance(document, bool):
        yield pointer(*way), float(document)
