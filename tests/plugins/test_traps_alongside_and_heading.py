"""Situations in which a check is easily led astray, each with the verdict and code somebody of the trade would sign.

Every one is a sample job with something altered; they were thought of without looking at what the checks do.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from random import Random
from typing import Any

import attrs
import pytest

import garboard
from garboard.fields import implausible
from garboard.findings import Finding, Verdict
from garboard.hosting.host import make_host
from garboard.job_view import FieldKey, JobView, place_of
from garboard.judging.assessing import assess_job_file
from garboard.records import EQUIPMENT, Battery, Circuit, JsonValue, Measurement
from garboard.samples import Recording, Sample, Stream, gather
from garboard.units import Amount

HOST = make_host(entry_points=False)
KITTIWAKE = Path(garboard.__file__).parents[2] / "sample_jobs" / "kittiwake" / "job.json"
PILOT, RADIO = "handover.autopilot", "handover.radio"
SWING, TURN, LOADS = "heading_calibration.swing", "heading_calibration.steady_turn", "wiring_audit.loads"
COMPARISON, THROTTLE = "heading_calibration.comparison", "prop_check.full_throttle"
RUNS_RECORDED: FieldKey = ("heading_calibration.straight_runs", "runs_recording", "", "")
"""Of the sample's own compass: another one is swung here, which cannot show both."""
TURNED: Mapping[FieldKey, JsonValue | None] = {
    (TURN, "turn_recording", "", ""): {"file": "turn"},
    (TURN, "calm_water", "", ""): True,
}


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
        (PILOT, "trial_speed", "", ""): "18 kn",
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
        RUNS_RECORDED: None,
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


# --- a steady turn


def circles(
    seconds: float,
    silent: float = 0.0,
    rate_at: Callable[[float], float] = lambda _time: 2.5,
    *,
    scale: float = 1.0,
    upside_down: bool = False,
    every: int = 1,
    set_back: float = 0.0,
) -> Recording:
    """9 s straight on, then a turn; the pilot compass is silent for a time from 90 s on.

    scale       : of the rate the pilot compass sends
    upside_down : whether it turns the other way
    every       : it sends every so many samples
    set_back    : the clock of all is set back after 110 s [s]
    """
    draw, angle, made = Random(9), 200.0, []
    way = -1 if upside_down else 1
    for number in range(round(2 * seconds)):
        time = number / 2
        rate = rate_at(time) * min(1.0, max(0.0, (time - 9) / 3))
        angle += rate / 2
        if time > 110:
            time -= set_back
        if not 90 < time < 90 + silent and number % every == 0:
            made.append(Sample(time, "rate_of_turn", scale * way * (rate + draw.gauss(0, 0.05)), "20"))
            made.append(Sample(time, "heading", way * angle % 360, "20", "", "magnetic"))
        made.append(Sample(time, "rate_of_turn", rate + draw.gauss(0, 0.05), "21"))
        made.append(Sample(time, "heading", angle % 360, "21", "", "magnetic"))
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
    finding = found(altered(kittiwake, TURNED, turn=recording), TURN, TURN, "pilot compass")
    assert said(finding) == expected
    assert ("The sensor was silent for" in finding.sentence) == (finding.verdict is not Verdict.PASS)
    assert "Turn on for" not in finding.sentence


@pytest.mark.parametrize(
    ("recording", "pilot_compass", "satellite_compass"),
    [
        (circles(220, scale=60), (Verdict.FAIL, "rate_in_degrees_a_minute"), (Verdict.PASS, "good")),
        (circles(220, upside_down=True), (Verdict.FAIL, "turns_the_other_way"), (Verdict.PASS, "good")),
        (circles(220, 0, lambda _time: -2.5), (Verdict.PASS, "good"), (Verdict.PASS, "good")),
        (circles(220, every=2), (Verdict.PASS, "good"), (Verdict.PASS, "good")),
        (circles(220, set_back=40), (Verdict.ADVISE, "clocks_mixed"), (Verdict.ADVISE, "clocks_mixed")),
        (
            circles(220, 0, lambda time: 2.5 + 2.4 * math.sin(time)),
            (Verdict.ADVISE, "uneven"),
            (Verdict.ADVISE, "uneven"),
        ),
    ],
)
def test_a_turn_is_judged_of_each_sensor_by_itself(
    kittiwake: JobView, recording: Recording, pilot_compass: tuple[Verdict, str], satellite_compass: tuple[Verdict, str]
) -> None:
    view = altered(kittiwake, TURNED, turn=recording)
    assert said(found(view, TURN, TURN, "pilot compass")) == pilot_compass
    assert said(found(view, TURN, TURN, "satellite compass")) == satellite_compass


