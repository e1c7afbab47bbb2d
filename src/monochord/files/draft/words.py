"""Words of the trade in the languages in which laboratories head their tables, and units inside names.

Common practice, no source. A word counts only as a whole word of a name, without case and accents.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from monochord.ground import units
from monochord.ground.faults import Refused

#: First cells of rows that add up, whatever the language.
_TOTALS = (
    "sum total totals mean average std rms min max summe gesamt mittel mittelwert somme moyenne ecart suma media promedio "
    "totale somma maximum minimum"
)
TOTALS = frozenset(_TOTALS.split())

_BRACKETED = re.compile(r"^(.*?)\s*[\[(]\s*([^\])]*?)\s*[\])]\s*$")
_SUFFIXED = re.compile(r"^(.+?)[_ /]+([A-Za-zµμ°%][A-Za-z0-9µμ°/²³^%]*)$")
_PER_TURN = re.compile(
    r"^(.*?)_?\b(mm|m)[_ ]?(?:per|pro|par|por|/)[_ ]?(?:turn|umdrehung|umdr|tour|vuelta|giro|u)\b", re.I
)
_AT_CURRENT = re.compile(r"[ _]*(?:\b|_)(?:at|bei|pour|para|per|a|à|@)?[ _]*(\d+(?:[.,]\d+)?)[ _]?A(?![A-Za-z])")
_RATIO = re.compile(r"^(?:(.*)_)?([A-Za-zµ]{1,3})_(?:per|pro|par|por)_([A-Za-zµ]{1,3})$")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])")
_KINDS = {"eff": "rms", "rms": "rms", "peak": "peak", "pk": "peak", "spitze": "peak", "crete": "peak"}
_MORE_UNITS = {
    "mu": "um", "mue": "um", "micron": "um", "microns": "um", "grad c": "degC", "°c": "degC", "celsius": "degC",
    "umdr": "turn", "umdrehungen": "turn", "tours": "turn", "vueltas": "turn", "giri": "turn",
    "degrees": "deg", "gons": "gon",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Name:
    """A column's name taken apart: its words, the unit inside it as Monochord spells it, "rms" or "peak", a current."""

    words: tuple[str, ...]
    unit: str = ""
    amplitude: str = ""
    at_current: str = ""


def dimension_of(spelled: str) -> str:
    """The kind of quantity of a unit, "" when it is none.

    >>> dimension_of("µm"), dimension_of("felt")
    ('length', '')
    """
    text = _MORE_UNITS.get(spelled.strip().casefold(), spelled.strip())
    if not text:
        return ""
    try:
        return units.unit(text).dimension
    except Refused:
        return ""


def unit_of(spelled: str) -> str:
    """The unit as Monochord spells it, "" when it is none."""
    text = _MORE_UNITS.get(spelled.strip().casefold(), spelled.strip())
    return units.unit(text).name if dimension_of(spelled) else ""


def apart(header: str) -> Name:
    """A column's name taken apart.

    >>> apart("drive_mA_eff")
    Name(words=('drive',), unit='mA', amplitude='rms', at_current='')
    >>> apart("mm_per_turn").unit, apart("X_in_um").words, apart("Hz [gon]").words
    ('mm/turn', ('x', 'in'), ('hz',))
    >>> apart("Staerke bei 100 A").at_current, apart("I_A").unit
    ('100 A', 'A')
    """
    if current := _AT_CURRENT.search(header):
        other = apart((header[: current.start()] + header[current.end() :]).strip(" _"))
        return Name(other.words, other.unit, other.amplitude, f"{current[1].replace(',', '.')} A")
    if turn := _PER_TURN.match(header):
        return Name((*split(turn[1]), "pitch"), f"{turn[2].lower()}/turn")
    if (ratio := _RATIO.match(header)) and unit_of(f"{ratio[2]}/{ratio[3]}"):
        return Name(split(ratio[1] or ""), unit_of(f"{ratio[2]}/{ratio[3]}"))
    rest, amplitude = header, ""
    pieces = re.split(r"[_ ]", header)
    if len(pieces) > 1 and _KINDS.get(pieces[-1].casefold()):
        amplitude, rest = _KINDS[pieces[-1].casefold()], header[: -len(pieces[-1]) - 1]
    for pattern in (_BRACKETED, _SUFFIXED):
        if (
            (found := pattern.match(rest))
            and (unit := unit_of(found[2]))
            and (pattern is _BRACKETED or found[2] != "in")
        ):
            return Name(split(found[1]), unit, amplitude)
    return Name(split(rest), "", amplitude)


