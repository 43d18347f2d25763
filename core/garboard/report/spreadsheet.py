"""Text for spreadsheets: nothing in it is taken for a formula."""

from __future__ import annotations

import re
from unicodedata import category, normalize

from garboard.report.visible import visible
from garboard.units import Amount

FORMULA_SIGNS = frozenset("=+-@")
_UNSEEN = ("Cf", "Cc", "Mn")
_AT_A_FORMULA = re.compile(r"([;\t\n]\s*)(?=[=+\-@])")
"""Where a cell begins for a spreadsheet that parts cells at semicolons or tabs, and a formula with it."""


def harmless(text: str) -> str:
    """Text that no spreadsheet takes for a formula, with a mark for what steers; a plain number stays one.

    A sign counts behind white space, behind characters nobody sees, in full width, and behind a semicolon.

    >>> harmless("-4.5 deg"), harmless("=1+1"), harmless(" \uff1d1+1"), harmless("x;=1+1")
    ('-4.5 deg', "'=1+1", "' \uff1d1+1", "x;'=1+1")
    """
    text = visible(text)
    begun = text.lstrip()
    text = text[: len(text) - len(begun)] + _AT_A_FORMULA.sub(r"\1'", begun)
    seen = next((one for one in text if not one.isspace() and category(one) not in _UNSEEN), "")
    if not text.startswith("\t") and not FORMULA_SIGNS.intersection(normalize("NFKC", seen)[:1]):
        return text
    try:
        Amount.parse(text)
    except ValueError:
        return f"'{text}"
    return text
