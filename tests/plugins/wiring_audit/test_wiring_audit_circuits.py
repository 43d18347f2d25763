"""Findings on circuits: verdict, wording and cure at and around every limit."""

import re
from collections.abc import Mapping
from typing import Any

import pytest

from garboard.findings import BasisKind, Verdict
from garboard.job_view import Disagreement, JobView
from garboard.records import JsonValue
from garboard.uncertainty import NORMAL_95, MeasuredValue
from garboard.units import Amount
from garboard_wiring_audit.ampacity import CFR_TABLE_5, ISO_BY_AREA, ISO_INSULATION, allowable, iso_by_area
from garboard_wiring_audit.conductors import (
    METRIC_SIZES,
    ambient_factor,
    larger_sizes,
    metric_size_within,
    of_area,
    of_gauge,
)
from garboard_wiring_audit.overcurrent import CFR_BATTERY_DISTANCE, E11_DISTANCE, ISO_DISTANCE, suggested_rating
from garboard_wiring_audit.readings import at_most, measured
from garboard_wiring_audit.rules import BUNDLING_ALWAYS, ISO_MINIMUM
from wiring_boats import HOST, Changes, Readings, battery, circuit, said, sentence_on, verdict_on, wired_job

PASS, ADVISE, FAIL, LACKING = Verdict.PASS, Verdict.ADVISE, Verdict.FAIL, Verdict.NOT_ENOUGH_DATA
RULES = (
    "ampacity",
    "overcurrent_rating",
    "overcurrent_distance",
    "minimum_size",
    "drop_calculated",
    "drop_measured",
    "terminations",
)
NOT_MEASURED: Readings = {("circuits", "current", "Bilge pump"): None}


def with_circuit(
    settings: Mapping[str, JsonValue] | None = None, read: Readings | None = None, **changes: Any
) -> JobView:
    return wired_job([circuit(**changes)], settings=settings, read=read)


def test_the_plugin_loads_without_problems() -> None:
    """The host takes everything the wiring audit offers."""
    assert HOST.problems == []
    assert [step.key for step in HOST.steps] == [
        "wiring_audit.batteries",
        "wiring_audit.standing_current",
        "wiring_audit.circuits",
        "wiring_audit.loads",
        "wiring_audit.networks",
    ]


def test_a_sound_boat_passes_every_check() -> None:
    """A boat in order gets passes only, one for each calculator at least."""
    findings = HOST.assess(wired_job())
    assert {assessed.finding.verdict for assessed in findings} == {PASS}
    assert {assessed.calculator for assessed in findings} == {calculator.key for calculator in HOST.calculators}


@pytest.mark.parametrize("rule", RULES)
def test_the_pass_finding_counts_and_carries_the_values(rule: str) -> None:
    """One pass finding for each rule, with a table row for every circuit judged."""
    view = wired_job([circuit("Bilge pump"), circuit("Horn"), circuit("Radio")])
    (finding,) = said(view, rule)
    assert finding.sentence.startswith("3 of 3 circuits ")
    assert [row[0] for row in finding.tables[0].rows] == ["Bilge pump", "Horn", "Radio"]
    assert {row[-1] for row in finding.tables[0].rows} == {"pass"}


@pytest.mark.parametrize("rule", RULES[:5])
def test_lacking_circuits_share_one_finding(rule: str) -> None:
    """Circuits a rule cannot judge are named together, with what each lacks."""
    bare: dict[str, Any] = {"conductor_awg": "", "in_sheath": None, "protection_distance": None}
    view = wired_job([circuit(), circuit("Horn", **bare), circuit("Radio", **bare)])
    passed, lacking = said(view, rule)
    assert (passed.verdict, lacking.verdict) == (PASS, LACKING)
    assert lacking.sentence.startswith("Not enough data for 2 circuits: Horn (")
    assert [row[0] for row in lacking.tables[0].rows] == ["Horn", "Radio"]
    assert lacking.numbers == ()


def test_many_lacking_circuits_are_not_all_named_in_the_sentence() -> None:
    """The sentence stays short; the table names them all."""
    circuits = [circuit(f"C{number}", length=None) for number in range(9)]
    (lacking,) = said(wired_job(circuits), "drop_calculated")
    assert "C0, C1, C2, C3 and 5 more" in lacking.sentence
    assert len(lacking.tables[0].rows) == 9
    assert "5 more (cable run from source to load is not entered)." in lacking.sentence
    (unlike,) = said(wired_job([*circuits, circuit("Radio", length=None, conductor_awg="")]), "drop_calculated")
    assert "C0, C1, C2, C3 and 6 more. " in unlike.sentence, "the table has what each lacks"


def test_cranking_motor_conductors_are_left_out() -> None:
    """A cranking circuit is told apart as not covered, never failed."""
    view = wired_job([circuit(), circuit("Start", use="cranking motor", design_current="=300 A", protection="none")])
    for rule in RULES[:6]:
        (finding,) = said(view, rule)
        assert finding.sentence.startswith("1 of 1 circuits")
        assert "not covered" in finding.tables[0].rows[1][-1]


def test_findings_say_that_the_subpart_is_practice_on_outboard_boats() -> None:
    """Every finding that rests on the US electrical subpart says it is practice, not law."""
    noted = [
        basis
        for assessed in HOST.assess(wired_job())
        for basis in assessed.finding.basis
        if basis.kind is BasisKind.REGULATION and "183.435" not in basis.text
    ]
    assert noted
    assert all("on an outboard boat it is practice, not law" in basis.note for basis in noted)


# Ampacity


@pytest.mark.parametrize(
    ("current", "verdict"),
    [("=35 A", PASS), ("=35.01 A", FAIL), ("=34.99 A", PASS)],
)
def test_ampacity_at_its_limit(current: str, verdict: Verdict) -> None:
    """35 A is what 14 AWG at 105 degC may carry."""
    view = with_circuit(design_current=current, read=NOT_MEASURED)
    assert verdict_on(view, "ampacity") is verdict


@pytest.mark.parametrize(("current", "verdict"), [("=29.75 A", PASS), ("=29.76 A", FAIL)])
def test_ampacity_in_an_engine_space(current: str, verdict: Verdict) -> None:
    """In an engine space 85 % is left at 105 degC."""
    view = with_circuit(design_current=current, in_engine_space=True, read=NOT_MEASURED)
    assert verdict_on(view, "ampacity") is verdict


