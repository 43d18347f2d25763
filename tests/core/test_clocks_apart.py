"""Tablets whose clocks are hours or a day apart, and one whose clock jumps back in use: what is said stays true."""

from __future__ import annotations

from pathlib import Path

import pytest

from garboard.disk.clock import HybridClock, Stamp
from garboard.disk.entries import Entry
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import Author, measure, retract, settle, sign_off
from garboard.history.boat import author_for, open_hull
from garboard.history.merge import merge
from garboard.history.past import history_of
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard.history.runs import let_count, runs_of
from garboard.records import JsonValue
from histories import DAY, HULL, JOB, NOON, OTHER_HULLS

HOUR = DAY // 24
APART = [0, 2 * HOUR, -2 * HOUR, DAY, -DAY]
STEP = "prop_check.runs"
SPEED = RegisterKey("measure", JOB, (STEP, "speed", "1", ""))
RUN = (STEP, "log", "", "")
SECOND = 1000

apart = pytest.mark.parametrize("off", APART, ids=["equal", "2 h ahead", "2 h behind", "a day ahead", "a day behind"])


class Tablet:
    """A tablet with a wall clock of its own, which ticks a second at each look and can be set."""

    def __init__(self, name: str, off: int = 0) -> None:
        self.now = NOON + off
        self.author = Author(name, f"tech {name}", HybridClock(wall=self.look))
        self.held: dict[str, Entry] = {}

    def look(self) -> int:
        self.now += SECOND
        return self.now

    @property
    def state(self) -> HullState:
        return replay(HULL, self.held.values())

    def write(self, *entries: Entry) -> Entry:
        self.held |= {entry.id: entry for entry in entries}
        return entries[-1]

    def speed(self, value: str) -> Entry:
        return self.write(measure(self.author, self.state, JOB, STEP, "speed", value, row="1"))

    def meet(self, other: Tablet) -> None:
        """Both hold the same afterwards, and each follows the other's stamps as far as it may."""
        for one, another in ((self, other), (other, self)):
            for entry in another.held.values():
                one.author.clock.follow(entry.clock, own=entry.tablet == one.author.tablet)
        self.held |= other.held
        other.held |= self.held

    def restart(self) -> None:
        """The program begins anew, and looks through what it holds."""
        self.author = Author(self.author.tablet, self.author.by, HybridClock(wall=self.look))
        for entry in self.held.values():
            self.author.clock.follow(entry.clock, own=entry.tablet == self.author.tablet)


def told(state: HullState) -> list[tuple[object, str]]:
    """The history of the speed: each value with what became of it, in the order shown."""
    return [(one.entry.value if one.entry.kind != "retract" else "-", one.became) for one in history_of(state, SPEED)]


@apart
def test_neither_value_wins_and_the_choice_of_a_person_stands(off: int) -> None:
    right, wrong = Tablet("a"), Tablet("b", off)
    right.speed("30.0 kn")
    wrong.speed("31.5 kn")
    right.meet(wrong)
    (one,) = right.state.view(JOB).disagreements
    assert {value.value for value in one.values} == {"30.0 kn", "31.5 kn"}
    assert not right.state.view(JOB).measurements
    wrong.write(settle(wrong.author, wrong.state, SPEED, "30.0 kn", "the log shows it"))
    right.meet(wrong)
    for state in (right.state, wrong.state):
        assert [entry.value for entry in state.current(SPEED)] == ["30.0 kn"]
        assert told(state)[-1] == ("30.0 kn", "stands")
        assert {became for _, became in told(state)[:-1]} == {"replaced"}


@apart
def test_each_correction_stands_after_what_it_corrects_in_every_list(off: int) -> None:
    right, wrong = Tablet("a"), Tablet("b", off)
    values = ["30.0 kn", "30.5 kn", "31.0 kn", "31.5 kn", "32.0 kn"]
    for number, value in enumerate(values):
        one, other = (right, wrong) if number % 2 else (wrong, right)
        one.speed(value)
        one.meet(other)
    for state in (right.state, wrong.state):
        assert [value for value, _ in told(state)] == values
        assert [became for _, became in told(state)] == ["replaced"] * 4 + ["stands"]


@apart
def test_what_is_taken_back_stays_taken_back_and_a_value_nobody_saw_then_stands(off: int) -> None:
    right, wrong = Tablet("a"), Tablet("b", off)
    right.speed("30.0 kn")
    right.meet(wrong)
    wrong.write(retract(wrong.author, wrong.state, SPEED, "the wrong boat"))
    right.speed("30.5 kn")  # out of reach of the other
    right.meet(wrong)
    for state in (right.state, wrong.state):
        assert [entry.value for entry in state.current(SPEED)] == ["30.5 kn"]
        assert [(one.entry.value, one.reason) for one in state.retractions(JOB)] == [("30.0 kn", "the wrong boat")]
        shown = told(state)
        assert shown[0] == ("30.0 kn", "taken back")
        assert {*shown[1:]} == {("-", "taking back"), ("30.5 kn", "stands")}


@apart
def test_a_signature_goes_stale_by_what_was_not_seen_whenever_it_says_it_was_written(off: int) -> None:
    right, wrong = Tablet("a"), Tablet("b", off)
    right.speed("30.0 kn")
    right.meet(wrong)
    wrong.write(sign_off(wrong.author, wrong.state, JOB, "technician", "R. Vane"))
    assert wrong.state.stale(JOB) == ()
    late = right.speed("30.5 kn")
    right.meet(wrong)
    (stale,) = right.state.stale(JOB)
    assert [entry.id for entry in stale.not_covered] == [late.id]


