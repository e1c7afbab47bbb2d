"""Rigid fits, rotations, frames: a fit is no geometry until mirrors, exchanged columns, units and files are looked at."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from monochord.files.campaign_file import load_campaign
from monochord.ground.faults import Undetermined
from monochord.ground.rigid_fit import rigid_fit
from monochord.ground.turns import Turns, fit_turn, turns_of
from tests.trial_bench import Bench, notes_of

FLAT = np.array([[0.0, 0, 0], [3000, 0, 0], [3000, 800, 0], [0, 800, 0]])
SPREAD = np.array([[1000.0, 200, 0], [4000, 260, 150], [7000, 180, -90], [9000, 900, 400]])
FRAMES = ("listed", "measured")
TRACKERS = ("2-aligned/tracker.csv", "4-back/tracker.csv")
Cells = dict[str, str]

# -- the fit itself ---------------------------------------------------------------------------------------


def test_a_flat_set_with_a_little_twist_is_turned_and_not_mirrored() -> None:
    moved = FLAT @ np.array([[0.0, 1, 0], [-1, 0, 0], [0, 0, 1]]) + [100.0, 200.0, 50.0]
    moved[:, 2] += [0.02, -0.02, 0.02, -0.02]
    fit = rigid_fit(FLAT, moved, frames=FRAMES)
    np.testing.assert_allclose(fit.motion.rotation, [[0, -1, 0], [1, 0, 0], [0, 0, 1]], atol=1e-9)
    np.testing.assert_allclose(fit.motion.shift, [100, 200, 50], atol=1e-9)
    assert (fit.dof, round(fit.sigma0, 4), fit.flat) == (6, 0.0163, True)
    assert "cannot be told" in fit.words[0]


def test_exchanged_columns_of_a_flat_set_turn_its_plane_over() -> None:
    fit = rigid_fit(FLAT, FLAT[:, [1, 0, 2]], frames=FRAMES)
    assert fit.rms < 1e-9
    assert np.linalg.det(fit.motion.rotation) == pytest.approx(1.0)
    assert fit.motion.rotation[2, 2] == pytest.approx(-1.0)
    assert fit.words == ("the points lie in one plane and the fit turns the plane over; columns exchanged?",)


@pytest.mark.parametrize("order", [[1, 0, 2], [0, 2, 1], [2, 1, 0]])
def test_exchanged_columns_of_a_spread_set_are_a_mirror(order: list[int]) -> None:
    fit = rigid_fit(SPREAD, SPREAD[:, order], frames=FRAMES)
    assert fit.mirrored
    assert fit.rms == pytest.approx(99.08, abs=0.005)
    assert "in a mirror" in " ".join(fit.words)


def test_a_pair_held_exactly_is_met_even_when_opposite() -> None:
    a, b = np.array([[0.0, 0, -1], [0, 1, 0]]), np.array([[0.0, 0, 1], [0, 1, 0]])
    turn = fit_turn(a, b, held=0)
    np.testing.assert_allclose(turn @ a[0], b[0], atol=1e-9)
    np.testing.assert_allclose(turn, np.diag([-1.0, 1, -1]), atol=1e-9)


def test_directions_count_alike_whatever_their_length() -> None:
    one = np.radians(1.0)
    b = np.array([[1000 * np.cos(one), 1000 * np.sin(one), 0], [0, 1, 0]])
    angle = np.degrees(turns_of(fit_turn(np.array([[1000.0, 0, 0], [0, 1, 0]]), b)).about_z)
    assert angle == pytest.approx(0.5, abs=1e-9)


def test_three_angles_say_their_order_and_come_back() -> None:
    there = Turns(*np.radians([10.0, -5.0, 2.0]))
    back = turns_of(there.rotation)
    np.testing.assert_allclose(np.degrees([back.about_x, back.about_y, back.about_z]), [2, -5, 10], atol=1e-9)
    assert "then about the new y" in there.order
    with pytest.raises(Undetermined, match="cannot be separated"):
        turns_of(Turns(0.1, np.pi / 2, 0.2).rotation)


# -- through the doors ------------------------------------------------------------------------------------


def sightings(bench: Bench, file: str, change: Callable[[Cells, int], Cells | None]) -> None:
    """Change, or leave out, every row of a tracker's table."""
    path = bench.data / file
    head, *lines = path.read_text().splitlines()
    names = head.split(",")
    rows = [change(dict(zip(names, line.split(","), strict=True)), i) for i, line in enumerate(lines)]
    path.write_text("\n".join([head, *(",".join(row.values()) for row in rows if row is not None)]) + "\n")


