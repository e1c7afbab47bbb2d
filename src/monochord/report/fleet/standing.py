"""Where the girders stand and what they wait for, their margins, their instruments, and where magnets were: answers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from monochord.campaign.found.charts import GirderState, InstrumentState, Margin, Stay
from monochord.report.fleet.answer import Answer, origin
from monochord.report.fleet.pictures import margins_picture, waiting_picture
from monochord.report.fleet.quantities import judged, printed
from monochord.report.tables.table import Cell, Table, rows_of, words
from monochord.report.tables.verdicts import verdict_cell
from monochord.report.words import UNKNOWN, counted, listed, number

READY = "waits for nothing"


def wait_kind(words_: str) -> str:
    """What a girder waits for, without the particulars.

    >>> wait_kind("a correction: 3 of 24 verdicts of 50-settled do not conform")
    'a correction'
    """
    kind = words_.partition(": ")[0]
    return "a decision" if kind.startswith("a decision") else "a run" if kind.startswith("a run") else kind


def waiting(states: Sequence[GirderState]) -> Counter[str]:
    """What girders wait for first -> how many."""
    return Counter(wait_kind(s.waits[0]) if s.waits else READY for s in states)


def states_answer(states: Sequence[GirderState], tools: Sequence[InstrumentState], most: int) -> Answer:
    """What waits for what."""
    shown = states[:most]
    return Answer(
        "state",
        "State of the girders",
        _states_sentence(states, tools),
        "Each girder stands once, at what it waits for first. A girder waits for a decision on its open non-conformances, a "
        "correction, a better measurement, a new one after a step, a run, a verdict, a calibration, a signature, in this order.",
        (waiting_picture(waiting(states)),) if states else (),
        (_states_table(shown, len(states)), _instruments_table(tools)),
        {"girders": shown, "instruments": tools},
    )


def _states_sentence(states: Sequence[GirderState], tools: Sequence[InstrumentState]) -> str:
    if not states:
        return "The record knows no girder."
    counts = waiting(states)
    ready = counts.pop(READY, 0)
    what = listed(f"{n} for {kind}" for kind, n in counts.most_common())
    waits = sum(counts.values())
    said = f"{waits} of {counted(len(states), 'girder')} {'wait' if waits != 1 else 'waits'}: {what}."
    said = said if waits else f"No girder of {len(states)} waits for anything."
    said += f" {ready} {'wait' if ready != 1 else 'waits'} for nothing." if waits and ready else ""
    if bad := [t.name for t in tools if t.expired is not False]:
        said += f" Without a valid calibration today: {listed(bad, 5)}."
    return said


def _states_table(states: Sequence[GirderState], of: int) -> Table:
    more = f"The first {len(states)} of {of}. " if len(states) < of else ""
    return Table(
        "table-states",
        "Girders, the most urgent first",
        ("girder", "type", "latest occasion", "where", "judged on", "verdicts", "smallest margin", "waits for"),
        rows_of(
            [words(s.girder) for s in states],
            [words(s.type_name) for s in states],
            [words(f"{s.last} {s.at[:10]}".strip() or "none") for s in states],
            [words(s.place) for s in states],
            [origin(s.run, s.judged) if s.judged else words("never") for s in states],
            [words(", ".join(f"{n} {word}" for word, n in sorted(s.counts.items()))) for s in states],
            [_worst_cell(s.worst) for s in states],
            [Cell("; ".join(s.waits) or "nothing", style="strong" if s.waits else "") for s in states],
        ),
        note=more + "Margin: from the value to the nearer limit, negative beyond it.",
        empty="The record knows no girder.",
    )


def _worst_cell(worst: Margin | None) -> Cell:
    if worst is None:
        return Cell(UNKNOWN)
    q = judged(worst.quantity)
    return Cell(f"{printed(q, worst.margin)}: {worst.magnet} {q.words}", worst.margin)


def _instruments_table(tools: Sequence[InstrumentState]) -> Table:
    said = {True: "expired", False: "valid", None: "never calibrated"}
    return Table(
        "table-instruments",
        "Instruments and their latest calibration",
        ("instrument", "kind", "serial", "calibrated on", "valid until", "certificate", "today"),
        tuple(
            (
                words(t.name), words(t.kind), words(t.serial), words(t.made_on), words(t.valid_until), words(t.certificate),
                Cell(said[t.expired], style="" if t.expired is False else "strong"),
            )
            for t in tools
        ),
        empty="no instrument is entered",
    )  # fmt: skip


def margins_answer(margins: Sequence[Margin], of: int) -> Answer:
    """Margin to tolerance, the smallest first."""
    return Answer(
        "margins",
        "Margin to tolerance",
        _margins_sentence(margins, of),
        "Of each girder the verdicts of its latest judged occasion. The margin runs from the value to the nearer limit and is "
        "negative beyond it; margins are put in order by their share of the limit.",
        (margins_picture(margins),) if margins else (),
        (_margins_table(margins, of),),
        {"margins": margins},
    )


def _margins_sentence(margins: Sequence[Margin], of: int) -> str:
    if not margins:
        return "No girder has a verdict with a limit."
    first = margins[0]
    q = judged(first.quantity)
    beyond = sum(m.margin < 0.0 for m in margins)
    where = f"{first.girder} {first.magnet} {q.words} on {first.occasion}"
    value = f"value {printed(q, first.value, first.u)}, limit {printed(q, first.limit).lstrip('+')}"
    least = f"The smallest margin of {of} is {printed(q, first.margin)} at {where} ({value})"
    tail = f"{beyond} of the {len(margins)} shown lie beyond their limit." if beyond else "None lies beyond its limit."
    return f"{least}. {tail}"


def _margins_table(margins: Sequence[Margin], of: int) -> Table:
    more = f"The first {len(margins)} of {of}. " if len(margins) < of else ""
    return Table(
        "table-margins",
        "Margins, the smallest first",
        (
            "girder",
            "magnet",
            "quantity",
            "value",
            "limit",
            "margin",
            "share of the limit [%]",
            "margin / u",
            "verdict",
            "from",
        ),
        tuple(_margin_row(m) for m in margins),
        note=f"{more}Value ± standard uncertainty u.",
        empty="no verdict with a limit",
    )


def _margin_row(m: Margin) -> tuple[Cell, ...]:
    q = judged(m.quantity)
    return (
        words(m.girder),
        words(m.magnet),
        words(q.words),
        Cell(printed(q, m.value, m.u), m.value, style="number"),
        Cell(printed(q, m.limit).lstrip("+"), m.limit, style="number"),
        Cell(printed(q, m.margin), m.margin, style="number"),
        Cell(UNKNOWN if m.share is None else number(100.0 * m.share, 0), m.share, style="number"),
        Cell(number(m.margin / m.u, 1) if m.u else UNKNOWN, style="number"),
        verdict_cell(m.verdict),
        origin(m.run, m.occasion),
    )


def stays_answer(stays: Sequence[Stay], about: str) -> Answer:
    """Where magnets were, from when to when."""
    magnets = {s.serial for s in stays}
    moved = sum(n > 1 for n in Counter(s.serial for s in stays).values())
    told = f"The record places {counted(len(magnets), 'magnet')}{about}; {moved} of them were in more than one place."
    return Answer(
        "magnets",
        "Where magnets were",
        told if stays else f"The record places no magnet{about}.",
        "A stay ends when its end is told, or when the magnet is placed elsewhere.",
        (),
        (
            Table(
                "table-stays",
                "Magnets and their places",
                ("serial", "kind", "girder", "position", "since", "until"),
                tuple(
                    tuple(map(words, (s.serial, s.kind, s.girder, s.position, s.since, s.until or "now")))
                    for s in stays
                ),
                empty="no magnet is placed",
            ),
        ),
        {"stays": stays},
    )
