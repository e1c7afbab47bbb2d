"""Estimate: a vector of numbers that keeps the causes of its uncertainty apart.

The covariance is never stored as one matrix. It is a sum over causes, cov = sum J S J', where S is
the covariance of the cause's own variables (a sag, a range scale, one reflector mounting) and J says
how the values follow them. Two estimates that name the same cause share it, so correlation along a
girder and between occasions comes out right without anybody typing a covariance.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monochord.ground.faults import Fault, FrameMismatch, Refused

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Label:
    """What one component of an estimate is: name, unit (SI) and frame.

    >>> Label("Q1.x", "m", "girder")
    Label(name='Q1.x', unit='m', frame='girder')
    """

    name: str
    unit: str
    frame: str


@dataclass(frozen=True, eq=False, slots=True)
class Factor:
    """One cause's part in an estimate: values move by ``jacobian @ d`` when the cause moves by d.

    jacobian  (n, k);  spread  (k, k) covariance of the cause's own variables
    """

    jacobian: Array
    spread: Array

    @property
    def cov(self) -> Array:
        """This cause's part of the covariance, (n, n)."""
        part: Array = self.jacobian @ self.spread @ self.jacobian.T
        return part


@dataclass(frozen=True, eq=False, slots=True)
class Estimate:
    """Values with labels and a covariance kept as named causes.

    value    (n,) in the labels' units
    labels   n labels
    factors  cause id -> Factor; an id is ``kind`` or ``kind:scope``, such as "sag:2-aligned"
    dof      degrees of freedom of the fit behind it, infinity when the spreads are known

    >>> a = Estimate.of([1.0, 2.0], ["a", "b"], unit="m", frame="girder", causes={"noise": np.eye(2)})
    >>> b = a.through(np.array([[1.0, 1.0]]), [Label("sum", "m", "girder")])
    >>> float(b.value[0]), float(b.u[0] ** 2)
    (3.0, 2.0000000000000004)
    """

    value: Array
    labels: tuple[Label, ...]
    factors: Mapping[str, Factor]
    dof: float = float("inf")

    def __post_init__(self) -> None:
        n = len(self.value)
        wrong = [c for c, f in self.factors.items() if f.jacobian.shape != (n, len(f.spread)) or f.spread.ndim != 2]
        if len(self.labels) != n or wrong:
            raise Refused(
                [
                    Fault(
                        f"{n} values, {len(self.labels)} labels, ill-shaped causes {wrong}",
                        "matching shapes",
                        "this is a defect of the program; report it",
                    )
                ]
            )

    @classmethod
    def of(
        cls,
        value: Sequence[float] | Array,
        names: Sequence[str],
        *,
        unit: str,
        frame: str,
        causes: Mapping[str, Array],
        dof: float = float("inf"),
    ) -> Estimate:
        """An estimate whose causes are given by their covariance (n, n) in the values themselves."""
        labels = tuple(Label(name, unit, frame) for name in names)
        eye = np.eye(len(labels))
        return cls(
            np.asarray(value, float), labels, {c: Factor(eye, np.asarray(s, float)) for c, s in causes.items()}, dof
        )

    @property
    def cov(self) -> Array:
        """Covariance (n, n): the sum over all causes."""
        total: Array = np.zeros((len(self.value), len(self.value)))
        for factor in self.factors.values():
            total = total + factor.cov
        return total

    @property
    def u(self) -> Array:
        """Standard uncertainties (n,)."""
        return np.sqrt(np.maximum(np.diag(self.cov), 0.0))

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the components."""
        return tuple(label.name for label in self.labels)

    def index(self, name: str) -> int:
        """Place of a named component; refused when there is none."""
        if name not in self.names:
            raise Refused(
                [Fault(f"component {name!r}", f"one of {', '.join(self.names)}", "ask for a component that exists")]
            )
        return self.names.index(name)

    def pick(self, names: Iterable[str]) -> Estimate:
        """The named components, in the order asked for, with their joint covariance."""
        places = {name: i for i, name in enumerate(self.names)}
        rows = [places[name] if name in places else self.index(name) for name in names]
        return Estimate(
            self.value[rows],
            tuple(self.labels[i] for i in rows),
            {c: Factor(f.jacobian[rows], f.spread) for c, f in self.factors.items()},
            self.dof,
        )

    def through(self, jacobian: Array, labels: Sequence[Label], *, value: Array | None = None) -> Estimate:
        """Carry the estimate through a (linearised) map.

        jacobian  (m, n);  value  (m,) when the map is not linear, else jacobian @ value
        """
        new = jacobian @ self.value if value is None else value
        return Estimate(
            new, tuple(labels), {c: Factor(jacobian @ f.jacobian, f.spread) for c, f in self.factors.items()}, self.dof
        )

    def adding(self, cause: str, jacobian: Array, spread: Array) -> Estimate:
        """The same values with one more cause; a cause already present is refused."""
        if cause in self.factors:
            raise Refused(
                [Fault(f"cause {cause!r} twice", "each cause once", "this is a defect of the program; report it")]
            )
        return Estimate(self.value, self.labels, {**self.factors, cause: Factor(jacobian, spread)}, self.dof)

    def widened(self, factor: float) -> Estimate:
        """The same values with every standard uncertainty times ``factor``, cov times its square, correlations kept.

        The causes stay what they are and so can still be shared; only how the values follow them grows.

        >>> e = Estimate.of([1.0], ["a"], unit="m", frame="girder", causes={"noise": np.array([[4.0]])})
        >>> float(e.widened(1.5).u[0])
        3.0
        """
        factors = {c: Factor(factor * f.jacobian, f.spread) for c, f in self.factors.items()}
        return Estimate(self.value, self.labels, factors, self.dof)

    def shares(self, name: str) -> dict[str, float]:
        """Variance of one component by cause [unit squared], largest first."""
        i = self.index(name)
        parts = {c: float(f.jacobian[i] @ f.spread @ f.jacobian[i]) for c, f in self.factors.items()}
        return dict(sorted(parts.items(), key=lambda item: -item[1]))

    def __sub__(self, other: Estimate) -> Estimate:
        """Difference, component by component, with shared causes cancelling where they must."""
        mismatch = [
            (a, b) for a, b in zip(self.labels, other.labels, strict=True) if (a.unit, a.frame) != (b.unit, b.frame)
        ]
        if mismatch:
            raise FrameMismatch(str(mismatch[0][1]), str(mismatch[0][0]))
        both = stack([self, other])
        eye = np.eye(len(self.value))
        return both.through(np.hstack([eye, -eye]), self.labels)


def stack(estimates: Sequence[Estimate]) -> Estimate:
    """Several estimates as one long vector; a cause named by several is one and the same cause.

    Raises Refused when two estimates give one cause different spreads.

    >>> a = Estimate.of([1.0], ["a"], unit="m", frame="girder", causes={"scale": np.array([[4.0]])})
    >>> stack([a, a]).cov.tolist()
    [[4.0, 4.0], [4.0, 4.0]]
    """
    sizes = [len(e.value) for e in estimates]
    starts = np.concatenate([[0], np.cumsum(sizes)])
    factors: dict[str, Factor] = {}
    for start, estimate in zip(starts, estimates, strict=False):
        for cause, factor in estimate.factors.items():
            jacobian = np.zeros((int(starts[-1]), len(factor.spread)))
            if cause in factors:
                old = factors[cause]
                if old.spread is not factor.spread and not _alike(old.spread, factor.spread):
                    raise Refused(
                        [
                            Fault(
                                f"cause {cause!r} with two different spreads",
                                "one spread for one cause",
                                "give the two causes different names",
                            )
                        ]
                    )
                jacobian[:] = old.jacobian
            jacobian[start : start + len(estimate.value)] = factor.jacobian
            factors[cause] = Factor(jacobian, factor.spread)
    labels = tuple(label for e in estimates for label in e.labels)
    return Estimate(np.concatenate([e.value for e in estimates]), labels, factors, min(e.dof for e in estimates))


def _alike(a: Array, b: Array) -> bool:
    """Whether two spreads are one and the same but for rounding."""
    return a.shape == b.shape and bool(np.allclose(a, b, rtol=1e-6, atol=0.0))


def kind_of(cause: str) -> str:
    """The kind of a cause id: what stands before the colon.

    >>> kind_of("sag:2-aligned")
    'sag'
    """
    return cause.split(":", 1)[0]
