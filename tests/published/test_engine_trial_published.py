"""The engine trial against figures published elsewhere.

[A] A public page with a standing wave calculator, its worked example: 100 W forward and 5 W reflected give 1.58.
[B] Another one, its worked examples: 10 W forward and 1 W reflected give 1.92; 25 W and 1 W give 1.5.
[C] U.S. Coast Guard, Boatbuilder's Handbook, subpart C, the special discussion of 33 CFR 183.41.
[D] 33 CFR 183.41(b).
[E] 33 CFR 175.320(a)(1), the sentence on outboards; its table was not at hand, so its numbers only advise.
"""

import pytest

from garboard_engine_trial.instruments import standing_wave_ratio
from garboard_engine_trial.label import extinguishers_wanted, persons_of_weight


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


@pytest.mark.parametrize(("pounds", "persons"), [(550.0, 4), (547.0, 4), (546.0, 4)])
def test_persons_that_go_with_a_weight_of_persons(pounds: float, persons: int) -> None:
    """[C]: (550 + 32) / 141 = 4.128, printed 4.12, is 4 persons; 547 lb and 546 lb too."""
    assert persons_of_weight(pounds) == persons


def test_half_a_person_counts_as_one() -> None:
    """[D]: a fraction of one half or more goes up: 141 * 3.5 - 32 = 461.5 lb is 4 persons, a tenth less is 3."""
    assert [persons_of_weight(pounds) for pounds in (461.4, 461.5)] == [3, 4]


def test_an_open_outboard_boat_under_26_ft_needs_no_extinguisher() -> None:
    """[E]: not required below 26 ft where the construction cannot trap gases or vapours."""
    assert [extinguishers_wanted(length, True) for length in (25.9, 26.0)] == [0, 2]
