"""What does not fit the girder's shape is left out, worst first, and named."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.given.girder import Girder
from monochord.girder.evidence import Seen, carry
from monochord.girder.fit import Rows, risk, solve

Array = NDArray[np.float64]

#: Risk of setting anything aside in a survey in which everything fits.
_RISK = 1e-3


def sifted(rows: Rows, seen: Seen, girder: Girder) -> tuple[Rows, dict[str, str], list[str]]:
    """Leave out, worst first, what does not fit: a target, a carrier as a body, or a kind of finding at the feet."""
    aside: dict[str, str] = {}
    doubted: list[str] = []
    for _ in range(len(seen.names)):
        solution = solve(rows)
        groups = _groups(rows, seen, girder)
        risks = {name: risk(solution, columns) for name, columns in groups.items()}
        worst = min(risks, key=lambda name: risks[name], default=None)
        if worst is None or risks[worst] > _RISK / len(risks):
            return rows, aside, doubted
        kind, name = worst
        if kind == "target":
            aside[name] = "it does not follow the girder's shape: target or nest moved, or its survey is wrong"
            keep = np.array([k != "target" or s != name for k, s in zip(rows.kinds, rows.subject, strict=True)])
        elif kind == "carrier":
            aside[name] = "its targets moved together against the girder's shape: it moved on the girder"
            gone = {t for t, c in zip(seen.names, seen.carriers, strict=True) if c == name}
            keep = np.array([k != "target" or s not in gone for k, s in zip(rows.kinds, rows.subject, strict=True)])
        else:
            doubted.append(name)
            keep = ~rows.of(name)
        rows = rows.only(keep)
    return rows, aside, doubted


def _groups(rows: Rows, seen: Seen, girder: Girder) -> dict[tuple[str, str], Array]:
    """Columns (q, k) by which each group's error would enter the rows."""
    groups: dict[tuple[str, str], Array] = {}
    q = len(rows.value)
    index = {
        name: [i for i in range(q) if rows.kinds[i] == "target" and rows.subject[i] == name] for name in seen.names
    }
    place = dict(zip(seen.names, seen.places, strict=True))
    for name, at in index.items():
        if at:
            groups["target", name] = np.eye(q)[:, at]
    items = {item.name for item in girder.items}
    for carrier in sorted(set(seen.carriers) & items):
        on = [n for n, c in zip(seen.names, seen.carriers, strict=True) if c == carrier and index[n]]
        if len(on) > 1:
            centre = np.mean([place[n] for n in on], axis=0)
            columns = np.zeros((q, 6))
            for n in on:
                body = carry(place[n] - centre)
                columns[index[n]] = body[: len(index[n])] if len(index[n]) == 3 else 0.0
            groups["carrier", carrier] = columns
    for kind in ("washer", "contact"):
        if rows.of(kind).any():
            groups["finding", kind] = np.eye(q)[:, rows.of(kind)]
    return groups