@pytest.mark.parametrize("rule", [CFR_TABLE_5, ISO_BY_AREA])
def test_an_engine_space_the_shop_calls_warmer_is_judged_by_that(rule: str) -> None:
    """12 AWG at 105 degC: 45 A, in 50 degC 0.85 of it, in 80 degC by [K] sqrt(25/75) = 0.577 of it, 26.0 A."""
    carries = {CFR_TABLE_5: 45.0, ISO_BY_AREA: 35.0}[rule]
    settings: dict[str, JsonValue] = {"ampacity_rule": rule, "engine_space": "80 degC"}
    changes: Changes = {"conductor_awg": "12", "in_engine_space": True, "read": NOT_MEASURED}
    over, under = (carries * (25 / 75) ** 0.5 + more for more in (0.01, -0.01))
    (finding,) = said(with_circuit(design_current=f"={over:.3f} A", settings=settings, **changes), "ampacity")
    assert finding.verdict is FAIL or (rule == ISO_BY_AREA and finding.verdict is ADVISE)  # its table is from memory
    assert "Ambient formula of NEC 310.15(B) for 80 degC in an engine space" in {basis.text for basis in finding.basis}
    cooler: dict[str, JsonValue] = {**settings, "engine_space": "50 degC"}
    assert verdict_on(with_circuit(design_current=f"={over:.3f} A", settings=cooler, **changes), "ampacity") is PASS
    assert verdict_on(with_circuit(design_current=f"={under:.3f} A", settings=settings, **changes), "ampacity") is PASS


@pytest.mark.parametrize("insulation", [60.0, 75.0, 80.0, 90.0, 105.0, 125.0, 200.0])
def test_a_warmer_engine_space_never_allows_more(insulation: float) -> None:
    allowed = [allowable(CFR_TABLE_5, of_gauge("12"), insulation, warm, 1).amperes for warm in (None, 30, 50, 51, 80)]
    assert allowed == sorted(allowed, reverse=True)


def test_ampacity_with_a_factor_from_memory_only_advises() -> None:
    """Where only a remembered factor fails a conductor, the finding advises and marks it."""
    view = with_circuit(
        design_current="=18 A", insulation_temperature="=75 degC", in_engine_space=True, read=NOT_MEASURED
    )
    (finding,) = said(view, "ampacity")
    assert finding.verdict is ADVISE
    assert any("factor 0.75" in one.text and one.kind is BasisKind.COMMON_PRACTICE for one in finding.basis)


def test_ampacity_beyond_the_table_fails_even_with_a_remembered_factor() -> None:
    """Above the table's own value the remembered factor no longer matters."""
    view = with_circuit(
        design_current="=21 A", insulation_temperature="=75 degC", in_engine_space=True, read=NOT_MEASURED
    )
    assert verdict_on(view, "ampacity") is FAIL


def test_ampacity_names_the_next_size_that_keeps_the_drop_too() -> None:
    """40 A over 10 ft: 12 AWG carries it; 3 % needs 10.75 x 40 x 20 / 0.36 = 23889 cmil, which is 6 AWG."""
    view = with_circuit(design_current="=40 A", read=NOT_MEASURED)
    assert sentence_on(view, "ampacity") == "40.0 A on 14 AWG that may carry 35.0 A. Fit 6 AWG or larger."


def test_ampacity_cure_by_ampacity_alone() -> None:
    """Without a length the cure says what it did not look at."""
    view = with_circuit(design_current="=40 A", length=None, read=NOT_MEASURED)
    assert "Fit 12 AWG or larger (by ampacity alone)." in sentence_on(view, "ampacity")


def test_ampacity_cure_when_nothing_is_large_enough() -> None:
    """Beyond the table the cure is to shorten or split."""
    view = with_circuit(design_current="=600 A", read=NOT_MEASURED)
    assert "No size in the table is enough: shorten the run or split the load." in sentence_on(view, "ampacity")


def test_measured_current_counts_when_it_is_above_the_design_current() -> None:
    """A load that draws more than it was designed for is judged by the meter, and its spread counts."""
    above = with_circuit(read={("circuits", "current", "Bilge pump"): "36.0 A"})
    within = with_circuit(read={("circuits", "current", "Bilge pump"): "35.5 A"})
    surely = with_circuit(read={("circuits", "current", "Bilge pump"): "40.0 A"})
    assert [verdict_on(view, "ampacity") for view in (above, within, surely)] == [ADVISE, ADVISE, FAIL]


def test_conductor_in_square_millimetres_counts_as_the_next_smaller_gauge() -> None:
    """2.5 mm2 is judged as 14 AWG and the finding says so."""
    view = with_circuit(
        conductor_awg="", conductor_area="=2.5 mm2", design_current="=36 A", length="=2 ft", read=NOT_MEASURED
    )
    assert sentence_on(view, "ampacity") == (
        "36.0 A on 2.5 mm2, counted as 14 AWG, that may carry 35.0 A. Fit 4 mm2 or larger."
    )


def test_conductor_in_circular_mils_is_understood() -> None:
    """An area in circular mils is an area like another."""
    view = with_circuit(conductor_awg="", conductor_area="=4110 cmil", design_current="=35 A", read=NOT_MEASURED)
    assert verdict_on(view, "ampacity") is PASS


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"conductor_awg": "15"}, "15 AWG is not in the table"),
        ({"conductor_awg": "fat"}, "'fat' is not a wire gauge"),
        ({"conductor_awg": "20"}, "20 AWG is not in the table"),
        ({"conductor_awg": "", "conductor_area": "=0.5 mm2"}, "0.5 mm2 is smaller than 18 AWG"),
        ({"conductor_awg": ""}, "conductor size is not entered"),
        ({"conductor_area": "=4 mm2"}, "14 AWG and 4 mm2 do not agree"),
        ({"insulation_temperature": "=50 degC"}, "insulation rated 50 degC lies below 33 CFR 183.425 Table 5"),
        ({"insulation_temperature": None}, "insulation rating is not entered"),
        ({"in_engine_space": None}, "in engine space or not is not entered"),
        ({"nominal_voltage": None, "battery": ""}, "nominal voltage is not entered"),
        ({"nominal_voltage": "=0 V"}, "nominal voltage cannot be 0 V"),
        ({"design_current": None}, "current is not entered, neither by design nor measured"),
        ({"nominal_voltage": "=60 V", "bundled_conductors": None}, "number of bundled conductors is not entered"),
    ],
)
def test_ampacity_says_what_it_lacks(changes: Changes, reason: str) -> None:
    """Each thing missing or out of the table is a reason of its own."""
    (finding,) = said(with_circuit(read=NOT_MEASURED, **changes), "ampacity")
    assert finding.verdict is LACKING
    assert reason in finding.sentence


