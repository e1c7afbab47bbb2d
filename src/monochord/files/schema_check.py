"""Our files checked against their JSON Schemas, with every fault in its line.

Only the keywords that our schemas use are known: type, properties, required, additionalProperties,
items, minItems, enum, pattern, minimum, anyOf (branches of different type), $ref into $defs; and two
annotations of ours: ``dimension`` says that a text is a number with a unit of that kind, ``words`` lists
texts that may stand instead. General validators read the same schemas and pass over the annotations; a
test holds the two to the same verdicts.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path as FilePath
from typing import cast

from monochord.files.amounts import why_not
from monochord.files.document import Document
from monochord.files.places import Path
from monochord.files.words import did_you_mean, listed
from monochord.ground.faults import Fault, Refused

Schema = Mapping[str, object]

#: Folder of the schemas.
SCHEMAS = FilePath(__file__).with_name("schema")

_TYPES: dict[str, tuple[type, ...]] = {
    "string": (str,),
    "integer": (int,),
    "number": (int, float),
    "boolean": (bool,),
    "array": (list,),
    "object": (dict,),
}
_SPOKEN = {
    "string": "text in quotes",
    "integer": "a whole number",
    "number": "a number",
    "boolean": "true or false",
    "array": "a list",
    "object": "a table",
}


@cache
def schema(name: str) -> Schema:
    """A schema of this project by its short name: "lab", "campaign", "girder" or "girder-type"."""
    return cast(Schema, json.loads((SCHEMAS / f"{name}.json").read_text("utf-8")))


def check(document: Document, name: str) -> None:
    """Refuse a document that does not fit its schema, with all its faults at once."""
    checker = _Checker(document, schema(name))
    checker.value((), document.data, checker.schema)
    if checker.faults:
        raise Refused(checker.faults)


class _Checker:
    def __init__(self, document: Document, root: Schema) -> None:
        self.document, self.schema = document, root
        self.faults: list[Fault] = []

    def add(self, path: Path, given: str, expected: str, remedy: str) -> None:
        self.faults.append(self.document.fault(path, given, expected, remedy))

    def value(self, path: Path, value: object, rule: Schema) -> None:
        rule = self._resolved(rule)
        if "anyOf" in rule:
            branch = self._branch(value, cast(list[Schema], rule["anyOf"]))
            if branch is None:
                self.add(path, _shown(value), _wanted(rule, self), _help(rule))
                return
            rule = branch
        kind = rule.get("type")
        if isinstance(kind, str) and not _is(value, kind):
            self.add(path, _shown(value), _wanted(rule, self), _help(rule))
        elif isinstance(value, dict):
            self._table(path, value, rule)
        elif isinstance(value, list):
            self._list(path, value, rule)
        else:
            self._plain(path, value, rule)

    def _resolved(self, rule: Schema) -> Schema:
        while isinstance(ref := rule.get("$ref"), str):
            defs = cast(Mapping[str, Schema], self.schema["$defs"])
            rule = defs[ref.rsplit("/", 1)[1]]
        return rule

    def _branch(self, value: object, branches: list[Schema]) -> Schema | None:
        for branch in map(self._resolved, branches):
            if _is(value, cast(str, branch["type"])):
                return branch
        return None

    def _table(self, path: Path, value: Mapping[str, object], rule: Schema) -> None:
        known = cast(Mapping[str, Schema], rule.get("properties", {}))
        for key in cast(list[str], rule.get("required", [])):
            if key not in value:
                wanted = known.get(key, {})
                where = ".".join(str(p) for p in path if isinstance(p, str))
                self.add(
                    path, f"no key {key!r}" + (f" in {where}" if where else ""), _wanted(wanted, self), f"add {key}"
                )
        other = rule.get("additionalProperties", True)
        for key, item in value.items():
            if key in known:
                self.value((*path, key), item, known[key])
            elif other is False:
                remedy = f"{did_you_mean(key, known)}mend or remove the key"
                self.add((*path, key), f"key {key!r}", f"one of {listed(list(known), 40)}", remedy)
            elif isinstance(other, dict):
                self.value((*path, key), item, other)

    def _list(self, path: Path, value: list[object], rule: Schema) -> None:
        if len(value) < cast(int, rule.get("minItems", 0)):
            self.add(path, f"{len(value)} entries", f"at least {rule['minItems']}", _help(rule))
        items = cast(Schema, rule.get("items", {}))
        for i, item in enumerate(value):
            self.value((*path, i), item, items)

    def _plain(self, path: Path, value: object, rule: Schema) -> None:
        allowed = cast(list[object], rule.get("enum", []))
        if allowed and value not in allowed:
            hint = did_you_mean(str(value), [str(a) for a in allowed])
            self.add(path, _shown(value), _wanted(rule, self), f"{hint}{_help(rule)}")
        pattern = rule.get("pattern")
        if isinstance(pattern, str) and isinstance(value, str) and not re.search(pattern, value):
            self.add(path, _shown(value), _wanted(rule, self), _help(rule))
        least = rule.get("minimum")
        if isinstance(least, (int, float)) and isinstance(value, (int, float)) and value < least:
            self.add(path, _shown(value), f"{least} or more", _help(rule))
        dimension = rule.get("dimension")
        words = cast(list[str], rule.get("words", []))
        if isinstance(dimension, str) and isinstance(value, str) and value not in words:
            why = why_not(value, dimension)
            if why is not None:
                either = "".join(f"{word!r} or " for word in words)
                self.add(path, _shown(value), either + why[0], why[1])


def _is(value: object, kind: str) -> bool:
    if isinstance(value, bool):
        return kind == "boolean"
    return isinstance(value, _TYPES[kind])


def _shown(value: object) -> str:
    if isinstance(value, dict):
        return f"a table with {listed(list(value), 6) or 'nothing'}"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    return repr(value)


def _wanted(rule: Schema, checker: _Checker) -> str:
    rule = checker._resolved(rule)
    if "anyOf" in rule:
        return " or ".join(_wanted(r, checker) for r in cast(list[Schema], rule["anyOf"]))
    if "enum" in rule:
        return f"one of {', '.join(map(repr, cast(list[object], rule['enum'])))}"
    if "dimension" in rule:
        return f"a {rule['dimension']} with its unit"
    return _SPOKEN.get(str(rule.get("type", "")), "a value")


def _help(rule: Schema) -> str:
    return str(rule.get("description", "mend the value"))
