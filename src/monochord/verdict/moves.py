"""What the crew should do to each magnet so that its axis comes onto the common line."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from monochord.campaign.found.axes import CommonLine, Move

#: A move smaller than this many standard uncertainties chases noise (about 95 % for a normal law; common practice, no source).
WORTH_MOVING = 2.0


def moves_onto(line: CommonLine, magnets: Sequence[str], words: Callable[[float, float], str]) -> list[Move]:
    """The move of each named magnet onto the line: minus its offset; planes within their uncertainty are left.

    words  turns a move (x, y) [m] into words such as "12 um left"; a plane to be left is passed as 0
    """
    return [_move(line, name, words) for name in magnets if f"{name}.x" in line.offsets.names]


def _move(line: CommonLine, name: str, words: Callable[[float, float], str]) -> Move:
    both = line.offsets.pick([f"{name}.x", f"{name}.y"])
    (x, y), (u_x, u_y) = -both.value, both.u
    do_x, do_y = abs(x) > WORTH_MOVING * u_x, abs(y) > WORTH_MOVING * u_y
    told = words(float(x) if do_x else 0.0, float(y) if do_y else 0.0)
    if not (do_x or do_y):
        sentence = f"leave {name}: it lies on the line within {WORTH_MOVING:g} u"
    else:
        left_alone = (
            "" if do_x and do_y else f"; leave the {'height' if do_x else 'side'}, it is within {WORTH_MOVING:g} u"
        )
        sentence = f"move {name} {told}{left_alone}"
    return Move(name, float(x), float(y), float(u_x), float(u_y), sentence)
