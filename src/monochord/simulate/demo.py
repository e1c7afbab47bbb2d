"""The demo: one simulated campaign written as the files that its laboratory would hand over. Invented data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from monochord.campaign.given.occasion import Occasion
from monochord.simulate import tables
from monochord.simulate.campaign import FILES, simulate_campaign
from monochord.simulate.scenario import demo_scenario
from monochord.simulate.truth import Truth

#: Folder of the girder's own tables.
GIVEN = "given"
#: Occasion -> the day it was, in this laboratory's spelling, and when its first reading was taken [s since midnight].
DAYS: dict[str, tuple[str, float]] = {
    "10-placed": ("05.05.2031", 32400.0),
    "20-lined": ("07.05.2031", 30600.0),
    "30-road": ("15.05.2031", 23400.0),
    "40-arrival": ("19.05.2031", 34200.0),
    "50-settled": ("22.05.2031", 31500.0),
}
READ_ME = """Invented data. No laboratory, machine or person stands behind these files.

They were made by a simulator: six magnets on a girder of 4.1 m, from the bench to the tunnel. The description of how
the files read is the demo's lab description; what was true is known and stands apart from them.
"""


@dataclass(frozen=True, eq=False, slots=True)
class DemoFiles:
    """A laboratory's folder as texts.

    texts  path inside the folder, with "/" -> text;  truth  what was true, ready for JSON
    """

    texts: Mapping[str, str]
    truth: Truth


def demo_campaign(seed: int) -> DemoFiles:
    r"""The demo's folder from a seed: the same seed gives the same texts.

    >>> demo_campaign(1).texts["50-settled/turns.tsv"].splitlines()[:2]
    ['# invented data of a fictional bench', 'bolt\tturned']
    """
    made = simulate_campaign(seed)
    girder, wire = made.campaign.girder, made.campaign.wire
    texts = {
        "README.txt": READ_ME,
        f"{GIVEN}/elements.tsv": tables.elements(girder, demo_scenario().day.full_current),
        f"{GIVEN}/points.tsv": tables.points(girder.targets),
        f"{GIVEN}/bolts.tsv": tables.bolts(girder.bolts),
        f"{GIVEN}/wire_ends.tsv": tables.wire_ends(wire.ends if wire else ()),
    }
    for occasion in made.campaign.occasions:
        texts.update(occasion_texts(occasion, *DAYS[occasion.name]))
    return DemoFiles(texts, made.truth)


def occasion_texts(occasion: Occasion, day: str, start: float) -> dict[str, str]:
    """The tables of one occasion; a kind that was not measured has no file."""
    made = {
        "scans": tables.scans(occasion.scans, day, start) if occasion.scans else "",
        "sweeps": tables.sweeps(occasion.sweeps) if occasion.sweeps else "",
        "sightings": tables.sightings(occasion.sightings) if occasion.sightings else "",
        "feet": tables.feet(occasion.feet) if occasion.feet else "",
        "temperatures": tables.temperatures(occasion.temperatures) if occasion.temperatures else "",
        "turns": tables.turns(occasion.turns) if occasion.turns else "",
        "ride": tables.logger(occasion.ride, day, start) if occasion.ride else "",
    }
    return {f"{occasion.name}/{FILES[kind]}": text for kind, text in made.items() if text}
