"""The row of a job: its state by order, since when by the shop's knowledge, what ever failed, whom it waits for."""

from __future__ import annotations

import json

import attrs
import pytest

from boat_rows import jobs
from garboard_shop.board import ALL, Asked, Board, Times
from garboard_shop.boat_rows import Row
from garboard_shop.job_rows import A_DAY, Came, JobRow, Past, State, as_plain, of_plain, with_past
from garboard_shop.memory import as_text, of_text, pasts_of_text

ROW = JobRow(hull="QQZ01234A626", job="j", state="failing", failing=("a.b",))
DAY = 1_000 * A_DAY


def test_rows_of_jobs_are_kept_as_text_and_read_back() -> None:
    row = Row(hull="QQZ01234A626", jobs=tuple(jobs(20)))
    assert of_text(as_text(row)) == row


@pytest.mark.parametrize(
    "wrong",
    [
        {"state": "lost"},
        {"since": -1},
        {"since": "1"},
        {"failing": "a"},
        {"failing": [1]},
        {"other": 1},
        {"is_managers": 1},
    ],
)
def test_a_damaged_row_of_a_job_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError, match="expected"):
        of_plain({**as_plain(ROW), **wrong})


def test_what_only_the_shop_knows_outlives_a_new_version_of_the_rows() -> None:
    known = attrs.evolve(ROW, since=5, known=3, handed=0, changed=6, ever_failed=("c.d",))
    plain = json.loads(as_text(Row(hull="QQZ01234A626", jobs=(known,))))
    plain["made_as"] += 1
    plain["jobs"][0]["something"] = "new"
    text = json.dumps(plain)
    assert of_text(text) is None
    assert pasts_of_text(text) == {"j": Past(state="failing", since=5, known=3, changed=6, ever_failed=("c.d",))}
    assert pasts_of_text("{") == pasts_of_text('{"jobs": [{"job": "j"}, 3]}') == {}


def test_a_state_counts_from_when_it_came_ashore_and_stays_as_long_as_it_is_the_same() -> None:
    first = with_past(ROW, None, Came(DAY, DAY + 5, DAY + 9))
    assert (first.since, first.known, first.ever_failed, first.handed) == (DAY + 5, DAY, ("a.b",), 0)
    again = with_past(attrs.evolve(ROW, open="more"), first, Came(DAY, DAY + 20, DAY + 30))
    assert (again.since, again.changed) == (DAY + 5, DAY + 30)  # somebody who looked at 25 had not seen it
    assert with_past(ROW, None, Came(DAY, DAY + 5, 9 * DAY)).changed == DAY + 5  # made long after, it is no news
    assert with_past(attrs.evolve(ROW, open="more"), again, Came(DAY, DAY + 20, DAY + 99)) == again
    mended = with_past(attrs.evolve(ROW, state="ready", failing=()), again, Came(DAY, DAY + 40, DAY + 50))
    assert (mended.since, mended.ever_failed, mended.waiting_for) == (DAY + 40, ("a.b",), "owner")
    signed = with_past(attrs.evolve(ROW, state="handed over"), first, Came(DAY, DAY + 70, DAY + 70))
    assert signed.changed == DAY + 70, "another state alone is something new, too"


def test_a_state_that_a_setting_changed_counts_from_when_it_was_judged_anew() -> None:
    first = with_past(ROW, None, Came(DAY, DAY + 5, DAY + 9))
    after = with_past(attrs.evolve(ROW, state="ready", failing=()), first, Came(DAY, DAY + 5, DAY + 60))
    assert after.since == DAY + 60
    quiet = with_past(ROW, first, Came(DAY, DAY + 30, DAY + 31))
    assert (quiet.changed, quiet.brought) == (first.changed, DAY + 30)
    after = with_past(attrs.evolve(ROW, state="ready", failing=()), quiet, Came(DAY, DAY + 30, DAY + 60))
    assert after.since == DAY + 60, "what came with nothing new in it did not change the state"


def test_right_the_first_time_is_what_never_failed_here_and_is_handed_over() -> None:
    done = attrs.evolve(ROW, state="handed over", failing=())
    never = with_past(done, None, Came(DAY, DAY + 3 * A_DAY, DAY + 4 * A_DAY))
    assert (never.was_right_first, never.days_to_hand_over, never.handed) == (True, 3.0, DAY + 3 * A_DAY)
    mended = with_past(done, with_past(ROW, None, Came(DAY, DAY, DAY)), Came(DAY, DAY + A_DAY, DAY + A_DAY))
    assert not mended.was_right_first
    opened_again = with_past(ROW, never, Came(DAY, DAY + 5 * A_DAY, DAY + 5 * A_DAY))
    assert (opened_again.handed, opened_again.was_right_first) == (0, False)


def test_what_a_tablet_a_year_ahead_settled_was_settled_when_it_came_and_is_no_news_again() -> None:
    ahead = attrs.evolve(ROW, settled=DAY + 365 * A_DAY, settled_by="M. Office")
    first = with_past(ahead, None, Came(DAY, DAY + 5, DAY + 9))
    assert first.settled == DAY + 5
    assert with_past(ahead, first, Came(DAY, DAY + 20, DAY + 30)) == attrs.evolve(first, brought=DAY + 20)
    other = with_past(attrs.evolve(ahead, settled_by="N. Deputy"), first, Came(DAY, DAY + 20, DAY + 30))
    assert other.settled == DAY + 20
    assert with_past(attrs.evolve(ahead, settled=DAY + 1), None, Came(DAY, DAY + 5, DAY + 9)).settled == DAY + 1


def test_a_boat_that_is_signed_over_is_not_handed_over_again_when_a_late_value_is_settled() -> None:
    def at(days: int) -> Came:
        return Came(DAY, DAY + days * A_DAY, DAY + days * A_DAY)

    done, open_ = (attrs.evolve(ROW, state=state, failing=()) for state in (State.HANDED_OVER, State.TO_SETTLE))
    asked = with_past(open_, with_past(done, None, at(3)), at(40))
    listed = Board([asked]).find(Asked(view=ALL, handed="1972-09-01+99"), Times(now=DAY + 40 * A_DAY))
    assert (asked.is_handed_over, listed.total) == (False, 0), "meanwhile it counts as handed over nowhere"
    again = with_past(done, asked, at(41))
    assert (again.handed, again.days_to_hand_over, again.since) == (DAY + 3 * A_DAY, 3.0, DAY + 41 * A_DAY)
    signed_anew = with_past(done, with_past(attrs.evolve(ROW, state=State.READY), asked, at(41)), at(42))
    assert signed_anew.handed == DAY + 42 * A_DAY


@pytest.mark.parametrize(
    ("state", "said", "waits"),
    [
        (State.TO_SETTLE, "", "manager"),
        (State.FAILING, "", "rigger"),
        (State.FAILING, "parts", "parts"),
        (State.READY, "", "owner"),
        (State.IN_WORK, "", ""),
        (State.HANDED_OVER, "parts", ""),
    ],
)
def test_a_job_waits_for_whom_a_manager_said_else_by_its_state(state: State, said: str, waits: str) -> None:
    assert attrs.evolve(ROW, state=state.value, said_waiting=said).waiting_for == waits
