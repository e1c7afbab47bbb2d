"""Check moves in the words of the terminal."""

from __future__ import annotations

from monochord.campaign.found.signs import CONFIRMED, CONTRADICTED, SignCheck
from monochord.report.words import counted


def signs_text(signs: tuple[SignCheck, ...]) -> str:
    """One line for each check, then how many came out how.

    >>> print(signs_text(()))
    no check move is noted: put a table of them into an occasion's folder and describe it as tables.check_moves
    """
    if not signs:
        return "no check move is noted: put a table of them into an occasion's folder and describe it as tables.check_moves"
    lines = [f"{s.file}, line {s.line}: {s.move}: {s.words}" for s in signs]
    confirmed = sum(s.outcome == CONFIRMED for s in signs)
    wrong = sum(s.outcome == CONTRADICTED for s in signs)
    rest = len(signs) - confirmed - wrong
    total = f"{counted(len(signs), 'check')}: {confirmed} confirmed, {wrong} contradicted, {rest} cannot be told"
    return "\n".join([*lines, total])
