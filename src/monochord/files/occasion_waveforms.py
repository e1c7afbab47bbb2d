"""All raw signals of one occasion: every file by itself, or the many that an index puts in order."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from pathlib import Path

from monochord.files.checksum import content
from monochord.files.lab import Lab
from monochord.files.signals import Signals
from monochord.files.waveform_index import INDEX, indexed
from monochord.files.waveforms import signals_of
from monochord.ground.faults import Gatherer, Refused


def occasion_signals(
    lab: Lab, samples: Mapping[str, Path], indexes: Mapping[str, Path], faults: Gatherer
) -> list[tuple[str, Signals]]:
    """The files of an occasion that hold raw signals, each opened, with the name under which its rows are told.

    samples, indexes  name as shown -> path of the file;  faults  gathers what does not fit
    """
    node = lab.root.node("waveforms")
    found: list[tuple[str, Signals]] = []
    if INDEX not in lab.forms:
        for name, path in samples.items():
            try:
                found.append((name, signals_of(path, name, node)))
            except Refused as refusal:
                faults.faults.extend(refusal.faults)
        return found
    if samples and not indexes:
        expected = f"the index {lab.files[INDEX]!r} beside it"
        remedy = "put the index into the folder; without it nobody knows what was measured"
        faults.add("samples without an index", expected, remedy, file=next(iter(samples)))
    opening = {name: partial(signals_of, path, name, node) for name, path in samples.items()}
    for name, path in indexes.items():
        try:
            put = indexed((content(path, name), name), lab.forms[INDEX], node, opening, faults)
        except Refused as refusal:
            faults.faults.extend(refusal.faults)
            continue
        if put is not None:
            found.append((name, put))
    return found
