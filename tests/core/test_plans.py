"""What a manager plans for a job: entries with who, which no signature covers."""

from __future__ import annotations

import json
from pathlib import Path

import attrs
import pytest
from click.testing import CliRunner

from garboard.commands.cli import program
from garboard.disk.clock import HybridClock
from garboard.disk.entries import PLAN
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.history.authoring import Author, join_job, measure, open_job, same_boat, sign_off
from garboard.history.authority import managers_part
from garboard.history.plans import (
    COMMENT,
    Plan,
    SetAside,
    plan_entries,
    plan_of,
    set_aside,
    set_aside_of,
    taken_up,
)
from garboard.history.replay import HullState, replay
from garboard.history.shapes import misfit_of


def planned(**said: str) -> tuple[HullState, str, Author]:
    author, state = Author("shop page", "M. Office"), replay("QQZ01234A626", ())
    opened = open_job(author, state, "QQZ01234A626")
    for entry in opened:
        state.add(entry)
    plan(author, state, opened[0].job, **said)
    return state, opened[0].job, author


def plan(author: Author, state: HullState, job: str, **said: str) -> int:
    return sum(state.add(entry) for entry in plan_entries(author, state, job, said))


def test_a_plan_is_read_back_and_each_part_is_taken_back_by_itself() -> None:
    state, job, author = planned(assigned="R. Vane", promised="2026-05-14", waiting_for="parts", comment="ordered")
    whole = Plan(
        assigned="R. Vane", promised="2026-05-14", waiting_for="parts", comment="ordered", comment_by="M. Office"
    )
    assert plan_of(state, (job,)) == whole
    assert plan_of(state, ("another",)) == Plan()
    assert plan(author, state, job, assigned="R. Vane", waiting_for="", promised="2026-05-14", comment="") == 1
    assert (plan_of(state, (job,)).waiting_for, plan_of(state, (job,)).comment) == ("", "ordered")


def test_what_was_planned_for_a_job_that_was_joined_into_another_is_taken_back_there() -> None:
    state, job, author = planned(promised="2026-05-14", assigned="R. Vane")
    whole = open_job(author, state, "QQZ01234A626")
    for entry in [*whole, join_job(author, state, job, whole[0].job, "opened twice")]:
        state.add(entry)
    both = (whole[0].job, job)
    assert plan_of(state, both) == Plan(promised="2026-05-14", assigned="R. Vane")
    assert plan(author, state, whole[0].job, promised="", assigned="R. Vane") == 2, "of the part, and of the whole"
    assert plan_of(state, both) == Plan(assigned="R. Vane")
    slow = attrs.evolve(author, clock=HybridClock(wall=lambda: 1000))  # the shop's clock was a year ahead, and is not
    plan(slow, state, whole[0].job, assigned="A. Hand", promised="2026-06-01")
    assert plan_of(state, both) == Plan(assigned="A. Hand", promised="2026-06-01")


def test_a_job_keeps_its_plan_where_two_numbers_turn_out_to_be_two_boats() -> None:
    """It was planned, and set aside, on the page of the other number."""
    author, here, there = Author("shop page", "M. Office"), replay("QQZ01234A626", ()), replay("QQZ01234B626", ())
    opened = open_job(author, there, "QQZ01234B626")
    job, held = opened[0].job, [*opened, *same_boat(author, here, there, "one transom")]
    both = replay(here.hull, held, [there.hull])
    held += plan_entries(author, both, job, {"comment": "fuel leak: do not launch", "promised": "2026-05-14"})
    held.append(set_aside(author, both, (job,), "withdrawn"))
    alone = replay(there.hull, [entry for entry in held if entry.hull_key == there.hull])
    found = plan_of(alone, (job,))
    assert (found.comment, found.promised) == ("fuel leak: do not launch", "2026-05-14")
    assert set_aside_of(alone, (job,)) is not None


def test_every_comment_stays_and_the_last_one_is_shown() -> None:
    state, job, author = planned(comment="ordered")
    plan(author, state, job, comment="came")
    comments = [key for key in state.registers if (key.kind, *key.subject[:2]) == (PLAN, job, COMMENT)]
    assert {entry.value for key in comments for entry in state.current(key)} == {"came", "ordered"}
    assert plan_of(state, (job,)).comment == "came"


def test_a_plan_makes_no_signature_stale_and_no_two_values_to_settle() -> None:
    state, job, author = planned()
    state.add(sign_off(author, state, job, "technician", "R. Vane"))
    apart = [one for name in ("rigger", "owner") for one in plan_entries(author, state, job, {"waiting_for": name})]
    for entry in apart:
        assert state.add(entry)
    assert (state.stale(job), state.disagreements(job)) == ((), ())
    assert plan_of(state, (job,)).waiting_for == "owner"
    assert {managers_part(entry) for entry in apart} == {"plans a job"}


@pytest.mark.parametrize(
    "said",
    [
        *({"promised": day} for day in ("soon", "2026-02-30", "2026-W50-1", "0026-12-24", "9999-12-31")),
        *({"waiting_for": "rain"}, {"comment": "x" * 501}, {"no": "x"}),
    ],
)
def test_what_is_no_plan_is_refused(said: dict[str, str]) -> None:
    state, job, author = planned()
    with pytest.raises(InputError):
        plan_entries(author, state, job, said)


