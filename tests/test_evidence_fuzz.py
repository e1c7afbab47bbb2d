"""That fuzzing can fail: a reader that loses a row, bends a value, crashes or hangs without a word is found out."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from random import Random

import numpy as np
import pytest

from evidence.fuzz import arrays, containers, json_lines, small, tables, watch, waves, workbooks
from monochord.files import container, numbers
from monochord.files.columns import Rows
from monochord.files.formats import wav
from monochord.files.reading import _File

SEED, CASES = 7, 30


def found(run: watch.Case, cases: int = CASES) -> set[str]:
    """Kinds of the failures of some cases."""
    return {kind for _, kind in watch.here(SEED, "planted", run, range(cases)).failures}


@pytest.mark.parametrize(
    "run", [tables.grown, tables.damaged, json_lines.damaged, workbooks.damaged, arrays.table, containers.table]
)
def test_a_row_lost_in_silence_is_partial(run: watch.Case, monkeypatch: pytest.MonkeyPatch) -> None:
    assert found(run, 12) == set()
    right: Callable[[_File], Rows | None] = _File.rows

    def without_the_last(self: _File) -> Rows | None:
        rows = right(self)
        if rows is None or len(rows) < 2 or rows.told is None:
            return rows
        rest = rows.only(range(len(rows) - 1))
        object.__setattr__(rows.told, "data", len(rest))
        object.__setattr__(rows.told, "rows", rows.told.rows - 1)
        return rest

    monkeypatch.setattr(_File, "rows", without_the_last)
    assert {"partial", "wrong"} & found(run)


@pytest.mark.parametrize("run", [tables.damaged, json_lines.damaged, workbooks.damaged, arrays.table, small.number])
def test_a_bent_number_is_wrong(run: watch.Case, monkeypatch: pytest.MonkeyPatch) -> None:
    right = numbers.column

    def bent(*given: object) -> object:
        values, odd = right(*given)  # type: ignore[arg-type]
        return values * (1.0 + 1e-15), odd

    monkeypatch.setattr(numbers, "column", bent)
    assert "wrong" in found(run)


def test_samples_lost_at_the_end_are_found(monkeypatch: pytest.MonkeyPatch) -> None:
    right = wav.samples
    monkeypatch.setattr(wav, "samples", lambda *given: right(*given)[:-1])
    assert "partial" in found(waves.samples)


def test_bytes_of_a_wave_file_that_lack_are_found() -> None:
    made = waves.made(Random(1))
    assert waves.plain(made) is not None
    assert waves.plain(made[:-1]) is None


def test_a_block_left_out_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(containers, "block", lambda *given: np.asarray(container.block(*given))[:-1])
    assert "partial" in found(containers.signals, 12)


def test_a_crash_a_hang_and_an_empty_refusal_are_told_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    def crash(_rng: Random) -> str:
        raise ZeroDivisionError

    def hang(_rng: Random) -> str:
        end = time.monotonic() + 30.0
        while time.monotonic() < end:
            pass
        return ""

    monkeypatch.setattr(watch, "LIMIT", 0.05)
    assert (found(crash, 1), found(hang, 1)) == ({"crash"}, {"hang"})


def test_a_run_that_was_broken_off_goes_on_where_it_stood(tmp_path: Path) -> None:
    said = list[str]()
    long = watch.Long(1, said.append, tmp_path / "kept", minutes=0.0)
    sizes = {"a": 600, "b": 20}
    readers: dict[str, watch.Case] = {
        "a": lambda rng: "wrong: seldom" if rng.random() < 0.01 else "",
        "b": lambda _: "",
    }
    once = watch.everywhere(SEED, readers, sizes, watch.Long(1, said.append, tmp_path / "once"))
    (tmp_path / "kept").write_text('["a", 0, {"a": 15}, [["a", "wrong", 100]], [], 5]\n["b", 0, {"b"', "utf-8")

    stopped = watch.everywhere(SEED, readers, sizes, long)
    whole = watch.everywhere(SEED, readers, sizes, watch.Long(1, said.append, tmp_path / "kept"))

    assert (stopped.cases.total(), stopped.failures["a", "wrong"]) == (15, 100)
    assert whole.cases == once.cases == {"a": 600, "b": 20}
    assert whole.failures["a", "wrong"] >= 100
    assert not (tmp_path / "kept").exists()
