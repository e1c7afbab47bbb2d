"""What the body of an entry must state, by its kind; whatever does not fit is told with its key."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from monochord.ground.faults import Fault, Refused

#: How a value must look: a word for it, and the words of a choice.
TEXT, DAY, NUMBER, LIST, CHOICE = "a text", "a day such as 2031-05-07", "a number", "a list of texts", "one of "
#: A correction with this key takes back what it corrects and states nothing in its place.
WITHDRAWN = "withdrawn"
#: Longest name, which is part of a subject.
LONGEST = 160


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a body: what its value must be, whether it must be there, and the words of a choice."""

    name: str
    form: str = TEXT
    needed: bool = True
    words: tuple[str, ...] = ()

    @property
    def expected(self) -> str:
        """What is expected, in words."""
        return f"one of {', '.join(self.words)}" if self.words else self.form


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of entry: how its subject is made from its body, and its keys. Further keys may stand beside them."""

    subject: str
    keys: tuple[Key, ...]


def _may(*names: str, form: str = TEXT) -> tuple[Key, ...]:
    return tuple(Key(name, form, needed=False) for name in names)


#: The kinds that tables are told by. Other kinds are kept as they are.
KINDS: Mapping[str, Kind] = {
    "girder": Kind("girder/{name}", (Key("name"), *_may("type"))),
    "occasion": Kind("girder/{girder}", (Key("girder"), Key("name"), *_may("place"))),
    "run": Kind("girder/{girder}", (Key("girder"), Key("document"))),
    "magnet": Kind("magnet/{serial}", (Key("serial"), Key("kind"))),
    "placed": Kind(
        "magnet/{serial}",
        (Key("serial"), Key("girder"), Key("position"), Key("since", DAY), *_may("until", form=DAY)),
    ),
    "instrument": Kind("instrument/{name}", (Key("name"), Key("kind"), *_may("serial"))),
    "calibration": Kind(
        "instrument/{instrument}",
        (Key("instrument"), Key("made_on", DAY), Key("valid_until", DAY), *_may("certificate")),
    ),
    "person": Kind("person/{name}", (Key("name"), Key("roles", LIST))),
    "step": Kind("girder/{girder}", (Key("girder"), Key("step"), Key("done_on", DAY), *_may("words", "instrument"))),
    "nonconformance": Kind(
        "girder/{girder}",
        (
            Key("girder"),
            Key("words"),
            Key("state", words=("open", "closed")),
            *_may("magnet", "decision"),
            *_may("about", form=LIST),
        ),
    ),
    "turned": Kind("girder/{girder}", (Key("girder"), Key("occasion"), Key("bolt"), Key("turns", NUMBER))),
    "foot": Kind(
        "girder/{girder}",
        (
            Key("girder"),
            Key("occasion"),
            Key("foot"),
            Key("found", words=("loose", "touching", "tight", "held down")),
            *_may("words"),
        ),
    ),
    "note": Kind("", (Key("words"),)),
}
#: Pairs of days in one body of which the first may not come after the second.
ORDERED = {"placed": ("since", "until"), "calibration": ("made_on", "valid_until")}


def faults_of(kind: str, body: Mapping[str, object], *, correction: bool = False) -> list[Fault]:
    """What in a body does not fit its kind; the key stands as the column.

    >>> [str(f) for f in faults_of("calibration", {"instrument": "T1", "made_on": "2031-02-30", "valid_until": "2032-03-01"})]
    ["column made_on: given '2031-02-30'; expected a day such as 2031-05-07; mend it"]
    >>> faults_of("step", {"girder": "G1", "step": "lifted", "done_on": "2031-06-01"})
    []
    """
    known = KINDS.get(kind)
    if known is None or (correction and isinstance(body.get(WITHDRAWN), str)):
        return []
    faults = [fault for key in known.keys if (fault := _fault(key, body))]
    first, second = ORDERED.get(kind, ("", ""))
    if not faults and str(body.get(second) or "9999") < str(body.get(first) or ""):
        given = f"{body[second]!r}, which lies before {first} {body[first]!r}"
        faults.append(Fault(given, f"a day on or after {first}", "mend one of the two", column=second))
    return faults


def _fault(key: Key, body: Mapping[str, object]) -> Fault | None:
    value = body.get(key.name)
    if value is None or value == "":
        if not key.needed:
            return None
        return Fault(f"no {key.name}", key.expected, "state it", column=key.name)
    if _fits(key, value):
        return None
    long = isinstance(value, str) and len(value) > LONGEST and key.form == TEXT
    given = f"{len(str(value))} letters" if long else repr(value)
    expected = f"at most {LONGEST} letters" if long else key.expected
    return Fault(given, expected, "mend it", column=key.name)


def _fits(key: Key, value: object) -> bool:
    if key.words:
        return value in key.words
    if key.form == DAY:
        return isinstance(value, str) and _is_day(value)
    if key.form == NUMBER:
        return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
    if key.form == LIST:
        return isinstance(value, list) and all(isinstance(item, str) for item in value)
    return isinstance(value, str) and (len(value) <= LONGEST or key.name in {"words", "decision"})


def _is_day(text: str) -> bool:
    if not re.fullmatch(r"\d{4}-\d\d-\d\d", text):
        return False
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def subject_of(kind: str, body: Mapping[str, object]) -> str:
    """The subject of an entry of a kind with this body.

    >>> subject_of("placed", {"serial": "Q-017", "girder": "G07"})
    'magnet/Q-017'
    """
    return KINDS[kind].subject.format_map({name: str(value) for name, value in body.items()})


def check(kind: str, body: Mapping[str, object], *, correction: bool) -> None:
    """Refuse a body that does not fit its kind."""
    if faults := faults_of(kind, body, correction=correction):
        raise Refused([Fault(f.given, f.expected, f.remedy, f"a {kind}", None, f.column) for f in faults])


def days_of(kind: str) -> Sequence[str]:
    """Names of the keys of a kind that are days."""
    return [key.name for key in KINDS[kind].keys if key.form == DAY] if kind in KINDS else []
