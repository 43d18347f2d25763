"""A boat opened by any of its numbers shows everything written of its jobs, wherever it was written."""

from __future__ import annotations

from pathlib import Path

from garboard.disk.entries import Entry
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import Author, measure, move_job
from garboard.history.boat import Boat, author_for, open_entries
from garboard.history.registers import VESSEL
from garboard.history.replay import HullState, replay

RIGHT, WRONG, THIRD = "ABC00001A526", "ABCO0001A526", "ABC0OO01A526"
JOB = "job1"
HAND = Author("tablet 1", "A. Hand")


def opened(*entries: Entry) -> Boat:
    return open_entries(lambda hull: [entry for entry in entries if entry.hull_key == hull], RIGHT)


def values(boat: Boat) -> dict[str, object]:
    return {one.field: one.value for one in boat.view(JOB).measurements}


def test_a_job_written_partly_under_a_wrong_number_is_whole_again_once_that_part_is_moved() -> None:
    here = measure(HAND, HullState(RIGHT), JOB, "trial", "speed", "31.0 kn")
    there = measure(HAND, HullState(WRONG), JOB, "trial", "fuel", "270 gal")
    name = HAND.write(HullState(WRONG), "field", ("name",), "Saltgrass", job=JOB)
    wrong, right = replay(WRONG, [there, name]), replay(RIGHT, [here])
    boat = opened(here, there, name, *move_job(HAND, wrong, right, JOB, "typed wrongly"))
    assert boat.jobs == (JOB,)
    assert values(boat) == {"speed": "31.0 kn", "fuel": "270 gal"}
    assert boat.view(JOB).vessel.name == "Saltgrass", "as with a job moved whole: nothing else says its name"
    assert boat.hulls == {RIGHT, WRONG}


def test_parts_of_a_job_moved_from_two_wrong_numbers_are_all_there() -> None:
    parts = [measure(HAND, HullState(hull), JOB, "trial", field, "1 V") for hull, field in ((WRONG, "a"), (THIRD, "b"))]
    moves = [
        entry for part in parts for entry in move_job(HAND, replay(part.hull, [part]), HullState(RIGHT), JOB, "typed")
    ]
    assert values(opened(*parts, *moves)) == {"a": "1 V", "b": "1 V"}


def test_two_values_for_one_thing_disagree_when_the_parts_of_a_job_come_together() -> None:
    here = measure(HAND, HullState(RIGHT), JOB, "trial", "speed", "31.0 kn")
    there = measure(HAND, HullState(WRONG), JOB, "trial", "speed", "30.0 kn")
    boat = opened(here, there, *move_job(HAND, replay(WRONG, [there]), replay(RIGHT, [here]), JOB, "typed wrongly"))
    assert values(boat) == {}
    (disagreement,) = boat.view(JOB).disagreements
    assert {one.value for one in disagreement.values} == {"31.0 kn", "30.0 kn"}


def test_parts_moved_one_after_the_other_are_all_there() -> None:
    first, second = (
        measure(HAND, HullState(hull), JOB, "trial", field, "1 V") for hull, field in ((WRONG, "a"), (THIRD, "b"))
    )
    right = HullState(RIGHT)
    moves = [*move_job(HAND, replay(WRONG, [first]), right, JOB, "typed")]
    right.add(moves[1])
    moves += move_job(HAND, replay(THIRD, [second]), right, JOB, "typed")
    assert values(opened(first, second, *moves)) == {"a": "1 V", "b": "1 V"}


def test_whoever_is_about_to_write_names_the_plugins_and_comes_after_everything_here(tmp_path: Path) -> None:
    there = measure(Author("tablet 2", "B. Hand"), HullState(RIGHT), JOB, "trial", "speed", "31.0 kn")
    state = replay(RIGHT, [there])
    with HullFolder(tmp_path) as folder:
        author = author_for(folder, state, "tablet 1", "A. Hand", {"garboard_prop_check": "1.0"})
        written = measure(author, state, JOB, "trial", "speed", "31.5 kn")
        bare = measure(author_for(folder, state, "tablet 1", "A. Hand"), state, JOB, "trial", "speed", "32.0 kn")
    assert (written.tablet, written.by, dict(written.plugins)) == (
        "tablet 1",
        "A. Hand",
        {"garboard_prop_check": "1.0"},
    )
    assert written.clock > there.clock
    assert dict(bare.plugins) == {}


def test_a_job_that_came_from_another_number_of_the_same_boat_came_from_nowhere_else() -> None:
    _, arriving = move_job(HAND, HullState(WRONG), HullState(RIGHT), JOB, "typed wrongly")
    assert replay(RIGHT, [arriving]).moved_from == ((WRONG, JOB),)
    assert replay(RIGHT, [arriving], also=[WRONG]).moved_from == ()


def test_a_moved_job_leaves_behind_what_disagrees_about_the_boat_it_came_from() -> None:
    there = measure(HAND, HullState(WRONG), JOB, "trial", "speed", "31.0 kn")
    names = [
        Author(tablet, "A. Hand").write(HullState(WRONG), "field", ("name",), name, job=JOB)
        for tablet, name in (("tablet 1", "Not this boat"), ("tablet 2", "Nor this"))
    ]
    assert [one.place[0] for one in replay(WRONG, [there, *names]).view(JOB).disagreements] == [VESSEL]
    moves = move_job(HAND, replay(WRONG, [there]), HullState(RIGHT), JOB, "typed wrongly")
    own = HAND.write(HullState(RIGHT), "field", ("name",), "Saltgrass")
    boat = opened(there, *names, own, *moves)
    assert values(boat) == {"speed": "31.0 kn"}
    assert list(boat.view(JOB).disagreements) == []
    without = opened(there, *names, *moves).view(JOB)
    assert [one.place[:2] for one in without.disagreements] == [(VESSEL, "name")], "nothing else says its name"
