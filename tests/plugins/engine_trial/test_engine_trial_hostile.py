"""What a hostile reader found: readings no boat gives, sound boats accused, words that are not so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import attrs
import pytest

from builders import boat, findings_of, job_view
from garboard.findings import BasisKind, Finding, Lack, Verdict
from garboard.hosting.host import make_host
from garboard.job_view import FieldKey, JobView
from garboard.records import JsonValue, Tank, Vessel
from garboard.units import Amount
from garboard_engine_trial import law_texts
from garboard_engine_trial.after_steps import AFTER
from garboard_engine_trial.alongside_steps import DATA, INSTRUMENTS, MAKERS_WINDOW
from garboard_engine_trial.fit_out_steps import CLOSED, COASTAL, FIT_OUT, INLAND, LAW, OPEN, STEPS
from garboard_engine_trial.under_way_steps import UNDER_LOAD

HOST = make_host(["garboard_engine_trial"], entry_points=False)


def found(view: JobView, calculator: str) -> list[Finding]:
    return findings_of(HOST, view, f"engine_trial.{calculator}")


# After: services, records


def services(hours: Sequence[str | None], *lines: tuple[str, str]) -> Finding:
    values: dict[FieldKey, JsonValue] = {}
    for row, (name, due) in enumerate(lines, start=1):
        values |= {(AFTER, "service", str(row), ""): name, (AFTER, "due_hours", str(row), ""): due}
    vessel = boat(len(hours))
    engines = zip(vessel.engines, hours, strict=True)
    run = tuple(attrs.evolve(one, hours=Amount(each, "h") if each else None) for one, each in engines)
    (one,) = found(job_view(attrs.evolve(vessel, engines=run), values), "calendar")
    return one


@pytest.mark.parametrize(
    ("hours", "lines", "code"),
    [
        (["412"], [("yearly", "500 h")], "complete"),  # a used engine had its first check long ago
        (["412"], [("20 hour check", "20 h"), ("yearly", "500 h")], "in_the_past"),
        (["20"], [("20 hour check", "20 h")], "complete"),
        (["412", "2"], [("yearly", "500 h")], "no_first_check"),  # one of two is new
        (["412", None], [("20 hour check", "20 h")], "complete"),  # and may be, where nobody says
    ],
)
def test_a_service_calendar_goes_by_the_hours_the_engines_have(
    hours: Sequence[str | None], lines: Sequence[tuple[str, str]], code: str
) -> None:
    one = services(hours, *lines)
    assert one.code == f"engine_trial.calendar.{code}"
    if code == "in_the_past":
        assert one.sentence.startswith("Due already, at 412 engine hours: 20 hour check.")


@pytest.mark.parametrize(
    ("filed", "entered", "is_told"),
    [
        ("2027-05-01", "2026-05-16T10:00:00+00:00", True),
        ("2026-05-17", "2026-05-16T23:30:00-10:00", False),  # the next day elsewhere
        ("2028-02-29", "2028-02-29T10:00:00+00:00", False),
        ("2026-05-16", "1970-01-01T00:04:10+00:00", False),  # a clock that was never set judges nothing
        ("2027-05-01", "", False),  # as in a job file
    ],
)
def test_nothing_is_filed_on_a_day_to_come(filed: str, entered: str, is_told: bool) -> None:
    values: dict[FieldKey, JsonValue] = {
        (AFTER, "record", "1", ""): "Engine warranty",
        (AFTER, "filed_by", "1", ""): "N. Sorrel",
        (AFTER, "filed_on", "1", ""): filed,
    }
    view = job_view(boat(), values)
    at = tuple(attrs.evolve(one, at=entered) for one in view.measurements)
    (one,) = found(attrs.evolve(view, measurements=at), "records")
    assert [missing.lack for missing in one.missing] == ([Lack.CONTRADICTS] if is_told else [])


# Values where nothing in order lies


@pytest.mark.parametrize(
    ("yearly", "verdict", "doubted"),
    [("100 h", Verdict.PASS, []), ("5000 h", Verdict.PASS, []), ("20000 h", Verdict.ADVISE, [("due_hours", "2")])],
)
def test_a_service_due_after_more_hours_than_an_engine_runs_is_doubted(
    yearly: str, verdict: Verdict, doubted: list[tuple[str, str]]
) -> None:
    one = services(["2"], ("20 hour check", "20 h"), ("yearly", yearly))
    assert one.code == "engine_trial.calendar.complete"
    assert one.verdict is verdict
    assert [(each.field, each.row) for each in one.doubted] == doubted


@pytest.mark.parametrize(("pressure", "verdict"), [("3 psi", Verdict.PASS), ("45 psi", Verdict.ADVISE)])
def test_a_test_pressure_that_no_fuel_system_bears_passes_nothing(pressure: str, verdict: Verdict) -> None:
    """45 psi, which "held", passed once a person had insisted on it."""
    typed = {"test_pressure": pressure, "pressure_after": pressure, "test_minutes": "10 min"}
    (one,) = found(job_view(boat(), {(FIT_OUT, name, "", ""): value for name, value in typed.items()}), "fuel_pressure")
    assert one.verdict is verdict


# Data: tank senders


@pytest.mark.parametrize(
    ("steps", "code"),
    [
        ([("0", "0"), ("50", "50"), ("50", "50"), ("100", "100")], "agree"),  # one step read twice
        ([("0", "0"), ("50", "50"), ("95", "100"), ("100", "100")], "agree"),  # the float is up before the tank is full
        ([("0", "0"), ("50", "50"), ("55", "48"), ("100", "100")], "agree"),
        ([("0", "50"), ("50", "50"), ("100", "50")], "not_rising"),  # stuck
        ([("0", "100"), ("50", "50"), ("100", "0")], "not_rising"),  # wired the other way round
        ([("0", "0"), ("50", "70"), ("55", "40"), ("100", "100")], "not_rising"),
    ],
)
def test_a_sender_is_accused_only_of_what_it_does(steps: Sequence[tuple[str, str]], code: str) -> None:
    assert sender(steps).code == f"engine_trial.senders.{code}"


def test_three_steps_close_together_calibrate_no_tank() -> None:
    one = sender([("40", "40"), ("42", "42"), ("44", "44")])
    assert [missing.lack for missing in one.missing] == [Lack.TOO_LITTLE]
    assert "steps from 40 to 44 % of it" in one.sentence
    assert "1 step of filling" in sender([("0", "0")]).sentence


def sender(steps: Sequence[tuple[str, str]]) -> Finding:
    """Of a tank of 100 gal: what is in it, and what the gauge shows [%]."""
    values: dict[FieldKey, JsonValue] = {}
    for row, (volume, gauge) in enumerate(steps, start=1):
        values[DATA, "in_tank", str(row), "main"] = f"{volume} gal"
        values[DATA, "gauge", str(row), "main"] = f"{gauge} %"
    (one,) = found(job_view(boat(tanks=(Tank(name="main", capacity=Amount("100", "gal")),)), values), "senders")
    return one


# Under load


def test_a_full_throttle_range_the_wrong_way_round_accuses_no_boat() -> None:
    low, high = Amount("6000", "rev/min"), Amount("5400", "rev/min")
    values: dict[FieldKey, JsonValue] = {
        (UNDER_LOAD, name, "", "centre"): "5700 rev/min" for name in ("full_light", "full_loaded")
    }
    (one,) = found(job_view(boat(full_throttle_low=low, full_throttle_high=high), values), "loaded")
    assert one.verdict is Verdict.NOT_ENOUGH_DATA
    assert [missing.field for missing in one.missing] == ["engines.full_throttle_low"]
    (half,) = found(job_view(boat(full_throttle_low=low), values), "loaded")
    assert [missing.lack for missing in half.missing] == [Lack.NOT_ENTERED], "one end alone contradicts nothing"


# The law and its gear

GEAR: Mapping[str, JsonValue] = {
    "waters": COASTAL,
    "spaces": CLOSED,
    "most_persons": 4,
    "wearables": 4,
    "throwable": True,
    "extinguishers": 1,
    "distress_signals": True,
}


def gear(calculator: str, length: Amount, **changed: JsonValue) -> Finding:
    vessel: Vessel = attrs.evolve(boat(), length=length)
    values: dict[FieldKey, JsonValue] = {(LAW, name, "", ""): value for name, value in {**GEAR, **changed}.items()}
    (one,) = found(job_view(vessel, values), calculator)
    return one


def test_one_of_a_thing_is_said_as_one() -> None:
    feet = Amount("19.5", "ft")
    assert "1 portable extinguisher. " in gear("fire_and_signals", feet, extinguishers=0).sentence
    assert "1 life jacket to wear." in gear("flotation", feet, wearables=3).sentence


@pytest.mark.parametrize(
    ("metres", "below", "from_here"),
    [("4.8768", "4.87", "throwable"), ("7.9248", "7.92", "extinguishers")],
)
def test_a_length_that_is_a_limit_to_the_millimetre_is_on_its_upper_side(
    metres: str, below: str, from_here: str
) -> None:
    """16 ft and 26 ft are 4.8768 m and 7.9248 m exactly (1 ft is 0.3048 m): "less than" is not said of them."""
    calculator = {"throwable": "flotation", "extinguishers": "fire_and_signals"}[from_here]
    without: JsonValue = False if from_here == "throwable" else 0
    verdicts = [
        gear(calculator, Amount(each, "m"), **{from_here: without}, spaces=OPEN).verdict for each in (metres, below)
    ]
    assert verdicts[0] is not Verdict.PASS
    assert verdicts[1] is Verdict.PASS


def test_a_label_is_asked_of_less_than_20_ft_and_not_of_20_ft_in_metres() -> None:
    values: dict[FieldKey, JsonValue] = {(LAW, name, "", ""): value for name, value in GEAR.items()}
    asked = [
        bool(found(job_view(attrs.evolve(boat(), length=Amount(each, "m")), values), "label"))
        for each in ("6.096", "6.09")
    ]
    assert asked == [False, True]


def test_a_small_boat_is_told_of_signals_for_the_night_and_not_accused() -> None:
    small = gear("fire_and_signals", Amount("15", "ft"), distress_signals=False)
    assert small.verdict is Verdict.PASS
    assert "out at night it carries distress signals" in small.sentence
    assert "night" not in gear("fire_and_signals", Amount("15", "ft"), waters=INLAND).sentence
    assert "out at night" not in gear("fire_and_signals", Amount("19.5", "ft")).sentence


def test_a_fuel_tank_that_is_built_in_is_named_where_vapour_is_asked_for() -> None:
    """A public owner's manual lists them: closed compartments, double bottoms, living spaces, fuel tanks built in."""
    (field,) = (one for step in STEPS if step.key == LAW for one in step.fields if one.name == "spaces")
    assert all(named in field.help for named in ("lockers", "cabin", "fuel tank built in", "double bottom"))