def test_insulation_in_fahrenheit_is_understood() -> None:
    """221 degF is the 105 degC column."""
    view = with_circuit(insulation_temperature="=221 degF", design_current="=35 A", read=NOT_MEASURED)
    assert verdict_on(view, "ampacity") is PASS


def test_nominal_voltage_comes_from_the_battery_when_the_circuit_has_none() -> None:
    """A circuit without a voltage takes its battery's."""
    assert verdict_on(with_circuit(nominal_voltage=None), "drop_calculated") is PASS


def test_the_metric_table_has_the_usual_sizes_and_never_allows_less_for_more() -> None:
    """Sizes of IEC 60228 from 0.75 to 150 mm2, and each its own row. The amperes are from memory: no thicker conductor
    and no better insulation may carry less; beyond that nothing is known of them."""
    sizes = (0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0, 150.0)
    assert sizes == METRIC_SIZES
    assert [metric_size_within(of_area(size)) for size in sizes] == [*sizes]
    assert [larger.area for larger in larger_sizes(of_area(2.5))] == [*sizes[4:]]
    assert [larger.label for larger in larger_sizes(of_gauge("2/0"))] == ["3/0 AWG", "4/0 AWG"]
    amperes = [[iso_by_area(size, rating) for rating in ISO_INSULATION] for size in sizes]
    assert all(row == sorted(row) for row in amperes)
    assert all([*column] == sorted(set(column)) for column in zip(*amperes, strict=True))


@pytest.mark.parametrize(("ambient", "factor"), [(30.0, 1.0), (104.0, 0.115), (105.0, 0.0), (130.0, 0.0)])
def test_nothing_may_be_carried_where_it_is_as_hot_as_the_insulation_may_be(ambient: float, factor: float) -> None:
    """By hand at 104 degC: sqrt(1 / 75) = 0.115."""
    assert ambient_factor(105.0, ambient) == pytest.approx(factor, abs=0.001)


@pytest.mark.parametrize(
    ("typed", "value", "step"), [("25 degC", 25.0, 1.0), ("77 degF", 25.0, 5 / 9), ("77.0 degF", 25.0, 0.5 / 9)]
)
def test_a_temperature_is_as_sure_as_its_last_digit_in_its_own_degrees(typed: str, value: float, step: float) -> None:
    """One step of Fahrenheit is 5/9 of one of Celsius, wherever their zeros lie."""
    reading = measured(Amount.parse(typed), "degC", 0.0)
    assert reading.value == pytest.approx(value)
    assert reading.standard_uncertainty == pytest.approx(step / 12**0.5)


@pytest.mark.parametrize(
    ("rule", "insulation", "engine_space", "bundled", "told"),
    [
        (CFR_TABLE_5, 105.0, 50.0, 2, ()),
        (CFR_TABLE_5, 90.0, None, 1, ()),
        (CFR_TABLE_5, 90.0, 50.0, 1, ("engine-space factor 0.82 for 90 degC",)),
        (CFR_TABLE_5, 90.0, 80.0, 1, ()),
        (CFR_TABLE_5, 105.0, None, 3, ("bundling factor of note 2",)),
        (ISO_BY_AREA, 105.0, None, 1, ("ISO 10133 ampacity table",)),
        (ISO_BY_AREA, 105.0, 50.0, 3, ("bundling factor of note 2", "ISO 10133 ampacity table")),
    ],
)
def test_values_from_memory_are_named_where_they_are_used(
    rule: str, insulation: float, engine_space: float | None, bundled: int, told: tuple[str, ...]
) -> None:
    """A technician confirms them before relying on them; a value read in its source is not among them."""
    assert allowable(rule, of_area(2.5), insulation, engine_space, bundled).from_memory == told


@pytest.mark.parametrize(
    ("value", "within", "verdict"),
    [(3.0, 0.0, PASS), (2.5, 0.5, PASS), (2.75, 0.5, ADVISE), (3.5, 0.5, ADVISE), (3.75, 0.5, FAIL), (3.25, 0.0, FAIL)],
)
def test_a_reading_that_just_reaches_a_limit_is_within_it(value: float, within: float, verdict: Verdict) -> None:
    """It fails only when all of its interval lies beyond."""
    assert at_most(MeasuredValue(value, "A", within / NORMAL_95), 3.0) is verdict


def test_circuits_that_passed_are_counted_and_the_others_pointed_at() -> None:
    """Three circuits, one of them with a fuse far from its source."""
    far = circuit("Far", protection_distance="=90 in")
    passed = said(wired_job([circuit("Near"), circuit("Nearer"), far]), "overcurrent_distance")[-1]
    assert passed.sentence.startswith("2 of 3 circuits ")
    assert passed.sentence.endswith(" See to the other 1.")
    every = said(wired_job([circuit("Near"), circuit("Nearer")]), "overcurrent_distance")[-1]
    assert every.sentence.startswith("2 of 2 circuits ")
    assert "See to" not in every.sentence


def test_bundling_counts_from_50_volts_only() -> None:
    """Six conductors bundled: no factor at 12 V, 60 % at 60 V, and at 12 V where the shop wants it."""
    changes: dict[str, Any] = {"bundled_conductors": 6, "design_current": "=25 A", "read": NOT_MEASURED}
    assert verdict_on(with_circuit(**changes), "ampacity") is PASS
    assert verdict_on(with_circuit(nominal_voltage="=60 V", **changes), "ampacity") is ADVISE
    assert verdict_on(with_circuit(settings={"bundling_rule": BUNDLING_ALWAYS}, **changes), "ampacity") is ADVISE


def test_bundling_basis_says_why_none_is_applied() -> None:
    """The finding says that bundling factors count from 50 V."""
    (finding,) = said(wired_job(), "ampacity")
    assert any("below 50 V none is applied" in basis.note for basis in finding.basis)


def test_ampacity_by_area_is_marked_as_common_practice() -> None:
    """The table by area is used only where the shop chose it, and its findings say that it is common practice."""
    changes: dict[str, Any] = {"conductor_awg": "", "conductor_area": "=2.5 mm2", "read": NOT_MEASURED}
    chosen = {"ampacity_rule": ISO_BY_AREA}
    (finding,) = said(with_circuit(settings=chosen, design_current="=34 A", **changes), "ampacity")
    assert finding.verdict is PASS
    assert any("ISO 10133" in one.text and one.kind is BasisKind.COMMON_PRACTICE for one in finding.basis)


