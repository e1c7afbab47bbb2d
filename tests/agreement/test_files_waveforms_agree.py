"""The same samples in one container of groups, in one dataset, in WAV files and in arrays give the same raw scans."""

from __future__ import annotations

import itertools
import re
import struct
import wave
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import pytest
from numpy.typing import NDArray

from monochord.campaign.given.campaign import Campaign
from monochord.files.begin import begin
from monochord.files.campaign_file import load_campaign
from monochord.ground.faults import Fault, Refused

Samples = NDArray[np.int16]
LAB = (Path(__file__).resolve().parents[1] / "labs" / "b.toml").read_text("utf-8")
TABLES = {
    "girder/magnets.csv": "Magnet;Typ;X [mm];Laenge [mm];Staerke bei 100 A;Einheit;Masse [kg]\n"
    "QF1;quadrupole;-600,0;220,0;24,0;T/m;480\nQD2;quadrupole;600,0;220,0;-21,0;T/m;480\n",
    "girder/jacks.csv": "Schraube;Richtung;X [mm];Y [mm];Z [mm];Steigung [mm];einseitig\nJ1;Z;0,0;0,0;-800,0;1,00;ja\n",
    "bench/fuehlprobe.csv": "Schraube;Befund\nJ1;fest\n",
}
POINTS, COUNT, CHANNELS, LSB = 5, 120, 3, 0.0003
SCANS = (("scan01", "QF1", 2), ("scan02", "QD2", 2))

COMMON = """
[waveforms]
file = "{file}"
scans = "scan*"
samples = "rows"
channels = ["shunt", "sensor_x", "sensor_y"]
counts_to_volts = "{volts!r} V"
sample_rate = "1000 Hz"
magnet = {{ attribute = "magnet", on = "group" }}
moved = "Y"
magnet_current = "100 A"
mode = {{ attribute = "mode", on = "group", unit = "1" }}
drive_frequency = {{ attribute = "drive_Hz", on = "block", unit = "Hz" }}
time = {{ attribute = "time", on = "block", notation = "DD.MM.YYYY hh:mm:ss" }}
{more}
[waveforms.reference]
channel = "shunt"
scale = "10 V/A"
[waveforms.sensors.y]
channel = "sensor_x"
scale = "0.02 V/um"
from_upstream = "220 mm"
[waveforms.sensors.z]
channel = "sensor_y"
scale = "0.02 V/um"
from_upstream = "240 mm"
[waveforms.stages]
y = {{ attribute = "Y_mm", on = "block", unit = "mm" }}
z = {{ attribute = "Z_mm", on = "block", unit = "mm" }}
"""


def samples(scan: int, point: int) -> Samples:
    """Counts of one block; the largest and smallest of their type are among them, once each."""
    rng = np.random.default_rng([scan, point])
    counts = rng.integers(-30000, 30000, (COUNT, CHANNELS), np.int16)
    counts[3], counts[7] = (-32768, 0, 1), (32767, 0, 1)
    return counts


def facts(point: int) -> dict[str, str]:
    """Facts of one place, numbers with a comma as the laboratory writes them."""
    return {
        "drive_Hz": "76,8",
        "time": f"11.05.2026 09:00:{9 * point:02d}",
        "Y_mm": f"{0.1 * point:.1f}".replace(".", ","),
        "Z_mm": "0,0",
    }


def lab(file: str, more: str, volts: float = LSB) -> str:
    """The description of the second laboratory with its waveforms kept in another way."""
    made = re.sub(r"(?s)\[waveforms\].*?(?=\n# --- instruments)", "", LAB)
    return made.replace(
        "# --- instruments", COMMON.format(file=file, volts=volts, more=more) + "\n# --- instruments", 1
    )


def index(path: Path, name: Callable[[int, int], tuple[str, str]]) -> None:
    """A table with one row a block."""
    lines = ["run;magnet;mode;drive_Hz;time;Y_mm;Z_mm;file;array"]
    for i, (scan, magnet, mode) in enumerate(SCANS):
        for point in range(POINTS):
            lines.append(";".join([scan, magnet, str(mode), *facts(point).values(), *name(i, point)]))
    path.write_text("\n".join(lines) + "\n", "utf-8")


INDEX = '[waveforms.index]\nfile = "runs.csv"\nscan = "run"\nsamples = "file"\n'