# --- a swing by magnetic bearings


def swung(headings: Iterable[int], deviation_at: Callable[[float], float]) -> dict[FieldKey, JsonValue | None]:
    """A swing of the pilot compass, on magnetic headings."""
    draw = Random(3)
    values: dict[FieldKey, JsonValue | None] = {(SWING, "reference", "", ""): "magnetic", RUNS_RECORDED: None}
    for row, magnetic in enumerate(headings):
        compass = magnetic - deviation_at(math.radians(magnetic)) + draw.uniform(-0.4, 0.4)
        values[(SWING, "reference_direction", str(row), "")] = f"{magnetic}.0 deg"
        values[(SWING, "compass_heading", str(row), "pilot compass")] = f"{compass % 360:.1f} deg"
    return values


EIGHT = range(0, 360, 45)
UNEVEN = (359, 28, 61, 88, 121, 152, 178, 211, 243, 271, 299, 332)
SLIGHT = swung(EIGHT, lambda z: 1.2 * math.sin(z) + 0.8 * math.cos(z))
FINER = swung(range(0, 360, 24), lambda z: 1.2 * math.sin(z) + 0.8 * math.cos(z))
ROW_3: FieldKey = (SWING, "compass_heading", "3", "pilot compass")


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        (swung(EIGHT, lambda z: 12 + math.sin(z)), (Verdict.ADVISE, "turned_on_bracket")),
        (swung(UNEVEN, lambda z: 3.5 * math.sin(z) - 1.5 * math.cos(z)), (Verdict.PASS, "in_order")),
        (SLIGHT, (Verdict.PASS, "in_order")),
        ({**SLIGHT, ROW_3: "153.8 deg"}, (Verdict.NOT_ENOUGH_DATA, "not_enough_data")),
        (FINER, (Verdict.PASS, "in_order")),
        ({**FINER, ROW_3: "91.8 deg"}, (Verdict.ADVISE, "odd_reading")),
    ],
)
def test_a_swing_says_what_is_off(
    kittiwake: JobView, values: Mapping[FieldKey, JsonValue | None], expected: tuple[Verdict, str]
) -> None:
    finding = found(altered(kittiwake, values), SWING, SWING, "pilot compass")
    assert said(finding) == expected
    named = {one.row for one in finding.doubts} | {one.row for one in finding.missing}
    assert named == ({"3"} if expected[1] in ("odd_reading", "not_enough_data") else set())


# --- two sensors compared


@pytest.mark.parametrize(("low_by", "expected"), [(9.0, (Verdict.ADVISE, "off")), (0.0, (Verdict.PASS, "agree"))])
def test_a_sensor_that_reads_low_beside_a_trusted_one_is_told_by_how_much(
    kittiwake: JobView, low_by: float, expected: tuple[Verdict, str]
) -> None:
    whole = kittiwake.recording("heading_calibration.straight_runs", "runs_recording")
    assert whole is not None
    shifted = {
        key: Stream(key, one.times, tuple((angle - low_by) % 360 for angle in one.values))
        if (key.quantity, key.source) == ("heading", "20")
        else one
        for key, one in whole.streams.items()
    }
    values: dict[FieldKey, JsonValue | None] = {(COMPARISON, "comparison_recording", "", ""): {"file": "compared"}}
    view = altered(kittiwake, values, compared=Recording("compared", shifted))
    finding = found(view, COMPARISON, COMPARISON, "pilot compass")
    assert said(finding) == expected


# --- handing over


