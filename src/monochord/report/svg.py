"""Scalable drawings as text: elements, dots, lines that break at unknown values, and the frame around them.

Positions are in the drawing's own units (one unit is one CSS pixel at full width), x to the right, y down.
Looks are given by class names alone; their rules stand in ``templates/figures.css``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

Number = float | int


def short(value: Number) -> str:
    """A coordinate with at most two decimals.

    >>> short(12.0), short(-0.001), short(3.14159)
    ('12', '0', '3.14')
    """
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def tag(name: str, *children: str, **attributes: str | Number) -> str:
    """One element; ``class_`` stands for class, an underscore inside a name for a hyphen.

    >>> tag("text", "a&amp;b", x=1.5, text_anchor="end", class_="note")
    '<text x="1.5" text-anchor="end" class="note">a&amp;b</text>'
    """
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(value) if isinstance(value, str) else short(value)}"'
        for key, value in attributes.items()
        if value != ""
    )
    inner = "".join(children)
    return f"<{name}{written}>{inner}</{name}>" if inner else f"<{name}{written}/>"


def text(x: Number, y: Number, words: str, class_: str = "", *, anchor: str = "start", turn: Number = 0) -> str:
    """Words at a place; anchor is start, middle or end, turn in degrees clockwise about the place."""
    rotate = f"rotate({short(turn)} {short(x)} {short(y)})" if turn else ""
    place = "" if anchor == "start" else anchor
    return tag("text", escape(words), x=x, y=y, text_anchor=place, class_=class_, transform=rotate)


def line(x1: Number, y1: Number, x2: Number, y2: Number, class_: str) -> str:
    """A straight line."""
    return tag("path", d=f"M{short(x1)} {short(y1)}L{short(x2)} {short(y2)}", class_=class_)


def box(left: Number, top: Number, width: Number, height: Number, class_: str, *, corner: Number = 0) -> str:
    """A rectangle, with rounded corners when asked for."""
    return tag("rect", x=left, y=top, width=width, height=height, class_=class_, **({"rx": corner} if corner else {}))


def circle(x: Number, y: Number, radius: Number, class_: str) -> str:
    """A circle."""
    return tag("circle", cx=x, cy=y, r=radius, class_=class_)


def group(*children: str, class_: str = "") -> str:
    """Several elements as one."""
    return tag("g", *children, class_=class_) if any(children) else ""


def dots(xs: Iterable[float], ys: Iterable[float], class_: str) -> str:
    """Dots as one path: strokes of no length with round caps. Unknown values are left out.

    >>> dots([1.0, float("nan")], [2.0, 2.0], "dot")
    '<path d="M1 2h0" class="dot"/>'
    """
    steps = [f"M{short(x)} {short(y)}h0" for x, y in zip(xs, ys, strict=True) if math.isfinite(x) and math.isfinite(y)]
    return tag("path", d="".join(steps), class_=class_) if steps else ""


def polyline(xs: Iterable[float], ys: Iterable[float], class_: str) -> str:
    """A line through points, broken where a value is unknown.

    >>> polyline([0, 1, 2, 3], [0, 1, float("nan"), 3], "fit")
    '<path d="M0 0L1 1M3 3" class="fit"/>'
    """
    steps, pen = [], "M"
    for x, y in zip(xs, ys, strict=True):
        known = math.isfinite(x) and math.isfinite(y)
        if known:
            steps.append(f"{pen}{short(x)} {short(y)}")
        pen = "L" if known else "M"
    return tag("path", d="".join(steps), class_=class_) if steps else ""


def cross(x: Number, y: Number, arm: Number, class_: str) -> str:
    """A cross of two slanted strokes."""
    d = f"M{short(x - arm)} {short(y - arm)}L{short(x + arm)} {short(y + arm)}"
    return tag("path", d=d + f"M{short(x - arm)} {short(y + arm)}L{short(x + arm)} {short(y - arm)}", class_=class_)


def arrow(x1: Number, y1: Number, x2: Number, y2: Number, class_: str, *, head: Number = 5) -> str:
    """A line with an open head at its end."""
    angle = math.atan2(y2 - y1, x2 - x1)
    barbs = "".join(
        f"M{short(x2 - head * math.cos(angle + turn))} {short(y2 - head * math.sin(angle + turn))}L{short(x2)} {short(y2)}"
        for turn in (0.5, -0.5)
    )
    return tag("path", d=f"M{short(x1)} {short(y1)}L{short(x2)} {short(y2)}{barbs}", class_=class_)


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing with its words: title and description are read aloud, the caption is printed below.

    ident  unique on its page;  width, height  drawing units;  body  elements
    """

    ident: str
    title: str
    description: str
    caption: str
    width: Number
    height: Number
    body: Sequence[str]

    @property
    def markup(self) -> str:
        """The inline SVG."""
        return tag(
            "svg",
            tag("title", escape(self.title), id=f"{self.ident}-title"),
            tag("desc", escape(self.description), id=f"{self.ident}-desc"),
            *self.body,
            viewBox=f"0 0 {short(self.width)} {short(self.height)}",
            role="img",
            aria_labelledby=f"{self.ident}-title {self.ident}-desc",
        )


def ident(*parts: str) -> str:
    """An id for a page, from names that may hold anything.

    >>> ident("line", "2 aligned/x")
    'line-2_aligned_2fx'
    """
    return "-".join("".join(c if (c.isalnum() and c.isascii()) or c in "-." else _spelled(c) for c in p) for p in parts)


def _spelled(character: str) -> str:
    return "_" if character == " " else f"_{ord(character):x}"
