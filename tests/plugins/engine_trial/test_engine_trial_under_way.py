"""Under load and after: gauges against limits, charging, light and loaded, the pilot's order, break-in and service."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import attrs
import pytest

from builders import boat, findings_of, job_view
from garboard.findings import Finding, Lack, Table, Verdict
from garboard.hosting.host import make_host
from garboard.job_view import FieldKey, JobView
from garboard.owner_pages import Digits
from garboard.records import Battery, Circuit, JsonValue
from garboard.report.as_typed import as_typed
from garboard.samples import Recording, Sample, gather
from garboard.units import Amount
from garboard_engine_trial.after_steps import AFTER
from garboard_engine_trial.alongside_steps import MAKERS_WINDOW
from garboard_engine_trial.pilot_order import AUTOPILOT
from garboard_engine_trial.under_way_steps import UNDER_LOAD

HOST = make_host(["garboard_engine_trial"], entry_points=False)
LIMITS: Mapping[str, JsonValue] = {
    "temperature_high": "80 degC",
    "water_low": "12 psi",
    "voltage_low": "13.0 V",
    "voltage_high": "14.8 V",
}
GOOD = {"700": ("62", "3", "12.6", "-2"), "3000": ("66", "11", "14.0", "38"), "5800": ("71", "19", "14.1", "41")}
"""By engine speed: temperature [degC], water pressure [psi], voltage [V], charge [A]; at idle less than the limits."""
VESSEL = attrs.evolve(
    boat(full_throttle_low=Amount("5400", "rev/min"), full_throttle_high=Amount("6000", "rev/min")),
    batteries=(Battery(name="house"),),
)


def loads(steps: Mapping[str, Sequence[str]], limits: Mapping[str, JsonValue] = LIMITS) -> JobView:
    values: dict[FieldKey, JsonValue] = {(MAKERS_WINDOW, name, "", "centre"): value for name, value in limits.items()}
    for row, (revs, (warm, water, volts, charge)) in enumerate(steps.items(), start=1):
        read = {"temperature": f"{warm} degC", "water_pressure": f"{water} psi", "voltage": f"{volts} V"}
        values[UNDER_LOAD, "step_speed", str(row), ""] = f"{revs} rev/min"
        values |= {(UNDER_LOAD, name, str(row), "centre"): value for name, value in read.items()}
        values[UNDER_LOAD, "charge", str(row), "house"] = f"{charge} A"
    return job_view(VESSEL, values)


def found(view: JobView, calculator: str) -> list[Finding]:
    return findings_of(HOST, view, f"engine_trial.{calculator}")


def test_a_temperature_is_told_in_the_unit_its_gauge_was_read_in() -> None:
    """Read as 160 degF it was told as 71.1 degC, beside a table in degF; insulation is stamped in degC everywhere."""
    read = {**GOOD, "5800": ("71.1", *GOOD["5800"][1:])}
    view = loads(read, {**LIMITS, "temperature_high": "176 degF"})
    values = tuple(
        attrs.evolve(one, value=f"{Amount.parse(str(one.value)).to('degF'):.0f} degF")
        if one.field == "temperature"
        else one
        for one in view.measurements
    )
    circuits = tuple(Circuit(name=name, insulation_temperature=Amount("105", "degC")) for name in "abcdef")
    seen = attrs.evolve(view, measurements=values, vessel=attrs.evolve(view.vessel, circuits=circuits))
    (gauges,) = [one for one in HOST.assess(seen) if one.calculator == "engine_trial.gauges"]
    assert "highest temperature 160.0 degF, at most 176.0 degF;" in gauges.finding.sentence
    (told,) = as_typed(seen, [gauges], HOST)
    assert str(told.finding.numbers[0]) == "160.0 ± 3.4 degF"


@pytest.mark.parametrize(
    ("revs", "read", "code"),
    [
        ("3000", GOOD["3000"], "engine_trial.gauges.within"),
        ("3000", ("79", "11", "14.0", "38"), "engine_trial.gauges.close"),
        ("3000", ("90", "11", "14.0", "38"), "engine_trial.gauges.beyond"),
        ("3000", ("66", "11", "15.4", "38"), "engine_trial.gauges.beyond"),
        ("3000", ("66", "11", "12.2", "38"), "engine_trial.gauges.beyond"),
        ("5800", ("71", "6", "14.1", "41"), "engine_trial.gauges.beyond"),
    ],
)
def test_gauges_are_held_against_the_makers_limits(revs: str, read: Sequence[str], code: str) -> None:
    (one,) = found(loads({**GOOD, revs: read}), "gauges")
    assert one.code == code
    verdicts = {"within": Verdict.PASS, "close": Verdict.ADVISE, "beyond": Verdict.FAIL}
    assert one.verdict is verdicts[code.rpartition(".")[2]]
    assert [row[:2] for row in one.tables[0].rows] == [("700", "centre"), ("3000", "centre"), ("5800", "centre")]


def test_little_pressure_below_full_throttle_accuses_nobody() -> None:
    part = {revs: read for revs, read in GOOD.items() if revs != "5800"}
    pressure, others = found(loads(part), "gauges")
    assert others.verdict is Verdict.PASS
    assert (pressure.verdict, pressure.missing[0].lack) == (Verdict.NOT_ENOUGH_DATA, Lack.NOT_COVERED)
    _, hot = found(loads({**part, "3000": ("95", "11", "14.0", "38")}), "gauges")
    assert hot.code == "engine_trial.gauges.beyond"  # what pressure cannot tell hides no overheating
    (enough,) = found(loads({**part, "3000": ("66", "14", "14.0", "38")}), "gauges")
    assert enough.verdict is Verdict.PASS


def test_gauges_without_a_limit_are_not_judged() -> None:
    (one,) = found(loads(GOOD, {}), "gauges")
    assert [(missing.step, missing.lack) for missing in one.missing] == [(MAKERS_WINDOW, Lack.NOT_ENTERED)]
    assert found(loads(GOOD, {"idle_low": "600 rev/min"}), "gauges") == []  # the manual gives none for gauges


def test_a_gauge_that_passes_is_told_with_its_limit() -> None:
    """An owner who reads "within the maker's limits" can hold the gauge against them."""
    (one,) = found(loads({**GOOD, "5800": ("71", "19", "14.1", "41")}), "gauges")
    for limit in one.limits:
        told = [(words, end) for words, end in (("at least", limit.low), ("at most", limit.high)) if end is not None]
        assert told
        for words, end in told:
            assert f"{words} {end:.1f} " in one.sentence, (limit, one.sentence)


def test_a_battery_that_loses_current_above_idle_is_told() -> None:
    assert [one.code for one in found(loads(GOOD), "charge")] == ["engine_trial.charge.charges"]
    (one,) = found(loads({**GOOD, "3000": ("66", "11", "14.0", "-6")}), "charge")
    assert (one.code, one.verdict) == ("engine_trial.charge.discharges", Verdict.ADVISE)


@pytest.mark.parametrize(
    ("light", "loaded", "code"),
    [
        ("5850", "5600", "engine_trial.loaded.inside"),
        ("6000", "5600", "engine_trial.loaded.close"),
        ("5700", "5200", "engine_trial.loaded.outside"),
        ("6200", "5900", "engine_trial.loaded.outside"),
        ("98", "94", "engine_trial.loaded.not_enough_data"),  # turns a second
        ("5600", "700", "engine_trial.loaded.not_enough_data"),  # at idle
        ("5600", "5800", "engine_trial.loaded.not_enough_data"),  # faster with the load: a reading is wrong
    ],
)
def test_light_and_loaded_against_the_full_throttle_range(light: str, loaded: str, code: str) -> None:
    values: dict[FieldKey, JsonValue] = {
        (UNDER_LOAD, "full_light", "", "centre"): f"{light} rev/min",
        (UNDER_LOAD, "full_loaded", "", "centre"): f"{loaded} rev/min",
    }
    (one,) = found(job_view(VESSEL, values), "loaded")
    assert one.code == code or (code.endswith("not_enough_data") and one.verdict is Verdict.NOT_ENOUGH_DATA)


def test_lowest_planing_speeds_are_noted_and_cannot_fall_with_the_load() -> None:
    def told(light: str, loaded: str) -> Finding:
        at = {"planing_light": light, "planing_loaded": loaded}
        (one,) = found(job_view(VESSEL, {(UNDER_LOAD, name, "", ""): value for name, value in at.items()}), "planing")
        return one

    assert told("14 kn", "16 kn").verdict is Verdict.PASS
    assert told("16 kn", "12 kn").missing[0].lack is Lack.CONTRADICTS
    assert told("14 kn", "60 kn").missing[0].lack is Lack.CONTRADICTS, "0 typed once more"


def held(off: float, order: Sequence[float] = (60.0,) * 60, reference: str = "magnetic") -> Recording:
    """A minute of a pilot that holds so far off its order, which it sends itself [deg]."""
    return gather(
        "hold",
        [
            sample
            for second, ordered in enumerate(order)
            for sample in (
                Sample(float(second), "course_to_steer", ordered, "7", "", "magnetic"),
                Sample(float(second), "heading", (60 + off + (second % 3) / 2) % 360, "20", "", reference),
            )
        ],
    )


@pytest.mark.parametrize(
    ("recording", "expected"),
    [
        (held(0.5), "engine_trial.pilot_order.held"),
        (held(9.0), "engine_trial.pilot_order.off"),
        (held(-62.0, (358.0,) * 60), "engine_trial.pilot_order.held"),  # across north
        (held(0.5, tuple(60.0 + second // 6 for second in range(60))), Lack.UNSUITABLE),  # turned degree by degree
        (held(0.5, (60.0,) * 30 + (61.0,) * 30), "engine_trial.pilot_order.held"),
        (held(0.0, (60.0,) * 30 + (90.0,) * 30), Lack.UNSUITABLE),
        (held(0.0, reference="true"), Lack.NOT_IN_RECORDING),
        (held(0.0, (60.0,) * 5), Lack.TOO_LITTLE),
    ],
)
def test_a_pilot_is_held_against_its_own_order(recording: Recording, expected: str | Lack) -> None:
    view = job_view(VESSEL, {(AUTOPILOT, "hold_recording", "", ""): {"file": "hold"}}, recordings={"hold": recording})
    (one,) = found(view, "pilot_order")
    assert expected in (one.code, *(missing.lack for missing in one.missing))


def test_a_pilot_that_sends_no_order_is_not_judged_by_one() -> None:
    heading = gather("hold", [Sample(float(second), "heading", 60.0 + second % 2, "20") for second in range(60)])
    view = job_view(VESSEL, {(AUTOPILOT, "hold_recording", "", ""): {"file": "hold"}}, recordings={"hold": heading})
    assert found(view, "pilot_order") == []


def rows(columns: Sequence[str], *lines: Sequence[str | None]) -> dict[FieldKey, JsonValue]:
    return {
        (AFTER, column, str(row), ""): value
        for row, line in enumerate(lines, start=1)
        for column, value in zip(columns, line, strict=True)
        if value is not None
    }


def after(values: Mapping[FieldKey, JsonValue], hours: str | None = "3.2", opened: str = "2026-05-15") -> JobView:
    vessel = boat(hours=Amount(hours, "h") if hours else None)
    view = job_view(vessel, values)
    return attrs.evolve(view, job=attrs.evolve(view.job, opened=opened))


PLAN = rows(("band", "until"), ("slow", "1 h"), ("three quarters", "3 h"), ("full at times", "10 h"))


@pytest.mark.parametrize(
    ("hours", "code", "said"),
    [
        ("0.5", "engine_trial.break_in.band", "slow, until 1 h"),
        ("3.0", "engine_trial.break_in.band", "full at times, until 10 h"),
        ("10", "engine_trial.break_in.run", "run at 10 h"),
    ],
)
def test_the_break_in_plan_says_what_load_is_allowed_now(hours: str, code: str, said: str) -> None:
    (one,) = found(after(PLAN, hours), "break_in")
    assert (one.code, one.verdict) == (code, Verdict.PASS)
    assert said in one.sentence
    assert [row[0] for row in one.tables[0].rows] == ["0 to 1", "1 to 3", "3 to 10"]


def test_a_plan_that_goes_back_and_an_engine_without_hours_are_named() -> None:
    back = rows(("band", "until"), ("slow", "3 h"), ("half", "2 h"))
    assert [one.missing[0].lack for one in found(after(back), "break_in")] == [Lack.CONTRADICTS]
    assert [one.missing[0].field for one in found(after(PLAN, None), "break_in")] == ["engines.hours"]


SERVICES = ("service", "due_hours", "due_date")


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        ([("yearly", None, "2027-05-15"), ("20 hour check", "20 h", None)], "engine_trial.calendar.complete"),
        ([("yearly", "100 h", "2027-05-15")], "engine_trial.calendar.no_first_check"),
        ([("20 hour check", "20 h", "2025-05-15")], "engine_trial.calendar.in_the_past"),
        ([("20 hour check", "20 h", "2027-04-15")], "engine_trial.calendar.first_check_late"),
        (
            [("20 hour check", "20 h", "2026-09-01"), ("yearly", "100 h", "2026-08-01")],
            "engine_trial.calendar.out_of_order",
        ),
        (
            [("20 hour check", "20 h", "2026-06-15"), ("yearly", "100 h", "2027-05-15")],
            "engine_trial.calendar.complete",
        ),
        # a decade off: a slip in the year
        (
            [("20 hour check", "20 h", "2026-06-15"), ("yearly", "100 h", "2037-05-15")],
            "engine_trial.calendar.year_in_doubt",
        ),
        (  # and of the first of two: the other is not out of order for it
            [("20 hour check", "20 h", "2062-06-15"), ("yearly", "100 h", "2027-05-15")],
            "engine_trial.calendar.year_in_doubt",
        ),
        ([("20 hour check", "20 h", "May")], Lack.UNREADABLE),
        ([("20 hour check", None, None)], Lack.NOT_ENTERED),
    ],
)
def test_the_service_calendar_has_a_first_check_and_days_to_come(
    lines: Sequence[Sequence[str | None]], expected: str | Lack
) -> None:
    (one,) = found(after(rows(SERVICES, *lines)), "calendar")
    assert expected in (one.code, *(missing.lack for missing in one.missing))
    if expected == "engine_trial.calendar.complete" and lines[0][0] == "yearly":
        assert [row[0] for row in one.tables[0].rows] == ["20 hour check", "yearly"]  # by hours, then by day


def test_a_record_says_who_filed_it_and_when() -> None:
    columns = ("record", "filed_by", "filed_on")
    (filed,) = found(after(rows(columns, ("Warranty", "N. Sorrel", "2026-05-16"))), "records")
    assert filed.tables[0].rows == (("Warranty", "N. Sorrel", "16 May 2026"),)
    (open_one,) = found(after(rows(columns, ("Warranty", None, "soon"))), "records")
    assert {missing.field for missing in open_one.missing} == {"filed_by", "filed_on"}


@pytest.mark.parametrize(
    ("kind", "filed", "code"),
    [
        ("commissioning", "2016-05-16", "year_in_doubt"),
        ("commissioning", "2025-06-01", "filed"),
        ("yearly check", "2016-05-16", "filed"),  # of a boat that has been registered for long
    ],
)
def test_a_record_filed_years_before_the_job_of_a_new_boat_is_asked_about(kind: str, filed: str, code: str) -> None:
    view = after(rows(("record", "filed_by", "filed_on"), ("Warranty", "N. Sorrel", filed)))
    (one,) = found(attrs.evolve(view, job=attrs.evolve(view.job, kind=kind)), "records")
    assert one.code == f"engine_trial.records.{code}"
    assert one.verdict is (Verdict.PASS if code == "filed" else Verdict.ADVISE)


def test_the_owner_gets_the_plan_the_calendar_and_what_was_filed_once_each() -> None:
    (section,) = [one for one in HOST.report_sections if one.key == "engine_trial.service"]
    filed = rows(("record", "filed_by", "filed_on"), ("Warranty", "N. Sorrel", "2026-05-16"))
    services = rows(SERVICES, ("20 hour check", "20 h", None))
    view = after({**PLAN, **filed, **services})
    blocks = section.build(view, HOST.assess(view))
    assert [block.title for block in blocks if isinstance(block, Table)] == [
        "Break-in plan",
        "Service calendar",
        "Filed for the owner",
    ]
    assert all(isinstance(block, Table) for block in blocks), "the checks below tell the hours run"
    assert section.build(after({}), HOST.assess(after({}))) == ()


@pytest.mark.parametrize(
    ("lines", "large", "under", "days"),
    [
        (
            [("20 hour check", "20 h", "2026-06-15"), ("yearly", "100 h", "2027-05-15")],
            ("20\u00a0h or 15 June 2026", "next service, whichever comes first"),
            ("20 hour check", "by the engines' hour meters"),
            ["15 June 2026", "15 May 2027"],
        ),
        ([("yearly", None, "2027-05-15")], ("15 May 2027", "next service"), ("yearly",), ["15 May 2027"]),
        (
            [("20 hour check", "20 h", None)],
            ("20\u00a0h", "next service"),
            ("20 hour check", "by the engines' hour meters"),
            [""],
        ),
    ],
)
def test_an_owner_reads_hours_and_day_of_the_next_service(
    lines: Sequence[Sequence[str | None]], large: tuple[str, str], under: tuple[str, ...], days: list[str]
) -> None:
    section = next(one for one in HOST.report_sections if one.key == "engine_trial.care")
    view = after(rows(SERVICES, *lines))
    digits, calendar = section.build(view, HOST.assess(view))
    assert digits == Digits(*large, under)
    assert isinstance(calendar, Table)
    assert [row[2] for row in calendar.rows] == days


@pytest.mark.parametrize(
    ("hours", "name", "service", "has_plan"),
    [
        ("3.2", "next service", "20 hour check", True),
        ("62", "next service", "100 hour", False),
        ("120", "was due before this work began", "20 hour check", False),
    ],
)
def test_what_was_due_by_the_hours_run_is_not_the_next_service(
    hours: str, name: str, service: str, has_plan: bool
) -> None:
    """A boat of 62 h back for its yearly check was given "20 h, next service", and a card to break its engines in."""
    section = next(one for one in HOST.report_sections if one.key == "engine_trial.care")
    services = rows(SERVICES, ("20 hour check", "20 h", None), ("100 hour", "100 h", None))
    view = after({**PLAN, **services}, hours)
    first, *others = section.build(view, HOST.assess(view))
    assert isinstance(first, Digits)
    assert (first.name, first.lines[0]) == (name, service)
    assert any(isinstance(one, Table) and one.title == "Break-in plan" for one in others) is has_plan
    assert any(isinstance(one, str) and "broken in" in one for one in others) is has_plan


def test_one_plan_holds_for_both_engines_and_stands_once() -> None:
    both = found(job_view(boat(2, hours=Amount("2", "h")), PLAN), "break_in")
    assert [(one.of, len(one.tables)) for one in both] == [("port", 1), ("starboard", 0)]
