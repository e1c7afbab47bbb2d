"""What a lab description says of the format of a table or of waveforms, checked when the description is read."""

from __future__ import annotations

from monochord.files.document import Node
from monochord.files.formats.asked import Kept
from monochord.files.formats.registry import BUILT_IN, find
from monochord.ground.faults import Fault, Refused

#: Formats whose tables stand on a sheet, and those whose tables stand at a place inside.
_WITH_SHEET, _WITH_INSIDE = ("xlsx",), ("numpy", "hdf5")


def kept_of(node: Node, faults: list[Fault]) -> Kept:
    """How the file of a table is kept, from its node in the description; what does not fit is gathered.

    node  such as tables.sightings, with format, sheet, inside and options
    """
    options = {key: value for key, value in node.node("options").data.items() if isinstance(value, str)}
    kept = Kept(node.text("format", "text"), node.text("sheet"), node.text("inside"), options)
    if kept.format != "text":
        try:
            if find(kept.format).table is None:
                expected = "a format that holds tables"
                faults.append(node.fault("format", repr(kept.format), expected, "name another format"))
        except Refused as refusal:
            f = refusal.faults[0]
            faults.append(node.fault("format", f.given, f.expected, f.remedy))
    if kept.format in BUILT_IN:
        for key, where, given in (("sheet", _WITH_SHEET, kept.sheet), ("inside", _WITH_INSIDE, kept.inside)):
            if given and kept.format not in where:
                faults.append(
                    node.fault(key, f"{key} of a {kept.format!r} file", f"none, or format = {where[0]!r}", "mend")
                )
        if options:
            faults.append(node.fault("options", f"options of a {kept.format!r} file", "none", "remove them"))
    return kept


def waveforms_unsaid(node: Node) -> list[Fault]:
    """What a description of waveforms must say besides, by the format in which they are kept.

    node  waveforms of the description
    """
    kept, faults = node.text("format", "hdf5"), list[Fault]()
    try:
        if find(kept).signals is None and kept != "hdf5":
            faults.append(node.fault("format", repr(kept), "a format that holds waveforms", "name another format"))
    except Refused as refusal:
        f = refusal.faults[0]
        faults.append(node.fault("format", f.given, f.expected, f.remedy))
    if kept in ("wav", "numpy") and "index" not in node:
        expected = "[waveforms.index], a table that tells which file belongs to which scan and at which place"
        faults.append(node.fault("", f"{kept} files, which do not say what they hold", expected, "add it"))
    if ("dataset" in node) != ("dimensions" in node):
        lacks = "dimensions" if "dataset" in node else "dataset"
        faults.append(node.fault("", f"no {lacks}", "dataset and dimensions together", f"add {lacks}"))
    if "dataset" in node and (kept != "hdf5" or "index" in node):
        faults.append(node.fault("dataset", "one dataset", "format hdf5 without an index", "remove one of them"))
    named = node.texts("dimensions")
    if "dimensions" in node and (len(set(named)) < len(named) or not {"channel", "time"} <= set(named)):
        expected = "channel and time, scan and place where there are several, each once"
        faults.append(node.fault("dimensions", ", ".join(named) or "nothing", expected, "mend the list"))
    return faults
