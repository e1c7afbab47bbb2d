"""Every key that our files may hold stands in the page about files."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

from monochord.files.roles import ROLES
from monochord.files.schema_check import SCHEMAS

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "files.md").read_text("utf-8")


def keys(rule: object) -> Iterator[str]:
    """Names of all properties below a schema."""
    if isinstance(rule, Mapping):
        properties = rule.get("properties")
        if isinstance(properties, Mapping):
            yield from (str(key) for key in properties)
        for value in rule.values():
            yield from keys(value)
    elif isinstance(rule, list):
        for value in rule:
            yield from keys(value)


def named(key: str) -> bool:
    return re.search(rf"`[^`\n]*\b{re.escape(key)}\b[^`\n]*`", PAGE) is not None


@pytest.mark.parametrize("name", ["lab", "campaign", "girder-type"])
def test_every_key_of_a_file_is_documented(name: str) -> None:
    found = set(keys(json.loads((SCHEMAS / f"{name}.json").read_text("utf-8"))))
    assert found
    assert sorted(key for key in found if not named(key)) == []


def test_every_column_of_every_role_is_documented() -> None:
    # of displacements the page shows one axis for all three
    columns = {re.sub(r"^[yz]_", "x_", key) for columns in ROLES.values() for key in columns}
    assert sorted(key for key in columns if not named(key)) == []
    assert sorted(role for role in ROLES if not named(role)) == []


def test_a_key_that_is_not_there_is_seen() -> None:
    assert not named("unheard_of")
