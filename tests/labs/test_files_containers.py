"""Containers of raw signals, whole and spoiled: small files made here in the second laboratory's habit."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import pytest

from monochord.campaign.given.campaign import Campaign
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.files.container import inspect
from monochord.ground.faults import Fault, Refused

HERE = Path(__file__).parent

TABLES = {
    "girder/magnets.csv": "Magnet;Typ;X [mm];Laenge [mm];Staerke bei 100 A;Einheit;Masse [kg]\n"
    "QF1;quadrupole;-600,0;220,0;24,0;T/m;480\nQD2;quadrupole;600,0;220,0;-21,0;T/m;480\n",
    "girder/jacks.csv": "Schraube;Richtung;X [mm];Y [mm];Z [mm];Steigung [mm];einseitig\nJ1;Z;0,0;0,0;-800,0;1,00;ja\n",
    "bench/fuehlprobe.csv": "Schraube;Befund\nJ1;fest\n",
}
POINTS = 5


def make_container(path: Path) -> None:
    """Two magnets scanned along Y, one sweep; 200 samples a block."""
    with h5py.File(path, "w") as file:
        file.attrs["channels"] = ["shunt", "sensor_x", "sensor_y"]
        file.attrs["lsb_V"] = 1e-3
        file.attrs["sample_rate_Hz"] = 1000
        file.attrs["shunt_V_per_A"] = 10.0
        file.attrs["sensor_x_V_per_um"] = 0.02
        file.attrs["sensor_y_V_per_um"] = 0.02
        file.attrs["sensor_from_upstream_end_mm"] = [220.0, 240.0]
        file.attrs["wire_length_mm"] = 4600.0
        for number, magnet in enumerate(("QF1", "QD2"), start=1):
            group = file.create_group(f"scan{number:02d}")
            group.attrs.update({"magnet": magnet, "magnet_A": 100.0, "mode": 2, "moved": "Y"})
            for point in range(POINTS):
                samples = np.full((200, 3), point, np.int16)
                samples[0] = (-32768, 32767, 7)
                block = group.create_dataset(f"{point:03d}", data=samples, chunks=(100, 3), compression="gzip")
                block.attrs.update({"drive_Hz": 76.8, "stage_Y_mm": 0.1 * point, "stage_Z_mm": 0.0})
                block.attrs["time"] = f"11.05.2026 09:00:{9 * point:02d}"
        sweep = file.create_group("sweep_n1")
        sweep.attrs["mode"] = 1
        block = sweep.create_dataset("000", data=np.zeros((200, 3), np.int16))
        block.attrs.update({"drive_Hz": 38.4, "stage_Y_mm": 0.3, "stage_Z_mm": 0.3, "time": "11.05.2026 09:10:00"})


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    data = tmp_path / "data"
    for name, text in TABLES.items():
        (data / name).parent.mkdir(parents=True, exist_ok=True)
        (data / name).write_text(text, "utf-8")
    make_container(data / "bench/wire.h5")
    shutil.copy(HERE / "b.toml", tmp_path / "lab.toml")
    return tmp_path


def begun(folder: Path) -> Campaign:
    begin(folder / "data", folder / "lab.toml", folder / "campaign", {"girder": "G8"}, "2026-06-01T00:00:00Z")
    return load_campaign(folder / "campaign")


def refused(folder: Path) -> list[Fault]:
    with pytest.raises(Refused) as refusal:
        begun(folder)
    return list(refusal.value.faults)


def edit(folder: Path, change: Callable[[h5py.File], None]) -> None:
    with h5py.File(folder / "data/bench/wire.h5", "r+") as file:
        change(file)


def test_whole_container(folder: Path) -> None:
    occasion = begun(folder).occasions[0]
    assert [s.magnet for s in occasion.raw_scans] == ["QF1", "QD2"]
    scan = occasion.raw_scans[0]
    assert scan.stage_x == pytest.approx(np.arange(POINTS) * 1e-4)
    assert scan.rows == (1, 2, 3, 4, 5)
    assert scan.times == pytest.approx(np.arange(POINTS) * 9.0)
    signal = scan.waveforms[3].read()
    # whole numbers of the digitiser become volts in floating point: the largest negative one keeps its size
    assert signal[0] == pytest.approx([-32.768, 32.767, 0.007])
    assert np.abs(signal[0, 0]) == pytest.approx(32.768)
    assert signal[1:] == pytest.approx(np.full((199, 3), 0.003))


def test_a_sensor_that_looks_the_other_way_turns_the_sign(folder: Path) -> None:
    lab = folder / "lab.toml"
    lab.write_text(lab.read_text().replace('channel = "sensor_x"', 'channel = "sensor_x"\nsign = "-"'))
    wave = begun(folder).occasions[0].raw_scans[0].waveforms[0]
    assert (wave.x_scale, wave.y_scale) == pytest.approx((-2e4, 2e4))


def test_truncated(folder: Path) -> None:
    path = folder / "data/bench/wire.h5"
    data = path.read_bytes()
    path.write_bytes(data[: int(0.6 * len(data))])
    faults = refused(folder)
    assert [f.file for f in faults] == [str(path)]
    assert faults[0].given == f"incomplete: {int(0.6 * len(data))} of {len(data)} bytes"
    assert "copy the file again" in faults[0].remedy


def test_empty(folder: Path) -> None:
    (folder / "data/bench/wire.h5").write_bytes(b"")
    assert refused(folder)[0].given == "an empty file"


def test_no_container_at_all(folder: Path) -> None:
    (folder / "data/bench/wire.h5").write_text("shunt;x;y\n" * 100)
    assert refused(folder)[0].given == "no HDF5 file"


def test_damaged_inside(folder: Path) -> None:
    """Bytes of a compressed block are overwritten: the structure still looks whole."""
    path = folder / "data/bench/wire.h5"
    with h5py.File(path) as file:
        place = file["scan02/002"].id.get_chunk_info(0)
    data = bytearray(path.read_bytes())
    data[place.byte_offset : place.byte_offset + place.size] = b"\x55" * place.size
    path.write_bytes(data)
    faults = refused(folder)
    assert faults[0].file == str(path)
    assert "copy the file again" in faults[0].remedy


def answer(path: Path) -> str:
    try:
        inspect(path, path.name, patience=30.0)
    except Refused as refusal:
        return f"refused: {refusal}"
    return "whole"


def test_flipped_bytes_never_end_in_a_traceback(folder: Path, tmp_path: Path) -> None:
    """A few mutated files in the guarded child; each is read whole or refused."""
    data = (folder / "data/bench/wire.h5").read_bytes()
    rng = np.random.default_rng(7)
    answers: list[str] = []
    for number in range(6):
        spoiled = np.frombuffer(data, np.uint8).copy()
        places = rng.integers(0, min(4096, len(data)), 160)
        spoiled[places] = rng.integers(0, 256, 160)
        path = tmp_path / f"m{number}.h5"
        path.write_bytes(spoiled.tobytes())
        answers.append(answer(path))
    assert "refused: " in "".join(answers)
    assert not [a for a in answers if "Traceback" in a]


def test_crash_and_hang_of_the_child_are_faults(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "wire.h5"
    make_container(path)
    real = sys.executable
    for code, word in (("import os; os.abort()", "crashes"), ("import time; time.sleep(60)", "hangs")):
        python = tmp_path / f"python-{word}"
        python.write_text(f"#!{real}\n{code}\n")
        python.chmod(0o755)
        monkeypatch.setattr(sys, "executable", str(python))
        with pytest.raises(Refused, match=word):
            inspect(path, "wire.h5", patience=2.0)


def test_links_to_other_files_are_not_followed(folder: Path) -> None:
    def link(file: h5py.File) -> None:
        file["scan99"] = h5py.ExternalLink("elsewhere.h5", "/scan01")

    edit(folder, link)
    campaign = begun(folder)
    assert [n.given for n in campaign.notes] == ["link 'scan99'"]
    assert len(campaign.occasions[0].raw_scans) == 2


def drop_frequency(file: h5py.File) -> None:
    del file["scan01/003"].attrs["drive_Hz"]


def rename_magnet(file: h5py.File) -> None:
    file["scan01"].attrs["magnet"] = "QF"


def move_along_the_beam(file: h5py.File) -> None:
    file["scan01"].attrs["moved"] = "X"


def short_block(file: h5py.File) -> None:
    attributes = dict(file["scan01/001"].attrs)
    del file["scan01/001"]
    file["scan01"].create_dataset("001", data=np.zeros((1, 3), np.int16)).attrs.update(attributes)


def transposed_block(file: h5py.File) -> None:
    attributes = dict(file["scan01/001"].attrs)
    del file["scan01/001"]
    file["scan01"].create_dataset("001", data=np.zeros((3, 200), np.int16)).attrs.update(attributes)


def other_wire(file: h5py.File) -> None:
    file.attrs["wire_length_mm"] = 6400.0


def half_mode(file: h5py.File) -> None:
    file["scan01"].attrs["mode"] = 1.5


def no_number(file: h5py.File) -> None:
    file["scan01/002"].attrs["stage_Y_mm"] = np.nan


@pytest.mark.parametrize(
    ("change", "place", "given", "remedy"),
    [
        (drop_frequency, "scan01/003", "no attribute 'drive_Hz'", "mend the lab description or the file"),
        (rename_magnet, "scan01", "magnet 'QF'", "did you mean 'QF1'"),
        (move_along_the_beam, "scan01", "moved axis 'X'", "mend the attribute"),
        (short_block, "scan01/001", "1 samples", "nothing was recorded"),
        (transposed_block, "scan01/001", "a block of shape (3, 200)", "samples and channels are exchanged"),
        (other_wire, None, "wire length 6.4 m", "another bench"),
        (half_mode, "scan01", "mode 1.5", "mend the attribute"),
        (no_number, "scan01/002", "attribute 'stage_Y_mm' = nan", "nothing was recorded"),
    ],
)
def test_what_does_not_fit_is_named(
    folder: Path, change: Callable[[h5py.File], None], place: str | None, given: str, remedy: str
) -> None:
    edit(folder, change)
    faults = refused(folder)
    assert len(faults) == 1, faults
    assert faults[0].file == str(folder / "data/bench/wire.h5")
    assert faults[0].column == place
    assert given in faults[0].given
    assert remedy in faults[0].remedy


def test_a_channel_that_is_not_there(folder: Path) -> None:
    lab = folder / "lab.toml"
    text = lab.read_text().replace('channel = "shunt"', 'channel = "shnt"')
    lab.write_text(text)
    fault = refused(folder)[0]
    assert (fault.file, fault.column) == (str(lab), "waveforms.reference.channel")
    assert fault.line == text[: text.index('"shnt"')].count("\n") + 1
    assert "did you mean 'shunt'" in fault.remedy


def test_a_container_that_changed_after_it_was_inspected_is_not_opened(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun(folder)
    path = folder / "campaign/measured/bench/wire.h5"
    data = bytearray(path.read_bytes())
    data[-1] ^= 0xFF
    path.write_bytes(data)

    def never(*_: object) -> None:
        pytest.fail("a changed container was opened")

    monkeypatch.setattr("monochord.files.waveforms.contents", never)
    with pytest.raises(Refused, match="checksum"):
        load_campaign(folder / "campaign")


def test_a_block_that_vanished_after_loading_is_a_fault(folder: Path) -> None:
    scan = begun(folder).occasions[0].raw_scans[0]
    (folder / "campaign/measured/bench/wire.h5").unlink()
    with pytest.raises(Refused, match=r"measured/bench/wire\.h5"):
        scan.waveforms[0].read()
