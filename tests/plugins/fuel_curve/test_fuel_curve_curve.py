"""The curve's landmarks on shapes whose answer is known, and its uncertainty against the law of propagation."""

import math
from collections.abc import Sequence

import attrs
import pytest

from fuel_curve_jobs import DISPLACEMENT, PLANING, Row
from garboard.uncertainty import Part
from garboard_fuel_curve.curve import Point, Shared, fit, landmarks, study, wide_gaps


def points_of(rows: Sequence[Row], run_to_run: float = 0.0, flow_repeats: float = 0.0) -> tuple[Point, ...]:
    return tuple(
        Point(engine_speed=e, speed=s, flow=f, run_to_run=run_to_run, flow_repeats=flow_repeats * f) for e, s, f in rows
    )


def scale(share: float) -> Shared:
    """A flow meter right within a share, at 95 %."""
    return Shared(flow_scale=(Part.of_expanded("flow meter", share),))


GRID = [10.0 * number for number in range(601)]


def dipping(x: float) -> float:
    """Economy with shoulder 3.0 at 1000, bottom 1.0 at 2500, best 2.0 at 4000: half cosines between."""
    if x <= 1000:
        return 3.0
    if x <= 2500:
        return 2.0 + math.cos(math.pi * (x - 1000) / 1500)
    if x <= 4000:
        return 1.5 - 0.5 * math.cos(math.pi * (x - 2500) / 1500)
    return 2.0 - (x - 4000) / 4000


def test_landmarks_of_a_known_shape() -> None:
    # By hand: bottom 1.0 at 2500, best beyond it 2.0 at 4000. Half of the rise is 1.5, reached half way, at 3250;
    # falling, 1.5 lies where cos = -0.5, two thirds of the way from 1000 to 2500, at 2000. Depth 2.0 - 1.0.
    found = landmarks(GRID, [dipping(x) for x in GRID], 0.5)
    assert found.hump is not None
    assert found.hump.bottom.engine_speed == pytest.approx(2500, abs=3)
    assert found.hump.bottom.economy == pytest.approx(1.0, abs=1e-3)
    assert found.hump.best.engine_speed == pytest.approx(4000, abs=10)
    assert found.hump.best.economy == pytest.approx(2.0, abs=1e-3)
    assert found.hump.planing == pytest.approx(3250, abs=1)
    assert found.hump.start == pytest.approx(2000, abs=1)
    assert found.hump.depth == pytest.approx(1.0, abs=1e-3)
    assert found.best.economy == pytest.approx(3.0)


def test_more_recovery_means_a_faster_slowest_planing_speed() -> None:
    economies = [dipping(x) for x in GRID]
    places = [landmarks(GRID, economies, share).hump for share in (0.25, 0.5, 0.75, 1.0)]
    speeds = [place.planing for place in places if place]
    assert speeds == sorted(speeds)
    assert len(set(speeds)) == 4
    assert speeds[-1] == pytest.approx(4000, abs=10)


@pytest.mark.parametrize(
    "shape", [lambda x: 3.0 - x / 3000, lambda x: x / 3000, lambda x: 2.0, lambda x: -((x - 3000) ** 2)]
)
def test_a_curve_without_a_dip_has_no_hump(shape) -> None:  # type: ignore[no-untyped-def]
    assert landmarks(GRID, [shape(x) for x in GRID], 0.5).hump is None


def test_a_hump_starts_at_its_shoulder_where_displacement_running_is_poorer_than_planing() -> None:
    found = landmarks([1, 2, 3, 4, 5, 6], [0.9, 1.0, 0.5, 2.0, 3.0, 2.0], 0.5)
    assert found.hump is not None
    assert found.hump.start == 2


@pytest.mark.parametrize("recovery", [0.0, -0.1, 1.01, math.nan])
def test_a_share_of_recovery_outside_its_range_is_refused(recovery: float) -> None:
    with pytest.raises(ValueError, match="share above 0"):
        landmarks([1, 2, 3], [1, 2, 3], recovery)


def test_flow_and_speed_never_fall_although_readings_do() -> None:
    fitted = fit(points_of([(1000, 5, 2), (2000, 8, 4), (3000, 7, 3.9), (4000, 20, 9)]))
    places = [1000.0 + 10 * number for number in range(301)]
    for line in (fitted.speed.along(places), fitted.flow.along(places)):
        assert line == sorted(line)


def test_the_uncertainty_of_economy_at_a_step_follows_the_law_of_propagation() -> None:
    # JCGM 100:2008, 5.1.6: relative variances of a quotient add. Readings far apart, so that nothing is pooled.
    rows = [(1000, 6.0, 3.0), (2000, 12.0, 6.0), (3000, 24.0, 12.0), (4000, 36.0, 24.0)]
    curve = study(points_of(rows, run_to_run=0.15, flow_repeats=0.01), scale(0.03), 0.5)
    expected = 2.0 * math.sqrt((0.15 / 24) ** 2 + 0.01**2 + (0.03 / 1.96) ** 2)
    assert curve.economy_at(3000).value == pytest.approx(2.0)
    assert curve.economy_at(3000).standard_uncertainty == pytest.approx(expected, rel=0.01)


