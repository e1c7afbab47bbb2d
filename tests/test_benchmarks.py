"""The benchmark's own arithmetic: it compares, it tells what it cannot measure. Nothing here is timed against a limit."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from benchmarks import run, table_reading, timing


def test_best_keeps_the_shortest_of_turns_taken_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    seconds = iter([3.0, 10.0, 1.0, 20.0, 2.0, 5.0])

    def once(command: timing.Command) -> float:
        asked.append(command[0])
        return next(seconds)

    monkeypatch.setattr(timing, "once", once)

    assert timing.best({"a": ["a"], "b": ["b"]}, 3) == {"a": 1.0, "b": 5.0}
    assert asked == ["a", "b"] * 3


def test_a_command_that_fails_is_told_and_not_timed() -> None:
    ratio = run.Ratio("broken", [sys.executable, "-c", "raise SystemExit('no such thing')"], [sys.executable], 1.0)

    told = run.measure(ratio, 1)

    assert "not measured" in told
    assert "no such thing" in told


def test_a_ratio_beyond_its_reach_is_called_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "best", lambda commands, rounds: {"command": 4.0, "baseline": 1.0})
    quiet = [sys.executable, "-c", "pass"]

    assert "NOT reached" in run.measure(run.Ratio("slow", quiet, quiet, 3.0), 1)
    assert "NOT reached" not in run.measure(run.Ratio("slow", quiet, quiet, 4.0), 1)


def test_the_kernel_is_named_or_the_reason_told() -> None:
    told = timing.blas_kernel()

    assert told.startswith("OpenBLAS ") or told == "not told by the BLAS in use"


def test_the_one_line_command_runs_and_leaves_nothing_out() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.run", "--rounds", "1", "--rows", "2000"],
        cwd=run.ROOT,
        capture_output=True,
        text=True,
        check=True,
    )

    assert "BLAS kernel" in done.stdout
    assert "--help" in done.stdout
    assert "whole evaluation" in done.stdout
    assert "table of 2000 rows / numpy.loadtxt" in done.stdout
    assert "polars.read_csv" in done.stdout


def test_a_table_is_timed_only_when_it_is_read_right(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = table_reading.ours
    assert all("at most" in line or "not measured" in line for line in table_reading.measured(tmp_path, 1, 50))

    monkeypatch.setattr(table_reading, "ours", lambda path: (real(path)[0] + 1e-9, []))
    assert table_reading.measured(tmp_path, 1, 50) == ["table of 50 rows: NOT right, its numbers differ"]

    monkeypatch.setattr(table_reading, "ours", lambda path: (real(path)[0], []))
    assert "a spoiled cell is told as []" in table_reading.measured(tmp_path, 1, 50)[0]
