"""The last run of a campaign's record written for others: tables, the document with its schema, or everything as HDF5."""

from __future__ import annotations

import json
from pathlib import Path

from monochord.files.writers import csv_text, hdf5_bytes
from monochord.files.writers_tables import result_tables
from monochord.ground.faults import Fault, Refused
from monochord.job.run import RECORD, write_whole
from monochord.report.schema import SCHEMA_FILE
from monochord.store.journal import Kept, document_of, runs

#: What can be written.
KINDS = ("csv", "json", "hdf5")


def export_campaign(
    folder: Path, into: Path, kinds: tuple[str, ...], run: int | None = None
) -> tuple[Kept, list[Path]]:
    """Write a run of the record into a folder; gives the run and the files that were written.

    folder  of the campaign;  into  a folder, made when it is not there;  kinds  of :data:`KINDS`
    run     its number in the record, the last one when it is None

    Raises Refused when there is no such run, or a file of that name stands there already.
    """
    then = _kept(folder / RECORD, run)
    text = document_of(folder / RECORD, then.number)
    made = {name: content for kind in kinds for name, content in _files(kind, text).items()}
    there = [into / name for name in made if (into / name).exists()]
    if there:
        raise Refused(
            [
                Fault("a file that is already there", "a place for a new file", "choose another folder", str(path))
                for path in there
            ]
        )
    for name, content in made.items():
        write_whole(into / name, content)
    return then, [into / name for name in made]


def _kept(record: Path, run: int | None) -> Kept:
    if not record.is_file():
        raise Refused([Fault("no record", "a campaign that was run", "run it first: monochord run", str(record))])
    found = [k for k in runs(record) if run is None or k.number == run]
    if not found:
        given = f"run {run}" if run is not None else "an empty record"
        raise Refused([Fault(given, "a run that is in the record", "run it first: monochord run", str(record))])
    return found[-1]


def _files(kind: str, text: str) -> dict[str, str | bytes]:
    """Name -> content of what one kind writes."""
    if kind == "json":
        return {"result.json": text, SCHEMA_FILE.name: SCHEMA_FILE.read_text("utf-8")}
    document = json.loads(text)
    if kind == "hdf5":
        return {"result.h5": hdf5_bytes(document, json.loads(SCHEMA_FILE.read_text("utf-8")))}
    return {f"{table.name}.csv": csv_text(table) for table in result_tables(document)}
