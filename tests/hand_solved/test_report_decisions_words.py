"""Verdicts, turns and displacements as people read them, worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.found.comparison import Comparison, TargetMove
from monochord.campaign.found.points import PointSet
from monochord.campaign.found.result import OccasionFinding, Result, Temperature
from monochord.campaign.found.verdict import Verdict
from monochord.campaign.given.campaign import Campaign, LineRule
from monochord.campaign.given.girder import Bolt, Girder
from monochord.campaign.origin import Origin
from monochord.ground.estimate import Estimate
from monochord.ground.frames import Rigid, rotation_from_vector
from monochord.report.bolting import DEGREES, MINUTES, does, way_of
from monochord.report.displacements import displacements
from monochord.report.judged import counts_words, magnets_words, worst_by_magnet
from monochord.report.words import percent, pretty

Array = NDArray[np.float64]
NONE = Estimate.of([], [], unit="m", frame="girder", causes={})
STILL = Rigid("girder", "girder", np.eye(3), np.zeros(3))


def said(magnet: str, quantity: str, word: str, value: float = 1e-6) -> Verdict:
    return Verdict("o", magnet, quantity, value, 1e-6, 3e-5, "", 0.9, word, "", "")


def test_verdicts_are_counted_with_the_names_that_need_attention() -> None:
    three = [said("Q1", "x", "conforms"), said("Q1", "y", "does not conform"), said("S1", "x", "cannot be decided")]

    assert counts_words(three) == "1 of 3 conforms; 1 does not conform (Q1 y); 1 cannot be decided (S1 x)"
    assert counts_words([three[0], three[0]]) == "2 of 2 conform"
    assert (
        counts_words([three[1], said("S2", "y", "does not conform")])
        == "0 of 2 conform; 2 do not conform (Q1 y and S2 y)"
    )


def test_a_magnet_has_the_worst_word_of_its_quantities() -> None:
    some = [
        said("Q1", "x", "conforms"),
        said("Q1", "y", "cannot be decided"),
        said("S1", "x", "does not conform"),
        said("S1", "y", "cannot be decided"),
        said("Q2", "x", "conforms"),
    ]

    assert worst_by_magnet(some) == {"Q1": "cannot be decided", "S1": "does not conform", "Q2": "conforms"}
    assert magnets_words(some) == "1 of 3 magnets conforms; does not conform: S1; cannot be decided: Q1"


def test_a_value_that_is_not_known_never_counts_as_conforming() -> None:
    assert counts_words([said("Q1", "x", "conforms", math.nan)]) == "0 of 1 conform; 1 cannot be decided (Q1 x)"


@pytest.mark.parametrize(
    ("share", "printed"),
    [
        (0.5, "50.0"),
        (0.9994, "99.9"),
        (0.9996, "> 99.9"),
        (1.0, "> 99.9"),
        (0.0006, "0.1"),
        (0.0004, "< 0.1"),
        (0.0, "< 0.1"),
    ],
)
def test_no_share_is_printed_as_certain(share: float, printed: str) -> None:
    assert percent(share) == printed


def test_only_numbers_lose_their_typewriter_signs() -> None:
    assert pretty("12 +- 3 um and 4 um/m, umbrella, sum um") == "12 ± 3 µm and 4 µm/m, umbrella, sum um"
    assert pretty("gates 3 urad") == "gates 3 µrad"


def bolt(direction: tuple[float, float, float], pitch: float = 1.5e-3) -> Bolt:
    return Bolt("B", direction, (0.0, 0.0, 0.0), pitch, None, 0.01, True, 1e8)


@pytest.mark.parametrize(
    ("direction", "turns", "words"),
    [
        ((0.0, 1.0, 0.0), 0.1, "raise 150 µm"),
        ((0.0, 1.0, 0.0), -0.1, "lower 150 µm"),
        ((0.0, -1.0, 0.0), 0.1, "lower 150 µm"),
        ((1.0, 0.0, 0.0), 0.02, "to the left 30 µm"),
        ((-1.0, 0.0, 0.0), 0.02, "to the right 30 µm"),
        ((0.0, 0.0, 1.0), -0.02, "upstream 30 µm"),
        ((0.1, 0.99, 0.0), 0.1, "raise 150 µm"),
        ((0.0, 1.0, 0.0), 0.0, "leave"),
    ],
)
def test_a_turn_says_what_the_girder_does(direction: tuple[float, float, float], turns: float, words: str) -> None:
    assert does(bolt(direction), turns) == words


def test_no_turn_goes_nowhere_and_a_turn_is_a_full_dial() -> None:
    assert way_of(bolt((0.0, 1.0, 0.0)), 0.0) == ""
    assert (0.25 * DEGREES, 0.25 * MINUTES) == (90.0, 15.0)


def survey(places: dict[str, Array], carriers: dict[str, str]) -> PointSet:
    names = tuple(places)
    flat = np.concatenate([places[n] for n in names])
    labels = [f"{n}.{k}" for n in names for k in "xyz"]
    estimate = Estimate.of(flat, labels, unit="m", frame="girder", causes={"noise": np.eye(len(flat)) * 1e-12})
    return PointSet(
        "girder", names, estimate, carriers, Rigid("hall", "girder", np.eye(3), np.zeros(3)), (), (), (), {}, 0.0, 0.0, 1.0, 9.0, ()
    )  # fmt: skip


def compared(before: dict[str, Array], after: dict[str, Array], carriers: dict[str, str]) -> tuple[Result, Comparison]:
    found = Comparison("a", "b", STILL, 0.0, 0.0, (), (), (), (), NONE, None, (), "")
    girder = Girder("G", "g", None, (), (), ())
    campaign = Campaign(girder, None, None, LineRule(), (), (), "a", (), {})
    occasions = tuple(
        OccasionFinding(name, None, None, survey(places, carriers), Temperature(None, None))
        for name, places in (("a", before), ("b", after))
    )
    return Result(campaign, occasions, "", Origin("m", "t", "r"), comparisons=(found,)), found


def ladder() -> dict[str, Array]:
    return {f"G{i}{s}": np.array([x, -0.4, float(i - 2)]) for i in range(5) for s, x in (("L", 0.3), ("R", -0.3))}


def test_rigid_motion_and_scale_leave_no_displacement() -> None:
    before = ladder()
    rotation = rotation_from_vector(np.array([1e-3, -2e-3, 5e-4]))
    after = {n: (1.0 + 3e-5) * rotation @ p + np.array([0.1, -0.2, 0.3]) for n, p in before.items()}

    found = displacements(*compared(before, after, dict.fromkeys(before, "girder")))

    # metres: rounding of doubles near 2 m over a rotation, a scale and a fit
    assert max(float(np.abs(d.move).max()) for d in found.values()) < 1e-14


def test_a_sag_is_seen_about_its_best_rigid_motion() -> None:
    # y moves by -40 um (1 - z^2/4) at z = -2..2: heights 0, -30, -40, -30, 0; their mean is -20, their slope 0
    before = ladder()
    after = {n: p + np.array([0.0, -40e-6 * (1.0 - p[2] ** 2 / 4.0), 0.0]) for n, p in before.items()}

    found = displacements(*compared(before, after, dict.fromkeys(before, "girder")))

    told = [1e6 * found[f"G{i}L"].move[1] for i in range(5)]
    # um: a scale of order sag/length squared is fitted too, far below a nanometre here
    assert told == pytest.approx([20.0, -10.0, -20.0, -10.0, 20.0], abs=1e-3)


def test_a_magnets_targets_and_one_that_moved_alone_do_not_bend_the_frame() -> None:
    before = ladder() | {"Q-1": np.array([0.2, 0.3, 0.1])}
    carriers = dict.fromkeys(before, "girder") | {"Q-1": "Q"}
    after = before | {"Q-1": before["Q-1"] + [20e-6, 0.0, 0.0], "G2L": before["G2L"] + [0.0, 90e-6, 0.0]}
    result, found = compared(before, after, carriers)
    alone = TargetMove("G2L", (0.0, 90e-6, 0.0), (5e-6,) * 3, True, "")
    known = replace(found, targets_moved=(alone,))

    seen = displacements(result, known)

    assert 1e6 * seen["Q-1"].move == pytest.approx([20.0, 0.0, 0.0], abs=1e-6)
    assert 1e6 * seen["G2L"].move == pytest.approx([0.0, 90.0, 0.0], abs=1e-6)
    assert 1e6 * seen["G0R"].move == pytest.approx([0.0, 0.0, 0.0], abs=1e-6)
    # without knowing of it, the frame follows the knocked one of ten: up by 90/10 = 9 um, and about z by
    # 0.3 * 90 / (10 * 0.3^2) = 30 urad, 9 um more on its side
    assert 1e6 * displacements(result, found)["G0L"].move[1] == pytest.approx(-18.0, abs=1e-3)


def test_targets_on_one_line_or_on_walls_tell_no_displacement() -> None:
    straight = {f"G{i}": np.array([0.3, -0.4, float(i)]) for i in range(4)}
    assert displacements(*compared(straight, straight, dict.fromkeys(straight, "girder"))) == {}
    walls = ladder()
    assert displacements(*compared(walls, walls, dict.fromkeys(walls, "wall"))) == {}
