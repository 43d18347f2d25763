"""Promise 5: no merge decision depends on a wall clock being right."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

import attrs
from hypothesis import given, settings
from hypothesis import strategies as st

from examples import examples
from garboard.disk.entries import Entry
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import measure
from garboard.history.merge import HullMerge, merge
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard.records import JsonValue
from histories import DAY, HULL, JOB, JOBS, OTHER_HULLS, history, tablet, union, with_other_clocks

seeds = st.integers(0, 2**32)
STEP, FIELD = "prop_check.runs", "speed"


def decided(state: HullState, name_of: Mapping[str, str]) -> dict[str, object]:
    """All that a replay decides, with entries by name, so that two histories told by other clocks can be compared."""

    def names(ids: Iterable[str]) -> list[str]:
        return sorted(name_of[found] for found in ids)

    return {
        "heads": {key: names(register.head_ids) for key, register in state.registers.items()},
        "values": {key: sorted(map(_told, state.current(key))) for key in state.registers},
        "disagreements": [state.disagreements(job) for job in JOBS],
        "stale": sorted(
            [*stale.sign_off.subject, *names(entry.id for entry in stale.not_covered)]
            for job in JOBS
            for stale in state.stale(job)  # of two equal signatures the one shown first stands for both
        ),
        "struck": sorted(name_of[struck.entry.id] for job in JOBS for struck in state.retractions(job)),
        "coverage": [names(state.coverage(job)) for job in JOBS],
        "jobs": sorted(state.jobs),
        "moved": [state.moved_to(job) for job in JOBS],
        "joined": [state.joined(job) for job in JOBS],
        "aliases": state.aliases,
        "vessel": state.vessel(),
        "unknown": names(state.unknown),
    }


def _told(entry: Entry) -> str:
    value = entry.value
    return str({key: told for key, told in value.items() if key != "covers"} if isinstance(value, dict) else value)


def values_in(state: HullState) -> list[dict[tuple[str, ...], JsonValue]]:
    """What calculators get."""
    return [{(m.step, m.field, m.row, m.of): m.value for m in state.view(job).measurements} for job in JOBS]


@settings(deadline=None, max_examples=examples(200))
@given(seeds)
def test_p5_with_every_stamp_and_wall_time_made_up_anew_the_same_is_decided(seed: int) -> None:
    """The same facts told by other clocks, months off: same heads, values, disagreements, staleness, vessel."""
    entries = union(history(seed))
    again = with_other_clocks(entries, random.Random(seed))
    told, retold = replay(HULL, entries.values()), replay(HULL, again.values())
    one = decided(told, {name: name for name in entries})
    other = decided(retold, {entry.id: name for name, entry in again.items()})
    for what in one:
        assert one[what] == other[what], f"seed {seed}: {what}"
    assert values_in(told) == values_in(retold), f"seed {seed}"


@settings(deadline=None, max_examples=10)
@given(st.data(), seeds)
def test_p5_a_merge_reports_the_same_whatever_the_clocks_said(data: st.DataObject, seed: int) -> None:
    """Counts, what disagrees and which sign-offs went stale."""
    entries = union(history(seed))
    again = with_other_clocks(entries, random.Random(seed))
    names = sorted(entries)
    here = set(data.draw(st.lists(st.sampled_from(names), unique=True))) if names else set()
    assert _merged(entries, here) == _merged(again, here), f"seed {seed}"


def _merged(entries: Mapping[str, Entry], here: set[str]) -> list[HullMerge]:
    with (
        tempfile.TemporaryDirectory() as where,
        HullFolder(Path(where) / "shop") as shop,
        HullFolder(Path(where) / "tablet") as source,
    ):
        shop.put_if_absent(HULL, [entries[name] for name in sorted(here)])
        source.put_if_absent(HULL, entries.values())
        return [attrs.evolve(hull, stale=tuple(sorted(hull.stale))) for hull in merge([source], shop).hulls]


def test_p5_a_correction_stands_though_its_clock_says_it_came_a_day_before_what_it_corrects() -> None:
    """Who held what decides: the correcting tablet saw the value, whatever either clock said."""
    ahead, behind = tablet("a", DAY), tablet("b", -DAY)
    first = measure(ahead.author, ahead.state, JOB, STEP, FIELD, "30.0 kn", row="1")
    behind.write(first)
    second = measure(behind.author, behind.state, JOB, STEP, FIELD, "31.5 kn", row="1")
    assert second.clock < first.clock
    for entries in ([first, second], [second, first]):
        state = replay(HULL, entries)
        key = RegisterKey("measure", JOB, (STEP, FIELD, "1", ""))
        assert [entry.id for entry in state.current(key)] == [second.id]
        assert [entry.id for entry in state.registers[key].history] == [first.id, second.id]


def test_p5_a_later_stamp_wins_nothing_over_a_value_it_did_not_see() -> None:
    """Two days apart by the clock, both stand until a person chooses."""
    ahead, behind = tablet("a", DAY), tablet("b", -DAY)
    values = [
        measure(one.author, one.state, JOB, STEP, FIELD, value, row="1")
        for one, value in ((ahead, "30.0 kn"), (behind, "31.5 kn"))
    ]
    (one,) = replay(HULL, values).view(JOB).disagreements
    assert {value.value for value in one.values} == {"30.0 kn", "31.5 kn"}


def test_p5_the_histories_told_here_do_disagree_go_stale_and_move() -> None:
    """The comparisons above compare something: over a hundred histories every decision is met."""
    met: set[str] = set()
    for seed in range(100):
        state = replay(HULL, union(history(seed)).values())
        met |= {f"{key.kind} disagrees" for job in JOBS for key in state.disagreements(job)}
        met |= {"stale" for job in JOBS if state.stale(job)}
        met |= {"covers all" for job in JOBS for signed in state.view(job).sign_offs if not signed.stale}
        met |= {"struck" for job in JOBS if state.retractions(job)}
        met |= {"moved" for job in JOBS if state.moved_to(job) in OTHER_HULLS}
        met |= {"alias" for _ in state.aliases}
        met |= {"joined" for job in JOBS if state.joined(job) != job}
        met |= {"joined in a ring" for job in JOBS if _is_joined_in_a_ring(state, job)}
    kinds = {f"{kind} disagrees" for kind in ("measure", "field", "step", "move")}
    assert met == {*kinds, "stale", "covers all", "struck", "moved", "alias", "joined", "joined in a ring"}


def _is_joined_in_a_ring(state: HullState, job: str) -> bool:
    """Whether the job that another stands in was itself joined into one of those that stand in it."""
    whole = state.joined(job)
    said = [entry.value for entry in state.current(RegisterKey("move", whole, ("into",)))]
    return whole != job and any(isinstance(value, dict) and state.joined(str(value["job"])) == whole for value in said)