def test_a_flow_scale_moves_economy_but_not_the_place_of_the_hump() -> None:
    curve = study(points_of(PLANING), scale(0.05), 0.5)
    hump, scaled = curve.landmarks.hump, curve.moves.scale.landmarks.hump
    assert hump is not None
    assert scaled is not None
    assert scaled.planing == pytest.approx(hump.planing, abs=1e-6)
    assert curve.economy_at(hump.best.engine_speed).expanded_uncertainty == pytest.approx(
        0.05 * hump.best.economy, rel=0.02
    )


def test_a_tachometer_counts_only_against_what_lies_outside_the_boat() -> None:
    curve = study(points_of(PLANING), Shared(), 0.5)
    assert curve.speed_at(4000).expanded_uncertainty == 0
    against = curve.estimate(lambda one, off: one.speed.at(4000 + off), "kn", tachometer=20)
    # By hand: 23.0, 27.5, 31.5 kn at 3500, 4000, 4500 rev/min, so 0.0085 kn for each rev/min; 0.95 x 20 x 0.0085.
    assert against.expanded_uncertainty == pytest.approx(0.16, abs=0.005)


def test_the_same_readings_give_the_same_numbers() -> None:
    points, shared = points_of(PLANING, 0.2, 0.02), Shared(engine_speed=5, current=1, receiver=0.1)
    assert study.__wrapped__(points, shared, 0.5) == study.__wrapped__(points, shared, 0.5)


def test_a_hump_buried_in_uncertainty_is_not_clear() -> None:
    sharp = study(points_of(PLANING, 0.05, 0.005), Shared(), 0.5)
    blunt = study(points_of(PLANING, 2.0, 0.2), Shared(), 0.5)
    assert sharp.hump_is_clear
    assert not blunt.hump_is_clear


def test_a_boat_that_never_planes_has_no_hump() -> None:
    curve = study(points_of(DISPLACEMENT, 0.05, 0.01), Shared(), 0.5)
    assert not curve.hump_is_clear


def test_below_the_hump_economy_never_exceeds_the_readings_beside_it() -> None:
    """2.4 / 0.6 = 4.00 at 650, 4.5 / 1.5 = 3.00 at 1000, 2.31 at 1500, 1.67 at 2000 rev/min: straight lines between,
    so 3.50 half way from the first to the second. The ratio of two smooth lines gave more than was read."""
    curve = study(points_of(PLANING), Shared(), 0.5)
    places = [650.0 + number for number in range(1350)]
    assert curve.fitted.economies(places) == sorted(curve.fitted.economies(places), reverse=True)
    assert curve.economy_at(825).value == pytest.approx(3.5)
    assert curve.landmarks.best.engine_speed == 650
    assert curve.landmarks.best.economy == pytest.approx(4.0)
    assert curve.best_step_below_hump == 650


def test_a_boat_that_never_planes_is_best_at_a_step_that_was_run() -> None:
    """4.0 / 0.9 = 4.44 at 1200 rev/min is read best once the first step burns more: 2.5 / 0.6 = 4.17."""
    curve = study(points_of([(700, 2.5, 0.6), *DISPLACEMENT[1:]]), Shared(), 0.5)
    assert curve.landmarks.best.engine_speed == 1200
    assert curve.landmarks.best.economy == pytest.approx(4.0 / 0.9)


def test_the_steps_around_a_place() -> None:
    curve = study(points_of(PLANING), Shared(), 0.5)
    assert [curve.steps_around(at) for at in (650, 660, 2500, 6000)] == [
        (650, 1000),
        (650, 1000),
        (2500, 3000),
        (5500, 6000),
    ]


def test_nearly_as_good_holds_97_percent_all_through() -> None:
    curve = study(points_of(PLANING), Shared(), 0.5)
    hump = curve.landmarks.hump
    assert hump is not None
    low, high = curve.nearly_as_good(hump.best)
    between = [low + (high - low) * number / 50 for number in range(51)]
    assert low < hump.best.engine_speed < high
    assert min(curve.fitted.economies(between)) >= 0.97 * hump.best.economy - 1e-9
    assert curve.fitted.economies([high + 60])[0] < 0.97 * hump.best.economy


def test_gaps_wider_than_allowed_are_named() -> None:
    assert wide_gaps([1000, 1600, 2201, 2700], 600) == ((1600, 2201),)
    assert wide_gaps([1000], 600) == ()


def test_an_engine_speed_outside_the_steps_has_no_economy() -> None:
    curve = study(points_of(PLANING), Shared(), 0.5)
    with pytest.raises(ValueError, match="expected places"):
        curve.economy_at(6001)


def test_points_are_frozen() -> None:
    with pytest.raises(attrs.exceptions.FrozenInstanceError):
        points_of(PLANING)[0].speed = 1.0  # type: ignore[misc]
