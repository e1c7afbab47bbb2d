"""Print ratios of running times, all measured in this run: ``python -m benchmarks.run``.

A ratio compares two commands on one machine in one run; seconds of different machines or days are not
compared. What cannot be measured is told with its reason and never left out.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from benchmarks import table_reading
from benchmarks.timing import Command, best, blas_kernel, cores

ROOT = Path(__file__).resolve().parents[1]
#: The invented laboratory of the tests, which stands beside the clone where it is there at all.
FOLDER, LAB = ROOT.parent / "shared" / "labs" / "a", ROOT / "tests" / "labs" / "a.toml"
MONOCHORD = str(Path(sys.executable).parent / "monochord")


@dataclass(frozen=True, slots=True)
class Ratio:
    """One comparison: how many times longer the first command may take than the second."""

    name: str
    command: Command
    baseline: Command
    reach: float


def answers(command: Command) -> str:
    """An empty string when the command runs through, else the last line of what it said."""
    done = subprocess.run(list(command), check=False, stdin=subprocess.DEVNULL, capture_output=True, text=True)
    said = (done.stderr or done.stdout).strip().splitlines() or ["no word"]
    return (
        ""
        if done.returncode == 0
        else f"`{Path(command[0]).name} {command[1]}` ends with {done.returncode}: {said[-1]}"
    )


def help_speed() -> Ratio:
    """The help text against an interpreter that does nothing."""
    return Ratio("monochord --help / bare python", [MONOCHORD, "--help"], [sys.executable, "-c", "pass"], 5.0)


def lab_evaluation(campaign: Path) -> Ratio:
    """A laboratory's whole evaluation against the imports that any evaluation needs."""
    return Ratio(
        "whole evaluation / import of numpy, scipy.linalg, scipy.optimize",
        [
            MONOCHORD,
            "run",
            str(campaign),
            "--json",
            str(campaign.parent / "result.json"),
            "--no-page",
            "--no-paper",
            "--quiet",
        ],
        [sys.executable, "-c", "import numpy, scipy.linalg, scipy.optimize"],
        3.0,
    )


def measure(ratio: Ratio, rounds: int) -> str:
    """One line for one ratio."""
    why = answers(ratio.command)  # this first run also warms the disk
    if why:
        return f"{ratio.name}: not measured, {why}"
    seconds = best({"command": ratio.command, "baseline": ratio.baseline}, rounds)
    reached = seconds["command"] / seconds["baseline"]
    word = "reached" if reached <= ratio.reach else "NOT reached"
    return f"{ratio.name}: {reached:.2f} (at most {ratio.reach:g} {word}; {seconds['command'] * 1e3:.0f} ms)"


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.run", description=__doc__)
    parser.add_argument("--rounds", type=int, default=7, help="runs of each command, the shortest counts")
    parser.add_argument("--folder", type=Path, default=FOLDER, help="a laboratory's folder to evaluate")
    parser.add_argument("--lab", type=Path, default=LAB, help="its description")
    parser.add_argument("--rows", type=int, default=table_reading.ROWS, help="rows of the table that is read")
    asked = parser.parse_args()

    print(
        f"Python {sys.version.split()[0]}, {cores()} cores, BLAS kernel: {blas_kernel()}; shortest of {asked.rounds}, in turns"
    )
    print(measure(help_speed(), asked.rounds), flush=True)
    with tempfile.TemporaryDirectory() as folder:
        for line in table_reading.measured(Path(folder), asked.rounds, asked.rows):
            print(line, flush=True)
        campaign = Path(folder) / "campaign"
        if not (asked.folder.is_dir() and asked.lab.is_file()):
            print("whole evaluation: not measured, there is no laboratory at --folder or no description at --lab")
            return
        begin = [MONOCHORD, "begin", str(asked.folder), "--lab", str(asked.lab), "--into", str(campaign)]
        why = answers(begin)
        print(f"whole evaluation: not measured, {why}" if why else measure(lab_evaluation(campaign), asked.rounds))


if __name__ == "__main__":
    main()
