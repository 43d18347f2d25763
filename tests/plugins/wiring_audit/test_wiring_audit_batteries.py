"""Findings on batteries: charge, installation, standing current, load and reserve."""

import pytest

from garboard.findings import BasisKind, Finding, NotEnoughData, Verdict
from garboard.records import Circuit, Engine, JsonValue
from garboard.uncertainty import MeasuredValue
from garboard_wiring_audit.batteries import reserve_hours, state_of_charge
from garboard_wiring_audit.loads import COLUMNS, PLAIN_SUM, load_sum
from garboard_wiring_audit.overcurrent import CFR_BATTERY_DISTANCE, E11_DISTANCE, ISO_DISTANCE
from wiring_boats import HOST, Changes, Readings, battery, circuit, said, sentence_on, verdict_on, wired_job

PASS, ADVISE, FAIL, LACKING = Verdict.PASS, Verdict.ADVISE, Verdict.FAIL, Verdict.NOT_ENOUGH_DATA
NO_MEASURED_LOAD: Readings = {("loads", "load_current", "house"): None}


def reading(field: str, value: JsonValue, step: str = "batteries") -> Readings:
    return {(step, field, "house"): value}


@pytest.mark.parametrize(
    ("volts", "verdict"),
    [
        ("12.56 V", PASS),  # 88.8 % less 12.9 is 75.9
        ("12.54 V", ADVISE),  # 86.3 % less 12.9 is 73.3
        ("11.90 V", ADVISE),
        ("11.89 V", FAIL),
        ("9.00 V", FAIL),
        ("12.85 V", PASS),
    ],
)
def test_charge_at_its_limits(volts: str, verdict: Verdict) -> None:
    """Three quarters at hand over, surely; flat fails."""
    assert verdict_on(wired_job(read=reading("rest_voltage", volts)), "battery_charge") is verdict


def test_charge_says_its_spread() -> None:
    """The charge carries the meter's spread and the tables' disagreement."""
    (finding,) = said(wired_job(read=reading("rest_voltage", "12.24 V")), "battery_charge")
    assert finding.numbers[0].value == pytest.approx(50)
    # By hand: 0.5 % of 12.24 V and the last digit give 0.0615 V, with 0.06 V of the tables 0.0859 V; at 25 % over
    # 0.17 V, the steepest piece of the table, that is 12.6 %.
    assert finding.numbers[0].expanded_uncertainty == pytest.approx(12.6, abs=0.1)
    assert (
        finding.sentence
        == "50 ± 13 % charged at 12.24 V. 75 % wanted. Charge it before the sea trial and read it again."
    )


@pytest.mark.parametrize(
    ("volts", "code", "words"),
    [
        ("12.60 V", "enough", "Enough for hand over."),
        ("12.45 V", "open", "Too close to call: 75 % wanted."),  # 75 ± 13 %
        ("12.485 V", "open", "charged at 12.49 V."),  # as its number: halves go up
        ("12.38 V", "open", "Too close to call: 75 % wanted."),  # 67 ± 13 %
        ("12.30 V", "low", "charged at 12.30 V. 75 % wanted."),  # 57 ± 13 %
    ],
)
def test_a_charge_at_its_limit_is_too_close_to_call(volts: str, code: str, words: str) -> None:
    (finding,) = said(wired_job(read=reading("rest_voltage", volts)), "battery_charge")
    assert finding.code == f"wiring_audit.battery_charge.{code}"
    assert words in finding.sentence


@pytest.mark.parametrize(
    ("entered", "volts", "words"),
    [
        ("=12 V", "25.40 V", "25.40 V at rest is that of a 24 V bank, and 12 V is entered; the entry is wrong"),
        ("=24 V", "12.70 V", "is that of a 12 V bank, and 24 V is entered; the entry is wrong, or a battery of a 24 V"),
        ("=12 V", "6.30 V", "is that of a 6 V bank, and 12 V is entered; the entry is wrong, or a battery of a 12 V"),
    ],
)
def test_a_bank_of_another_voltage_than_entered_is_not_called_flat(entered: str, volts: str, words: str) -> None:
    view = wired_job(batteries=[battery(nominal_voltage=entered)], read=reading("rest_voltage", volts))
    (finding,) = said(view, "battery_charge")
    assert finding.verdict is LACKING
    assert words in finding.sentence


