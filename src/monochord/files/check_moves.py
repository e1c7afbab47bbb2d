"""Check moves as the crew noted them: what was moved, which way, how far, between which occasions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from monochord.campaign.given.check_move import CheckMove
from monochord.files.axes import HOUSE
from monochord.files.columns import Rows
from monochord.files.lab import Lab
from monochord.files.names import hint
from monochord.files.places import line_of
from monochord.files.words import listed
from monochord.ground.faults import Gatherer
from monochord.ground.frames import DIRECTIONS

#: Senses in which a bolt is turned, seen along the way it pushes.
SENSES = ("clockwise", "anticlockwise")


def check_moves(rows: Rows, lab: Lab, names: Mapping[str, Iterable[str]], faults: Gatherer) -> list[CheckMove]:
    """The check moves of one table; unknown names and directions are faults.

    names  what -> names that there are; any name is taken of what is not among them
    """
    found = []
    for row, (what, name) in enumerate(zip(rows.text["what"], rows.text["name"], strict=True)):
        said = rows.text["direction"][row]
        file, at = rows.file, rows.lines[row]
        known = list(names.get(what, ()))
        if known and name not in known:
            remedy = f"{hint(name, known)}mend the name"
            faults.add(
                f"{what} {name!r}", f"one of {listed(known)}", remedy, file=file, line=at, column=rows.names["name"]
            )
            continue
        vector = lab.axes.direction(said)
        if vector is None and not (what == "bolt" and said in SENSES):
            expected = f"an axis letter, {', '.join(DIRECTIONS)}" + (f", {', '.join(SENSES)}" if what == "bolt" else "")
            remedy = 'mend the cell, or give words for it in the lab description, such as words = { outward = "left" }'
            faults.add(f"direction {said!r}", expected, remedy, file=file, line=at, column=rows.names["direction"])
            continue
        keys = _keys(what, vector, lab)
        line = line_of(lab.root.document.text, tuple(keys.split(",")[0].split(" ")[0].split(".")))
        size, turns = rows.known("size", row), rows.known("turns", row)
        before, after = (_told(rows, key, row) for key in ("before", "after"))
        found.append(
            CheckMove(what, name, said, vector, size, turns, before, after, keys, line, rows.file, rows.lines[row])
        )
    return found


def _told(rows: Rows, key: str, row: int) -> str:
    return rows.text[key][row] if key in rows.text else ""


def _keys(what: str, vector: tuple[float, float, float] | None, lab: Lab) -> str:
    """What of the description a move of this kind proves."""
    if what == "bolt":
        return "tables.bolts.positive_turn, tables.bolts.columns.right_handed"
    letter = next(
        (lt for lt in HOUSE if vector is not None and abs(vector[HOUSE.index(lab.axes.house(lt)[0])]) > 0.5), "x"
    )
    if what == "wire":
        return f"tables.wire_scans.columns.stage_{letter} sign"
    return f"frame.{letter}, angles.horizontal"
