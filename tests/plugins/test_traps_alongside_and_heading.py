"""Situations in which a check is easily led astray, each with the verdict and code somebody of the trade would sign.

Every one is a sample job with something altered; they were thought of without looking at what the checks do.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from random import Random

import attrs
import pytest

import garboard
from garboard.fields import implausible
from garboard.findings import Finding, Verdict
from garboard.hosting.host import make_host
from garboard.job_view import FieldKey, JobView, place_of
from garboard.judging.assessing import assess_job_file
from garboard.records import Battery, Circuit, JsonValue, Measurement
from garboard.samples import Recording, Sample, gather
from garboard.units import Amount

HOST = make_host(entry_points=False)
KITTIWAKE = Path(garboard.__file__).parents[2] / "sample_jobs" / "kittiwake" / "job.json"
PILOT, RADIO = "handover.autopilot", "handover.radio"
SWING, TURN, LOADS = "heading_calibration.swing", "heading_calibration.steady_turn", "wiring_audit.loads"


@pytest.fixture(scope="module")
def kittiwake() -> JobView:
    return assess_job_file(KITTIWAKE, HOST).view


def altered(view: JobView, values: Mapping[FieldKey, JsonValue | None], **recordings: Recording) -> JobView:
    """The job with other values at places (step, field, row, of), None for nothing there, and recordings by name."""

    def load(reference: str) -> Recording:
        return recordings[reference] if reference in recordings else view.load_recording(reference)

    rest = [one for one in view.measurements if place_of(one) not in values]
    new = [
        Measurement(step=step, field=field, row=row, of=of, value=value)
        for (step, field, row, of), value in values.items()
        if value is not None
    ]
    return attrs.evolve(view, measurements=(*rest, *new), load_recording=load)


def found(view: JobView, step: str, calculator: str, about: str = "") -> Finding:
    """What one check says, of one thing where it says more."""
    (finding,) = [
        one.finding
        for one in HOST.assess(view, [step])
        if one.calculator == calculator and about in ("", one.finding.about)
    ]
    return finding


def said(finding: Finding) -> tuple[Verdict, str]:
    """Verdict and code, without the name of plugin and check."""
    return finding.verdict, finding.code.rpartition(".")[2]


# --- identities


@pytest.mark.parametrize(
    ("licence", "vhf", "ais", "expected"),
    [
        ("200 000 025", "200000025", None, (Verdict.PASS, "one_identity")),
        ("200-000-025", "200.000.025", "200 000 025", (Verdict.PASS, "one_identity")),
        ("200 000 025", "200 000 052", None, (Verdict.FAIL, "faulty")),
        ("200 000 25", "200 000 25", None, (Verdict.FAIL, "faulty")),
        ("200 000 O25", "200 000 O25", None, (Verdict.FAIL, "faulty")),
    ],
)
def test_an_identity_is_told_by_its_digits(
    kittiwake: JobView, licence: str, vhf: str, ais: str | None, expected: tuple[Verdict, str]
) -> None:
    typed = {"licence_identity": licence, "vhf_identity": vhf, "ais_identity": ais}
    view = altered(kittiwake, {(RADIO, field, "", ""): value for field, value in typed.items()})
    finding = found(view, RADIO, "handover.radio_identity")
    assert said(finding) == expected
    assert finding.verdict is Verdict.PASS or vhf in finding.sentence, "shown as typed"


# --- a pilot's change of course


def changing(heading_at: Iterable[float]) -> Recording:
    """Headings half a second apart, noise of a quiet sea on them."""
    draw = Random(12)
    return gather(
        "change",
        [
            Sample(number / 2, "heading", (angle + draw.gauss(0, 0.2)) % 360, "20", "", "magnetic")
            for number, angle in enumerate(heading_at)
        ],
    )


def settling(turned: float, seconds: float = 60.0, slowness: float = 4.0) -> list[float]:
    """20 s straight on across north, then a change of course that comes to rest."""
    after = [turned * (1 - math.exp(-number / 2 / slowness)) for number in range(round(2 * seconds))]
    return [355.0] * 40 + [355.0 + angle for angle in after]


@pytest.mark.parametrize(
    ("heading", "ordered", "expected"),
    [
        (settling(40), "-40 deg", (Verdict.FAIL, "wrong_way")),
        (settling(-40), "40 deg", (Verdict.FAIL, "wrong_way")),
        ([*settling(0, 0), *(355.0 - number for number in range(200))], "40 deg", (Verdict.FAIL, "wrong_way")),
        (settling(40), "20 deg", (Verdict.FAIL, "another_course")),
        (settling(33), "40 deg", (Verdict.ADVISE, "another_course")),
        (settling(40), "40 deg", (Verdict.PASS, "in_order")),
        (settling(-40), "-40 deg", (Verdict.PASS, "in_order")),
        (settling(37), "40 deg", (Verdict.PASS, "in_order")),
        (settling(40, 16, 8), "40 deg", (Verdict.NOT_ENOUGH_DATA, "not_enough_data")),
        (settling(0), "40 deg", (Verdict.NOT_ENOUGH_DATA, "not_enough_data")),
    ],
)
def test_a_change_of_course_is_held_against_the_course_it_ends_on(
    kittiwake: JobView, heading: list[float], ordered: str, expected: tuple[Verdict, str]
) -> None:
    values: dict[FieldKey, JsonValue | None] = {
        (PILOT, "ordered_change", "", ""): ordered,
        (PILOT, "change_recording", "", ""): {"file": "change"},
    }
    finding = found(altered(kittiwake, values, change=changing(heading)), PILOT, "handover.course_change")
    assert said(finding) == expected
    assert ("record longer" in finding.sentence) == (len(heading) == len(settling(40, 16, 8)))


# --- a swing by course over ground


def over_ground(bow: float, speed: float, drift: float, sets_towards: float) -> float:
    """The course a boat makes good in a current [deg]."""
    parts = ((speed, math.radians(bow)), (drift, math.radians(sets_towards)))
    east, north = (math.fsum(size * turn(angle) for size, angle in parts) for turn in (math.sin, math.cos))
    return math.degrees(math.atan2(east, north)) % 360


@pytest.mark.parametrize(
    ("iron", "speed", "drift", "entered", "expected"),
    [
        (1.5, 5.0, 3.0, ("3 kn", None), (Verdict.NOT_ENOUGH_DATA, "not_enough_data")),
        (1.5, 5.0, 3.0, ("3 kn", "90 deg"), (Verdict.PASS, "in_order")),
        (1.5, 8.0, 1.5, ("1.5 kn", None), (Verdict.NOT_ENOUGH_DATA, "not_enough_data")),
        (1.5, 8.0, 1.5, ("1.5 kn", "90 deg"), (Verdict.PASS, "in_order")),
        (8.0, 6.0, 0.0, ("0.5 kn", None), (Verdict.ADVISE, "too_close_to_call")),
        (12.0, 6.0, 0.0, ("0.5 kn", None), (Verdict.ADVISE, "disturbed")),
        (25.0, 6.0, 0.0, ("2 kn", None), (Verdict.ADVISE, "too_large_open")),
        (30.0, 6.0, 0.0, ("0.5 kn", None), (Verdict.FAIL, "too_large")),
        (30.0, 6.0, 0.0, ("0.5 kn", "90 deg"), (Verdict.FAIL, "too_large")),
    ],
)
def test_a_compass_answers_for_no_more_than_the_current_leaves(
    kittiwake: JobView,
    iron: float,
    speed: float,
    drift: float,
    entered: tuple[str, str | None],
    expected: tuple[Verdict, str],
) -> None:
    values: dict[FieldKey, JsonValue | None] = {
        (SWING, "reference", "", ""): "course over ground",
        (SWING, "boat_speed", "", ""): f"{speed} kn",
        (SWING, "current_speed", "", ""): entered[0],
        (SWING, "current_sets_towards", "", ""): entered[1],
    }
    for row, compass in enumerate(range(0, 360, 45)):
        bow = compass + iron * math.sin(math.radians(compass)) - 13.85
        course = over_ground(bow, speed, drift, 90.0)
        values[(SWING, "reference_direction", str(row), "")] = f"{course:.1f} deg"
        values[(SWING, "compass_heading", str(row), "pilot compass")] = f"{compass}.0 deg"
    finding = found(altered(kittiwake, values), SWING, "heading_calibration.swing", "pilot compass")
    assert said(finding) == expected
    assert (finding.verdict is Verdict.NOT_ENOUGH_DATA) == ("a current could explain all of it" in finding.sentence)


# --- banks of another voltage


@pytest.mark.parametrize(
    ("nominal", "field", "typed", "is_odd"),
    [
        ("24 V", "batteries.rest_voltage", "25.6 V", False),
        ("24 V", "batteries.rest_voltage", "12.7 V", True),
        ("12 V", "batteries.rest_voltage", "12.7 V", False),
        ("12 V", "batteries.rest_voltage", "25.4 V", True),
        ("6 V", "batteries.rest_voltage", "6.3 V", False),
        (None, "batteries.rest_voltage", "25.6 V", True),
        ("24 V", "circuits.source_voltage", "25.1 V", False),
        ("12 V", "circuits.source_voltage", "25.1 V", True),
        ("24 V", "circuits.drop", "2.2 V", False),
        ("12 V", "circuits.drop", "2.2 V", True),
    ],
)
def test_a_voltage_that_fits_what_it_is_read_on_is_not_asked_about(
    kittiwake: JobView, nominal: str | None, field: str, typed: str, is_odd: bool
) -> None:
    volts = Amount.parse(nominal) if nominal else None
    vessel = attrs.evolve(
        kittiwake.vessel,
        batteries=(*kittiwake.vessel.batteries, Battery(name="thruster bank", nominal_voltage=volts)),
        circuits=(*kittiwake.vessel.circuits, Circuit(name="thruster", nominal_voltage=volts)),
    )
    kind, _, name = field.partition(".")
    step = HOST.step(f"wiring_audit.{kind}")
    assert step is not None
    (asked,) = [one for one in step.all_fields() if one.name == name]
    of = {"batteries": "thruster bank", "circuits": "thruster"}[kind]
    assert bool(implausible(asked, typed, vessel, of)) is is_odd


# --- what the engines charge


@pytest.mark.parametrize(
    ("measured", "charging", "expected"),
    [
        ("17.5 A", "9 A", (Verdict.ADVISE, "charging_thin")),
        ("17.5 A", "10 A", (Verdict.ADVISE, "charging_thin")),
        ("17.5 A", "12 A", (Verdict.PASS, "charging_covers")),
        ("21.5 A", "10 A", (Verdict.ADVISE, "charging_short")),
        ("31 A", "14 A", (Verdict.ADVISE, "charging_short")),
        (None, "8 A", (Verdict.ADVISE, "charging_short")),
        (None, "12 A", (Verdict.PASS, "charging_covers")),
    ],
)
def test_batteries_run_down_only_where_the_meter_shows_it_or_no_meter_was_read(
    kittiwake: JobView, measured: str | None, charging: str, expected: tuple[Verdict, str]
) -> None:
    engines = tuple(attrs.evolve(one, charging_current=Amount.parse(charging)) for one in kittiwake.vessel.engines)
    vessel = attrs.evolve(kittiwake.vessel, engines=engines)
    view = altered(attrs.evolve(kittiwake, vessel=vessel), {(LOADS, "load_current", "", "house"): measured})
    finding = found(view, LOADS, "wiring_audit.load_sum", "Charging")
    assert said(finding) == expected
    assert ("run down" in finding.sentence) == (expected[1] == "charging_short")
    both = measured is not None and f"{float(measured[:-2]):.1f} A measured with all on, 20.8 A listed"
    assert not both or both in finding.sentence


# --- a sensor that falls silent in the circle


def circles(seconds: float, silent: float, rate_at: Callable[[float], float] = lambda _time: 2.5) -> Recording:
    """9 s straight on, then a turn; the pilot compass is silent for a time from 90 s on."""
    draw, angle, made = Random(9), 200.0, []
    for number in range(round(2 * seconds)):
        time = number / 2
        rate = rate_at(time) * min(1.0, max(0.0, (time - 9) / 3))
        angle += rate / 2
        for source in ("20", "21"):
            if source == "20" and 90 < time < 90 + silent:
                continue
            made.append(Sample(time, "rate_of_turn", rate + draw.gauss(0, 0.05), source))
            made.append(Sample(time, "heading", angle % 360, source, "", "magnetic"))
        made.append(Sample(time, "course_over_ground", (angle - 5) % 360, "3", "", "true"))
        made.append(Sample(time, "speed_over_ground", 4.0, "3"))
    return gather("turn", made)


@pytest.mark.parametrize(
    ("recording", "expected"),
    [
        (circles(220, 4), (Verdict.ADVISE, "silence")),
        (circles(220, 12), (Verdict.ADVISE, "silence")),
        (circles(240, 30), (Verdict.ADVISE, "silence")),
        (circles(220, 12, lambda time: 2.5 if time > 100 else 3.5), (Verdict.ADVISE, "uneven")),
        (circles(220, 1.5), (Verdict.PASS, "good")),
        (circles(320, 12), (Verdict.PASS, "good")),
    ],
)
def test_a_silence_in_the_circle_is_named_however_long_and_what_was_heard_is_judged(
    kittiwake: JobView, recording: Recording, expected: tuple[Verdict, str]
) -> None:
    values: dict[FieldKey, JsonValue | None] = {
        (TURN, "turn_recording", "", ""): {"file": "turn"},
        (TURN, "calm_water", "", ""): True,
    }
    view = altered(kittiwake, values, turn=recording)
    finding = found(view, TURN, TURN, "pilot compass")
    assert said(finding) == expected
    assert ("The sensor was silent for" in finding.sentence) == (finding.verdict is not Verdict.PASS)
    assert "Turn on for" not in finding.sentence