def test_a_text_of_law_that_was_not_read_only_advises() -> None:
    """Whatever the gear: what fails rests on a text that was read, and one from memory says that the law decides."""
    from_memory = {one.basis.text for one in law_texts.TEXTS if not one.was_read}
    for each in law_texts.TEXTS:
        expected = BasisKind.REGULATION if each.was_read else BasisKind.COMMON_PRACTICE
        assert each.basis.kind is expected
        assert each.section in f"{each.basis.text} {each.basis.note}"
    lacking = {"wearables": 0, "throwable": False, "extinguishers": 0, "distress_signals": False}
    findings = [
        gear(calculator, Amount(length, "ft"), **lacking)
        for calculator in ("flotation", "fire_and_signals")
        for length in ("15", "19.5", "30")
    ]
    assert {one.verdict for one in findings} >= {Verdict.FAIL, Verdict.ADVISE}
    for one in findings:
        if one.verdict is Verdict.FAIL:
            assert not from_memory & {basis.text for basis in one.basis}


# Instruments


def instrument(calculator: str, **said: JsonValue) -> Finding:
    row = "1" if calculator == "pump_flow" else ""
    (one,) = found(job_view(boat(), {(INSTRUMENTS, name, row, ""): value for name, value in said.items()}), calculator)
    return one


