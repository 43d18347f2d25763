"""Hull numbers against what the regulations print. All maker codes in invented examples are made up.

Read:
[1] 33 CFR 181.25.
[2] Transport Canada TP 1332 section 2, table 2-1.
[3] Transport Canada, page on the hull serial number (CA- form).
[4] An encyclopaedia's page on ISO 10087.
[5] A boating course book, page 96.
Rows marked "rule" are invented numbers; the rule they break or keep stands in the source named.
"""

from __future__ import annotations

import pytest

from garboard.faults import InputError
from garboard.hull_number import parse

WELL_FORMED = [
    ("ABC12345C393", "US", 3, 1993, "[5] March 1993"),
    (
        "ABC2AB41G091",
        "US",
        7,
        1991,
        "[2] July, year ending 0; Canada's form without CA- reads as the US form",
    ),
    ("CA-ABC2AB41G091", "Canada", 7, 1991, "[3]"),
    ("GB-ABC00042-A3-99", "ISO", 1, 1999, "[4]"),
    ("ABC0001AA526", "US", 1, 2026, "[1] rule"),
    ("XYZHJKLMF626", "US", 6, 2026, "[1] rule: serial of letters without I, O, Q"),
    ("abc00001a526", "US", 1, 2026, "[1] rule: capitals"),
    ("ABC00001A529", "US", 1, 2029, "[1] rule"),
    ("A1C00001A526", "Canada", 1, 2026, "[2] rule: maker code may hold numerals"),
]

MALFORMED = [
    ("ABC00001M526", "position 9", "[1] month letter after L"),
    ("ABC0I001A526", "position 5", "[1] serial holds I"),
    ("ABC00Q01A526", "position 6", "[1] serial holds Q"),
    ("ABC00001A52", "length", "[1] 11 characters"),
    ("ABC00001A5266", "length", "[1] 13 characters"),
    ("ABC000015A26", "position 9", "[1] month and year swapped"),
    ("ABC00001AX26", "position 10", "[1] year is a numeral"),
    ("ABC0000*A526", "position 8", "[1] letters and numerals only"),
    ("", "hull number", "[1] empty"),
]


@pytest.mark.parametrize(("text", "form", "month", "model_year", "source"), WELL_FORMED)
def test_published_numbers_are_read(text: str, form: str, month: int, model_year: int, source: str) -> None:
    """A number the source calls valid is read with the month and model year it states."""
    number = parse(text)
    assert (number.form, number.month, number.model_year) == (form, month, model_year), source


@pytest.mark.parametrize(("text", "where", "source"), MALFORMED)
def test_numbers_that_break_a_published_rule_are_refused(text: str, where: str, source: str) -> None:
    """The fault stands where the rule is broken."""
    with pytest.raises(InputError) as refused:
        parse(text)
    assert where in [fault.where for fault in refused.value.faults], source


def test_a_space_is_not_part_of_the_number() -> None:
    """[1] allows no space: it is taken out, and said."""
    number = parse("ABC 00001A526")
    assert number.text == "ABC00001A526"
    assert number.cleaned == ("spaces removed",)


@pytest.mark.parametrize("text", ["GB-ABC00042-A3-99", "ABC00001A529"])
def test_contradicting_dates_are_doubted(text: str) -> None:
    """[4] prints a year ending 3 with model year 99; both cannot be right. The second is invented."""
    assert parse(text).doubts


@pytest.mark.parametrize("text", [row[0] for row in WELL_FORMED if row[0] not in ("GB-ABC00042-A3-99", "ABC00001A529")])
def test_dates_that_agree_are_not_doubted(text: str) -> None:
    """No published or rule-abiding number is doubted for its dates."""
    assert parse(text).doubts == ()
