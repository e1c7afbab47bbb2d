"""Entries of the result document: plain values, with the reason beside everything that is not known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.axes import Gate
from monochord.ground.estimate import Estimate
from monochord.ground.frames import Rigid
from monochord.report.facts import component, finite

#: What may stand in a document beside objects.
Value = object

#: A part of the document, and the reasons for what is empty in it.
Part = tuple[object, dict[str, str]]

#: Said where a finding left something out and gave no reason.
NO_REASON = "no reason was given"


def entry(values: Mapping[str, Value], why: Mapping[str, str]) -> dict[str, object]:
    """The values with a ``reasons`` object for every null, and for every empty object or list that has one.

    >>> entry({"x": 1.0, "roll": None, "gates": []}, {"roll": "one plane only"})
    {'x': 1.0, 'roll': None, 'gates': [], 'reasons': {'roll': 'one plane only'}}
    """
    nulls = {key: why.get(key, NO_REASON) for key, value in values.items() if value is None}
    empties = {key: why[key] for key, value in values.items() if value in ({}, []) and key in why}
    reasons = nulls | empties
    return {**values, **({"reasons": reasons} if reasons else {})}


def matrix(values: NDArray[np.float64]) -> list[object]:
    """An array as nested lists of plain floats."""
    nested: list[object] = values.tolist()
    return nested


def pose_part(pose: Rigid) -> dict[str, object]:
    """A rigid motion: p_to = rotation p_from + shift."""
    return {"from": pose.source, "to": pose.target, "rotation": matrix(pose.rotation), "shift": matrix(pose.shift)}


def gates_part(gates: Iterable[Gate]) -> list[object]:
    """Gates with what they said."""
    return [{"name": gate.name, "ok": bool(gate.ok), "message": gate.message} for gate in gates]


def known_part(estimate: Estimate, names: Iterable[str]) -> tuple[list[str], list[object]]:
    """The components that are known, by the word behind the last dot, and their covariance.

    A component that is missing, NaN, or without a finite variance is left out of both.

    >>> e = Estimate.of([1.0, np.nan], ["Q1.x", "Q1.slope_x"], unit="m", frame="girder", causes={"noise": np.eye(2)})
    >>> known_part(e, ["Q1.x", "Q1.slope_x", "Q1.y"])
    (['x'], [[1.0]])
    """
    places = {name: i for i, name in enumerate(estimate.names)}
    cov = estimate.cov
    rows = [places[n] for n in names if n in places]
    rows = [i for i in rows if np.isfinite(estimate.value[i]) and np.isfinite(cov[i, i])]
    labels = [estimate.names[i].rsplit(".", 1)[-1] for i in rows]
    return labels, matrix(cov[np.ix_(rows, rows)])


def causes_part(estimate: Estimate, x: str, y: str) -> list[object]:
    """Standard uncertainty of two components by cause, largest first."""
    rows = [estimate.index(name) for name in (x, y)]
    parts = {}
    for cause, factor in estimate.factors.items():
        picked = factor.jacobian[rows]
        variances = np.einsum("ij,jk,ik->i", picked, factor.spread, picked)
        parts[cause] = np.sqrt(np.maximum(variances, 0.0))
    finite = {cause: u for cause, u in parts.items() if np.isfinite(u).all() and u.any()}
    ordered = sorted(finite.items(), key=lambda item: -float(item[1] @ item[1]))
    return [{"cause": cause, "u_x": float(u[0]), "u_y": float(u[1])} for cause, u in ordered]


def numbers_part(values: Mapping[str, float]) -> tuple[dict[str, object], dict[str, str]]:
    """Name -> number, and name -> reason for those that are no finite number.

    >>> numbers_part({"V1": 0.5, "V2": float("nan")})
    ({'V1': 0.5, 'V2': None}, {'V2': 'no number was found'})
    """
    found: dict[str, object] = {name: finite(value) for name, value in values.items()}
    return found, {name: "no number was found" for name, value in found.items() if value is None}


def planar_part(estimate: Estimate, names: Iterable[str], why: str) -> dict[str, object]:
    """Name -> {x, y, u_x, u_y} of the components "<name>.x" and "<name>.y", with ``why`` beside what is not known.

    >>> e = Estimate.of([1.0, 2.0], ["Q1.x", "Q1.y"], unit="m", frame="girder", causes={"noise": np.eye(2)})
    >>> planar_part(e, ["Q1"], "not found")
    {'Q1': {'x': 1.0, 'y': 2.0, 'u_x': 1.0, 'u_y': 1.0}}
    """
    parts: dict[str, object] = {}
    for name in names:
        x, y = component(estimate, f"{name}.x"), component(estimate, f"{name}.y")
        values: dict[str, Value] = {"x": x.value, "y": y.value, "u_x": x.u, "u_y": y.u}
        parts[name] = entry(values, dict.fromkeys(values, why))
    return parts