@pytest.mark.parametrize(("volts", "verdict"), [("10.20 V", FAIL), ("14.40 V", LACKING), ("12.90 V", PASS)])
def test_a_flat_bank_or_one_on_charge_is_of_the_voltage_entered(volts: str, verdict: Verdict) -> None:
    (finding,) = said(wired_job(read=reading("rest_voltage", volts)), "battery_charge")
    assert finding.verdict is verdict
    assert "is entered" not in finding.sentence


@pytest.mark.parametrize(
    ("volts", "sentence", "number"),
    [
        # as above, the half width is 12.6 % and more; 100 - 12.9 = 87, 95 - 12.9 = 82, 8.8 + 12.4 = 21
        ("12.66 V", "87 % or more charged at 12.66 V. Enough for hand over.", ("charge, at least", 87)),
        ("12.61 V", "82 % or more charged at 12.61 V. Enough for hand over.", ("charge, at least", 82)),
        ("11.95 V", "21 % or less charged at 11.95 V.", ("charge, at most", 21)),
    ],
)
def test_charge_never_reaches_past_full_or_empty(volts: str, sentence: str, number: tuple[str, int]) -> None:
    """Where the half width goes past an end, only the other end is told."""
    (finding,) = said(wired_job(read=reading("rest_voltage", volts)), "battery_charge")
    assert finding.sentence.startswith(sentence)
    shown = finding.numbers[0]
    assert (shown.name, round(shown.value), shown.expanded_uncertainty) == (*number, None)


@pytest.mark.parametrize("chemistry", ["gel", "flooded", "LiFePO4", ""])
@pytest.mark.parametrize(
    ("entered", "volts", "dead"),
    [("=12 V", "3.0 V", True), ("=24 V", "19.0 V", True), ("=12 V", "10.1 V", False), ("=12 V", "6.3 V", False)],
)
def test_a_voltage_no_battery_in_order_shows_fails_whatever_its_chemistry(
    chemistry: str, entered: str, volts: str, dead: bool
) -> None:
    """Below 10 V for each 12; 6.3 V is that of a 6 V bank, which may be an entry. No rest makes it right."""
    read = {**reading("rest_voltage", volts), ("batteries", "hours_at_rest", "house"): None}
    (finding,) = said(
        wired_job(batteries=[battery(nominal_voltage=entered, chemistry=chemistry)], read=read), "battery_charge"
    )
    assert (finding.code == "wiring_audit.battery_charge.dead") is dead
    assert finding.verdict is (FAIL if dead else LACKING)


@pytest.mark.parametrize(
    ("chemistry", "label", "words"),
    [
        ("LiFePO4", "=12.8 V", "read its own management system"),
        ("LiFePO4", "=25.6 V", "read its own management system"),
        ("LiFePO4", "=14 V", "nominal voltage 14 V; the table"),
        ("AGM", "=12.8 V", "nominal voltage 12.8 V; the table"),
    ],
)
def test_a_lithium_bank_is_known_by_its_label(chemistry: str, label: str, words: str) -> None:
    """Four cells of 3.2 V are a 12 V bank; no other chemistry is labelled so."""
    bank = battery(chemistry=chemistry, nominal_voltage=label)
    volts = "26.4 V" if label == "=25.6 V" else "13.2 V"
    assert words in sentence_on(wired_job(batteries=[bank], read=reading("rest_voltage", volts)), "battery_charge")


def test_a_24_volt_bank_is_read_by_halves() -> None:
    """A 24 V bank at twice the voltage has the same charge."""
    view = wired_job(batteries=[battery(nominal_voltage="=24 V")], read=reading("rest_voltage", "24.48 V"))
    (finding,) = said(view, "battery_charge")
    assert finding.numbers[0].value == pytest.approx(50)