def test_what_is_not_put_right_or_not_tried_again_is_open(kittiwake: JobView) -> None:
    fuel, punch = "handover.fuel_system", "handover.punch_list"
    values: dict[FieldKey, JsonValue | None] = {
        (fuel, "vent_and_fill_clear", "", ""): False,
        (punch, "fault", "1", ""): "Loose clamp on the port fuel hose",
        (punch, "put_right", "1", ""): False,
        (punch, "fault", "2", ""): "Steering nut was loose",
        (punch, "put_right", "2", ""): True,
        (punch, "retested_by", "2", ""): None,
    }
    told = not_passed(altered(kittiwake, values), (fuel, punch))
    assert told == {
        ("Fuel system: leaks and blower", Verdict.FAIL, "failed"),
        ("Open fault", Verdict.FAIL, "not_put_right"),
        ("Open fault", Verdict.FAIL, "try_again"),
    }


# --- wiring: what is at fault is named, and nothing beside it

WIRING = ("wiring_audit.batteries", "wiring_audit.circuits", "wiring_audit.loads", "wiring_audit.networks")


def not_passed(view: JobView, steps: Iterable[str]) -> set[tuple[str, Verdict, str]]:
    """What is said of what does not pass: about, verdict and code."""
    told = (one.finding for one in HOST.assess(view, list(steps)))
    return {(one.about, *said(one)) for one in told if one.verdict is not Verdict.PASS}


def on(of: str, step: str, **values: JsonValue) -> dict[FieldKey, JsonValue | None]:
    """Values of one piece of equipment."""
    return {(f"wiring_audit.{step}", field, "", of): value for field, value in values.items()}


def with_pieces(view: JobView, kind: str, facts: Mapping[str, Mapping[str, Any]]) -> JobView:
    """The job with other facts of some pieces of equipment, by name."""
    name = EQUIPMENT[kind]
    pieces = tuple(attrs.evolve(one, **facts.get(getattr(one, name), {})) for one in getattr(view.vessel, kind))
    changed: dict[str, Any] = {kind: pieces}
    return attrs.evolve(view, vessel=attrs.evolve(view.vessel, **changed))


CRANKING = Circuit(
    name="Port cranking lead",
    use="cranking motor",
    fed_from="battery terminal",
    conductor_awg="2",
    insulation_temperature=Amount("105", "degC"),
    in_engine_space=False,
    in_sheath=True,
    bundled_conductors=2,
    length=Amount("6", "ft"),
    nominal_voltage=Amount("12", "V"),
    design_current=Amount("180", "A"),
    protection="none",
    runs_with_others=False,
    critical=False,
    battery="start port",
)
CRANKING_READ = on(
    CRANKING.name,
    "circuits",
    label_present=True,
    current="160 A",
    drop="0.35 V",
    source_voltage="11.6 V",
    terminations_tight=True,
    polarity_right=True,
    supported=True,
)
Facts = Mapping[str, Mapping[str, Any]]