@pytest.mark.parametrize(
    ("forward", "reflected", "code"),
    [
        ("25 W", "0 W", "low"),
        ("25 W", "1 W", "low"),
        ("1 W", "0.1 W", "close"),  # 1.92, and a needle's width more is above 2
        ("25 W", "2.7 W", "close"),
        ("25 W", "6 W", "high"),
    ],
)
def test_a_meter_is_right_to_a_share_of_its_scale_and_not_of_its_reading(
    forward: str, reflected: str, code: str
) -> None:
    one = instrument("standing_wave", power_forward=forward, power_reflected=reflected)
    assert one.code == f"engine_trial.standing_wave.{code}"
    assert (one.numbers[0].expanded_uncertainty or 0) > 0.2, "5 % of the scale is never nothing, also at zero"


@pytest.mark.parametrize(
    ("forward", "reflected"), [("25 W", "-1 W"), ("-5 W", "1 W"), ("0 W", "0 W"), ("-5 W", "-9 W")]
)
def test_powers_of_zero_and_below_are_read_again_and_end_no_check(forward: str, reflected: str) -> None:
    one = instrument("standing_wave", power_forward=forward, power_reflected=reflected)
    assert {missing.lack for missing in one.missing} <= {Lack.OUT_OF_RANGE, Lack.CONTRADICTS}
    assert one.missing


