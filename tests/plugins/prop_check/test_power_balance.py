"""The balance of power: a worked example, odd cases and numbers out of range."""

import math
import random
import sys
from collections.abc import Sequence

import attrs
import pytest

from garboard_prop_check import power_balance
from garboard_prop_check.power_balance import Candidate, Tried, fit

DISPLAY = 10 / math.sqrt(12)
"""Standard uncertainty of a display that steps by 10 rev/min."""

FIRST = Tried(engine_speed=5150, doubt=DISPLAY, pitch=19, diameter=14.5, speed=37.5, speed_doubt=0.15, slip=0.1384)
SECOND = Tried(engine_speed=5560, doubt=DISPLAY, pitch=17, diameter=14.5, speed=37.9, speed_doubt=0.15)
WINDOW = 5400.0, 6000.0

# Worked example, made by two programs that share no line with this one: 19 x 14.5 in, ratio 1.85, rated 5500 rev/min,
# tolerance 2 %. Engine speed and its half width [rev/min], boat speed and its half width [kn], chance.
BY_ONE_RUN = [
    ((15, 14.5, 1.0), (6011.1, 437.7, 36.04, 3.59, 0.478)),
    ((16, 14.5, 1.0), (5783.8, 304.5, 36.60, 2.74, 0.909)),
    ((17, 14.5, 1.0), (5565.8, 212.6, 37.03, 1.96, 0.940)),
    ((18, 14.5, 1.0), (5355.1, 155.5, 37.33, 1.27, 0.287)),
    ((17, 14.75, 1.0), (5503.3, 219.4, 36.93, 1.93, 0.824)),
    ((17, 14.5, 1.15), (5437.7, 227.6, 35.36, 2.19, 0.628)),
    ((16, 14.5, 1.15), (5658.7, 312.7, 35.01, 2.85, 0.933)),
]
BY_TWO_RUNS = [
    ((16, 14.5, 1.0), (5777.0, 170.8, 37.68, 1.60, 0.994)),
    ((18, 14.5, 1.0), (5352.3, 116.5, 37.76, 0.88, 0.212)),
]


@pytest.mark.parametrize(
    ("tried", "candidate", "told"),
    [
        *(((FIRST,), *one) for one in BY_ONE_RUN),
        *(((FIRST, SECOND), *one) for one in BY_TWO_RUNS),
    ],
)
def test_the_worked_example(
    tried: Sequence[Tried], candidate: tuple[float, float, float], told: Sequence[float]
) -> None:
    """To 0.5 rev/min, 0.01 kn and 0.001."""
    pitch, diameter, weight = candidate
    found = fit(tried, 5500, 0.02).foresee(Candidate(pitch=pitch, diameter=diameter, weight=weight))
    assert found is not None
    assert found.speed is not None
    assert found.engine_speed == pytest.approx(told[0], abs=0.5)
    assert found.expanded_uncertainty == pytest.approx(told[1], abs=0.5)
    assert found.speed == pytest.approx(told[2], abs=0.011)
    assert 1.96 * found.speed_standard_uncertainty == pytest.approx(told[3], abs=0.011)
    assert found.chance(*WINDOW) == pytest.approx(told[4], abs=0.001)


def test_the_pitch_is_known_closer_after_two_runs() -> None:
    """1.991 with a deviation of 0.248, of 2 with 0.30 before."""
    model = fit([FIRST, SECOND], 5500, 0.02)
    assert model.mean[1] == pytest.approx(1.991, abs=0.001)
    assert math.sqrt(model.covariance[1][1]) == pytest.approx(0.248, abs=0.001)


def test_a_diameter_nobody_gives_follows_the_pitch() -> None:
    """1/8 in more for each inch less, which takes some of the gain away."""
    model = fit([FIRST], 5500, 0.02)
    follows, same = model.foresee(Candidate(pitch=17)), model.foresee(Candidate(pitch=17, diameter=14.5))
    given = model.foresee(Candidate(pitch=17, diameter=14.75))
    assert follows is not None
    assert same is not None
    assert follows == given
    assert 40 < same.engine_speed - follows.engine_speed < 90


def test_odd_cases_give_finite_numbers_or_nothing() -> None:
    """10 000 engines, propellers, readings and candidates, likely and not."""
    chance = random.Random(20261129)
    foreseen = 0
    for _ in range(2_500):
        tried = [
            Tried(
                engine_speed=chance.uniform(500, 9000),
                doubt=chance.choice((0.0, 10.0, 400.0)),
                pitch=chance.uniform(3, 40),
                diameter=chance.choice((None, chance.uniform(6, 20))),
                speed=chance.choice((None, chance.uniform(1, 90))),
                speed_doubt=chance.uniform(0, 3),
                slip=chance.uniform(-0.5, 0.9),
                weight=chance.uniform(0.5, 2),
            )
            for _ in range(chance.randint(1, 4))
        ]
        model = fit(tried, chance.uniform(2000, 8000), chance.choice((0.0, 0.02, 0.2)))
        for change in (-4, -1, 0, 3):
            found = model.foresee(Candidate(pitch=tried[0].pitch + change, other_series=chance.choice((0.0, 0.03))))
            if found is not None:
                foreseen += 1
                assert all(math.isfinite(one) for one in attrs.astuple(found) if one is not None)
                assert found.standard_uncertainty > 0
                assert 0 <= found.chance(*WINDOW) <= 1
    assert 2_500 < foreseen < 10_000


def test_a_fit_and_nine_candidates_are_little_work() -> None:
    """Fewer calls of functions than a processor makes in the 20 ms a page may take for them, and no numpy."""
    calls = 0

    def count(_frame: object, event: str, _argument: object) -> None:
        nonlocal calls
        calls += event in ("call", "c_call")

    sys.setprofile(count)
    try:
        model = fit([FIRST, SECOND], 5500, 0.02)
        found = [model.foresee(Candidate(pitch=19 + change)) for change in range(-4, 5)]
    finally:
        sys.setprofile(None)
    assert all(found)
    assert calls < 10_000
    assert not any(name.startswith("numpy") for name in vars(power_balance))


@pytest.mark.parametrize("pitch", [14, 24, 0, -3])
def test_nothing_is_foreseen_of_a_propeller_far_away(pitch: float) -> None:
    """More than four inches, or 30 %, from the one that was run."""
    assert fit([FIRST], 5500, 0.02).foresee(Candidate(pitch=pitch)) is None
    assert fit([attrs.evolve(FIRST, pitch=9)], 5500, 0.02).foresee(Candidate(pitch=6)) is None


@pytest.mark.parametrize(
    ("tried", "rated_speed", "tolerance"),
    [
        ([], 5500, 0.02),
        ([attrs.evolve(FIRST, engine_speed=0)], 5500, 0.02),
        ([attrs.evolve(FIRST, pitch=-1)], 5500, 0.02),
        ([FIRST], 0, 0.02),
        ([FIRST], 5500, -0.1),
    ],
)
def test_numbers_out_of_range_are_refused(tried: Sequence[Tried], rated_speed: float, tolerance: float) -> None:
    """Each with what was expected."""
    with pytest.raises(ValueError, match="expected"):
        fit(tried, rated_speed, tolerance)