# Overcurrent rating


@pytest.mark.parametrize(
    ("rating", "verdict", "cure"),
    [
        ("=52.5 A", PASS, ""),
        ("=52.6 A", FAIL, "Fit a 7.5 A fuse: 5.0 A load and 25 % in hand."),
        ("=5 A", ADVISE, "Fit a 7.5 A fuse: 5.0 A load and 25 % in hand."),
        ("=5.1 A", PASS, ""),
        ("=3 A", ADVISE, "it will open. Fit a 7.5 A fuse: 5.0 A load and 25 % in hand."),
    ],
)
def test_fuse_rating_at_its_limits(rating: str, verdict: Verdict, cure: str) -> None:
    """At most 150 % of 35 A and above the 5 A load."""
    (finding,) = said(with_circuit(protection_rating=rating), "overcurrent_rating")
    assert finding.verdict is verdict
    assert cure in finding.sentence


def test_fuse_limit_is_not_lowered_in_an_engine_space() -> None:
    """The text points to the table's value, so the engine space changes nothing; the basis says so."""
    view = with_circuit(protection_rating="=52.5 A", in_engine_space=True)
    (finding,) = said(view, "overcurrent_rating")
    assert finding.verdict is PASS
    assert any("before the engine-space factor" in basis.note for basis in finding.basis)


def test_no_fuse_fails_with_the_rating_to_fit() -> None:
    """A circuit without protection gets the rating to fit."""
    view = with_circuit(protection="none", protection_rating=None)
    assert sentence_on(view, "overcurrent_rating") == (
        "No fuse or breaker. Fit a 7.5 A fuse: 5.0 A load and 25 % in hand."
    )
    assert verdict_on(view, "overcurrent_rating") is FAIL


def test_no_fuse_fits_between_load_and_limit() -> None:
    """Where no rating fits, the conductor has to grow: 10.75 x 52 x 20 / 0.36 = 31056 cmil, which is 4 AWG."""
    view = with_circuit(protection="none", protection_rating=None, design_current="=52 A", read=NOT_MEASURED)
    assert "No rating in stock lies above the load and within 52.5 A. Fit 4 AWG or larger, then fuse it." in (
        sentence_on(view, "overcurrent_rating")
    )


@pytest.mark.parametrize(
    ("load", "largest", "rating"),
    [(35.0, 37.5, None), (34.0, 37.5, 35), (20.0, 52.5, 25), (21.0, 25.0, 25), (0.5, 37.5, 1)],
)
def test_suggested_rating_lies_above_the_load_and_within_the_limit(
    load: float, largest: float, rating: int | None
) -> None:
    """A quarter in hand where that fits, else the largest that fits, never one the load would open."""
    assert suggested_rating(load, largest, 1.25) == rating


def test_too_large_a_fuse_fails_before_the_current_is_known() -> None:
    """The limit needs no load; the cure asks for it."""
    view = with_circuit(design_current=None, protection_rating="=60 A", read=NOT_MEASURED)
    assert sentence_on(view, "overcurrent_rating") == (
        "60 A fuse on 14 AWG that allows 52.5 A. Enter the current, then fit a fuse above it and at most 52.5 A."
    )


def test_from_50_volts_the_ampacity_is_the_limit() -> None:
    """At 60 V a 35 A conductor takes 35 A, no more."""
    at, above = (with_circuit(nominal_voltage="=60 V", protection_rating=r) for r in ("=35 A", "=40 A"))
    assert verdict_on(at, "overcurrent_rating") is PASS
    assert verdict_on(above, "overcurrent_rating") is FAIL


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"protection": ""}, "fuse, breaker or none is not entered"),
        ({"protection_rating": None}, "fuse or breaker rating is not entered"),
        ({"protection_rating": "=-5 A"}, "fuse or breaker rating cannot be −5 A"),
        ({"insulation_temperature": None}, "insulation rating is not entered"),
    ],
)
def test_fuse_rating_says_what_it_lacks(changes: Changes, reason: str) -> None:
    """A missing or impossible entry is named."""
    (finding,) = said(with_circuit(**changes), "overcurrent_rating")
    assert finding.verdict is LACKING
    assert reason in finding.sentence


# Overcurrent distance


@pytest.mark.parametrize(
    ("rule", "changes", "verdict"),
    [
        ("", {"protection_distance": "=0 in"}, PASS),
        ("", {"protection_distance": "=7 in"}, PASS),
        ("", {"protection_distance": "=7.1 in"}, FAIL),
        ("", {"protection_distance": "=40 in", "in_sheath": True}, PASS),
        ("", {"protection_distance": "=40.5 in", "in_sheath": True}, FAIL),
        ("", {"protection_distance": "=6 in", "in_sheath": None}, PASS),
        ("", {"protection_distance": "=30 in", "in_sheath": None}, LACKING),
        ("", {"protection_distance": "=41 in", "in_sheath": None}, FAIL),
        ("", {"protection_distance": "=72 in", "fed_from": "battery terminal"}, ADVISE),
        ("", {"protection_distance": "=73 in", "fed_from": "battery terminal"}, FAIL),
        ("", {"protection_distance": None}, LACKING),
        ("", {"protection_distance": "=-1 in"}, LACKING),
        (CFR_BATTERY_DISTANCE, {"protection_distance": "=72 in", "fed_from": "battery terminal"}, PASS),
        (CFR_BATTERY_DISTANCE, {"protection_distance": "=72 in"}, FAIL),
        (E11_DISTANCE, {"protection_distance": "=72 in", "fed_from": "battery terminal", "in_sheath": True}, PASS),
        (E11_DISTANCE, {"protection_distance": "=40 in", "in_sheath": True}, PASS),
        (E11_DISTANCE, {"protection_distance": "=8 in"}, ADVISE),
        (ISO_DISTANCE, {"protection_distance": "=200 mm"}, PASS),
        (ISO_DISTANCE, {"protection_distance": "=201 mm"}, FAIL),
    ],
)
def test_fuse_distance_at_its_limits(rule: str, changes: Changes, verdict: Verdict) -> None:
    """Each distance rule at and just beyond its limit."""
    view = with_circuit(settings={"distance_rule": rule} if rule else None, **changes)
    assert verdict_on(view, "overcurrent_distance") is verdict


