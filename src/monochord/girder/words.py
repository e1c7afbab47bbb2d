"""A bolt's turn in words: how far, which way round, seen from where, and what it does to the girder."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monochord.campaign.given.girder import Bolt
from monochord.ground.frames import DIRECTIONS

#: Direction -> where one stands to look along it, and what a push along it does.
_SEEN: dict[str, tuple[str, str]] = {
    "up": ("from below", "raises the girder"),
    "down": ("from above", "lowers the girder"),
    "left": ("from the right of the beam", "pushes the girder to the left"),
    "right": ("from the left of the beam", "pushes the girder to the right"),
    "along beam": ("from upstream", "pushes the girder downstream"),
    "against beam": ("from downstream", "pushes the girder upstream"),
}
_BACK: dict[str, str] = {
    "up": "lowers the girder",
    "down": "raises the girder",
    "left": "pulls the girder to the right",
    "right": "pulls the girder to the left",
    "along beam": "pulls the girder upstream",
    "against beam": "pulls the girder downstream",
}


def direction_of(bolt: Bolt) -> str:
    """The word of the girder's frame that a bolt's direction comes nearest to.

    >>> direction_of(Bolt("V", (0.0, 1.0, 0.0), (0.0, 0.0, 0.0), 1e-3, None, 0.01, True, 1e9))
    'up'
    """
    push = np.array(bolt.direction)
    return max(DIRECTIONS, key=lambda word: float(push @ np.array(DIRECTIONS[word])))


def sense(bolt: Bolt, turns: float) -> str:
    """What a turn means at the bolt.

    turns  [turn], positive pushes the girder along the bolt's direction

    A right-handed screw in a standing nut advances away from somebody who turns it clockwise, so clockwise
    is seen looking along the push. Where the thread's hand is not told, no sense of rotation is claimed.

    >>> foot = Bolt("V1", (0.0, 1.0, 0.0), (0.0, 0.0, 0.0), 1.5e-3, None, 1 / 120, True, 1e9, True)
    >>> sense(foot, -0.05)
    '0.0500 turn (6 of the smallest steps) anticlockwise seen from below: lowers the girder by 75 um at the bolt'
    >>> sense(foot, 0.0)
    'leave'
    """
    if not turns:
        return "leave"
    word = direction_of(bolt)
    seen, does = _SEEN[word]
    if turns < 0.0:
        does = _BACK[word]
    size = f"{abs(turns):.4f} turn ({_steps(bolt, turns)})"
    advance = f"{does} by {abs(turns) * bolt.thread_pitch * 1e6:.0f} um at the bolt"
    if bolt.right_handed is None:
        sign = "positive" if turns > 0.0 else "negative"
        return f"{size} {sign}: {advance}; hand of the thread not told (positive {_SEEN[word][1]}): try which way that is first"
    clockwise = (turns > 0.0) == bolt.right_handed
    return f"{size} {'clockwise' if clockwise else 'anticlockwise'} seen {seen}: {advance}"


def _steps(bolt: Bolt, turns: float) -> str:
    count = round(abs(turns) / bolt.smallest_step) if bolt.smallest_step > 0.0 else 0
    return f"{count} of the smallest steps" if count != 1 else "1 smallest step"


def listed(names: Sequence[str]) -> str:
    """Names joined as people write them.

    >>> listed(["V1", "V2", "V3"])
    'V1, V2 and V3'
    """
    if len(names) < 2:
        return names[0] if names else "none"
    return f"{', '.join(names[:-1])} and {names[-1]}"


def first_steps(loose: Sequence[Bolt], touching: Sequence[Bolt]) -> tuple[str, ...]:
    """What to do before any turn: one step for each loose foot, a look at those that barely touch, and a new survey."""
    steps = [
        f"{bolt.name} is loose: turn it along its push until the girder just touches, and no further; "
        f"a gauge at the foot must not move by more than 2 um ({_way(bolt)})"
        for bolt in loose
    ]
    if touching:
        steps.append(f"{listed([b.name for b in touching])} barely touches: feel again that it still does")
    if loose:
        steps.append(
            "survey the same targets again once all feet touch, and plan anew; until then the turns below hold"
        )
    return tuple(steps)


def _way(bolt: Bolt) -> str:
    word = direction_of(bolt)
    if bolt.right_handed is None:
        return f"positive turns {_SEEN[word][1].replace('raises', 'raise').replace('pushes', 'push')}; hand not told"
    return f"{'clockwise' if bolt.right_handed else 'anticlockwise'} seen {_SEEN[word][0]}"


def plan_sentence(
    loose: Sequence[str],
    turned: Sequence[tuple[str, float]],
    left: tuple[float, float, float],
    share: float | None,
    own_moved: Sequence[str],
    *,
    do_nothing: bool,
    warning: str = "",
) -> str:
    """A plan in plain words.

    turned  bolts with their turns [turn];  left  before, after, after in 95 of 100 cases [m]
    share   part that bolts can cure, or None;  warning  what must be said before anything else

    >>> said = plan_sentence(["V1"], [("V2", 0.1), ("V3", -0.2)], (9e-6, 2e-6, 3e-6), 0.95, [], do_nothing=False)
    >>> said.split(". ")[0], said.split(". ")[2]
    ('First bring V1 to bear and survey again', 'Bolts can cure 95 % of the mean square departure.')
    """
    before, after, most = (f"{v * 1e6:.1f} um" for v in left)
    parts = [f"{warning[0].upper()}{warning[1:]}."] if warning else []
    parts += [f"First bring {listed(loose)} to bear and survey again."] if loose else []
    if do_nothing:
        parts.append(
            f"Turning is not worth it: the magnets are {before} rms from the reference shape, and turns would hardly better it."
        )
    else:
        far = max(turned, key=lambda item: abs(item[1]))
        then = "Then turn" if loose else "Turn"
        bolts = "1 bolt," if len(turned) == 1 else f"{len(turned)} bolts, the farthest"
        parts.append(
            f"{then} {bolts} {far[0]} by {abs(far[1]):.3f} turn: the magnets, {before} rms from the reference shape now, "
            f"should come to {after} (below {most} in 95 of 100 cases)."
        )
    counted = ", own moves counted" if own_moved else ""
    if share is not None:
        parts.append(f"Bolts can cure {100.0 * share:.0f} % of the mean square departure{counted}.")
    if own_moved:
        parts.append(f"No bolt cures that {listed(own_moved)} moved on the girder.")
    return " ".join(parts)


#: What every crew must keep in mind; advice, not release of work.
CAUTIONS: tuple[str, ...] = (
    "A girder is a heavy load with energy stored in its bolts: this plan advises, local rules and licensed people decide.",
    "Never unload a foot further than planned; keep at least three feet that stand not in one line bearing at all times.",
    "Lateral locks off while vertical bolts turn; turn in passes of at most 50 um per bolt, raising before lowering.",
    "End every motion in the direction of the push, so that play in the thread is taken up.",
)
