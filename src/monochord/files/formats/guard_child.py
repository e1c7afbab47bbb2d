"""The guarded child of :mod:`monochord.files.formats.guard`: ``python -m monochord.files.formats.guard_child FOLDER``.

Reads ``task.json`` and ``file`` in the folder, and leaves ``answer.json`` and arrays there. A crash ends only this
process.
"""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import cast

import numpy as np

from monochord.files.formats.asked import Asked, Kept
from monochord.files.formats.opening import made_table
from monochord.files.formats.registry import find
from monochord.files.number_column import NumberColumn
from monochord.files.table import Dialect, Table
from monochord.ground.faults import Fault, Gatherer, Refused


def main(arguments: list[str]) -> int:
    """Do the task in the folder; 0 when an answer is there, be it a refusal."""
    folder = Path(arguments[0])
    task = json.loads((folder / "task.json").read_text("utf-8"))
    limit_memory(int(task["memory"]))
    file, asked = str(task["file"]), _asked(task["asked"])
    faults, refused, table = Gatherer(), list[Fault](), None
    try:
        found = find(asked.kept.format)
        table = made_table(found, (folder / "file").read_bytes(), file, asked, faults)
    except Refused as refusal:
        refused = list(refusal.faults)
    except MemoryError:
        given = f"a file that asks for more than {int(task['memory']) >> 20} MB of memory"
        refused = [Fault(given, "a sound file", "copy the file again from where it was made", file)]
    except Exception as error:  # whatever a library raises on a damaged file
        said = " ".join(str(error).split())[:200] or type(error).__name__
        refused = [
            Fault(said, f"a sound file of format {asked.kept.format!r}", "copy it again from where it was made", file)
        ]
    answer = {
        "refused": [asdict(f) for f in refused],
        "faults": [asdict(f) for f in faults.faults],
        "notes": [asdict(n) for n in table.notes] if table else [],
        "table": _plain(folder, table) if table else None,
    }
    (folder / "answer.json").write_text(json.dumps(answer), "utf-8")
    return 0


def limit_memory(most: int) -> None:
    """Let this process ask for so many bytes of memory and no more, or for as many as the system lets it where those are fewer."""
    try:
        import resource
    except ImportError:
        return
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    least = most if hard == resource.RLIM_INFINITY else min(most, hard)  # a lower limit may not be raised
    resource.setrlimit(resource.RLIMIT_AS, (least, least))


def _asked(told: dict[str, object]) -> Asked:
    dialect = cast(dict[str, object], told["dialect"])
    for key, kind in (("missing", frozenset), ("summaries", frozenset), ("widths", tuple)):
        dialect[key] = kind(cast(list[object], dialect[key]))
    kept = cast(dict[str, object], told["kept"])
    kinds, notations = (cast(dict[str, str], told[key]) for key in ("kinds", "notations"))
    return Asked(Dialect(**dialect), Kept(**kept), kinds, notations)  # type: ignore[arg-type]


def _plain(folder: Path, table: Table) -> dict[str, object]:
    columns: list[object] = []
    for i, column in enumerate(table.columns):
        if isinstance(column, NumberColumn):
            np.save(folder / f"{i}.npy", np.ascontiguousarray(column.values), allow_pickle=False)
            columns.append(column.decimal)
        else:
            columns.append(list(column))
    counted = isinstance(table.lines, range)
    lines = [table.lines[0], table.lines[-1] + 1] if counted and len(table.lines) else list(table.lines)
    return {
        "header": table.header,
        "units": table.units,
        "columns": columns,
        "counted": counted and bool(len(table.lines)),
        "lines": lines,
        "remarks": table.remarks,
        "heads": table.heads,
        "refused": table.refused,
        "encoding": table.encoding,
        "sheet": table.sheet,
    }


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