def test_fuse_distance_names_the_cure() -> None:
    """The finding says how near."""
    assert sentence_on(with_circuit(protection_distance="=20 in"), "overcurrent_distance") == (
        "20 in from the source to its fuse, 7 in allowed. Move it to within 7 in."
    )


# Minimum size


@pytest.mark.parametrize(
    ("rule", "changes", "verdict"),
    [
        ("", {"conductor_awg": "16"}, PASS),
        ("", {"conductor_awg": "18"}, FAIL),
        ("", {"conductor_awg": "18", "in_sheath": True}, PASS),
        ("", {"conductor_awg": "20", "in_sheath": True}, FAIL),
        ("", {"conductor_awg": "", "conductor_area": "=1 mm2"}, FAIL),
        ("", {"conductor_awg": "", "conductor_area": "=1.5 mm2"}, PASS),
        ("", {"conductor_awg": "", "conductor_area": "=1 mm2", "in_sheath": True}, PASS),
        ("", {"in_sheath": None}, LACKING),
        (ISO_MINIMUM, {"conductor_awg": "", "conductor_area": "=1 mm2"}, PASS),
        (ISO_MINIMUM, {"conductor_awg": "18"}, FAIL),
        (ISO_MINIMUM, {"conductor_awg": "18", "in_sheath": True}, PASS),
        (ISO_MINIMUM, {"conductor_awg": "", "conductor_area": "=0.7 mm2", "in_sheath": True}, FAIL),
    ],
)
def test_smallest_conductor(rule: str, changes: Changes, verdict: Verdict) -> None:
    """Each rule's smallest size alone and in a sheath."""
    view = with_circuit(settings={"minimum_rule": rule} if rule else None, **changes)
    assert verdict_on(view, "minimum_size") is verdict


def test_electronics_are_exempt_from_the_smallest_size() -> None:
    """A thin feed to a radio is not a fault."""
    view = wired_job([circuit(), circuit("Radio", conductor_awg="20", use="navigation or communication electronics")])
    assert verdict_on(view, "minimum_size") is PASS


def test_smallest_conductor_names_the_cure() -> None:
    """The next size up that also carries the load and keeps the drop."""
    assert sentence_on(with_circuit(conductor_awg="18", read=NO_DROP), "minimum_size") == (
        "18 AWG alone, 16 AWG is the smallest. Fit 14 AWG or larger."
    )


# Drop

NO_DROP: Readings = {("circuits", "drop", "Bilge pump"): None}


@pytest.mark.parametrize(
    ("changes", "verdict"),
    [
        ({"length": "=13.7 ft"}, PASS),  # by hand: 10.75 x 5 A x 27.4 ft / 4107 cmil = 0.3586 V, 3 % is 0.36 V
        ({"length": "=13.8 ft"}, FAIL),  # 0.3612 V
        ({"length": "=45.8 ft", "critical": False}, PASS),  # 1.1990 V, 10 % is 1.2 V
        ({"length": "=45.9 ft", "critical": False}, FAIL),  # 1.2016 V
        ({"length": "=10 ft", "critical": None}, PASS),
        ({"length": "=20 ft", "critical": None}, LACKING),
        ({"length": "=60 ft", "critical": None}, FAIL),
        ({"length": None}, LACKING),
        ({"length": "=0 ft"}, LACKING),
    ],
)
def test_calculated_drop_at_its_limits(changes: Changes, verdict: Verdict) -> None:
    """3 % for critical circuits, 10 % for others; without a class only where both agree."""
    settings = {"ambient": "20 degC"}  # cool surroundings, so that circular mils alone decide
    assert verdict_on(with_circuit(settings=settings, read=NO_DROP, **changes), "drop_calculated") is verdict


def test_calculated_drop_advises_when_only_the_warm_conductor_exceeds() -> None:
    """13.7 ft pass by circular mils; at 50 degC in an engine space the copper loses 8 % more."""
    view = with_circuit(length="=13.7 ft", in_engine_space=True, read=NO_DROP)
    (finding,) = said(view, "drop_calculated")
    assert finding.verdict is ADVISE
    assert finding.sentence == "Drop 3.0 ± 0.3 % by circular mils, 3.2 % at 52 degC, 3 % allowed. Fit 12 AWG or larger."


def test_calculated_drop_names_size_by_drop_alone_without_insulation() -> None:
    """Without the insulation rating ampacity is not looked at, and the cure says so."""
    view = with_circuit(length="=20 ft", insulation_temperature=None, read=NO_DROP)
    assert "Fit 12 AWG or larger (by drop alone)." in sentence_on(view, "drop_calculated")


def test_cure_keeps_the_drop_of_the_warm_conductor_too() -> None:
    """14 AWG would pass by circular mils alone at 13.7 ft; in an engine space the cure is one size up."""
    view = with_circuit(conductor_awg="16", length="=13.7 ft", in_engine_space=True, read=NO_DROP)
    assert "Fit 12 AWG or larger." in sentence_on(view, "drop_calculated")


def test_cure_without_a_class_takes_the_stricter() -> None:
    """60 ft and no class: the size that would do for a critical circuit, 10.75 x 5 x 120 / 0.36 = 17917 cmil."""
    view = with_circuit(length="=60 ft", critical=None, read=NO_DROP)
    assert "Fit 6 AWG or larger." in sentence_on(view, "drop_calculated")


def test_shop_may_tighten_the_drop() -> None:
    """A shop's own class limit counts."""
    view = with_circuit(read={("circuits", "drop", "Bilge pump"): None}, settings={"drop_critical": "1 %"})
    assert verdict_on(view, "drop_calculated") is FAIL


TOO_LONG: dict[str, Any] = {"length": "=30 ft", "design_current": "=5 A"}
"""By circular mils 10.75 x 5 x 60 / 4110 = 0.785 V, 6.5 % of 12 V, against 3 % allowed."""


def test_one_fault_read_and_reckoned_is_told_once() -> None:
    """Meter and calculation ask for the same conductor: one finding carries both drops and both bases."""
    view = with_circuit(read={("circuits", "drop", "Bilge pump"): "0.80 V"}, **TOO_LONG)
    (finding,) = (each for each in said(view, "drop_measured") if each.verdict is FAIL)
    assert finding.sentence.startswith("Drop 6.7 ± 0.2 ")
    assert " measured, 6.5 ± " in finding.sentence
    assert finding.sentence.count("Fit ") == 1
    assert {"drop", "drop by circular mils"} <= {number.name for number in finding.numbers}
    bases = " ".join(basis.text for basis in finding.basis)
    assert "Circular-mil method" in bases
    assert "Drop read from the source" in bases
    assert not [each for each in said(view, "drop_calculated") if each.verdict is FAIL]


