"""What each kind of ride logger tells and cannot tell, in words."""

from __future__ import annotations

from monochord.campaign.given.ride import RideLogger

_CAN = {
    "samples": ("the course of every shock that lasts longer than a few samples", "how many shocks there were"),
    "window maxima": ("the largest value of every axis in every window", "in which window a shock came"),
    "window rms": ("how hard the ride was on the whole, window by window",),
    "peak to peak": ("the span between the lowest and the highest value of every window",),
    "triggers": ("shocks beyond the threshold, each with its time",),
    "": ("when and how far its numbers went",),
}
_CANNOT = {
    "samples": ("shocks shorter than the time between two samples",),
    "window maxima": (
        "whether the axes' largest values came together",
        "how many shocks there were within one window",
        "how long a shock lasted",
    ),
    "window rms": (
        "single shocks: a short hard one hides in a calm window",
        "the largest value, but for an assumed bound",
    ),
    "peak to peak": ("the sign of a shock, and its size nearer than from half of the span to the whole",),
    "triggers": ("anything below the threshold", "whether it was awake between events"),
    "": ("what a bound would be: its kind is not told (tables.ride.kind)",),
}


def can_tell(logger: RideLogger) -> tuple[str, ...]:
    """What such a logger tells.

    >>> can_tell(RideLogger("triggers"))
    ('shocks beyond the threshold, each with its time',)
    """
    return _CAN[logger.kind]


def cannot_tell(logger: RideLogger, temperature: bool) -> tuple[str, ...]:
    """What it cannot tell; temperature  whether it recorded one.

    >>> cannot_tell(RideLogger("triggers"), temperature=True)[0]
    'anything below the threshold'
    """
    lacking = [] if temperature else ["the temperature: it was not recorded"]
    if logger.gravity == "removed":
        lacking.append("how it was mounted: the weight is not in its numbers")
    return (*_CANNOT[logger.kind], *lacking)
