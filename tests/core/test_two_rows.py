"""Two tablets began one row, each for a run of its own: both stand, once a person says so."""

from __future__ import annotations

import pytest

from garboard.disk.entries import Entry
from garboard.faults import InputError
from garboard.history.authoring import Author, measure
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard.history.two_rows import both_rows_count, may_be_two_rows
from garboard.records import JsonValue
from histories import DAY, HULL, JOB, tablet

RUNS = "prop_check.full_throttle"
OFFICE = Author("office", "M. Office")
SPEED = RegisterKey("measure", JOB, (RUNS, "speed", "3", ""))


def run(name: str, row: str = "3", clock_off: int = 0, **values: JsonValue) -> list[Entry]:
    """What a tablet writes of a run that has not met the others."""
    writer = tablet(name, clock_off).author
    fields = {"direction": "with", **values}
    return [
        measure(writer, HullState(HULL), JOB, RUNS, field, value, row=row, instrument=f"display of {name}")
        for field, value in fields.items()
    ]


def rows_of(state: HullState) -> dict[str, dict[str, JsonValue]]:
    found: dict[str, dict[str, JsonValue]] = {}
    for one in state.view(JOB).measurements:
        found.setdefault(one.row, {})[one.field] = one.value
    return found


@pytest.mark.parametrize("clock_off", [DAY // 12, -DAY // 12])
def test_both_rows_stand_each_with_its_own_values(clock_off: int) -> None:
    """What they wrote alike stands in both, what one alone wrote in its own; with who, when and which instrument."""
    before = run("a", "2", speed="30.0 kn")
    ours = run("a", speed="36.0 kn", propeller="")
    theirs = run("b", clock_off=clock_off, speed="38.0 kn", propeller="17 steel", gear="40 lb")
    state = replay(HULL, [*before, *ours, *theirs])
    assert may_be_two_rows(state, SPEED)
    written = both_rows_count(OFFICE, state, SPEED, "two runs, says Robin")
    after = replay(HULL, [*before, *ours, *theirs, *written])
    one = {"direction": "with", "speed": "36.0 kn", "propeller": ""}
    other = {"direction": "with", "speed": "38.0 kn", "propeller": "17 steel", "gear": "40 lb"}
    first, second = (one, other) if clock_off > 0 else (other, one)
    assert rows_of(after) == {"2": {"direction": "with", "speed": "30.0 kn"}, "3": first, "4": second}
    assert after.view(JOB).disagreements == ()
    (moved,) = (each for each in after.view(JOB).measurements if (each.row, each.field) == ("4", "speed"))
    name = "b" if clock_off > 0 else "a"
    assert (moved.by, moved.instrument, moved.at[:10]) == (f"tech {name}", f"display of {name}", "2026-05-14")
    assert "both count: rows 3 and 4" in str([one.more.get("reason") for one in written])


def test_three_tablets_make_three_rows() -> None:
    entries = [entry for name in "abc" for entry in run(name, speed=f"3{ord(name) % 10}.0 kn")]
    state = replay(HULL, entries)
    after = replay(HULL, [*entries, *both_rows_count(OFFICE, state, SPEED, "all three")])
    speeds = {row: values["speed"] for row, values in rows_of(after).items()}
    assert (sorted(speeds), sorted(map(str, speeds.values()))) == (["3", "4", "5"], ["37.0 kn", "38.0 kn", "39.0 kn"])
    assert after.view(JOB).disagreements == ()


def test_one_run_of_which_a_value_was_typed_again_is_no_two_rows() -> None:
    typed_again = measure(tablet("b").author, HullState(HULL), JOB, RUNS, "speed", "38.0 kn", row="3")
    lone = replay(HULL, [*run("a", speed="36.0 kn"), typed_again])
    same = replay(HULL, [*run("a", speed="36.0 kn"), *run("b", speed="36.0 kn")])
    named = replay(HULL, [*run("a", "calm", speed="36.0 kn"), *run("b", "calm", speed="38.0 kn")])
    calm = SPEED._replace(subject=(RUNS, "speed", "calm", ""))
    for state, key in ((lone, SPEED), (same, SPEED), (named, calm)):
        assert not may_be_two_rows(state, key)
        with pytest.raises(InputError, match="two tablets began"):
            both_rows_count(OFFICE, state, key, "why")