@pytest.mark.parametrize("read", [None, "2.00 V"])
def test_a_calculated_fault_stands_alone_where_the_meter_says_something_else(read: dict[str, JsonValue]) -> None:
    """A drop not read, or lost in a joint, is another matter than the conductor."""
    view = with_circuit(read={("circuits", "drop", "Bilge pump"): read}, **TOO_LONG)
    (finding,) = (each for each in said(view, "drop_calculated") if each.verdict is not PASS)
    assert finding.verdict is FAIL
    assert " measured" not in finding.sentence


STALLED: dict[str, Any] = {"conductor_awg": "8", "protection_rating": "=40 A", "critical": False}


@pytest.mark.parametrize(
    ("current", "changes"),
    [
        ("45 A", {}),
        ("34 A", {}),
        ("34 A", {"conductor_awg": ""}),
        ("34 A", {"protection_rating": None}),
        ("34 A", {"protection": "none"}),
        ("34 A", {"conductor_awg": "16"}),
    ],
)
def test_a_load_far_above_its_design_fails_and_nothing_is_sized_by_it(current: str, changes: dict[str, Any]) -> None:
    """A 5 A pump that draws 34 A is stalled, shorted or entered wrong, whatever fuse and conductor it has."""
    view = with_circuit(read={("circuits", "current", "Bilge pump"): current}, **STALLED | changes)
    (finding,) = said(view, "overcurrent_rating")
    assert finding.verdict is FAIL
    assert "find the cause and measure again. Fit no larger fuse." in finding.sentence
    advice = " ".join(each.finding.sentence for each in HOST.assess(view))
    assert not re.search(r"Fit an? [\d.]+ A|Fit \d+ AWG|Fit more capacity", advice)


@pytest.mark.parametrize(("current", "verdict"), [("6.2 A", PASS), ("6.4 A", PASS), ("6.6 A", FAIL)])
def test_a_load_a_quarter_above_its_design_is_nobodys_fault(current: str, verdict: Verdict) -> None:
    """A quarter over 5 A is 6.25; 6.4 A is within what the meter is good to, 6.6 A is not."""
    view = with_circuit(read={("circuits", "current", "Bilge pump"): current})
    assert verdict_on(view, "overcurrent_rating") is verdict
    unknown = with_circuit(read={("circuits", "current", "Bilge pump"): current}, design_current=None)
    assert verdict_on(unknown, "overcurrent_rating") is PASS


def test_a_fuse_without_room_for_the_margin_says_why_it_is_that_one() -> None:
    """14 AWG allows 52.5 A; a quarter over 42 A is 52.5, so 50 A is the largest there is."""
    view = with_circuit(design_current="=42 A", protection="none", read={("circuits", "current", "Bilge pump"): None})
    assert "Fit a 50 A fuse: the largest that fits between 42.0 and 52.5 A." in sentence_on(view, "overcurrent_rating")


@pytest.mark.parametrize(
    ("drop", "verdict"),
    [("0.33 V", PASS), ("0.34 V", ADVISE), ("0.36 V", ADVISE), ("0.38 V", ADVISE), ("0.39 V", FAIL)],
)
def test_measured_drop_counts_the_meter_in(drop: str, verdict: Verdict) -> None:
    """0.36 V is the limit; by hand, a sag of 0.01 V known to a fifth, two digits and the meter make ± 0.024 V."""
    view = with_circuit(read={("circuits", "drop", "Bilge pump"): drop}, settings={"drop_excess": "2 V"})
    assert verdict_on(view, "drop_measured") is verdict


def test_measured_drop_is_brought_to_the_design_current() -> None:
    """0.25 V read at 2.5 A is 0.5 V at 5 A."""
    view = with_circuit(read={("circuits", "current", "Bilge pump"): "2.50 A"}, settings={"drop_excess": "2 V"})
    (finding,) = said(view, "drop_measured")
    assert finding.verdict is FAIL
    assert finding.numbers[0].value == pytest.approx(0.5 / 12 * 100)
    read = "Drop 2.1 ± 0.2 % measured at 2.5 A; 4.2 ± 0.4 % at the load's 5.0 A,"
    assert finding.sentence.startswith(read), finding.sentence


@pytest.mark.parametrize(
    ("current", "drop", "verdict"),
    [
        ("0.0 A", "0.0 V", LACKING),
        ("0.0 A", "0.60 V", LACKING),
        (None, "0.0 V", LACKING),
        ("1.2 A", "0.05 V", LACKING),
        ("1.3 A", "0.05 V", PASS),
        ("1.2 A", "0.60 V", FAIL),
    ],
)
def test_a_circuit_that_did_not_run_keeps_no_drop(current: str | None, drop: str, verdict: Verdict) -> None:
    """5 A by design: below 1.25 A a drop shows a fault and proves none absent. What was looked at stands by itself."""
    read: Readings = {("circuits", "current", "Bilge pump"): current, ("circuits", "drop", "Bilge pump"): drop}
    view = with_circuit(read=read)
    assert verdict_on(view, "drop_measured") is verdict
    assert verdict_on(view, "terminations") is PASS
    loose = ("circuits", "terminations_tight", "Bilge pump")
    assert verdict_on(with_circuit(read={**read, loose: None}), "terminations") is LACKING


def test_source_voltage_tells_what_is_left_at_the_load() -> None:
    """12.60 V less 0.25 V; a drop above the source's voltage is read again."""
    place = ("circuits", "source_voltage", "Bilge pump")
    (finding,) = said(with_circuit(read={place: "12.60 V"}), "drop_measured")
    assert finding.tables[0].rows[0][5] == "12.35"
    assert "read both again" in sentence_on(with_circuit(read={place: "0.1 V"}), "drop_measured")


