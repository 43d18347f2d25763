"""The label and what was rigged, safety gear, the shop's own list, fuel pressure and shore power."""

from __future__ import annotations

from collections.abc import Mapping

import attrs
import pytest

from builders import boat, findings_of, job_view
from garboard.findings import BasisKind, Finding, Lack, Verdict
from garboard.hosting.host import make_host
from garboard.job_view import FieldKey
from garboard.records import JsonValue
from garboard.units import Amount
from garboard_engine_trial.fit_out_steps import CLOSED, COASTAL, FIT_OUT, INLAND, LAW, OPEN

HOST = make_host(["garboard_engine_trial"], entry_points=False)
LABEL: Mapping[str, JsonValue] = {"label_persons": 6, "label_persons_weight": "850 lb", "label_weight": "1750 lb"}
GEAR: Mapping[str, JsonValue] = {
    "waters": COASTAL,
    "spaces": CLOSED,
    "most_persons": 6,
    "wearables": 6,
    "throwable": True,
    "extinguishers": 1,
    "distress_signals": True,
}


def found(
    calculator: str, values: Mapping[FieldKey, JsonValue], length: str | None = "19.5", hull_form: str = "planing"
) -> list[Finding]:
    vessel = attrs.evolve(boat(), length=Amount(length, "ft") if length else None, hull_form=hull_form)
    view = job_view(vessel, values, settings=None)
    opened = attrs.evolve(view.job, opened="2026-05-14")
    return findings_of(HOST, attrs.evolve(view, job=opened), f"engine_trial.{calculator}")


def law(values: Mapping[str, JsonValue], *weights: str) -> dict[FieldKey, JsonValue]:
    rows: dict[FieldKey, JsonValue] = {(LAW, name, "", ""): value for name, value in values.items()}
    for row, weight in enumerate(weights, start=1):
        rows[LAW, "rigged_item", str(row), ""] = f"item {row}"
        rows[LAW, "item_weight", str(row), ""] = weight
    return rows


@pytest.mark.parametrize(
    ("weights", "verdict", "code", "left"),
    [
        (("480 lb", "110 lb"), Verdict.PASS, "engine_trial.label.within", 310),
        (("900 lb", "110 lb"), Verdict.ADVISE, "engine_trial.label.full", -110),
        (("1700 lb", "110 lb"), Verdict.FAIL, "engine_trial.label.above", -910),
    ],
)
def test_what_was_rigged_is_added_up_against_the_label(
    weights: tuple[str, ...], verdict: Verdict, code: str, left: float
) -> None:
    (one,) = found("label", law(LABEL, *weights))
    assert (one.verdict, one.code) == (verdict, code)
    assert one.numbers[1].value == pytest.approx(left)
    assert one.basis[0].kind is BasisKind.MANUAL  # the maker's label, never worked out anew


def test_only_a_monohull_under_20_ft_is_asked_for_its_label() -> None:
    gear = law(GEAR)
    assert [one.verdict for one in found("label", gear)] == [Verdict.NOT_ENOUGH_DATA]
    assert found("label", gear, "20") == []
    assert found("label", gear, None) == []
    assert found("label", gear, "18", "multihull") == []
    assert found("label", law(LABEL, "500 lb"), "24")[0].verdict is Verdict.PASS  # one that has a label all the same


def test_a_label_whose_figures_do_not_go_together_is_read_again() -> None:
    assert [one.verdict for one in found("label_read", law(LABEL))] == [Verdict.PASS]
    for length in ("19.5", "26.4"):  # a longer boat may carry a label all the same
        (one,) = found("label_read", law({**LABEL, "label_persons": 8}), length)
        assert (one.verdict, one.code) == (Verdict.ADVISE, "engine_trial.label_read.misread")
    (one,) = found("label_read", law({**LABEL, "label_persons_weight": "12000 lb"}))
    assert (one.code, "goes with 85 persons" in one.sentence) == ("engine_trial.label_read.misread", True)
    assert found("label_read", {}, "26.4") == []
    vessel = attrs.evolve(boat(rated_power=Amount("150", "hp")), length=Amount("19.5", "ft"))
    listed = job_view(vessel, law(LABEL, "110 lb"), settings=None)
    (left_out,) = findings_of(HOST, listed, "engine_trial.label")
    assert (left_out.verdict, left_out.code) == (Verdict.ADVISE, "engine_trial.label.engines_left_out")
    (swapped,) = found("label", law({**LABEL, "label_persons_weight": "1900 lb"}, "400 lb"))
    assert swapped.missing[0].lack is Lack.CONTRADICTS


