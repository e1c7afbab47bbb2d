"""What people call a number: its name in the document, or a few of the words on the way to it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from monochord.files.words import did_you_mean, listed
from monochord.ground.faults import Fault, Refused
from monochord.job.why.names import at, numbers, split

#: Where a few words are looked for first: a magnet's name and a plane mean its offset before they mean its centre.
FIRST: tuple[tuple[str, ...], ...] = (
    ("occasions", "", "line", "offsets"),
    ("occasions", "", "axes"),
    ("occasions", "", "targets"),
    ("occasions",),
    ("verdicts",),
    ("comparisons",),
    ("plans",),
    ("moves",),
    (),
)

#: Keys by which an item of a list is known.
TITLES = ("name", "from", "to", "at", "cause", "quantity")


def full_name(document: Mapping[str, object], text: str) -> str:
    """The name that a person means.

    text  a name (it begins with a slash), or words that all stand on the way to one number: "5-restored Q1 x"

    Raises Refused when no number or more than one is meant, with those that come near.

    >>> kept = {"occasions": {"bench": {"line": {"offsets": {"Q1": {"x": 1e-6}}}, "axes": {"Q1": {"x": 2e-6}}}}}
    >>> full_name(kept, "bench Q1 x")
    '/occasions/bench/line/offsets/Q1/x'
    """
    if text.startswith("/"):
        return text
    words = [word.casefold() for word in text.split()]
    for family in FIRST:
        fitting = sorted(_fitting(document, words, family), key=lambda found: found[0])
        nearest = [name for length, name in fitting if length == fitting[0][0]]
        if len(nearest) == 1:
            return nearest[0]
        if nearest:
            remedy = "say more of the words on the way to one of them, or its whole name"
            raise Refused([Fault(f"{text!r}", f"words for one number, not for {listed(nearest, 6)}", remedy)])
    known = sorted({word for name, _ in numbers(document) for word in _words(document, split(name)[0])})
    hint = "".join(did_you_mean(w, known) for w in words if w not in {k.casefold() for k in known})
    raise Refused(
        [Fault(f"{text!r}", "a name, or words on the way to a number of the result", f"{hint}ask by a known name")]
    )


def _fitting(
    document: Mapping[str, object], words: Sequence[str], family: tuple[str, ...]
) -> Iterator[tuple[int, str]]:
    """Names of a family on whose way all the words stand, and how long the way is."""
    for name, _ in numbers(document):
        keys, _ = split(name)
        if len(keys) < len(family) or any(f not in ("", k) for f, k in zip(family, keys, strict=False)):
            continue
        if set(words) <= {word.casefold() for word in _words(document, keys)}:
            yield len(keys), name


def _words(document: Mapping[str, object], keys: tuple[str, ...]) -> list[str]:
    """The keys on a way, and for items of a list what they are known by."""
    found = list(keys)
    for i, key in enumerate(keys):
        if key.isdecimal():
            item = at(document, keys[: i + 1])
            found += [str(item[t]) for t in TITLES if t in item] if isinstance(item, Mapping) else []
    return found