def test_measured_drop_points_at_poor_connections() -> None:
    """Drop the copper does not explain sends you to the connections, even within the class."""
    view = with_circuit(critical=False, read={("circuits", "drop", "Bilge pump"): "0.60 V"})
    (finding,) = said(view, "drop_measured")
    assert finding.verdict is ADVISE
    assert "The copper accounts for 0.26 V of 0.60 V: clean and tighten connections" in finding.sentence


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        (None, "“Drop, running” is not entered"),
        ("-0.2 V", "“Drop, running” is below zero"),
        ("12 kn", "“Drop, running”: "),
        ("much", "“Drop, running”: "),
    ],
)
def test_measured_drop_says_what_it_lacks(value: str | None, reason: str) -> None:
    """A missing, negative or unreadable drop is a reason, not a fault of the plugin."""
    (finding,) = said(with_circuit(read={("circuits", "drop", "Bilge pump"): value}), "drop_measured")
    assert finding.verdict is LACKING
    assert reason in finding.sentence


def test_disagreeing_values_are_said_to_disagree() -> None:
    """Two unsettled values of a drop give no verdict."""
    view = wired_job(disagreements=[("wiring_audit.circuits", "drop", "", "Bilge pump")])
    assert view.disagreements[0] == Disagreement(("wiring_audit.circuits", "drop", "", "Bilge pump"), ())
    (finding,) = said(view, "drop_measured")
    assert "“Drop, running”: values disagree, choose one" in finding.sentence


# Readings that contradict each other


@pytest.mark.parametrize("critical", [True, False])
def test_a_drop_far_below_the_copper_says_the_entry_is_wrong_and_rewires_nothing(critical: bool) -> None:
    """30 ft of 14 AWG at 5 A lose 2 x 9.144 x 5 / (58 x 2.081) = 0.758 V at 20 degC, 0.79 at 30; 0.25 V were read."""
    view = with_circuit(read={("circuits", "drop", "Bilge pump"): "0.25 V"}, **TOO_LONG, critical=critical)
    (finding,) = said(view, "drop_measured")
    assert (finding.code, finding.verdict) == ("wiring_audit.drop_measured.less_than_copper", ADVISE)
    assert "The copper alone would lose 0.79 ± 0.0" in finding.sentence
    assert "rewire nothing" in finding.sentence
    assert "Fit " not in finding.sentence
    assert [doubt.place for doubt in finding.doubts] == [("wiring_audit.circuits", "drop", "", "Bilge pump")]
    assert said(view, "drop_calculated") == []  # it asks for the same, so it is said once


def test_a_doubt_about_one_circuit_leaves_the_others_passed_and_says_to_read_the_size_first() -> None:
    """Of two circuits one is entered as 18 AWG, 30 ft, and reads as a thicker or shorter one."""
    wrong = circuit("Radio", conductor_awg="18", length="=30 ft", design_current="=25 A")
    read: Readings = {("circuits", "drop", "Radio"): "0.25 V"}
    assessed = HOST.assess(wired_job([circuit(), wrong], read=read), ["wiring_audit.circuits"])
    found = {one.finding.code: one.finding for one in assessed}
    assert found["wiring_audit.drop_measured.passed"].verdict is PASS
    assert found["wiring_audit.drop_calculated.passed"].verdict is PASS
    overloaded = found["wiring_audit.ampacity.overloaded"]
    assert overloaded.sentence.startswith("Read the size printed on it before you rewire")
    assert overloaded.verdict is FAIL


@pytest.mark.parametrize(
    ("drop", "code"),
    [
        ("0.17 V", "less_than_copper"),  # a gauge thicker than entered: 0.63 of the 0.26 V of 14 AWG
        ("0.23 V", "passed"),
        ("0.26 V", "passed"),
        ("0.33 V", "passed"),  # 0.07 V in fuse holder and joints
    ],
)
def test_a_drop_near_that_of_the_copper_accuses_nobody(drop: str, code: str) -> None:
    """10 ft of 14 AWG at 5 A lose 0.26 V; cold copper and a fuse holder explain some of what is read."""
    (finding,) = said(with_circuit(read={("circuits", "drop", "Bilge pump"): drop}), "drop_measured")
    assert finding.code == f"wiring_audit.drop_measured.{code}"


@pytest.mark.parametrize(
    ("changes", "row", "allowed"),
    [
        ({"insulation_temperature": "=100 degC"}, "100 as 90", 30.0),  # 14 AWG: 30 A at 90 degC, 35 A at 105
        ({"insulation_temperature": "=70 degC"}, "70 as 60", 20.0),
        ({"insulation_temperature": "=105 degC"}, "105", 35.0),
    ],
)
def test_insulation_the_table_lacks_counts_as_the_next_lower_row(changes: Changes, row: str, allowed: float) -> None:
    (finding,) = said(with_circuit(**changes), "ampacity")
    assert (finding.verdict, finding.tables[0].rows[0][2]) == (PASS, row)
    assert float(finding.tables[0].rows[0][6]) == allowed
    assert ("next lower row" in " ".join(basis.text for basis in finding.basis)) is (" as " in row)


def test_an_overload_on_a_lower_row_says_as_what_it_counts() -> None:
    view = with_circuit(insulation_temperature="=70 degC", design_current="=21 A")
    assert "21.0 A on 14 AWG, counted as 60 degC insulation, that may carry 20.0 A." in sentence_on(view, "ampacity")


@pytest.mark.parametrize(("volts", "verdict"), [("25.2 V", LACKING), ("12.60 V", PASS), ("13.9 V", PASS)])
def test_no_share_of_a_voltage_that_the_battery_contradicts(volts: str, verdict: Verdict) -> None:
    """A 24 V bank entered as 12 V: 3 % of which is not known. A battery on charge contradicts nothing."""
    view = with_circuit(read={("batteries", "rest_voltage", "house"): volts})
    assert verdict_on(view, "drop_measured") is verdict
    assert verdict_on(view, "drop_calculated") is verdict


@pytest.mark.parametrize(
    ("circuit_volts", "bank", "source", "verdict"),
    [
        ("=24 V", {}, "12.6 V", LACKING),
        ("=24 V", {}, None, LACKING),
        ("=12 V", {}, "25.2 V", LACKING),
        ("=12 V", {"nominal_voltage": "=24 V"}, None, LACKING),
        ("=12 V", {"nominal_voltage": "=24 V"}, "12.6 V", PASS),  # a converter feeds it
        ("=12 V", {}, "14.4 V", PASS),
        ("=12 V", {}, "10.6 V", PASS),
        ("=12 V", {"nominal_voltage": "=12.8 V", "chemistry": "LiFePO4"}, None, PASS),
        (None, {"nominal_voltage": "=12.8 V", "chemistry": "LiFePO4"}, "13.3 V", PASS),
    ],
)
def test_a_circuit_fed_with_another_voltage_than_its_own_keeps_no_share(
    circuit_volts: str | None, bank: Changes, source: str | None, verdict: Verdict
) -> None:
    """3 % of 24 V is 6 % of the 12 V that feed it: entry or feed is wrong, and named."""
    read = {("circuits", "source_voltage", "Bilge pump"): source, ("batteries", "rest_voltage", "house"): None}
    view = wired_job([circuit(nominal_voltage=circuit_volts)], [battery(**bank)], read=read)
    for rule in ("drop_measured", "drop_calculated"):
        (finding,) = said(view, rule)
        assert finding.verdict is verdict
        named = f"{source[:-2]}0 V at the source of a" if source else "V circuit on the house battery of"
        assert (named in finding.sentence) is (verdict is LACKING)