@pytest.mark.parametrize(
    ("changes", "read", "reason"),
    [
        ({}, reading("rest_voltage", None), "“Rest voltage” is not entered"),
        ({}, reading("hours_at_rest", None), "“Hours without charge or load” is not entered"),
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
def test_charge_says_why_it_cannot_tell(changes: Changes, read: Readings, reason: str) -> None:
    """Each reason for no number is its own sentence."""
    (finding,) = said(wired_job(batteries=[battery(**changes)], read=read), "battery_charge")
    assert finding.verdict is LACKING
    assert reason in finding.sentence


def test_just_enough_rest_is_enough() -> None:
    """The shop's least rest, to the hour."""
    assert verdict_on(wired_job(read=reading("hours_at_rest", "3 h")), "battery_charge") is PASS


def test_a_temperature_within_the_table_is_taken() -> None:
    """A battery at 30 degC is judged."""
    assert verdict_on(wired_job(read=reading("temperature", "30 degC")), "battery_charge") is PASS


def test_agm_charge_is_marked_as_common_practice() -> None:
    """An AGM battery is judged, its table marked."""
    (finding,) = said(wired_job(batteries=[battery(chemistry="AGM")]), "battery_charge")
    assert any("AGM" in basis.text and basis.kind is BasisKind.COMMON_PRACTICE for basis in finding.basis)


def test_one_battery_without_data_leaves_the_others_judged() -> None:
    """A missing reading on one battery does not silence the next."""
    view = wired_job(batteries=[battery("house"), battery("start")], read=reading("rest_voltage", None))
    assert [(finding.about, finding.verdict) for finding in said(view, "battery_charge")] == [
        ("house battery", LACKING),
        ("start battery", PASS),
    ]


def test_state_of_charge_never_leaves_0_to_100() -> None:
    """Below the table's end 0 %, just above its head 100 %."""
    assert state_of_charge(MeasuredValue(2.0, "V"), "flooded").percent.value == 0
    assert state_of_charge(MeasuredValue(12.8, "V"), "flooded").percent.value == 100
    with pytest.raises(NotEnoughData):
        state_of_charge(MeasuredValue(12.91, "V"), "flooded")


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
def test_installation_names_the_cure(field: str, cure: str) -> None:
    """Each fault of installation fails with its cure; an unanswered one is missing."""
    (finding,) = said(wired_job(read=reading(field, False)), "battery_installation")
    assert finding.verdict is FAIL
    assert cure in finding.sentence
    assert verdict_on(wired_job(read=reading(field, None)), "battery_installation") is LACKING


@pytest.mark.parametrize(
    ("distance", "verdict"),
    [("7 in", PASS), ("7.5 in", ADVISE), ("72 in", ADVISE), ("73 in", FAIL), (None, PASS), ("-3 in", LACKING)],
)
def test_main_fuse_distance(distance: str | None, verdict: Verdict) -> None:
    """Near is right, up to 72 in may be allowed, beyond fails; no fuse distance is no question."""
    assert verdict_on(wired_job(read=reading("fuse_distance", distance)), "battery_installation") is verdict


@pytest.mark.parametrize(("current", "verdict"), [("57 mA", PASS), ("58 mA", ADVISE), ("0 mA", PASS), (None, LACKING)])
def test_standing_current_in_days(current: str | None, verdict: Verdict) -> None:
    """50 Ah in 30 days are 69.4 mA; self-discharge alone takes them in 180 days, as 11.6 mA would: 57.9 mA are left."""
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
def test_main_fuse_distance_by_the_shops_rule(rule: str, distance: str, verdict: Verdict) -> None:
    """The shop's distance rule holds for main fuses too."""
    view = wired_job(read=reading("fuse_distance", distance), settings={"distance_rule": rule})
    assert verdict_on(view, "battery_installation") is verdict


def test_standing_current_says_the_days() -> None:
    """Number first, then days: 20 mA for 24 h and 50 Ah / 180 d are 0.758 Ah a day: 66 d of 50 Ah.

    A third of 180 d makes 8.1 d, 10 % of capacity 4.2 d, 0.8 mA 1.7 d.
    """
    said_so = sentence_on(wired_job(), "standing_current")
    assert said_so == "20.0 ± 0.8 mA with the switches off: 66 ± 9 days, self-discharge counted, 30 wanted."


@pytest.mark.parametrize(
    ("current", "settings", "words"),
    [
        ("3 mA", {}, "143 ± 38 days, self-discharge counted"),  # 1 / (1 / 694 + 1 / 180)
        ("0 mA", {}, "180 ± 61 days, self-discharge counted"),
        ("3 mA", {"standing_most": "90"}, "80 ± 24 days"),
        ("3 mA", {"standing_most": "1000"}, "410 ± "),
        ("12 mA", {}, "88 ± "),  # 22 mA of 210 Ah are as much for it: half in 95 days, never in 180
    ],
)
def test_no_more_days_than_self_discharge_leaves(current: str, settings: dict[str, JsonValue], words: str) -> None:
    """A lead battery loses its usable half by itself in about half a year; common practice, no source."""
    (finding,) = said(
        wired_job(read=reading("standing_current", current, "standing_current"), settings=settings), "standing_current"
    )
    assert words in finding.sentence
    assert finding.verdict is PASS
    assert any("give or take a third" in basis.note for basis in finding.basis)


@pytest.mark.parametrize(("chemistry", "of_lead"), [("AGM", True), ("LiFePO4", False)])
def test_a_lithium_battery_is_not_said_to_be_one_of_lead(chemistry: str, of_lead: bool) -> None:
    (finding,) = said(wired_job(batteries=[battery(chemistry=chemistry)]), "standing_current")
    assert any(basis.text.startswith("A lead battery loses") for basis in finding.basis) is of_lead


def test_more_days_wanted_than_self_discharge_leaves_is_advised_on() -> None:
    """As many as can be promised pass; 200 are wanted, 143 can be promised, and no switch makes them 200."""
    as_many = {"standing_days": "79", "standing_most": "90"}
    assert (
        verdict_on(
            wired_job(read=reading("standing_current", "3 mA", "standing_current"), settings=as_many),
            "standing_current",
        )
        is PASS
    )
    view = wired_job(read=reading("standing_current", "3 mA", "standing_current"), settings={"standing_days": "200"})
    assert verdict_on(view, "standing_current") is ADVISE
    assert sentence_on(view, "standing_current").endswith("200 wanted. Leave a charger on.")


@pytest.mark.parametrize("changes", [{"chemistry": ""}, {"capacity": None}, {"capacity": "=0 Ah"}])
def test_standing_current_needs_the_battery(changes: Changes) -> None:
    """Without capacity or chemistry there are no days."""
    assert verdict_on(wired_job(batteries=[battery(**changes)]), "standing_current") is LACKING


def test_load_adds_what_runs_together() -> None:
    """Loads used now and then, panel feeds and cranking motors are left out."""
    circuits = [
        circuit("Lights", design_current="=2.0 A"),
        circuit("Radio", design_current="=3.0 A"),
        circuit("Horn", design_current="=6.0 A", runs_with_others=False),
        circuit("Panel", design_current="=40 A", use="panel feed"),
        circuit("Start", design_current="=300 A", use="cranking motor"),
    ]
    read: Readings = {("circuits", "current", name): None for name in ("Lights", "Radio", "Horn", "Panel", "Start")}
    view = wired_job(circuits, read=read)
    load, charging = said(view, "load_sum")
    assert load.numbers[0].value == 5.0
    assert load.sentence == "5.0 A from 2 circuits that run together. Measured 5.0 A."
    assert charging.verdict is PASS
    by_columns = wired_job(circuits, read=read, settings={"load_rule": COLUMNS})
    assert said(by_columns, "load_sum")[0].numbers[0].value == 11.0


@pytest.mark.parametrize(("measured", "listed"), [(None, False), ("0.0 A", False), ("2.0 A", False), (None, True)])
def test_a_load_of_nothing_passes_nothing(measured: str | None, listed: bool) -> None:
    """ "0.0 A from 0 circuits" passed beside "not enough data". A load that is listed or read is judged."""
    circuits = [circuit("Horn", design_current="=6.0 A", runs_with_others=listed)]
    read: Readings = {("circuits", "current", "Horn"): None, ("loads", "load_current", "house"): measured}
    load, charging = said(wired_job(circuits, read=read), "load_sum")
    assert (load.verdict is not LACKING) is (listed or measured == "2.0 A")
    assert (charging.verdict is not LACKING) is (listed or measured == "2.0 A")
    assert "from 0 circuits" not in load.sentence


def test_columns_take_the_larger_of_a_tenth_and_the_largest() -> None:
    """Constructed loads; the rule of columns A and B is from memory."""
    together, others = [2.0, 4.0, 5.0, 3.0], [6.0, 5.0, 9.0, 20.0]
    assert load_sum(COLUMNS, together, others) == 34.0
    assert load_sum(COLUMNS, together, [1.0] * 20) == 16.0
    assert load_sum(PLAIN_SUM, together, others) == 14.0
    assert load_sum(COLUMNS, [], []) == 0


BEHIND = (circuit("Pilot", design_current="=12 A"), circuit("Lights", design_current="=2 A"))


def main_fuse(
    rating: str, *more: Circuit, circuits: tuple[Circuit, ...] = BEHIND, also: str = "start"
) -> Finding | None:
    """What is said of the main fuse of the house battery; nothing is read with the circuits running."""
    unread: Readings = {("circuits", "current", one.name): None for one in (*circuits, *more)}
    batteries = [battery("house"), battery(also)] if also else [battery("house")]
    view = wired_job([*circuits, *more], batteries, read={**unread, **reading("fuse_rating", rating)})
    return next(iter(said(view, "main_fuse")), None)


@pytest.mark.parametrize(
    ("rating", "more", "behind", "verdict"),
    [
        ("5 A", (), 14, ADVISE),
        ("14 A", (), 14, ADVISE),
        ("15 A", (), 14, PASS),
        # not all at once: by itself alone, and 40 A fed at the battery or of another battery not at all
        ("15 A", (circuit("Horn", design_current="=10 A", runs_with_others=False),), 14, PASS),
        ("15 A", (circuit("Winch", design_current="=40 A", runs_with_others=False),), 40, ADVISE),
        ("15 A", (circuit("Winch", design_current="=40 A", fed_from="battery terminal"),), 14, PASS),
        ("15 A", (circuit("Winch", design_current="=40 A", battery="start"),), 14, PASS),
        ("15 A", (circuit("Panel", design_current="=40 A", use="panel feed"),), 14, PASS),
        # not entered where a winch is fed: nobody says that it runs through the fuse
        ("15 A", (circuit("Winch", design_current="=40 A", runs_with_others=False, fed_from=""),), 14, PASS),
        # what is not entered may only add: what is entered opens it already, or nobody knows
        ("5 A", (circuit("Pump", design_current=None),), 14, ADVISE),
        ("15 A", (circuit("Pump", design_current=None),), None, LACKING),
        ("15 A", (circuit("Pump", design_current="=1 A", runs_with_others=None),), None, LACKING),
        ("15 A", (circuit("Pump", design_current="=1 A", battery=""),), None, LACKING),
    ],
)
def test_a_main_fuse_is_held_against_what_runs_at_once_behind_it(
    rating: str, more: tuple[Circuit, ...], behind: float | None, verdict: Verdict
) -> None:
    """5 A over 20.8 A passed unremarked. No rule is known that fails it: common practice advises."""
    found = main_fuse(rating, *more)
    assert found is not None
    assert found.verdict is verdict
    assert {basis.kind for basis in found.basis} == {BasisKind.COMMON_PRACTICE}
    assert [number.value for number in found.numbers[1:]] == ([] if behind is None else [behind])


def test_circuits_without_a_battery_are_told_once_for_all_main_fuses_they_leave_open() -> None:
    """Each of them was told for every battery. A fuse that opens without them is told by itself."""
    homeless = [circuit(name, design_current="=1 A", battery="") for name in ("Pump", "Horn")]
    ratings = {("batteries", "fuse_rating", name): "15 A" for name in ("house", "start", "bow")}
    ratings["batteries", "fuse_rating", "house"] = "5 A"
    view = wired_job([*BEHIND, *homeless], [battery(name) for name in ("house", "start", "bow")], read=ratings)
    opens, told = said(view, "main_fuse")
    assert (opens.of, opens.verdict) == ("house", ADVISE)
    assert (told.about, told.verdict) == ("start battery, bow battery", LACKING)
    assert [(one.field, one.of) for one in told.missing] == [("circuits.battery", "Pump")]
    assert "Pump, Horn" in told.missing[0].text


def test_nothing_is_said_of_a_main_fuse_that_is_not_entered_or_feeds_nothing() -> None:
    assert not said(wired_job(read=reading("fuse_rating", None)), "main_fuse")
    assert main_fuse("5 A", circuits=(), also="") is None


@pytest.mark.parametrize(
    ("rating", "code"), [("14 A", "will_open"), ("15.4 A", "may_open"), ("15.6 A", "may_open"), ("17 A", "fits")]
)
def test_a_main_fuse_as_large_as_the_load_is_sure_may_open(rating: str, code: str) -> None:
    """13.5 A read of a pilot that is to draw 12 A, and lights of 2 A: the meter decides between 15.4 A and 15.6 A."""
    near: Readings = {("circuits", "current", "Pilot"): "13.5 A", ("circuits", "current", "Lights"): None}
    view = wired_job(BEHIND, [battery("house")], read={**near, **reading("fuse_rating", rating)})
    (found,) = said(view, "main_fuse")
    assert found.code == f"wiring_audit.main_fuse.{code}"
    assert found.numbers[1].value == 15.5
    assert found.numbers[1].expanded_uncertainty


def test_a_main_fuse_is_not_sized_by_a_current_far_above_the_design() -> None:
    """9 A read of 5 A by design: a stalled pump. It is found first, and the fuse judged by what it should draw."""
    stalled: Readings = {("circuits", "current", "Bilge pump"): "9.0 A", **reading("fuse_rating", "7 A")}
    assert verdict_on(wired_job(read=stalled), "main_fuse") is PASS


def test_load_that_nobody_listed_is_noticed() -> None:
    """Measured well above the sum: something draws that is not on the list."""
    (load, _charging) = said(wired_job(read=reading("load_current", "8.0 A", "loads")), "load_sum")
    assert load.verdict is ADVISE
    assert "Find what draws the rest" in load.sentence


@pytest.mark.parametrize(("current", "verdict"), [("27.2 A", PASS), ("27.3 A", ADVISE), ("31 A", ADVISE)])
def test_load_against_charging(current: str, verdict: Verdict) -> None:
    """The engines charge 30 A, of which a tenth of the load has to be left to charge with."""
    view = wired_job(
        [circuit(design_current=f"={current}")], read={**NO_MEASURED_LOAD, ("circuits", "current", "Bilge pump"): None}
    )
    assert verdict_on(view, "load_sum", "Charging") is verdict


def test_charging_needs_every_engines_output() -> None:
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
def test_load_says_what_it_lacks(circuits: list[Circuit], reason: str) -> None:
    """Nothing is added up while a circuit's part is not known; it is said once, not per battery."""
    view = wired_job(circuits, [battery("house"), battery("start")])
    (finding,) = said(view, "load_sum")
    assert finding.verdict is LACKING
    assert reason in finding.sentence


def test_a_single_battery_feeds_every_circuit() -> None:
    """With one battery aboard nobody has to say which."""
    assert verdict_on(wired_job([circuit(battery="")]), "battery_reserve") is PASS


def with_load(load: str, listed: str = "=10 A", **changes: str) -> list[Finding]:
    """What is said of the reserve with a measured load and one circuit that is listed."""
    view = wired_job(
        [circuit(design_current=listed)],
        batteries=[battery(**changes)],
        read={**reading("load_current", load, "loads"), ("circuits", "current", "Bilge pump"): None},
    )
    return said(view, "battery_reserve")


@pytest.mark.parametrize(
    ("load", "code", "verdict"),
    [
        ("9.4 A", "enough", PASS),  # 10 h (5 / 9.4) ^ 1.15 is 4.84 h, by 1.165 is 4.15
        ("10.0 A", "open", ADVISE),  # 4.5 h, 3.8 to 5.3
        ("12.4 A", "open", ADVISE),  # 3.5 h, 2.9 to 4.2
        ("13.5 A", "short", ADVISE),  # 3.2 h, 2.6 to 3.9
    ],
)
def test_a_reserve_at_its_limit_is_too_close_to_call(load: str, code: str, verdict: Verdict) -> None:
    """By Peukert's law, 100 Ah at 20 h: 10 h (5 A / load) ^ 1.15, half of it usable; 4 h are wanted."""
    (finding,) = with_load(load, listed=f"={load}")
    assert (finding.code, finding.verdict) == (f"wiring_audit.battery_reserve.{code}", verdict)


def test_reserve_needs_a_load() -> None:
    (finding,) = with_load("0 A", listed="=0 A")
    assert finding.verdict is LACKING


def test_reserve_of_lithium_uses_its_own_share() -> None:
    """80 Ah of 100 at 10 A last 8 h, whatever the rate; by a tenth of the capacity and 3 % of the load."""
    (finding,) = with_load("10.0 A", chemistry="LiFePO4")
    assert finding.numbers[0].value == pytest.approx(8)
    assert finding.sentence.startswith("8.0 h (7.2 to 8.9 h) ")


def test_reserve_from_the_sum_when_no_load_was_measured() -> None:
    """The sum of what runs together stands in for the meter."""
    view = wired_job([circuit(design_current="=10 A")], read=NO_MEASURED_LOAD)
    (finding,) = said(view, "battery_reserve")
    assert finding.numbers[0].value == pytest.approx(10 * 0.5**1.15)  # Peukert: twice the 20 h rate
    assert "from full, as good as new, at 10.0 A (added up). 4 h wanted." in finding.sentence


def test_reserve_is_a_range_because_its_parts_multiply() -> None:
    """At 10 A: 3.04 % of the meter with half a digit and 10 % of capacity, both 1.15 times over as time goes with
    (capacity / load) ^ 1.15, and 0.15 ln 2 = 10.4 % of the exponent: exp(0.159) = 1.17. 4.51 h by and times 1.17."""
    (finding,) = with_load("10.0 A")
    assert [round(number.value, 2) for number in finding.numbers] == pytest.approx([4.51, 3.84, 5.28], abs=0.011)
    assert finding.sentence.startswith(
        "4.5 h (3.8 to 5.3 h) from full, as good as new, at 10.0 A (measured). 4 h wanted."
    )


def test_a_reserve_of_minutes_is_told_in_minutes() -> None:
    """At 600 A: 50 Ah by (5 / 600) ^ 1.15 over 5 A is 0.0406 h: 2.4 min, and not "0.0 h (0.0 to 0.1 h)"."""
    (finding,) = with_load("600 A")
    hours = 10 * (5 / 600) ** 1.15
    assert finding.numbers[0].value == pytest.approx(hours)
    assert f"{hours * 60:.1f} min (1.2 to 5.1 min) from full" in finding.sentence
    assert finding.numbers[0].decimals == 2


def test_a_draw_below_the_20_h_rate_is_told_as_at_least() -> None:
    """2.5 A of 100 Ah: 50 Ah last 20 h and more; by exp(0.105), the meter's and the capacity's, 18 h surely."""
    (finding,) = with_load("2.5 A", listed="=2.5 A")
    assert [(number.name, round(number.value, 1)) for number in finding.numbers] == [("reserve time, at least", 18.0)]
    assert finding.sentence.startswith("18 h or more from full")
    assert finding.verdict is PASS


@pytest.mark.parametrize(
    ("measured", "read", "code", "reserve"),
    [
        ("16.0 A", None, "unlisted_load", "16.0 A (the larger of measured and added up)"),
        ("6.0 A", "10.0 A", "less_than_listed", "10.0 A (the larger of measured and added up)"),
        ("6.0 A", "6.2 A", "listed", "6.0 A (measured)"),  # listed by design, drawing less: innocent
        ("9.6 A", None, "listed", "9.6 A (measured)"),
        ("10.8 A", None, "listed", "10.8 A (measured)"),
    ],
)
def test_the_larger_load_counts_until_the_difference_is_explained(
    measured: str, read: str | None, code: str, reserve: str
) -> None:
    """10 A are listed by design; `read` is the circuit's own current, where it was read."""
    view = wired_job(
        [circuit(design_current="=10 A")],
        read={**reading("load_current", measured, "loads"), ("circuits", "current", "Bilge pump"): read},
    )
    load = said(view, "load_sum")[0]
    (found,) = said(view, "battery_reserve")
    assert load.code == f"wiring_audit.load_sum.{code}"
    assert reserve in found.sentence
    doubted = [doubt.place for doubt in load.doubts]
    assert doubted == ([] if code == "listed" else [("wiring_audit.loads", "load_current", "", "house")])


def test_the_load_listed_is_one_number_wherever_it_is_told() -> None:
    """10 A by design, 9 A as read on it, 4 A at the battery: load, doubt, charging and reserve all tell 10 A."""
    read = {**reading("load_current", "4.0 A", "loads"), ("circuits", "current", "Bilge pump"): "9.0 A"}
    view = wired_job([circuit(design_current="=10 A")], read=read)
    load, charging = said(view, "load_sum")
    (reserve,) = said(view, "battery_reserve")
    assert load.sentence.startswith("10.0 A from 1 circuit. ")
    assert [doubt.text for doubt in load.doubts] == ["house battery: 4.0 A measured, 10.0 A listed"]
    assert load.numbers[-1].value == pytest.approx(6.0)
    assert "10.0 A listed" in charging.sentence
    assert "at 10.0 A (the larger of measured and added up)" in reserve.sentence


def test_a_measured_load_hides_no_circuit_that_draws_too_much() -> None:
    """40 A on a 5 A pump, 4 A at the battery: neither is a load to reckon a reserve with."""
    read = {**reading("load_current", "4.0 A", "loads"), ("circuits", "current", "Bilge pump"): "40.0 A"}
    assert verdict_on(wired_job(read=read), "battery_reserve") is LACKING


def test_a_reserve_that_rests_on_an_unexplained_load_does_not_pass() -> None:
    """20 A of a bank of 1 000 Ah last a day, and yet 14 A are not on the list."""
    big = battery(capacity="=1000 Ah")
    view = wired_job([circuit(design_current="=6 A")], [big], read=reading("load_current", "20.0 A", "loads"))
    found = {one.finding.code: one.finding for one in HOST.assess(view)}
    reserve = found["wiring_audit.battery_reserve.enough"]
    assert reserve.verdict is ADVISE
    assert "In doubt: house battery: 20.0 A measured, 6.0 A listed." in reserve.sentence


@pytest.mark.parametrize(("read", "about"), [("0 A", ["house battery"]), ("3 A", ["house battery", "start battery"])])
def test_a_battery_that_only_starts_the_engine_is_asked_for_no_load(read: str, about: list[str]) -> None:
    """0 A were read on it, and it was said to lack a load: "measure the load"."""
    loads: Readings = {("loads", "load_current", "start"): read}
    view = wired_job(batteries=[battery("house"), battery("start")], read=loads)
    assert [one.about for one in said(view, "battery_reserve")] == about


def test_reserve_refuses_no_load() -> None:
    """No load, no time."""
    with pytest.raises(ValueError, match="load must be above zero"):
        reserve_hours(100.0, 0.5, 0.0)


@pytest.mark.parametrize(
    ("wanted", "told", "verdict"),
    [
        ("80 %", "82 % or more charged at 12.61 V. Enough for hand over.", PASS),
        ("95 %", "82 % or more charged at 12.61 V. Too close to call: 95 % wanted. Charge it", ADVISE),
    ],
)
def test_a_charge_is_enough_only_where_what_is_shown_reaches_what_is_wanted(
    wanted: str, told: str, verdict: Verdict
) -> None:
    view = wired_job(
        [], [battery()], [], read={("batteries", "rest_voltage", "house"): "12.61 V"}, settings={"charge_least": wanted}
    )
    (finding,) = said(view, "battery_charge")
    assert finding.sentence.startswith(told)
    assert finding.verdict is verdict
