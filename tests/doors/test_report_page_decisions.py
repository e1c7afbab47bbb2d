"""Verdict, what changed and bolt plan on the page: numbers of the document, three words, first steps, drawings to scale."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from monochord.campaign.found.result import Result
from monochord.campaign.given.girder import Bolt
from monochord.report.document import result_document
from monochord.report.page import page, style
from monochord.report.svg import ident
from monochord.report.words import MINUS
from tests.doors.test_report_page import Node, contrast, exact, one, parsed, spaced, tables

Document = dict[str, Any]
THREE = ("conforms", "does not conform", "cannot be decided")


@pytest.fixture(scope="module")
def root(invented: Result) -> Node:
    return parsed(page(invented))


@pytest.fixture(scope="module")
def document(invented: Result) -> Document:
    return result_document(invented)


def lines(sheet: Node) -> list[list[Node]]:
    """Rows of a table, every row with all its cells."""
    return [[c for c in row.children if isinstance(c, Node)] for row in one(sheet, "tbody").all("tr")]


def picture(root: Node, name: str) -> Node:
    return next(p for p in root.all("svg") if p.attributes["aria-labelledby"].startswith(f"{name}-title"))


def words_of(drawing: Node) -> list[str]:
    return [t.text for t in drawing.all("text")]


def chapter(root: Node, name: str) -> Node:
    return next(s for s in root.all("section") if s.attributes["id"] == name)


def test_verdicts_stand_right_after_the_sentence(root: Node) -> None:
    headings = [h.text for h in root.all("h2")]

    assert headings[:3] == ["Verdict", "What changed", "Bolt plan"]
    assert next(h.text for h in chapter(root, "verdict").all("h3")) == "Line limit, 3-restored"  # the latest occasion


@pytest.mark.parametrize(
    ("family", "keys"), [("line", ("x", "y")), ("own-move", ("own_move_x", "own_move_y")), ("roll", ("roll",))]
)
def test_verdicts_are_those_of_the_document(root: Node, document: Document, family: str, keys: tuple[str, ...]) -> None:
    told = lines(tables(root)[ident("table-verdicts", "3-restored", family)])
    expected = [(m, k, q[k]) for m, q in document["verdicts"]["3-restored"].items() for k in keys if k in q]

    assert len(told) == len(expected)
    for cells, (magnet, _, part) in zip(told, expected, strict=True):
        assert cells[0].text == magnet
        assert [exact(c) for c in cells[2:6]] == [part["offset"], part["limit"], part["guard"], part["probability"]]
        assert cells[6].text == part["verdict"]


def test_all_three_words_are_said(root: Node, document: Document) -> None:
    told = spaced(chapter(root, "verdict").text)

    assert all(word in told for word in THREE)
    assert "9 of 10 conform; 1 does not conform (SA2 own move x)." in told
    assert "8 of 10 conform; 2 cannot be decided (QB1 y and SA2 y)." in told
    said = [w for p in chapter(root, "verdict").all("svg") for w in words_of(p) if w in THREE]
    assert len(said) == sum(len(q) for o in document["verdicts"].values() for q in o.values())


def test_what_cannot_be_known_says_why_and_draws_no_bar(root: Node) -> None:
    sheet = tables(root)[ident("table-verdicts", "3-restored", "roll")]
    drawing = picture(root, ident("verdicts", "3-restored", "roll"))

    assert "SA1 roll, SA2 roll (needs scans in both planes in one mode)" in spaced(sheet.text)
    assert len([c for c in drawing.all("circle") if c.attributes["class"] == "centre"]) == 3
    assert words_of(drawing).count("not known") == 4  # the value and its share, for two magnets


def test_bars_zones_and_limits_of_verdicts_are_to_scale(root: Node, document: Document) -> None:
    drawing = picture(root, ident("verdicts", "1-bench", "line"))
    parts = [q[k] for q in document["verdicts"]["1-bench"].values() for k in "xy"]
    zero = float(
        next(
            re.findall(r"M([\d.]+)", n.attributes["d"])[0]
            for n in drawing.all("path")
            if n.attributes["class"] == "zero"
        )
    )
    limits = [
        float(re.findall(r"M([\d.]+)", n.attributes["d"])[0])
        for n in drawing.all("path")
        if n.attributes["class"] == "limit"
    ]
    size = (limits[1] - zero) / 30.0  # drawing units per µm; left limit, right limit, row by row
    dots = [float(c.attributes["cx"]) for c in drawing.all("circle") if c.attributes["class"] == "centre"]
    bars = [
        [float(v) for v in re.findall(r"M([\d.]+) [\d.]+H([\d.]+)", n.attributes["d"])[0]]
        for n in drawing.all("path")
        if n.attributes["class"] == "interval"
    ]
    inner = [float(n.attributes["width"]) for n in drawing.all("rect") if n.attributes["class"] == "conforms-zone"]

    assert size > 1.0
    for i, part in enumerate(parts):
        # drawn with two decimals: half of the last, for the zero line, the limit and the mark
        assert dots[i] - zero == pytest.approx(1e6 * part["offset"] * size, abs=0.02)
        assert bars[i][1] - bars[i][0] == pytest.approx(2 * 1.96e6 * part["u"] * size, abs=0.02)
        assert inner[i] == pytest.approx(2e6 * (part["limit"] - part["guard"]) * size, abs=0.02)


def test_a_rule_without_a_guard_band_draws_none_and_says_so(invented: Result) -> None:
    bare = tuple(replace(v, guard=float("nan")) for v in invented.verdicts)
    root = parsed(page(replace(invented, verdicts=bare)))

    drawing = picture(root, ident("verdicts", "1-bench", "line"))
    assert not [n for n in drawing.all("rect") if n.attributes["class"] == "guard-zone"]
    assert "the width of the guard band was not told" in spaced(chapter(root, "verdict").text)


def test_the_two_limits_are_explained_with_leverage(invented: Result, root: Node, document: Document) -> None:
    line = invented.occasions[-1].line
    assert line is not None
    told = lines(tables(root)[ident("table-two-limits", "3-restored")])

    assert len(told) == 10
    for cells in told:
        magnet, plane = cells[0].text, cells[1].text
        part = document["verdicts"]["3-restored"][magnet]
        leverage = document["occasions"]["3-restored"]["line"]["leverage"][magnet]
        move = part[f"own_move_{plane}"]["offset"]
        assert exact(cells[2]) == leverage
        assert exact(cells[3]) == move
        assert exact(cells[4]) == pytest.approx((1.0 - leverage) * move, rel=1e-12)
        assert exact(cells[5]) == part[plane]["offset"]
        assert [c.text for c in cells[6:]] == [part[f"own_move_{plane}"]["verdict"], part[plane]["verdict"]]
    assert "(1 − leverage) m" in spaced(chapter(root, "verdict").text)


def test_a_line_that_follows_no_magnet_is_explained_otherwise(invented: Result) -> None:
    last = invented.occasions[-1]
    assert last.line is not None
    stiff = replace(last, line=replace(last.line, leverage=dict.fromkeys(last.line.leverage, 0.0)))
    root = parsed(page(replace(invented, occasions=(*invented.occasions[:-1], stiff))))

    told = spaced(chapter(root, "verdict").text)
    assert "it follows no magnet (leverage 0)" in told
    assert "(1 − leverage) m" not in told


def test_own_moves_are_those_of_the_document(root: Node, document: Document) -> None:
    for part in document["comparisons"]:
        pair = (part["from"], part["to"])
        told = lines(tables(root)[ident("table-own-moves", *pair)])
        alone, every = part["own_moves_from_targets"], part["own_moves"]
        for cells in told:
            m = cells[0].text
            expected = [alone[m]["dx"], every[m]["dx"], alone[m]["dy"], every[m]["dy"]]
            assert [exact(c) for c in cells[1:5]] == expected
            for cell, q in zip(cells[5:], ("dx", "dy"), strict=True):
                low, high = every[m]["interval_95"][q]
                ends = [float(text.replace("−", "-")) for text in cell.text.split(" to ")]
                # printed to a tenth of a micrometre
                assert ends == pytest.approx([1e6 * low, 1e6 * high], abs=0.051)
                assert low < every[m][q] < high
        six = lines(tables(root)[ident("table-six", *pair)])
        for cells in six:
            move = (every if cells[7].text == every[cells[0].text]["evidence"] else alone)[cells[0].text]
            assert [exact(c) for c in cells[1:7]] == [move[q] for q in ("dx", "dy", "dz", "rx", "ry", "rz")]
        said = {cells[0].text: cells[1].text for cells in lines(tables(root)[ident("table-said", *pair)])}
        words = {True: "moved", False: "did not move", "cannot be told apart": "cannot be told apart"}
        assert said == {m: words[o["found"]] for m, o in every.items()}


def test_one_evidence_is_not_told_twice(root: Node) -> None:
    assert len(lines(tables(root)[ident("table-six", "1-bench", "2-arrived")])) == 5
    assert len(lines(tables(root)[ident("table-six", "1-bench", "3-restored")])) == 10


def test_shape_targets_and_closure_are_those_of_the_document(root: Node, document: Document) -> None:
    part = document["comparisons"][1]
    pair = (part["from"], part["to"])
    shape = {c[0].text: c for c in lines(tables(root)[ident("table-shape", *pair)])}

    assert {cause: exact(c[1]) for cause, c in shape.items()} == {k: v["size"] for k, v in part["shape"].items()}
    assert spaced(shape["twist"][1].text).endswith("µrad")
    moved = lines(tables(root)[ident("table-targets-moved", *pair)])
    assert [[exact(c) for c in cells[1:4]] for cells in moved] == [
        [t[k] for k in "xyz"] for t in part["targets_moved"].values()
    ]
    closed = lines(tables(root)[ident("table-closure", *pair)])
    assert [[exact(c) for c in cells[1:]] for cells in closed] == [
        [o["x"], o["y"]] for o in part["closure"]["offsets"].values()
    ]
    assert "Chi-square 7.3 with 6 degrees of freedom" in spaced(tables(root)[ident("table-closure", *pair)].text)
    assert "not both known" in tables(root)[ident("table-closure", "1-bench", "2-arrived")].text


def test_a_stretch_is_told_per_metre(invented: Result) -> None:
    found = invented.comparisons[0]
    grown = replace(found, shape=(replace(found.shape[0], cause="stretch", size=3.7e-6, u=0.8e-6, unit="1"),))
    root = parsed(page(replace(invented, comparisons=(grown,))))

    cells = lines(tables(root)[ident("table-shape", "1-bench", "2-arrived")])[0]
    assert spaced(cells[1].text) == "+3.70 ± 0.80 µm/m"
    assert exact(cells[1]) == 3.7e-6


def test_own_moves_are_drawn_to_the_scale_of_their_bar(root: Node, document: Document) -> None:
    drawing = picture(root, ident("shape", "1-bench", "3-restored"))
    bar = next(
        n.attributes["d"] for n in drawing.all("path") if n.attributes["class"] == "bar" and "V" in n.attributes["d"]
    )
    low, high = (float(v) for v in re.findall(r"M[\d.]+ ([\d.]+)V([\d.]+)", bar)[0])
    microns = float(next(re.findall(r"([\d.]+) µm of a move", w)[0] for w in words_of(drawing) if "of a move" in w))
    size = (low - high) / microns
    moves = document["comparisons"][1]["own_moves"]
    middles = [c for c in drawing.all("circle") if c.attributes["class"] == "centre"]
    bars = [
        [float(v) for v in re.findall(r"M[\d.]+ ([\d.]+)V([\d.]+)", n.attributes["d"])[0]]
        for n in drawing.all("path")
        if n.attributes["class"] == "interval"
    ]

    assert len(middles) == len(bars) == 10
    for i, (middle, (start, end)) in enumerate(zip(middles, bars, strict=True)):
        move = list(moves.values())[i % 5]
        key = ("dx", "dy")[i // 5]
        # left and up are upward; the bar is rounded to a tenth of a unit
        shift = float(middle.attributes["cy"]) - (start + end) / 2
        assert shift == pytest.approx(1e6 * move[key] * size, abs=0.1)
        u = np.sqrt(move["cov"][i // 5][i // 5])
        assert abs(start - end) == pytest.approx(2 * 1.96e6 * u * size, abs=0.1)
    assert words_of(drawing).count("moved by itself") == 2
    assert words_of(drawing).count("cannot be told apart") == 2
    assert f"G3L by itself {MINUS}55 µm" in words_of(drawing)


def test_without_surveys_own_moves_are_still_drawn(invented: Result) -> None:
    blind = tuple(replace(o, points=None) for o in invented.occasions)
    root = parsed(page(replace(invented, occasions=blind)))

    drawing = picture(root, ident("shape", "1-bench", "3-restored"))
    assert len([c for c in drawing.all("circle") if c.attributes["class"] == "centre"]) == 10
    assert not [c for c in drawing.all("circle") if c.attributes["class"] == "target"]


def test_turns_are_those_of_the_document_in_turns_degrees_and_minutes(root: Node, document: Document) -> None:
    for plan in document["plans"]:
        told = lines(tables(root)[ident("table-turns", plan["at"])])
        assert [c[0].text for c in told] == list(plan["turns"])
        for cells in told:
            turns = plan["turns"][cells[0].text]
            assert [exact(c) for c in cells[1:4]] == [turns] * 3
            assert exact(cells[4]) == pytest.approx(turns * 1.5e-3, rel=1e-12)  # 1.5 mm a turn
            assert spaced(cells[5].text) == plan["sense"][cells[0].text].replace(" um ", " µm ")
    row = {c[0].text: [spaced(x.text) for x in c] for c in lines(tables(root)[ident("table-turns", "2-arrived")])}
    assert row["V2R"][1:5] == ["+0.1667", "+60", "+10.0", "+250"]


def test_loads_offsets_and_the_cure_are_those_of_the_document(root: Node, document: Document) -> None:
    for plan in document["plans"]:
        for cells in lines(tables(root)[ident("table-loads", plan["at"])]):
            name = cells[0].text
            assert [exact(c) for c in cells[2:4]] == [plan["loads_before"][name], plan["loads_after"][name]]
        for kind, keys in (
            ("plan-offsets", ("offsets_before", "offsets_after")),
            ("departures", ("shape_before", "shape_after")),
        ):
            for cells in lines(tables(root)[ident(f"table-{kind}", plan["at"])]):
                expected = [plan[key][cells[0].text][q] for q in "xy" for key in keys]
                assert [exact(c) for c in cells[1:]] == expected
        cure = [exact(c[1]) for c in lines(tables(root)[ident("table-cure", plan["at"])])]
        assert cure[:4] == [plan[k] for k in ("left_before", "left_after", "left_after_95", "curable_share")]
    first = [exact(c[1]) for c in lines(tables(root)[ident("table-cure", "2-arrived")])]
    assert first[4] == pytest.approx(0.17, abs=1e-12)  # what no bolt cures


def boxes(part: Node, tone: str) -> list[Node]:
    return [b for b in part.all("div") if b.attributes.get("class") == f"box {tone}"]


def test_first_steps_stand_in_a_box_in_their_order(invented: Result, root: Node) -> None:
    framed = boxes(chapter(root, "bolts"), "first")

    assert [one(b, "p").text for b in framed] == ["Turn nothing", "FIRST, before any turn"]  # the latest plan first
    steps = [spaced(li.text) for li in one(framed[1], "ol").all("li")]
    assert steps == list(invented.plans[0].first)


def test_cautions_are_said_once_and_hold_the_advice(invented: Result, root: Node) -> None:
    care = [b for b in boxes(chapter(root, "bolts"), "care") if one(b, "p").text == "Keep in mind"]
    assert len(care) == 1
    said = spaced(care[0].text)
    for word in ("Lifting", "Unloading feet", "One-sided feet", "Energised magnets", "Laser", "licensed people decide"):
        assert word in said
    assert "Turn in passes of at most 50 µm per bolt" in said


def test_a_plan_of_the_past_says_so_and_the_latest_does_not(invented: Result, root: Node) -> None:
    past = [b for b in boxes(chapter(root, "bolts"), "care") if "past" in one(b, "p").text]
    assert len(past) == 1
    assert "After 2-arrived came 3-restored" in spaced(past[0].text)

    now = replace(invented, occasions=invented.occasions[:2], plans=invented.plans[:1])
    assert not [b for b in boxes(chapter(parsed(page(now)), "bolts"), "care") if "past" in one(b, "p").text]


def test_every_foot_has_its_card_with_state_loads_and_turn(invented: Result, root: Node) -> None:
    drawing = picture(root, ident("bolts", "2-arrived"))
    words = words_of(drawing)

    assert all(words.count(b.name) == 1 for b in invented.campaign.girder.bolts)
    assert words.count("loose") == words.count("bring to touch first") == 2
    assert {"tight", "touching", "not felt"} <= set(words)
    assert words.count("leave") == 3
    for part in ("raise", "lower", "to the left", "250 µm", "60° = 10.0 min"):
        assert part in words
    nothing = words_of(picture(root, ident("bolts", "3-restored")))
    assert nothing.count("leave") == len(invented.campaign.girder.bolts)


def test_bars_of_loads_are_to_scale(root: Node, document: Document) -> None:
    drawing = picture(root, ident("bolts", "2-arrived"))
    plan = document["plans"][0]
    names = [t.text for t in drawing.all("text") if t.text in plan["turns"]]
    for class_, key in (("load-now", "loads_before"), ("load-then", "loads_after")):
        wide = [float(n.attributes["width"]) for n in drawing.all("rect") if n.attributes["class"] == class_]
        loads = [abs(plan[key][n]) for n in names]
        for got, load in zip(wide, loads, strict=True):
            # the largest load of either kind fills the bar; a hair is drawn for nothing; two decimals
            assert got == pytest.approx(max(0.55 * 74.0 * load / 9400.0, 0.8), abs=0.006)


def test_a_felt_foot_that_bears_nothing_says_both(invented: Result) -> None:
    plan = replace(invented.plans[0], loose=("V1L", "V4R"))
    words = words_of(picture(parsed(page(replace(invented, plans=(plan,)))), ident("bolts", "2-arrived")))

    assert "felt tight" in words
    assert "bears nothing" in words
    assert "loose by the model" in words


@pytest.mark.parametrize("count", [1, 9, 20])
def test_cards_never_leave_the_drawing_nor_each_other(invented: Result, count: int) -> None:
    bolts = tuple(
        Bolt(f"B{i}", (0.0, 1.0, 0.0), (0.3, -0.9, 0.2 * i), 1e-3, None, 0.01, True, 1e8) for i in range(count)
    )
    plan = replace(invented.plans[0], turns={b.name: 0.01 for b in bolts}, loads_before={}, loads_after={}, loose=())
    girder = replace(invented.campaign.girder, bolts=bolts)
    result = replace(invented, campaign=replace(invented.campaign, girder=girder), plans=(plan,))
    drawing = picture(parsed(page(result)), ident("bolts", "2-arrived"))

    areas = [
        tuple(float(n.attributes[k]) for k in ("x", "y", "width", "height"))
        for n in drawing.all("rect")
        if n.attributes["class"] == "card"
    ]
    assert len(areas) == count
    height = float(drawing.attributes["viewbox"].split()[3])
    for i, (x, y, wide, high) in enumerate(areas):
        assert x >= 0.0
        assert x + wide <= 760.0
        assert y + high <= height
        for a, b, w, h in areas[:i]:
            assert x >= a + w or a >= x + wide or y >= b + h or b >= y + high


def test_before_and_after_are_drawn_at_their_offsets(root: Node, document: Document) -> None:
    drawing = picture(root, ident("before-after", "2-arrived"))
    plan = document["plans"][0]
    zeros = [
        float(re.findall(r" ([\d.]+)L", n.attributes["d"])[0])
        for n in drawing.all("path")
        if n.attributes["class"] == "zero"
    ]
    limits = [
        float(re.findall(r" ([\d.]+)L", n.attributes["d"])[0])
        for n in drawing.all("path")
        if n.attributes["class"] == "limit"
    ]
    for class_, key in (("before", "offsets_before"), ("after", "offsets_after")):
        dots = [float(c.attributes["cy"]) for c in drawing.all("circle") if c.attributes["class"] == class_]
        known = [m for m, o in plan[key].items() if o["x"] is not None]
        assert len(dots) == 2 * len(known) == 8
        for k, q in enumerate("xy"):
            size = (zeros[k] - limits[2 * k]) / 30.0
            for i, magnet in enumerate(known):
                # drawn with two decimals: half of the last, for zero line, limit and dot
                assert dots[4 * k + i] == pytest.approx(zeros[k] - 1e6 * plan[key][magnet][q] * size, abs=0.03)
    assert words_of(drawing).count("not known") == 6  # SA1: two numbers and one note in each view


def test_where_numbers_come_from_is_told(root: Node) -> None:
    told = {c[0].text: [spaced(x.text) for x in c[1:]] for c in lines(tables(root)["table-origins"])}

    assert told["offsets, 3-restored"][0] == "wire"
    assert told["offsets, 3-restored"][2].startswith("reading noise 1.")
    assert told["own moves and shape, 1-bench to 3-restored"][0] == "wire and targets; for comparison targets"
    assert "whole smallest steps" in told["turns and loads, 2-arrived"][1]


def test_without_decisions_the_chapters_say_so(invented: Result) -> None:
    bare = replace(invented, comparisons=(), plans=(), verdicts=())
    told = spaced(one(parsed(page(bare)), "main").text)

    assert "Nothing was judged: no occasion gave a value that a limit is declared for." in told
    assert "No two occasions were compared." in told
    assert "No bolt plan was made." in told


def test_words_of_rooms_are_printed_with_true_signs(invented: Result) -> None:
    found = replace(invented.comparisons[0], sentence="the girder sagged 42 +- 4 um and twisted +35 +- 11 urad.")
    told = spaced(chapter(parsed(page(replace(invented, comparisons=(found,)))), "changes").text)

    assert "the girder sagged 42 ± 4 µm and twisted +35 ± 11 µrad." in told


def test_names_cannot_break_the_new_chapters(invented: Result) -> None:
    evil = '<script>alert("1")</script> & "Q\'1'
    plan = replace(invented.plans[0], first=(evil,), sentence=evil, senses={"V1L": evil}, cautions=(evil,))
    found = replace(invented.comparisons[0], sentence=evil)
    said = replace(invented.verdicts[0], magnet=evil, rule=evil, evidence=evil)
    root = parsed(page(replace(invented, plans=(plan,), comparisons=(found,), verdicts=(said,))))

    assert not list(root.all("script"))
    assert any(evil in t.text for t in root.all("text"))


def test_boxes_stand_out_by_more_than_colour_and_can_be_read() -> None:
    rule = re.findall(r"\.box\.first \{([^}]*)\}", style())[0]
    ground = re.findall(r"background: (#[0-9a-f]{6})", rule)[0]

    assert "border: 4px solid #1b2430" in rule
    assert contrast("#1b2430", ground) >= 7.0  # WCAG 2.2, 1.4.6, the stricter limit for text (from memory)
    zone = re.findall(r"\.conforms-zone \{ fill: (#[0-9a-f]{6})", style())[0]
    assert contrast("#1b2430", zone) >= 4.5