def in_groups(root: Path) -> str:
    with h5py.File(root / "wire.h5", "w") as file:
        for i, (scan, magnet, mode) in enumerate(SCANS):
            group = file.create_group(scan)
            group.attrs.update({"magnet": magnet, "mode": mode})
            for point in range(POINTS):
                block = group.create_dataset(f"{point:03d}", data=samples(i, point))
                block.attrs.update(
                    {k: v if k == "time" else float(v.replace(",", ".")) for k, v in facts(point).items()}
                )
    return lab("wire.h5", "")


def in_wav(root: Path) -> str:
    for i in range(len(SCANS)):
        for point in range(POINTS):
            with wave.open(str(root / f"r{i}-{point}.wav"), "wb") as file:
                file.setnchannels(CHANNELS)
                file.setsampwidth(2)
                file.setframerate(1000)
                file.writeframes(samples(i, point).astype("<i2").tobytes())
    index(root / "runs.csv", lambda i, p: (f"r{i}-{p}.wav", ""))
    # a sample of a WAV file is a part of full scale; the power of two keeps every bit
    return lab("*.wav", f'format = "wav"\n{INDEX}', LSB * 2**15)


def in_npy(root: Path) -> str:
    for i in range(len(SCANS)):
        for point in range(POINTS):
            np.save(root / f"r{i}-{point}.npy", np.asfortranarray(samples(i, point)))
    index(root / "runs.csv", lambda i, p: (f"r{i}-{p}.npy", ""))
    return lab("*.npy", f'format = "numpy"\n{INDEX}')


def in_npz(root: Path) -> str:
    for i in range(len(SCANS)):
        p0, p1, p2, p3, p4 = (samples(i, point) for point in range(POINTS))
        np.savez_compressed(root / f"r{i}.npz", p0=p0, p1=p1, p2=p2, p3=p3, p4=p4)
    index(root / "runs.csv", lambda i, p: (f"r{i}.npz", f"p{p}"))
    return lab("*.npz", f'format = "numpy"\n{INDEX}block = "array"\n')


def in_groups_with_an_index(root: Path) -> str:
    in_groups(root)
    index(root / "runs.csv", lambda i, p: ("wire.h5", f"{SCANS[i][0]}/{p:03d}"))
    return lab("wire.h5", f'{INDEX}block = "array"\n')


def in_one_dataset(order: tuple[str, ...]) -> Callable[[Path], str]:
    names = ("scan", "place", "time", "channel")

    def made(root: Path) -> str:
        whole = np.array([[samples(i, p) for p in range(POINTS)] for i in range(len(SCANS))])
        with h5py.File(root / "wire.h5", "w") as file:
            group = file.create_group("run")
            group["signals"] = whole.transpose([names.index(d) for d in order])
            group["names"] = [scan for scan, _, _ in SCANS]
            group["magnet"] = [magnet for _, magnet, _ in SCANS]
            group["mode"] = np.array([mode for _, _, mode in SCANS])
            each = [facts(p) for p in range(POINTS)]
            group["time"] = [f["time"] for f in each]
            group["drive_Hz"] = np.full((len(SCANS), POINTS), 76.8)
            for key in ("Y_mm", "Z_mm"):
                group[key] = np.array([float(f[key].replace(",", ".")) for f in each])
        told = f'dataset = "run/signals"\ndimensions = {list(order)}\nscan_names = "names"\n'
        return lab("wire.h5", told.replace("'", '"'))

    return made


WAYS: dict[str, Callable[[Path], str]] = {
    "WAV": in_wav,
    "npy": in_npy,
    "npz": in_npz,
    "groups with an index": in_groups_with_an_index,
} | {
    ", ".join(order): in_one_dataset(order)
    for order in list(itertools.permutations(("scan", "place", "channel", "time")))[::5]
}


def begun(root: Path, way: Callable[[Path], str]) -> tuple[Campaign, list[Fault]]:
    for name, text in TABLES.items():
        (root / "data" / name).parent.mkdir(parents=True, exist_ok=True)
        (root / "data" / name).write_text(text, "utf-8")
    (root / "lab.toml").write_text(way(root / "data/bench"), "utf-8")
    notes = begin(root / "data", root / "lab.toml", root / "campaign", {"girder": "G8"}, "2026-06-01T00:00:00Z")
    return load_campaign(root / "campaign"), notes