def scaled(factor: float, *columns: str) -> Callable[[Cells, int], Cells]:
    return lambda row, _: row | {c: f"{float(row[c]) * factor:.8f}" for c in columns}


CIRCLE = "the sense of the horizontal circle is the other one (angles.horizontal) in line"
MIXED: list[tuple[str, Callable[[Cells, int], Cells], str]] = [
    ("feet", scaled(1 / 304.8, "distance_mm"), "feet read as millimetres (tables.sightings.columns.distance.unit)"),
    ("inches", scaled(1 / 25.4, "distance_mm"), "inches read as millimetres (tables.sightings.columns.distance.unit)"),
    ("metres", scaled(1e-3, "distance_mm"), "1000 times too small (m for mm, mm for um)"),
    ("gon beyond the circle", scaled(1 / 0.9, "hz_deg", "zenith_deg"), "angles in gon read as degrees"),
    (
        "elevation",
        lambda row, _: row | {"zenith_deg": f"{90 - float(row['zenith_deg']):.7f}"},
        "the vertical angle is an elevation",
    ),
    ("clockwise", lambda row, _: row | {"hz_deg": f"{360 - float(row['hz_deg']):.7f}"}, CIRCLE),
]


@pytest.mark.parametrize(("change", "reason"), [m[1:] for m in MIXED], ids=[m[0] for m in MIXED])
def test_a_mix_up_on_one_occasion_is_named_with_its_key_and_line(
    bench: Bench, change: Callable[[Cells, int], Cells], reason: str
) -> None:
    """Every station of that occasion says so, none of the other one; what is left is the nominal places' own 0.1 mm."""
    sightings(bench, "4-back/tracker.csv", change)
    pictures = [line for line in bench.refused().splitlines() if "a picture of" in line]
    assert len(pictures) == 3
    for line in pictures:
        assert "4-back/tracker.csv, line" in line
        assert reason in line
        assert "it would fit to 6" in line
        assert "of the lab description" in line


def test_readings_in_the_second_face_are_the_same_readings(bench: Bench) -> None:
    plain = Bench(bench.root / "plain")
    plain.root.mkdir()
    for name in ("data", "lab.toml"):
        (plain.root / name).symlink_to(bench.root / name)
    plain.begun()
    expected = [(s.direction, s.zenith, s.distance) for s in load_campaign(plain.campaign).occasions[1].sightings]
    for name in ("data", "lab.toml"):
        (plain.root / name).unlink()

    def second(row: Cells, i: int) -> Cells:
        turned = {
            "hz_deg": f"{(float(row['hz_deg']) + 180) % 360:.7f}",
            "zenith_deg": f"{360 - float(row['zenith_deg']):.7f}",
        }
        return row | turned if i % 3 else row

    sightings(bench, "4-back/tracker.csv", second)
    printed = bench.begun()
    assert "74 readings in the second face of the instrument" in printed
    found = [(s.direction, s.zenith, s.distance) for s in load_campaign(bench.campaign).occasions[1].sightings]
    np.testing.assert_allclose(np.array(found, float), np.array(expected, float), atol=1e-11)
    document, told = bench.ran()
    assert "74 readings in the second face" in notes_of(document)
    assert "74 readings in the second face" in told


NAMES: list[tuple[str, dict[str, str], str]] = [
    ("two", {"G1L": "G1R", "G1R": "G1L"}, "look exchanged"),
    ("two on magnets", {"Q1-1": "Q1-3", "Q1-3": "Q1-1"}, "look exchanged"),
    ("a ring", {"G1L": "G2L", "G2L": "G3L", "G3L": "G1L"}, "look exchanged in a ring"),
    ("a ring of four", {"Q1-1": "Q1-2", "Q1-2": "Q1-3", "Q1-3": "Q1-4", "Q1-4": "Q1-1"}, "look exchanged in a ring"),
]


@pytest.mark.parametrize(("names", "words"), [n[1:] for n in NAMES], ids=[n[0] for n in NAMES])
def test_exchanged_targets_are_named_in_record_and_print(bench: Bench, names: dict[str, str], words: str) -> None:
    sightings(bench, "4-back/tracker.csv", lambda row, _: row | {"point": names.get(row["point"], row["point"])})
    printed = bench.begun()
    (told,) = (line for line in printed.splitlines() if "look exchanged" in line)
    assert words in told
    assert all(name in told for name in names)
    assert "from station T1, T2, T3" in told
    assert "mm to 0.1 mm if so" in told or " um if so" in told or "mm to 0.10" in told
    document, screen = bench.ran()
    assert words in notes_of(document)
    assert words in screen


