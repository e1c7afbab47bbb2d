"""What limits a number: its uncertainty by causes, what would shrink it, and what would turn its verdict."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Share:
    """One kind of cause: its standard uncertainty, in the quantity's unit, and its part of the variance (0..1)."""

    kind: str
    u: float
    part: float


@dataclass(frozen=True, slots=True)
class Relief:
    """What one measure would give.

    kind     of cause that it is aimed at;  measure  in words
    u_after  the standard uncertainty after it;  gain  by how much it shrinks (0..1)
    basis    what the forecast rests on, in words: predicted from the chain, or assumed
    """

    kind: str
    measure: str
    u_after: float
    gain: float
    basis: str = ""


@dataclass(frozen=True, slots=True)
class Flip:
    """The smallest error of one cause that would bring the true value onto its limit.

    cause    its id;  times_u  how long that error is, in the cause's own standard uncertainties (Mahalanobis length)
    variable, size, unit   where one variable of the cause brings it: which one, how far off [unit], both in words of the cause;
             size None where several variables would have to be off together
    """

    cause: str
    times_u: float
    variable: str = ""
    size: float | None = None
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Budget:
    """Budget of one quantity: value and u in its unit; shares, reliefs and flips ranked, the strongest first.

    name      of the component;  unit  "m" or "rad";  limit  largest absolute value allowed, None where none is declared
    occasion, magnet, quantity   as in the verdicts ("x", "own_move_x", "slope_x", "roll"), "" where it belongs to none
    """

    name: str
    value: float
    u: float
    shares: tuple[Share, ...]
    reliefs: tuple[Relief, ...]
    flips: tuple[Flip, ...]
    unit: str = ""
    limit: float | None = None
    occasion: str = ""
    magnet: str = ""
    quantity: str = ""
