"""Faults say what was given, what was expected and what to do, and where."""

from __future__ import annotations

import pytest

from monochord.ground.faults import Fault, FrameMismatch, Gatherer, MonochordError, Refused, Undetermined


@pytest.mark.parametrize(
    ("file", "line", "column", "place"),
    [
        ("", None, None, ""),
        ("a.csv", None, None, "a.csv"),
        ("a.csv", 3, None, "a.csv, line 3"),
        ("a.csv", 3, "V [gon]", "a.csv, line 3, column V [gon]"),
        ("", 3, 2, "line 3, column 2"),
    ],
)
def test_place_in_words(file: str, line: int | None, column: str | int | None, place: str) -> None:
    fault = Fault("'12,x'", "a number", "mend the cell", file, line, column)
    assert fault.place == place
    head = f"{place}: " if place else ""
    assert str(fault) == f"{head}given '12,x'; expected a number; mend the cell"


def test_every_error_of_the_program_has_one_root() -> None:
    for error in (Refused([]), FrameMismatch("hall", "girder"), Undetermined(["x"], "no reading")):
        assert isinstance(error, MonochordError)


def test_an_error_keeps_its_fields() -> None:
    mismatch = FrameMismatch("hall", "girder")
    assert (mismatch.given, mismatch.expected) == ("hall", "girder")
    assert str(mismatch) == "given frame 'hall'; expected frame 'girder'; transform it first"
    free = Undetermined(["P1.x", "P1.y"], "no sighting")
    assert free.unknowns == ("P1.x", "P1.y")
    assert str(free) == "P1.x, P1.y: no sighting"


def test_all_faults_of_a_file_are_told_together_with_their_places() -> None:
    faults = Gatherer("obs.csv")
    faults.refuse_if_any()  # nothing yet
    faults.add("'x'", "a number", "mend it", line=2, column="Hz")
    faults.add("no file", "a file", "add it", file="other.csv")
    faults.add("nothing", "something", "think", file="")
    with pytest.raises(Refused) as caught:
        faults.refuse_if_any()
    assert [fault.place for fault in caught.value.faults] == ["obs.csv, line 2, column Hz", "other.csv", ""]
    assert str(caught.value).splitlines() == [str(fault) for fault in faults.faults]
