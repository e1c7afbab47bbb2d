"""Tables of verdicts, and why the line limit and the own-move limit may say different things."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from monochord.campaign.found.axes import CommonLine
from monochord.campaign.found.verdict import Verdict
from monochord.campaign.given.tolerance import ALL_TOGETHER, EACH_AXIS, PRODUCERS, RADIAL, RMS, SIMPLE_ACCEPTANCE
from monochord.report.document_verdict import key_of, reason_of, word_of
from monochord.report.facts import Known, finite
from monochord.report.judged import Family, called, limit_words, plane_of, quantity_words
from monochord.report.svg import ident
from monochord.report.tables.table import Cell, Table, column, plain, reasons_note, rows_of, words
from monochord.report.words import (
    ROUNDING,
    decimals_apart,
    decimals_for,
    height_word,
    limit_number,
    percent,
    pretty,
    scaled,
    side_word,
)

STYLES = {"conforms": "verdict", "does not conform": "verdict strong", "cannot be decided": "verdict strong"}


def verdict_cell(word: str) -> Cell:
    """One of the three words."""
    return Cell(word, style=STYLES.get(word, ""))


def share_cell(share: float | None) -> Cell:
    """A probability in percent, its exact value behind it."""
    known = finite(share)
    return Cell("not known", style="number") if known is None else Cell(percent(known), known, style="number")


def verdicts_table(occasion: str, family: Family, found: Sequence[Verdict]) -> Table:
    """Every verdict of one family on one occasion."""
    rules = dict.fromkeys(v.rule for v in found)
    evidence = dict.fromkeys(v.evidence for v in found if finite(v.value) is not None)
    unknown = [(f"{v.magnet} {quantity_words(v)}", reason_of(v)) for v in found if finite(v.value) is None]
    places = _places(family, found)
    several = (
        [[words("not known" if finite(v.value) is None else v.evidence) for v in found]] if len(evidence) > 1 else []
    )
    prior = any(v.posterior is not None for v in found)
    rests = f" All rest on: {'; '.join(evidence)}." if len(evidence) == 1 else ""
    return Table(
        ident("table-verdicts", occasion, family.ident),
        f"Verdicts, {occasion}, {family.title}",
        (
            "magnet", "quantity", f"value [{family.unit}]", f"limit [{family.unit}]", f"guard ± [{family.unit}]",
            "probability [%]", *(["given the prior [%]"] if prior else []), "verdict", *(["rests on"] if several else []),
        ),
        rows_of(
            [words(v.magnet or "girder") for v in found],
            [Cell(quantity_words(v), style="whole") for v in found],
            _values(family, found),
            [_limit_cell(v, family) for v in found],
            [_guard_cell(v, places, family.factor) for v in found],
            [share_cell(v.probability) for v in found],
            *([[share_cell(v.posterior) for v in found]] if prior else []),
            [verdict_cell(word_of(v)) for v in found],
            *several,
        ),
        note=f"Rule: {'; or '.join(rules)}.{rests} Probability: that the true value lies within the limit. "
        f"{ROUNDING} {_whole_words(found)}{reasons_note(unknown)}".strip(),
    )  # fmt: skip


def _whole_words(found: Sequence[Verdict]) -> str:
    """What the value of a girder as a whole is."""
    if not any(v.form == ALL_TOGETHER for v in found):
        return ""
    return "All at once: the value is that of the component that keeps its limits least surely. "


def _limit_cell(found: Verdict, family: Family) -> Cell:
    """The limit, or both where they do not lie evenly about zero."""
    if found.even or found.form in {RADIAL, RMS}:
        return Cell(limit_number(found.limit * family.factor, sign=False), found.limit, style="number")
    return Cell(limit_words(found).removeprefix("the limits ").removesuffix(f" {family.unit}"), style="number")


def _guard_cell(found: Verdict, places: int, factor: float) -> Cell:
    """Half width of the guard band, or that there is none."""
    if found.rule_name == SIMPLE_ACCEPTANCE:
        return Cell("none: simple acceptance")
    if found.form != EACH_AXIS:
        return Cell("by probability")
    cell = plain(finite(found.guard), places, factor)
    return replace(cell, word="outside") if found.whose == PRODUCERS and cell.value is not None else cell


#: What the risks by the prior alone are.
FLEET_WORDS = ", the last two of all there may be by the prior (global risks)"


def risks_table(occasion: str, family: Family, found: Sequence[Verdict]) -> Table | None:
    """What is risked by each decision, where a prior or another rule than the common one asks for it; None elsewhere."""
    if all(v.prior == "none" and v.rule_name != SIMPLE_ACCEPTANCE and v.whose != PRODUCERS for v in found):
        return None
    fleet = any(v.global_consumers_risk is not None for v in found)
    reasons = [(called(v), v.why_no_prior) for v in found if fleet and v.global_consumers_risk is None]
    single = (
        ""
        if fleet
        else " " + "; ".join(dict.fromkeys(f"{v.why_no_prior[:1].upper()}{v.why_no_prior[1:]}." for v in found))
    )
    priors = "; ".join(dict.fromkeys(v.prior for v in found))
    return Table(
        ident("table-risks", occasion, family.ident),
        f"Risks of these decisions, {occasion}, {family.title}",
        (
            "magnet", "quantity", "does not conform, if accepted [%]", "conforms, if rejected [%]",
            *(("of all: accepted wrongly [%]", "of all: not accepted wrongly [%]") if fleet else ()),
        ),
        rows_of(
            [words(v.magnet or "girder") for v in found],
            [Cell(quantity_words(v), style="whole") for v in found],
            [share_cell(v.consumers_risk) for v in found],
            [share_cell(v.producers_risk) for v in found],
            *(([share_cell(v.global_consumers_risk) for v in found],) if fleet else ()),
            *(([share_cell(v.global_producers_risk) for v in found],) if fleet else ()),
        ),
        note=pretty(f"Prior: {priors}.") + " The first two are of this very one (specific consumer's and producer's risk)"
        f"{FLEET_WORDS if fleet else ''}.{single} {reasons_note(reasons)}".rstrip(),
    )  # fmt: skip


def _places(family: Family, found: Sequence[Verdict]) -> int:
    """Decimals that the uncertainties ask for, and more where a value would else look like the limit that it misses."""
    places = decimals_for(scaled(finite(v.u), family.factor) for v in found)
    ends = [(scaled(finite(v.value), family.factor), end * family.factor) for v in found for end in (*v.ends, v.limit)]
    return decimals_apart(places, ends)


def _values(family: Family, found: Sequence[Verdict]) -> list[Cell]:
    """Values with u, and with the word of the side where the quantity has one."""
    places = _places(family, found)
    cells = column([Known(finite(v.value), finite(v.u)) for v in found], family.factor, decimals=places)
    side = {"x": side_word, "y": height_word}
    return [
        Cell(c.text, c.value, side[plane_of(v)](c.value, places), c.style) if plane_of(v) else c
        for c, v in zip(cells, found, strict=True)
    ]


def two_limits_words(line: CommonLine) -> tuple[str, ...]:
    """Why the line limit and the own-move limit ask different questions, for the rule of this line."""
    asked = (
        "Two limits ask two questions. The line limit asks where each axis lies from the common line today, whatever brought "
        "it there: that is what the beam feels. The own-move limit asks whether a magnet moved on the girder since the "
        "reference: that tells of its clamps."
    )
    if any(finite(h) for h in line.leverage.values()):
        follows = (
            "The common line is refitted on the occasion, so it follows the magnets. Of an own move m, a magnet shows only "
            "(1 − leverage) m as its offset; the rest of m goes into the line and reaches the other magnets as offsets of the "
            "other sign. A magnet near an end of the girder has a large leverage: it may break its own-move limit and still "
            "lie near the line."
        )
    else:
        follows = (
            "The common line is not refitted on this occasion, so it follows no magnet (leverage 0): an own move shows as "
            "offset in full."
        )
    also = (
        "An offset also holds what the magnet was off at the reference, and what the girder's change of shape adds. So a "
        "magnet may keep one limit and break the other, and both statements are true."
    )
    return asked, follows, also


def two_limits_table(occasion: str, line: CommonLine, found: Sequence[Verdict]) -> Table:
    """Leverage of each magnet, what of its own move its offset can show, and both verdicts."""
    given = {(v.magnet, key_of(v)): v for v in found}
    pairs = [(v.magnet, key_of(v)[-1]) for v in found if key_of(v).startswith("own_move_")]
    moves = [_value(given.get((m, f"own_move_{q}"))) for m, q in pairs]
    seen = [None if v is None else _kept(line, m, v) for v, (m, _) in zip(moves, pairs, strict=True)]
    places = decimals_for(scaled(finite(given[m, f"own_move_{q}"].u), 1e6) for m, q in pairs)
    return Table(
        ident("table-two-limits", occasion),
        f"Own move and offset, {occasion}",
        (
            "magnet", "in", "leverage", "own move [µm]", "of it seen as offset [µm]", "offset [µm]", "own-move limit",
            "line limit",
        ),
        rows_of(
            [words(m) for m, _ in pairs],
            [words(q) for _, q in pairs],
            [plain(line.leverage.get(m), 2) for m, _ in pairs],
            [plain(v, places, 1e6, sign=True) for v in moves],
            [plain(v, places, 1e6, sign=True) for v in seen],
            [plain(_value(given.get(pair)), places, 1e6, sign=True) for pair in pairs],
            [_said(given.get((m, f"own_move_{q}"))) for m, q in pairs],
            [_said(given.get(pair)) for pair in pairs],
        ),
    )  # fmt: skip


def _value(found: Verdict | None) -> float | None:
    return finite(found.value) if found else None


def _kept(line: CommonLine, magnet: str, move: float) -> float | None:
    """The part of an own move that stays in the magnet's own offset when the line follows it by its leverage."""
    leverage = finite(line.leverage.get(magnet))
    return None if leverage is None else (1.0 - leverage) * move


def _said(found: Verdict | None) -> Cell:
    return verdict_cell(word_of(found)) if found else words("not judged")
