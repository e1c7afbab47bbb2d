"""What the closures of a fleet say, in sentences and in lines of text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from monochord.campaign.found.comparison import Closure
from monochord.campaign.found.fleet import FleetClosure, GirderClosure, MagnetMean
from monochord.campaign.given.budget_scale import FEWEST_GIRDERS
from monochord.report.words import counted, listed, micrometres, number

#: Side on which the wire went farther, by plane, for a positive and a negative difference.
SIDES = {"x": ("left", "right"), "y": ("up", "down")}


def chance(probability: float) -> str:
    """A probability as people read it.

    >>> chance(0.234), chance(0.0127), chance(0.00012)
    ('0.23', '0.013', '1.2e-04')
    """
    if probability < 0.001:
        return f"{probability:.1e}"
    return number(probability, 2 if probability >= 0.1 else 3)


def fleet_sentence(found: FleetClosure) -> str:
    """The answer first: whether wire and survey close over the fleet, by how much not, and what to look at."""
    count = len(found.girders)
    if not count:
        return "No campaign tells a closure of wire and survey."
    verb = "do not close" if found.fails else "close"
    said = [
        f"Wire and survey {verb} over {counted(count, 'girder')}: pooled square sum {number(found.chi_square, 0)} for {found.dof} "
        f"degrees of freedom, probability {chance(found.probability)} (risk {found.risk:g})."
    ]
    return " ".join([*said, *_scale(found), *_heavy(found), *_stands_out(found), *_even(found)])


def _scale(found: FleetClosure) -> list[str]:
    between = f"{number(found.scale_low, 2)} to {number(found.scale_high, 2)}"
    interval = f"{number(found.scale, 2)} times as large as the budget says ({between})"
    if found.factor is not None:
        return [
            f"The differences are {interval}.",
            f"The uncertainties that decide may be enlarged by {number(found.factor, 2)}; "
            "none is, unless you say so for a campaign.",
        ]
    if found.fails:
        return [
            f"The differences are {interval}.",
            f"From fewer than {FEWEST_GIRDERS} girders no factor is given.",
        ]
    if found.scale_high < 1.0:
        return [f"The differences are {interval}: the budget is wide. Nothing is shrunk."]
    return []


def _heavy(found: FleetClosure) -> list[str]:
    if not found.fails or found.heaviest is None or found.heaviest[1] < found.risk:
        return []
    name, left = found.heaviest
    return [f"Without {label(found, name)} the others close (probability {chance(left)}): look at that girder first."]


def _stands_out(found: FleetClosure) -> list[str]:
    if found.stands_out:
        said = "; ".join(mean_words(m) for m in found.stands_out[:3])
        return [f"Over all girders {said}: that is no chance, look for what they share there."]
    return ["No magnet stands out over all girders."] if len(found.girders) > 1 else []


def mean_words(mean: MagnetMean) -> str:
    """One magnet's mean difference.

    >>> mean_words(MagnetMean("t", "Q1", "y", -2e-6, 0.3e-6, 14, 1e-9))
    'at Q1 the wire went 2.00 ± 0.30 µm farther down than the targets say'
    """
    size = micrometres(abs(mean.mean), mean.u).lstrip("+")
    return f"at {mean.magnet} the wire went {size} farther {SIDES[mean.plane][0 if mean.mean > 0.0 else 1]} than the targets say"


def _even(found: FleetClosure) -> list[str]:
    if len(found.girders) < 2:
        return []
    even = (
        "lie evenly between 0 and 1, as they should"
        if found.uniform_probability >= found.risk
        else "do not lie evenly between 0 and 1"
    )
    distance = f"largest distance {number(found.distance, 2)}, probability {chance(found.uniform_probability)}"
    return [f"The girders' probabilities {even} ({distance})."]


def label(found: FleetClosure, campaign: str) -> str:
    """The girder of a campaign as it is called here: by its name, and by its folder when two girders have one name."""
    names = [g.girder for g in found.girders]
    one = next(g for g in found.girders if g.campaign == campaign)
    return one.girder if one.girder and names.count(one.girder) == 1 else campaign


def most_of(closure: Closure) -> tuple[str, str, float, float] | None:
    """Magnet, plane, difference and u [m] of the difference that is largest over its u; None where none is known."""
    known = [
        (magnet, plane, d, u)
        for magnet, (x, y, u_x, u_y) in closure.offsets.items()
        for plane, d, u in (("x", x, u_x), ("y", y, u_y))
        if abs(d) >= 0.0 and u > 0.0
    ]
    return max(known, key=lambda k: abs(k[2]) / k[3], default=None)


def most_words(closure: Closure) -> str:
    """The difference of a girder that stands out most."""
    most = most_of(closure)
    if most is None:
        return "none is known"
    magnet, plane, d, u = most
    return f"{magnet} {plane} {micrometres(d, u)}"


def fleet_lines(found: FleetClosure, without: Mapping[str, str]) -> list[str]:
    """The fleet on a terminal: the sentence, a line a girder in time order, magnets with the largest means, what does not count."""
    heads: tuple[str, ...] = ("girder", "from, to", "square sum", "dof", "probability", "largest over its u")
    rows = [heads, *(_row(found, g) for g in found.girders)]
    lines = [fleet_sentence(found)]
    if found.girders:
        lines += ["", *_aligned(rows)]
    several = [m for m in found.magnets if m.girders > 1][:3]
    if several:
        lines += ["", "Largest mean differences, wire minus survey:"]
        lines += [
            f"  {m.magnet} {m.plane} {micrometres(m.mean, m.u)} over {counted(m.girders, 'girder')} of type {m.type_name}"
            for m in several
        ]
    if without:
        lines += ["", "Not counted:", *(f"  {campaign}: {why}" for campaign, why in without.items())]
    return lines


def _row(found: FleetClosure, girder: GirderClosure) -> tuple[str, ...]:
    c = girder.closure
    pair = f"{girder.start}, {girder.end}"
    return (
        label(found, girder.campaign),
        pair,
        number(c.chi_square, 1),
        str(c.dof),
        chance(c.probability),
        most_words(c),
    )


def _aligned(rows: Sequence[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    return ["  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip() for row in rows]


def scale_why(found: FleetClosure) -> str:
    """Why a campaign's uncertainties are enlarged, behind "since"."""
    return f"the closure of {len(found.girders)} girders failed"


def scale_source(found: FleetClosure) -> str:
    """What a factor was read from."""
    names = listed([label(found, g.campaign) for g in found.girders])
    return (
        f"pooled square sum {number(found.chi_square, 1)} for {found.dof} degrees of freedom, "
        f"probability {chance(found.probability)}, risk {found.risk:g}; "
        f"factor between {number(found.scale_low, 2)} and {number(found.scale_high, 2)} (95 %); girders {names}"
    )
