"""Charts of a fleet's closures: square sums in time order against their limits, and how evenly their probabilities lie."""

from __future__ import annotations

from monochord.campaign.found.fleet import FleetClosure
from monochord.ground.statistics import chi_square_quantile
from monochord.report.fleet.words import chance, label
from monochord.report.plot import Scale, bottom_axis, left_axis, panel
from monochord.report.svg import Picture, box, circle, group, line, polyline, text
from monochord.report.words import counted, number

WIDTH, LEFT, RIGHT = 760.0, 62.0, 690.0
TOP, BOTTOM = 24.0, 250.0
#: Levels of the limits drawn, and the class of each line.
LIMITS = ((0.95, "limit"), (0.99, "left-out"))
#: Parts into which probabilities are counted.
BINS = 10
#: More names than these below a chart would meet; then every other, every third is written.
MOST_NAMES = 24


def squares_picture(found: FleetClosure) -> Picture:
    """Square sum over degrees of freedom of every girder in time order, with the limits that 95 and 99 in 100 keep."""
    girders = found.girders
    ratios = [g.closure.chi_square / g.closure.dof for g in girders]
    edges = {p: [chi_square_quantile(p, g.closure.dof) / g.closure.dof for g in girders] for p, _ in LIMITS}
    up = Scale(0.0, 1.08 * max([*ratios, *edges[0.99], 1.5]), BOTTOM, TOP)
    across = Scale(-0.5, len(girders) - 0.5, LEFT, RIGHT)
    places = across.many(range(len(girders)))
    step = -(-len(girders) // MOST_NAMES)
    outside = sum(g.closure.probability < found.risk for g in girders)
    return Picture(
        "fleet-squares",
        "Square sum of every girder",
        f"{counted(len(girders), 'girder')}; {outside} beyond the limit of 99 in 100.",
        "Square sum of the differences of wire and survey over its degrees of freedom, girders in the order of their first "
        "run. When the budget is right the dots lie about 1; 95 in 100 stay below the lower dashed line, 99 in 100 below the "
        "upper one.",
        WIDTH,
        BOTTOM + 92,
        [
            panel(LEFT, TOP, RIGHT, BOTTOM),
            left_axis(up, LEFT, RIGHT),
            line(LEFT, up(1.0), RIGHT, up(1.0), "zero"),
            *(_limit(across, up, edges[p], name, f"{100 * p:.0f} %") for p, name in LIMITS),
            *(circle(x, y, 4, "centre") for x, y in zip(places, up.many(ratios), strict=True)),
            line(LEFT, BOTTOM, RIGHT, BOTTOM, "axis"),
            *(
                text(x, BOTTOM + 12, label(found, g.campaign)[-18:], "small", anchor="end", turn=-45)
                for i, (x, g) in enumerate(zip(places, girders, strict=True))
                if i % step == 0
            ),
            text(16, (TOP + BOTTOM) / 2, "square sum / dof [1]", "axis-title", anchor="middle", turn=-90),
        ],
    )


def _limit(across: Scale, up: Scale, edges: list[float], name: str, words: str) -> str:
    """A limit that steps where girders have other degrees of freedom."""
    xs = [across(i + d) for i in range(len(edges)) for d in (-0.5, 0.5)]
    ys = [up(e) for e in edges for _ in (0, 1)]
    return group(polyline(xs, ys, name), text(RIGHT + 6, ys[-1] + 3.5, words, "limit-note"))


def probabilities_picture(found: FleetClosure) -> Picture:
    """How many girders have a probability in each tenth between 0 and 1, against the even share."""
    values = [g.closure.probability for g in found.girders]
    counts = [sum(min(int(p * BINS), BINS - 1) == k for p in values) for k in range(BINS)]
    share = len(values) / BINS
    up = Scale(0.0, 1.15 * max([*counts, 2.0 * share, 1.0]), BOTTOM, TOP)
    across = Scale(0.0, 1.0, LEFT, RIGHT)
    bars = [
        box(across(k / BINS) + 2, up(n), across(1 / BINS) - across(0.0) - 4, BOTTOM - up(n), "value-bar")
        for k, n in enumerate(counts)
        if n
    ]
    return Picture(
        "fleet-probabilities",
        "Probabilities of the girders",
        f"Counts by tenth: {', '.join(map(str, counts))}; even share {number(share, 1)}.",
        "Probability of each girder's square sum by chance, counted by tenths; a right budget fills them evenly (line: "
        f"{number(share, 1)} each). Too many on the left: the budget is too small. Largest distance from even "
        f"{number(found.distance, 2)}, which chance exceeds with probability {chance(found.uniform_probability)}.",
        WIDTH,
        BOTTOM + 44,
        [
            panel(LEFT, TOP, RIGHT, BOTTOM),
            left_axis(up, LEFT, RIGHT, about=4),
            *bars,
            line(LEFT, up(share), RIGHT, up(share), "limit"),
            text(RIGHT + 6, up(share) + 3.5, "even", "limit-note"),
            line(LEFT, BOTTOM, RIGHT, BOTTOM, "axis"),
            bottom_axis(across, BOTTOM, about=10),
            text((LEFT + RIGHT) / 2, BOTTOM + 36, "probability [1]", "axis-title", anchor="middle"),
            text(16, (TOP + BOTTOM) / 2, "girders", "axis-title", anchor="middle", turn=-90),
        ],
    )  # fmt: skip
