"""What two readings fit is asked, whatever the numbers; what one reading fits is found."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monochord.files.draft.findings import Question
from monochord.files.draft.sense import turning
from monochord.files.draft.shape import shape
from monochord.files.draft.spelling import marks
from tests.draft_world import TARGETS, Habit, asked, drafted, nominal, settled, sightings

HABITS = st.builds(
    Habit,
    unit=st.sampled_from(["deg", "gon", "rad"]),
    horizontal=st.sampled_from(["clockwise", "counter-clockwise"]),
    vertical=st.sampled_from(["zenith", "elevation"]),
    heads=st.just(("station", "point", "hz", "v", "distance_mm")),
)


@settings(max_examples=15, deadline=None)
@given(HABITS)
def test_one_reading_fits_targets_in_space_and_is_found_with_its_unit(habit: Habit) -> None:
    draft, survey, _ = drafted({"obs.csv": sightings(habit), "targets.csv": nominal(habit)})

    assert settled(draft, "angles", "horizontal") == habit.horizontal
    assert settled(draft, "angles", "vertical") == habit.vertical
    assert survey.left("unit") == [habit.unit]
    assert not [k for k in asked(draft) if k.startswith(("angles", "tables.sightings"))]


@settings(max_examples=10, deadline=None)
@given(HABITS, st.floats(-0.5, -0.3))
def test_targets_in_one_level_plane_leave_the_sense_open(habit: Habit, height: float) -> None:
    """A mirrored picture of a plane is the plane turned over: both senses fit, and both are offered."""
    targets = TARGETS.copy()
    targets[:, 1] = height
    draft, survey, _ = drafted({"obs.csv": sightings(habit, targets), "targets.csv": nominal(habit, targets)})

    assert "angles.horizontal" in asked(draft)
    assert set(survey.left("horizontal")) == {"clockwise", "counter-clockwise"}
    [frame] = [q for q in draft.questions if q.key == "frame"]
    assert len({c.value.partition("y ")[2] for c in frame.choices}) > 2, "which way is up is open too"


@given(st.lists(st.integers(1, 999), min_size=1), st.lists(st.integers(0, 999), min_size=1), st.sampled_from(".,"))
def test_three_digits_behind_one_mark_in_every_number_are_asked_for(
    heads: list[int], tails: list[int], mark: str
) -> None:
    cells = [f"{a}{mark}{b:03d}" for a, b in zip(heads, tails, strict=False)]
    found = marks(cells)

    assert {c.value for c in found.rivals} == {".", ","}


@given(st.lists(st.floats(-9e3, 9e3).map(lambda v: round(v, 2)), min_size=1), st.sampled_from(".,"))
def test_two_digits_behind_a_mark_settle_it(values: list[float], mark: str) -> None:
    found = marks([f"{v:.2f}".replace(".", mark) for v in values])

    assert (found.decimal, found.grouping, found.rivals) == (mark, "", ())


@given(st.lists(st.tuples(st.integers(1, 99), st.integers(0, 99)), min_size=2))
def test_a_comma_between_blanks_is_asked_for(pairs: list[tuple[int, int]]) -> None:
    """Name and a decimal number, or two words and a whole number: nothing in the file tells."""
    text = "name x,y\n" + "".join(f"P{i} {a},{b}\n" for i, (a, b) in enumerate(pairs))
    found = shape(text)

    assert found is not None
    assert {c.value for c in found.rivals} == {"spaces", ","}


@pytest.mark.parametrize("sign", [1.0, -1.0])
@given(st.floats(0.1, 2.0), st.floats(0.0, 2 * np.pi), st.complex_numbers(max_magnitude=3.0))
def test_a_resonance_tells_its_time_factor_whatever_force_and_steady_answer(
    sign: float, damping: float, phase: float, steady: complex
) -> None:
    f = np.linspace(23.0, 30.0, 80)
    z = np.exp(1j * phase) / (26.5**2 - f**2 + 1j * damping * f) * 26.5 * damping + steady
    z = z if sign > 0 else z.conj()

    assert turning([(f, z)]).factor == ("exp(+iwt)" if sign > 0 else "exp(-iwt)")


def test_noise_without_a_resonance_leaves_the_time_factor_open() -> None:
    rng = np.random.default_rng(3)
    f = np.linspace(23.0, 30.0, 200)
    sweeps = [(f, rng.normal(size=200) + 1j * rng.normal(size=200)) for _ in range(10)]

    assert turning(sweeps).factor == ""


@pytest.mark.parametrize("key", ["strength.means", "signals.displacements", "signals.currents", "signs"])
def test_what_no_number_can_tell_is_never_chosen(key: str) -> None:
    wire = (
        "scan,magnet,plane,magnet_A,mode,drive_Hz,drive_mA,stage_x_mm,stage_y_mm,X_in_um,X_quad_um,Y_in_um,Y_quad_um\n"
    )
    wire += "".join(f"1,S1,x,100.0,2,52.2,20.0,{0.1 * i:.2f},0.09,2.24,{-2.5 * i:.2f},2.1,1.14\n" for i in range(6))
    magnets = "magnet,kind,z_mm,length_mm,strength,unit\nQ1,quadrupole,-500.0,250.0,11.2,T/m\nS1,sextupole,10.5,200.0,420.0,T/m2\n"
    draft, _, _ = drafted({"girder/magnets.csv": magnets, "1-bench/scans.csv": wire})

    assert key in asked(draft)
    [question] = [q for q in draft.questions if q.key == key]
    assert isinstance(question, Question)
    assert question.choices
    assert question.proposal == ""


def test_a_name_that_says_the_wrong_unit_is_told() -> None:
    """The head says degrees, the picture of the targets says gon."""
    habit = Habit(unit="gon")
    draft, survey, _ = drafted({"obs.csv": sightings(habit), "targets.csv": nominal(habit)})

    assert survey.tried[0].reading.unit == "gon"
    assert survey.good == ()
    assert any("no reading lays the sightings" in n and "gon" in n for n in draft.notes)
    assert "angles.horizontal" in asked(draft)
