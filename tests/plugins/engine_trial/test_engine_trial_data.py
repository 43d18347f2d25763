"""Displays against the engine, tank senders, depth, radar, antenna and pump flow."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from builders import boat, findings_of, job_view
from garboard.findings import BasisKind, Finding, Lack, Verdict
from garboard.hosting.host import make_host
from garboard.job_view import FieldKey
from garboard.records import JsonValue, Tank
from garboard.units import Amount
from garboard_engine_trial.alongside_steps import DATA, INSTRUMENTS

HOST = make_host(["garboard_engine_trial"], entry_points=False)
TANKS = (Tank(name="main", capacity=Amount("100", "gal")),)
READ: Mapping[str, JsonValue] = {"own_speed": "700 rev/min", "shown_speed": "710 rev/min"}


def found(calculator: str, values: Mapping[FieldKey, JsonValue], tanks: tuple[Tank, ...] = TANKS) -> list[Finding]:
    return findings_of(HOST, job_view(boat(tanks=tanks), values), f"engine_trial.{calculator}")


def of_engine(values: Mapping[str, JsonValue]) -> dict[FieldKey, JsonValue]:
    return {(DATA, name, "", "centre"): value for name, value in values.items()}


def of_instruments(values: Mapping[str, JsonValue], row: str = "") -> dict[FieldKey, JsonValue]:
    return {(INSTRUMENTS, name, row, ""): value for name, value in values.items()}


def filled(*steps: tuple[str, str | None]) -> dict[FieldKey, JsonValue]:
    rows: dict[FieldKey, JsonValue] = {}
    for row, (volume, gauge) in enumerate(steps, start=1):
        rows[DATA, "in_tank", str(row), "main"] = volume
        if gauge:
            rows[DATA, "gauge", str(row), "main"] = gauge
    return rows


def test_a_display_that_differs_from_the_engine_is_named_with_what_differs() -> None:
    (agreeing,) = found("agreement", of_engine(READ))
    assert (agreeing.verdict, agreeing.code) == (Verdict.PASS, "engine_trial.agreement.agree")
    (apart,) = found("agreement", of_engine({**READ, "own_voltage": "14.4 V", "shown_voltage": "13.1 V"}))
    assert (apart.verdict, apart.code) == (Verdict.ADVISE, "engine_trial.agreement.apart")
    assert [number.value for number in apart.numbers] == pytest.approx([10, -1.3])
    assert "voltage" in apart.sentence
    assert "speed" not in apart.sentence


def test_one_reading_of_a_pair_is_not_enough() -> None:
    (one,) = found("agreement", of_engine({**READ, "shown_temperature": "70 degC"}))
    assert [(missing.field, missing.of) for missing in one.missing] == [("own_temperature", "centre")]


@pytest.mark.parametrize(
    ("steps", "code"),
    [
        ((("0 gal", "1 %"), ("50 gal", "47 %"), ("100 gal", "98 %")), "engine_trial.senders.agree"),
        ((("0 gal", "1 %"), ("50 gal", "70 %"), ("100 gal", "98 %")), "engine_trial.senders.off"),
        ((("0 gal", "1 %"), ("100 gal", "98 %"), ("50 gal", "99 %")), "engine_trial.senders.not_rising"),
    ],
)
def test_a_gauge_is_held_against_what_was_filled_in(steps: tuple[tuple[str, str], ...], code: str) -> None:
    (one,) = found("senders", filled(*steps))
    assert one.code == code
    assert one.verdict is (Verdict.PASS if code.endswith("agree") else Verdict.ADVISE)
    assert [row[1] for row in one.tables[0].rows] == ["0", "50", "100"]  # in order of what is in the tank


@pytest.mark.parametrize(
    ("steps", "tanks", "lack"),
    [
        ((("0 gal", "1 %"), ("100 gal", "98 %")), TANKS, Lack.TOO_LITTLE),
        ((("0 gal", "1 %"), ("50 gal", None), ("100 gal", "98 %")), TANKS, Lack.NOT_ENTERED),
        ((("0 gal", "1 %"), ("50 gal", "50 %"), ("160 gal", "98 %")), TANKS, Lack.CONTRADICTS),
        ((("0 gal", "1 %"), ("50 gal", "50 %"), ("90 gal", "98 %")), (Tank(name="main"),), Lack.NOT_ENTERED),
    ],
)
def test_no_calibration_without_its_readings(
    steps: tuple[tuple[str, str | None], ...], tanks: tuple[Tank, ...], lack: Lack
) -> None:
    (one,) = found("senders", filled(*steps), tanks)
    assert one.verdict is Verdict.NOT_ENOUGH_DATA
    assert one.missing[0].lack is lack


def test_a_step_without_a_display_asks_for_one() -> None:
    (one,) = found("data.check", of_engine(READ))
    assert [(missing.field, missing.row) for missing in one.missing] == [("display", "1")]


INSTRUMENTS_READ: Mapping[str, JsonValue] = {
    "depth_by_lead": "11.2 ft",
    "transducer_depth": "1.4 ft",
    "depth_shown": "9.7 ft",
    "depth_offset": "1.4 ft",
    "keel_depth": "2.4 ft",
    "object_seen": "0 deg",
    "object_on_radar": "0.4 deg",
    "power_forward": "24 W",
    "power_reflected": "0.6 W",
}


@pytest.mark.parametrize(
    ("calculator", "changed", "code"),
    [
        ("depth", {}, "engine_trial.depth.agrees"),
        ("depth", {"depth_shown": "12 ft"}, "engine_trial.depth.off"),
        ("depth_offset", {}, "engine_trial.depth_offset.set"),
        ("depth_offset", {"depth_offset": "2.5 ft"}, "engine_trial.depth_offset.wrong"),
        ("depth_offset", {"depth_offset": "-1.0 ft"}, "engine_trial.depth_offset.set"),
        ("depth_offset", {"depth_offset": "-2.4 ft"}, "engine_trial.depth_offset.wrong"),
        ("depth_offset", {"depth_offset": "0 ft"}, "engine_trial.depth_offset.none"),
        ("radar", {}, "engine_trial.radar.aligned"),
        ("radar", {"object_on_radar": "-3 deg"}, "engine_trial.radar.off"),
        ("radar", {"object_seen": "179.8 deg", "object_on_radar": "-179.8 deg"}, "engine_trial.radar.aligned"),
        ("standing_wave", {}, "engine_trial.standing_wave.low"),
        ("standing_wave", {"power_reflected": "2.6 W"}, "engine_trial.standing_wave.close"),  # 1.98, limit 2
        ("standing_wave", {"power_reflected": "4 W"}, "engine_trial.standing_wave.high"),
    ],
)
def test_an_instrument_passes_or_is_advised_on(calculator: str, changed: Mapping[str, JsonValue], code: str) -> None:
    (one,) = found(calculator, of_instruments({**INSTRUMENTS_READ, **changed}))
    assert one.code == code
    is_good = code.rpartition(".")[2] in ("agrees", "set", "aligned", "low")
    assert one.verdict is (Verdict.PASS if is_good else Verdict.ADVISE)
    assert all(basis.kind in (BasisKind.COMMON_PRACTICE, BasisKind.METHOD) for basis in one.basis)


@pytest.mark.parametrize(
    ("calculator", "changed", "field"),
    [
        ("depth", {"depth_by_lead": "1 ft"}, "depth_by_lead"),
        ("standing_wave", {"power_forward": "0.2 W", "power_reflected": "0.1 W"}, "power_forward"),
        ("standing_wave", {"power_reflected": "25 W"}, "power_reflected"),
    ],
)
def test_what_cannot_be_is_no_figure(calculator: str, changed: Mapping[str, JsonValue], field: str) -> None:
    (one,) = found(calculator, of_instruments({**INSTRUMENTS_READ, **changed}))
    assert one.verdict is Verdict.NOT_ENOUGH_DATA
    assert [missing.field for missing in one.missing] == [field]


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({}, "engine_trial.pump_flow.enough"),
        ({"pumped": "5 L"}, "engine_trial.pump_flow.low"),
        ({"seconds": "2 s"}, ""),
    ],
)
def test_a_pump_is_held_against_its_label(changed: Mapping[str, JsonValue], code: str) -> None:
    values = {"pump_tried": "Aft", "pumped": "15 L", "seconds": "20 s", "label_flow": "1100 gal/h", **changed}
    (one,) = found("pump_flow", of_instruments(values, "1"))
    assert one.about == "Aft"
    assert one.code == code or (not code and one.verdict is Verdict.NOT_ENOUGH_DATA)


def test_what_is_not_fitted_is_not_asked_for() -> None:
    values = of_instruments({"object_seen": "0 deg", "object_on_radar": "0 deg"})
    said = [one.calculator for one in HOST.assess(job_view(boat(), values)) if one.step == INSTRUMENTS]
    assert said == ["engine_trial.radar"]


def test_jobs_of_then_hold_plain_numbers_and_are_judged_the_same() -> None:
    (wave,) = found("standing_wave", of_instruments({"forward_power": "24", "reflected_power": "0.6"}))
    (now,) = found("standing_wave", of_instruments({"power_forward": "24000 mW", "power_reflected": "0.6 W"}))
    assert wave.numbers[0].value == pytest.approx(now.numbers[0].value)
    then = {"pump_tried": "Aft", "collected": "15", "seconds": "20 s", "rated": "1100"}
    (pump,) = found("pump_flow", of_instruments(then, "1"))
    assert pump.code == "engine_trial.pump_flow.enough"
    assert pump.numbers[0].value == pytest.approx(64.8, abs=0.1)  # 15 L in 20 s are 713.3 gal/h


def test_a_pump_is_told_in_the_unit_of_its_label_and_a_bucket_makes_no_boat_metric() -> None:
    values = of_instruments({"pump_tried": "Aft", "pumped": "4 gal", "seconds": "20 s", "label_flow": "70 L/min"}, "1")
    (pump,) = found("pump_flow", values)
    assert pump.numbers[1].unit == "L/min"
    assert pump.numbers[1].value == pytest.approx(45.4, abs=0.1)
    assert "45 L/min" in pump.sentence
    litres = {**values, (INSTRUMENTS, "pumped", "1", ""): "15 L", (INSTRUMENTS, "label_flow", "1", ""): "4200 L/h"}
    view = HOST.with_defaults(job_view(boat(tanks=TANKS), litres))
    assert (view.unit_to_tell("gal"), view.unit_to_tell("gal/h"), view.unit_to_tell("hp")) == ("gal", "gal/h", "hp")
