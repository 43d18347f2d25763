"""What only a manager decides, told from the entry alone or with what it replaces."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from garboard.disk.clock import Stamp
from garboard.disk.entries import Entry, make_entry
from garboard.history.authoring import Author, measure, move_job, retract, same_boat, settle, sign_off
from garboard.history.authority import managers_part
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard.records import JsonValue

HULL, OTHER = "ABC00001A526", "XYZHJKLMF626"
ROBIN, KIM = Author("tablet 1", "Robin"), Author("tablet 2", "Kim")
SPEED = RegisterKey("measure", "j", ("run", "speed", "", ""))


def disagreeing() -> HullState:
    """Two tablets that measured one thing apart from each other."""
    return replay(
        HULL, [measure(who, HullState(HULL), "j", "run", "speed", v) for who, v in ((ROBIN, "1 kn"), (KIM, "2 kn"))]
    )


def entry(kind: str, subject: tuple[str, ...] = (), value: JsonValue = None, **more: JsonValue) -> Entry:
    return make_entry(
        kind, HULL, dev="d", by="I", clock=Stamp(1, 0), at="2026-05-14T12:00:00+02:00", job="j",
        subject=subject, value=value, more=more,
    )  # fmt: skip


def test_settling_is_a_managers_and_measuring_again_is_anyones() -> None:
    state = disagreeing()
    assert managers_part(settle(KIM, state, SPEED, "2 kn", "read again")) == "settles a disagreement"
    again = measure(KIM, state, "j", "run", "speed", "2.1 kn")
    assert len(again.replaces) == 2
    assert managers_part(again) == ""
    corrected = KIM.write(
        replay(HULL, [again]), "measure", again.subject, "2.2 kn", job="j", more={"reason": "misread"}
    )
    assert len(corrected.replaces) == 1
    assert managers_part(corrected) == ""


def test_joining_hull_numbers_and_moving_a_job_are_a_managers_in_both_files() -> None:
    one, other = HullState(HULL), HullState(OTHER)
    assert [*map(managers_part, same_boat(KIM, one, other, "a zero"))] == [
        "says that two hull numbers are one boat"
    ] * 2
    assert [*map(managers_part, move_job(KIM, one, other, "j", "wrong boat"))] == ["moves or joins a job"] * 2


@pytest.mark.parametrize("role", ["technician", "owner"])
def test_signing_as_technician_and_the_owners_signature_are_anyones(role: str) -> None:
    assert managers_part(sign_off(KIM, disagreeing(), "j", role, "Kim")) == ""


def test_signing_as_manager_is_a_managers_whether_the_value_or_the_slot_says_so() -> None:
    assert managers_part(sign_off(KIM, disagreeing(), "j", "manager", "Kim")) == "signs as manager"
    assert managers_part(entry("signoff", ("technician", "Kim"), {"role": " Manager"})) == "signs as manager"
    assert managers_part(entry("signoff", ("manager", "Kim"), {"role": "technician"})) == "signs as manager"


def test_what_boats_kept_is_told_and_a_forecast_is_taken_back_by_managers_alone() -> None:
    """A miss that anyone takes back would leave the score as whoever took it back likes it."""
    assert managers_part(entry("alike", ("propellers",), [])) == "tells tablets what boats kept"
    assert managers_part(entry("forecast", ("f1",), {"propeller": "17"})) == "", "anyone foresees"
    assert managers_part(entry("retract", ("f1",), {"kind": "forecast", "reason": "oops"})) != ""


def test_taking_back_a_value_is_anyones_and_taking_back_a_decision_a_managers() -> None:
    state = disagreeing()
    heads = [one for slot in state.registers.values() for one in slot.heads]
    assert managers_part(retract(ROBIN, state, SPEED, "both wrong"), heads) == ""
    settled = settle(KIM, state, SPEED, "2 kn", "read again")
    state.add(settled)
    assert managers_part(retract(ROBIN, state, SPEED, "not so"), [settled]) == "takes back a manager's decision"
    for decided in (
        *same_boat(KIM, HullState(HULL), HullState(OTHER), "a zero"),
        sign_off(KIM, state, "j", "manager", "Kim"),
    ):
        held = replay(decided.hull, [decided])
        (key,) = held.registers
        assert managers_part(retract(ROBIN, held, key, "not so")) == "takes back a manager's decision"
    signed = replay(HULL, [sign_off(ROBIN, state, "j", "technician", "Robin")])
    assert managers_part(retract(ROBIN, signed, RegisterKey("signoff", "j", ("technician", "Robin")), "too soon")) == ""


@given(st.text(max_size=20), st.lists(st.sampled_from(["manager", "x", ""]), max_size=3))
def test_what_this_version_does_not_understand_is_never_judged(kind: str, subject: list[str]) -> None:
    """It changes nothing here, and must be passed on."""
    assert managers_part(entry(f"shop {kind}", tuple(subject), {"role": "manager"}, reason="r")) == ""
