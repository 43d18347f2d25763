"""The tablets' clocks: order for people, whatever the wall clocks say."""

from __future__ import annotations

from datetime import datetime

from hypothesis import given
from hypothesis import strategies as st

from garboard.disk.clock import (
    FURTHEST_AHEAD,
    LARGEST_COUNTER,
    LAST_MILLISECOND,
    HybridClock,
    Stamp,
    after,
    latest_here,
    order_key,
    wall_text,
)
from garboard.disk.entries import LARGEST_INTEGER, make_entry

DAY = 24 * 60 * 60 * 1000
NOON = 1_778_752_800_000
STAMPS = st.builds(Stamp, st.integers(0, NOON + 2 * DAY), st.integers(0, 50))


class Wall:
    """A wall clock the test sets."""

    def __init__(self, milliseconds: int = NOON) -> None:
        self.milliseconds = milliseconds

    def __call__(self) -> int:
        return self.milliseconds


def test_a_stamp_tells_the_wall_time() -> None:
    """With nothing ahead of it, a stamp is the wall time with counter 0."""
    assert HybridClock(wall=Wall()).now() == Stamp(NOON, 0)


def test_two_stamps_in_one_millisecond_count_up() -> None:
    """The counter tells them apart."""
    clock = HybridClock(wall=Wall())
    assert [clock.now(), clock.now()] == [Stamp(NOON, 0), Stamp(NOON, 1)]


@given(st.lists(st.integers(-2 * DAY, 2 * DAY), min_size=2), STAMPS)
def test_stamps_never_run_backwards(jumps: list[int], last: Stamp) -> None:
    """Whatever the wall clock does, each stamp is later than the one before and than the last of yesterday."""
    wall = Wall()
    clock = HybridClock(last, wall)
    stamps = [last]
    for jump in jumps:
        wall.milliseconds = NOON + jump
        stamps.append(clock.now())
    assert stamps == sorted(set(stamps))


def test_a_stamp_comes_after_what_it_follows() -> None:
    """An entry written after reading another tablet's is shown after it."""
    clock = HybridClock(wall=Wall())
    seen = Stamp(NOON + FURTHEST_AHEAD, 3)
    assert clock.follow(seen)
    assert clock.now() > seen


@given(
    st.integers(0, LARGEST_INTEGER) | st.integers(NOON, NOON + FURTHEST_AHEAD),
    st.integers(0, 2) | st.integers(LARGEST_COUNTER - 2, LARGEST_COUNTER),
    st.booleans(),
)
def test_no_stamp_of_another_keeps_anybody_from_writing(milliseconds: int, counter: int, own: bool) -> None:
    """Whatever clock an entry carries, and under whichever tablet's name, whoever read it can still write one."""
    clock = HybridClock(wall=Wall())
    clock.follow(Stamp(milliseconds, counter), own=own)
    for _ in range(3):
        written = make_entry("note", "ABC00001A526", dev="a", by="b", clock=clock.now(), at="2026-05-14T09:30:00+02:00")
        assert written.clock >= Stamp(NOON, 0)


def test_a_tablet_follows_its_own_clock_to_the_last_time_there_is() -> None:
    clock = HybridClock(wall=Wall())
    assert not clock.follow(Stamp(LAST_MILLISECOND + 1, 0), own=True)
    assert clock.now() == Stamp(NOON, 0)
    assert clock.follow(Stamp(LAST_MILLISECOND, LARGEST_COUNTER), own=True)
    assert clock.now() == Stamp(LAST_MILLISECOND + 1, 0)


@given(st.integers(FURTHEST_AHEAD + 1, 400 * DAY))
def test_a_clock_far_ahead_is_not_followed(ahead: int) -> None:
    """One tablet a day ahead does not drag the others."""
    clock = HybridClock(wall=Wall())
    assert not clock.follow(Stamp(NOON + ahead, 0))
    assert clock.now() == Stamp(NOON, 0)


@given(st.lists(STAMPS), STAMPS)
def test_an_entry_is_shown_after_those_it_replaces(replaced: list[Stamp], own: Stamp) -> None:
    """Also when it was written by a tablet whose clock is behind."""
    key = order_key(own, replaced)
    assert key >= own
    assert all(key > other for other in replaced)


@given(STAMPS)
def test_an_entry_that_replaces_nothing_keeps_its_stamp(own: Stamp) -> None:
    """Its order key is its own stamp."""
    assert order_key(own, []) == own
    assert after(own) > own


def test_wall_time_carries_its_offset() -> None:
    """Wall time can be placed on the globe."""
    assert datetime.fromisoformat(wall_text()).tzinfo is not None


def test_the_latest_time_is_told_across_offsets() -> None:
    """Noon at four hours behind UTC is the latest of these, although the text of two others sorts after it."""
    times = ["2026-05-14T15:49:00+00:00", "2026-05-14T12:00:00-04:00", "2026-05-14T17:30:00+02:00", "noon"]
    here = datetime.fromisoformat(times[1]).astimezone()
    assert latest_here(times) == latest_here(reversed(times)) == f"{here:%Y-%m-%d %H:%M}"
