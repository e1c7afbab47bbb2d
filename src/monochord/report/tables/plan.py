"""Tables of a bolt plan: turns, loads, offsets before and after, and what bolts cannot cure."""

from __future__ import annotations

from monochord.campaign.found.plan import BoltPlan
from monochord.campaign.found.result import Result
from monochord.report.bolting import DEGREES, MINUTES, felt_state
from monochord.report.document_plan import NO_DEPARTURE, NO_OFFSET
from monochord.report.facts import Known, component, finite, magnets_of
from monochord.report.svg import ident
from monochord.report.tables.table import Cell, Table, column, plain, reasons_note, rows_of, words
from monochord.report.words import listed, micrometres, percent

UM = 1e6


def turns_table(plan: BoltPlan, advances: dict[str, float]) -> Table:
    """Every bolt's turn: turns, degrees, minutes of a clock's dial, advance, and the sense in words.

    advances  bolt -> advance of its turn along its push [m]
    """
    names = list(plan.turns)
    return Table(
        ident("table-turns", plan.at),
        f"Turns, {plan.at}, towards the shape of {plan.reference}",
        ("bolt", "turns [turn]", "degrees [°]", "on a clock's dial [min]", "advance [µm]", "in words"),
        rows_of(
            map(words, names),
            [plain(plan.turns[n], 4, sign=True) for n in names],
            [plain(plan.turns[n], 0, DEGREES, sign=True) for n in names],
            [plain(plan.turns[n], 1, MINUTES, sign=True) for n in names],
            [plain(advances.get(n), 0, UM, sign=True) for n in names],
            [words(plan.senses.get(n, "no words were given")) for n in names],
        ),
        note="Positive turns push the girder along the bolt's direction. One turn is 360° or 60 minutes of the dial.",
        empty="No bolt is described.",
    )


def loads_table(result: Result, plan: BoltPlan) -> Table:
    """What was felt at every foot, and its load now and after the turns."""
    names = list(dict.fromkeys([*plan.loads_before, *plan.loads_after]))
    before = [Known(finite(plan.loads_before.get(n)), finite(plan.u_loads_before.get(n))) for n in names]
    return Table(
        ident("table-loads", plan.at),
        f"Feet and loads, {plan.at}",
        ("bolt", "felt", "load now [kN]", "expected after the turns [kN]"),
        rows_of(
            map(words, names),
            [words(felt_state(result, plan, n)) for n in names],
            column(before, 1e-3, sign=False),
            [plain(plan.loads_after.get(n), 1, 1e-3) for n in names],
        ),
        note="Loads are reckoned by the elastic model at the temperatures of this occasion. "
        + (f"Bearing nothing now: {listed(plan.loose)}." if plan.loose else "Every foot bears."),
        empty="No load is known.",
    )


def plan_offsets_table(result: Result, plan: BoltPlan) -> Table:
    """Offsets from the common line now and after the turns."""
    names = magnets_of(result)
    unknown = [(n, NO_OFFSET) for n in names if component(plan.offsets_before, f"{n}.x").value is None]
    return Table(
        ident("table-plan-offsets", plan.at),
        f"Offsets from the common line now and after the turns, {plan.at}",
        ("magnet", "x now [µm]", "x after [µm]", "y now [µm]", "y after [µm]"),
        rows_of(
            map(words, names),
            *(
                column([component(estimate, f"{n}.{q}") for n in names], UM, across=q)
                for q in "xy"
                for estimate in (plan.offsets_before, plan.offsets_after)
            ),
        ),
        note=reasons_note(unknown),
        empty="No magnet is described.",
    )


def departures_table(result: Result, plan: BoltPlan) -> Table:
    """Departures from the reference shape now (what doing nothing leaves) and after the turns."""
    names = magnets_of(result)
    unknown = [(n, NO_DEPARTURE) for n in names if component(plan.shape_before, f"{n}.x").value is None]
    return Table(
        ident("table-departures", plan.at),
        f"Departure from the shape of {plan.reference}, {plan.at}",
        ("magnet", "x now [µm]", "x after [µm]", "y now [µm]", "y after [µm]"),
        rows_of(
            map(words, names),
            *(
                column([component(estimate, f"{n}.{q}") for n in names], UM, across=q)
                for q in "xy"
                for estimate in (plan.shape_before, plan.shape_after)
            ),
        ),
        note=(
            "About a straight line, at the temperatures of the reference, own moves of magnets left out. "
            + reasons_note(unknown)
        ).strip(),
        empty="No magnet is described.",
    )


def cure_table(plan: BoltPlan) -> Table:
    """What turning gives, what doing nothing leaves, and what no bolt cures."""
    share = finite(plan.curable_share)
    rest = None if share is None else 1.0 - share
    rows = (
        (words("departure now, and what doing nothing leaves (rms)"), _length(plan.left_before)),
        (words("expected after the turns (rms)"), _length(plan.left_after)),
        (words("below this in 95 of 100 cases (rms)"), _length(plan.left_after_95)),
        (words("bolts can cure, of the mean square of all departures"), _share(share)),
        (words("no bolt can cure (own moves of magnets, shape between the feet)"), _share(rest)),
    )
    return Table(
        ident("table-cure", plan.at),
        f"What the turns cure and what they do not, {plan.at}",
        ("what", "size"),
        rows,
        note="" if share is not None else "Not known: the share that bolts can cure (there is nothing to cure).",
    )


def _length(value: float) -> Cell:
    known = finite(value)
    if known is None:
        return Cell("not known", style="number")
    return Cell(micrometres(known, None, decimals=1).split(" ")[0].lstrip("+"), known, "µm", "number")


def _share(value: float | None) -> Cell:
    return Cell("not known", style="number") if value is None else Cell(percent(value), value, "%", "number")


def plan_gates(plan: BoltPlan) -> Table:
    """Checks of the plan."""
    return Table(
        ident("table-plan-checks", plan.at),
        f"Checks of the plan, {plan.at}",
        ("check", "outcome", "what was found"),
        tuple((words(g.name), words("passed" if g.ok else "did not pass"), words(g.message)) for g in plan.gates),
        empty="No check was made.",
    )
