"""Spoiled inputs of every kind: each is told with its place and what to do, none with a traceback or in silence."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest

from monochord.campaign.given.campaign import Campaign
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.ground.faults import Fault, Refused

HERE = Path(__file__).parent
NOW = "2026-03-12T08:00:00Z"


@dataclass(frozen=True)
class Sample:
    """A copy of the excerpt that a test may spoil."""

    root: Path

    @property
    def data(self) -> Path:
        return self.root / "data"

    @property
    def lab(self) -> Path:
        return self.root / "lab.toml"

    @property
    def campaign(self) -> Path:
        return self.root / "campaign"

    def change(self, name: str, old: str, new: str, *, count: int = 1) -> int:
        """Put new for old in a file of the data (or lab.toml); the line of the first change."""
        path = self.lab if name == "lab.toml" else self.data / name
        text = path.read_bytes().decode()
        assert old in text, f"the test looks for {old!r}, which {name} does not hold"
        path.write_bytes(text.replace(old, new, count).encode())
        return text[: text.index(old)].count("\n") + 1

    def begin(self, settings: Mapping[str, str] | None = None) -> tuple[list[Fault], Campaign]:
        notes = begin(self.data, self.lab, self.campaign, {"girder": "G7", **(settings or {})}, NOW)
        return notes, load_campaign(self.campaign)

    def refused(self, settings: Mapping[str, str] | None = None) -> list[Fault]:
        with pytest.raises(Refused) as refusal:
            self.begin(settings)
        assert not self.campaign.exists(), "a refused campaign leaves nothing behind"
        assert not list(self.root.glob(".*")), "nor its unfinished folder"
        return list(refusal.value.faults)


@pytest.fixture
def sample(tmp_path: Path) -> Sample:
    shutil.copytree(HERE / "a", tmp_path / "data")
    shutil.copy(HERE / "a.toml", tmp_path / "lab.toml")
    return Sample(tmp_path)


def only(faults: list[Fault]) -> Fault:
    assert len(faults) == 1, "\n".join(map(str, faults))
    return faults[0]


def test_the_excerpt_itself_is_accepted(sample: Sample) -> None:
    notes, campaign = sample.begin()
    assert notes == []
    assert [o.name for o in campaign.occasions] == ["2-aligned", "4-back", "5-restored"]


def test_missing_column(sample: Sample) -> None:
    sample.change("4-back/tracker.csv", "zenith_deg", "zen_deg")
    fault = only(sample.refused())
    assert (fault.file, fault.line, fault.column) == (str(sample.data / "4-back/tracker.csv"), 1, "zenith_deg")
    assert "did you mean 'zen_deg'" in fault.remedy


def test_another_unit_in_the_column_name(sample: Sample) -> None:
    sample.change("4-back/tracker.csv", "distance_mm", "distance_m")
    fault = only(sample.refused())
    assert (fault.line, fault.column) == (1, "distance_mm")
    assert "did you mean 'distance_m'" in fault.remedy


def test_a_unit_that_does_not_fit_the_magnet(sample: Sample) -> None:
    line = sample.change("girder/magnets.csv", "420.0,T/m^2", "420.0,T/m")
    fault = only(sample.refused())
    assert (fault.file, fault.line, fault.column) == (str(sample.data / "girder/magnets.csv"), line, "gradient_unit")
    assert "S1" in fault.given
    assert "T/m2" in fault.expected


def test_a_description_that_contradicts_the_column_name(sample: Sample) -> None:
    line = sample.change("lab.toml", '"hz_deg", unit = "deg"', '"hz_deg", unit = "gon"')
    fault = only(sample.refused())
    assert (fault.file, fault.line) == (str(sample.lab), line)
    assert "'deg'" in fault.expected


def test_another_unit_in_the_numbers(sample: Sample) -> None:
    """Metres where the column promises millimetres."""
    path = sample.data / "4-back/tracker.csv"
    head, *rows = path.read_text().splitlines()
    cells = [r.split(",") for r in rows]
    path.write_text("\n".join([head, *(",".join([*c[:4], f"{float(c[4]) / 1e3:.7f}"]) for c in cells)]) + "\n")
    first, *pictures = sample.refused()
    assert (first.line, first.column) == (2, "distance_mm")
    assert "unit" in first.remedy
    assert [p.line for p in pictures] == [2, 39, 76]  # one for each station
    assert all("distances: 1000 times too small" in p.remedy for p in pictures)


def test_degrees_read_as_gon(sample: Sample) -> None:
    """Numbers that are all in range, so that only the picture of the targets can tell."""
    for name in ("2-aligned", "4-back"):
        sample.change(f"{name}/tracker.csv", "hz_deg,zenith_deg", "circle,vertical")
    sample.change("lab.toml", '"hz_deg", unit = "deg"', '"circle", unit = "gon"')
    sample.change("lab.toml", '"zenith_deg", unit = "deg"', '"vertical", unit = "gon"')
    faults = sample.refused()
    assert {f.file for f in faults} == {str(sample.data / f"{n}/tracker.csv") for n in ("2-aligned", "4-back")}
    assert all("angles in degrees read as gon" in f.remedy and f.line is not None for f in faults)


def test_mirrored_frame(sample: Sample) -> None:
    sample.change("lab.toml", 'x = "left"', 'x = "right"')
    fault = only(sample.refused())
    assert (fault.file, fault.line) == (str(sample.lab), 4)
    assert "left-handed" in fault.given
    assert "turned round" in fault.remedy


def test_wrong_sense_of_the_circle(sample: Sample) -> None:
    sample.change("lab.toml", '"counter-clockwise"', '"clockwise"')
    faults = sample.refused()
    assert len(faults) == 6  # three stations on two occasions
    assert all("(angles.horizontal) in line" in f.remedy and f.line is not None for f in faults)


def test_elevation_for_zenith(sample: Sample) -> None:
    sample.change("lab.toml", 'vertical = "zenith"', 'vertical = "elevation"')
    faults = sample.refused()
    assert any(f.column == "zenith_deg" and "elevation instead of zenith" in f.remedy for f in faults)
    assert any("elevation, or the other way round" in f.remedy for f in faults)


def test_swapped_columns_of_targets(sample: Sample) -> None:
    sample.change("girder/fiducials.csv", "x_mm,y_mm,z_mm", "y_mm,x_mm,z_mm")
    faults = sample.refused()
    assert all("two exchanged columns" in f.remedy for f in faults)


def test_swapped_columns_of_magnets(sample: Sample) -> None:
    """Places along the beam given as places across it: all magnets stand in one place."""
    sample.change(
        "lab.toml", 'z = { column = "z_mm", unit = "mm" }\nlength', 'x = { column = "z_mm", unit = "mm" }\nlength'
    )
    faults = sample.refused()
    assert any("apart along the beam" in f.given and "exchanged columns" in f.remedy for f in faults)


def test_magnet_beyond_the_wire(sample: Sample) -> None:
    line = sample.change("girder/magnets.csv", "quadrupole,1620.0", "quadrupole,16200.0")
    faults = sample.refused()
    beyond = next(f for f in faults if "Q3" in f.given and "supports" in f.expected)
    assert (beyond.file, beyond.line) == (str(sample.data / "girder/magnets.csv"), line)


def test_a_setting_that_does_not_fit_is_named_as_the_setting(sample: Sample) -> None:
    fault = only(sample.refused({"items.Q1.strength": "11.2 T/m2"}))
    assert fault.file == "--set items.Q1.strength"
    assert "gradient" in fault.expected


def test_a_mass_that_no_file_says_is_noted(sample: Sample) -> None:
    line = sample.change("girder/magnets.csv", "T/m^2,430", "T/m^2,")
    notes, campaign = sample.begin()
    note = only(notes)
    assert (note.file, note.line) == (str(sample.data / "girder/magnets.csv"), line)
    assert '--set items.S1.mass="... kg"' in note.remedy
    assert campaign.girder.magnets[1].mass == 0.0


def test_too_few_scan_points(sample: Sample) -> None:
    path = sample.data / "2-aligned/wire_scans.csv"
    lines = path.read_text().splitlines()
    kept = [line for line in lines if not line.startswith("1,")] + [line for line in lines if line.startswith("1,")][:3]
    path.write_text("\n".join(kept) + "\n")
    notes, _ = sample.begin()
    note = next(n for n in notes if "points in scan 1" in n.given)
    assert note.file == str(sample.data / "2-aligned/wire_scans.csv")
    assert note.line == len(kept) - 2
    assert "repeat the scan" in note.remedy


def test_magnet_never_scanned(sample: Sample) -> None:
    path = sample.data / "2-aligned/wire_scans.csv"
    path.write_text("\n".join(line for line in path.read_text().splitlines() if ",S2," not in line) + "\n")
    notes, campaign = sample.begin()
    note = next(n for n in notes if "no scan of magnet S2" in n.given)
    assert note.file == str(path)
    assert any("S2" in words for words in campaign.occasions[0].lacks)


def test_target_seen_once(sample: Sample) -> None:
    path = sample.data / "4-back/tracker.csv"
    lines = path.read_text().splitlines()
    kept = [line for line in lines if not (line.startswith(("T2,Q2-3,", "T3,Q2-3,")))]
    path.write_text("\n".join(kept) + "\n")
    notes, _ = sample.begin()
    note = only(notes)
    assert "Q2-3 seen once" in note.given
    assert note.line == next(i for i, line in enumerate(kept, start=1) if ",Q2-3," in line)
    assert "another station" in note.remedy


def test_occasion_without_temperature(sample: Sample) -> None:
    (sample.data / "4-back/girder_temperatures.csv").unlink()
    _, campaign = sample.begin()
    back = campaign.occasions[1]
    assert back.temperature is None
    assert any('--set temperature.4-back="... degC"' in words for words in back.lacks)


def test_temperature_that_is_set(sample: Sample) -> None:
    (sample.data / "4-back/girder_temperatures.csv").unlink()
    _, campaign = sample.begin({"temperature.4-back": "20.31 degC"})
    back = campaign.occasions[1]
    assert back.temperature == pytest.approx(20.31)
    assert back.lacks == ()


def test_temperature_set_for_an_unknown_occasion(sample: Sample) -> None:
    fault = only(sample.refused({"temperature.4-bakc": "20.31 degC"}))
    assert fault.file == "--set temperature.4-bakc"
    assert "did you mean '4-back'" in fault.remedy


def test_temperature_set_without_unit(sample: Sample) -> None:
    fault = only(sample.refused({"temperature.4-back": "20.31"}))
    assert "degC" in fault.expected


def test_unknown_setting(sample: Sample) -> None:
    fault = only(sample.refused({"temperatur.4-back": "20.31 degC"}))
    assert "did you mean 'temperature'" in fault.remedy


def test_unknown_magnet_in_a_scan(sample: Sample) -> None:
    line = sample.change("2-aligned/wire_scans.csv", "\n17,S1,", "\n17,S11,") + 1
    faults = sample.refused()
    fault = next(f for f in faults if "'S11'" in f.given)
    assert fault.line == line
    assert "did you mean 'S1'" in fault.remedy


def test_unknown_bolt(sample: Sample) -> None:
    line = sample.change("4-back/feet.csv", "V3L,", "V3l,")
    fault = only(sample.refused())
    assert (fault.file, fault.line, fault.column) == (str(sample.data / "4-back/feet.csv"), line, "bolt")
    assert "did you mean 'V3L'" in fault.remedy


def test_unknown_target(sample: Sample) -> None:
    line = sample.change("4-back/tracker.csv", "T2,Q2-3,", "T2,Q2-8,")
    fault = only(sample.refused())
    assert fault.line == line
    assert "'Q2-3'" in fault.remedy


def test_target_spelled_otherwise_throughout(sample: Sample) -> None:
    sample.change("4-back/tracker.csv", ",Q2-3,", ",Q2_3,", count=99)
    fault = only(sample.refused())
    assert "did you mean 'Q2-3'" in fault.remedy


def test_further_point_that_no_table_has(sample: Sample) -> None:
    sample.change("4-back/tracker.csv", ",P5,", ",floor bolt,", count=99)
    notes, _ = sample.begin()
    assert "further point" in only(notes).remedy


def test_decimal_comma_in_one_cell(sample: Sample) -> None:
    """A comma cuts the cell in two in a table that is separated by commas."""
    line = sample.change("girder/fiducials.csv", "310.1,-1825.0", "310,1,-1825.0")
    fault = only(sample.refused())
    assert (fault.file, fault.line) == (str(sample.data / "girder/fiducials.csv"), line)
    assert "6 cells" in fault.given


def test_letter_in_a_number(sample: Sample) -> None:
    line = sample.change("2-aligned/wire_scans.csv", ",20.00,-0.1400,0.0700,", ",20.00,-O.1400,0.0700,")
    fault = only(sample.refused())
    assert (fault.line, fault.column, fault.given) == (line, "stage_x_mm", "'-O.1400'")


def test_all_faults_of_several_files_at_once(sample: Sample) -> None:
    sample.change("4-back/feet.csv", "V3L,", "V9L,")
    sample.change("4-back/girder_temperatures.csv", "20.37", "2O.37")
    sample.change("5-restored/feet.csv", "tight", "tigth")
    faults = sample.refused()
    assert sorted(Path(f.file).name for f in faults) == ["feet.csv", "feet.csv", "girder_temperatures.csv"]
    assert any("did you mean 'tight'" in f.remedy for f in faults)


def test_ragged_row(sample: Sample) -> None:
    line = 30
    path = sample.data / "4-back/tracker.csv"
    lines = path.read_text().splitlines()
    lines[line - 1] = lines[line - 1].rsplit(",", 1)[0]
    path.write_text("\n".join(lines) + "\n")
    fault = only(sample.refused())
    assert (fault.file, fault.line, fault.given) == (str(path), line, "4 cells")


def test_file_cut_off(sample: Sample) -> None:
    path = sample.data / "4-back/tracker.csv"
    data = path.read_bytes().rstrip()
    path.write_bytes(data[: data.rindex(b",") - 4])
    fault = only(sample.refused())
    assert fault.line == data.count(b"\n") + 1
    assert "cut off" in fault.remedy


def test_duplicate_target(sample: Sample) -> None:
    line = sample.change("girder/fiducials.csv", "G1R,", "G1L,")
    fault = sample.refused()[0]
    assert (fault.line, fault.column) == (line, "point")
    assert "first stands in line 2" in fault.remedy


def test_wrong_key_in_the_description(sample: Sample) -> None:
    line = sample.change("lab.toml", 'range_sum = "plain"', 'range_som = "plain"')
    faults = sample.refused()
    assert {f.file for f in faults} == {str(sample.lab)}
    key = next(f for f in faults if "'range_som'" in f.given)
    assert key.line == line
    assert "did you mean 'range_sum'" in key.remedy


@pytest.mark.parametrize("key", ["means", "displacements", "currents", "time_factor", "horizontal", "vertical"])
def test_conventions_without_default(sample: Sample, key: str) -> None:
    text = sample.lab.read_text().splitlines()
    sample.lab.write_text("\n".join(line for line in text if not line.startswith(f"{key} = ")) + "\n")
    fault = only(sample.refused())
    assert f"no key {key!r}" in fault.given
    assert fault.line is not None


def test_amount_without_unit_in_the_description(sample: Sample) -> None:
    line = sample.change("lab.toml", 'length = "6.400 m"', 'length = "6.400"')
    fault = only(sample.refused())
    assert (fault.line, fault.column) == (line, "wire.length")
    assert "with its unit" in fault.expected


def test_description_that_is_no_toml(sample: Sample) -> None:
    line = sample.change("lab.toml", 'horizontal = "counter-clockwise"', "horizontal = counter-clockwise")
    fault = only(sample.refused())
    assert (fault.file, fault.line) == (str(sample.lab), line)


def test_strength_that_no_file_says_is_asked_for(sample: Sample) -> None:
    line = sample.change("girder/magnets.csv", "11.2,T/m,620\r\nS1", ",T/m,620\r\nS1")
    fault = only(sample.refused())
    assert (fault.line, fault.column) == (line, "gradient_at_100A")
    assert '--set items.Q1.strength="... T/m"' in fault.remedy

    _, campaign = sample.begin({"items.Q1.strength": "11.2 T/m"})
    assert campaign.girder.magnets[0].derivative == pytest.approx(0.112)


def test_scan_that_moved_along_the_other_axis(sample: Sample) -> None:
    text = (sample.data / "2-aligned/wire_scans.csv").read_text()
    changed = text.replace("\n1,Q1,x,", "\n1,Q1,y,")
    (sample.data / "2-aligned/wire_scans.csv").write_text(changed)
    fault = only(sample.refused())
    assert fault.line == 2
    assert "exchanged stage columns" in fault.remedy


def test_stage_in_micrometres(sample: Sample) -> None:
    path = sample.data / "2-aligned/wire_scans.csv"
    path.write_text(path.read_text().replace(",-0.1400,0.0700,", ",-140.0,70.0,"))
    faults = sample.refused()
    assert [(f.line, f.given[:17]) for f in faults] == [(2, "a stage at 140 mm"), (11, "a stage at 140 mm")]


def test_half_a_mode_number(sample: Sample) -> None:
    line = sample.change("2-aligned/wire_resonance.csv", "\n2,", "\n2.5,") + 1
    fault = only(sample.refused())
    assert (fault.line, fault.column, fault.expected) == (line, "mode", "a whole number")


def test_a_mode_below_one(sample: Sample) -> None:
    line = sample.change("2-aligned/wire_resonance.csv", "\n2,", "\n0,") + 1
    fault = only(sample.refused())
    assert (fault.line, fault.column, fault.given) == (line, "mode", "mode 0")


def test_a_current_that_changes_inside_a_scan(sample: Sample) -> None:
    line = sample.change("2-aligned/wire_scans.csv", "\n3,Q1,x,0.00,", "\n3,Q1,x,1.00,") + 1
    faults = sample.refused()
    assert faults[0].column == "magnet_current_A"
    assert faults[0].line in (line, line + 1)
    assert "another scan name" in faults[0].remedy


def test_temperature_in_kelvin(sample: Sample) -> None:
    line = sample.change("4-back/girder_temperatures.csv", "20.372", "293.522")
    fault = only(sample.refused())
    assert (fault.line, fault.column) == (line, "temp_C")


def spoil_measured(campaign: Path) -> Path:
    path = campaign / "measured/4-back/tracker.csv"
    path.write_bytes(path.read_bytes() + b"\r\n")
    return path


def remove_measured(campaign: Path) -> Path:
    path = campaign / "measured/4-back/tracker.csv"
    path.unlink()
    return path


@pytest.mark.parametrize(("spoil", "word"), [(spoil_measured, "checksum"), (remove_measured, "No such file")])
def test_measured_file_that_changed_since_the_campaign_began(
    sample: Sample, spoil: Callable[[Path], Path], word: str
) -> None:
    sample.begin()
    spoil(sample.campaign)
    with pytest.raises(Refused) as refusal:
        load_campaign(sample.campaign)
    fault = only(list(refusal.value.faults))
    assert fault.file == "measured/4-back/tracker.csv"
    assert word in fault.given
    assert "put" in fault.remedy


def test_girder_table_that_changed_since_the_campaign_began(sample: Sample) -> None:
    sample.begin()
    path = sample.campaign / "measured/girder/magnets.csv"
    path.write_bytes(path.read_bytes().replace(b"11.2", b"11.3", 1))
    with pytest.raises(Refused) as refusal:
        load_campaign(sample.campaign)
    assert only(list(refusal.value.faults)).file == "measured/girder/magnets.csv"


def test_campaign_file_with_a_wrong_key(sample: Sample) -> None:
    sample.begin()
    path = sample.campaign / "campaign.toml"
    text = path.read_text().replace('reference = "2-aligned"', 'reference = "2-alined"')
    path.write_text(text)
    with pytest.raises(Refused) as refusal:
        load_campaign(sample.campaign)
    fault = only(list(refusal.value.faults))
    assert (fault.file, fault.column) == ("campaign.toml", "reference")
    assert fault.line == text[: text.index("reference")].count("\n") + 1
    assert "did you mean '2-aligned'" in fault.remedy


def test_folder_that_is_not_empty(sample: Sample) -> None:
    sample.begin()
    with pytest.raises(Refused, match="not empty"):
        sample.begin()


def test_folder_that_is_not_there(sample: Sample) -> None:
    shutil.rmtree(sample.data)
    fault = only(sample.refused())
    assert fault.file == str(sample.data)


def test_folder_of_another_laboratory(sample: Sample) -> None:
    (sample.data / "girder/magnets.csv").rename(sample.data / "girder/magnet.csv")
    fault = only(sample.refused())
    assert "did you mean 'magnet.csv'" in fault.remedy


def test_files_that_nobody_described_are_named(sample: Sample) -> None:
    (sample.data / "4-back/notes.txt").write_text("rain")
    (sample.data / "photos").mkdir()
    notes, _ = sample.begin()
    assert sorted(n.given for n in notes) == ["a folder without any described file", "file 'notes.txt'"]


def test_empty_file(sample: Sample) -> None:
    (sample.data / "4-back/feet.csv").write_bytes(b"")
    fault = only(sample.refused())
    assert (fault.file, fault.given) == (str(sample.data / "4-back/feet.csv"), "an empty file")


def test_missing_occasion_folders_are_no_fault(sample: Sample) -> None:
    shutil.rmtree(sample.data / "2-aligned")
    notes, campaign = sample.begin()
    assert [o.name for o in campaign.occasions] == ["4-back", "5-restored"]
    assert campaign.reference is None
    assert any("--set reference" in n.remedy for n in notes)