def worked(state: HullState, job: str, value: bool, tablet: str = "tablet 1") -> bool:
    return state.add(measure(Author(tablet, "R. Vane"), state, job, "small.horn", "heard", value))


def test_a_job_set_aside_stays_so_until_a_tablet_brings_something_or_a_manager_takes_it_up() -> None:
    """What a manager writes at the shop, a plan or a value settled, opens nothing."""
    state, job, author = planned()
    worked(state, job, True)
    assert set_aside_of(state, (job,)) is None
    entry = set_aside(author, state, (job,), " sold  unrigged ")
    assert managers_part(entry) == "plans a job"
    state.add(entry)
    told = set_aside_of(state, (job,))
    assert told is not None
    assert (told.by, told.reason, told.holds, told.came) == ("M. Office", "sold unrigged", True, 0)
    plan(author, state, job, comment="keep the propellers")
    worked(state, job, False, tablet="shop page")
    assert set_aside_of(state, (job,)) == told
    worked(state, job, True)
    again = set_aside_of(state, (job,))
    assert again is not None
    assert (again.holds, again.came, again.reason) == (False, 1, "sold unrigged")
    state.add(set_aside(author, state, (job,), "sold unrigged"))
    for entry in taken_up(author, state, (job,), "bought back"):
        state.add(entry)
    assert set_aside_of(state, (job,)) is None
    assert taken_up(author, state, (job,)) == []
    assert (state.stale(job), state.disagreements(job), plan_of(state, (job,)).comment) == (
        (),
        (),
        "keep the propellers",
    )


@pytest.mark.parametrize("kind", ["measure", "of a newer version"])
def test_what_was_written_before_and_comes_later_opens_a_job_too_in_whatever_order(kind: str) -> None:
    """The manager had not seen it. A program that reads it first, or last, says the same; so does one that does not
    know what came.
    """
    state, job, author = planned()
    entry = set_aside(author, state, (job,), "sold unrigged")
    other = replay("QQZ01234A626", (one for register in state.registers.values() for one in register.entries.values()))
    late = Author("tablet 2", "K. Lind").write(other, kind, ("small.horn", "heard", "", ""), True, job=job)
    for order in ((entry, late), (late, entry)):
        again = replay("QQZ01234A626", (one for at in state.registers.values() for one in at.entries.values()))
        for one in order:
            again.add(one)
        found = set_aside_of(again, (job,))
        assert found is not None
        assert (found.holds, found.came) == (False, 1)
    assert entry.subject == (job, "set_aside")
    assert misfit_of(entry) is None, "a program that does not know of it keeps it as a plan, and shows it"


@pytest.mark.parametrize("reason", ["", "  ", "x" * 501])
def test_a_job_is_set_aside_with_a_reason(reason: str) -> None:
    state, job, author = planned()
    with pytest.raises(InputError):
        set_aside(author, state, (job,), reason)


def test_a_job_is_set_aside_by_command_and_taken_up_again(tmp_path: Path) -> None:
    state, job, _ = planned()
    with HullFolder(tmp_path / "shop") as hulls:
        for register in [*state.registers.values()]:
            for entry in register.entries.values():
                hulls.save(entry)

    def run(*more: str) -> str:
        words = ["set-aside", str(tmp_path / "shop"), "QQZ01234A626", "--by", "M. Office", *more]
        return CliRunner().invoke(program, words, catch_exceptions=False).output

    def now() -> SetAside | None:
        with HullFolder(tmp_path / "shop", read_only=True) as hulls:
            return set_aside_of(replay("QQZ01234A626", hulls.entries("QQZ01234A626")), (job,))

    def shown() -> str:
        return CliRunner().invoke(program, ["show", str(tmp_path / "shop"), "QQZ01234A626"]).output

    def assessed(*more: str) -> str:
        return CliRunner().invoke(program, ["assess", str(tmp_path / "shop"), *more]).output

    assert "et aside" not in shown()
    assert run("--reason", "sold unrigged") == f"job {job} is set aside\n"
    assert "  Set aside by M. Office: sold unrigged.\n" in shown()
    assert "\nSet aside by M. Office: sold unrigged.\n\nALONGSIDE\n" in assessed()
    (told,) = json.loads(assessed("--json"))["jobs"]
    assert {**told["set_aside"], "at": ""} == {
        "by": "M. Office",
        "at": "",
        "reason": "sold unrigged",
        "came": 0,
        "holds": True,
    }
    assert (found := now()) is not None
    assert found.holds
    before = now()
    assert run("--reason", "again") == f"job {job} was set aside before by M. Office. Nothing was changed\n"
    assert now() == before
    assert run("--reason", "bought back", "--undo") == f"job {job} is open again\n"
    assert run("--reason", "bought back", "--undo") == f"job {job} was not set aside. Nothing was changed\n"
    assert now() is None
    assert "et aside" not in shown()
    assert "et aside" not in assessed()
    assert json.loads(assessed("--json"))["jobs"][0]["set_aside"] is None