def test_a_name_of_another_target_that_nobody_saw(bench: Bench) -> None:
    """Each of what is called G2L lies where G1L should be, and nothing is called G1L."""

    def change(row: Cells, _: int) -> Cells | None:
        return None if row["point"] == "G2L" else row | {"point": "G2L" if row["point"] == "G1L" else row["point"]}

    sightings(bench, "4-back/tracker.csv", change)
    assert "G2L looks like G1L, which was not seen, from station T1, T2, T3" in bench.begun()
    assert "G2L looks like G1L" in notes_of(bench.ran()[0])


def test_clean_readings_raise_none_of_these(bench: Bench) -> None:
    printed = bench.begun()
    assert not any(w in printed for w in ("exchanged", "second face", "looks like", "last digit", "picture"))
    assert "CHECK FIRST" not in bench.ran()[1]


# -- files of another station, occasion, day --------------------------------------------------------------


def test_a_file_left_over_from_another_occasion_is_refused(bench: Bench) -> None:
    (bench.data / TRACKERS[1]).write_bytes((bench.data / TRACKERS[0]).read_bytes())
    printed = bench.refused()
    assert (
        "40 sightings of station T1 on 4-back, round 1, that are those of station T1 on 2-aligned, round 1," in printed
    )
    assert "left over from the other occasion" in printed
    assert "4-back/tracker.csv, line 2" in printed


def test_one_stations_readings_under_two_names_are_refused(bench: Bench) -> None:
    path = bench.data / TRACKERS[1]
    lines = path.read_text().splitlines()
    copied = [line.replace("T1,", "T3,", 1) for line in lines if line.startswith("T1,")]
    path.write_text("\n".join([line for line in lines if not line.startswith("T3,")] + copied) + "\n")
    printed = bench.refused()
    assert "37 sightings of station T3 on 4-back, round 1, that are those of station T1 on 4-back" in printed
    assert "one station's file under two names" in printed


def test_one_file_under_two_file_names_is_refused(bench: Bench) -> None:
    path = bench.data / TRACKERS[1]
    path.with_name("tracker (1).csv").write_bytes(path.read_bytes())
    printed = bench.refused()
    assert "one file twice? take one out" in printed


def test_a_copied_round_is_told(bench: Bench) -> None:
    """The last digits of a round that was measured differ; here the second was made of the first."""
    path = bench.data / TRACKERS[1]
    head, *lines = path.read_text().splitlines()
    path.write_text("\n".join([head, *lines, *lines]) + "\n")
    words = "37 sightings of station T1 on 4-back, round 2, that are those of station T1 on 4-back, round 1"
    assert words in bench.begun()
    assert words in notes_of(bench.ran()[0])


def restored(bench: Bench) -> None:
    """A third survey: the second one, each distance some micrometres on."""
    (bench.data / "5-restored/tracker.csv").write_bytes((bench.data / TRACKERS[1]).read_bytes())
    sightings(
        bench,
        "5-restored/tracker.csv",
        lambda row, i: row | {"distance_mm": f"{float(row['distance_mm']) + 0.0007 * (1 + i % 5):.4f}"},
    )


def test_surveys_of_two_occasions_exchanged_are_told_by_the_walls(bench: Bench) -> None:
    restored(bench)
    a, b = bench.data / TRACKERS[0], bench.data / "5-restored/tracker.csv"
    one, other = a.read_bytes(), b.read_bytes()
    a.write_bytes(other)
    b.write_bytes(one)
    printed = bench.refused()
    assert "P1, P2, P3, P4 and 1 more seen on 2-aligned (bench hall) and on 4-back (tunnel)" in printed
    assert "each is in its place if the surveys of 2-aligned and 5-restored are exchanged" in printed


def test_three_surveys_in_their_places_pass(bench: Bench) -> None:
    restored(bench)
    assert "exchanged" not in bench.begun()


def wire_of(bench: Bench, change: Callable[[Cells, int], Cells], occasion: str = "2-aligned") -> None:
    sightings(bench, f"{occasion}/wire_scans.csv", change)


