"""Why every number of a survey is what it is, told on demand from the adjustment that made it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from monochord.ground.faults import Fault, Refused
from monochord.ground.trace import Line, Sum, pointer
from monochord.survey.unfold_causes import tell_causes
from monochord.survey.unfold_gain import Laid
from monochord.survey.unfold_numbers import tell_numbers
from monochord.survey.unfold_poses import tell_poses
from monochord.survey.unfold_readings import tell_readings
from monochord.survey.unfold_rejected import tell_rejected
from monochord.survey.unfold_rows import Teller, setting
from monochord.survey.unfold_stations import tell_in_girder
from monochord.survey.unfold_targets import tell_targets


def split_names(name: str) -> Iterator[tuple[tuple[str, ...], str]]:
    """All ways to read a name as keys and the part behind ``#``, which may stand in a key as well.

    >>> list(split_names("targets/T1/xyz/0#rows/S1"))
    [(('targets', 'T1', 'xyz', '0#rows', 'S1'), ''), (('targets', 'T1', 'xyz', '0'), 'rows/S1')]
    """
    pieces = name.split("#")
    for count in (len(pieces), *range(1, len(pieces))):
        keys = "#".join(pieces[:count]).split("/")
        yield tuple(k.replace("~1", "/").replace("~0", "~") for k in keys), "#".join(pieces[count:])


def tell_scale(laid: Laid, keys: tuple[str, ...], part: str) -> Sum | None:
    """``survey/scale``, ``survey/u_scale`` and the same as a factor of a station, before occasions are compared."""
    station = len(keys) == 4 and keys[0] == "stations" and keys[2] == "factors" and laid.station(keys[1]) is not None
    if part or not (station or (len(keys) == 2 and keys[0] == "survey")) or keys[-1] not in ("scale", "u_scale"):
        return None
    value = laid.points.scale if keys[-1] == "scale" else laid.points.u_scale
    words = (
        "one survey cannot know its own range scale: taken as right"
        if keys[-1] == "scale"
        else "range scale, as expected"
    )
    line = Line(words, value, places=setting("instrument.u_scale"))
    return Sum(
        pointer(*keys)[1:], "1", value, (line,), "what is expected of the instrument; no other occasion told more"
    )


TELLERS: tuple[Teller, ...] = (
    tell_targets,
    tell_in_girder,
    tell_poses,
    tell_readings,
    tell_numbers,
    tell_rejected,
    tell_causes,
    tell_scale,
)


@dataclass(frozen=True, eq=False, slots=True)
class SurveyUnfold:
    """Tells any number of one occasion's survey by its relative name; raises Refused for a name it does not know."""

    laid: Laid

    def __call__(self, name: str) -> Sum:
        """The number of that name with the lines that make it."""
        for keys, part in split_names(name):
            for tell in TELLERS:
                told = tell(self.laid, keys, part)
                if told is not None:
                    return told
        expected = "a number of the survey, such as targets/T1/xyz/0"
        raise Refused([Fault(f"number {name!r}", expected, "ask for a number as the result document names it")])
