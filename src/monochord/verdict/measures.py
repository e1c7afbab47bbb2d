"""What a crew could do to know a number better, and how much of each cause's variance that would leave.

Whatever is repeated independently and averaged keeps a half; of n rounds one more leaves n / (n + 1). These are
predictions. Where nothing in the chain tells what would remain, the part is an assumption, and its words say so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from monochord.ground.estimate import kind_of

#: Part of the variance that remains of the detuning once the wire has rested: half the drift. An assumption.
RESTED = 0.25
#: Part that remains of the sag's variance after a finer sweep; gravity and the wire's own density stay. An assumption.
SWEPT = 0.5


@dataclass(frozen=True, slots=True)
class Measure:
    """One thing that could be done.

    kind     of cause that it is aimed at;  words  what it is, as a noun;  basis  what the forecast rests on
    leaves   (kind, scope, part of the variance that remains), scope "" for every cause of the kind
    instead  the standard uncertainty itself, where the measure replaces the evidence
    """

    kind: str
    words: str
    basis: str
    leaves: tuple[tuple[str, str, float], ...] = ()
    instead: float | None = None

    def remains(self, cause: str) -> float:
        """Part of one cause's variance that remains, 1 where the measure does not touch it.

        >>> Measure("fit", "", "", (("fit", "bench", 0.5),)).remains("fit:bench/Q1")
        0.5
        """
        for kind, scope, part in self.leaves:
            if kind_of(cause) == kind and (not scope or _within(cause, scope)):
                return part
        return 1.0

    def touches(self, causes: Iterable[str]) -> bool:
        """Whether a cause of the kind that it is aimed at is among these."""
        return any(kind_of(c) == self.kind and (self.instead is not None or self.remains(c) < 1.0) for c in causes)


def _within(cause: str, scope: str) -> bool:
    own = cause.partition(":")[2]
    return own == scope or own.startswith(f"{scope}/")


@dataclass(frozen=True, slots=True)
class SecondMode:
    """What a second mode would leave at a magnet that was scanned in one: parts of the variances of fit and slope leakage."""

    mode: int
    fit: float
    leakage: float


@dataclass(frozen=True, slots=True)
class Done:
    """What was done on an occasion, so that doing more can be forecast.

    occasion   its name;  stringing  scope of its stringing, "" when no wire was scanned
    rounds     of sightings from every station;  stations  how many; 0 when nothing was sighted
    second_modes  magnet scanned in one mode -> what a second one would leave
    change     scope of its comparison with the reference, "" when there is none
    soaked     part of the stretch's variance left when the girder has taken the room's temperature; None when not known
    """

    occasion: str
    stringing: str = ""
    rounds: int = 0
    stations: int = 0
    second_modes: Mapping[str, SecondMode] = field(default_factory=dict)
    change: str = ""
    soaked: float | None = None


def measures_of(done: Done) -> tuple[Measure, ...]:
    """Everything that could be done once more on an occasion, with what it would leave.

    >>> [m.words for m in measures_of(Done("bench", rounds=2, stations=3))][:2]
    ['one more round from every station', 'one more station']
    """
    return (*_of_wire(done), *_of_survey(done), *_of_change(done))


def _of_wire(done: Done) -> list[Measure]:
    here, half = done.occasion, 0.5
    if not done.stringing:
        return []
    found = [
        Measure(
            "stringing",
            "a second stringing scanned like the first",
            "predicted: mean of two independent wires with all their scans; the sag stays",
            (("stringing", done.stringing, half), ("fit", here, half), ("background", here, half), ("detuning", here, half)),
        ),
        Measure("fit", "one more scan of every magnet", "predicted: twice the readings", (("fit", here, half),)),
        Measure("background", "one more scan of the background", "predicted: twice the readings", (("background", here, half),)),
        Measure(
            "detuning",
            "a rested wire swept and scanned again",
            "assumed: a rested wire drifts half as much",
            (("detuning", here, RESTED),),
        ),
        Measure(
            "sag",
            "a finer sweep of the first mode",
            "assumed: half of the variance is the sweep's, half the wire's own",
            (("sag", here, SWEPT),),
        ),
    ]  # fmt: skip
    found += [
        Measure(
            "slope leakage",
            f"mode {second.mode} scanned at {magnet} too",
            "predicted: weights of both modes, as many readings as now",
            (("slope leakage", magnet, second.leakage), ("fit", f"{here}/{magnet}", second.fit)),
        )
        for magnet, second in done.second_modes.items()
    ]
    return found


def _of_survey(done: Done) -> list[Measure]:
    here = done.occasion
    if not done.stations:
        return []
    more = done.rounds / (done.rounds + 1.0)
    another = done.stations / (done.stations + 1.0)
    again = (("mounting", here, 0.5), ("reading", here, 0.5), ("level", here, 0.5))
    return [
        Measure(
            "reading",
            "one more round from every station",
            f"predicted: {done.rounds + 1} rounds for {done.rounds}",
            (("reading", here, more),),
        ),
        Measure(
            "reading",
            "one more station",
            f"assumed: it sees as well as the other {done.stations}",
            (("reading", here, another),),
        ),
        Measure(
            "mounting",
            "a second survey with reflectors and stations set up anew",
            "predicted: two independent surveys",
            again,
        ),
        Measure(
            "nest vector",
            "a second calibration of the vectors from nest to wire",
            "predicted: mean of two calibrations",
            (("nest vector", "", 0.5),),
        ),
    ]


def _of_change(done: Done) -> list[Measure]:
    if not done.change or done.soaked is None:
        return []
    return [
        Measure(
            "stretch",
            "reading the sensors again with the girder at the room's temperature",
            "predicted: then only the sensors' own uncertainty is left on this occasion",
            (("stretch", done.change, done.soaked),),
        )
    ]
