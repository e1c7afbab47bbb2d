"""Who signs off a run, by a campaign's own word: the table ``signing`` of its files."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping

#: The roles that people can have; a reader signs nothing.
ROLES = ("crew", "surveyor", "engineer", "approver", "reader")
#: Who may sign where nothing is said.
MAY_SIGN = ("engineer", "approver")


def signing_of(texts: Iterable[str]) -> dict[str, object]:
    r"""The rule of the first file that has one, with what it leaves out filled in; empty where no signature is asked for.

    texts  of campaign.toml, girder.toml and girder-type.toml, the one that goes before the others first

    >>> signing_of(['girder = "G1"', "[signing]\nsignatures = 2"])["different_persons"]
    True
    >>> signing_of([""])
    {}
    """
    for text in texts:
        told = tomllib.loads(text).get("signing")
        if isinstance(told, Mapping) and "signatures" in told:
            return {
                "signatures": told["signatures"],
                "roles": list(told.get("roles", MAY_SIGN)),
                "different_persons": told.get("different_persons", True),
                "different_roles": told.get("different_roles", False),
            }
    return {}
