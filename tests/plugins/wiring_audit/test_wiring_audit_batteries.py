"""Findings on batteries: charge, installation, standing current, load and reserve."""

import pytest

from garboard.findings import NotEnoughData, Verdict
from garboard.records import Engine
from garboard_wiring_audit.batteries import reserve_hours, state_of_charge
from garboard_wiring_audit.loads import COLUMNS, PLAIN_SUM, load_sum
from garboard_wiring_audit.overcurrent import CFR_BATTERY_DISTANCE, E11_DISTANCE, ISO_DISTANCE
from wiring_boats import battery, circuit, said, sentence_on, verdict_on, wired_job

PASS, ADVISE, FAIL, LACKING = Verdict.PASS, Verdict.ADVISE, Verdict.FAIL, Verdict.NOT_ENOUGH_DATA
NO_MEASURED_LOAD = {("loads", "load_current", "house"): None}


def reading(field, value, step="batteries"):
    return {(step, field, "house"): value}


@pytest.mark.parametrize(
    ("volts", "verdict"),
    [
        ("12.45 V", PASS),
        ("12.44 V", ADVISE),
        ("11.90 V", ADVISE),
        ("11.89 V", FAIL),
        ("9.00 V", FAIL),
        ("12.85 V", PASS),
    ],
)
def test_charge_at_its_limits(volts, verdict):
    """Three quarters at hand over; flat fails."""
    assert verdict_on(wired_job(read=reading("rest_voltage", volts)), "battery_charge") is verdict


def test_charge_says_its_spread():
    """The charge carries the meter's spread and the tables' disagreement."""
    (finding,) = said(wired_job(read=reading("rest_voltage", "12.24 V")), "battery_charge")
    assert finding.numbers[0].value == pytest.approx(50)
    # By hand: 0.5 % of 12.24 V and the last digit give 0.0615 V, with 0.06 V of the tables 0.0859 V; at 25 % over
    # 0.17 V, the steepest piece of the table, that is 12.6 %.
    assert finding.numbers[0].uncertainty == pytest.approx(12.6, abs=0.1)
    assert finding.sentence == "50 ± 13 % charged at 12.24 V. Charge it before the sea trial and read it again."


def test_a_24_volt_bank_is_read_by_halves():
    """A 24 V bank at twice the voltage has the same charge."""
    view = wired_job(batteries=[battery(nominal_voltage="=24 V")], read=reading("rest_voltage", "24.48 V"))
    (finding,) = said(view, "battery_charge")
    assert finding.numbers[0].value == pytest.approx(50)


@pytest.mark.parametrize(
    ("changes", "read", "reason"),
    [
        ({}, reading("rest_voltage", None), "rest voltage is not entered"),
        ({}, reading("hours_at_rest", None), "hours at rest is not entered"),
        ({}, reading("hours_at_rest", "2.9 h"), "rested 2.9 h, 3 h needed"),
        ({}, reading("rest_voltage", "13.60 V"), "charging, or charged just before"),
        ({}, reading("temperature", "-10 degC"), "battery is not between 0 and 45 degC"),
        ({"chemistry": "LiFePO4"}, {}, "nearly flat and tells no charge"),
        ({"chemistry": "gel"}, {}, "no table of rest voltage for a gel"),
        ({"chemistry": ""}, {}, "battery of unknown chemistry"),
        ({"nominal_voltage": "=13 V"}, {}, "nominal voltage 13 V"),
        ({"nominal_voltage": None}, {}, "nominal voltage is not entered"),
    ],
)
def test_charge_says_why_it_cannot_tell(changes, read, reason):
    """Each reason for no number is its own sentence."""
    (finding,) = said(wired_job(batteries=[battery(**changes)], read=read), "battery_charge")
    assert finding.verdict is LACKING
    assert reason in finding.sentence


def test_just_enough_rest_is_enough():
    """The shop's least rest, to the hour."""
    assert verdict_on(wired_job(read=reading("hours_at_rest", "3 h")), "battery_charge") is PASS


def test_a_temperature_within_the_table_is_taken():
    """A battery at 30 degC is judged."""
    assert verdict_on(wired_job(read=reading("temperature", "30 degC")), "battery_charge") is PASS