def test_scans_of_another_occasion_are_refused(bench: Bench) -> None:
    for name in ("wire_scans.csv", "wire_resonance.csv"):
        (bench.data / "5-restored" / name).write_bytes((bench.data / "2-aligned" / name).read_bytes())
    printed = bench.refused()
    assert "on 5-restored with the numbers of scan 1 of Q1 on 2-aligned, to the last digit" in printed
    assert "sweep" in printed


def test_wire_files_in_exchanged_folders_are_told_by_their_clocks(bench: Bench) -> None:
    """The later scans are the earlier ones with other noise and a later date; then the two files change places."""
    source = bench.data / "2-aligned/wire_scans.csv"
    (bench.data / "5-restored/wire_scans.csv").write_bytes(source.read_bytes())
    wire_of(
        bench,
        lambda row, i: (
            row
            | {
                "X_in_um": f"{float(row['X_in_um']) + 0.001 * (i % 7):.5f}",
                "time": row["time"].replace("-03-03", "-03-11"),
            }
        ),
        "5-restored",
    )
    later = bench.data / "5-restored/wire_scans.csv"
    one, other = source.read_bytes(), later.read_bytes()
    source.write_bytes(other)
    later.write_bytes(one)
    printed = bench.refused()
    assert "they follow each other if the files of 2-aligned and 5-restored are exchanged" in printed


# -- planes, signs and sizes of the wire ------------------------------------------------------------------


def turned(*columns: str) -> Callable[[Cells, int], Cells]:
    return lambda row, _: row | {c: f"{-float(row[c]):.5f}" for c in columns}


def exchanged(*pairs: tuple[str, str]) -> Callable[[Cells, int], Cells]:
    other = dict(pairs) | {b: a for a, b in pairs}
    return lambda row, _: row | {a: row[b] for a, b in other.items()}


SENSORS = (("X_in_um", "Y_in_um"), ("X_quad_um", "Y_quad_um"))
WIRES: list[tuple[str, Callable[[Cells, int], Cells], str, str, bool]] = [
    ("sensors exchanged", exchanged(*SENSORS), "x and y appear exchanged", "columns.x_in in line", True),
    (
        "x sensor reversed",
        turned("X_in_um", "X_quad_um"),
        "one plane appears upside down",
        "columns.x_in in line",
        True,
    ),
    (
        "y sensor reversed",
        turned("Y_in_um", "Y_quad_um"),
        "one plane appears upside down",
        "columns.x_in in line",
        True,
    ),
    ("x stage reversed", turned("stage_x_mm"), "one plane appears upside down", "columns.stage_x in line", True),
    (
        "stages in inches",
        scaled(1 / 25.4, "stage_x_mm", "stage_y_mm"),
        "times too small (inches read as millimetres",
        "columns.stage_x in line",
        False,
    ),
    (
        "currents in A under mA",
        scaled(1e-3, "drive_mA"),
        "displacements over drive current are",
        "columns.drive_current in line",
        False,
    ),
    (
        "in-phase and quadrature exchanged",
        exchanged(("X_in_um", "X_quad_um"), ("Y_in_um", "Y_quad_um")),
        "in-phase and quadrature parts are exchanged",
        "signals.time_factor in line",
        True,
    ),
]


@pytest.mark.parametrize(("change", "words", "key", "lost"), [w[1:] for w in WIRES], ids=[w[0] for w in WIRES])
def test_a_mix_up_of_the_wire_stands_before_all_numbers(
    bench: Bench, change: Callable[[Cells, int], Cells], words: str, key: str, lost: bool
) -> None:
    """With its key and line; where no axis can be had from the scans, the run does not end as if all were well."""
    wire_of(bench, change)
    bench.begun()
    ended = bench.run()
    first = ended.printed.split("CHECK FIRST: ", 1)
    assert len(first) == 2, ended.printed
    document, screen = bench.ran()
    assert words in document["sentence"]
    assert key in document["sentence"]
    assert words in " ".join(screen.split())
    assert ended.code == (4 if lost else 0)


def test_scans_of_two_magnets_exchanged_are_named_with_their_strengths(bench: Bench) -> None:
    names = {"Q1": "Q2", "Q2": "Q1"}
    wire_of(bench, lambda row, _: row | {"magnet": names.get(row["magnet"], row["magnet"])})
    bench.begun()
    document, screen = bench.ran()
    said = document["sentence"]
    assert "the scans of Q1 and Q2 on 2-aligned look exchanged" in said
    assert "of the plan to 100 % and 100 % if so" in said
    assert "CHECK FIRST" in screen
