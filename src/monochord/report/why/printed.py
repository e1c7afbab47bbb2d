"""How the report prints a number: the text beside the exact value that every number of the page carries."""

from __future__ import annotations

import html
import re

_DATA = re.compile(r'<data value="([^"]*)">([^<]*)')


def printed_in(page: str) -> dict[float, str]:
    """Exact value -> the text of the first number of the page that has it.

    >>> printed_in('<td><data value="4.1e-05">+41.0 \N{PLUS-MINUS SIGN} 0.5</data></td>')
    {4.1e-05: '+41.0 \N{PLUS-MINUS SIGN} 0.5'}
    """
    found: dict[float, str] = {}
    for value, text in _DATA.findall(page):
        found.setdefault(float(value), html.unescape(text).strip())
    return found
