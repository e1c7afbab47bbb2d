"""Begin a campaign: a laboratory's folder becomes a campaign's folder, its measured files untouched.

The folder that comes out holds ``campaign.toml`` (occasions, files, checksums, settings), ``girder.toml``
(this girder's own facts), ``girder-type.toml`` (what girders share), ``lab.toml`` (a copy of the
description) and ``measured/`` (byte for byte what the laboratory handed over). It is made beside its
place, read back as a whole, and only then put there: a refused campaign leaves nothing behind.
"""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from monochord.files.campaign_file import CAMPAIGN, GIRDER, GIRDER_TYPE, LAB, load_campaign
from monochord.files.checksum import sha256
from monochord.files.columns import Rows
from monochord.files.container import inspect
from monochord.files.girder_documents import campaign_document, girder_document, type_document
from monochord.files.girder_tables import girder_tables
from monochord.files.imports import IMPORTS, written
from monochord.files.lab import Lab, load_lab
from monochord.files.layout import Found, Layout, survey_folder
from monochord.files.patience import Patience, copied, quiet
from monochord.files.reading import read_file
from monochord.files.repeated import once_each
from monochord.files.settings import Settings, settled
from monochord.files.toml_writer import toml
from monochord.files.words import listed
from monochord.ground.faults import Fault, Gatherer, Refused

#: Folder of the untouched files inside a campaign.
MEASURED = "measured"


def begin(
    folder: Path,
    lab: Path,
    into: Path,
    settings: Mapping[str, str],
    now: str = "",
    *,
    patience: Patience | None = None,
) -> list[Fault]:
    """Make the campaign ``into`` from the laboratory's ``folder`` as its description ``lab`` tells; notes come back.

    settings  what no file says, such as {"temperature.4-back": "20.31 degC"}; see ``docs/files.md``
    patience  with files that are still being written or held by another program; 30 s when left out
    now       UTC time, ISO 8601, from the caller's clock; without it the campaign file does not say when it began

    Raises Refused with all faults of all files; then nothing is left behind.
    """
    described = load_lab(lab, str(lab))
    faults = Gatherer()
    if not folder.is_dir():
        raise Refused([Fault("no such folder", "the laboratory's folder", "check the path", str(folder))])
    if (into / CAMPAIGN).exists() or (into.is_dir() and any(into.iterdir())):
        remedy = "choose another folder, or move this one away"
        raise Refused([Fault("a folder that is not empty", "a new or empty folder", remedy, str(into))])
    layout = survey_folder(folder, described, faults)
    faults.refuse_if_any()
    notes = list(layout.notes)
    patience = patience or Patience()
    quiet({str(folder / f.path): folder / f.path for f in _files(layout)}, patience)
    rows = _girder_rows(folder, layout, described, faults, notes)
    faults.refuse_if_any()
    tables = girder_tables(rows, described, faults)
    notes += tables.notes
    told = settled(settings, tables, [o.name for o in layout.occasions], described, faults)
    faults.refuse_if_any()
    if not told.girder:
        told.girder = folder.resolve().name
        remedy = 'taken from the folder; give it by --set girder="..."'
        notes.append(Fault(f"no name of the girder ({told.girder!r})", "its name", remedy, str(folder)))
    made = into.absolute().with_name(f".{into.absolute().name}.being-made")
    try:
        _fill(made, folder, described, layout, patience)
        shutil.copyfile(lab, made / LAB)
        _write(made, described, layout, told, now)
        notes += _read_back(made, _Origins(folder, lab, told))
        _put(made, into)
    except OSError as error:
        given = f"{error.strerror or error} ({error.filename or made})"
        raise Refused(
            [Fault(given, "a folder that can be written", "free space or rights, then again", str(into))]
        ) from None
    finally:
        shutil.rmtree(made, ignore_errors=True)
    return notes


def _girder_rows(folder: Path, layout: Layout, lab: Lab, faults: Gatherer, notes: list[Fault]) -> dict[str, Rows]:
    found: dict[str, Rows] = {}
    for file in layout.girder_files:
        name = str(folder / file.path)
        if file.role in found:
            faults.add(f"a second file for {file.role}", "one", "mend the pattern or the folder", file=name)
            continue
        rows = read_file(folder / file.path, name, lab.forms[file.role], faults, notes)
        if rows is not None:
            found[file.role] = once_each(rows, lab.forms[file.role], faults, notes)
    return found


