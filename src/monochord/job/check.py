"""The linear propagation of one occasion's offsets held to draws of the whole chain over its raw inputs."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from types import FrameType

import numpy as np
from numpy.typing import NDArray

from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import WireFinding
from monochord.campaign.given.campaign import Campaign
from monochord.campaign.given.occasion import Occasion
from monochord.files.campaign_file import load_campaign
from monochord.ground.estimate import Estimate, kind_of
from monochord.ground.faults import Fault, Refused
from monochord.job.context import Context
from monochord.job.redraw import DRAWN, Normals, Raw, redrawn, spreads_of
from monochord.report.words import listed, number, percent
from monochord.survey.ends import up_direction, wire_ends
from monochord.survey.points import adjust_survey
from monochord.verdict.line import common_line
from monochord.verdict.monte_carlo import MonteCarlo, Progress, monte_carlo
from monochord.verdict.monte_carlo_chain import CANNOT_TELL, NOT_VALIDATED, ChainCheck, check_chain, draws_needed, named
from monochord.wire.axes import find_axes
from monochord.wire.place import place_axes
from monochord.wire.signal import reduce_scan, reduce_sweep

Array = NDArray[np.float64]

#: Runs of the chain between two words of progress; a run takes about a tenth of a second.
BATCH = 50
#: Mirrored pairs that tell how far the chain bends.
PAIRS = 20
COVERAGE = 0.95


@dataclass(frozen=True, eq=False, slots=True)
class Chain:
    """The chain from raw inputs to offsets, about one occasion's own inputs.

    linear    offsets with the causes that are drawn;  whole  with all causes;  at  the offsets themselves (m,) [m]
    run       a draw's normals -> offsets (m,) [m]
    """

    occasion: str
    linear: Estimate
    whole: Estimate
    at: Array
    run: Callable[[Normals], Array]


def chain_of(campaign: Campaign, occasion: Occasion) -> Chain:
    """The chain of an occasion with a wire.

    The line is refitted on the occasion whatever the declared rule, so that the chain needs no other occasion.
    Raises Refused when there is no wire to draw.
    """
    if campaign.wire is None or not (occasion.scans or occasion.raw_scans):
        given = f"no wire scan on {occasion.name}"
        raise Refused([Fault(given, "an occasion on which the wire was scanned", "name one that has wire scans")])
    raw = Raw(
        campaign.wire,
        (*occasion.scans, *(reduce_scan(one) for one in occasion.raw_scans)),
        (*occasion.sweeps, *(reduce_sweep(one) for one in occasion.raw_sweeps)),
        occasion.sightings if campaign.instrument is not None else (),
    )
    found, points = _found(campaign, occasion, raw)
    whole = _offsets(campaign, found)
    spread = spreads_of(raw, occasion.name, campaign, found)

    def run(draw: Normals) -> Array:
        again, _ = _found(campaign, occasion, redrawn(raw, spread, campaign, points, draw))
        offsets = _offsets(campaign, again)
        if offsets.names != whole.names:
            lost = ", ".join(sorted(set(whole.names) - set(offsets.names))) or "order"
            raise Refused([Fault(f"a draw without {lost}", "every offset in every draw", "scan what is weak again")])
        return offsets.value

    return Chain(occasion.name, _drawn(whole), whole, whole.value, run)


def _found(campaign: Campaign, occasion: Occasion, raw: Raw) -> tuple[WireFinding, PointSet | None]:
    """Axes of one set of raw inputs, placed by its survey where the ends were sighted."""
    magnets, instrument = campaign.girder.magnets, campaign.instrument
    stringing = occasion.stringing or None
    found = find_axes(occasion.name, raw.scans, raw.sweeps, raw.wire, magnets, stringing=stringing)
    if instrument is None or not raw.sightings:
        return found, None
    points = adjust_survey(occasion.name, raw.sightings, instrument, campaign.girder.targets)
    nests = [end.nest for end in raw.wire.ends]
    if not nests or not set(nests) <= set(points.names):
        return found, points
    up = up_direction(points, instrument.u_level is not None)
    return place_axes(found, wire_ends(points, nests), raw.wire, occasion.name, up), points


def _offsets(campaign: Campaign, found: WireFinding) -> Estimate:
    rule = replace(campaign.line_rule, line="refitted")
    return common_line(found.axes, rule, campaign.girder.magnets).offsets


def _drawn(whole: Estimate) -> Estimate:
    """The estimate with only the causes that the draws put into the readings."""
    kept = {c: f for c, f in whole.factors.items() if kind_of(c) in DRAWN and not c.endswith("not measured")}
    return replace(whole, factors=kept)


def left_out(chain: Chain) -> dict[str, float]:
    """Kinds of causes that are not drawn -> the largest part of any offset's variance that they bring."""
    total = np.square(chain.whole.u)
    parts: dict[str, Array] = {}
    for cause, factor in chain.whole.factors.items():
        if cause not in chain.linear.factors:
            parts[kind_of(cause)] = parts.get(kind_of(cause), np.zeros(len(total))) + np.diag(factor.cov)
    return {kind: float(np.max(part / total)) for kind, part in parts.items() if np.max(part) > 0.0}


