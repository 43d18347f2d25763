"""Findings as they are put into words."""

import attrs
import pytest

from garboard import findings, job_view, series
from garboard.faults import ValueRefused
from garboard.findings import Axis, Basis, BasisKind, Finding, Number, Verdict, with_uncertainty
from garboard.uncertainty import MeasuredValue
from garboard.units import Amount


@pytest.mark.parametrize(
    ("value", "expanded_uncertainty", "decimals", "expected"),
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
    value: float, expanded_uncertainty: float, decimals: int, expected: str
) -> None:
    assert with_uncertainty(value, expanded_uncertainty, decimals) == expected


def test_an_uncertainty_far_below_the_last_digit_is_said_to_be_less_than_it() -> None:
    assert with_uncertainty(0.5, 1e-14, 1) == "0.500 ± less than 0.001"


@pytest.mark.parametrize("expanded_uncertainty", [1e-15, 0.0004, 0.004, 0.04, 0.4, 4.0, 40.0])
@pytest.mark.parametrize("decimals", [0, 1, 2, 3])
def test_an_uncertainty_never_shows_as_zero_when_it_is_not(expanded_uncertainty: float, decimals: int) -> None:
    half_width = with_uncertainty(7.0, expanded_uncertainty, decimals).partition("±")[2].removeprefix(" less than")
    assert float(half_width) > 0


def test_exact_numbers_and_counts_carry_no_uncertainty() -> None:
    assert str(Number("circuits", 8, decimals=0)) == "8"
    assert str(Number("speed", 45.46, "kn", 0.4)) == "45.5 ± 0.4 kn"
    assert with_uncertainty(2.44, 0.7, plus=True) == "+2.4 ± 0.7"


def test_a_unit_has_one_spelling_in_numbers_and_on_axes() -> None:
    assert str(Number("flow", 545, "gph", decimals=0)) == "545 gal/h"
    assert Axis("Flow", "gph").unit == "gal/h"
    with pytest.raises(TypeError):
        Number("flow", 545, ["gph"])  # type: ignore[arg-type]


@pytest.mark.parametrize(("expanded_uncertainty", "said"), [(None, "0.0"), (0.0, "0.0"), (4.4, "0.0 ± 4.4")])
def test_nothing_carries_no_minus(expanded_uncertainty: float | None, said: str) -> None:
    assert with_uncertainty(-0.04, expanded_uncertainty) == said
    assert with_uncertainty(-0.06, expanded_uncertainty).startswith("−0.1")


def test_a_measured_value_becomes_a_result_with_what_is_known_of_its_uncertainty() -> None:
    told = Number.of("offset", MeasuredValue.by_repeating(2.0, "deg", 0.5, 3), 2)
    assert (told.expanded_uncertainty, told.coverage_factor, told.degrees_of_freedom) == (3.1824 * 0.5, 3.1824, 3)
    exact = Number.of("offset", MeasuredValue(2.0, "deg"))
    assert (exact.expanded_uncertainty, exact.coverage_factor) == (None, None)


def test_what_a_plugin_written_for_version_1_calls_otherwise_still_works() -> None:
    by_name = Number("speed", 45.46, "kn", uncertainty=0.4)
    assert by_name == Number("speed", 45.46, "kn", 0.4) == Number("speed", 45.46, "kn", expanded_uncertainty=0.4)
    assert by_name.uncertainty == attrs.evolve(by_name, name="speed over ground").uncertainty == 0.4
    assert findings.with_spread(60, 0.3, 0) == "60.0 ± 0.3"
    assert (job_view.Asking, job_view.Place) == (job_view.InputCollector, job_view.FieldKey)
    assert job_view.amount_or_fault("12.5 V", "voltage") == Amount("12.5", "V")
    with pytest.raises(ValueRefused, match="text with number and unit"):
        job_view.amount_or_fault(12, "voltage")
    assert series.spread([1.0, 3.0]) == pytest.approx(2**0.5)
    assert series.Steady(0.0, 1.0, {"speed": 3.0}, {"speed": 0.1}).spreads == {"speed": 0.1}
    with pytest.raises(ValueError, match="expanded_uncertainty"):
        Number("speed", 45.46, "kn", uncertainty=-1.0)


def test_the_words_of_a_finding_have_real_minuses() -> None:
    """Whoever wrote them: a check of the shop's own in Python prints a number as Python does."""
    basis = (Basis(BasisKind.SHOP_RULE, "ours"),)
    found = Finding(verdict=Verdict.FAIL, about="x", sentence=f"Room {-100.0:.1f} lb, NL-300.", basis=basis)
    assert (found.sentence, str(Number("room", -100.0, "lb"))) == ("Room \u2212100.0 lb, NL-300.", "\u2212100.0 lb")
