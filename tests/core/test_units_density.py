"""Density as a quantity: fuel is sold by volume and burned by weight."""

from math import isclose

import pytest

from garboard.units import convert, parse_amount


def test_a_density_converts_by_the_exact_pound_and_us_gallon() -> None:
    # NIST SP 811 (2008), appendix B.8: 1 lb = 0.45359237 kg, 1 US gal = 3.785411784 L, both exact.
    assert isclose(6.1 * 0.45359237 / 3.785411784, convert(6.1, "lb/gal", "kg/L"), rel_tol=1e-12)


def test_a_weight_is_refused_where_a_density_is_expected() -> None:
    with pytest.raises(ValueError, match="density"):
        parse_amount("6.1 lb", "density")
