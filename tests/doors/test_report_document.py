"""The result document: strict, complete, true to the nouns, and held to its schema."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from monochord.campaign.found.result import OccasionFinding, Result, Temperature
from monochord.ground.estimate import Estimate
from monochord.report.document import document_text, result_document
from monochord.report.schema import document_faults, result_schema

Document = dict[str, Any]


@pytest.fixture(scope="module")
def document(invented: Result) -> Document:
    return result_document(invented)


def objects(value: object, path: str = "") -> Iterator[tuple[str, dict[str, object]]]:
    """Every object of a document with its path."""
    if isinstance(value, dict):
        yield path, value
    children = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, child in children:
        yield from objects(child, f"{path}.{key}")


def test_the_document_fits_its_schema(document: Document) -> None:
    assert document_faults(document) == ()


def test_the_schema_is_a_schema_and_describes_everything() -> None:
    from jsonschema import Draft202012Validator

    schema: Any = result_schema()
    Draft202012Validator.check_schema(schema)
    silent = [
        f"{name}.{key}"
        for name, part in {"": schema, **schema["$defs"]}.items()
        for key, rule in part.get("properties", {}).items()
        if "description" not in rule and "$ref" not in rule and "oneOf" not in rule
    ]
    assert silent == []


def test_every_number_of_the_schema_has_its_unit() -> None:
    schema: Any = result_schema()
    bare = [
        path
        for path, rule in objects(schema)
        if rule.get("type") in ("number", ["number", "null"])
        and "description" in rule
        and "[" not in str(rule["description"])
        and not path.endswith(".size")  # its unit stands in the key beside it
    ]
    assert bare == []


def test_the_text_is_strict_and_gives_the_document_back(document: Document) -> None:
    text = document_text(document)

    assert json.loads(text, parse_constant=pytest.fail) == document
    assert text.isprintable() or set(text) - {"\n"} == {c for c in text if c.isprintable()}


def test_the_same_result_gives_the_same_text(invented: Result, document: Document) -> None:
    assert document_text(result_document(invented)) == document_text(document)


def test_the_order_of_keys_is_the_promised_one(document: Document) -> None:
    promised = ["schema", "girder", "versions", "inputs", "settings", "occasions", "comparisons", "plans", "verdicts"]
    promised += ["moves", "sentence"]

    assert [key for key in document if key in promised] == promised
    assert document["schema"] == "monochord-result/1"
    assert list(document["occasions"]) == ["1-bench", "2-arrived", "3-restored"]


def test_every_null_has_its_reason_beside_it(document: Document) -> None:
    nulls = [(path, part, key) for path, part in objects(document) for key, value in part.items() if value is None]

    assert len(nulls) > 20  # slopes, rolls, remanence, feet, temperatures, a whole occasion without a wire
    for path, part, key in nulls:
        reasons = part.get("reasons")
        assert isinstance(reasons, dict), path
        assert reasons[key] not in ("", "no reason was given"), f"{path}.{key}"


def test_parts_that_are_empty_say_why(document: Document) -> None:
    arrived = document["occasions"]["2-arrived"]

    assert arrived["axes"] == {}
    assert arrived["reasons"]["axes"] == "no wire was strung on this occasion"
    assert arrived["line"]["offsets"] == {}
    assert arrived["line"]["reasons"]["offsets"] == "without axes there is no line"
    assert document["reasons"]["moves.2-arrived"]


def test_axes_are_those_of_the_nouns(invented: Result, document: Document) -> None:
    wire = invented.occasions[0].wire
    assert wire is not None
    for axis in wire.axes:
        part = document["occasions"]["1-bench"]["axes"][axis.magnet]
        labels = part["labels"]
        known = [q for q in ("x", "y", "slope_x", "slope_y") if part[q] is not None]
        assert labels == known
        assert [part[q] for q in labels] == [
            axis.estimate.value[axis.estimate.index(f"{axis.magnet}.{q}")] for q in labels
        ]
        rows = [axis.estimate.index(f"{axis.magnet}.{q}") for q in labels]
        np.testing.assert_array_equal(np.array(part["cov"], float), axis.estimate.cov[np.ix_(rows, rows)])
        assert part["z"] == axis.z
        assert [c["cause"] for c in part["corrections"]] == [c.cause for c in axis.corrections]


def test_an_unknown_slope_is_null_and_left_out_of_the_covariance(document: Document) -> None:
    part = document["occasions"]["1-bench"]["axes"]["SA1"]

    assert part["slope_y"] is None
    assert part["reasons"]["slope_y"] == "scanned in one mode only"
    assert part["labels"] == ["x", "y", "slope_x"]
    assert np.array(part["cov"], float).shape == (3, 3)


def test_a_magnet_without_an_axis_is_told(invented: Result) -> None:
    bench = invented.occasions[0]
    assert bench.wire is not None
    less = replace(bench.wire, axes=tuple(a for a in bench.wire.axes if a.magnet != "QB1"))
    changed = replace(bench, wire=less, lacks={"QB1": "its coil was open"})
    document: Document = result_document(replace(invented, occasions=(changed,)))

    part = document["occasions"]["1-bench"]["axes"]["QB1"]
    assert part["x"] is None
    assert part["reasons"]["x"] == "its coil was open"
    assert document_faults(document) == ()


def test_offsets_and_causes_add_up(invented: Result, document: Document) -> None:
    for found in invented.occasions:
        if found.line is None:
            continue
        for magnet, part in document["occasions"][found.name]["line"]["offsets"].items():
            i = found.line.offsets.index(f"{magnet}.x")
            assert part["x"] == found.line.offsets.value[i]
            assert part["u_x"] == pytest.approx(float(found.line.offsets.u[i]), rel=1e-12)
            # independent causes: their squares sum to the variance
            assert sum(c["u_y"] ** 2 for c in part["causes"]) == pytest.approx(part["u_y"] ** 2, rel=1e-12)


def test_targets_have_a_place_or_a_reason(invented: Result, document: Document) -> None:
    targets = document["occasions"]["1-bench"]["targets"]

    assert {t.name for t in invented.campaign.girder.targets} <= set(targets)
    assert targets["G6R"]["xyz"] is None
    assert targets["G6R"]["reasons"]["xyz"].startswith("seen from one station")
    points = invented.occasions[0].points
    assert points is not None
    i = points.estimate.index("SA2-3.x")
    assert targets["SA2-3"]["xyz"] == points.estimate.value[i : i + 3].tolist()
    np.testing.assert_array_equal(np.array(targets["SA2-3"]["cov"]), points.estimate.cov[i : i + 3, i : i + 3])
    assert targets["N1"]["carrier"] == "wall"


def test_points_kept_in_the_hall_are_told_in_the_girder_frame(invented: Result) -> None:
    bench = invented.occasions[0]
    points = bench.points
    assert points is not None
    back = points.pose.inverse()
    turn: np.ndarray[Any, np.dtype[np.float64]] = np.kron(np.eye(len(points.names)), back.rotation).astype(np.float64)
    hall = back.apply(points.estimate.value.reshape(-1, 3)).reshape(-1)
    moved = points.estimate.through(turn, points.estimate.labels, value=hall)
    there = replace(bench, points=replace(points, frame="hall", estimate=moved))
    document: Document = result_document(replace(invented, occasions=(there,)))
    expected: Document = result_document(replace(invented, occasions=(bench,)))

    for name, part in document["occasions"]["1-bench"]["targets"].items():
        wanted = expected["occasions"]["1-bench"]["targets"][name]
        if wanted["xyz"] is not None:
            # metres: rounding of doubles near 5 m over two rotations
            np.testing.assert_allclose(part["xyz"], wanted["xyz"], rtol=0, atol=1e-14)
            np.testing.assert_allclose(part["cov"], wanted["cov"], rtol=0, atol=1e-22)


def test_feet_are_told_for_every_bolt(invented: Result, document: Document) -> None:
    feet = document["occasions"]["2-arrived"]["feet"]

    assert list(feet) == [bolt.name for bolt in invented.campaign.girder.bolts]
    assert feet["V4R"]["state"] is None
    assert feet["V4R"]["reasons"]["state"] == "nobody noted this foot on this occasion"
    assert feet["V1R"] == {"state": "touching", "load": 8300.0, "u_load": 500.0}


def test_moves_and_origin_are_told(invented: Result, document: Document) -> None:
    for found in invented.occasions:
        for move in found.moves:
            told = document["moves"][found.name][move.magnet]
            assert told == {"x": move.x, "y": move.y, "u_x": move.u_x, "u_y": move.u_y, "words": move.words}
    assert {i["path"] for i in document["inputs"]} == {
        "girder/magnets.csv",
        "1-bench/tracker.csv",
        "2-arrived/tracker.csv",
        "3-restored/tracker.csv",
    }
    assert document["settings"] == {"background": "subtracted scan by scan", "temperature.2-arrived": "20.9 degC"}
    assert document["notes"][0]["place"] == "3-restored/tracker.csv, line 40"
    assert document["run"] == {"id": "run-0007", "made_at": "2026-07-14T09:30:00Z"}


def test_numbers_that_are_not_finite_become_null(invented: Result) -> None:
    bench = invented.occasions[0]
    assert bench.wire is not None
    assert bench.points is not None
    blind = replace(bench.wire, f1_y=float("nan"), sensor_turn=None, u_sensor_turn=None)
    points = replace(bench.points, variance_factor=float("nan"), dof=0.0)
    document: Document = result_document(replace(invented, occasions=(replace(bench, wire=blind, points=points),)))

    part = document["occasions"]["1-bench"]
    assert part["wire"]["f1_y"] is None
    assert part["wire"]["reasons"]["sensor_turn"]
    assert part["survey"]["variance_factor"] is None
    assert document_faults(document) == ()
    assert document_text(document)


def test_an_occasion_with_nothing_is_told_in_full(invented: Result) -> None:
    bare = OccasionFinding("0-nothing", None, None, None, Temperature(None, None), lacks={"wire": "not done"})
    document: Document = result_document(replace(invented, occasions=(bare,), sentence="Nothing was measured."))

    assert document_faults(document) == ()
    assert set(document["occasions"]["0-nothing"]["reasons"]) >= {"axes", "targets", "rejected", "survey", "wire"}


def test_a_line_through_some_magnets_only(invented: Result) -> None:
    bench = invented.occasions[0]
    assert bench.line is not None
    names = [n for n in bench.line.offsets.names if not n.startswith("SA2")]
    less: Estimate = bench.line.offsets.pick(names)
    changed = replace(bench, line=replace(bench.line, offsets=less))
    document: Document = result_document(replace(invented, occasions=(changed,)))

    part = document["occasions"]["1-bench"]["line"]["offsets"]["SA2"]
    assert part["x"] is part["u_y"] is None
    assert part["reasons"]["x"] == "this magnet's centre is not part of the common line"
    assert document_faults(document) == ()


def _without_reasons(d: Document) -> None:
    del d["occasions"]["1-bench"]["axes"]["SA1"]["reasons"]


def _number_as_text(d: Document) -> None:
    d["occasions"]["1-bench"]["axes"]["QA1"]["x"] = "0.1"


def _other_schema(d: Document) -> None:
    d["schema"] = "monochord-result/0"


def _misspelt(d: Document) -> None:
    axis = d["occasions"]["1-bench"]["axes"]["QA1"]
    axis["slopex"] = axis.pop("slope_x")


def _negative_u(d: Document) -> None:
    d["occasions"]["1-bench"]["line"]["offsets"]["QA1"]["u_x"] = -1e-6


def _foot_unknown_word(d: Document) -> None:
    d["occasions"]["2-arrived"]["feet"]["V1L"]["state"] = "wobbly"


def _short_digest(d: Document) -> None:
    d["inputs"][0]["sha256"] = "abc"


def _flat_target(d: Document) -> None:
    d["occasions"]["1-bench"]["targets"]["G1L"]["xyz"] = [0.0, 1.0]


def _no_sentence(d: Document) -> None:
    del d["sentence"]


def _null_target(d: Document) -> None:
    d["occasions"]["1-bench"]["targets"]["G1L"]["xyz"] = None


@pytest.mark.parametrize(
    ("spoil", "place"),
    [
        (_without_reasons, "occasions.1-bench.axes.SA1"),
        (_number_as_text, "occasions.1-bench.axes.QA1.x"),
        (_other_schema, "schema"),
        (_misspelt, "occasions.1-bench.axes.QA1"),
        (_negative_u, "occasions.1-bench.line.offsets.QA1.u_x"),
        (_foot_unknown_word, "occasions.2-arrived.feet.V1L.state"),
        (_short_digest, "inputs.0.sha256"),
        (_flat_target, "occasions.1-bench.targets.G1L.xyz"),
        (_no_sentence, None),
        (_null_target, "occasions.1-bench.targets.G1L"),
    ],
)
def test_a_broken_document_is_found_at_its_place(
    document: Document, spoil: Callable[[Document], None], place: str | None
) -> None:
    broken = copy.deepcopy(document)
    spoil(broken)

    faults = document_faults(broken)

    assert faults
    assert {fault.column for fault in faults} == {place}