def test_agm_charge_is_marked_as_from_memory():
    """An AGM battery is judged, its table marked."""
    (finding,) = said(wired_job(batteries=[battery(chemistry="AGM")]), "battery_charge")
    assert any("AGM" in basis.text and "from memory" in basis.note for basis in finding.basis)


def test_one_battery_without_data_leaves_the_others_judged():
    """A missing reading on one battery does not silence the next."""
    view = wired_job(batteries=[battery("house"), battery("start")], read=reading("rest_voltage", None))
    assert [(finding.about, finding.verdict) for finding in said(view, "battery_charge")] == [
        ("house battery", LACKING),
        ("start battery", PASS),
    ]


def test_state_of_charge_never_leaves_0_to_100():
    """Below the table's end 0 %, just above its head 100 %."""
    assert state_of_charge(2.0, 0.0, "flooded").percent == 0
    assert state_of_charge(12.8, 0.0, "flooded").percent == 100
    with pytest.raises(NotEnoughData):
        state_of_charge(12.91, 0.0, "flooded")


@pytest.mark.parametrize(
    ("field", "cure"),
    [
        ("held_down", "Fit a hold-down."),
        ("terminals_covered", "Cover the live terminals."),
        ("terminals_fixed", "Replace the spring clips."),
        ("vented", "Vent the space to the open."),
        ("clear_of_fuel", "none may sit above or below it"),
    ],
)
def test_installation_names_the_cure(field, cure):
    """Each fault of installation fails with its cure; an unanswered one is missing."""
    (finding,) = said(wired_job(read=reading(field, False)), "battery_installation")
    assert finding.verdict is FAIL
    assert cure in finding.sentence
    assert verdict_on(wired_job(read=reading(field, None)), "battery_installation") is LACKING


@pytest.mark.parametrize(
    ("distance", "verdict"),
    [("7 in", PASS), ("7.5 in", ADVISE), ("72 in", ADVISE), ("73 in", FAIL), (None, PASS), ("-3 in", LACKING)],
)
def test_main_fuse_distance(distance, verdict):
    """Near is right, up to 72 in may be allowed, beyond fails; no fuse distance is no question."""
    assert verdict_on(wired_job(read=reading("fuse_distance", distance)), "battery_installation") is verdict


@pytest.mark.parametrize(("current", "verdict"), [("69 mA", PASS), ("70 mA", ADVISE), ("0 mA", PASS), (None, LACKING)])
def test_standing_current_in_days(current, verdict):
    """50 Ah of 100 Ah last 30 days at 69.4 mA."""
    view = wired_job(read=reading("standing_current", current, "standing_current"))
    assert verdict_on(view, "standing_current") is verdict


@pytest.mark.parametrize(
    ("rule", "distance", "verdict"),
    [
        (ISO_DISTANCE, "200 mm", PASS),
        (ISO_DISTANCE, "20 in", FAIL),
        (E11_DISTANCE, "60 in", ADVISE),
        (CFR_BATTERY_DISTANCE, "72 in", PASS),
    ],
)
def test_main_fuse_distance_by_the_shops_rule(rule, distance, verdict):
    """The shop's distance rule holds for main fuses too."""
    view = wired_job(read=reading("fuse_distance", distance), settings={"distance_rule": rule})
    assert verdict_on(view, "battery_installation") is verdict


def test_standing_current_says_the_days():
    """Number first, then days."""
    assert sentence_on(wired_job(), "standing_current") == "20.0 ± 0.8 mA with everything off: 104 days, 30 wanted."


@pytest.mark.parametrize("changes", [{"chemistry": ""}, {"capacity": None}, {"capacity": "=0 Ah"}])
def test_standing_current_needs_the_battery(changes):
    """Without capacity or chemistry there are no days."""
    assert verdict_on(wired_job(batteries=[battery(**changes)]), "standing_current") is LACKING


