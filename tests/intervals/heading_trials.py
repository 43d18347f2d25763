"""Turns, swings, straight runs and comparisons of simulated heading sensors, and the figures of their calibration."""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Iterator
from functools import lru_cache, partial

import attrs

from garboard.findings import Finding
from garboard.job_view import FieldKey
from garboard.recordings.simulated_boat import MEASURED_NOISE, NOISE_FORGETS, Compass, Errors, with_errors
from garboard.records import JsonValue
from garboard.samples import Sample, gather
from garboard.series import compass_angle, signed_angle
from intervals import declared
from intervals.harness import Case, Figure, Stated, Trial, at_95, host, typed, typed_job, with_recording

NAME = "heading_calibration"
TURN, SWING, RUNS, COMPARED = (f"{NAME}.{step}" for step in ("steady_turn", "swing", "straight_runs", "comparison"))
PLACE: dict[FieldKey, JsonValue] = {
    (f"{NAME}.place", "latitude", "", ""): "40.0 deg",
    (f"{NAME}.place", "longitude", "", ""): "-70.0 deg",
    (f"{NAME}.place", "date", "", ""): "2026-11-25",
}
HELM: dict[str, JsonValue] = {"heading_sensors": [{"name": "helm compass", "source": "7"}]}
TWO: dict[str, JsonValue] = {
    "heading_sensors": [{"name": "helm compass", "source": "7"}, {"name": "mast sensor", "source": "9"}]
}
EVERY = 0.2  # between samples [s]


@lru_cache(maxsize=1)
def model_variation() -> tuple[float, float]:
    """Variation at the place by the program's model, and its ± [deg]."""
    job = host().with_defaults(typed_job(HELM, PLACE))
    (finding,) = next(one for one in host().calculators if one.key == f"{NAME}.variation").compute(job)
    number = finding.numbers[0]
    return number.value, number.expanded_uncertainty or 0.0


def a_sensor(chance: random.Random, source: str = "7", *, constant: float = 0.0) -> Compass:
    """A sensor as it is before its calibration."""
    return Compass(
        source=source,
        constant=constant,
        sine=chance.gauss(0, declared.DEVIATION),
        cosine=chance.gauss(0, declared.DEVIATION),
        sine_of_twice=chance.gauss(0, declared.DEVIATION_OF_TWICE),
        cosine_of_twice=chance.gauss(0, declared.DEVIATION_OF_TWICE),
    )


def sensor_noise(quantity: str, noise: float, scale: float = 1.0, offset: float = 0.0, digit: float = 0.0) -> Errors:
    """Noise of a sensor as measured on real boats, and its tolerances."""
    deviation = noise * MEASURED_NOISE[quantity]
    return Errors(noise=deviation, forgets=NOISE_FORGETS, scale=scale, offset=offset, digit=digit)


# --- steady turns


@attrs.frozen
class Turning:
    """A turn as it truly was: times [s], rates [deg/s] and magnetic directions of the bow [deg], not wrapped."""

    times: tuple[float, ...]
    rates: tuple[float, ...]
    bow: tuple[float, ...]

    @property
    def degrees(self) -> float:
        """Turned in all [deg]."""
        return self.bow[-1] - self.bow[0]


def a_turn(chance: random.Random) -> Turning:
    """A turn of a circle and more, its rate wandering as a helmsman lets it; the log begins and ends within it."""
    way, mean, wanted = chance.choice((-1, 1)), chance.uniform(2.1, 2.8), chance.uniform(380.0, 520.0)
    keep = math.exp(-EVERY / 10.0)
    wander = 0.0
    times, rates, bow = [0.0], [way * mean], [chance.uniform(0, 360)]
    while abs(bow[-1] - bow[0]) < wanted:
        wander = keep * wander + math.sqrt(1 - keep * keep) * chance.gauss(0, 0.07 * mean)
        times.append(times[-1] + EVERY)
        rates.append(way * (mean + wander))
        bow.append(bow[-1] + EVERY * (rates[-1] + rates[-2]) / 2)
    return Turning(tuple(times), tuple(rates), tuple(bow))


def _course_of(turn: Turning, chance: random.Random) -> Iterator[Sample]:
    """Course and speed over ground: a current nobody measured, and a receiver that is late."""
    speed = chance.uniform(5.0, 9.0)
    north, east = chance.gauss(0, declared.ANY_CURRENT), chance.gauss(0, declared.ANY_CURRENT)
    late = round(declared.COURSE_LAG / EVERY)
    before = [turn.bow[0] - turn.rates[0] * EVERY * (late - step) for step in range(late)]
    for time, bow in zip(turn.times, [*before, *turn.bow], strict=False):
        true = math.radians(bow)
        over_north, over_east = speed * math.cos(true) + north, speed * math.sin(true) + east
        course = compass_angle(math.degrees(math.atan2(over_east, over_north)))
        yield Sample(time, "course_over_ground", course, "3", "", "true")
        yield Sample(time, "speed_over_ground", math.hypot(over_north, over_east), "3")


