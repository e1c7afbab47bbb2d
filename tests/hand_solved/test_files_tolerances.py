"""Tolerances read from text: every fact with its unit, and every misfit as a fault at its key and line."""

from __future__ import annotations

import tomllib

import pytest

from monochord.campaign.given.tolerance import PriorKnowledge, Tolerance
from monochord.files import document
from monochord.files.schema_check import check
from monochord.files.tolerances import tolerance
from monochord.files.toml_writer import toml
from monochord.ground.faults import Refused

HEAD = 'schema = "monochord-girder-type/1"\nname = "t"\n\n[[tolerances]]\n'
PLAIN = 'quantity = "offset"\nlimit = "30 um"\n'


def read(text: str) -> Tolerance:
    found = document.parse(HEAD + text, "girder-type.toml")
    check(found, "girder-type")
    return tolerance(found.root.nodes("tolerances")[0], ["Q1", "S1"])


def test_what_is_left_out_changes_nothing() -> None:
    assert read(PLAIN) == Tolerance("offset", read(PLAIN).limit)
    assert read(PLAIN).limit == pytest.approx(30e-6, rel=1e-12)


def test_every_fact_with_its_unit() -> None:
    told = read(
        'quantity = "own move"\nlimit = "0.02 mm"\nlower = "-10 um"\nmagnets = ["Q1"]\nform = "all together"\nrisk = "2 %"\n'
        'whose = "producer\'s"\nprior = { law = "normal", mean = "1 um", sd = "0.012 mm" }\n'
    )
    assert told.limit == pytest.approx(20e-6, rel=1e-12)
    assert told.lower == pytest.approx(-10e-6, rel=1e-12)
    assert (told.form, told.risk, told.whose, told.magnets) == ("all together", 0.02, "producer's", ("Q1",))
    assert told.prior.law == "normal"
    assert (told.prior.mean, told.prior.sd) == pytest.approx((1e-6, 12e-6))


@pytest.mark.parametrize(
    ("text", "law"),
    [
        ('{ law = "uniform", low = "-30 um", high = "0.03 mm" }', "uniform"),
        ('{ law = "fleet", values = ["3 um", "-9 um", "8 um"], good_to = "1 um" }', "fleet"),
        ('{ law = "gamma", shape = 4, scale = "0.25 um" }', "gamma"),
        ('{ law = "none" }', "none"),
    ],
)
def test_laws_of_a_prior(text: str, law: str) -> None:
    prior = read(f"{PLAIN}prior = {text}\n").prior
    assert isinstance(prior, PriorKnowledge)
    assert prior.law == law
    expected = {
        "uniform": (-30e-6, 30e-6),
        "fleet": (3e-6, -9e-6, 8e-6, 1e-6),
        "gamma": (4.0, 0.25e-6),
        "none": (),
    }[law]
    numbers = {
        "uniform": (prior.low, prior.high),
        "fleet": (*prior.values, prior.u),
        "gamma": (prior.shape, prior.scale),
        "none": (),
    }[law]
    assert numbers == pytest.approx(expected)


@pytest.mark.parametrize(
    ("text", "line", "column"),
    [
        (PLAIN + 'form = "radal"\n', 7, "tolerances.form"),
        (PLAIN + 'rule = "simple"\n', 7, "tolerances.rule"),
        (PLAIN + 'form = "radial"\nsides = "upper"\n', 8, "tolerances.sides"),
        (PLAIN + 'form = "rms"\nlower = "-1 um"\n', 8, "tolerances.lower"),
        (PLAIN + 'sides = "upper"\nlower = "-1 um"\n', 8, "tolerances.lower"),
        (PLAIN + 'lower = "40 um"\n', 7, "tolerances.lower"),
        (PLAIN + 'lower = "-10 urad"\n', 7, "tolerances.lower"),
        (PLAIN + 'risk = "70 %"\n', 7, "tolerances.risk"),
        (PLAIN + 'risk = "5 um"\n', 7, "tolerances.risk"),
        (PLAIN + 'rule = "simple acceptance"\nrisk = "5 %"\n', 8, "tolerances.risk"),
        (PLAIN + 'magnets = ["Q9"]\n', 7, "tolerances.magnets"),
        ('quantity = "offset"\nlimit = "-30 um"\n', 6, "tolerances.limit"),
        ('quantity = "roll"\nlimit = "1 mrad"\nform = "radial"\n', 7, "tolerances.form"),
        ('quantity = "shift"\nlimit = "10 um"\nrule = "guard band"\n', 7, "tolerances.rule"),
        (PLAIN + 'prior = { law = "normal", mean = "0 um" }\n', 7, "tolerances.prior"),
        (PLAIN + 'prior = { law = "normal", mean = "0 um", sd = "0 um" }\n', 7, "tolerances.prior.sd"),
        (PLAIN + 'prior = { law = "uniform", low = "3 um", high = "1 um" }\n', 7, "tolerances.prior.high"),
        (PLAIN + 'prior = { law = "uniform", low = "3 um", high = "5 urad" }\n', 7, "tolerances.prior.high"),
        (PLAIN + 'prior = { law = "none", low = "3 um" }\n', 7, "tolerances.prior.low"),
        (
            PLAIN + 'prior = { law = "fleet", values = ["1 um", "2 um"], good_to = "1 um" }\n',
            7,
            "tolerances.prior.values",
        ),
        (
            PLAIN + 'prior = { law = "fleet", values = ["1 um", "2", "3 um"], good_to = "1 um" }\n',
            7,
            "tolerances.prior.values",
        ),
    ],
)
def test_a_misfit_is_a_fault_at_its_key(text: str, line: int, column: str) -> None:
    with pytest.raises(Refused) as refusal:
        read(text)
    (fault,) = refusal.value.faults
    assert (fault.file, fault.line, fault.column) == ("girder-type.toml", line, column)
    assert fault.given
    assert fault.expected
    assert fault.remedy


def test_faults_of_one_entry_come_together() -> None:
    with pytest.raises(Refused) as refusal:
        read(PLAIN + 'magnets = ["Q9"]\nrisk = "70 %"\nlower = "40 um"\n')
    assert {f.column for f in refusal.value.faults} == {"tolerances.magnets", "tolerances.risk", "tolerances.lower"}


def test_what_is_written_is_read_again() -> None:
    text = PLAIN + 'form = "rms"\nprior = { law = "fleet", values = ["3 um", "-9 um", "8 um"], good_to = "1 um" }\n'
    data = tomllib.loads(HEAD + text)
    again = document.parse(toml(data), "girder-type.toml")
    check(again, "girder-type")
    assert tolerance(again.root.nodes("tolerances")[0], []) == read(text)
