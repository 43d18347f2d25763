"""Nothing is called in order where two answers disagree, or where a row that says no has no name."""

from __future__ import annotations

import attrs
import pytest

from builders import boat, findings_of, job_view
from garboard.findings import Finding, Lack, Verdict
from garboard.hosting.host import make_host
from garboard.job_view import Disagreement, FieldKey, JobView
from garboard.records import JsonValue, Measurement
from garboard_handover import steps

HOST = make_host(["garboard_handover"], entry_points=False)
GEAR: dict[FieldKey, JsonValue] = {
    ("handover.safety_gear", "item", "1", ""): "Lifejackets",
    ("handover.safety_gear", "aboard", "1", ""): True,
}


def disagreeing(values: dict[FieldKey, JsonValue], place: FieldKey, *answers: JsonValue) -> JobView:
    step, field, row, of = place
    said = tuple(Measurement(step=step, field=field, row=row, of=of, value=answer) for answer in answers)
    return attrs.evolve(job_view(boat(), values), disagreements=(Disagreement(place, said),))


def verdicts(found: list[Finding]) -> list[Verdict]:
    return [finding.verdict for finding in found]


def found_by(view: JobView, calculator: str) -> list[Finding]:
    return list(findings_of(HOST, view, calculator))


LIGHT: dict[FieldKey, JsonValue] = {("handover.lights_and_horn", "side_lights", "", ""): True}


@pytest.mark.parametrize("answered", [{}, LIGHT])
def test_a_point_answered_yes_and_no_is_not_in_order_and_is_not_called_untried(
    answered: dict[FieldKey, JsonValue],
) -> None:
    view = disagreeing(answered, ("handover.lights_and_horn", "horn", "", ""), True, False)
    found = found_by(view, "handover.lights_and_horn.check")
    (horn,) = [one for finding in found for one in finding.missing if one.field == "horn"]
    assert horn.lack is Lack.DISAGREES
    assert Verdict.PASS not in verdicts(found)
    assert any("Answers disagree, choose one: " in finding.sentence for finding in found)


@pytest.mark.parametrize(
    "place", [("handover.safety_gear", "aboard", "9", ""), ("handover.bilge_pumps", "by_float", "9", "")]
)
def test_a_no_in_a_row_without_a_name_fails(place: FieldKey) -> None:
    found = found_by(job_view(boat(), {**GEAR, place: False}), f"{place[0]}.check")
    assert Verdict.FAIL in verdicts(found)
    assert any("row 9" in finding.sentence for finding in found)


def test_two_identities_on_record_for_one_radio_are_not_one_identity() -> None:
    values: dict[FieldKey, JsonValue] = {
        (steps.RADIO, "licence_identity", "", ""): "338123456",
        (steps.RADIO, "vhf_identity", "", ""): "338123456",
    }
    assert verdicts(found_by(job_view(boat(), values), "handover.radio_identity")) == [Verdict.PASS]
    view = disagreeing(values, (steps.RADIO, "ais_identity", "", ""), "338123456", "338999999")
    assert verdicts(found_by(view, "handover.radio_identity")) == [Verdict.NOT_ENOUGH_DATA]


@pytest.mark.parametrize("values", [{}, {(steps.PUNCH_LIST, "put_right", "2", ""): False}])
def test_a_fault_two_people_word_differently_is_open(values: dict[FieldKey, JsonValue]) -> None:
    view = disagreeing(values, (steps.PUNCH_LIST, "fault", "2", ""), "Fuel leaks at the port filter", "Fuel smell")
    assert verdicts(found_by(view, "handover.punch_list")) == [Verdict.FAIL]
