"""Scales, ellipses and labels of the drawings, worked out by hand."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from monochord.report.figures.network import two_views
from monochord.report.plot import ELLIPSE_95, Scale, Spot, ellipse, labels, round_steps, span_of, tick_text
from monochord.report.svg import dots, ident, polyline, tag


def attributes(element: str) -> dict[str, str]:
    return dict(re.findall(r'([\w-]+)="([^"]*)"', element))


def test_a_scale_may_run_either_way() -> None:
    up = Scale(-10.0, 10.0, 200.0, 100.0)

    assert [up(v) for v in (-10.0, 0.0, 10.0)] == [200.0, 150.0, 100.0]


@pytest.mark.parametrize(
    ("low", "high", "about", "expected"),
    [
        (0.0, 1.0, 5, [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]),
        (-0.3, 0.31, 3, [-0.2, 0.0, 0.2]),
        (103.9, 104.8, 3, [104.0, 104.5]),
        (-32.0, 32.0, 5, [-30.0, -20.0, -10.0, 0.0, 10.0, 20.0, 30.0]),
    ],
)
def test_ticks_are_round(low: float, high: float, about: int, expected: list[float]) -> None:
    assert round_steps(low, high, about) == expected


def test_ticks_show_the_decimals_of_their_step() -> None:
    assert [tick_text(v, 0.2) for v in (0.0, 0.2)] == ["0.0", "0.2"]
    assert tick_text(0.05, 0.05) == "0.05"
    assert tick_text(200.0, 100.0) == "200"


def test_a_span_is_never_of_no_width() -> None:
    assert span_of([2.0, 2.0]) == (1.0, 3.0)
    assert span_of([math.nan]) == (-1.0, 1.0)


def test_the_ellipse_of_95_percent() -> None:
    # P(chi-square with 2 degrees of freedom < r^2) = 1 - exp(-r^2/2), so r = sqrt(-2 ln 0.05) = 2.4477
    assert pytest.approx(0.95) == 1.0 - math.exp(-(ELLIPSE_95**2) / 2.0)


def test_an_ellipse_lies_along_its_larger_spread() -> None:
    flat = attributes(ellipse(0.0, 0.0, np.diag([4e-12, 1e-12]), 1e6, "spread"))
    # semi-axes 2 um and 1 um at 2.4477 standard deviations, 1 unit per um; printed to 0.01 units
    assert (flat["rx"], flat["ry"]) == ("4.9", "2.45")
    assert math.isclose(float(re.findall(r"rotate\(([-\d.]+)\)", flat["transform"])[0]) % 180.0, 0.0)

    slanted = np.array([[2.5, 1.5], [1.5, 2.5]]) * 1e-12  # along the diagonal that goes right and up
    turn = float(re.findall(r"rotate\(([-\d.]+)\)", attributes(ellipse(0, 0, slanted, 1e6, "spread"))["transform"])[0])
    # y runs down in a drawing: up and right is a turn by -45 degrees
    assert turn % 180.0 == pytest.approx(135.0, abs=0.01)


def test_plan_and_elevation_keep_left_and_up_upward_and_the_beam_to_the_right() -> None:
    corners = [np.array([-1.0, 0.0, -2.0]), np.array([1.0, 0.5, 2.0])]
    plan, side, end = two_views("here", corners, most=400.0)

    for view, step in ((plan, [1.0, 0.0, 0.0]), (side, [0.0, 1.0, 0.0])):
        x, y = view.place(np.zeros(3))
        along, across = view.place(np.array([0.0, 0.0, 1.0])), view.place(np.array(step))
        # a metre is as long in both directions; drawings count y downward
        assert along == pytest.approx((x + view.size, y))
        assert across == pytest.approx((x, y - view.size))
        assert all(view.top <= view.place(c)[1] <= view.top + view.height for c in corners)
    assert plan.top + plan.height < side.top < end


def test_a_view_takes_the_right_part_of_a_covariance() -> None:
    plan, side, _ = two_views("here", [np.zeros(3), np.ones(3)], most=400.0)
    cov = np.array([[1.0, 2.0, 3.0], [2.0, 4.0, 5.0], [3.0, 5.0, 6.0]])

    # rightwards is z, upwards is x from above and y from the side
    assert plan.flat(cov).tolist() == [[6.0, 3.0], [3.0, 1.0]]
    assert side.flat(cov).tolist() == [[6.0, 5.0], [5.0, 4.0]]


def test_unknown_values_break_a_line_and_leave_no_dot() -> None:
    assert attributes(polyline([0, 1, 2], [0, math.nan, 2], "fit"))["d"] == "M0 0M2 2"
    assert attributes(dots([0, 1], [0, math.nan], "dot"))["d"] == "M0 0h0"
    assert dots([math.nan], [0.0], "dot") == ""


def test_labels_do_not_cover_each_other() -> None:
    spots = [Spot(100.0 + 12.0 * i, 50.0, f"QA{i}", 4.0) for i in range(4)]
    drawn = re.findall(r'<text x="([\d.]+)" y="([\d.]+)"[^>]*>(QA\d)<', labels(spots, "name", letter=5.0, height=8.0))

    assert {name for _, _, name in drawn} == {"QA0", "QA1", "QA2", "QA3"}
    places = [(float(x), float(y)) for x, y, _ in drawn]
    apart = [abs(a[0] - b[0]) >= 15.0 or abs(a[1] - b[1]) >= 8.0 for i, a in enumerate(places) for b in places[:i]]
    assert all(apart)


def test_a_label_without_room_is_left_out() -> None:
    crowd = [Spot(100.0 + 3.0 * i, 50.0, f"Q{i}", 4.0) for i in range(9)]

    assert labels(crowd, "name").count("<text") < len(crowd)


def test_names_are_escaped_and_ids_differ() -> None:
    assert tag("g", class_='a"b') == '<g class="a&quot;b"/>'
    assert len({ident(name) for name in ("a b", "a_b", "a-b", "ab", "a.b", "é")}) == 6
    assert re.fullmatch(r"[\w.-]+", ident("Träger <1>", "x"))
