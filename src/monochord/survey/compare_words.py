"""What is said of a change: one plain clause a finding, then one sentence.

x is positive to the left looking along the beam, y up; the number behind +- is the standard uncertainty.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monochord.campaign.found.comparison import Closure, OwnMove, ShapePart, TargetMove

#: A number is said aloud when it is this many times its standard uncertainty.
SAID = 3.0
#: Shape named in the sentence -> words for a positive and a negative size.
_SHAPES: dict[str, tuple[str, str]] = {
    "vertical bend": ("hogged {} in the middle against its ends", "sagged {} in the middle against its ends"),
    "vertical S bend": (
        "bent into an S, {} up in its second half against the first",
        "bent into an S, {} down in its second half against the first",
    ),
    "lateral bend": ("bent {} to the left in the middle", "bent {} to the right in the middle"),
    "lateral S bend": (
        "bent into an S, {} to the left in its second half against the first",
        "bent into an S, {} to the right in its second half against the first",
    ),
    "twist": ("twisted {} from first to last target, x towards y", "twisted {} from first to last target, y towards x"),
    "twist in the middle": ("turned {} in the middle, x towards y", "turned {} in the middle, y towards x"),
}


def amount(value: float, u: float, factor: float = 1e6, unit: str = "um") -> str:
    """A size without its sign, and its uncertainty.

    >>> amount(-42.3e-6, 4.2e-6), amount(1.26e-6, 0.4e-6)
    ('42 +- 4 um', '1.3 +- 0.4 um')
    """
    digits = 0 if u * factor >= 1.95 else 1
    return f"{abs(value) * factor:.{digits}f} +- {u * factor:.{digits}f} {unit}"


def listed(words: Sequence[str]) -> str:
    """Words joined as people say them.

    >>> listed(["a", "b", "c"]), listed(["a"])
    ('a, b and c', 'a')
    """
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def shape_words(cause: str, size: float, u: float) -> str:
    """One part of the change of shape in words.

    >>> shape_words("vertical bend", -42e-6, 4e-6)
    'the girder sagged 42 +- 4 um in the middle against its ends'
    >>> shape_words("lateral bend", 1e-6, 2e-6)
    'lateral bend 1 +- 2 um: no change beyond its uncertainty'
    """
    turning = cause.startswith("twist")
    size_words = amount(size, u, unit="urad" if turning else "um")
    if cause not in _SHAPES or abs(size) <= SAID * u:
        return f"{cause} {size_words}: no change beyond its uncertainty"
    return f"the girder {_SHAPES[cause][0 if size > 0.0 else 1].format(size_words)}"


def bow_words(size: float, u: float) -> str:
    """The thermal bow that the sensors predict."""
    how = "hog" if size > 0.0 else "sag"
    return f"temperature alone lets a free girder {how} by {amount(size, u)} in the middle; this is part of its vertical bend"


def stretch_words(size: float, u: float) -> str:
    """The growth that the sensors predict and the survey confirms."""
    return f"the girder {'grew' if size >= 0.0 else 'shrank'} by {amount(size, u, unit='um/m')} with its temperature"


def _directions(value: Sequence[float], u: Sequence[float], said: float) -> list[str]:
    words = (("left", "right"), ("up", "down"), ("along the beam", "against the beam"))
    return [
        f"{amount(v, s)} {pair[0] if v > 0.0 else pair[1]}"
        for v, s, pair in zip(value, u, words, strict=False)
        if abs(v) > said * s
    ]


def motion_words(value: Sequence[float], u: Sequence[float]) -> str:
    """An own move in words: what stands out of its uncertainty, or its larger part where nothing does.

    value, u  three shifts [m] and, for a body, three turns [rad]

    >>> motion_words([14e-6, 1e-6, 0.0, 0.0, 0.0, -43e-6], [2e-6, 2e-6, 2e-6, 1e-5, 1e-5, 1e-5])
    'moved 14 +- 2 um left and rolled -43 +- 10 urad'
    """
    parts = _directions(value[:3], u[:3], 2.0)
    turns = [
        f"{name} {v * 1e6:+.0f} +- {s * 1e6:.0f} urad"
        for name, v, s in zip(("pitched about x", "turned about y", "rolled"), value[3:], u[3:], strict=False)
        if abs(v) > 2.0 * s
    ]
    if not parts and not turns:
        k = int(np.argmax(np.abs(value[:2]) / np.maximum(u[:2], 1e-12)))
        only = [value[k] if i == k else 0.0 for i in range(2)]
        parts = _directions(only, u[:2], 0.0)
    moved = [f"moved {listed(parts)}"] if parts else []
    return listed([*moved, *turns])


def magnet_words(
    magnet: str, motion: str, u: float, *, state: bool | None, others: Sequence[str], chance: float
) -> str:
    """What is said of one magnet's own move.

    motion  its own move in words;  u  its largest standard uncertainty across the beam [m]
    state   True moved, False stayed, None not told, because of ``others`` or because a slip with this ``chance`` cannot be shown

    >>> magnet_words("M1", "", 2.4e-6, state=False, others=(), chance=0.0)
    'M1 stayed where its clamps hold it, good to 2.4 um across the beam'
    """
    if state is False:
        return f"{magnet} stayed where its clamps hold it, good to {u * 1e6:.1f} um across the beam"
    if others:
        return f"{magnet} {motion}, or {listed(list(others))} moved instead: the data do not tell which"
    if state is None:
        return f"{magnet} {motion} or stayed: the data leave {chance * 100:.0f} % for a slip that they cannot show"
    return f"{magnet} {motion}"


def target_words(target: str, motion: str, others: Sequence[str]) -> str:
    """What is said of a target that moved by itself.

    >>> target_words("B1L", "moved 40 +- 5 um up", ["M1"])
    'target B1L moved 40 +- 5 um up, or M1 moved instead: the data do not tell which'
    """
    if others:
        return f"target {target} {motion}, or {listed(list(others))} moved instead: the data do not tell which"
    return f"target {target} {motion} by itself"


def sentence(
    start: str,
    end: str,
    shape: Sequence[ShapePart],
    moves: Sequence[OwnMove],
    targets: Sequence[TargetMove],
    *,
    more: Sequence[str],
    closure: Closure | None,
) -> str:
    """The whole comparison in one sentence; more  clauses about other things and the range scale."""
    bends = [p.words.removeprefix("the girder ") for p in shape if p.cause in _SHAPES and abs(p.size) > SAID * p.u]
    said = [f"the girder {listed(bends)}" if bends else "the girder kept its shape within the uncertainty"]
    sure = [m for m in moves if m.found]
    said += [f"{m.magnet} alone {m.words.removeprefix(m.magnet + ' ')}" if len(sure) == 1 else m.words for m in sure]
    said += [m.words for m in moves if m.found is None and m.evidence != "none"]
    unseen = [m.magnet for m in moves if m.evidence == "none"]
    said += [f"nothing was seen of {listed(unseen)}"] if unseen else []
    said += [t.words for t in targets if t.found]
    if moves and all(m.found is False for m in moves):
        said.append("no magnet moved by itself")
    said += more
    said += [closure.words] if closure is not None else []
    return f"{start} to {end}: {'; '.join(said)}."
