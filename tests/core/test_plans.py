"""What a manager plans for a job: entries with who, which no signature covers."""

from __future__ import annotations

import pytest

from garboard.disk.entries import PLAN
from garboard.faults import InputError
from garboard.history.authoring import Author, open_job, sign_off
from garboard.history.authority import managers_part
from garboard.history.plans import COMMENT, Plan, plan_entries, plan_of
from garboard.history.replay import HullState, replay


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