def drawn_run(
    chain: Chain,
    seed: int,
    runs: int,
    digits: int,
    *,
    go_on: Callable[[Progress], bool] | None = None,
    batch: int = BATCH,
) -> MonteCarlo:
    """Draws of the chain until its figures stand still to the digits, at most ``runs`` of them."""

    def many(seeds: Array) -> Array:
        return np.array([chain.run(Normals(int(s))) for s in seeds[:, 0]])

    def drawer(rng: np.random.Generator, count: int) -> Array:
        return rng.integers(2**48, size=(count, 1)).astype(np.float64)

    most = max(runs // batch, 1) * batch * len(chain.at)
    rng = np.random.default_rng(seed)
    return monte_carlo(
        many, drawer, rng, coverage=COVERAGE, digits=digits, most_outcomes=most, batch=batch, go_on=go_on
    )  # fmt: skip


def bends_of(chain: Chain, seed: int, pairs: int = PAIRS) -> Array:
    """How far the chain bends, (pairs, m) [m]: half the sum of mirrored draws, less the offsets themselves."""
    seeds = np.random.default_rng([seed, 1]).integers(2**48, size=pairs)
    found = [(chain.run(Normals(int(s))) + chain.run(Normals(int(s), -1.0))) / 2.0 - chain.at for s in seeds]
    return np.array(found).reshape(pairs, len(chain.at))


@contextmanager
def _asked_to_stop() -> Iterator[Callable[[], bool]]:
    """Whether someone has asked to stop; the batch under way is ended first, and a second time stops at once."""
    asked: list[int] = []

    def ask(number: int, _: FrameType | None) -> None:
        if asked:
            raise KeyboardInterrupt
        asked.append(number)

    before = signal.signal(signal.SIGINT, ask)
    try:
        yield lambda: bool(asked)
    finally:
        signal.signal(signal.SIGINT, before)


def check_campaign(
    folder: Path, context: Context, *, occasion: str = "", runs: int = 1000, digits: int = 1, seed: int = 1
) -> tuple[bool, list[str]]:
    """Hold the offsets of an occasion, the last with a wire by itself, to draws of the chain: whether nothing failed, and lines."""
    campaign = load_campaign(folder)
    chain = chain_of(campaign, _occasion(campaign, occasion))
    context.say(
        f"{chain.occasion}: running the chain {runs} times over redrawn readings; Ctrl-C ends it with what there is"
    )
    with _asked_to_stop() as stopped:

        def go_on(progress: Progress) -> bool:
            context.say(f"{progress.draws} of {runs} draws")
            return not stopped()

        drawn = drawn_run(chain, seed, runs, digits, go_on=go_on)
        bends = bends_of(chain, seed, 0 if stopped() else PAIRS)
    found = check_chain(chain.linear, drawn, bends, digits=digits)
    return found.word != NOT_VALIDATED, check_lines(chain, found)


def _occasion(campaign: Campaign, name: str) -> Occasion:
    strung = {o.name: o for o in campaign.occasions if o.scans or o.raw_scans}
    if not strung or (name and name not in strung):
        expected = f"one of {', '.join(strung)}" if strung else "a campaign with wire scans"
        raise Refused([Fault(f"occasion {name!r}", expected, "name an occasion on which the wire was scanned")])
    return strung[name] if name else list(strung.values())[-1]


def check_lines(chain: Chain, found: ChainCheck) -> list[str]:
    """The finding as lines of text: the word first, then the figures."""
    asked = f"{found.digits} significant digit{'s' if found.digits > 1 else ''} of u"
    law = "the linear uncertainties of the offsets"
    lines = [
        f"{chain.occasion}: {found.draws} runs of the whole chain cannot tell everywhere whether {law} hold to {asked}."
        if found.word == CANNOT_TELL
        else f"{chain.occasion}: {law} are {found.word}, to {asked}, by {found.draws} runs of the whole chain.",
        "",
        "offset    u linear  u drawn  ends apart (low, high)  allowed  known to   [µm]",
    ]
    for c in found.ends:
        figures = [number(1e6 * v, 3) for v in (c.u_linear, c.u_drawn, c.d_low, c.d_high, c.tolerance, c.doubt)]
        u, drawn, low, high, allowed, doubt = figures
        lines.append(f"{c.name:<9} {u:>8}  {drawn:>7}  {low:>10}, {high:>9}  {allowed:>7}  {doubt:>8}   {c.word}")
    lines += ["", f"{percent(found.inside)} % of the draws lie inside the linear {100 * found.coverage:g} % intervals."]
    if np.isfinite(found.bend):
        lines.append(
            f"The chain bends by {percent(found.bend)} % of u at most (root mean square of {PAIRS} mirrored draws)."
        )
    weak = named(found.joint, NOT_VALIDATED)
    unsure = named(found.joint, CANNOT_TELL)
    lines.append(
        f"x and y together: {listed(weak)} not validated." if weak
        else f"x and y together: {listed(unsure)} cannot be told by so many draws." if unsure
        else "x and y together are validated for every magnet."
    )  # fmt: skip
    out = left_out(chain)
    if out:
        told = listed(f"{kind} (at most {percent(part)} % of a variance)" for kind, part in out.items())
        lines.append(f"Not drawn, for no reading can carry it; left out on both sides: {told}.")
    if found.word == CANNOT_TELL:
        most = max(draws_needed(c.u_linear, found.coverage, found.digits) for c in found.ends)
        lines.append(f"About {most} draws would tell.")
    return lines
