"""Findings as they are put into words."""

import pytest

from garboard.findings import Number, with_spread


@pytest.mark.parametrize(
    ("value", "uncertainty", "decimals", "expected"),
    [
        # JCGM 100:2008, 7.2.2 (from memory): m_S = (100,021 47 +- 0,000 79) g; two digits of the half width, and
        # the value to match
        (100.02147, 0.00079, 5, "100.02147 ± 0.00079"),
        # JCGM 100:2008, 7.2.6 (from memory): "10,057 62 ohm with u = 27 mohm" becomes 10,058 ohm
        (10.05762, 0.027, 5, "10.058 ± 0.027"),
        (60.0, 0.3, 0, "60.0 ± 0.3"),
        (60.0, 0.04, 0, "60.00 ± 0.04"),
        (472.7, 19.9, 1, "473 ± 20"),
        (12345.0, 1234.0, 0, "12345 ± 1234"),
        (12.4, 0.6, 1, "12.4 ± 0.6"),
        (9.99, 0.0996, 1, "9.99 ± 0.10"),
    ],
)
def test_an_uncertainty_shows_one_or_two_digits_and_the_value_is_rounded_to_match(
    value: float, uncertainty: float, decimals: int, expected: str
) -> None:
    assert with_spread(value, uncertainty, decimals) == expected


def test_an_uncertainty_far_below_the_last_digit_is_said_to_be_less_than_it() -> None:
    assert with_spread(0.5, 1e-14, 1) == "0.500 ± less than 0.001"


@pytest.mark.parametrize("uncertainty", [1e-15, 0.0004, 0.004, 0.04, 0.4, 4.0, 40.0])
@pytest.mark.parametrize("decimals", [0, 1, 2, 3])
def test_an_uncertainty_never_shows_as_zero_when_it_is_not(uncertainty: float, decimals: int) -> None:
    spread = with_spread(7.0, uncertainty, decimals).partition("±")[2].removeprefix(" less than")
    assert float(spread) > 0


def test_exact_numbers_and_counts_carry_no_spread() -> None:
    assert str(Number("circuits", 8, decimals=0)) == "8"
    assert str(Number("speed", 45.46, "kn", 0.4)) == "45.5 ± 0.4 kn"
    assert with_spread(2.44, 0.7, plus=True) == "+2.4 ± 0.7"
