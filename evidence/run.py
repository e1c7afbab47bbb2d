"""Run the long studies, or say which stored figures are still of this code.

``python -m evidence.run [NAME ...]`` runs the named studies, or all that are not current, and stores their figures;
``--again`` runs current ones too; ``--status`` runs nothing and brings ``figures.md`` up to date.
"""

from __future__ import annotations

import argparse
import json
import os
import time
from collections.abc import Mapping

# a girder's matrices are small: more threads a process only wait for each other, and studies share the cores by processes
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from evidence.register import STUDIES
from evidence.study import ROOT, Study, measure, state

PAGE = ROOT / "evidence" / "figures.md"

HEAD = """# Figures of the long studies

Written by `make evidence` and `make evidence-status`. A figure marked **stale** was measured on an earlier state of
the code that it judges: it is history, not evidence, until `make evidence` has run again.
"""


def page() -> str:
    """The table of all figures with their state."""
    return "\n".join([HEAD, *(section(study) for study in STUDIES)])


def section(study: Study) -> str:
    """One study: its question, its state, its figures with their bands."""
    now = state(study)
    lines = [f"## {study.name}", "", study.question, ""]
    if now == "never run":
        return "\n".join([*lines, "Never run.", ""])
    kept = json.loads(study.result.read_text(encoding="utf-8"))
    told = "current" if now == "current" else "**stale**"
    lines += [f"{told}; seed {kept['seed']}, {trials(kept['figures'], kept['size'])}.", ""]
    lines += ["| figure | value | band | |", "| --- | --- | --- | --- |"]
    for name, figure in kept["figures"].items():
        inside = figure["low"] <= figure["value"] <= figure["high"]
        unit = f" {figure['unit']}" if figure["unit"] else ""
        band = f"{figure['low']:.4g} to {figure['high']:.4g}{unit}"
        lines.append(f"| {name} | {figure['value']:.4g}{unit} | {band} | {'inside' if inside else '**outside**'} |")
    return "\n".join([*lines, ""])


def trials(figures: Mapping[str, Mapping[str, float]], size: int) -> str:
    """How many trials were run, and of how many where a study was ended before its time.

    >>> trials({"a, cases": {"value": 30.0}, "b, cases": {"value": 40.0}}, 100), trials({}, 100)
    ('70 of 100 trials', '100 trials')
    """
    ran = [round(figure["value"]) for name, figure in figures.items() if name.endswith(", cases")]
    return f"{sum(ran)} of {size} trials" if ran and sum(ran) < size else f"{size} trials"


def run(studies: list[Study]) -> bool:
    """Run and store; True when every figure lies in its band."""
    fine = True
    for study in studies:
        start = time.perf_counter()
        kept = measure(study)
        study.result.parent.mkdir(exist_ok=True)
        study.result.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
        figures = kept["figures"]
        assert isinstance(figures, dict)
        print(f"{study.name}: {trials(figures, study.size)} in {time.perf_counter() - start:.0f} s")
        for name, figure in figures.items():
            inside = figure["low"] <= figure["value"] <= figure["high"]
            fine &= inside
            band = f"{figure['low']:.4g} to {figure['high']:.4g}"
            print(f"  {name}: {figure['value']:.4g} {figure['unit']} ({band}) {'inside' if inside else 'OUTSIDE'}")
    return fine


def main() -> int:
    """The command; ends with 1 when a figure lies outside its band."""
    parser = argparse.ArgumentParser(prog="python -m evidence.run", description=__doc__)
    parser.add_argument(
        "names",
        nargs="*",
        help="studies to run, by name or by its beginning; all that are not current when none is named",
    )
    parser.add_argument("--status", action="store_true", help="run nothing, only say what is stale")
    parser.add_argument("--again", action="store_true", help="run current ones too")
    asked = parser.parse_args()
    named = {n: [s for s in STUDIES if s.name == n or s.name.startswith(f"{n}_")] for n in asked.names}
    unknown = {n for n, found in named.items() if not found}
    if unknown:
        parser.error(f"no study named {', '.join(sorted(unknown))}; there are {', '.join(s.name for s in STUDIES)}")
    chosen = [
        s
        for s in STUDIES
        if any(s in found for found in named.values()) or (not asked.names and (asked.again or state(s) != "current"))
    ]
    fine = run([] if asked.status else chosen)
    PAGE.write_text(page(), encoding="utf-8")
    for study in STUDIES:
        print(f"{study.name}: {state(study)}")
    return 0 if fine else 1


if __name__ == "__main__":
    raise SystemExit(main())