@pytest.mark.parametrize(
    ("kind", "facts", "values", "expected"),
    [
        pytest.param(
            "circuits",
            {"Courtesy lights": {"design_current": Amount("0.2", "A")}},
            {
                **on("Trim tabs", "circuits", drop="0.03 V"),
                **on("Courtesy lights", "circuits", current="0.2 A", drop="0.02 V"),
            },
            {("circuit Trim tabs", Verdict.ADVISE, "less_than_copper")},
            id="a drop far below what the copper needs",
        ),
        pytest.param(
            "circuits",
            {"Chart plotter": {"length": Amount("3", "ft")}},
            on("Chart plotter", "circuits", drop="0.34 V"),
            {("circuit Chart plotter", Verdict.ADVISE, "poor_joint")},
            id="a drop far above what the copper needs",
        ),
        pytest.param(
            "circuits",
            {},
            {
                **on("Bilge pump forward", "circuits", drop="0.30 V"),
                **on("Navigation lights", "circuits", drop="0.13 V"),
                **on("Trim tabs", "circuits", drop="0.45 V"),
                **on("Courtesy lights", "circuits", drop="0.14 V"),
                **on("main", "networks", worst_voltage="12.62 V", tee_voltage="12.60 V", signal_resistance="61.5 ohm"),
            },
            set(),
            id="drops near the copper's, and a meter's last digit",
        ),
        pytest.param(
            "circuits",
            {},
            on("house", "loads", load_current="31 A"),
            {
                ("house battery", Verdict.ADVISE, "unlisted_load"),
                ("house battery", Verdict.ADVISE, "short"),
                ("Charging", Verdict.ADVISE, "charging_covers"),
            },
            id="a load that is not listed",
        ),
        pytest.param(
            "batteries",
            {"start port": {"nominal_voltage": Amount("24", "V")}},
            {
                **on("start port", "batteries", rest_voltage="25.6 V"),
                **on("start starboard", "batteries", rest_voltage="25.4 V"),
            },
            {
                ("start starboard battery", Verdict.NOT_ENOUGH_DATA, "not_enough_data"),
                ("start starboard battery", Verdict.ADVISE, "enough"),
            },
            id="a bank of another voltage beside one of 24 V",
        ),
        pytest.param(
            "batteries",
            {"house": {"chemistry": "LiFePO4"}, "start port": {"chemistry": "AGM"}},
            {
                **on("house", "batteries", rest_voltage="13.30 V"),
                **on("start port", "batteries", rest_voltage="12.86 V"),
            },
            {("house battery", Verdict.NOT_ENOUGH_DATA, "not_enough_data")},
            id="chemistries that rest higher",
        ),
        pytest.param(
            "circuits",
            {"Trim tabs": {"insulation_temperature": Amount("70", "degC")}},
            {},
            set(),
            id="an insulation rating the table lacks",
        ),
        pytest.param(
            "circuits",
            {
                "Courtesy lights": {"protection_rating": Amount("40", "A")},
                "Trim tabs": {"protection_rating": Amount("50", "A")},
            },
            {},
            {("circuit Courtesy lights", Verdict.FAIL, "too_large")},
            id="one breaker above what its conductor allows",
        ),
        pytest.param(
            "networks", {}, on("main", "networks", signal_resistance="62 ohm"), set(), id="two terminators, worn"
        ),
        pytest.param(
            "networks",
            {},
            on("main", "networks", signal_resistance="40.3 ohm"),
            {("main network", Verdict.FAIL, "too_many")},
            id="three terminators",
        ),
    ],
)
def test_the_part_at_fault_is_named_and_no_other(
    kittiwake: JobView,
    kind: str,
    facts: Facts,
    values: Mapping[FieldKey, JsonValue | None],
    expected: set[tuple[str, Verdict, str]],
) -> None:
    assert not_passed(altered(with_pieces(kittiwake, kind, facts), values), WIRING) == expected


def test_a_lead_to_the_cranking_motor_is_not_missed_a_fuse(kittiwake: JobView) -> None:
    vessel = attrs.evolve(kittiwake.vessel, circuits=(*kittiwake.vessel.circuits, CRANKING))
    without = {**CRANKING_READ, ("wiring_audit.batteries", "fuse_distance", "", "start port"): None}
    assert not_passed(altered(attrs.evolve(kittiwake, vessel=vessel), without), WIRING) == set()


@pytest.mark.parametrize(("length", "allowed"), [("5.9 m", True), ("7.5 m", False)])
def test_a_drop_cable_is_held_against_six_metres(kittiwake: JobView, length: str, allowed: bool) -> None:
    (network,) = kittiwake.vessel.networks
    devices = [attrs.evolve(one, drop_length=Amount.parse(length)) for one in network.devices[:1]]
    longer = attrs.evolve(network, devices=(*devices, *network.devices[1:]))
    view = attrs.evolve(kittiwake, vessel=attrs.evolve(kittiwake.vessel, networks=(longer,)))
    assert not_passed(view, WIRING) == (set() if allowed else {("main network", Verdict.FAIL, "too_long")})


# --- engines under other numbers than expected


@pytest.mark.parametrize(
    ("number", "entered", "expected"),
    [
        ("5", (None, None), {(Verdict.PASS, "inside"), (Verdict.NOT_ENOUGH_DATA, "not_enough_data")}),
        ("3", (0, 3), {(Verdict.PASS, "inside")}),
    ],
)
def test_an_engine_heard_under_a_number_that_is_not_entered_is_said(
    kittiwake: JobView, number: str, entered: tuple[int | None, int | None], expected: set[tuple[Verdict, str]]
) -> None:
    whole = kittiwake.recording(THROTTLE, "all_runs")
    assert whole is not None
    keys = {key: key._replace(instance=number) if key.instance == "1" else key for key in whole.streams}
    streams = {keys[key]: Stream(keys[key], one.times, one.values) for key, one in whole.streams.items()}
    engines = zip(("port", "starboard"), entered, strict=True)
    numbered = with_pieces(kittiwake, "engines", {name: {"network_instance": one} for name, one in engines})
    view = altered(numbered, {(THROTTLE, "all_runs", "", ""): {"file": "runs"}}, runs=Recording("runs", streams))
    told = [one.finding for one in HOST.assess(view, [THROTTLE]) if one.calculator == "prop_check.window"]
    assert {said(one) for one in told} == expected
    assert all(f" and {number} are" in one.sentence for one in told if one.verdict is not Verdict.PASS)