def refused(root: Path, way: Callable[[Path], str]) -> list[Fault]:
    with pytest.raises(Refused) as refusal:
        begun(root, way)
    assert not (root / "campaign").exists()
    return list(refusal.value.faults)


@pytest.fixture(scope="module")
def grouped(tmp_path_factory: pytest.TempPathFactory) -> Campaign:
    return begun(tmp_path_factory.mktemp("groups"), in_groups)[0]


@pytest.mark.parametrize("name", list(WAYS))
def test_raw_scans_are_the_same_to_the_last_bit(grouped: Campaign, tmp_path: Path, name: str) -> None:
    other, _ = begun(tmp_path, WAYS[name])
    one, two = grouped.occasions[0].raw_scans, other.occasions[0].raw_scans
    assert len(one) == len(two) == len(SCANS)
    for a, b in zip(one, two, strict=True):
        keys = ("name", "magnet", "moved", "magnet_current", "mode")
        assert [getattr(a, k) for k in keys] == [getattr(b, k) for k in keys]
        for key in ("stage_x", "stage_y", "times"):
            assert getattr(a, key).tobytes() == getattr(b, key).tobytes(), key
        for v, w in zip(a.waveforms, b.waveforms, strict=True):
            assert v.read().tobytes() == w.read().tobytes()
            assert (v.sample_rate, v.frequency) == (w.sample_rate, w.frequency)


def test_rows_of_an_index_are_what_stands_behind_a_scan(tmp_path: Path) -> None:
    scan = begun(tmp_path, in_wav)[0].occasions[0].raw_scans[1]
    assert (scan.file, scan.rows) == ("measured/bench/runs.csv", (7, 8, 9, 10, 11))


def spoiled(way: Callable[[Path], str], spoil: Callable[[Path], None]) -> Callable[[Path], str]:
    def made(root: Path) -> str:
        text = way(root)
        spoil(root)
        return text

    return made


def cut(path: Path, share: float = 0.6) -> None:
    data = path.read_bytes()
    path.write_bytes(data[: int(share * len(data))])


def replaced(path: Path, old: str, new: str) -> None:
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), "utf-8")


