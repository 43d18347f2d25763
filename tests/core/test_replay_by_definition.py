"""Replay against its definition, written out from scratch and slowly: over random histories in random order."""

from __future__ import annotations

import random
from collections.abc import Collection, Iterable, Mapping
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import garboard
from examples import examples
from garboard.disk.entries import Entry, read_entry, view
from garboard.history import registers as registers_module
from garboard.history import shapes
from garboard.history.authoring import move_job, retract, same_boat, take_in
from garboard.history.boat import Boat, open_entries
from garboard.history.registers import ONLY_GROWING, RegisterKey, register_of
from garboard.history.replay import HullState, replay
from garboard.history.values import same_value
from garboard.job_files.job_file import parse_job_file
from garboard.records import JsonValue
from histories import HULL, JOBS, OTHER_HULLS, history, tablet, union

HULLS = (HULL, *OTHER_HULLS)
seeds = st.integers(0, 2**32)


def _shuffled(entries: Iterable[Entry], seed: int) -> list[Entry]:
    """In another order, some of them twice."""
    chance, again = random.Random(seed), list(entries)
    again += chance.sample(again, k=len(again) // 3)
    chance.shuffle(again)
    return again


def _heads(entries: Collection[Entry]) -> list[Entry]:
    replaced = {name for entry in entries for name in entry.replaces}
    return [entry for entry in entries if entry.id not in replaced]


def _said(entries: Collection[Entry]) -> list[Entry]:
    return [head for head in _heads(entries) if head.kind != "retract"]


def _joinings(entries: Iterable[Entry]) -> dict[str, str]:
    """The job each job is joined into, where exactly one job is named."""
    into: dict[str, set[object]] = {}
    for key, members in _grouped(entries, {}).items():
        if key.kind == "move" and key.subject == ("into",) and key.job:
            into[key.job] = {head.value["job"] for head in _said(members) if isinstance(head.value, dict)}
    return {job: str(*named) for job, named in into.items() if len(named) == 1}


def _whole(job: str, into: Mapping[str, str]) -> str:
    """Where joinings lead; in a ring, the least of the ring."""
    seen = [job]
    while seen[-1] in into:
        following = into[seen[-1]]
        if following in seen:
            return min(seen[seen.index(following) :])
        seen.append(following)
    return seen[-1]


def _grouped(entries: Iterable[Entry], into: Mapping[str, str]) -> dict[RegisterKey, list[Entry]]:
    """Entries this program understands by the register they are in, jobs joined as given."""
    found: dict[RegisterKey, list[Entry]] = {}
    for entry in entries:
        if entry.is_understood:
            key = register_of(entry)
            about_its_own_job = key.kind == "move" and key.subject[0] in ("from", "into")
            key = key if about_its_own_job else key._replace(job=_whole(key.job, into) if key.job else "")
            found.setdefault(key, []).append(entry)
    return found


def _agree(one: Entry, other: Entry) -> bool:
    """Of aliases and moves, the hull or the job counts, not the reason."""
    if one.kind in ("alias", "move"):
        plain = [{k: v for k, v in e.value.items() if k != "reason"} for e in (one, other) if isinstance(e.value, dict)]
        return plain[0] == plain[1]
    return same_value(one.value, other.value)


@settings(deadline=None, max_examples=examples(60))
@given(seeds)
def test_registers_hold_what_their_definition_says(seed: int) -> None:
    """Heads are the entries nobody replaced; one is current for each different value; unknown kinds are apart."""
    entries = union(history(seed)).values()
    state = replay(HULL, _shuffled(entries, seed))
    expected = _grouped(entries, _joinings(entries))
    assert state.registers.keys() == expected.keys()
    assert state.unknown.keys() == {entry.id for entry in entries if not entry.is_understood}
    for key, members in expected.items():
        assert set(state.heads(key)) == {head.id for head in _heads(members)}, key
        current, said = state.current(key), _said(members)
        assert all(any(_agree(one, head) for one in current) for head in said), key
        assert not any(_agree(one, other) for one in current for other in current if one is not other), key
        assert {one.id for one in current} <= {head.id for head in said}, key


@settings(deadline=None, max_examples=examples(60))
@given(seeds)
def test_a_view_shows_each_place_with_one_value_and_lists_each_with_several(seed: int) -> None:
    entries = union(history(seed)).values()
    state = replay(HULL, _shuffled(entries, seed))
    registers = _grouped(entries, _joinings(entries))
    for job in JOBS:
        whole = _whole(job, _joinings(entries))
        several, one = set[RegisterKey](), dict[tuple[str, ...], JsonValue]()
        for key, members in registers.items():
            values: list[Entry] = []
            for head in _said(members):
                values += [] if any(_agree(head, other) for other in values) else [head]
            if key.job == whole or key.kind == "field":
                if len(values) > 1 and key.kind not in ONLY_GROWING:
                    several.add(key)
                elif len(values) == 1 and key.kind == "measure" and key.job == whole:
                    one[key.subject] = values[0].value
        view = state.view(job)
        shown: dict[tuple[str, ...], JsonValue] = {(m.step, m.field, m.row, m.of): m.value for m in view.measurements}
        assert shown.keys() == one.keys()
        assert all(same_value(shown[place], one[place]) for place in one)
        assert set(state.disagreements(job)) == several
        assert len(view.disagreements) == len(several)


OF_A_REGISTER = "key entries head_ids misfits is_of_one_text heads current stated history unreadable"
OF_A_JOB = "view disagreements resolutions retractions stale coverage unreadable waiting hull_number_of moved_to parts"


def _told(entries: Iterable[Entry]) -> dict[str, object]:
    """Everything a state tells of these entries."""
    state = replay(HULL, entries)
    jobs = sorted({entry.job for entry in entries} | {*JOBS})
    of_registers = {
        key: {name: getattr(one, name) for name in OF_A_REGISTER.split()} for key, one in state.registers.items()
    }
    of_jobs = {job: {name: getattr(state, name)(job) for name in OF_A_JOB.split()} for job in jobs}
    of_all = [state.summary(), state.vessel(), state.jobs, state.aliases, state.moved_away, state.moved_from]
    return {"registers": of_registers, "jobs": of_jobs, "all": [*of_all, state.hull_number, [*state.unknown]]}


def _told_slowly(entries: Iterable[Entry]) -> dict[str, object]:
    """The same of entries that are each parsed and checked in full, with tables for every register."""
    with pytest.MonkeyPatch.context() as patch:
        for module in (registers_module, shapes):
            patch.setattr(module, "is_reading", lambda entry: False)
        return _told([read_entry(entry.raw) for entry in entries])


@settings(deadline=None, max_examples=examples(30))
@given(seeds)
def test_a_register_of_one_plain_reading_tells_what_its_tables_would(seed: int) -> None:
    """Signatures, retractions, joined and moved jobs among them; entries come in another order, in part, or twice."""
    entries = _shuffled(union(history(seed)).values(), seed)
    for some in (entries, entries[::2], _shuffled(_of(_boats(seed), HULL), seed)):
        assert _told([view(entry.id, entry.raw) for entry in some]) == _told_slowly(some)


@pytest.mark.parametrize("job", ["kittiwake", "long_reach", "saltgrass"])
def test_a_sample_job_tells_the_same_with_and_without_tables(job: str) -> None:
    state = HullState(HULL)
    file = Path(garboard.__file__).parents[2] / "sample_jobs" / job / "job.json"
    entries = take_in(tablet("a").author, state, parse_job_file(file.read_text(), job))
    assert sum(one.only is not None for one in state.registers.values()) > 20, "the quick way is taken"
    assert _told([view(entry.id, entry.raw) for entry in entries]) == _told_slowly(entries)


def _boats(seed: int) -> list[Entry]:
    """Jobs moved between three hulls, hulls said to be the same boat, and some of it taken back: all by one person."""
    chance, author, entries = random.Random(seed), tablet("office").author, list[Entry]()
    for number in range(chance.randint(3, 12)):
        here, there = (replay(hull, _of(entries, hull)) for hull in chance.sample(HULLS, 2))
        what = chance.choice(("measure", "measure", "move", "move", "same", "back"))
        if what == "measure":
            entries.append(
                author.write(here, "measure", ("dock", "horn", str(number), ""), True, job=chance.choice(JOBS))
            )
        elif what == "move":
            entries += move_job(author, here, there, chance.choice(JOBS), "wrong boat")
        elif what == "same" and chance.random() < 0.5:
            entries += same_boat(author, here, there, "one transom")
        elif what == "back":
            keys = sorted(key for key in here.registers if here.current(key) and key.kind in ("alias", "move"))
            entries += [retract(author, here, chance.choice(keys), "not so")] if keys else []
    return entries


def _of(entries: Iterable[Entry], hull: str) -> list[Entry]:
    return [entry for entry in entries if entry.hull_key == hull]


def _named(entries: Iterable[Entry], hulls: Collection[str], kind: str, subject: str, job: str = "") -> set[str]:
    """Hulls that the heads of some kind name, as written under any of these numbers."""
    members = [entry for entry in entries if entry.hull_key in hulls and entry.job == job]
    by_key = _grouped(members, {})
    said = [
        head
        for key, found in by_key.items()
        if key.kind == kind and (kind == "alias" or key.subject[0] == subject)
        for head in _said(found)
    ]
    return {str(head.value["hull"]) for head in said if isinstance(head.value, dict)}


def _same_boat(entries: Collection[Entry], hull: str) -> set[str]:
    """A hull number, and every number that aliases lead to."""
    reached, waiting = {hull}, [hull]
    while waiting:
        fresh = _named(entries, [waiting.pop()], "alias", "") - reached
        reached |= fresh
        waiting += fresh
    return reached


@settings(deadline=None, max_examples=examples(150))
@given(seeds)
def test_a_boat_is_its_aliases_and_the_jobs_moved_to_it(seed: int) -> None:
    """A job moves only where both hulls say so: the one it left, and the one it came to."""
    entries = _boats(seed)
    arrived = _shuffled(entries, seed)
    for hull in HULLS:
        boat = open_entries(lambda key: _of(arrived, key), hull)
        numbers = _same_boat(entries, hull)
        assert boat.state.hull_keys == numbers
        came = {
            (other, job)
            for job in JOBS
            for other in _named(entries, numbers, "move", "from", job) - numbers
            if _moved_to(entries, _same_boat(entries, other), job) in numbers
        }
        assert boat.moved_in.keys() == {job for _, job in came}
        assert boat.hulls == numbers.union(*(_same_boat(entries, other) for other, _ in came))
        _every_row_is_shown(boat, entries, {(number, job) for number in numbers for job in boat.state.jobs} | came)


def _moved_to(entries: Collection[Entry], numbers: Collection[str], job: str) -> str:
    """The hull a job left for; "" when it stayed, or two hulls are named."""
    named = _named(entries, numbers, "move", "to", job)
    return named.pop() if len(named) == 1 and not named & set(numbers) else ""


def _every_row_is_shown(boat: Boat, entries: Collection[Entry], written: Collection[tuple[str, str]]) -> None:
    """Every row measured of a job, under each of its numbers."""
    for job in boat.jobs:
        shown = {one.row for one in boat.view(job).measurements}
        under = {hull for hull, name in written if name == job}
        assert {e.subject[2] for e in entries if e.kind == "measure" and e.job == job and e.hull_key in under} <= shown


def test_these_boats_are_of_every_kind() -> None:
    """Else the test above would check nothing: aliases, jobs moved in, jobs moved away, and jobs in two parts."""
    met: set[str] = set()
    for seed in range(60):
        entries = _boats(seed)
        for hull in HULLS:
            boat = open_entries(lambda key, entries=entries: _of(entries, key), hull)  # type: ignore[misc]
            state: HullState = boat.state
            met |= {"alias"} if len(state.hull_keys) > 1 else set()
            met |= {"moved in" for one in boat.moved_in.values() if one.hull != hull}
            met |= {"in parts" for one in boat.moved_in.values() if one.hull == hull}
            met |= {"moved away" for job in JOBS if state.moved_to(job)}
    assert met == {"alias", "moved in", "in parts", "moved away"}