@pytest.mark.parametrize(
    ("changed", "length", "verdict"),
    [
        ({}, "19.5", Verdict.PASS),
        ({"wearables": 5}, "19.5", Verdict.FAIL),
        ({"throwable": False}, "19.5", Verdict.FAIL),
        ({"throwable": False}, "16", Verdict.FAIL),
        ({"throwable": False}, "15.9", Verdict.PASS),  # asked of 16 ft and more
    ],
)
def test_flotation_is_what_the_regulation_asks(changed: Mapping[str, JsonValue], length: str, verdict: Verdict) -> None:
    (one,) = found("flotation", law({**GEAR, **changed}), length)
    assert (one.verdict, one.basis[0].kind) == (verdict, BasisKind.REGULATION)


@pytest.mark.parametrize(
    ("changed", "length", "verdict"),
    [
        ({}, "19.5", Verdict.PASS),
        ({"extinguishers": 0}, "19.5", Verdict.ADVISE),
        ({"extinguishers": 0, "spaces": OPEN}, "25.9", Verdict.PASS),
        ({"extinguishers": 0, "spaces": OPEN}, "26", Verdict.ADVISE),
        ({}, "26", Verdict.ADVISE),
        ({"extinguishers": 3}, "65", Verdict.PASS),
        ({"extinguishers": 3}, "66", Verdict.NOT_ENOUGH_DATA),
        ({"distress_signals": False}, "19.5", Verdict.ADVISE),
        ({"distress_signals": False}, "15", Verdict.PASS),
        ({"distress_signals": False, "waters": INLAND}, "19.5", Verdict.PASS),
    ],
)
def test_extinguishers_and_signals_only_advise(changed: Mapping[str, JsonValue], length: str, verdict: Verdict) -> None:
    (one,) = found("fire_and_signals", law({**GEAR, **changed}), length)
    assert one.verdict is verdict


def test_no_gear_is_judged_without_the_length() -> None:
    for calculator in ("flotation", "fire_and_signals"):
        (one,) = found(calculator, law(GEAR), None)
        assert [missing.field for missing in one.missing] == ["length"]


def fitted(*items: str) -> dict[FieldKey, JsonValue]:
    return {(FIT_OUT, "item", str(row), ""): item for row, item in enumerate(items, start=1)}


def test_the_list_of_the_fit_out_is_the_shops_own() -> None:
    (usual,) = found("fit_out_list", fitted("seats", "Cleats", "Hatches and doors", "Ladder"))
    assert usual.verdict is Verdict.PASS
    view = job_view(boat(), fitted("Seats"), settings={"engine_trial.fit_out_list": "Seats; Davits;"})
    (own,) = findings_of(HOST, view, "engine_trial.fit_out_list")
    assert (own.verdict, own.code) == (Verdict.ADVISE, "engine_trial.fit_out_list.open")
    assert "Davits" in own.sentence


def test_an_item_that_moves_fails_by_its_name() -> None:
    points: dict[FieldKey, JsonValue] = {
        (FIT_OUT, name, "1", ""): name != "holds_load" for name in ("through_bolted", "moves_clear", "holds_load")
    }
    (one,) = found("fit_out.check", fitted("Davits") | points)
    assert (one.verdict, "Davits" in one.sentence) == (Verdict.FAIL, True)


@pytest.mark.parametrize(
    ("before", "after", "minutes", "expected"),
    [
        ("3 psi", "3 psi", "10 min", "engine_trial.fuel_pressure.held"),
        ("3 psi", "2.5 psi", "10 min", "engine_trial.fuel_pressure.lost"),
        ("2 psi", "2 psi", "10 min", "engine_trial.fuel_pressure.low"),
        ("3 psi", "3.4 psi", "10 min", Lack.CONTRADICTS),
        ("3 psi", "3 psi", "1 min", Lack.TOO_LITTLE),
    ],
)
def test_a_fuel_system_holds_pressure_as_practice(before: str, after: str, minutes: str, expected: str | Lack) -> None:
    test = {"test_pressure": before, "pressure_after": after, "test_minutes": minutes}
    (one,) = found("fuel_pressure", {(FIT_OUT, name, "", ""): value for name, value in test.items()})
    assert expected in (one.code, *(missing.lack for missing in one.missing))
    assert one.verdict is not Verdict.FAIL


def test_shore_power_is_only_the_record_of_a_licensed_person() -> None:
    whole = {"shore_power_by": "M. Reed", "shore_power_licence": "E-40417", "shore_power_on": "2026-05-14"}

    def noted(values: Mapping[str, str]) -> list[Finding]:
        return found("shore_power", {(FIT_OUT, name, "", ""): value for name, value in values.items()})

    assert "Nothing of it is judged here" in noted(whole)[0].sentence
    (old,) = noted({**whole, "shore_power_on": "2016-05-14"})
    assert (old.verdict, old.code) == (Verdict.ADVISE, "engine_trial.shore_power.year_in_doubt")
    assert noted({**whole, "shore_power_on": "last week"})[0].missing[0].lack is Lack.UNREADABLE
    assert [one.field for one in noted({"shore_power_by": "M. Reed"})[0].missing] == [
        "shore_power_licence",
        "shore_power_on",
    ]
    assert noted({}) == []
