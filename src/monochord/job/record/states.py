"""Where every girder stands in the job, and what it waits for."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import Connection

from monochord.campaign.found.charts import GirderState, InstrumentState, Margin
from monochord.campaign.found.verdict import CANNOT_BE_DECIDED, CONFORMS, DOES_NOT_CONFORM
from monochord.job.record.questions import margin_of
from monochord.job.record.signed import signing_of_runs
from monochord.store import asking

Row = Mapping[str, object]


@dataclass(frozen=True, slots=True)
class _Known:
    """What the record knows of all girders, by girder."""

    counts: Mapping[str, Mapping[str, int]]
    worst: Mapping[str, Margin]
    unevaluated: Mapping[str, Row]
    open: Mapping[str, list[Row]]
    steps: Mapping[str, list[Row]]
    uncalibrated: Mapping[str, list[Row]]
    signed: Mapping[str, int]


def states(connection: Connection) -> tuple[GirderState, ...]:
    """Every girder, those first that wait for most; the number of statements does not grow with the fleet."""
    rows = asking.girders(connection)
    known = _known(connection, rows)
    found = [_state(row, known) for row in rows]
    return tuple(state for _, state in sorted(found, key=_urgency))


def _urgency(found: tuple[int, GirderState]) -> tuple[int, float, str]:
    """What is waited for first, then the smallest margin."""
    rank, state = found
    share = state.worst.share if state.worst else None
    return rank, math.inf if share is None else share, state.girder


def _known(connection: Connection, rows: Sequence[Row]) -> _Known:
    counts: dict[str, dict[str, int]] = {}
    asked = {str(row["run"]): str(row["judged"]) for row in rows if row["signatures"]}
    for row in asking.verdict_counts(connection):
        counts.setdefault(str(row["girder"]), {})[str(row["verdict"])] = int(str(row["count"]))
    return _Known(
        counts,
        {m.girder: m for m in map(margin_of, asking.worst_margins(connection))},
        {str(row["girder"]): row for row in asking.unevaluated(connection)},
        _by_girder(asking.open_nonconformances(connection)),
        _by_girder(asking.later_steps(connection)),
        _by_girder(asking.uncalibrated_steps(connection)),
        {run: signing.count for run, signing in signing_of_runs(connection, asked).items()},
    )


def _by_girder(rows: Iterable[Row]) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(str(row["girder"]), []).append(row)
    return found


def _state(row: Row, known: _Known) -> tuple[int, GirderState]:
    name = str(row["name"])
    waits = {rank: words for rank, ask in enumerate(ASKED) for words in [ask(row, known)] if words}
    if len(waits) > 1:
        waits.pop(ASKED.index(_signature), None)  # what is to be signed is not there yet
    state = GirderState(
        girder=name,
        type_name=str(row["type"]),
        last=str(row["last"] or ""),
        place=str(row["place"] or ""),
        at=str(row["at"] or ""),
        judged=str(row["judged"]),
        run=str(row["run"] or ""),
        counts=known.counts.get(name, {}),
        worst=known.worst.get(name),
        waits=tuple(waits.values()),
    )
    return min(waits, default=len(ASKED)), state


def _nonconformances(row: Row, known: _Known) -> str:
    found = known.open.get(str(row["name"]), [])
    if not found:
        return ""
    many = f"on {len(found)} open non-conformances, the oldest" if len(found) > 1 else "on an open non-conformance"
    return f"a decision {many}: {found[0]['words']}"


def _measurement(row: Row, known: _Known) -> str:
    return "" if row["last"] else "its first measurement"


def _run(row: Row, known: _Known) -> str:
    found = known.unevaluated.get(str(row["name"]))
    if found is None:
        return ""
    count = int(str(found["count"]))
    return f"a run that evaluates {found['one']}" + (f" and {count - 1} more" if count > 1 else "")


def _correction(row: Row, known: _Known) -> str:
    counts = known.counts.get(str(row["name"]), {})
    bad = counts.get(DOES_NOT_CONFORM, 0)
    return f"a correction: {bad} of {sum(counts.values())} verdicts of {row['judged']} do not conform" if bad else ""


def _better(row: Row, known: _Known) -> str:
    counts = known.counts.get(str(row["name"]), {})
    open_ = counts.get(CANNOT_BE_DECIDED, 0)
    said = f"{open_} of {sum(counts.values())} verdicts of {row['judged']} cannot be decided"
    return f"a better measurement: {said}" if open_ else ""


def _verdict(row: Row, known: _Known) -> str:
    if not row["last"] or row["last"] == row["judged"] or str(row["name"]) in known.unevaluated:
        return ""
    if not row["judged"]:
        return f"a verdict: {row['last']} tells none"
    return f"a verdict: {row['last']} came after the verdicts of {row['judged']}"


def _after_step(row: Row, known: _Known) -> str:
    found = known.steps.get(str(row["name"]), [])
    if not found:
        return ""
    last = found[-1]
    return f"a new measurement: {last['step']} on {last['done_on']} came after the verdicts of {row['judged']}"


def _calibration(row: Row, known: _Known) -> str:
    found = known.uncalibrated.get(str(row["name"]), [])
    if not found:
        return ""
    last = found[-1]
    said = f"{last['instrument']} had none that was valid on {last['done_on']} ({last['step']})"
    return f"a calibration: {said}"


def _signature(row: Row, known: _Known) -> str:
    """Only of verdicts that conform, and only as many as the campaign asks for."""
    counts = known.counts.get(str(row["name"]), {})
    asked, signed = int(str(row["signatures"] or 0)), known.signed.get(str(row["run"]), 0)
    if not counts or set(counts) != {CONFORMS} or signed >= asked:
        return ""
    return f"a signature: {signed} of {asked} persons signed the run that tells its verdicts"


#: What a girder may wait for, the most urgent first.
ASKED: tuple[Callable[[Row, _Known], str], ...] = (
    _nonconformances,
    _correction,
    _better,
    _after_step,
    _run,
    _verdict,
    _calibration,
    _measurement,
    _signature,
)


def instruments(connection: Connection, today: date) -> tuple[InstrumentState, ...]:
    """Every instrument and whether its latest calibration holds today; those that it does not hold for come first."""
    found = [_instrument(row, today.isoformat()) for row in asking.instruments(connection)]
    return tuple(sorted(found, key=lambda i: (i.expired is False, i.valid_until, i.name)))


def _instrument(row: Row, today: str) -> InstrumentState:
    until = str(row["valid_until"] or "")
    expired = None if row["made_on"] is None else until < today
    return InstrumentState(
        name=str(row["name"]),
        kind=str(row["kind"]),
        serial=str(row["serial"]),
        made_on=str(row["made_on"] or ""),
        valid_until=until,
        certificate=str(row["certificate"] or ""),
        expired=expired,
    )
