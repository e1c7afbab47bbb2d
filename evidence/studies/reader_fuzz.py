"""Whether any reader ever crashes, hangs, reads in part without a word, or reads something wrong: a study for each kind.

Files are made by a grammar, damaged, cut off, or read in small pieces; a small independent reader says what is in them.
``python -m evidence.run reader_fuzz`` runs all kinds, ``reader_fuzz_hdf5`` and the like one; what a kind gave is stored
before the next begins, and a run that is broken off goes on where it stood. With FUZZ_MINUTES set, each kind ends after
so many minutes, and its figures tell how many cases were run of how many.
"""

from __future__ import annotations

import math
import os
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from evidence.fuzz import arrays, containers, documents, json_lines, small, tables, watch, waves, workbooks
from evidence.study import ROOT, Figure, Study, sources_sha256

KINDS = ("crash", "hang", "partial", "wrong", "unsaid")
#: Cases from which on they are shared among processes, and how many of those.
LONG, PROCESSES = 3000, min(2, os.cpu_count() or 1)
#: A reader of files of some kilobytes may not need more than this [MB].
MOST = 600.0
SEED = 20310707
#: Minutes that one kind may take; what is left goes on with the next call.
MINUTES = float(os.environ.get("FUZZ_MINUTES", math.inf))


@dataclass(frozen=True, slots=True)
class Kind:
    """Readers of one kind of file.

    readers  name -> one case, and its share of all cases;  modules  of the product's files that it judges
    size     cases of the long run, short_size of the short one
    """

    name: str
    words: str
    readers: Mapping[str, tuple[watch.Case, float]]
    modules: tuple[str, ...]
    size: int
    short_size: int


_ROWS = ("columns", "gathering", "imports", "markers", "misfits", "numbers", "reading", "remarks", "table")
_TEXT = ("bulk", "characters", "cutting", "decode", "quoted", "text_head", "text_rows")
_ASKED = ("formats/asked", "formats/opening", "formats/rows", "number_column")
_CHILD = ("formats/guard", "formats/guard_child")

ALL = (
    Kind(
        "tables",
        "text table",
        {
            "text by grammar": (tables.grown, 4.0),
            "text damaged": (tables.damaged, 6.0),
            "text cut off": (tables.cut_off, 1.5),
            "text in pieces": (tables.streamed, 0.5),
        },
        (*_ROWS, *_TEXT),
        365_000,
        360,
    ),
    Kind(
        "lines",
        "file of JSON lines",
        {"JSON lines": (json_lines.damaged, 1.0)},
        (*_ROWS, *_ASKED, "characters", "decode", "formats/json_lines"),
        60_000,
        300,
    ),
    Kind(
        "cells",
        "number, time, name or sighting",
        {
            "numbers": (small.number, 42.0),
            "times": (small.time, 4.0),
            "names": (small.name, 5.0),
            "sightings": (small.sighting, 1.0),
        },
        (*_ROWS, *_TEXT, "clock", "names", "repeated", "sexagesimal", "sightings", "times", "zones"),
        520_000,
        1300,
    ),
    Kind(
        "documents",
        "description of a laboratory or document of a campaign",
        {"descriptions": (documents.description, 1.0), "campaigns": (documents.campaign, 1.0)},
        ("campaign_file", "document", "girder_file", "lab", "occasion_file", "schema_check"),
        5000,
        200,
    ),
    Kind(
        "workbooks",
        "workbook",
        {"workbooks": (workbooks.damaged, 120.0), "workbooks by the product's own child": (workbooks.guarded, 1.0)},
        (*_ROWS, *_ASKED, *_CHILD, "formats/xlsx", "formats/xlsx_cells", "formats/xlsx_package", "formats/zips"),
        12_100,
        200,
    ),
    Kind(
        "arrays",
        "NumPy or WAV file",
        {"NumPy tables": (arrays.table, 1.0), "NumPy samples": (arrays.samples, 1.0), "WAV": (waves.samples, 1.0)},
        (*_ROWS, *_ASKED, "formats/arrays", "formats/numpy_arrays", "formats/wav", "formats/zips", "signals"),
        18_000,
        600,
    ),
    Kind(
        "hdf5",
        "HDF5 file",
        {
            "HDF5 tables": (containers.table, 100.0),
            "HDF5 signals": (containers.signals, 100.0),
            "HDF5 tables by the product's own child": (containers.table_guarded, 1.0),
        },
        (*_ROWS, *_ASKED, *_CHILD, "container", "container_child", "formats/arrays", "formats/hdf5", "signals"),
        20_100,
        202,
    ),
)


def run(kind: Kind, seed: int, size: int) -> Mapping[str, Figure]:
    """Figures of ``size`` cases; failures are printed, each with the number that makes it again."""
    readers = {name: case for name, (case, _) in kind.readers.items()}
    sizes = watch.spread({name: share for name, (_, share) in kind.readers.items()}, size)
    if size < LONG:
        tally = watch.Tally()
        for name, case in readers.items():
            tally.add(watch.here(seed, name, case, range(sizes[name])))
    else:
        tally = watch.everywhere(seed, readers, sizes, watch.Long(PROCESSES, _say, _kept(kind, seed, size), MINUTES))
    for reader, number, words in tally.told:
        print(f"  {reader}, case {number}: {words}")
    figures = {
        f"{name}, cases": Figure(float(tally.cases[name]), 1.0, float(sizes[name]), "", f"{sizes[name]} asked for")
        for name in readers
    }
    for what in KINDS:
        count = sum(n for (_, found), n in tally.failures.items() if found == what)
        figures[f"cases that ended in: {what}"] = Figure(float(count), 0.0, 0.0, "", "none is right")
    if size >= LONG:
        figures["largest memory of a process"] = Figure(tally.memory / 1e6, 0.0, MOST, "MB", "small files need little")
    return figures


def _say(words: str) -> None:
    print("  ", words, flush=True)


def _kept(kind: Kind, seed: int, size: int) -> Path:
    """The file of a run that may be broken off: another for every state of the code."""
    state = sources_sha256(study(kind).sources)[:16]
    return Path(tempfile.gettempdir()) / f"reader_fuzz_{kind.name}-{seed}-{size}-{state}.jsonl"


def study(kind: Kind) -> Study:
    """The study of one kind of file."""
    sources = (
        "evidence/studies/reader_fuzz.py",
        *sorted(p.relative_to(ROOT).as_posix() for p in (ROOT / "evidence" / "fuzz").glob("*.py")),
        *(f"src/monochord/files/{name}.py" for name in sorted(set(kind.modules))),
    )
    question = f"Does any {kind.words} make its reader crash, hang, or read in part or wrongly without a word?"
    run_kind = partial(run, kind)
    return Study(f"reader_fuzz_{kind.name}", question, run_kind, sources, SEED, kind.size, kind.short_size)


STUDIES: tuple[Study, ...] = tuple(map(study, ALL))
