"""Whether the reader of text tables ever crashes, hangs, reads in part without a word, or reads something wrong.

Tables are made by a grammar of dialects, damaged, cut off, or read in small pieces; a small independent counter says what
is in the text. Workbooks, JSON lines, arrays and containers are not fuzzed by this study.
"""

from __future__ import annotations

import os
from collections.abc import Mapping

from evidence.fuzz import tables, watch
from evidence.study import ROOT, Figure, Study

READERS: dict[str, watch.Case] = {
    "text by grammar": tables.grown,
    "text damaged": tables.damaged,
    "text cut off": tables.cut_off,
    "text in pieces": tables.streamed,
}
SHARES = {"text by grammar": 4.0, "text damaged": 4.0, "text cut off": 1.0, "text in pieces": 1.0}
KINDS = ("crash", "hang", "partial", "wrong", "unsaid")
#: Cases from which on the machine's cores are shared.
LONG = 5000
#: A reader of tables of some kilobytes may not need more than this [MB].
MOST = 600.0


def run(seed: int, size: int) -> Mapping[str, Figure]:
    """Figures of ``size`` cases; failures of the first kinds are printed, each with the number that makes it again."""
    sizes = watch.spread(SHARES, size)
    if size < LONG:
        tally = watch.Tally()
        for name, case in READERS.items():
            tally.add(watch.here(seed, name, case, range(sizes[name])))
    else:
        tally = watch.everywhere(seed, READERS, sizes, os.cpu_count() or 1)
    for reader, number, words in tally.told:
        print(f"  {reader}, case {number}: {words}")
    figures = {
        f"{name}, cases": Figure(float(tally.cases[name]), float(sizes[name]), float(sizes[name]), "", "as asked")
        for name in READERS
    }
    for kind in KINDS:
        count = sum(n for (_, found), n in tally.failures.items() if found == kind)
        figures[f"cases that ended in: {kind}"] = Figure(float(count), 0.0, 0.0, "", "none is right")
    if size >= LONG:
        figures["largest memory of a process"] = Figure(tally.memory / 1e6, 0.0, MOST, "MB", "small tables need little")
    return figures


STUDY = Study(
    name="reader_fuzz",
    question="Does any text make the reader of tables crash, hang, or read in part or wrongly without a word?",
    run=run,
    sources=(
        "evidence/studies/reader_fuzz.py",
        *sorted(p.relative_to(ROOT).as_posix() for p in (ROOT / "evidence" / "fuzz").glob("*.py")),
        *(
            f"src/monochord/files/{name}.py"
            for name in (
                "cutting",
                "decode",
                "misfits",
                "numbers",
                "reading",
                "table",
                "text_head",
                "text_rows",
                "bulk",
            )
        ),
    ),
    seed=20310707,
    size=100_000,
    short_size=400,
)