def _turn_case(chance: random.Random, turn: Turning, samples: Iterable[Sample], errors: dict[str, Errors]) -> Case:
    told = {(TURN, "calm_water", "", ""): True}
    shown = with_errors(samples, errors, seed=chance.randrange(1 << 30))
    job = with_recording(typed_job(HELM, told), TURN, "turn_recording", gather("turn.log", shown))
    return Case(job, {"turned": turn.degrees, "mean rate": abs(turn.degrees) / turn.times[-1]})


def turn_by_rate(chance: random.Random, noise: float) -> Case:
    """A turn counted from the rate of turn, with the course over ground beside it."""
    turn = a_turn(chance)
    samples = [Sample(time, "rate_of_turn", rate, "7") for time, rate in zip(turn.times, turn.rates, strict=True)]
    errors = {
        "rate_of_turn": sensor_noise(
            "rate_of_turn",
            noise,
            scale=1 + at_95(chance, declared.RATE_SCALE),
            offset=at_95(chance, declared.RATE_ZERO),
            digit=0.0018,
        ),
        "course_over_ground": sensor_noise("course_over_ground", noise, digit=0.0057),
        "speed_over_ground": sensor_noise("speed_over_ground", noise),
    }
    return _turn_case(chance, turn, [*samples, *_course_of(turn, chance)], errors)


def turn_by_heading(chance: random.Random, noise: float) -> Case:
    """A turn counted from the heading of a sensor that was not swung yet."""
    turn, sensor = a_turn(chance), a_sensor(chance)
    samples = [
        Sample(time, "heading", sensor.reads(bow), "7", "", "magnetic")
        for time, bow in zip(turn.times, turn.bow, strict=True)
    ]
    errors = {
        "heading": sensor_noise("heading", noise, digit=0.0057),
        "course_over_ground": sensor_noise("course_over_ground", noise, digit=0.0057),
    }
    return _turn_case(chance, turn, [*samples, *_course_of(turn, chance)], errors)


# --- swings


def typed_swing(reference: str, chance: random.Random, noise: float) -> Case:
    """Eight headings read by eye against a reference that is off the same way for all of them."""
    sensor = a_sensor(chance, constant=chance.gauss(0, 1.0))
    model, model_within = model_variation()
    variation = model + (at_95(chance, model_within) if reference == "true" else 0.0)
    of_reference = at_95(chance, declared.SWING_REFERENCE)
    values: dict[FieldKey, JsonValue] = {(SWING, "reference", "", ""): reference, **PLACE}
    for number in range(8):
        compass = compass_angle(45.0 * number + chance.uniform(-4, 4))
        magnetic = compass + sensor.deviation_on(compass)
        bow = magnetic + (variation if reference == "true" else 0.0) + of_reference
        row = str(number + 1)
        shown = compass_angle(compass + noise * chance.gauss(0, declared.SWING_BY_EYE))
        values[SWING, "reference_direction", row, ""] = typed(compass_angle(bow), 0.5, "deg")
        values[SWING, "compass_heading", row, "helm compass"] = typed(shown, 0.5, "deg")
    return Case(typed_job(HELM, values), _swing_truths(sensor))


def _swing_truths(sensor: Compass) -> dict[str, float]:
    of = (sensor.constant, sensor.sine, sensor.cosine, sensor.sine_of_twice, sensor.cosine_of_twice)
    named = {f"coefficient {letter}": value for letter, value in zip("ABCDE", of, strict=True)}
    return {**named, "card at 030": sensor.deviation_on(30.0)}


def on_the_card(findings: Iterable[Finding]) -> Stated | None:
    """What the deviation card says on 030."""
    for finding in findings:
        for table in finding.tables:
            for row in table.rows if table.card else ():
                if row[0] == "030":
                    value, half = float(row[1]), float(row[2])
                    return Stated(value, value - half, value + half)
    return None


@attrs.frozen(kw_only=True)
class RunsOf:
    """How straight runs are made, and what was entered of them.

    set_known   : whether the direction the current sets towards was entered
    over_ground : whether the speed over ground was recorded: without it the runs do not show their current
    wind        : whether a steady breeze pushes the boat aside and makes it faster down the wind
    """

    set_known: bool = False
    over_ground: bool = True
    wind: bool = False


