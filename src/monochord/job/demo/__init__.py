"""The built-in example: an invented girder, written as a laboratory would hand it over, then evaluated like any other."""

from __future__ import annotations

import json
import shutil
from importlib import resources
from pathlib import Path

from monochord.files.begin import begin
from monochord.ground.faults import Fault, Refused
from monochord.job.context import Context
from monochord.job.run import Run, run_campaign, write_whole
from monochord.simulate.demo import demo_campaign

#: Marks a folder as the example's own, so that nothing else is ever replaced by it.
MARK = "invented-data.txt"
#: When the invented campaign begins: after its last occasion, on the clock of the same invented world.
BEGAN = "2031-06-30T08:00:00+00:00"
#: What was true of the invented girder, for those who want to compare.
TRUTH = "what-was-true.json"


def run_demo(into: Path, seed: int, context: Context) -> Run:
    """Invent a campaign from a seed, write its files, begin and run it; a folder that is not the example's is refused."""
    _clear(into)
    context.say(f"inventing a girder and its measurements (seed {seed})")
    write_whole(into / MARK, f"All data in this folder are invented, made from seed {seed}.\n")
    handed_over = into / "handed-over"
    made = demo_campaign(seed)
    for path, text in made.texts.items():
        write_whole(handed_over / path, text)
    # beside what is handed over, so that no evaluation can see it
    write_whole(into / TRUTH, json.dumps(made.truth, indent=1) + "\n")
    lab = into / "lab.toml"
    write_whole(lab, resources.files(__package__).joinpath("lab.toml").read_text(encoding="utf-8"))
    campaign = into / "campaign"
    begin(handed_over, lab, campaign, {"girder": f"Example {seed}"}, BEGAN)
    return run_campaign(campaign, context)


def _clear(into: Path) -> None:
    if not into.exists():
        return
    if not (into / MARK).is_file():
        raise Refused(
            [
                Fault(
                    f"folder {into} that is not the example's",
                    "a new folder or an earlier example",
                    "name another folder with --into",
                )
            ]
        )
    shutil.rmtree(into)