@pytest.mark.parametrize(
    ("way", "spoil", "file", "given"),
    [
        (in_wav, lambda r: cut(r / "r1-2.wav"), "r1-2.wav", "incomplete: 458 of 764 bytes"),
        (in_npy, lambda r: cut(r / "r1-2.npy"), "r1-2.npy", "incomplete: 380 of 720 bytes of values"),
        (in_npz, lambda r: cut(r / "r1.npz"), "r1.npz", "an incomplete file of"),
        (in_wav, lambda r: (r / "r0-0.wav").unlink(), "runs.csv", "file 'r0-0.wav'"),
        (in_wav, lambda r: (r / "runs.csv").unlink(), "r0-0.wav", "samples without an index"),
        (in_npz, lambda r: replaced(r / "runs.csv", "11.05.2026 09:00:09;0,1", "11.05.2026 09:00:09;0;1"), "runs.csv", "10 cells"),
        (in_npz, lambda r: replaced(r / "runs.csv", ";p4", ";p9"), "runs.csv", "block 'p9' of 'r0.npz'"),
        (in_npy, lambda r: replaced(r / "runs.csv", "QF1;2;76,8;11.05.2026 09:00:18", "QF1;3;76,8;11.05.2026 09:00:18"),
         "runs.csv", "3.0 in 'scan01', which began with 2.0"),
        (in_npy, lambda r: replaced(r / "runs.csv", ";0,3;", ";oben;"), "runs.csv", "'oben'"),
        (in_npy, lambda r: replaced(r / "runs.csv", "r0-1.npy", "r0-0.npy"), "runs.csv", "'r0-0.npy' twice in 'scan01'"),
        (in_npy, lambda r: np.save(r / "r0-1.npy", np.array([{}], object)), "r0-1.npy", "an array of Python objects"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_named_with_its_file(
    tmp_path: Path, way: Callable[[Path], str], spoil: Callable[[Path], None], file: str, given: str
) -> None:
    faults = refused(tmp_path, spoiled(way, spoil))
    assert any(Path(f.file).name == file and f.given.startswith(given) for f in faults), [str(f) for f in faults]


def test_another_sampling_rate_than_described_is_a_contradiction(tmp_path: Path) -> None:
    faults = refused(tmp_path, lambda root: in_wav(root).replace('"1000 Hz"', '"2000 Hz"'))
    assert [(f.given, f.expected) for f in faults] == [("sample_rate 1000 Hz", "2000 Hz as in the lab description")]


def test_files_of_two_rates_are_told_apart(tmp_path: Path) -> None:
    def other(root: Path) -> None:
        data = bytearray((root / "r1-4.wav").read_bytes())
        struct.pack_into("<I", data, 24, 1001)
        (root / "r1-4.wav").write_bytes(data)

    faults = refused(tmp_path, spoiled(in_wav, other))
    assert any(Path(f.file).name == "r1-4.wav" and f.given == "sample_rate 1001.0" for f in faults)


def test_samples_at_full_scale_are_told_with_their_share(tmp_path: Path) -> None:
    def clipped(root: Path) -> None:
        data = bytearray((root / "r0-2.wav").read_bytes())
        for sample in range(30, 60):
            struct.pack_into("<h", data, 44 + 2 * (CHANNELS * sample + 1), 32767)
        (root / "r0-2.wav").write_bytes(data)

    _, notes = begun(tmp_path, spoiled(in_wav, clipped))
    told = [n for n in notes if "full scale" in n.given]
    # 30 of 120 samples; single samples at full scale in the other channel are no clipping
    assert [(Path(n.file).name, n.given) for n in told] == [
        ("r0-2.wav", "25.00% of the samples of channel 2 at full scale")
    ]


@pytest.mark.parametrize(
    ("change", "column", "given"),
    [
        (('dimensions = ["scan", "place", "channel", "time"]\n', ""), "waveforms", "no dimensions"),
        (('"channel", "time"]', '"time", "time"]'), "waveforms.dimensions", "scan, place, time, time"),
        (('"scan", "place"', '"place"'), "", "dataset 'run/signals' of shape (2, 5, 3, 120)"),
        (
            ('scan_names = "names"', 'scan_names = "magnets"'),
            "waveforms.scan_names",
            "no dataset 'magnets' of that size",
        ),
        (('dataset = "run/signals"', 'dataset = "run/signal"'), "", "nothing at 'run/signal' ('signal')"),
        (('dataset = "run/signals"', 'dataset = "run"'), "waveforms.dataset", "'run' is a group"),
    ],
)
def test_a_dataset_that_is_not_as_described(tmp_path: Path, change: tuple[str, str], column: str, given: str) -> None:
    way = in_one_dataset(("scan", "place", "channel", "time"))
    [fault] = refused(tmp_path, lambda root: way(root).replace(*change))
    assert (fault.column or "", fault.given) == (column, given)


@pytest.mark.parametrize("way", [in_wav, in_npy])
def test_files_that_say_nothing_of_themselves_need_an_index(tmp_path: Path, way: Callable[[Path], str]) -> None:
    [fault] = refused(tmp_path, lambda root: way(root).replace(INDEX, ""))
    assert "which do not say what they hold" in fault.given
    assert fault.column == "waveforms"


@pytest.mark.parametrize("kind", ["external link", "soft link", "external storage", "virtual dataset"])
def test_samples_outside_the_file_are_refused_by_name(tmp_path: Path, kind: str) -> None:
    way = in_one_dataset(("scan", "place", "channel", "time"))

    def moved(root: Path) -> None:
        with h5py.File(root / "wire.h5", "r+") as file:
            whole = file["run/signals"][()]
            del file["run/signals"]
            if kind == "external link":
                file["run/signals"] = h5py.ExternalLink("/etc/other.h5", "/signals")
            elif kind == "soft link":
                file["elsewhere"] = whole
                file["run/signals"] = h5py.SoftLink("/elsewhere")
            elif kind == "external storage":
                outside = [(str(tmp_path / "secret.raw"), 0, h5py.h5f.UNLIMITED)]
                file["run"].create_dataset("signals", whole.shape, whole.dtype, external=outside)
            else:
                layout = h5py.VirtualLayout(whole.shape, whole.dtype)
                layout[...] = h5py.VirtualSource("other.h5", "signals", whole.shape)
                file["run"].create_virtual_dataset("signals", layout)

    faults = refused(tmp_path, spoiled(way, moved))
    words = {
        "external link": "is a link to another file (/etc/other.h5)",
        "soft link": "is a link to '/elsewhere'",
        "external storage": "keeps its values in another file",
        "virtual dataset": "is put together from other files",
    }
    assert [f for f in faults if words[kind] in f.given], [str(f) for f in faults]