def straight_runs(how: RunsOf, chance: random.Random, noise: float) -> Case:
    """Eight recorded straight runs against the course over ground, in a current that was entered."""
    sensor = a_sensor(chance, constant=chance.gauss(0, 1.0))
    variation = model_variation()[0] + at_95(chance, model_variation()[1])
    still, drift, sets = chance.uniform(9.0, 15.0), chance.uniform(0.3, 0.6), chance.uniform(0, 360)
    entered = max(0.1, drift + at_95(chance, declared.KNOWN_CURRENT))
    blows_to, faster, leeway = chance.uniform(0, 360), 0.0, 0.0
    if how.wind:
        faster, leeway = at_95(chance, declared.DOWN_WIND), at_95(chance, declared.LEEWAY)
    samples: list[Sample] = []
    time = 0.0
    for number in range(8):
        compass = compass_angle(45.0 * number + chance.uniform(-4, 4))
        bow = compass + sensor.deviation_on(compass) + variation
        to_wind = math.radians(blows_to - bow)
        true, speed = math.radians(bow + leeway * math.sin(to_wind)), still + faster * math.cos(to_wind)
        north = speed * math.cos(true) + drift * math.cos(math.radians(sets))
        east = speed * math.sin(true) + drift * math.sin(math.radians(sets))
        course = compass_angle(math.degrees(math.atan2(east, north)))
        for _ in range(30):
            samples.append(Sample(time, "heading", compass, "7", "", "magnetic"))
            samples.append(Sample(time, "course_over_ground", course, "3", "", "true"))
            samples.append(Sample(time, "speed_through_water", speed, "4"))
            if how.over_ground:
                samples.append(Sample(time, "speed_over_ground", math.hypot(north, east), "3"))
            time += 1.0
        time += 10.0
    noisy = ("heading", "course_over_ground", "speed_through_water", "speed_over_ground")
    errors = {name: sensor_noise(name, noise) for name in noisy}
    shown = gather("runs.log", with_errors(samples, errors, seed=chance.randrange(1 << 30)))
    values: dict[FieldKey, JsonValue] = {**PLACE, (RUNS, "current_speed", "", ""): typed(entered, 0.1, "kn")}
    if how.set_known:
        thought = compass_angle(sets + at_95(chance, declared.KNOWN_SET))
        values[RUNS, "current_sets_towards", "", ""] = typed(thought, 1.0, "deg")
    return Case(with_recording(typed_job(HELM, values), RUNS, "runs_recording", shown), _swing_truths(sensor))


# --- two sensors


def two_sensors(forgets: float, seconds: float, chance: random.Random, noise: float) -> Case:
    """Two sensors on a straight run; the difference between them wanders and forgets itself in so many seconds."""
    course, offset = chance.uniform(0, 360), chance.uniform(-4, 4)
    times = [0.5 * step for step in range(round(2 * seconds) + 1)]
    samples = [
        Sample(time, "heading", compass_angle(course + of), source, "", "magnetic")
        for time in times
        for source, of in (("7", 0.0), ("9", offset))
    ]
    wandering = Errors(noise=noise * MEASURED_NOISE["heading"], forgets=forgets)
    shown = with_errors(samples, {"heading": wandering}, seed=chance.randrange(1 << 30))
    job = with_recording(typed_job(TWO, {}), COMPARED, "comparison_recording", gather("both.log", shown))
    return Case(job, {"mean difference": signed_angle(offset)})


def _swing_figures(how: str, calculator: str) -> tuple[Figure, ...]:
    return (
        *(
            Figure(name=f"coefficient {letter}, {how}", calculator=calculator, number=f"coefficient {letter}")
            for letter in "ABCDE"
        ),
        Figure(
            name=f"deviation card, {how}",
            calculator=calculator,
            truth="card at 030",
            read=on_the_card,
        ),
    )


TRIALS = (
    Trial(
        name="turns by rate of turn",
        make=turn_by_rate,
        figures=(
            Figure(name="turn total, by rate of turn", calculator=TURN, number="turned"),
            Figure(
                name="mean rate of turn, by rate of turn",
                calculator=TURN,
                number="mean rate of turn",
                truth="mean rate",
            ),
            Figure(
                name="turn total, by course over ground",
                calculator=TURN,
                number="turned by course over ground",
                truth="turned",
            ),
        ),
    ),
    Trial(
        name="turns by heading",
        make=turn_by_heading,
        figures=(Figure(name="turn total, by heading", calculator=TURN, number="turned"),),
    ),
    Trial(
        name="typed swing, magnetic",
        make=partial(typed_swing, "magnetic"),
        figures=_swing_figures("typed against magnetic", SWING),
        boats=2000,
    ),
    Trial(
        name="typed swing, true",
        make=partial(typed_swing, "true"),
        figures=_swing_figures("typed against true", SWING),
    ),
    *(
        Trial(name=name, make=partial(straight_runs, how), figures=_swing_figures(name, RUNS))
        for name, how in (
            ("straight runs, set known", RunsOf(set_known=True)),
            ("straight runs, set unknown", RunsOf(over_ground=False)),
            ("straight runs, current by the runs", RunsOf(wind=True)),
        )
    ),
    *(
        Trial(
            name=f"two sensors, noise forgets in {forgets:g} s",
            make=partial(two_sensors, forgets, seconds),
            figures=(
                Figure(
                    name=f"offset of two sensors, {seconds:g} s, noise forgets in {forgets:g} s",
                    calculator=COMPARED,
                    number="mean difference",
                ),
            ),
        )
        for forgets, seconds in ((1.0, 150.0), (4.0, 150.0), (8.0, 400.0))
    ),
)

KNOWN: dict[str, str] = {}
"""Figures that do not hold yet, with the reason. Mend the plugin and take the line out; never loosen the rule."""
