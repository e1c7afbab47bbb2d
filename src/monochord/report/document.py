"""The result document: everything a run found, as one strict JSON object.

All values are SI in the girder frame unless a key says otherwise. What is not known is ``null``, or
an empty object or list, and its reason stands beside it under ``reasons``.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping

from monochord.campaign.found.axes import Move
from monochord.campaign.found.result import OccasionFinding, Result
from monochord.campaign.given.campaign import Tolerance
from monochord.ground.faults import Fault
from monochord.report.document_budget import budgets_part
from monochord.report.document_comparison import comparisons_part
from monochord.report.document_excluded import excluded_part
from monochord.report.document_occasion import occasion_part
from monochord.report.document_plan import plans_part
from monochord.report.document_reading import clocks_part, imports_part, pairings_part
from monochord.report.document_signs import signs_part
from monochord.report.document_verdict import verdicts_part
from monochord.report.entries import Part, Value, entry
from monochord.report.facts import finite

SCHEMA_NAME = "monochord-result/1"

#: Lists and objects of scalars up to so many characters are written on one line.
LONGEST_LINE = 132


def result_document(result: Result) -> dict[str, object]:
    """The whole result as plain objects, lists, strings and finite numbers, ready for strict JSON.

    Keys in a fixed order: schema, girder, versions, run, inputs, settings, occasions, comparisons, plans,
    verdicts, budgets, moves, signs, excluded, imports, pairings, clocks, tolerances, notes, sentence, and reasons
    where something is empty.
    """
    document: dict[str, object] = {
        "schema": SCHEMA_NAME,
        "girder": {"name": result.campaign.girder.name, "type": result.campaign.girder.type_name},
        "versions": {"made_by": result.origin.made_by, **result.origin.versions},
        "run": {"id": result.origin.run, "made_at": result.origin.made_at},
        "inputs": [{"path": path, "sha256": digest} for path, digest in inputs_of(result)],
        "settings": settings_of(result),
        "occasions": {found.name: occasion_part(result, found) for found in result.occasions},
    }
    reasons: dict[str, str] = {}
    for key, part in PARTS.items():
        document[key], why = part(result)
        reasons |= why
    document["tolerances"] = [_tolerance(t) for t in result.campaign.tolerances]
    document["notes"] = [fault_part(fault) for fault in (*result.campaign.notes, *result.notes)]
    document["sentence"] = result.sentence
    if reasons:
        document["reasons"] = reasons
    return document


def inputs_of(result: Result) -> list[tuple[str, str]]:
    """Every file that was read, once: (path inside the campaign, sha256), by path."""
    return sorted({(s.path, s.sha256) for s in (*result.campaign.inputs, *result.origin.inputs)})


def settings_of(result: Result) -> dict[str, str]:
    """Settings of the campaign and of the run, by name; the run's own win."""
    return dict(sorted({**result.campaign.settings, **result.origin.settings}.items()))


def fault_part(fault: Fault) -> dict[str, object]:
    """A fault with its place and the one line in which it is told."""
    return {
        "text": str(fault),
        "place": fault.place,
        "given": fault.given,
        "expected": fault.expected,
        "remedy": fault.remedy,
    }


def _tolerance(tolerance: Tolerance) -> dict[str, object]:
    lower, upper = (finite(end) for end in tolerance.ends)
    values: dict[str, Value] = {
        "quantity": tolerance.quantity,
        "limit": tolerance.limit,
        "magnets": list(tolerance.magnets),
        "form": tolerance.form,
        "lower": lower,
        "upper": upper,
        "rule": tolerance.rule,
        "risk": tolerance.risk,
        "whose": tolerance.whose,
        "prior": {"law": tolerance.prior.law, **_prior_numbers(tolerance)},
    }
    return entry(values, {"lower": "no lower limit is declared", "upper": "no upper limit is declared"})


def _prior_numbers(tolerance: Tolerance) -> dict[str, object]:
    """The numbers of the declared law, SI."""
    prior = tolerance.prior
    numbers: dict[str, dict[str, object]] = {
        "normal": {"mean": prior.mean, "sd": prior.sd},
        "uniform": {"low": prior.low, "high": prior.high},
        "fleet": {"values": list(prior.values), "u": prior.u},
        "gamma": {"shape": prior.shape, "scale": prior.scale},
    }
    return numbers.get(prior.law, {})


def _moves(result: Result) -> Part:
    empty = {f"moves.{o.name}": _why_no_moves(o) for o in result.occasions if not o.moves}
    return {o.name: {m.magnet: _move(m) for m in o.moves} for o in result.occasions}, empty


def _why_no_moves(found: OccasionFinding) -> str:
    return found.lacks.get("moves", "no move is ordered on this occasion")


def _move(move: Move) -> dict[str, object]:
    values: dict[str, Value] = {key: finite(getattr(move, key)) for key in ("x", "y", "u_x", "u_y")}
    return entry(values | {"words": move.words}, dict.fromkeys(values, "not known to the order of moves"))


def _budget_scale(result: Result) -> Part:
    """What enlarged the uncertainties that decide; null, with the reason, where they are as the budget has them."""
    scale = result.campaign.budget_scale
    if scale is None:
        return None, {"budget_scale": "uncertainties are as the budget has them"}
    told = {"factor": scale.factor, "girders": scale.girders, "from": scale.source, "why": scale.why}
    return told | {"words": scale.words}, {}


#: Parts beyond the occasions, in the order of the document.
PARTS: Mapping[str, Callable[[Result], Part]] = {
    "budget_scale": _budget_scale,
    "comparisons": comparisons_part,
    "plans": plans_part,
    "verdicts": verdicts_part,
    "budgets": budgets_part,
    "moves": _moves,
    "signs": signs_part,
    "excluded": excluded_part,
    "imports": imports_part,
    "pairings": pairings_part,
    "clocks": clocks_part,
}


def document_text(document: Mapping[str, object]) -> str:
    """The document as strict JSON text: keys in the order given, floats as ``repr``, a newline at the end.

    Lists and objects that hold only short scalars stand on one line, everything else on lines of its own.
    Raises ValueError for NaN or infinity.

    >>> print(document_text({"schema": "x/1", "cov": [[1.0, 0.5], [0.5, 2e-12]]}), end="")
    {
      "schema": "x/1",
      "cov": [
        [1.0, 0.5],
        [0.5, 2e-12]
      ]
    }
    """
    return _lines(document, "") + "\n"


def _lines(value: object, indent: str) -> str:
    if not isinstance(value, (Mapping, list)):
        return _flat(value)
    items = value.values() if isinstance(value, Mapping) else value
    if not any(isinstance(item, (Mapping, list)) for item in items) and len(flat := _flat(value)) <= LONGEST_LINE:
        return flat
    deeper = indent + "  "
    if isinstance(value, Mapping):
        rows = [f"{deeper}{_flat(key)}: {_lines(item, deeper)}" for key, item in value.items()]
        return "{\n" + ",\n".join(rows) + f"\n{indent}}}"
    return "[\n" + ",\n".join([deeper + _lines(item, deeper) for item in value]) + f"\n{indent}]"


_flat = json.JSONEncoder(allow_nan=False, ensure_ascii=False).encode
