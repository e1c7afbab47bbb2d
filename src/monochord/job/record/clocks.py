"""Clocks that disagree: what a tablet's clock was ahead by, and what of the order of entries can be said.

A clock is known by bounds, not by a guess: it was ahead of the record's clock by at least ``least`` and at most ``most``
seconds, each None when nothing bounds it. So the true time of an entry is an interval, and of two entries the earlier one
is known only when their intervals do not touch.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from monochord.ground.faults import Fault, Refused
from monochord.store.entry import moment

#: How far a free clock may run away from a set one [s per s] (common practice, no source: a cheap quartz keeps 10 s a day).
DRIFT = 1e-4
#: Longest time from reading a clock to the key that starts the merge [s] (common practice, no source).
READING = 30.0
#: Clocks that differ by less are not told [s].
ALIKE = 1.0


@dataclass(frozen=True, slots=True)
class Shown:
    """What a device showed when the merge was begun, the smallest step that it shows and how long the reading took at most [s]."""

    at: datetime
    step: float = 1.0
    lag: float = READING


@dataclass(frozen=True, slots=True)
class Ahead:
    """By how much a device's clock is ahead of the record's, in bounds [s]; ``at`` is the device's time of the comparison."""

    least: float | None = None
    most: float | None = None
    at: str = ""

    @property
    def known(self) -> bool:
        """Whether it is bounded on both sides."""
        return self.least is not None and self.most is not None

    def stated(self) -> dict[str, object]:
        """For the body of an entry."""
        return {"least_s": self.least, "most_s": self.most, "at": self.at}


def ahead_of(told: object) -> Ahead:
    """What :meth:`Ahead.stated` stated; nothing known when it is something else.

    >>> ahead_of({"least_s": 2.0, "most_s": None, "at": ""}).least
    2.0
    """
    if not isinstance(told, Mapping):
        return Ahead()
    bounds = [float(v) if isinstance(v := told.get(key), (int, float)) else None for key in ("least_s", "most_s")]
    return Ahead(bounds[0], bounds[1], str(told.get("at", "")))


def compared(now: datetime, shown: Shown | None, sent_at: str | None, latest: str | None) -> Ahead:
    """Bounds of how far a device is ahead of the record's clock.

    now     the record's clock at the merge;  shown  what the device's clock showed then, None when nobody looked
    sent_at, latest  the device's time of closing its queue and of its last entry: both were before ``now``

    >>> at = datetime(2031, 5, 7, 9, 30, tzinfo=UTC)
    >>> compared(at, Shown(at + timedelta(seconds=120)), None, None)
    Ahead(least=120.0, most=151.0, at='2031-05-07T09:32:00.000000Z')
    >>> compared(at, None, "2031-05-07T09:29:00.000000Z", None).most is None
    True
    """
    if shown is not None:
        least = (shown.at - now).total_seconds()
        return Ahead(least, least + shown.step + shown.lag, _stamp(shown.at))
    past = [moment(text) for text in (sent_at, latest) if text]
    if not past:
        return Ahead()
    last = max(past)
    return Ahead((last - now).total_seconds(), None, _stamp(last))


def _stamp(at: datetime) -> str:
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def interval(made_at: str, ahead: Ahead, kept_at: str, unknown: float = math.inf) -> tuple[float, float]:
    """Earliest and latest true time of an entry by the record's clock [s since 1970]; it was made before it was kept.

    unknown  how wrong a clock may be that nobody compared [s]

    >>> early, late = interval("2031-05-07T09:00:00.000000Z", Ahead(60.0, 90.0, "2031-05-07T09:00:00.000000Z"),
    ...                        "2031-05-07T12:00:00.000000Z")
    >>> late - early
    30.0
    """
    made, kept = moment(made_at).timestamp(), moment(kept_at).timestamp()
    least = max(-unknown, -math.inf if ahead.least is None else ahead.least)
    most = ahead.most if ahead.most is not None else max(unknown, least + unknown)
    wandered = DRIFT * abs(made - moment(ahead.at).timestamp()) if ahead.known and ahead.at else 0.0
    return min(kept, made - most - wandered), min(kept, made - least + wandered)


def shown_of(text: str, now: datetime) -> Shown:
    """What a person reads from a tablet: ``09:30``, ``09:30:15`` of this machine's zone, or a whole time with its zone.

    Raises Refused for anything else.

    >>> shown_of("2031-05-07T09:30Z", datetime(2031, 5, 7, 9, 30, tzinfo=UTC)).step
    60.0
    """
    try:
        if len(text) <= 8:
            clock = datetime.strptime(text, "%H:%M:%S" if text.count(":") > 1 else "%H:%M").time()
            days = (timedelta(days=d) for d in (-1, 0, 1))
            near = [datetime.combine(now.astimezone() + day, clock).astimezone() for day in days]
            at = min(near, key=lambda t: abs((t - now).total_seconds()))
        else:
            at = datetime.fromisoformat(text)
            if at.tzinfo is None:
                raise ValueError(text)
    except ValueError:
        expected = "09:30, 09:30:15, or a time with its zone such as 2031-05-07T09:30:15+02:00"
        raise Refused([Fault(f"the time {text!r}", expected, "read it from the tablet again")]) from None
    seconds = text.partition("T")[2] or text
    return Shown(at, 1.0 if seconds.replace("+", "-").partition("-")[0].count(":") > 1 else 60.0)


def span(seconds: float) -> str:
    """A time span for people.

    >>> [span(s) for s in (0.4, 75.0, 7200.0, 200000.0)]
    ['0.4 s', '75 s', '2.0 h', '2.3 d']
    """
    size = abs(seconds)
    if size < 10:
        return f"{size:.1f} s"
    return f"{size:.0f} s" if size < 600 else f"{size / 60:.0f} min" if size < 5400 else _long(size)


def _long(size: float) -> str:
    return f"{size / 3600:.1f} h" if size < 172800 else f"{size / 86400:.1f} d"


def clock_words(device: str, ahead: Ahead) -> str:
    """What is known of a device's clock, in words; "" when it is nothing to speak of."""
    if ahead.known:
        assert ahead.least is not None
        assert ahead.most is not None
        if ahead.least >= 0 or ahead.most <= 0:
            way, low, high = (
                ("ahead of", ahead.least, ahead.most) if ahead.least >= 0 else ("behind", -ahead.most, -ahead.least)
            )
            return f"the clock of {device} is {way} the record's by {span(low)} to {span(high)}"
        return f"the clock of {device} agrees with the record's within {span(max(-ahead.least, ahead.most))}"
    if ahead.least is not None and ahead.least > ALIKE:
        return f"the clock of {device} is ahead of the record's by at least {span(ahead.least)}"
    return f"the clock of {device} was not compared with the record's (--clock-shown)"