@pytest.mark.parametrize(
    ("pumped", "label", "lack"),
    [
        ("10 L", "1000 gal/h", None),
        ("10 L", "500 gal/h", Lack.CONTRADICTS),  # 951 gal/h of a pump of 500
        ("10 L", "0 gal/h", Lack.OUT_OF_RANGE),
        ("10 L", "-5 gal/h", Lack.OUT_OF_RANGE),
    ],
)
def test_no_pump_gives_more_than_its_label_says(pumped: str, label: str, lack: Lack | None) -> None:
    one = instrument("pump_flow", pump_tried="aft", pumped=pumped, seconds="10 s", label_flow=label)
    assert [missing.lack for missing in one.missing] == ([] if lack is None else [lack])


# Sensors that lie


def gauges(*steps: tuple[int, str, str]) -> list[Finding]:
    """At each engine speed [rev/min] temperature [degC] and water pressure [psi]; full throttle is 5400 and more."""
    values: dict[FieldKey, JsonValue] = {
        (MAKERS_WINDOW, "temperature_high", "", "centre"): "80 degC",
        (MAKERS_WINDOW, "water_low", "", "centre"): "12 psi",
    }
    for row, (speed, warm, water) in enumerate(steps, start=1):
        values[UNDER_LOAD, "step_speed", str(row), ""] = f"{speed} rev/min"
        values[UNDER_LOAD, "temperature", str(row), "centre"] = warm
        values[UNDER_LOAD, "water_pressure", str(row), "centre"] = f"{water} psi"
    vessel = boat(full_throttle_low=Amount("5400", "rev/min"), full_throttle_high=Amount("6000", "rev/min"))
    return found(job_view(vessel, values), "gauges")