@pytest.mark.parametrize("is_frozen", [True, False])
def test_an_engine_speed_that_never_moves_while_the_boat_does_judges_no_engine(
    kittiwake: JobView, is_frozen: bool
) -> None:
    whole = kittiwake.recording(THROTTLE, "all_runs")
    assert whole is not None
    port = next(key for key in whole.streams if key.quantity == "engine_speed" and key.instance == "0")
    still = Stream(port, whole.streams[port].times, (5850.0,) * len(whole.streams[port].times))
    streams = {**whole.streams, port: still} if is_frozen else whole.streams
    view = altered(kittiwake, {(THROTTLE, "all_runs", "", ""): {"file": "runs"}}, runs=Recording("runs", streams))
    told = {
        one.finding.about: one.finding for one in HOST.assess(view, [THROTTLE]) if one.calculator == "prop_check.window"
    }
    by_window = {about: finding.verdict for about, finding in told.items()}
    assert by_window["port engine"] is (Verdict.NOT_ENOUGH_DATA if is_frozen else Verdict.PASS)
    assert by_window["starboard engine"] is Verdict.PASS
    assert any("dead or frozen" in one.sentence for one in told.values()) == is_frozen


@pytest.mark.parametrize("quantity", ["engine_speed", "fuel_flow", ""])
def test_one_engine_heard_under_both_numbers_is_said_and_judges_nothing(kittiwake: JobView, quantity: str) -> None:
    """The twin's own recording is innocent: engines in step differ in the last digit."""
    for step, field, check in (
        (THROTTLE, "all_runs", "prop_check.window"),
        ("fuel_curve.steps", "recording", "fuel_curve.curve"),
    ):
        whole = kittiwake.recording(step, field)
        assert whole is not None
        streams = dict(whole.streams)
        for key, stream in whole.streams.items():
            if key.quantity == quantity and key.instance == "0":
                streams[key._replace(instance="1")] = Stream(key._replace(instance="1"), stream.times, stream.values)
        view = altered(kittiwake, {(step, field, "", ""): {"file": "runs"}}, runs=Recording("runs", streams))
        told = [one.finding for one in HOST.assess(view, [step]) if one.calculator == check]
        is_copied = quantity == "engine_speed" or (quantity == "fuel_flow" and step != THROTTLE)
        assert any("one engine is heard under both" in one.sentence for one in told) is is_copied
        assert any(one.verdict is Verdict.PASS for one in told) is not is_copied


# --- a clock set back while it records


@pytest.mark.parametrize(("back", "is_judged"), [(0.0, True), (3.0, True), (60.0, False)])
def test_a_recording_whose_clock_was_set_back_judges_no_run_step_or_pilot(
    kittiwake: JobView, back: float, is_judged: bool
) -> None:
    """Lines that overtake each other by seconds are no such thing."""
    places = [(THROTTLE, "all_runs"), ("fuel_curve.steps", "recording"), (PILOT, "hold_recording")]
    checks = ("prop_check.speed", "fuel_curve.curve", "handover.heading_hold")
    for (step, field), check in zip(places, checks, strict=True):
        whole = kittiwake.recording(step, field)
        assert whole is not None
        samples = [
            Sample(time, *stream.key[:1], value, *stream.key[1:])
            for stream in whole.streams.values()
            for time, value in stream
        ]
        samples.sort(key=lambda sample: sample.time)
        middle = samples[len(samples) // 2].time
        moved = (sample._replace(time=sample.time - back) if sample.time > middle else sample for sample in samples)
        view = altered(kittiwake, {(step, field, "", ""): {"file": "moved"}}, moved=gather("moved", moved))
        told = [one.finding for one in HOST.assess(view, [step]) if one.calculator == check]
        said_back = any("goes back by" in one.sentence for one in told)
        assert said_back != is_judged, (check, [one.sentence for one in told])