@pytest.mark.parametrize(
    ("nominal", "source", "verdict"),
    [
        ("12 V", "9.0 V", ADVISE),
        ("12 V", "10.4 V", ADVISE),
        ("12 V", "10.5 V", PASS),
        ("12 V", "15.5 V", PASS),
        ("12 V", "15.6 V", ADVISE),
        ("24 V", "20.9 V", ADVISE),
        ("24 V", "31.0 V", PASS),
    ],
)
def test_a_source_that_nothing_in_order_feeds_is_doubted(nominal: str, source: str, verdict: Verdict) -> None:
    """9 V at the source of a 12 V circuit passed. Nobody knows what drops at 12.6 V before it is read again."""
    read: Readings = {
        ("circuits", "source_voltage", "Bilge pump"): source,
        ("batteries", "rest_voltage", "house"): None,
    }
    (finding,) = said(with_circuit(nominal_voltage=f"={nominal}", read=read), "drop_measured")
    assert finding.verdict is verdict
    doubted = [] if verdict is PASS else [("wiring_audit.circuits", "source_voltage", "Bilge pump")]
    assert [(one.step, one.field, one.of) for one in finding.doubts] == doubted
    assert (finding.code == "wiring_audit.drop_measured.source_in_doubt") is bool(doubted)


def test_a_drop_too_large_still_fails_at_a_source_in_doubt() -> None:
    read: Readings = {
        ("circuits", "source_voltage", "Bilge pump"): "9.0 V",
        ("circuits", "drop", "Bilge pump"): "0.9 V",
    }
    (finding,) = said(with_circuit(read=read), "drop_measured")
    assert finding.verdict is FAIL
    assert finding.sentence.endswith(
        "9.00 V at its source while it ran: the battery is empty, its feed loses too much, "
        "or the reading is wrong. Charge it and read again."
    )


def test_the_share_on_a_lithium_bank_is_of_the_voltage_it_is_called_by() -> None:
    """0.37 V is 3.08 % of 12 V and 2.9 % of the 12.8 V on its label."""
    bank = battery(nominal_voltage="=12.8 V", chemistry="LiFePO4")
    read = {("circuits", "drop", "Bilge pump"): "0.37 V", ("batteries", "rest_voltage", "house"): None}
    (finding,) = said(wired_job([circuit(nominal_voltage=None)], [bank], read=read), "drop_measured")
    assert finding.numbers[0].value == pytest.approx(0.37 / 12 * 100)


# Labels and terminations


def test_labels_name_what_is_bare() -> None:
    """Share and names."""
    view = wired_job(
        [circuit("Horn"), circuit("Radio"), circuit("Bilge pump")],
        read={("circuits", "label_present", "Horn"): False, ("circuits", "label_present", "Radio"): False},
    )
    (finding,) = said(view, "labels")
    assert finding.verdict is FAIL
    assert finding.sentence == "1 of 3 circuits labelled (33 %). Label Horn, Radio."


def test_labels_within_the_shops_share_advise() -> None:
    """A shop that lives with a few bare circuits is told all the same."""
    view = wired_job(
        [circuit("Horn"), circuit("Radio")],
        read={("circuits", "label_present", "Horn"): False},
        settings={"labelled": "50 %"},
    )
    assert verdict_on(view, "labels") is ADVISE


def test_labels_not_looked_at_are_not_counted() -> None:
    """Circuits without an answer are listed, not taken as bare or labelled."""
    view = wired_job([circuit("Horn"), circuit("Radio")], read={("circuits", "label_present", "Radio"): None})
    (lacking,) = said(view, "labels")
    assert lacking.verdict is LACKING
    assert lacking.sentence.startswith("1 of 2 circuits labelled. Not enough data for 1 circuit: Radio")
    assert "Radio (“Labelled at both ends” is not entered)" in lacking.sentence


def test_a_boat_without_circuits_is_told_to_enter_them() -> None:
    """No circuits, no silence."""
    (finding,) = said(wired_job(circuits=[]), "labels")
    assert finding.verdict is LACKING
    assert "no circuits are entered" in finding.sentence


@pytest.mark.parametrize(
    ("field", "cure"),
    [
        ("terminations_tight", "Remake the loose termination."),
        ("polarity_right", "Polarity is reversed: swap the leads."),
        ("supported", "Clip the conductor clear of chafe."),
    ],
)
def test_terminations_name_the_cure(field: str, cure: str) -> None:
    """Each thing wrong has its own cure."""
    (finding,) = said(wired_job(read={("circuits", field, "Bilge pump"): False}), "terminations")
    assert (finding.verdict, finding.sentence) == (FAIL, cure)


def test_terminations_need_both_answers() -> None:
    """Tight and polarity are both needed for a pass; held is not."""
    lacking = wired_job(
        read={
            ("circuits", "terminations_tight", "Bilge pump"): None,
            ("circuits", "polarity_right", "Bilge pump"): None,
        }
    )
    assert "“Terminations tight” is not entered; “Polarity right” is not entered" in sentence_on(
        lacking, "terminations"
    )
    assert verdict_on(wired_job(read={("circuits", "supported", "Bilge pump"): None}), "terminations") is PASS


def test_battery_of_another_voltage_does_not_override_the_circuits_own() -> None:
    """The circuit's nominal voltage comes first where its source bears it out."""
    view = wired_job(
        [circuit(length="=13.7 ft")],
        [battery(nominal_voltage="=24 V")],
        settings={"ambient": "20 degC"},
        read={
            ("batteries", "rest_voltage", "house"): "25.2 V",
            ("circuits", "source_voltage", "Bilge pump"): "12.60 V",
            **NO_DROP,
        },
    )
    (finding,) = said(view, "drop_calculated")
    assert finding.tables[0].rows[0][4] == "3.0"
