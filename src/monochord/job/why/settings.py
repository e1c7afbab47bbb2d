"""Where a setting stands: from the key of a given fact (``wire.length``) to the file of the campaign and the key in it.

Rooms name a fact as the nouns of campaign/given do; the four files of a campaign name it in their own words. The
girder's file goes before its type's, and campaign.toml before both where the rule of the line and tolerances are declared.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from monochord.files.campaign_file import CAMPAIGN, GIRDER, GIRDER_TYPE, LAB
from monochord.files.document import Document
from monochord.files.places import Path as KeyPath
from monochord.files.places import line_of

#: A document's file name and the way to a key in it.
Found = tuple[str, KeyPath]

#: Fields of the nouns -> keys of the files, where they differ.
WIRE = {
    "z_start": "upstream_support", "u_sensor_turn": "sensor_turn", "u_stringing": "stringing", "u_stage_turn": "stage_turn",
    "u_stage_scale": "stage_scale", "u_gain": "sensor_gain", "u_to_wire": "end_vector",
}  # fmt: skip
INSTRUMENT = {
    "u_angle": "angle", "u_range": "range", "u_range_ratio": "range_per_distance", "u_level": "levelled",
    "u_mounting": "mounting", "u_scale": "range_scale",
}  # fmt: skip
ITEM = {"derivative": "strength", "point": "z"}
_KINDS = {"up": "vertical", "down": "vertical", "left": "lateral", "right": "lateral"}


@dataclass(frozen=True, eq=False, slots=True)
class Settings:
    """The four documents of a campaign by file name."""

    documents: Mapping[str, Document]

    def places(self, key: str) -> list[Found]:
        """Where a given fact stands, the file and the way to it; () when no file tells it."""
        head, _, rest = key.removeprefix("girder.").removeprefix("campaign.").partition(".")
        head = {"magnets": "items", "magnet": "items", "line": "line_rule"}.get(head, head)
        teller = TELLERS.get(head)
        found = list(teller(self, rest)) if teller else []
        return found or list(self._plain(key.removeprefix("girder.").removeprefix("campaign.")))

    def line(self, found: Found) -> int:
        """The line on which a key stands (1-based)."""
        return line_of(self.documents[found[0]].text, found[1]) or 1

    def holds(self, file: str, *way: str | int) -> bool:
        """Whether a document has a key."""
        return self.value((file, way)) is not None

    def value(self, found: Found) -> object:
        """What stands at a key, None when nothing does."""
        here: object = self.documents[found[0]].data
        for key in found[1]:
            if isinstance(here, Mapping):
                here = here.get(key)
            elif isinstance(here, list) and isinstance(key, int):
                here = list(here)[key] if key < len(here) else None
            else:
                return None
        return here

    def first(self, files: tuple[str, ...], *ways: KeyPath) -> Iterator[Found]:
        """The first of the ways that the first of the files has."""
        for way in ways:
            for file in files:
                if file in self.documents and self.holds(file, *way):
                    yield file, way
                    return

    def _plain(self, key: str) -> Iterator[Found]:
        for file in self.documents:
            for way in _ways(key, self.documents[file].data):
                yield file, way
                return


def _ways(key: str, data: object, way: KeyPath = ()) -> Iterator[KeyPath]:
    """Ways to a dotted key whose parts may hold dots themselves."""
    if not key:
        yield way
    elif isinstance(data, Mapping):
        for name, value in data.items():
            if key == name or key.startswith(f"{name}."):
                yield from _ways(key[len(name) + 1 :], value, (*way, name))
    elif isinstance(data, list):
        head, _, rest = key.partition(".")
        if head.isdecimal() and int(head) < len(data):
            yield from _ways(rest, data[int(head)], (*way, int(head)))


BOTH, ALL = (GIRDER, GIRDER_TYPE), (CAMPAIGN, GIRDER, GIRDER_TYPE)


def _named(settings: Settings, table: str, rest: str) -> tuple[str, str] | None:
    """The longest name of a table with which the rest of a key begins, and the field behind it."""
    names = settings.documents[GIRDER].data.get(table, {})
    fitting = [n for n in names if rest == n or rest.startswith(f"{n}.")] if isinstance(names, Mapping) else []
    if not fitting:
        return None
    name = max(fitting, key=len)
    return name, rest[len(name) + 1 :]


def _wire(settings: Settings, rest: str) -> Iterator[Found]:
    if rest.startswith("ends."):
        yield from _wire_end(settings, rest.removeprefix("ends."))
        return
    if rest in ("sensor_x_z", "sensor_y_z"):
        yield from settings.first(BOTH, ("wire", "sensors", rest[7]))
        yield from settings.first(BOTH, ("wire", "upstream_support"))
        return
    yield from settings.first(BOTH, ("wire", WIRE.get(rest, rest)))


def _wire_end(settings: Settings, rest: str) -> Iterator[Found]:
    found = _named(settings, "wire_ends", rest)
    if found is None:
        return
    name, field = found
    if field.startswith("to_wire"):
        letters = [
            c for c in "xyz" if field in ("to_wire", f"to_wire_{c}", f"to_wire.{'xyz'.index(c)}", f"to_wire.{c}")
        ]
        for letter in letters:
            yield from settings.first((GIRDER,), ("wire_ends", name, f"to_wire_{letter}"), ("wire_ends", name))
        return
    yield from settings.first((GIRDER,), ("wire_ends", name, {"u_to_wire": "good_to"}.get(field, field)))
    if field in ("u_to_wire", "good_to") and not settings.holds(GIRDER, "wire_ends", name, "good_to"):
        yield from settings.first(BOTH, ("wire", "end_vector"))


def _instrument(settings: Settings, rest: str) -> Iterator[Found]:
    yield from settings.first((LAB,), ("instrument", INSTRUMENT.get(rest, rest)))


def _entry(table: str) -> Callable[[Settings, str], Iterator[Found]]:
    def tell(settings: Settings, rest: str) -> Iterator[Found]:
        found = _named(settings, table, rest)
        if found is None:
            return
        name, field = found
        letters = [c for i, c in enumerate("xyz") if field in (f"point.{i}", f"nominal.{i}", f"nominal.{c}", c)]
        if field in ("point", "nominal"):
            letters = list("xyz")
        ways: list[KeyPath] = [(table, name, letter) for letter in letters] or [(table, name, ITEM.get(field, field))]
        for way in ways:
            yield from settings.first((GIRDER,), way)
        if field == "derivative":
            yield from settings.first((GIRDER,), (table, name, "at_current"))
        yield from _shared(settings, table, name, field)

    return tell


def _shared(settings: Settings, table: str, name: str, field: str) -> Iterator[Found]:
    """What the type says for all, where an entry says nothing itself."""
    if settings.holds(GIRDER, table, name, field):
        return
    if table == "items" and field == "edge":
        yield from settings.first(BOTH, ("edge",))
    if table == "targets" and field in ("u_nominal", "good_to"):
        own: Found = (GIRDER, (table, name, "good_to"))
        yield from [own] if settings.holds(GIRDER, *own[1]) else settings.first(BOTH, ("targets_good_to",))
    if table == "bolts":
        direction = settings.value((GIRDER, (table, name, "direction")))
        yield from settings.first(BOTH, ("bolt_kinds", _KINDS.get(str(direction), "axial"), field))


def _tolerances(settings: Settings, rest: str) -> Iterator[Found]:
    number, _, field = rest.partition(".")
    file = next((f for f in ALL if settings.holds(f, "tolerances")), None)
    if file is not None and number.isdecimal():
        way: KeyPath = ("tolerances", int(number), *field.split("."))
        yield from settings.first((file,), way, way[:2])


def _line_rule(settings: Settings, rest: str) -> Iterator[Found]:
    key, _, name = rest.partition(".")
    file = next((f for f in ALL if settings.holds(f, "line")), None)
    if file is None:
        return
    kind = settings.value((GIRDER, ("items", name, "kind"))) if settings.holds(GIRDER, "items", name, "kind") else ""
    ways: list[KeyPath] = [
        ("line", "weight_of", name),
        ("line", "weight_of", str(kind)),
        ("line", "weights"),
        ("line",),
    ]
    yield from settings.first((file,), *(ways if key == "weight_of" else [("line", key), ("line",)]))


def _occasions(settings: Settings, rest: str) -> Iterator[Found]:
    told = settings.documents[CAMPAIGN].data.get("occasions", [])
    for i, occasion in enumerate(told if isinstance(told, list) else []):
        name = str(occasion.get("name", ""))
        if rest.startswith(f"{name}."):
            yield from settings.first((CAMPAIGN,), ("occasions", i, rest[len(name) + 1 :]), ("occasions", i))


def _lab(settings: Settings, rest: str) -> Iterator[Found]:
    for way in _ways(rest, settings.documents[LAB].data):
        yield LAB, way
        return


def _temperature(settings: Settings, rest: str) -> Iterator[Found]:
    if rest == "u":
        yield from settings.first((LAB,), ("tables", "temperatures", "good_to"))


def _of_girder(table: str) -> Callable[[Settings, str], Iterator[Found]]:
    def tell(settings: Settings, rest: str) -> Iterator[Found]:
        yield from settings.first(BOTH, (table, *(rest.split(".") if rest else ())), (table,))

    return tell


#: First word of a fact's key -> where the files tell it.
TELLERS: dict[str, Callable[[Settings, str], Iterator[Found]]] = {
    "wire": _wire,
    "wire_ends": _wire_end,
    "instrument": _instrument,
    "items": _entry("items"),
    "targets": _entry("targets"),
    "bolts": _entry("bolts"),
    "beam": _of_girder("beam"),
    "creep": _of_girder("clamps"),
    "tolerances": _tolerances,
    "line_rule": _line_rule,
    "occasions": _occasions,
    "lab": _lab,
    "temperature": _temperature,
    "temperatures": _temperature,
}
