"""What must be heard before any number: mix-ups that the wire and the comparison show, with the keys of the description.

A mix-up of signs, planes, units or files leaves numbers that look like any others. Where several magnets tell of the same
one, it stands first, with what would be so if it were put right.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from monochord.campaign.found.axes import Gate
from monochord.campaign.found.comparison import Comparison
from monochord.campaign.found.result import OccasionFinding, WireFinding
from monochord.campaign.given.campaign import Campaign
from monochord.campaign.given.girder import Magnet
from monochord.campaign.given.occasion import Occasion
from monochord.ground.faults import MonochordError
from monochord.report.words import counted, listed, offset_words

#: A strength is off the plan beyond this, and a factor explains it within this, both as a part.
OFF, NEAR = 0.1, 0.05
#: The mean of all own moves over the largest departure from it, from which on they are one move and not the magnets'.
ALIKE = 3.0
#: So many magnets off the plan are tried under each other's names.
MOST_AGAIN = 4
#: Factors between units of length, read one for the other.
LENGTHS = {
    25.4: "inches read as millimetres, or thousandths of an inch as micrometres",
    1e3: "millimetres read as micrometres, or metres as millimetres",
    10.0: "centimetres read as millimetres",
    304.8: "feet read as millimetres",
}
#: What of the description holds the planes of the wire.
PLANES = (
    "tables.wire_scans.columns.x_in",
    "tables.wire_scans.columns.x_amplitude",
    "tables.wire_scans.columns.stage_x",
    "waveforms.sensors",
    "waveforms.stages",
)
STAGES = ("tables.wire_scans.columns.stage_x", "tables.wire_scans.columns.stage_y", "waveforms.stages")
SIZES = (
    "tables.wire_scans.columns.x_in",
    "tables.wire_scans.columns.drive_current",
    "waveforms.reference",
    "waveforms.sensors",
    "signals.displacements",
)
PHASES = (
    "signals.time_factor",
    "tables.wire_scans.columns.x_in",
    "tables.wire_scans.columns.x_quadrature",
    "waveforms.reference",
)
_LOST = re.compile(r"^(?P<magnet>.+?), mode (?P<mode>\d+): (?P<why>.+)$")
_STRENGTH = re.compile(r"^strength (?P<percent>[\d.]+(?:e[+-]?\d+)?) % of the plan")


def doubts(campaign: Campaign, found: Sequence[OccasionFinding], changes: Sequence[Comparison]) -> list[str]:
    """One sentence for each thing to look at before the numbers are believed; none where nothing is strange."""
    wires = {f.name: f.wire for f in found if f.wire is not None}
    given = {o.name: o for o in campaign.occasions}
    said = _planes(campaign, wires)
    for name, wire in wires.items():
        said += _no_axis(campaign, name, wire)
    said += _phases(campaign, wires)
    said += _strengths(campaign, given, wires)
    said += [words for c in changes if (words := _one_move(c))]
    return list(dict.fromkeys(said))


def missing(campaign: Campaign, found: Sequence[OccasionFinding]) -> list[str]:
    """Occasions whose wire was scanned, or targets sighted, without a single axis or place that came of it."""
    given = {o.name: o for o in campaign.occasions}
    lost = []
    for f in found:
        o = given[f.name]
        if campaign.wire is not None and (o.scans or o.raw_scans) and not (f.wire and _any_centre(f.wire)):
            lost.append(f"axes of {f.name}")
        if campaign.instrument is not None and o.sightings and f.points is None:
            lost.append(f"targets of {f.name}")
    return lost


def _any_centre(wire: WireFinding) -> bool:
    return any(bool(np.isfinite(a.estimate.value[:2]).all()) for a in wire.axes)


def _see(campaign: Campaign, keys: Iterable[str]) -> str:
    """Keys of the description that are there, with their lines."""
    lines = campaign.described
    there = [f"{k} in line {lines[k]}" for k in keys if k in lines]
    return f"; see {', '.join(there)} of the lab description" if there else ""


def _lost(gates: Iterable[Gate]) -> list[tuple[str, str]]:
    """Magnet and reason of every block of scans that was refused."""
    found = [_LOST.match(g.message) for g in gates if g.name == "scans refused" and not g.ok]
    return [(m["magnet"], m["why"]) for m in found if m]


def _planes(campaign: Campaign, wires: Mapping[str, WireFinding]) -> list[str]:
    """Planes exchanged or upside down, gathered over all occasions that tell of it."""
    told: dict[str, dict[str, set[str]]] = {}
    for name, wire in wires.items():
        for magnet, why in _lost(wire.gates):
            if "appear" in why:
                told.setdefault(why.split(";")[0], {}).setdefault(name, set()).add(magnet)
    said = []
    for what, where in told.items():
        magnets = len(set().union(*where.values()))
        turned = "the other way round" if "exchanged" in what else "with that plane turned round"
        said.append(
            f"{what} on {listed(where)}: the field of {counted(magnets, 'magnet')} fits ten times better or more {turned}"
            f"{_see(campaign, PLANES)}"
        )
    return said


def _no_axis(campaign: Campaign, name: str, wire: WireFinding) -> list[str]:
    """No axis at all where the wire was scanned, and the commonest reason."""
    reasons = [why for _, why in _lost(wire.gates)]
    if _any_centre(wire) or any("appear" in why for why in reasons):
        return []
    phases = [why for why in reasons if "phase" in why]
    common = Counter(why.split(";")[0] for why in reasons).most_common(1)
    why = f", such as {common[0][0]}" if common else ""
    turned = len(phases) > 0.5 * len(reasons) > 0
    more = f"; in-phase and quadrature parts exchanged, or the time factor?{_see(campaign, PHASES)}" if turned else ""
    return [f"no axis was found on {name} from its scans{why}{more}"]


def _phases(campaign: Campaign, wires: Mapping[str, WireFinding]) -> list[str]:
    """Several scans refused for their phase: the wire drifted, or phases are not counted as they are described."""
    where: dict[str, dict[str, None]] = {}
    for name, wire in wires.items():
        lost = dict.fromkeys(magnet for magnet, why in _lost(wire.gates) if "phase" in why)
        if len(lost) >= 2 and (_any_centre(wire) or any("appear" in why for _, why in _lost(wire.gates))):
            where[name] = lost
    if not where:
        return []
    magnets = listed(dict.fromkeys(m for lost in where.values() for m in lost), 4)
    return [
        f"scans of {magnets} on {listed(where)} were refused for their phase: the wire drifted, in-phase and quadrature parts "
        f"are exchanged, or the sense of time is the other one{_see(campaign, PHASES)}"
    ]


# -- strengths -------------------------------------------------------------------------------------------


def _ratios(wire: WireFinding) -> dict[str, float]:
    """Found over planned strength of each magnet, where its gate tells it."""
    found = {}
    for axis in wire.axes:
        for gate in axis.gates:
            if gate.name == "strength" and (m := _STRENGTH.match(gate.message)):
                found[axis.magnet] = float(m["percent"]) / 100.0
    return {name: ratio for name, ratio in found.items() if ratio > 0.0}


def _strengths(campaign: Campaign, given: Mapping[str, Occasion], wires: Mapping[str, WireFinding]) -> list[str]:
    """Strengths off the plan: of most magnets together, or of two whose scans were exchanged."""
    magnets = {m.name: m for m in campaign.girder.magnets}
    together: dict[str, list[float]] = {}
    where, said = [], []
    for name, wire in wires.items():
        ratios = {m: r for m, r in _ratios(wire).items() if m in magnets}
        off = {m: r for m, r in ratios.items() if abs(r - 1.0) > OFF}
        if len(off) >= 2 and len(off) > 0.5 * len(ratios):
            where.append(name)
            for magnet, ratio in ratios.items():
                together.setdefault(magnet, []).append(ratio)
        elif 2 <= len(off) <= MOST_AGAIN:
            said += _exchanged_magnets(campaign, given[name], off, magnets)
    usual = {m: float(np.median(r)) for m, r in together.items()}
    return [*(_common_factor(campaign, listed(where), usual, magnets) if usual else []), *said]


def _common_factor(
    campaign: Campaign, name: str, ratios: Mapping[str, float], magnets: Mapping[str, Magnet]
) -> list[str]:
    """Strengths all off together: ratio = size . stage^(N - 1), from which the unit that is wrong follows."""
    orders = np.array([magnets[m].order for m in ratios], float)
    logs = np.log(list(ratios.values()))
    seen = f"strengths on {name} are {_percents(ratios)} of the plan"
    if len(set(orders.tolist())) < 2:
        size, stage = float(np.exp(np.median(logs))), 1.0
        which = f"{size:.4g} times: {_length_words(size) or 'displacements, drive current or the plan'}"
        return [f"{seen}, {which}; a unit?{_see(campaign, (*STAGES, *SIZES))}"]
    design = np.stack([np.ones_like(orders), orders - 1.0], axis=1)
    found = np.linalg.lstsq(design, logs, rcond=None)[0]
    left = float(np.abs(logs - design @ found).max())
    size, stage = (float(v) for v in np.exp(found))
    if left > NEAR * max(orders):
        return [f"{seen}, by no common unit; check currents, modes and the table of magnets"]
    said = []
    if abs(math.log(stage)) > NEAR:
        words = _length_words(stage)
        said.append(
            f"stage positions are {_times(stage)}{f' ({words})' if words else ''}, and with them every offset is wrong"
            f"{_see(campaign, STAGES)}"
        )
    if abs(math.log(size)) > 2.0 * NEAR:
        said.append(f"displacements over drive current are {_times(1.0 / size)}{_see(campaign, SIZES)}")
    falls = (
        f"departures fall from {100.0 * float(np.abs(np.exp(logs) - 1.0).max()):.0f} % to {100.0 * left:.2g} % if so"
    )
    return [f"{seen}: {' and '.join(said)}; {falls}"] if said else []


def _percents(ratios: Mapping[str, float]) -> str:
    return listed([f"{m} {100.0 * r:.0f} %" for m, r in ratios.items()], 3)


def _times(factor: float) -> str:
    return f"{factor:.4g} times too small" if factor > 1.0 else f"{1.0 / factor:.4g} times too large"


def _length_words(factor: float) -> str:
    """The mix-up of two units of length that makes positions so many times too small, or the other way round."""
    for known, words in LENGTHS.items():
        if abs(math.log(factor / known)) < NEAR:
            return words
        if abs(math.log(factor * known)) < NEAR:
            return f"the reverse of {words}"
    return ""


def _exchanged_magnets(
    campaign: Campaign, occasion: Occasion, off: Mapping[str, float], magnets: Mapping[str, Magnet]
) -> list[str]:
    """Two magnets of one kind whose scans give both the planned strength when their names are exchanged."""
    names = list(off)
    for i, one in enumerate(names):
        for two in names[i + 1 :]:
            if magnets[one].order != magnets[two].order:
                continue
            again = _again(campaign, occasion, {one: two, two: one})
            if again and all(abs(again.get(n, math.inf) - 1.0) < OFF for n in (one, two)):
                before = f"{100.0 * off[one]:.0f} % and {100.0 * off[two]:.0f} %"
                after = f"{100.0 * again[one]:.0f} % and {100.0 * again[two]:.0f} %"
                return [
                    f"the scans of {one} and {two} on {occasion.name} look exchanged: their strengths go from {before} of "
                    f"the plan to {after} if so; mend the names of the magnets in the file"
                ]
    return []


def _again(campaign: Campaign, occasion: Occasion, names: Mapping[str, str]) -> dict[str, float]:
    """Strengths over plan with scans under other names; empty when that cannot be evaluated."""
    from monochord.wire.axes import find_axes
    from monochord.wire.signal import reduce_scan, reduce_sweep

    assert campaign.wire is not None
    try:
        scans = [*occasion.scans, *(reduce_scan(raw) for raw in occasion.raw_scans)]
        sweeps = [*occasion.sweeps, *(reduce_sweep(raw) for raw in occasion.raw_sweeps)]
        changed = [replace(s, magnet=names.get(s.magnet, s.magnet)) for s in scans]
        found = find_axes(occasion.name, changed, sweeps, campaign.wire, campaign.girder.magnets)
    except MonochordError:
        return {}
    return _ratios(found)


# -- own moves -------------------------------------------------------------------------------------------


def _one_move(change: Comparison) -> str:
    """Every magnet moved the same way, and wire and survey do not close: that was not the magnets."""
    moves = [m for m in change.own_moves if m.found]
    if len(moves) < 3 or len(moves) < len(change.own_moves) or change.closure is None or change.closure.ok:
        return ""
    across = np.array([m.estimate.pick([f"{m.magnet}.dx", f"{m.magnet}.dy"]).value for m in moves])
    mean = across.mean(axis=0)
    apart = float(np.linalg.norm(across - mean, axis=1).max())
    if not float(np.linalg.norm(mean)) > ALIKE * apart:
        return ""
    where = offset_words(float(mean[0]), float(mean[1]))
    return (
        f"from {change.start} to {change.end} all {len(moves)} magnets moved alike, {where}, each by the same to within "
        f"{apart * 1e6:.0f} µm, and wire and survey do not close: that is not the magnets; files of two occasions or of two "
        "girders mixed, another wire end, or a nest set anew?"
    )
