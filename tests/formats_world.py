"""The demo's tables kept in other formats: the same data for every format, and a description that says so."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from importlib import resources
from pathlib import Path

import h5py
import numpy as np
import openpyxl

from monochord.simulate.demo import demo_campaign

#: Columns of the demo's tables that hold names or words, whatever they look like.
NAMES = {"element", "kind", "per", "point", "sits_on", "bolt", "pushes", "can_lift_off", "nest", "station", "run"} | {
    "moved",
    "clock",
    "felt",
    "sensor",
}
HEAD = "# invented data of a fictional bench"


@dataclass(frozen=True)
class Plain:
    """A table as the demo wrote it."""

    header: list[str]
    rows: list[list[str]]

    def columns(self) -> Iterable[tuple[str, list[str]]]:
        return zip(self.header, map(list, zip(*self.rows, strict=True)), strict=True)

    def numeric(self, name: str) -> bool:
        return name not in NAMES


def plain(text: str) -> Plain:
    lines = [line.split("\t") for line in text.splitlines()[1:]]
    return Plain(lines[0], lines[1:])


def _number(cell: str) -> float | None:
    return float(cell) if cell else None


def xlsx(table: Plain) -> bytes:
    """Numbers as numbers, times as dates, one remark above the names."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append([HEAD])
    sheet.append(table.header)
    for row in table.rows:
        cells: list[object] = []
        for name, cell in zip(table.header, row, strict=True):
            if name == "clock":
                cells.append(datetime.strptime(cell, "%d.%m.%Y %H:%M:%S"))
            else:
                cells.append(_number(cell) if table.numeric(name) else cell)
        sheet.append(cells)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def json_lines(table: Plain) -> bytes:
    """Numbers as they stand in the text, empty cells left out."""
    lines = []
    for row in table.rows:
        parts = [
            f"{json.dumps(name)}: {cell.removeprefix('+') if table.numeric(name) else json.dumps(cell)}"
            for name, cell in zip(table.header, row, strict=True)
            if cell
        ]
        lines.append("{" + ", ".join(parts) + "}")
    return ("\n".join(lines) + "\n").encode()


def records(table: Plain) -> np.ndarray[tuple[int], np.dtype[np.void]]:
    """A structured array: numbers in double precision, NaN where there is none, everything else as text."""
    columns = []
    for name, cells in table.columns():
        if table.numeric(name):
            columns.append((name, np.array([float(c) if c else np.nan for c in cells])))
        else:
            columns.append((name, np.array(cells)))
    made = np.zeros(len(table.rows), [(name, values.dtype) for name, values in columns])
    for name, values in columns:
        made[name] = values
    return made


def npy(table: Plain) -> bytes:
    stream = io.BytesIO()
    np.save(stream, records(table), allow_pickle=False)
    return stream.getvalue()


def npz(table: Plain) -> bytes:
    stream = io.BytesIO()
    np.savez_compressed(stream, other=np.zeros(3), table=records(table))
    return stream.getvalue()


def hdf5_columns(table: Plain) -> bytes:
    """A group with one dataset a column, compressed."""
    stream = io.BytesIO()
    made = records(table)
    with h5py.File(stream, "w") as file:
        for name in table.header:
            values = made[name]
            if values.dtype.kind == "U":
                file.create_dataset(f"deep/table/{name}", data=values.astype(object), dtype=h5py.string_dtype())
            else:
                file.create_dataset(f"deep/table/{name}", data=values, compression="gzip")
    return stream.getvalue()


def hdf5_compound(table: Plain) -> bytes:
    """One compound dataset, texts of fixed width in UTF-8."""
    made = records(table)
    kinds = [(n, f"S{4 * max(1, *map(len, made[n]))}" if made[n].dtype.kind == "U" else "f8") for n in table.header]
    out = np.zeros(len(made), kinds)
    for name in table.header:
        values = made[name]
        out[name] = np.char.encode(values, "utf-8") if values.dtype.kind == "U" else values
    stream = io.BytesIO()
    with h5py.File(stream, "w") as file:
        file["rows"] = out
    return stream.getvalue()


def fixed_width(table: Plain) -> bytes:
    """Every column as wide as its longest cell, so that the widest touch."""
    widths = widths_of(table)
    lines = ["".join(c.rjust(w) for c, w in zip(row, widths, strict=True)) for row in (table.header, *table.rows)]
    return "\n".join([HEAD, *lines, ""]).encode()


def widths_of(table: Plain) -> list[int]:
    return [max(len(name), *map(len, cells)) + 1 for name, cells in table.columns()]


#: Name -> (ending, what the description says of it, how it is written).
FORMATS: dict[str, tuple[str, str, Callable[[Plain], bytes]]] = {
    "xlsx": ("xlsx", 'format = "xlsx"', xlsx),
    "json lines": ("jsonl", 'format = "json lines"', json_lines),
    "npy": ("npy", 'format = "numpy"', npy),
    "npz": ("npz", 'format = "numpy"\ninside = "table"', npz),
    "hdf5 columns": ("h5", 'format = "hdf5"\ninside = "deep/table"', hdf5_columns),
    "hdf5 compound": ("hdf5", 'format = "hdf5"', hdf5_compound),
    "fixed width": ("lst", "fixed", fixed_width),
}

#: Roles of the demo's tables by their file.
ROLE_OF = {
    "elements": "magnets", "points": "targets", "bolts": "bolts", "wire_ends": "wire_ends", "sightings": "sightings",
    "wire": "wire_scans", "resonance": "wire_sweeps", "feet": "feet", "temperatures": "temperatures",
    "turns": "turns", "logger": "ride",
}  # fmt: skip


def description() -> str:
    """The demo's own description."""
    return resources.files("monochord.job").joinpath("demo", "lab.toml").read_text("utf-8")


def texts(seed: int) -> dict[str, str]:
    """The demo's files by path."""
    return dict(demo_campaign(seed).texts)


def write(root: Path, seed: int, chosen: dict[str, str]) -> Path:
    """The demo's folder with the tables named in ``chosen`` (file stem -> format), and its description beside it.

    Of a fixed-width listing all occasions share the widths, so they are those of all its files together.
    """
    files, told = texts(seed), description()
    for stem, name in chosen.items():
        ending, keys, writer = FORMATS[name]
        mine = {path: plain(text) for path, text in files.items() if Path(path).stem == stem}
        if name == "fixed width":
            each = [widths_of(table) for table in mine.values()]
            widths = [max(w) for w in zip(*each, strict=True)]
            keys = f'format = "fixed width"\ndialect = {{ widths = {widths} }}'
        for path, table in mine.items():
            made = _listing(table, widths) if name == "fixed width" else writer(table)
            place = root / "handed-over" / Path(path).with_suffix(f".{ending}")
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_bytes(made)
            del files[path]
        told = re.sub(rf'(?m)^file = "{stem}\.tsv"$', f'file = "{stem}.{ending}"\n{keys}', told)
    for path, text in files.items():
        place = root / "handed-over" / path
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(text, "utf-8", newline="\n")
    (root / "lab.toml").write_text(told, "utf-8")
    return root


def _listing(table: Plain, widths: list[int]) -> bytes:
    lines = ["".join(c.rjust(w) for c, w in zip(row, widths, strict=True)) for row in (table.header, *table.rows)]
    return "\n".join([HEAD, *lines, ""]).encode()
