"""Whether magnets have shifted between two occasions, and whether by less than a margin."""

from __future__ import annotations

from dataclasses import dataclass

OWN_MOVE, AXIS = "own move", "axis"


@dataclass(frozen=True, slots=True)
class Shift:
    """One magnet's shift across the beam, x and y together.

    x, y, u_x, u_y   shift and standard uncertainties [m]; NaN, with ``reason``, when it is not known
    chi_square, dof  d' C^+ d and the rank of C;  probability  that chance alone gives as much or more
    found            whether the probability is below the magnet's part of the family's level; None when not known
    e_n_x, e_n_y     E_n scores: shift over its expanded uncertainty (k = 2); 1 or less counts as agreement
    margin           [m] of the question "has it moved by less than this?";  less  its answer for the length of (x, y): "yes",
                     "no" or "cannot be decided";  less_x, less_y  for each component
    moved_more       probability that it moved by more than the margin
    answerable       smallest margin that could be answered "yes" [m]
    """

    magnet: str
    x: float
    y: float
    u_x: float
    u_y: float
    chi_square: float
    dof: int
    probability: float
    found: bool | None
    e_n_x: float
    e_n_y: float
    margin: float
    less: str
    less_x: str
    less_y: str
    moved_more: float
    answerable: float
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Shifts:
    """All magnets' shifts of one kind between two occasions.

    of           "own move" (relative to the girder's shape) or "axis" (about the line that shape and own moves make)
    level        of the family, so that with this probability any magnet at all is found by chance;  level_each  of one magnet
    chi_square, dof, probability, found  of all magnets together, their correlations counted; NaN and None when not known
    margin_by    where the margins come from;  words  the whole in a sentence
    """

    of: str
    level: float
    level_each: float
    each: tuple[Shift, ...]
    chi_square: float
    dof: int
    probability: float
    found: bool | None
    margin_by: str
    words: str
