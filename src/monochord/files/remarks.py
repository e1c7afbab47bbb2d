"""Rows that are no data: remarks that people wrote into a table, totals, names and units that come again.

A row is taken for a remark only when its first words are words: several of them, or behind a mark that begins
remarks. A single word beside a name (``A, OL``) is a reading that does not fit, and a fault.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from monochord.ground import units
from monochord.ground.faults import Refused

#: Names under which people add totals below a table, in the languages of spreadsheets. Short words that may as well be
#: the name of a point (N, MW, SD) are not among them: a last row with such a name is noted, not left out.
SUMMARIES = frozenset(
    word.strip()
    for words in (
        "sum, total, totals, subtotal, grand total, mean, average, avg, mean value, median, rms, r.m.s",
        "min, max, minimum, maximum, range, peak to peak, count, std, stdev, st.dev, s.d, std dev, std. dev",
        "standard deviation, sigma, variance, σ, ∑, stdev.s, stdev.p",  # noqa: RUF001  sigma is meant
        "summe, gesamt, gesamtsumme, zwischensumme, mittel, mittelwert, durchschnitt, stabw, stdabw, stabwn",
        "standardabweichung, spannweite, anzahl, varianz",
        "somme, moyenne, moy, médiane, écart-type, écart type, ecart-type, ecart type, étendue, effectif",
        "suma, promedio, media, mediana, desviación estándar, desviacion estandar, desv. est, desvest, rango",
        "mínimo, máximo, mín, máx, minimo, maximo, recuento",
        "somma, totale, deviazione standard, dev.st, dev. st, scarto tipo, intervallo, massimo, conteggio",
        "soma, média, desvio padrão, desvio padrao, desvpad, contagem",
        "totaal, gemiddelde, standaardafwijking, bereik, aantal",
        "summa, medel, medelvärde, standardavvikelse, gennemsnit, gjennomsnitt, standardavvik, antal, antall",
        "średnia, odchylenie standardowe, razem, průměr, součet, celkem, směrodatná odchylka",
        "среднее, сумма, итого, всего, минимум, максимум",
        "平均, 平均値, 平均值, 合计, 合計, 总和, 标准差, 標準偏差, 最大, 最小",
    )
    for word in words.split(",")
)

#: What people write for "as above", without blanks, dots and dashes.
_DITTO = frozenset(
    {
        '"',
        '""',
        "''",
        "\u2033",
        "\u3003",
        "\u201e",
        "\u201d",
        "\u201c",
        "\u00bb",
        "do",
        "dto",
        "dito",
        "ditto",
        "idem",
        "dgl",
    }
)

#: What a line begins with that people mean as a remark.
_MARKS = ("#", "!", "//", "--", "**", "==", "%", ";;", "rem ", "note:", "remark:")


def is_total(name: str, totals: Iterable[str]) -> bool:
    """Whether a name is that of a total, whatever stands behind it as punctuation.

    >>> is_total("Sum:", SUMMARIES), is_total("S1", SUMMARIES)
    (True, False)
    """
    return name.casefold().strip(" :.=") in totals


def is_ditto(name: str) -> bool:
    r"""Whether a name only says that the one above goes on.

    >>> [is_ditto(n) for n in ('"', "do.", "-\"-", "D0")]
    [True, True, True, False]
    """
    return re.sub(r"[\s\-.]", "", name).casefold() in _DITTO


def unlike(names: Sequence[str]) -> bool:
    """Whether the last name is unlike all others as that of a total would be: it has no digit and they all have one.

    >>> unlike(["t1", "t2", "t3", "Ensemble"]), unlike(["t1", "t2", "t3", "t4"]), unlike(["air", "t1", "t2", "oil"])
    (True, False, False)
    """
    others = set(names[:-1])
    return len(others) >= 3 and not any(map(str.isdigit, names[-1])) and all(any(map(str.isdigit, n)) for n in others)


def is_remark(text: str) -> bool:
    """Whether a text reads as a remark: behind a mark, two words without digits, or three words and more.

    >>> [is_remark(t) for t in ("target moved", "warm again at 9:30", "# stopped", "P 12", "OL", "A")]
    [True, True, True, False, False, False]
    """
    text = text.strip()
    if text.casefold().startswith(_MARKS):
        return True
    words = [w for w in text.split() if any(map(str.isalpha, w))]
    return len(words) >= 3 or (len(words) >= 2 and not any(map(str.isdigit, text)))


def is_remark_row(cells: Sequence[str], width: int) -> bool:
    """Whether a row that has not the cells of the table is a remark: its first words are, or no digit is in it at all.

    >>> is_remark_row(["target moved", " repeat"], 4), is_remark_row(["C", "6"], 3), is_remark_row(["C"], 3)
    (True, False, False)
    """
    filled = [c.strip() for c in cells if c.strip()]
    if not filled or not is_remark(filled[0]):
        return False
    return len(filled) == 1 or not any(ch.isdigit() for c in filled[1:] for ch in c) or is_remark(",".join(filled))


def is_names_again(cells: Sequence[str], names: Sequence[str]) -> bool:
    """Whether a row is the column names once more."""
    return len(cells) == len(names) and [c.strip().strip('"').strip() for c in cells] == list(names)


def unit_in(text: str) -> units.Unit | None:
    """The unit that a cell consists of, in brackets or without; None when it is none.

    >>> [u.name if (u := unit_in(t)) else None for t in ("[mm]", "gon", "A1", "")]
    ['mm', 'gon', None, None]
    """
    bare = re.sub(r"^[\[(]\s*|\s*[\])]$", "", text.strip())
    if not bare or bare[0].isdigit():
        return None
    try:
        return units.unit(bare)
    except Refused:
        return None
