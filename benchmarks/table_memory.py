"""Memory that a long table takes: ``python -m benchmarks.table_memory [--megabytes 2048] [--into FOLDER]``.

The made-up campaign's ride logger is written with rows until its file has so many megabytes, then begun as a campaign
by the command itself: looked through, copied, checksummed and read back. The largest resident size of that command is
told beside that of the same campaign with its own short file. Seconds are told, and are those of this machine today.
"""

from __future__ import annotations

import argparse
import datetime
import os
import shutil
import subprocess
import sys
import tempfile
import time
from importlib import resources
from pathlib import Path

from monochord.simulate.demo import demo_campaign

#: Resident size that no length of a file may need [MB]: the program itself, 200 000 rows that are kept, and copies of them.
MOST = 300.0

#: Day of the ride.
_START = datetime.date(2031, 5, 15)


def written(folder: Path) -> Path:
    """The files of the campaign; gives that of the ride logger."""
    for name, text in demo_campaign(1).texts.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8", newline="\n")
    return next(folder.glob("*/logger.tsv"))


def lengthened(path: Path, size: int) -> int:
    """Add whole days of rows, five seconds apart, until the file has so many bytes; gives the number of added rows."""
    values = [line.partition("\t")[2] for line in path.read_text("utf-8").splitlines()[2:]]
    times = (f"{s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}" for s in range(0, 86400, 5))
    day = "".join(f"@ {moment}\t{values[i % len(values)]}\n" for i, moment in enumerate(times))
    days = 0
    with path.open("a", encoding="utf-8", newline="\n") as stream:
        while path.stat().st_size < size:
            days += 1
            stream.write(day.replace("@", f"{_START + datetime.timedelta(days=days):%d.%m.%Y}"))
            stream.flush()
    return days * day.count("\n")


def peak(data: Path, lab: Path, into: Path) -> tuple[float, float, str]:
    """Largest resident size [MB] and wall time [s] of beginning a campaign, and the last line of what it said."""
    command = [str(Path(sys.executable).parent / "monochord"), "begin", str(data)]
    command += ["--lab", str(lab), "--into", str(into), "--set", "girder=G1"]
    start = time.perf_counter()
    with tempfile.TemporaryFile("w+") as said:
        process = subprocess.Popen(command, stdout=said, stderr=said)
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        said.seek(0)
        lines = said.read().splitlines()
    if process.returncode:
        raise SystemExit(f"begin ended with {process.returncode}: {lines[-3:]}")
    told = [line for line in lines if "logger.tsv" in line]
    return used.ru_maxrss / 1024.0, time.perf_counter() - start, (told or ["nothing said of the file"])[-1]


def main() -> int:
    """The command; ends with 1 when the long file takes more memory than any may."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.table_memory", description=__doc__)
    parser.add_argument("--megabytes", type=int, default=2048)
    parser.add_argument("--into", type=Path, default=Path(tempfile.gettempdir()))
    asked = parser.parse_args()
    place = Path(tempfile.mkdtemp(dir=asked.into, prefix="table-memory-"))
    try:
        logger = written(place / "data")
        (place / "lab.toml").write_bytes(resources.files("monochord.job").joinpath("demo", "lab.toml").read_bytes())
        short, _, _ = peak(place / "data", place / "lab.toml", place / "short")
        rows = lengthened(logger, asked.megabytes << 20)
        size = logger.stat().st_size
        long, seconds, said = peak(place / "data", place / "lab.toml", place / "long")
    finally:
        shutil.rmtree(place)
    print(f"own file: {short:.0f} MB resident at most")
    print(f"{size / 1e6:.0f} MB, {rows} rows more: {long:.0f} MB resident at most, {seconds:.0f} s")
    print(said)
    return 0 if long < MOST else 1


if __name__ == "__main__":
    raise SystemExit(main())