@pytest.mark.parametrize(
    ("steps", "contradicting", "judged"),
    [
        ([(700, "55 degC", "3"), (5800, "66 degC", "19")], [], Verdict.PASS),
        ([(700, "12 degC", "3"), (5800, "66 degC", "19")], [], Verdict.PASS),  # cold at the start is not yet warm
        ([(700, "60 degC", "3"), (3000, "60 degC", "15"), (5800, "60 degC", "15")], [], Verdict.PASS),  # valve opens
        ([(4000, "60 degC", "15"), (5800, "60 degC", "15")], [], Verdict.PASS),  # too near to tell
        ([(700, "12 degC", "3"), (5800, "12 degC", "19")], ["temperature"], Verdict.PASS),
        ([(700, "54 degF", "3"), (5800, "54 degF", "19")], ["temperature"], Verdict.PASS),
        ([(700, "60 degC", "15"), (3000, "60 degC", "15"), (5800, "60 degC", "15")], ["water_pressure"], Verdict.PASS),
        ([(700, "60 degC", "8"), (5800, "60 degC", "6")], [], Verdict.FAIL),  # too little is told first
    ],
)
def test_a_gauge_that_cannot_be_right_is_named_and_the_others_are_judged(
    steps: Sequence[tuple[int, str, str]], contradicting: Sequence[str], judged: Verdict
) -> None:
    findings = gauges(*steps)
    missing = [each for one in findings for each in one.missing]
    assert [each.field for each in missing if each.lack is Lack.CONTRADICTS] == [*contradicting]
    assert findings[-1].verdict is judged


@pytest.mark.parametrize("unit", ["kg", "lb"])
def test_a_boat_rigged_to_its_label_and_no_more_is_within_in_any_unit(unit: str) -> None:
    """895 kg less 646 kg and 249 kg are 0 kg, and in pounds two ten-trillionths less."""
    said = {"label_weight": 895, "label_persons_weight": 646}
    values: dict[FieldKey, JsonValue] = {(LAW, name, "", ""): f"{value} {unit}" for name, value in said.items()}
    values[LAW, "rigged_item", "1", ""] = "Engine"
    even, over = (
        found(job_view(boat(), {**values, (LAW, "item_weight", "1", ""): f"{weight} {unit}"}), "label")[0]
        for weight in ("249", "250")
    )
    assert (even.code, even.numbers[1].value) == ("engine_trial.label.within", 0)
    assert over.code == "engine_trial.label.full"
    (bare,) = found(job_view(boat(), {**values, (LAW, "item_weight", "1", ""): f"896 {unit}"}), "label")
    assert bare.verdict is Verdict.FAIL


# Values that disagree


@pytest.mark.parametrize(
    ("calculator", "places"),
    [
        ("label", [(LAW, "label_weight", "", ""), (LAW, "label_persons_weight", "", "")]),
        ("loaded", [(UNDER_LOAD, "full_light", "", "centre"), (UNDER_LOAD, "full_loaded", "", "centre")]),
        ("senders", [(DATA, "in_tank", "4", "main"), (DATA, "gauge", "4", "main")]),
        ("standing_wave", [(INSTRUMENTS, "power_forward", "", ""), (INSTRUMENTS, "power_reflected", "", "")]),
        ("standing_wave", [(INSTRUMENTS, "forward_power", "", ""), (INSTRUMENTS, "reflected_power", "", "")]),
        ("depth", [(INSTRUMENTS, "depth_by_lead", "", ""), (INSTRUMENTS, "depth_shown", "", "")]),
    ],
)
def test_where_everything_disagrees_nothing_is_passed_over(calculator: str, places: Sequence[FieldKey]) -> None:
    """Also on a boat of 24 ft, of which no label is asked, and beside a power typed as a plain number once."""
    values: dict[FieldKey, JsonValue] = {(INSTRUMENTS, "forward_power", "", ""): "25"}
    values[INSTRUMENTS, "reflected_power", "", ""] = "1"
    for row, share in enumerate(("0", "50", "100"), start=1):
        values[DATA, "in_tank", str(row), "main"] = f"{share} gal"
        values[DATA, "gauge", str(row), "main"] = f"{share} %"
    vessel = attrs.evolve(boat(tanks=(Tank(name="main", capacity=Amount("100", "gal")),)), length=Amount("24", "ft"))
    findings = found(job_view(vessel, values, disagreements=places), calculator)
    named = {(each.field, each.lack) for one in findings for each in one.missing}
    assert {(field, Lack.DISAGREES) for _, field, _, _ in places} <= named
