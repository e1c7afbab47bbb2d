"""From the wire's frame to the girder frame, with numbers that can be followed by hand."""

from __future__ import annotations

import numpy as np
import pytest

from monochord.campaign.found.axes import Axis
from monochord.campaign.found.result import WireFinding
from monochord.campaign.given.wire import Wire, WireEnd
from monochord.ground.estimate import Estimate, Label
from monochord.ground.faults import Undetermined
from monochord.wire.place import place_axes

UM = 1e-6
ENDS = (WireEnd("A", (0.04, -0.01, 0.0), 10 * UM, -2.0), WireEnd("B", (0.04, -0.01, 0.0), 10 * UM, 2.0))
WIRE = Wire(-2.0, 4.0, 1e-4, 9.8, -1.9, -1.9, 0.0, 1e-6, 0.0, 0.0, 0.0, ENDS)
UP = np.array([0.0, 1.0, 0.0])


def finding(z: float, values: list[float], sag: float = 200 * UM) -> WireFinding:
    names = [("x", "m"), ("y", "m"), ("slope_x", "rad"), ("slope_y", "rad")]
    labels = tuple(Label(f"Q.{n}", unit, "wire") for n, unit in names)
    axis = Axis("Q", "wire", z, Estimate(np.array(values), labels, {}), 1 * UM, None, None, None, (), ())
    return WireFinding((axis,), 40.0, 40.0, sag, 1e-7, None, None, (), (), ())


def nests(a: list[float], b: list[float], u: float = 3 * UM) -> Estimate:
    names = [f"{n}.{c}" for n in "AB" for c in "xyz"]
    return Estimate.of([*a, *b], names, unit="m", frame="girder", causes={"survey": u**2 * np.eye(6)})


def test_centre_slides_along_the_chord() -> None:
    """Nests such that the chord runs from (0, 0) to (4, 8) mm: a quarter of the way along adds (1, 2) mm."""
    ends = nests([-0.04, 0.01, -2.0], [-0.036, 0.018, 2.0])
    placed = place_axes(finding(-1.0, [10 * UM, 20 * UM, 1e-5, np.nan]), ends, WIRE, "o", UP).axes[0]
    assert placed.frame == "girder"
    assert {label.frame for label in placed.estimate.labels} == {"girder"}
    assert placed.estimate.value[:3] == pytest.approx([1.01e-3, 2.02e-3, 1.01e-3], abs=1e-12)
    assert np.isnan(placed.estimate.value[3])
    assert placed.remanence_x == pytest.approx(1.001e-3, abs=1e-12)
    assert placed.remanence_y is None


def test_vectors_and_survey_stay_apart_as_causes() -> None:
    """At a quarter of the way: 3/4 and 1/4 of 10 um from the vectors, sqrt(10)/4 of 3 um from the survey."""
    ends = nests([-0.04, 0.01, -2.0], [-0.04, 0.01, 2.0])
    estimate = place_axes(finding(-1.0, [0.0, 0.0, 0.0, 0.0]), ends, WIRE, "o", UP).axes[0].estimate
    shares = {cause: v**0.5 for cause, v in estimate.shares("Q.x").items()}
    assert shares == pytest.approx(
        {"nest vector:A": 7.5 * UM, "nest vector:B": 2.5 * UM, "survey": 3 * UM * 10**0.5 / 4}, abs=1e-12
    )
    assert estimate.u[2] == pytest.approx(np.sqrt(2 * (10**2 + 3**2)) / 4 * UM, abs=1e-12)


def test_vectors_cancel_between_occasions() -> None:
    one, two = (
        place_axes(finding(-1.0, [x, 0.0, 0.0, 0.0]), nests([0, 0, -2.0], [0, 0, 2.0]), WIRE, "o", UP).axes[0]
        for x in (0.0, 5 * UM)
    )
    change = two.estimate - one.estimate
    assert change.value[0] == pytest.approx(5 * UM, abs=1e-15)
    assert change.u[0] == pytest.approx(0.0, abs=1e-12)


def test_sag_hangs_along_gravity_and_not_along_the_girder() -> None:
    """The girder rolled by 1 mrad: 200 um of sag at the middle hang 0.2 um sideways."""
    up = np.array([1e-3, np.sqrt(1 - 1e-6), 0.0])
    ends = nests([-0.04, 0.01, -2.0], [-0.04, 0.01, 2.0])
    placed = place_axes(finding(0.0, [0.0, -200 * UM, 0.0, 0.0]), ends, WIRE, "o", up).axes[0]
    assert placed.estimate.value[0] == pytest.approx(-0.2 * UM, abs=1e-12)
    assert placed.estimate.value[1] == pytest.approx(-200 * UM, abs=2e-10)


def test_ends_surveyed_inside_the_supports_lie_on_the_sagging_wire() -> None:
    """Nests at +-1 m of a wire of 4 m: it hangs 3/4 of 200 um there, and the chord lies that much above."""
    inner = tuple(WireEnd(e.nest, e.to_wire, e.u_to_wire, e.z / 2.0) for e in ENDS)
    wire = Wire(-2.0, 4.0, 1e-4, 9.8, -1.9, -1.9, 0.0, 1e-6, 0.0, 0.0, 0.0, inner)
    ends = nests([-0.04, 0.01 - 150 * UM, -1.0], [-0.04, 0.01 - 150 * UM, 1.0])
    placed = place_axes(finding(0.0, [0.0, -200 * UM, 0.0, 0.0]), ends, wire, "o", UP).axes[0]
    assert placed.estimate.value[1] == pytest.approx(-200 * UM, abs=1e-12)


def test_two_ends_are_needed() -> None:
    alone = Wire(-2.0, 4.0, 1e-4, 9.8, -1.9, -1.9, 0.0, 1e-6, 0.0, 0.0, 0.0, ENDS[:1])
    with pytest.raises(Undetermined, match="two surveyed ends"):
        place_axes(finding(0.0, [0.0] * 4), nests([0, 0, -2.0], [0, 0, 2.0]), alone, "o", UP)
    with pytest.raises(Undetermined, match="apart along z"):
        place_axes(finding(0.0, [0.0] * 4), nests([0, 0, -2.0], [0, 0, -1.9]), WIRE, "o", UP)


def test_a_wire_of_another_length_is_noticed() -> None:
    placed = place_axes(finding(0.0, [0.0] * 4), nests([0, 0, -2.0], [0, 0, 2.2]), WIRE, "o", UP)
    gate = placed.gates[-1]
    assert not gate.ok
    assert "4.200 m apart" in gate.message