def split(text: str) -> tuple[str, ...]:
    """The words of a name, without case, accents and signs.

    >>> split("nest_to_wire_x"), split("Länge"), split("dX")
    (('nest', 'to', 'wire', 'x'), ('laenge',), ('d', 'x'))
    """
    spaced = _CAMEL.sub(" ", unicodedata.normalize("NFC", text))
    return tuple(w for w in re.split(r"[^a-z0-9]+", plain(spaced)) if w)


def plain(text: str) -> str:
    """A word without case and accents; German umlauts as two letters.

    >>> plain("Größe"), plain("Vérin")
    ('groesse', 'verin')
    """
    folded = unicodedata.normalize("NFC", text).casefold()
    for sign, letters in {"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "æ": "ae", "ø": "oe"}.items():
        folded = folded.replace(sign, letters)
    return "".join(c for c in unicodedata.normalize("NFD", folded) if not unicodedata.combining(c))


def _by_word(table: dict[str, str]) -> dict[str, str]:
    return {plain(word): ours for ours, words in table.items() for word in words.split("|")}


#: What laboratories call things inside columns -> our words.
KINDS = _by_word(
    {
        "dipole": "dipole|dipol|dipôle|dipolo|bending magnet|dip",
        "quadrupole": "quadrupole|quadrupol|quadrupôle|cuadrupolo|quadrupolo|quad",
        "sextupole": "sextupole|sextupol|sextupôle|sextupolo|sext",
        "octupole": "octupole|oktupol|octupôle|octupolo|ottupolo|oct",
    }
)
STATES = _by_word(
    {
        "loose": "loose|free|slack|off|lose|locker|frei|libre|lâche|suelto|suelta|libero|lento|allentato",
        "touching": "touching|touches|just on|just touching|berührt|liegt an|anliegend|touche|toca|tocando|tocca|a contatto",
        "tight": "tight|firm|hard|fest|angezogen|serré|ferme|apretado|firme|stretto|serrato|fermo",
        "held": "held|held down|clamped|geklemmt|niedergehalten|bridé|bloqué|sujeto|bloqueado|bloccato|fissato",
        "unknown": "unknown|not checked|unbekannt|nicht geprüft|inconnu|desconocido|ignoto",
    }
)
YES_NO = _by_word({"yes": "yes|y|true|ja|oui|si|sí|sì|vrai|wahr|1", "no": "no|n|false|nein|non|faux|falsch|0"})
DIRECTIONS = _by_word(
    {
        "left": "left|links|gauche|izquierda|sinistra",
        "right": "right|rechts|droite|derecha|destra",
        "up": "up|oben|hoch|auf|haut|arriba|alto|su",
        "down": "down|unten|ab|bas|abajo|basso|giù",
        "along beam": "along beam|ahead|downstream|strahlabwärts|vorwärts|aval|avant|adelante|avanti|a valle",
        "against beam": "against beam|upstream|strahlaufwärts|rückwärts|amont|arrière|atrás|indietro|a monte",
    }
)
CARRIERS = _by_word(
    {"girder": "girder|träger|poutre|viga|trave|support", "wall": "wall|wand|mur|pared|muro|floor|boden|sol|suelo"}
)
