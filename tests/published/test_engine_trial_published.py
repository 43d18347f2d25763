"""The engine trial against figures published elsewhere.

[A] A public page with a standing wave calculator, its worked example: 100 W forward and 5 W reflected give 1.58.
[B] Another one, its worked examples: 10 W forward and 1 W reflected give 1.92; 25 W and 1 W give 1.5.
"""

import pytest

from garboard_engine_trial.instruments import standing_wave_ratio


@pytest.mark.parametrize(
    ("forward", "reflected", "printed", "digit"),
    [(100.0, 5.0, 1.58, 0.005), (10.0, 1.0, 1.92, 0.005), (25.0, 1.0, 1.5, 0.0001)],
)
def test_standing_wave_ratio_from_two_powers(forward: float, reflected: float, printed: float, digit: float) -> None:
    """[A, B]: rounded to the digits printed; 25 W and 1 W is exactly (1 + 1/5) / (1 - 1/5)."""
    assert standing_wave_ratio(forward, reflected) == pytest.approx(printed, abs=digit)


@pytest.mark.parametrize(("forward", "reflected"), [(0.0, 0.0), (10.0, 10.0), (10.0, -1.0)])
def test_standing_wave_ratio_has_a_range(forward: float, reflected: float) -> None:
    with pytest.raises(ValueError, match="reflected < forward"):
        standing_wave_ratio(forward, reflected)
