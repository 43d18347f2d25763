"""Promise 4: nothing entered by a person is ever dropped by a merge; where two values disagree both are kept and
shown until a person chooses, and the choice is itself an entry."""

from __future__ import annotations

import random
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from examples import examples
from garboard.disk.entries import Entry
from garboard.disk.hullfile import HullFolder
from garboard.findings import NotEnoughData
from garboard.history.authoring import measure, settle
from garboard.history.merge import merge
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard.history.values import same_value
from garboard.records import fact_of
from histories import HULL, JOB, JOBS, history, tablet, union

STEP, FIELD = "prop_check.runs", "speed"
KEY = RegisterKey("measure", JOB, (STEP, FIELD, "1", ""))
seeds = st.integers(0, 2**32)


@settings(deadline=None, max_examples=examples(150))
@given(seeds)
def test_p4_every_entry_is_shown_or_was_replaced_by_someone_who_held_it(seed: int) -> None:
    """After any history, an entry that is not among what stands was replaced on a tablet that held it then."""
    tablets = history(seed)
    entries = union(tablets)
    held_when_writing = {name: held for one in tablets for name, held in one.held_when_writing.items()}
    state = replay(HULL, entries.values())
    replaced = {
        target
        for writer in entries.values()
        for target in writer.replaces
        if target in entries.keys() & held_when_writing[writer.id]
        and state.register_of(entries[target]) == state.register_of(writer)
    }
    for entry in entries.values():
        assert entry.id in replaced or _is_shown(entry, state), f"seed {seed}: {entry.kind} {entry.subject}"


def _is_shown(entry: Entry, state: HullState) -> bool:
    if not entry.is_understood:
        return entry.id in state.unknown
    register = state.registers[state.register_of(entry)]
    if entry.kind == "retract":
        return entry in register.history
    return any(same_value(entry.value, standing.value) for standing in register.current)


@settings(deadline=None, max_examples=15)
@given(seeds)
def test_p4_a_merge_drops_and_changes_no_byte(seed: int) -> None:
    """Every entry of every tablet is in the merged folder, byte for byte, and still on the tablet it came from."""
    tablets = history(seed)
    with tempfile.TemporaryDirectory() as where:
        for number, one in enumerate(tablets):
            with HullFolder(Path(where) / str(number)) as folder:
                folder.put_if_absent(HULL, one.held.values())
        with HullFolder(Path(where) / "shop") as shop:
            for number in [*random.Random(seed).choices(range(3), k=3), 0, 1, 2]:
                with HullFolder(Path(where) / str(number), read_only=True) as source:
                    merge([source], shop)
            assert shop.get(HULL) == {name: entry.raw for name, entry in union(tablets).items()}, f"seed {seed}"
        for number, one in enumerate(tablets):
            with HullFolder(Path(where) / str(number)) as folder:
                assert folder.ids(HULL) == one.held.keys(), f"seed {seed}"


@settings(deadline=None, max_examples=examples(150))
@given(seeds)
def test_p4_where_values_disagree_all_are_in_the_view_and_none_is_used(seed: int) -> None:
    """Measurements, vessel fields, step states and moves alike, after any history."""
    state = replay(HULL, union(history(seed)).values())
    for job in JOBS:
        view = state.view(job)
        keys = [key for key in state.disagreements(job) if key.job in ("", state.joined(job))]
        shown = [{value.id for value in one.values} for one in view.disagreements]
        assert sorted(map(sorted, shown)) == sorted(sorted(e.id for e in state.current(key)) for key in keys)
        for key in keys:
            if key.kind == "measure":
                step, field, row, of = key.subject
                assert view.find(step, field, row=row, of=of) is None
            elif key.kind == "step":
                assert view.state_of(key.subject[0]) == "to do"
            elif key.kind == "field":
                kind, name, fact = key.subject
                assert fact_of(view.vessel.of_kind(kind).get(name), fact) is None
            elif key[::2] == ("move", ("into",)):
                assert state.joined(key.job) == key.job
            else:
                assert key[::2] == ("move", ("to",))
                assert state.joined(job) in state.jobs


def test_p4_a_disagreement_lasts_through_merges_until_a_person_chooses_and_the_choice_is_an_entry(
    tmp_path: Path,
) -> None:
    """Calculators get neither value; the choice reaches every folder as an entry with who and why; nothing is gone."""
    one, two, office = tablet("a"), tablet("b"), tablet("office")
    values = [
        one.write(measure(one.author, one.state, JOB, STEP, FIELD, "30.0 kn", row="1")),
        two.write(measure(two.author, two.state, JOB, STEP, FIELD, "31.5 kn", row="1")),
    ]
    with HullFolder(tmp_path / "a") as a, HullFolder(tmp_path / "b") as b, HullFolder(tmp_path / "shop") as shop:
        a.save(values[0])
        b.save(values[1])
        for folders in (([a, b], shop), ([shop], a), ([shop], b), ([b, a], shop)):
            merge(*folders)
        for folder in (a, b, shop):
            _expect_neither_used(replay(HULL, folder.entries(HULL)), {"30.0 kn", "31.5 kn"})
        choice = settle(office.author, replay(HULL, shop.entries(HULL)), KEY, "31.5 kn", "the other run was downwind")
        shop.save(choice)
        merge([shop], a)
        merge([a], b)
        for folder in (a, b, shop):
            state = replay(HULL, folder.entries(HULL))
            assert state.view(JOB).amount(STEP, FIELD, "kn", row="1") == 31.5
            assert [entry.id for entry in state.registers[KEY].history][-1] == choice.id
            assert {entry.id for entry in state.registers[KEY].history} == {choice.id, *(entry.id for entry in values)}
    assert (choice.by, choice.more["reason"]) == ("tech office", "the other run was downwind")
    assert set(choice.replaces) == {entry.id for entry in values}


def _expect_neither_used(state: HullState, values: set[str]) -> None:
    view = state.view(JOB)
    asking = view.asking()
    asking.amount(STEP, FIELD, "kn", row="1")
    with pytest.raises(NotEnoughData, match="values disagree"):
        asking.check()
    ((place, shown),) = [(one.place, {value.value for value in one.values}) for one in view.disagreements]
    assert (place, shown) == ((STEP, FIELD, "1", ""), values)
