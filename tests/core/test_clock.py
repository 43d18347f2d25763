"""The tablets' clocks: order for people, whatever the wall clocks say."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from garboard.disk.clock import (
    FURTHEST_AHEAD,
    LARGEST_COUNTER,
    LAST_MILLISECOND,
    HybridClock,
    Stamp,
    after,
    clock_mark,
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


SPELLINGS = [
    "%Y-%m-%dT%H:%M:%S+02:00",
    "%Y-%m-%dT%H:%M:%S.25+02:00",
    "%Y-%m-%d %H:%M+02:00",
    "%Y%m%dT%H%M%S+02:00",
    "%G-W%V-%uT%H:%M:%S+02:00",
    "%Y-%m-%dT%H%M%S.0+02:00",
    "%Y-%m-%dT%H:%M:%S+0200",
    "%Y-%m-%dt%H:%M:%S+02",
    "%Y-%m-%dT%H:%M:%SZ",
    "%Y-%m-%dT%H:%M:%Sz",
    "%Y-%m-%dT%H:%MZ",
]


@pytest.mark.parametrize("spelling", SPELLINGS)
@pytest.mark.parametrize("other", SPELLINGS)
def test_the_latest_time_is_told_however_others_spell_theirs(spelling: str, other: str) -> None:
    """The spellings of ISO 8601 and RFC 3339. Of two, the later is told, whichever text sorts behind the other."""
    behind = timedelta(hours=0 if spelling.upper().endswith("Z") else 2)
    later = datetime(2026, 5, 14, 9, 31)
    earlier = later - timedelta(minutes=1) + (timedelta(hours=0 if other.upper().endswith("Z") else 2) - behind)
    here = (later - behind).replace(tzinfo=UTC).astimezone()
    assert latest_here([f"{later:{spelling}}", f"{earlier:{other}}", "noon"]) == f"{here:%Y-%m-%d %H:%M}"
    assert not clock_mark(f"{later:{spelling}}")


def test_of_the_times_we_spell_the_latest_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many there are, one of each offset is."""
    read: list[str] = []

    def moment(at: str) -> datetime:
        read.append(at)
        return datetime.fromisoformat(at)

    monkeypatch.setattr("garboard.disk.clock._moment", moment)
    offsets = ("+02:00", "-04:00")
    latest_here([f"2026-05-14T09:{number:02}:{number:02}{offset}" for number in range(60) for offset in offsets])
    assert {*read} == {f"2026-05-14T09:59:59{offset}" for offset in offsets}
