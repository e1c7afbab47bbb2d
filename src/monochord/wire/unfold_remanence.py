"""What a magnet's own remanence adds to its centre, told from the backgrounds of all modes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from monochord.ground.trace import Line, Sum
from monochord.wire.background import Background
from monochord.wire.model import ComplexArray
from monochord.wire.remanence import remanence_gains
from monochord.wire.unfold_base import PARTS, Keys, argument, inner, part_of, times, unknown
from monochord.wire.unfold_centre import Centres, axis_name


@dataclass(frozen=True, eq=False)
class Remanences:
    """Remanence of all magnets."""

    centres: Centres

    @cached_property
    def gains(self) -> list[tuple[Background, ComplexArray]]:
        """How every remanence follows the shared backgrounds' coefficients."""
        blocks = self.centres.base.evidence.sound.rounds[2].blocks
        backgrounds = list({id(b.background): b.background for b in blocks if b.background is not None}.values())
        return remanence_gains(backgrounds, self.centres.base.evidence.found, self.centres.base.evidence.setup)

    def tell(self, magnet: str, plane: str, part: str) -> Sum:
        """x_with_remanence or y_with_remanence in the wire's frame, or the shift that makes it."""
        if part:
            return self.shift(magnet, plane)
        axis, name = self.centres.axis(magnet), axis_name(magnet, f"{plane}_with_remanence")
        value = axis.remanence_x if plane == "x" else axis.remanence_y
        if value is None or magnet not in self.centres.base.evidence.remanence:
            raise unknown(name)
        return with_shift(magnet, plane, value, self.centres.wire(magnet, plane, "").value, self.shift(magnet, plane))

    def shift(self, magnet: str, plane: str) -> Sum:
        """What the remanence adds to the centre."""
        name, found = axis_name(magnet, f"{plane}_with_remanence#shift"), self.centres.base.evidence.remanence
        if magnet not in found:
            raise unknown(name)
        lines = tuple(
            argument(
                f"{words}, {w} part", part_of(self._unknown(magnet, what), p), inner("remanence", magnet, what, p), unit
            )
            for what, words, unit in (
                ("displaced", "remanence times its displacement", "m"),
                ("part", "remanence over field", "1"),
            )
            for p, w in (("re", "real"), ("im", "imaginary"))
        )

        def made(a: Sequence[float]) -> float:
            return part_of(complex(a[0], a[1]) / (1.0 + complex(a[2], a[3])), plane)

        how = "displacement of the remanence, by its part in the whole field"
        return Sum(name, "m", part_of(found[magnet].shift, plane), lines, how, made)

    def _row(self, magnet: str, what: str) -> int:
        names = list(self.centres.base.evidence.found)
        return 1 + names.index(magnet) + (len(names) if what == "displaced" else 0)

    def _unknown(self, magnet: str, what: str) -> complex:
        row = self._row(magnet, what)
        return complex(sum(gain[row] @ b.law.coefficients for b, gain in self.gains))

    def remanence(self, keys: Keys) -> Sum:
        """A magnet's remanence, or that times its displacement: from the backgrounds of all modes."""
        name = inner("remanence", *keys)
        if len(keys) not in (3, 4) or keys[0] not in self.centres.base.evidence.remanence or keys[2] not in PARTS:
            raise unknown(name)
        magnet, what, part = keys[:3]
        if what not in ("part", "displaced"):
            raise unknown(name)
        row, unit = self._row(magnet, what), "1" if what == "part" else "m"
        how = "least squares over the backgrounds of all modes, with what is expected of rooms and magnets"
        if len(keys) == 3:
            lines = []
            for b, gain in self.gains:
                share = part_of(complex(gain[row] @ b.law.coefficients), part)
                lines.append(Line(f"background of {b.scope}", share, inner("remanence", *keys, b.scope)))
            return Sum(name, unit, part_of(self._unknown(magnet, what), part), tuple(lines), how)
        for b, gain in self.gains:
            if b.scope == keys[3]:
                node = self.centres.laws.nodes[("3", f"background {b.scope}")]
                own = []
                for k, g in enumerate(gain[row].tolist()):
                    re, im = (g.real, -g.imag) if part == "re" else (g.imag, g.real)
                    own += [
                        self.centres.laws.coefficient(node, k, "re", re),
                        self.centres.laws.coefficient(node, k, "im", im),
                    ]
                value = part_of(complex(gain[row] @ b.law.coefficients), part)
                return Sum(name, unit, value, tuple(own), f"{how}: the part of {b.scope}")
        raise unknown(name)


def with_shift(magnet: str, plane: str, value: float, centre: float, shift: Sum) -> Sum:
    """The centre of the whole field, from the centre of what follows the current, in one frame."""
    lines = (
        times("centre of the field that follows the current", 1.0, centre, axis_name(magnet, plane), unit="m"),
        times("shift by the magnet's own remanence", 1.0, shift.value, shift.name, unit="m"),
    )
    name = axis_name(magnet, f"{plane}_with_remanence")
    return Sum(name, "m", value, lines, "centre of the whole field, the magnet's remanence kept")
