"""A pen for small line pictures: strokes, arrows, arcs and words, written as SVG text.

The picture's own axes are those of the page: x to the right, y DOWN, in pixels. Angles of arcs are
in degrees, counted from the right, counter-clockwise as people draw them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

INK, PALE, STRONG, OTHER = "#222222", "#9a9a9a", "#0b5394", "#a64d00"

Spot = tuple[float, float]


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


@dataclass(slots=True)
class Picture:
    """One picture that grows stroke by stroke; ``svg`` is its text."""

    title: str
    width: int = 460
    height: int = 230
    parts: list[str] = field(default_factory=list)

    def line(self, start: Spot, end: Spot, *, ink: str = INK, wide: float = 1.6, dashed: bool = False) -> None:
        """A straight stroke."""
        dash = ' stroke-dasharray="5 4"' if dashed else ""
        self.parts.append(
            f'<line x1="{_n(start[0])}" y1="{_n(start[1])}" x2="{_n(end[0])}" y2="{_n(end[1])}"'
            f' stroke="{ink}" stroke-width="{_n(wide)}"{dash}/>'
        )

    def curve(self, spots: list[Spot], *, ink: str = INK, wide: float = 1.6) -> None:
        """A stroke through many spots."""
        path = " ".join(f"{_n(x)},{_n(y)}" for x, y in spots)
        self.parts.append(f'<polyline points="{path}" fill="none" stroke="{ink}" stroke-width="{_n(wide)}"/>')

    def head(self, tip: Spot, towards: float, *, ink: str = INK) -> None:
        """An arrow's head at a spot, pointing at an angle."""
        back = [math.radians(towards + turn) for turn in (155.0, -155.0)]
        corners = [tip] + [(tip[0] + 11 * math.cos(a), tip[1] - 11 * math.sin(a)) for a in back]
        self.parts.append(f'<polygon points="{" ".join(f"{_n(x)},{_n(y)}" for x, y in corners)}" fill="{ink}"/>')

    def arrow(self, start: Spot, end: Spot, *, ink: str = STRONG, wide: float = 2.2) -> None:
        """A stroke with a head at its end."""
        self.line(start, end, ink=ink, wide=wide)
        self.head(end, math.degrees(math.atan2(start[1] - end[1], end[0] - start[0])), ink=ink)

    def arc(self, middle: Spot, radius: float, first: float, last: float, *, ink: str = STRONG) -> None:
        """A bent arrow about a middle, from one angle to another; last > first runs counter-clockwise."""
        steps = [first + (last - first) * k / 24 for k in range(25)]
        turns = [math.radians(a) for a in steps]
        self.curve(
            [(middle[0] + radius * math.cos(a), middle[1] - radius * math.sin(a)) for a in turns], ink=ink, wide=2.2
        )
        tip = (middle[0] + radius * math.cos(turns[-1]), middle[1] - radius * math.sin(turns[-1]))
        # the head follows the chord of its own length, so that it sits on the bend
        lean = math.degrees(5.5 / radius)
        self.head(tip, last + (90.0 - lean if last > first else -90.0 + lean), ink=ink)

    def box(self, corner: Spot, width: float, height: float, *, ink: str = PALE, fill: str = "#f2f2f2") -> None:
        """A rectangle."""
        self.parts.append(
            f'<rect x="{_n(corner[0])}" y="{_n(corner[1])}" width="{_n(width)}" height="{_n(height)}"'
            f' fill="{fill}" stroke="{ink}"/>'
        )

    def ring(self, middle: Spot, radius: float, *, ink: str = INK, fill: str = "none") -> None:
        """A circle."""
        self.parts.append(
            f'<circle cx="{_n(middle[0])}" cy="{_n(middle[1])}" r="{_n(radius)}" fill="{fill}" stroke="{ink}"'
            ' stroke-width="1.6"/>'
        )

    def away(self, middle: Spot, *, ink: str = INK) -> None:
        """An arrow that leads into the page: a circle with a cross."""
        self.ring(middle, 9, ink=ink, fill="white")
        for sign in (1, -1):
            self.line((middle[0] - 6, middle[1] - 6 * sign), (middle[0] + 6, middle[1] + 6 * sign), ink=ink)

    def near(self, middle: Spot, *, ink: str = INK) -> None:
        """An arrow that comes out of the page: a circle with a dot."""
        self.ring(middle, 9, ink=ink, fill="white")
        self.ring(middle, 2, ink=ink, fill=ink)

    def words(self, spot: Spot, text: str, *, ink: str = INK, size: int = 14, anchor: str = "start") -> None:
        """A line of words; anchor is start, middle or end."""
        self.parts.append(
            f'<text x="{_n(spot[0])}" y="{_n(spot[1])}" font-size="{size}" fill="{ink}" text-anchor="{anchor}">'
            f"{escape(text)}</text>"
        )

    @property
    def svg(self) -> str:
        """The whole picture."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width} {self.height}"'
            f' width="{self.width}" height="{self.height}" font-family="sans-serif" role="img">'
        )
        ground = '<rect width="100%" height="100%" fill="white"/>'
        return "\n".join([head, f"<title>{escape(self.title)}</title>", ground, *self.parts, "</svg>", ""])
