"""Why the range scale of an occasion is said to be off by so much: the girder's size as all occasions have it.

The scale of survey k is linear in the coordinates d_o of all surveys, once it is decided what moved on its own:
s_k = sum f_ko d_o, f_ko = ([k = o] W_k z - W_o C W_k z) / M_kk, with the precisions W that leave motions, bending
and own moves free, C the inverse of their sum and z what one unit of scale does. Its variance is
sum f_ko V_o f_ko', with V_o the covariance of survey o by causes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from monochord.campaign.found.points import PointSet
from monochord.ground.estimate import kind_of
from monochord.ground.faults import Fault, Refused
from monochord.ground.trace import Line, Sum, Unfold, pointer, root_of_sum
from monochord.survey.network import Array, Ints
from monochord.survey.scale import Scales, Settled, settled
from monochord.survey.sizes import Stretch, noise_of, swellings
from monochord.survey.unfold_rows import Row, grouped, of_rows, setting, way_of

XYZ = "xyz"


@dataclass(frozen=True, eq=False)
class Compared:
    """Surveys whose range scales were compared, kept to be asked; nothing is computed before it is.

    surveys    occasion -> points, in the order of the occasions;  stretches  occasion -> real stretch
    scales     what was found;  u_room  how well the room keeps its size
    """

    surveys: Mapping[str, PointSet]
    stretches: Mapping[str, Stretch]
    neutral_line: float | None
    scales: Scales
    u_room: float = 1e-6

    @cached_property
    def settled(self) -> Settled:
        """The common targets, with everything free that moved on its own."""
        points, stretches = list(self.surveys.values()), [self.stretches[name] for name in self.surveys]
        return settled(points, stretches, self.neutral_line, self.u_room)

    @cached_property
    def follow(self) -> Array:
        """How the scale of each survey (K) follows the coordinates of each (K, n, 3) [1/m]."""
        sizes = self.settled.sizes
        W, count = sizes.precision, len(sizes.precision)
        pulled = W @ sizes.size
        common = np.linalg.pinv(W.sum(axis=0), rcond=1e-10, hermitian=True)
        # W is an inverse and symmetric but for rounding; the order of the products is that of the scales.
        own = np.eye(count)[:, :, None] * (sizes.size @ W)[:, None]
        M = sizes.solved()[0]
        f: Array = (own - np.einsum("kj,oji->koi", pulled @ common, W)) / np.diag(M)[:, None, None]
        return f.reshape(count, count, -1, 3)

    def inverted(self, k: int) -> float:
        """Rounding in the variance of the scale of survey k: 1 / M_kk, as it was solved, less sum f V f' as it is told.

        The two are one but for the rounding of inverses, some parts in a hundred million.
        """
        told = 0.0
        for o, survey in enumerate(self.surveys.values()):
            here = np.flatnonzero(np.isfinite(self.settled.found[o, :, 0])).tolist()
            f = self.follow[k, o, here].reshape(-1)
            told += float(f @ self.noise(o, survey, here) @ f)
        return 1.0 / float(self.settled.sizes.solved()[0][k, k]) - told

    def noise(self, o: int, survey: PointSet, here: list[int]) -> Array:
        """Covariance of the coordinates of survey o with which its targets were weighed."""
        settled, stretch = self.settled, self.stretches[self.occasions[o]]
        total = noise_of(survey.estimate.pick([f"{settled.names[t]}.{axis}" for t in here for axis in XYZ]))
        for field, u in zip(
            swellings(settled.places, settled.wall), (stretch.u, self.u_room / math.sqrt(2.0)), strict=True
        ):
            column = u * field[here].reshape(-1)
            total = total + np.outer(column, column)
        return total

    @cached_property
    def first(self) -> Ints:
        """Number (n,) of the survey that has each target first: its coordinates are counted from."""
        numbers: Ints = np.isfinite(self.settled.found[:, :, 0]).argmax(axis=0)
        return numbers

    @property
    def occasions(self) -> list[str]:
        """Names of the occasions."""
        return list(self.surveys)

    def way(self, occasion: int, target: int) -> tuple[str, str, str, str]:
        """Occasion, "coordinate", carrier and name of a target."""
        name = self.settled.names[target]
        return (self.occasions[occasion], "coordinate", self.settled.carriers[name], name)

    @property
    def freed(self) -> str:
        """What moved on its own and did not count, in words."""
        moved = [f"{name} on {occasion}" for occasion, name in self.scales.apart]
        return f"; moved on their own and did not count: {', '.join(moved)}" if moved else "; nothing moved on its own"


def with_scale(occasion: str, inner: Unfold | None, compared: Compared, stretch: Unfold) -> Unfold:
    """An unfold of one occasion that tells its range scale from the comparison, and all else as before.

    inner    of the survey alone;  stretch  tells ``<occasion>`` and ``u <occasion>``: real stretch and its uncertainty
    """

    def tell(name: str) -> Sum:
        told = _tell(occasion, name, compared, stretch)
        return told if told is not None else _inner(inner, name)

    return tell


def _inner(inner: Unfold | None, name: str) -> Sum:
    if inner is None:
        raise Refused([Fault(f"number {name!r}", "a number that the survey tells", "ask for its range scale")])
    return inner(name)


def _tell(occasion: str, name: str, compared: Compared, stretch: Unfold) -> Sum | None:
    stem, _, part = name.partition("#")
    what = stem.rpartition("/")[2]
    if what not in ("scale", "u_scale"):
        return None
    if not part and stem.startswith("stations/") and stem.endswith(f"/factors/{what}"):
        value = (compared.scales.scale if what == "scale" else compared.scales.u)[occasion]
        line = Line("range scale of the whole occasion", value, f"survey/{what}", 1.0, value, "1")
        return Sum(name, "1", value, (line,), "the instrument has one range scale for all stations of an occasion")
    if stem != f"survey/{what}":
        return None
    head, _, rest = part.partition(" ")
    if head == "stretch":
        return stretch(rest)
    if head == "apart":
        return _apart(compared, name, rest)
    k = compared.occasions.index(occasion)
    return _scale(compared, k, part) if what == "scale" else _u_scale(compared, k, part)


def _coordinate(compared: Compared, occasion: int, target: int, axis: int) -> str:
    return pointer("occasions", compared.occasions[occasion], "targets", compared.settled.names[target], "xyz", axis)


def _apart(compared: Compared, name: str, rest: str) -> Sum | None:
    numbers = [int(n) for n in rest.split(" ") if n.isdecimal()]
    if len(numbers) != 3 or numbers[0] >= len(compared.surveys) or numbers[1] >= len(compared.settled.names):
        return None
    occasion, target, axis = numbers
    first, found = int(compared.first[target]), compared.settled.found
    there, here = float(found[occasion, target, axis]), float(found[first, target, axis])
    words = f"{compared.settled.names[target]}, {XYZ[axis]}"
    lines = (
        Line(f"{words} on {compared.occasions[occasion]}", there, _coordinate(compared, occasion, target, axis)),
        Line(
            f"{words} on {compared.occasions[first]}",
            -here,
            _coordinate(compared, first, target, axis),
            -1.0,
            here,
            "m",
        ),
    )
    return Sum(name, "m", there - here, lines, "how far the target lies from where the first occasion has it")


def scale_rows(compared: Compared, k: int) -> list[Row]:
    """What every coordinate brings to the scale of survey k, counted from where the first survey has it."""
    f, found = compared.follow[k], compared.settled.found
    rows = []
    for o, t, a in np.argwhere(np.isfinite(found)).tolist():
        first = int(compared.first[t])
        if o == first:
            continue
        factor, given = float(f[o, t, a]), float(found[o, t, a]) - float(found[first, t, a])
        words = f"{compared.settled.names[t]}, {XYZ[a]}: {compared.occasions[o]} less {compared.occasions[first]}"
        line = Line(words, factor * given, f"survey/scale#apart {o} {t} {a}", factor, given, "m")
        rows.append(Row(compared.way(o, t), line))
    return rows


def _scale(compared: Compared, k: int, part: str) -> Sum | None:
    name = compared.occasions[k]
    rows = scale_rows(compared, k)
    how = (
        "coordinates of the common targets on all occasions, each times how the range scale of this occasion follows "
        f"it when the girder may lie anywhere and bend, less the real stretch by warming{compared.freed}"
    )
    if part:
        way = way_of(part)
        return of_rows("survey/scale", "1", rows, way, how) if way else None
    grown, _ = swellings(compared.settled.places, compared.settled.wall)
    lines = list(grouped("survey/scale", rows))
    for o, other in enumerate(compared.occasions):
        size = compared.stretches[other].size
        counts = np.isfinite(compared.settled.found[o])
        factor = -float((compared.follow[k, o] * np.where(counts, grown, 0.0)).sum())
        words = f"real stretch of the girder on {other}"
        lines.append(Line(words, factor * size, f"survey/scale#stretch {other}", factor, size, "1"))
    return Sum("survey/scale", "1", compared.scales.scale[name], tuple(lines), how)


def variance_rows(compared: Compared, k: int) -> list[Row]:
    """What every coordinate brings to the variance of the scale of survey k: its factor times its covariance with all."""
    names, found = compared.settled.names, compared.settled.found
    rows = []
    for o, survey in enumerate(compared.surveys.values()):
        here = np.flatnonzero(np.isfinite(found[o, :, 0])).tolist()
        estimate = survey.estimate.pick([f"{names[t]}.{axis}" for t in here for axis in XYZ])
        f = compared.follow[k, o, here].reshape(-1)
        for cause, factor in estimate.factors.items():
            if kind_of(cause) == "range scale":
                continue
            shares = f * (factor.jacobian @ (factor.spread @ (factor.jacobian.T @ f)))
            for i, share in enumerate(shares.tolist()):
                t, a = here[i // 3], i % 3
                of = pointer("occasions", compared.occasions[o], "targets", names[t], "cov", a, a)
                line = Line(f"{cause} in {names[t]}, {XYZ[a]}, with all other coordinates", share, of)
                rows.append(Row((compared.occasions[o], cause, compared.settled.carriers[names[t]], names[t]), line))
    return rows


def _u_scale(compared: Compared, k: int, part: str) -> Sum | None:
    name = compared.occasions[k]
    rows = variance_rows(compared, k)
    how = "root of what the causes of all occasions bring to the range scale, by how it follows every coordinate"
    if part:
        way = way_of(part)
        return of_rows("survey/u_scale", "1", rows, way, how) if way else None
    words, places = "rounding: inverses of covariances are only so exact", setting("survey.sizes.own_precision")
    inverted = Line(words, compared.inverted(k), places=places)
    lines = [*grouped("survey/u_scale", rows), *_stretched(compared, k), inverted]
    return Sum("survey/u_scale", "1", compared.scales.u[name], tuple(lines), f"{how}{compared.freed}", _root)


def _root(shares: Sequence[float]) -> float:
    return root_of_sum(shares)


def _stretched(compared: Compared, k: int) -> list[Line]:
    """Variance from how well the girder's warming and the room's size are known."""
    grown, swelling = swellings(compared.settled.places, compared.settled.wall)
    lines = []
    for o, other in enumerate(compared.occasions):
        counts = np.isfinite(compared.settled.found[o])
        follow = float((compared.follow[k, o] * np.where(counts, grown, 0.0)).sum())
        u = compared.stretches[other].u
        of = f"survey/u_scale#stretch u {other}"
        lines.append(Line(f"how well the stretch on {other} is known", (follow * u) ** 2, of, follow**2 * u, u, "1"))
        if compared.settled.wall.any():
            follow = float((compared.follow[k, o] * np.where(counts, swelling, 0.0)).sum())
            u = compared.u_room / math.sqrt(2.0)
            words, places = f"how well the room kept its size until {other}", setting("survey.scale.u_room")
            lines.append(Line(words, (follow * u) ** 2, "", follow**2 * u, u, "1", places))
    return lines
