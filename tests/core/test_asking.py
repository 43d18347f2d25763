"""Asking gathers every reason a calculation cannot be made, instead of stopping at the first."""

from __future__ import annotations

import math

import attrs
import pytest

from garboard.findings import Lack, NotEnoughData
from garboard.job_view import JobView, Unreadable
from garboard.records import Job, JsonValue, Measurement, Vessel
from garboard.samples import Recording, Sample, gather, marked

TURN = gather("turn", [Sample(0.0, "rate_of_turn", 2.5)])


def recordings(reference: str) -> Recording:
    if reference != "turn.log":
        raise NotEnoughData(f"recording {reference!r} is not here")
    return TURN


def view(**values: JsonValue) -> JobView:
    measurements = tuple(Measurement(step="a.step", field=name, value=value) for name, value in values.items())
    return JobView(
        vessel=Vessel(hull_number="X"), job=Job(id="1"), measurements=measurements, load_recording=recordings
    )


def test_an_attached_recording_is_given() -> None:
    asking = view(turn={"file": "turn.log"}).asking()
    assert asking.recording("a.step", "turn") is TURN
    asking.check()


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        ({"file": "elsewhere.log"}, "recording 'elsewhere.log' is not here"),
        (None, "turn is not entered"),
        ("turn.log", 'turn: "turn.log" cannot be read, enter a recording'),
    ],
)
def test_a_recording_that_is_not_there_is_a_reason(value: JsonValue, reason: str) -> None:
    asking = view(turn=value).asking()
    assert not asking.recording("a.step", "turn").streams
    with pytest.raises(NotEnoughData) as missing:
        asking.check()
    assert missing.value.reasons == (reason,)


def test_a_simulated_run_is_given_to_nobody_however_it_is_asked_for() -> None:
    """It is a reason for an asking calculator, and refused past it too; a view changed afterwards still refuses it."""
    simulated = gather("turn", marked([Sample(0.0, "rate_of_turn", 2.5, "20"), Sample(1.0, "rate_of_turn", 2.5)]))
    job = attrs.evolve(view(turn={"file": "turn.log"}), load_recording=lambda _reference: simulated)
    asking = job.asking()
    assert not asking.recording("a.step", "turn").streams
    assert asking.reasons == ("the recording is a simulated run, not a measurement; take it back and record aboard",)
    with pytest.raises(NotEnoughData, match="simulated run"):
        attrs.evolve(job, settings={"a.setting": 1}).load_recording("turn.log")


def test_what_is_entered_and_cannot_be_read_is_not_called_missing() -> None:
    """An entry of another kind, and one the program kept aside; beside them a place where nothing stands."""
    aside = Unreadable(place=("a.step", "date", "", ""), expected="text", got="5")
    asking = attrs.evolve(view(calm="yes", load=3), unreadable=(aside,)).asking()
    asking.yes("a.step", "calm")
    for field in ("load", "date", "fuel"):
        asking.choice("a.step", field)
    assert [one.lack for one in asking.missing] == [*[Lack.UNREADABLE] * 3, Lack.NOT_ENTERED]
    assert asking.reasons == (
        'calm: "yes" cannot be read, enter yes or no',
        "load: 3 cannot be read, enter text",
        "date: 5 cannot be read, enter text",
        "fuel is not entered",
    )


@pytest.mark.parametrize("value", ["fast", "12 V", ""])
def test_an_amount_that_cannot_be_read_is_a_reason_and_not_a_crash(value: str) -> None:
    asking = view(boat_speed=value).asking()
    assert math.isnan(asking.amount("a.step", "boat_speed", "kn"))
    with pytest.raises(NotEnoughData, match="boat speed: "):
        asking.check()
