"""Settings: what no file says, given by name, each a number with its unit or a word.

=========================================  ==========================================================
``girder``, ``reference``                  the girder's name; the occasion to which shapes return
``temperature.OCCASION``                   mean temperature of the girder then
``place.OCCASION``                         where it was, in words
``stringing.OCCASION``                     name of the stringing that the wire then had
``tolerance.QUANTITY``                     limit of offset, own-move, roll, slope or shift
``tolerance.QUANTITY.KEY``                 how it is judged: form, sides, lower, rule, risk, whose
``line``, ``weights``                      the rule of the common line
``items.NAME.KEY``, ``targets.NAME.KEY``,  a value of girder.toml; so for bolts and wire_ends
``wire.KEY``, ``beam.KEY``                 a value that goes before the girder type's
``run.ANYTHING``                           kept for the evaluation, not looked at here
=========================================  ==========================================================
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from monochord.campaign.given.tolerance import FORMS, RULES, SIDES, WHOSE
from monochord.files.amounts import why_not
from monochord.files.girder_tables import GirderTables
from monochord.files.lab import Lab
from monochord.files.tolerances import JUDGING, TOLERATED
from monochord.files.words import did_you_mean, listed
from monochord.ground.faults import Gatherer

#: Words that a fact of a tolerance may be.
WORDS_OF = {"form": FORMS, "sides": SIDES, "rule": RULES, "whose": WHOSE}
_ENTRIES = ("items", "targets", "bolts", "wire_ends")
_YES_NO = {"yes": True, "no": False, "true": True, "false": False}


@dataclass(slots=True)
class Settings:
    """What was set, sorted by where it goes, beside the entries of the girder's file that it completes."""

    given: Mapping[str, str]
    tables: GirderTables
    girder: str = ""
    reference: str = ""
    temperatures: dict[str, str] = field(default_factory=dict)
    places: dict[str, str] = field(default_factory=dict)
    stringings: dict[str, str] = field(default_factory=dict)
    tolerances: dict[str, dict[str, str]] = field(default_factory=dict)
    line: dict[str, str] = field(default_factory=dict)
    overrides: dict[str, dict[str, object]] = field(default_factory=dict)


def settled(
    given: Mapping[str, str], tables: GirderTables, occasions: Sequence[str], lab: Lab, faults: Gatherer
) -> Settings:
    """The settings sorted and checked; what is still missing after them is a fault that asks for it."""
    out = Settings(given, tables)
    for key, value in given.items():
        head, _, rest = key.partition(".")
        if key == "girder":
            out.girder = value
        elif key == "reference":
            out.reference = _occasion(key, value, occasions, faults)
        elif key in ("line", "weights"):
            out.line[key] = value
        elif head == "temperature":
            out.temperatures[_occasion(key, rest, occasions, faults)] = _amount(key, value, "temperature", faults)
        elif head in ("place", "stringing"):
            told = out.places if head == "place" else out.stringings
            told[_occasion(key, rest, occasions, faults)] = value
        elif head == "tolerance":
            _tolerance(key, rest, value, out, faults)
        elif head in _ENTRIES:
            _entry(key, value, tables, faults)
        elif head in ("wire", "beam") and rest:
            out.overrides.setdefault(head, {})[rest] = value
        elif head != "run":
            _unknown(key, faults)
    for (table, name, entry), fault in tables.asked.items():
        if f"{table}.{name}.{entry}" not in given:
            faults.faults.append(fault)
    return out


def _place(key: str) -> str:
    return f"--set {key}"


def _unknown(key: str, faults: Gatherer) -> None:
    known = ["girder", "reference", "line", "weights", "temperature.", "place.", "stringing.", "tolerance."]
    known += [f"{e}." for e in (*_ENTRIES, "wire", "beam", "run")]
    hint = did_you_mean(key.partition(".")[0], [k.rstrip(".") for k in known])
    faults.add(f"setting {key!r}", f"one of {listed(known, 20)}", f"{hint}mend the key", file=_place(key))


def _occasion(key: str, name: str, occasions: Sequence[str], faults: Gatherer) -> str:
    if name not in occasions:
        remedy = f"{did_you_mean(name, occasions)}mend the name"
        faults.add(f"occasion {name!r}", f"one of {listed(list(occasions))}", remedy, file=_place(key))
    return name


def _amount(key: str, value: str, dimension: str, faults: Gatherer) -> str:
    if why := why_not(value, dimension):
        faults.add(repr(value), why[0], why[1], file=_place(key))
    return value


def _tolerance(key: str, rest: str, value: str, out: Settings, faults: Gatherer) -> None:
    name, _, fact = rest.partition(".")
    quantity = name.replace("-", " ")
    if quantity not in TOLERATED:
        remedy = f"{did_you_mean(quantity, TOLERATED)}mend the key"
        faults.add(f"a tolerance of {quantity!r}", listed(list(TOLERATED)), remedy, file=_place(key))
        return
    facts = [k for k in JUDGING if k != "prior"]  # a prior is a table: it stands in a file
    if fact and fact not in facts:
        remedy = f"{did_you_mean(fact, facts)}mend the key"
        faults.add(f"{fact!r} of a tolerance", listed(facts, 10), remedy, file=_place(key))
        return
    dimension = {"": TOLERATED[quantity], "lower": TOLERATED[quantity], "risk": "ratio"}.get(fact)
    told = _amount(key, value, dimension, faults) if dimension else value
    words = WORDS_OF.get(fact, (value,))
    if value not in words:
        remedy = f"{did_you_mean(value, words)}mend the word"
        faults.add(repr(value), listed(list(words)), remedy, file=_place(key))
    out.tolerances.setdefault(quantity, {})[fact or "limit"] = told


def _entry(key: str, value: str, tables: GirderTables, faults: Gatherer) -> None:
    """A value of one entry of the girder's file; names may hold dots themselves."""
    table, _, rest = key.partition(".")
    name, _, entry = rest.rpartition(".")
    entries: dict[str, object] = getattr(tables, table)
    if not name or not entry:
        faults.add(f"setting {key!r}", f"{table}.NAME.KEY", "write it so", file=_place(key))
        return
    if name not in entries:
        if table != "targets" or entry != "carrier":
            remedy = f"{did_you_mean(name, entries)}mend the name"
            faults.add(repr(name), f"one of {listed(list(entries))}", remedy, file=_place(key))
            return
        entries[name] = {}
    found = entries[name]
    if isinstance(found, dict):
        found[entry] = _YES_NO.get(value, value) if entry in ("one_sided", "right_handed") else value