def _fill(made: Path, folder: Path, described: Lab, layout: Layout, patience: Patience) -> None:
    """Copies of every described file; containers are inspected in a guarded child."""
    shutil.rmtree(made, ignore_errors=True)
    made.mkdir(parents=True)
    faults: list[Fault] = []
    containers = described.root.node("waveforms").text("format", "hdf5") == "hdf5"
    for file in _files(layout):
        target = made / MEASURED / file.path
        if not target.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            copied(folder / file.path, target, str(folder / file.path), patience)
        if file.role == "waveforms" and containers:
            try:
                inspect(target, str(folder / file.path))
            except Refused as refusal:
                faults += [_with_twin(f, folder / file.path) for f in refusal.faults]
    if faults:
        raise Refused(faults)


def _with_twin(fault: Fault, path: Path) -> Fault:
    """The fault of a container that cannot be read, with the text file of the same name that stands beside it."""
    texts = (".csv", ".txt", ".tsv", ".dat", ".jsonl")
    twins = sorted(p.name for p in path.parent.glob("*") if p.stem == path.stem and p.suffix.lower() in texts)
    if not twins:
        return fault
    hint = f"{listed(twins)} stands beside it: describe that as a table to read it instead"
    return replace(fault, remedy=f"{fault.remedy}; {hint}")


def _files(layout: Layout) -> list[Found]:
    return [*layout.girder_files, *(f for o in layout.occasions for f in o.files)]


def _write(made: Path, lab: Lab, layout: Layout, told: Settings, now: str) -> None:
    """The campaign's own files beside the copies, whose checksums they hold."""
    paths = {f.path: made / MEASURED / f.path for f in _files(layout)}
    sums = {name: (sha256(path), path.stat().st_size) for name, path in paths.items()}
    documents = {
        GIRDER: (girder_document(told), _GIRDER_HEAD),
        GIRDER_TYPE: (type_document(lab), _TYPE_HEAD),
        CAMPAIGN: (campaign_document(layout, lab, told, sums, now=now, measured=MEASURED), _CAMPAIGN_HEAD),
    }
    for name, (data, head) in documents.items():
        (made / name).write_text(toml(data, head), "utf-8", newline="\n")


def _read_back(made: Path, origins: _Origins) -> list[Fault]:
    """The campaign's notes; its faults name the laboratory's own files, for those are the ones to mend."""
    try:
        loaded = load_campaign(made)
        (made / IMPORTS).write_text(written(loaded.imports, loaded.pairings), "utf-8", newline="\n")
        return [origins.of(f) for f in loaded.notes]
    except Refused as refusal:
        raise Refused([origins.of(f) for f in refusal.faults]) from None


@dataclass(frozen=True, slots=True)
class _Origins:
    """Where the contents of a campaign's files come from."""

    folder: Path
    lab: Path
    told: Settings

    def of(self, fault: Fault) -> Fault:
        """The fault at the place from which its cause came: a file of the laboratory, the description, a setting."""
        if fault.file == LAB:
            return replace(fault, file=str(self.lab))
        if fault.file.startswith(f"{MEASURED}/"):
            return replace(fault, file=str(self.folder / fault.file.removeprefix(f"{MEASURED}/")))
        if fault.file == GIRDER and isinstance(fault.column, str):
            if fault.column in self.told.given:
                return replace(fault, file=f"--set {fault.column}", line=None, column=None)
            return self._of_girder(fault, fault.column)
        return fault

    def _of_girder(self, fault: Fault, column: str) -> Fault:
        """Names may hold dots: the longest place that begins so is meant."""
        origin = self.told.tables.origin
        places = [place for place in origin if column == place or column.startswith(f"{place}.")]
        if not places:
            return fault
        file, line = origin[max(places, key=len)]
        return replace(fault, file=file, line=line, column=None)


def _put(made: Path, into: Path) -> None:
    into.parent.mkdir(parents=True, exist_ok=True)
    if into.is_dir():
        into.rmdir()
    made.rename(into)


_GIRDER_HEAD = (
    "This girder's own facts, in the girder frame: x left (looking along the beam), y up, z along the beam.\n"
    "Made from the laboratory's tables; a number may be mended here. Anything of the girder type may be overridden."
)
_TYPE_HEAD = "What girders of this type share; girder.toml goes before it."
_CAMPAIGN_HEAD = (
    "The campaign: occasions in the order they happened, measured files with their checksums, and settings.\n"
    "Measured files are never changed; one whose checksum differs is refused.\n"
    "Tolerances and the rule of the common line stand in girder-type.toml; set them here to go before it."
)