def test_load_adds_what_runs_together():
    """Loads used now and then, panel feeds and cranking motors are left out."""
    circuits = [
        circuit("Lights", design_current="=2.0 A"),
        circuit("Radio", design_current="=3.0 A"),
        circuit("Horn", design_current="=6.0 A", runs_with_others=False),
        circuit("Panel", design_current="=40 A", use="panel feed"),
        circuit("Start", design_current="=300 A", use="cranking motor"),
    ]
    read = {("circuits", "current", name): None for name in ("Lights", "Radio", "Horn", "Panel", "Start")}
    view = wired_job(circuits, read=read)
    load, charging = said(view, "load_sum")
    assert load.numbers[0].value == 5.0
    assert load.sentence == "5.0 A from 2 circuits that run together. Measured 5.0 A."
    assert charging.verdict is PASS
    by_columns = wired_job(circuits, read=read, settings={"load_rule": COLUMNS})
    assert said(by_columns, "load_sum")[0].numbers[0].value == 11.0


def test_columns_take_the_larger_of_a_tenth_and_the_largest():
    """Constructed loads; the rule of columns A and B is from memory."""
    together, others = [2.0, 4.0, 5.0, 3.0], [6.0, 5.0, 9.0, 20.0]
    assert load_sum(COLUMNS, together, others) == 34.0
    assert load_sum(COLUMNS, together, [1.0] * 20) == 16.0
    assert load_sum(PLAIN_SUM, together, others) == 14.0
    assert load_sum(COLUMNS, [], []) == 0


def test_load_that_nobody_listed_is_noticed():
    """Measured well above the sum: something draws that is not on the list."""
    (load, _charging) = said(wired_job(read=reading("load_current", "8.0 A", "loads")), "load_sum")
    assert load.verdict is ADVISE
    assert "Find what draws the rest" in load.sentence


@pytest.mark.parametrize(("current", "verdict"), [("30 A", PASS), ("31 A", ADVISE)])
def test_load_against_charging(current, verdict):
    """The engines charge 30 A."""
    view = wired_job(
        [circuit(design_current=f"={current}")], read={**NO_MEASURED_LOAD, ("circuits", "current", "Bilge pump"): None}
    )
    assert verdict_on(view, "load_sum", "Charging") is verdict


def test_charging_needs_every_engines_output():
    """An engine without a charging current is named."""
    view = wired_job(engines=[Engine(position="port")])
    assert "charging current of port engine is not entered" in said(view, "load_sum")[1].sentence


@pytest.mark.parametrize(
    ("circuits", "reason"),
    [
        ([circuit(runs_with_others=None)], "Bilge pump: runs with others or not is not entered"),
        ([circuit(battery="")], "battery is not entered for Bilge pump"),
        ([circuit(battery="gone")], "battery is not entered for Bilge pump"),
    ],
)
def test_load_says_what_it_lacks(circuits, reason):
    """Nothing is added up while a circuit's part is not known; it is said once, not per battery."""
    view = wired_job(circuits, [battery("house"), battery("start")])
    (finding,) = said(view, "load_sum")
    assert finding.verdict is LACKING
    assert reason in finding.sentence


def test_a_single_battery_feeds_every_circuit():
    """With one battery aboard nobody has to say which."""
    assert verdict_on(wired_job([circuit(battery="")]), "battery_reserve") is PASS


@pytest.mark.parametrize(("load", "verdict"), [("12.5 A", PASS), ("12.6 A", ADVISE), ("0 A", LACKING)])
def test_reserve_at_its_limit(load, verdict):
    """50 usable Ah last 4 h at 12.5 A."""
    assert verdict_on(wired_job(read=reading("load_current", load, "loads")), "battery_reserve") is verdict


def test_reserve_of_lithium_uses_its_own_share():
    """80 Ah of 100 at 5 A."""
    (finding,) = said(wired_job(batteries=[battery(chemistry="LiFePO4")]), "battery_reserve")
    assert finding.numbers[0].value == pytest.approx(16)


def test_reserve_from_the_sum_when_no_load_was_measured():
    """The sum of what runs together stands in for the meter."""
    view = wired_job([circuit(design_current="=10 A")], read=NO_MEASURED_LOAD)
    (finding,) = said(view, "battery_reserve")
    assert finding.numbers[0].value == pytest.approx(5.0)


def test_reserve_refuses_no_load():
    """No load, no time."""
    with pytest.raises(ValueError, match="load must be above zero"):
        reserve_hours(100.0, 0.5, 0.0)
