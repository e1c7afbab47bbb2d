"""The command that tells why: what it prints adds up, what it writes is whole, and what it does not know it refuses."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from decimal import Decimal
from importlib import resources
from pathlib import Path

import pytest
from click.testing import CliRunner

from monochord.campaign.found.result import Result
from monochord.cli.main import main
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.ground.faults import Refused
from monochord.ground.trace import Line, Sum, root_of_sum
from monochord.job import demo
from monochord.job.context import Context
from monochord.job.evaluate import evaluate
from monochord.job.why.command import Wanted, judged_last, unfolded
from monochord.job.why.explain import explain, explainer
from monochord.job.why.shorthand import full_name
from monochord.report.why.document import chain_document, prov_document
from monochord.report.why.numbers import shown
from monochord.report.why.page import why_page
from monochord.report.why.text import why_text
from monochord.simulate.demo import demo_campaign

#: Relations of PROV that are written, and the ends of each: keys of a record -> kind of thing it names.
ENDS = {
    "wasGeneratedBy": {"prov:entity": "entity", "prov:activity": "activity"},
    "used": {"prov:activity": "activity", "prov:entity": "entity"},
    "wasDerivedFrom": {"prov:generatedEntity": "entity", "prov:usedEntity": "entity", "prov:activity": "activity"},
    "wasAssociatedWith": {"prov:activity": "activity", "prov:agent": "agent"},
}


@pytest.fixture(scope="module")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("why")
    for path, text in demo_campaign(1).texts.items():
        (folder / "handed" / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / "handed" / path).write_text(text, encoding="utf-8")
    lab = folder / "lab.toml"
    lab.write_text(resources.files(demo).joinpath("lab.toml").read_text(encoding="utf-8"), encoding="utf-8")
    begin(folder / "handed", lab, folder / "campaign", {"girder": "Example 1"}, "2031-05-01T00:00:00+00:00")
    return folder / "campaign"


@pytest.fixture(scope="module")
def result(campaign: Path) -> Result:
    return evaluate(load_campaign(campaign), Context(lambda: datetime(2031, 6, 1, tzinfo=UTC), lambda: "one run"))


def test_a_few_words_name_an_offset_and_a_whole_name_itself(result: Result) -> None:
    document = explainer(result).known.document

    assert full_name(document, "50-settled Quad1 x") == "/occasions/50-settled/line/offsets/Quad1/x"
    assert full_name(document, "40-arrival feet V1l load") == "/occasions/40-arrival/feet/V1l/load"
    assert full_name(document, "/any/thing") == "/any/thing"
    with pytest.raises(Refused, match="words for one number"):
        full_name(document, "Quad1 x")
    with pytest.raises(Refused, match="did you mean 'Quad1'"):
        full_name(document, "50-settled Qaud1 x")


def test_an_unknown_name_is_refused_with_what_comes_near(result: Result) -> None:
    with pytest.raises(Refused, match="did you mean '/occasions/50-settled/line/offsets/Quad1/x'"):
        explain(result, "/occasions/50-settled/line/offsets/Quad1/xx")


def test_printed_lines_add_up_and_the_last_is_the_number_as_printed(result: Result, campaign: Path) -> None:
    text = why_text(unfolded(result, campaign, ["10-placed Quad1 x"], Wanted()))
    told = [line.replace("\N{MINUS SIGN}", "-") for line in text.splitlines()]
    amounts = [
        Decimal(m[1]) for m in (re.match(r"  +([+-]\d+\.\d+) µm  (?!sum|the number)", line) for line in told) if m
    ]
    total = next(m[1] for m in (re.match(r"  +([+-]\d+\.\d+) µm  the number", line) for line in told) if m)
    places = len(total.partition(".")[2])

    assert len(amounts) == 2
    assert round(sum(amounts), places) == Decimal(total)
    assert "run one run of 2031-06-01" in text
    assert re.search(r"code sha256 [0-9a-f]{64}", text)


def test_rows_are_printed_as_they_stand_with_the_checksum_of_their_file(result: Result, campaign: Path) -> None:
    made = unfolded(result, campaign, ["10-placed temperature mean"], Wanted())
    text, file = why_text(made), "measured/10-placed/temperatures.tsv"
    row = (campaign / file).read_text(encoding="utf-8").splitlines()[2]

    assert f"{file}, line 3, column t_degC: {row.replace(chr(9), '  ')}" in text
    assert f"{file}  sha256 {made.files[file]}" in text
    assert {s.path: s.sha256 for s in result.campaign.inputs}[file] == made.files[file]


def test_without_a_name_every_verdict_of_the_last_occasion_is_meant(result: Result) -> None:
    names = judged_last(result)

    assert len(names) == 48  # 6 magnets, offset and own move, x and y, each with its u
    assert all(name.startswith("/verdicts/50-settled/") and name.rsplit("/", 1)[1] in ("offset", "u") for name in names)


def test_provenance_names_only_what_it_tells(result: Result, campaign: Path) -> None:
    made = unfolded(result, campaign, ["50-settled temperature mean", "50-settled Quad1 x"], Wanted(deep=True, most=60))
    document = json.loads(json.dumps(prov_document(made), allow_nan=False))

    assert set(document) == {"prefix", "entity", "activity", "agent", *ENDS}
    for kind, ends in ENDS.items():
        assert document[kind]
        for relation in document[kind].values():
            for key, ident in relation.items():
                assert ident in document[ends[key]], (kind, key, ident)
    for kind in ("entity", "activity", "agent"):
        assert all(ident.partition(":")[0] in document["prefix"] for ident in document[kind])
    labels = {entity["prov:label"]: entity for entity in document["entity"].values()}
    file = labels["measured/50-settled/temperatures.tsv"]
    assert file["mono:sha256"] == made.files["measured/50-settled/temperatures.tsv"]
    assert len(document["activity"]) == len(made.sums) == 60
    value = explain(result, "/occasions/50-settled/temperature/mean").value
    assert float(labels["/occasions/50-settled/temperature/mean"]["prov:value"]["$"]) == value


def test_every_number_of_the_provenance_was_generated_or_is_named_as_not_unfolded(
    result: Result, campaign: Path
) -> None:
    made = unfolded(result, campaign, ["50-settled Quad1 x"], Wanted(deep=True, most=20))
    document = prov_document(made)
    generations, entities = document["wasGeneratedBy"], document["entity"]
    assert isinstance(generations, dict)
    assert isinstance(entities, dict)
    generated = {g["prov:entity"] for g in generations.values()}
    numbers = {ident for ident, entity in entities.items() if entity["prov:type"] == "number"}

    assert generated < numbers
    assert {entities[i]["prov:label"] for i in generated} == set(made.sums)


def test_the_document_tells_every_sum_so_that_others_can_add_it_up(result: Result, campaign: Path) -> None:
    made = unfolded(result, campaign, ["50-settled Quad1 x"], Wanted(deep=True, most=30))
    told = chain_document(made)["sums"]
    assert isinstance(told, dict)
    plain = [s for s in told.values() if s["made_as"] == "sum"]

    assert len(plain) > 10
    for s in plain:
        largest = max(abs(line["amount"]) for line in s["lines"])
        assert abs(sum(line["amount"] for line in s["lines"]) - s["value"]) <= 1e-9 * largest


def test_the_page_opens_each_sum_once_and_reaches_nothing_outside(result: Result, campaign: Path) -> None:
    made = unfolded(result, campaign, ["50-settled Quad1 x", "50-settled Quad1 y"], Wanted(deep=True, most=80))
    page = why_page(made, result.sentence)
    idents = re.findall(r'<details id="([^"]+)"', page)

    assert len(idents) == len(set(idents)) == 80
    assert set(re.findall(r'href="#([^"]+)"', page)) <= set(idents)
    assert page.index("<h1>") < page.index("<details")
    assert "http" not in page
    assert "<script" not in page
    assert "Macro" not in page


def test_the_command_writes_all_it_is_asked_for_and_refuses_what_it_does_not_know(
    campaign: Path, tmp_path: Path
) -> None:
    files = [tmp_path / name for name in ("why.json", "prov.json", "why.html")]
    options = [
        part for key, file in zip(("--json", "--prov", "--page"), files, strict=True) for part in (key, str(file))
    ]
    done = CliRunner().invoke(main, ["why", str(campaign), "40-arrival feet V1l load", *options])
    refused = CliRunner().invoke(main, ["why", str(campaign), "no such number"])

    assert done.exit_code == 0, done.output
    assert "feet.tsv, line 3, column washer_kN: V1l  firm" in done.output
    assert all(file.stat().st_size > 0 for file in files)
    assert refused.exit_code == 3
    assert "refused: 1 fault" in refused.output


def test_a_root_prints_variances_alike_and_tiny_numbers_with_a_power_of_ten() -> None:
    root = Sum("n", "m", 5e-6, (Line("a", 9e-12, "a"), Line("b", 16e-12, "b")), "", root_of_sum)
    tiny = Sum("n", "1", 2.5e-6, (Line("a", 2.5e-6, "a"),), "")

    assert shown(root, "5.0").value(5e-6) == "+5.0"
    assert shown(tiny).unit == "·10^-6"