@apart
def test_merged_folders_report_the_same_whatever_the_clocks_say(off: int, tmp_path: Path) -> None:
    right, wrong = Tablet("a"), Tablet("b", off)
    right.speed("30.0 kn")
    wrong.speed("31.5 kn")
    for name, one in (("right", right), ("wrong", wrong)):
        with HullFolder(tmp_path / name) as folder:
            folder.put_if_absent(HULL, one.held.values())
    for number, order in enumerate((("right", "wrong"), ("wrong", "right"))):
        with HullFolder(tmp_path / f"shop {number}") as shop:
            for name in order:
                with HullFolder(tmp_path / name, read_only=True) as source:
                    report = merge([source], shop)
            assert report.hulls[0].disagreeing == (SPEED,)


@pytest.mark.parametrize("back", [2 * HOUR, DAY])
@pytest.mark.parametrize("restarts", [False, True])
def test_a_clock_that_jumps_back_in_use_leaves_the_tablets_own_work_in_order(back: int, restarts: bool) -> None:
    """Remarks replace nothing: only the stamps order them. Also after the program began anew."""
    one = Tablet("a")
    texts = [f"remark {number}" for number in range(6)]
    for number, text in enumerate(texts):
        if number == 3:
            one.now -= back
            if restarts:
                one.restart()
        value: JsonValue = {"text": text, "punch_list": False, "settled": False}
        one.write(one.author.write(one.state, "note", (f"n{number}",), value, job=JOB))
    assert [note.text for note in one.state.view(JOB).notes] == texts
    one.speed("30.0 kn")
    one.speed("30.5 kn")
    assert [value for value, _ in told(one.state)] == ["30.0 kn", "30.5 kn"]


def test_its_own_stamps_are_followed_however_far_ahead_and_no_others_are() -> None:
    clock = HybridClock(wall=lambda: NOON)
    assert not clock.follow(Stamp(NOON + DAY, 4))
    assert clock.now() == Stamp(NOON, 0)
    assert clock.follow(Stamp(NOON + DAY, 4), own=True)
    assert clock.now() == Stamp(NOON + DAY, 5)


def test_a_command_writes_after_what_its_own_machine_wrote_before_its_clock_was_set_back(tmp_path: Path) -> None:
    early = measure(
        Author("office", "M. Office", HybridClock(wall=lambda: 4_000_000_000_000)), HullState(HULL), JOB, STEP, "a", "x"
    )
    with HullFolder(tmp_path) as folder:
        folder.save(early)
        state = replay(HULL, folder.entries(HULL))
        assert author_for(folder, state, "office", "M. Office").clock.now() > early.clock
        assert author_for(folder, state, "tablet 2", "R. Vane").clock.now() < early.clock


def run(letter: str) -> dict[str, str]:
    return {"file": letter * 64, "name": f"run {letter}"}


def described(tablet: Tablet, text: str) -> Entry:
    return tablet.write(measure(tablet.author, tablet.state, JOB, STEP, "full", text))


def count(tablet: Tablet, letter: str) -> list[str]:
    """Have a run count; what is taken back with it, by its text."""
    entries = let_count(tablet.author, tablet.state, JOB, RUN, {**run(letter)}, {"full"})
    tablet.write(*entries)
    return [str(tablet.held[name].value) for one in entries if one.kind == "retract" for name in one.replaces]


FULL = RegisterKey("measure", JOB, (STEP, "full", "", ""))
LOG = RegisterKey("measure", JOB, RUN)


@apart
def test_what_describes_a_run_is_never_taken_for_another_runs_by_a_clock(off: int) -> None:
    """One took the run back; the other said of the coming run how it goes. Who was later, no clock may say: it asks."""
    right, wrong = Tablet("a"), Tablet("b", off)
    count(right, "1")
    described(right, "yes")
    right.meet(wrong)
    wrong.write(retract(wrong.author, wrong.state, LOG, "the wrong boat"))
    right.meet(wrong)
    described(right, "no")
    assert count(right, "2") == ["no"]
    assert right.state.current(FULL) == ()
    (earlier,) = [one for one in right.state.retractions(JOB) if one.entry.value == "no"]
    assert earlier.reason == "of the earlier run"


@pytest.mark.parametrize("back", [0, 2 * HOUR, DAY])
def test_one_tablet_knows_what_it_wrote_after_it_took_a_run_back(back: int) -> None:
    one = Tablet("a")
    count(one, "1")
    described(one, "yes")
    one.write(retract(one.author, one.state, LOG, "the wrong boat"))
    one.now -= back
    one.restart()
    assert count(one, "2") == ["yes"]
    one.write(retract(one.author, one.state, LOG, "the wrong boat"))
    described(one, "no")
    assert count(one, "3") == []
    assert [entry.value for entry in one.state.current(FULL)] == ["no"]
    assert [run.name for run in runs_of(one.state, JOB, RUN)] == ["run 1", "run 2", "run 3"]


@apart
def test_a_job_keeps_the_number_it_was_opened_under(off: int, tmp_path: Path) -> None:
    """The other tablet wrote under the boat's other number, by an earlier clock."""
    right, wrong = Tablet("a"), Tablet("b", off)
    other = HullState(OTHER_HULLS[0])
    opened = right.author.write(HullState(HULL), "job", ("opened",), "2026-05-14", job=JOB)
    people = wrong.author.write(other, "job", ("technicians",), ["R. Vane"], job=JOB)
    with HullFolder(tmp_path) as folder:
        for entry in (
            opened,
            people,
            right.author.write(HullState(HULL), "alias", (other.hull,), {"hull": other.hull, "reason": "one boat"}),
        ):
            folder.save(entry)
        assert open_hull(folder, HULL).state.hull_number_of(JOB) == HULL
