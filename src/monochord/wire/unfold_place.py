"""Axes in the girder frame told by the chord between the wire's ends, the sag along gravity, and the axis in the wire's frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monochord.campaign.found.axes import Axis
from monochord.ground.trace import Line, Sum, pointer
from monochord.wire.evidence import PlacedUnfold
from monochord.wire.unfold import cause_of, keys_of
from monochord.wire.unfold_base import inner, nothing, setting, times, unknown
from monochord.wire.unfold_centre import axis_name
from monochord.wire.unfold_remanence import with_shift


@dataclass(frozen=True, eq=False, slots=True)
class _Placing:
    """How axes were placed, with what tells them."""

    by: PlacedUnfold

    def tell(self, name: str) -> Sum:
        """The number of that name; raises Refused for a name that is not known."""
        head, _, rest = name.partition("/")
        if name.startswith("wire#end/"):
            return self._end(keys_of(rest))
        if head == "cause" and (ident := cause_of(rest))[0].startswith("nest vector:"):
            return self._vector(*ident)
        if head == "axes":
            keys = keys_of(rest)
            what = "/".join(keys[1:])
            axis = next((a for a in self.by.axes if a.magnet == keys[0]), None)
            if axis is not None and what in ("x", "y", "slope_x", "slope_y"):
                return self._axis(axis, what)
            if axis is not None and what in ("x_with_remanence", "y_with_remanence"):
                return self._with_remanence(axis, what)
        return self._inside(name)

    def _inside(self, name: str) -> Sum:
        if self.by.inner is None:
            raise unknown(name)
        return self.by.inner(name)

    def _axis(self, axis: Axis, what: str) -> Sum:
        name = axis_name(axis.magnet, what)
        i = ("x", "y", "slope_x", "slope_y").index(what)
        value, k = float(axis.estimate.value[i]), i % 2
        if not np.isfinite(value):
            raise unknown(name)
        a, b = self.by.ends[:3], self.by.ends[3:]
        span = float(b[2] - a[2])
        t = (axis.z - a[2]) / span
        ratio = (axis.z - self.by.wire.z_start) / self.by.wire.length
        lean = (self.by.up[0], self.by.up[1] - 1.0)[k]
        if i < 2:
            one, other, hang = 1.0 - t, t, 4.0 * ratio * (1.0 - ratio)
        else:
            one, other, hang = -1.0 / span, 1.0 / span, 4.0 * (1.0 - 2.0 * ratio) / self.by.wire.length
        own = self._inside(f"{name}#frame of the wire")
        nests = [end.nest for end in self.by.wire.ends]
        lines = (
            *(
                times(f"chord at {nest}, {'xy'[k]}", part, at[k], inner("end", nest, "xy"[k]), unit="m")
                for nest, part, at in zip(nests, (one, other), (a, b), strict=True)
            ),
            times(
                "sag that hangs along gravity and not along the girder's y",
                -hang * lean,
                self.by.mid_sag,
                "wire/sag",
                unit="m",
            ),
            times("in the frame of the wire", 1.0, own.value, f"{name}#frame of the wire", unit=own.unit),
        )
        how = "chord of the wire at the magnet, by the surveyed ends, and the axis about it"
        return Sum(name, own.unit, value, lines, f"{how}; frame of the girder")

    def _with_remanence(self, axis: Axis, what: str) -> Sum:
        name = axis_name(axis.magnet, what)
        value = axis.remanence_x if what[0] == "x" else axis.remanence_y
        if value is None:
            raise unknown(name)
        centre = float(axis.estimate.value["xy".index(what[0])])
        return with_shift(axis.magnet, what[0], value, centre, self._inside(f"{name}#shift"))

    def _end(self, keys: list[str]) -> Sum:
        """The chord of the supports where one end was surveyed."""
        nests = [end.nest for end in self.by.wire.ends]
        if len(keys) != 2 or keys[0] not in nests or keys[1] not in ("x", "y", "z"):
            raise unknown(inner("end", *keys))
        e, k = nests.index(keys[0]), "xyz".index(keys[1])
        vector = self.by.wire.ends[e].to_wire[k]
        z = float(self.by.nests[3 * e + 2] + self.by.wire.ends[e].to_wire[2])
        ratio = float(np.clip((z - self.by.wire.z_start) / self.by.wire.length, 0.0, 1.0))
        target = pointer("occasions", self.by.occasion, "targets", keys[0], "xyz", k)
        key, above = f"wire.ends.{keys[0]}.to_wire.{k}", 4.0 * ratio * (1.0 - ratio) * self.by.up[k]
        lines = (
            times(f"surveyed nest {keys[0]}", 1.0, self.by.nests[3 * e + k], target, unit="m"),
            Line("calibrated vector from the nest to the wire", vector, unit="m", places=setting(key)),
            times("chord above the wire there, by its sag", above, self.by.mid_sag, "wire/sag", unit="m"),
        )
        how = "surveyed nest and calibrated vector: the wire; the chord of its supports lies above it by the sag"
        return Sum(inner("end", *keys), "m", float(self.by.ends[3 * e + k]), lines, how)

    def _vector(self, ident: str, i: int, j: int) -> Sum:
        nests = [end.nest for end in self.by.wire.ends]
        nest, name = ident.partition(":")[2], pointer("cause", ident, i, j)[1:]
        if nest not in nests or not (i in range(3) and j in range(3)):
            raise unknown(name)
        e = nests.index(nest)
        key = f"wire.ends.{nest}.u_to_wire"
        if i != j:
            return nothing(name, "m2", "errors along different axes are taken as independent", key)
        u = self.by.wire.ends[e].u_to_wire
        line = Line("standard uncertainty of the calibrated vector, per axis", u, unit="m", places=setting(key))
        return Sum(name, "m2", u**2, (line,), "square of what is told", lambda a: a[0] ** 2)


def tell(placing: PlacedUnfold, name: str) -> Sum:
    """A number of a placed finding by its name; raises Refused for a name that is not known."""
    return _Placing(placing).tell(name)
