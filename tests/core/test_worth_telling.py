"""A merge's report of what is worth telling is the report of everything: over random histories that come in parts."""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from examples import examples
from garboard.disk.entries import Entry
from garboard.history import merge
from garboard.history.authoring import measure, retract, sign_off
from garboard.history.merge import HullMerge, judge
from garboard.history.registers import register_of
from garboard.history.replay import replay
from garboard.history.worth_telling import worth_telling
from garboard.hull_number import KnownNumbers
from garboard.records import JsonValue
from histories import DAY, HULL, JOBS, Tablet, tablet, union, with_other_clocks

seeds = st.integers(0, 2**32)


class _Folder:
    """The target of a merge, as far as a report reads it."""

    def __init__(self, entries: Iterable[Entry]) -> None:
        self.entries = {entry.id: entry.raw for entry in entries if entry.hull_key == HULL}

    def get(self, hull: str) -> Mapping[str, bytes]:
        return self.entries if hull == HULL else {}


def told(here: Iterable[Entry], came: Iterable[Entry]) -> HullMerge:
    received = {entry.id: entry.raw for entry in came}
    return judge(HULL, {HULL: received}, 0, _Folder(here), KnownNumbers([HULL]))  # type: ignore[arg-type]


def told_of_everything(here: Iterable[Entry], came: Iterable[Entry]) -> HullMerge:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(merge, "worth_telling", lambda entries, _received, _places: entries)
        return told(here, came)


def day_in_agreement(seed: int, moves: int = 30) -> list[Entry]:
    """Three tablets that mostly type the same values, hear of each other now and then, and sign often."""
    chance = random.Random(seed)
    tablets = [tablet("a"), tablet("b", DAY), tablet("c", -DAY)]
    for _ in range(moves):
        here, job = chance.choice(tablets), chance.choice((*JOBS, JOBS[0]))
        move = chance.random()
        if move < 0.65:
            typed(here, chance.choice("uvwxyz"), chance.choice(("30 kn",) * 19 + ("30.0 kn",)), job)
        elif move < 0.8:
            here.held.update(union(tablets))
        elif move < 0.97:
            here.held.update(union(tablets) if chance.random() < 0.7 else {})
            signed(here, job, "A. Wren")
        elif keys := sorted(here.state.registers):
            here.write(retract(here.author, here.state, chance.choice(keys), "wrong gauge"))
    tablets[0].held.update(union(tablets) if seed % 4 else {})
    return [*union(tablets).values(), *(signed(tablets[0], job, "A. Wren") for job in JOBS)]


@settings(max_examples=examples(45), deadline=None)
@given(seeds, seeds, st.floats(0, 1))
def test_the_report_is_that_of_every_entry(seed: int, parting: int, share: float) -> None:
    """`test_merge_report` does the same over boats in dispute, of which little can be left out."""
    chance = random.Random(parting)
    entries = day_in_agreement(seed)
    chance.shuffle(entries)
    here = [entry for entry in entries if chance.random() < share]
    came = [entry for entry in entries if entry not in here]
    assert told(here, came) == told_of_everything(here, came)


def test_of_boats_in_agreement_much_is_left_out() -> None:
    """Else the test above would compare a report with itself."""
    days = [day_in_agreement(seed) for seed in range(5)]
    assert sum(len(worth(entries)) for entries in days) < sum(map(len, days)) * 0.8


def typed(one: Tablet, fields: Iterable[str], value: str = "30 kn", job: str = JOBS[0]) -> list[Entry]:
    return [one.write(measure(one.author, one.state, job, "prop_check", field, value)) for field in fields]


def signed(one: Tablet, job: str = JOBS[0], by: str = "") -> Entry:
    return one.write(sign_off(one.author, one.state, job, "technician", by or one.author.by))


def worth(entries: Iterable[Entry], received: Iterable[Entry] = ()) -> set[str]:
    return set(worth_telling({one.id: one.raw for one in entries}, {one.id for one in received}))


def test_where_signatures_cover_everything_nothing_is_replayed() -> None:
    first, second = tablet("a"), tablet("b")
    entries = [*typed(first, "xyz"), *typed(second, "xyz"), signed(first), signed(second)]
    assert worth(entries) == set()
    assert told((), entries).stale == ()


def test_what_one_signature_misses_is_replayed_with_the_signatures_and_told() -> None:
    first, second = tablet("a"), tablet("b")
    common = [*typed(first, "xy"), *typed(second, "xy"), signed(first)]
    missed, last = typed(second, "z"), signed(second)
    entries = [*common, *missed, last]
    assert worth(entries) == {missed[0].id, common[-1].id, last.id}
    assert [names for _, names in told((), entries).stale] == [("prop_check/z",)]


def test_a_remark_in_the_same_words_and_an_entry_nobody_knows_are_told() -> None:
    """Two remarks are two, also in the same words; of what this program does not know nothing may be taken as said."""
    first, second = tablet("a"), tablet("b")
    signature = [*typed(first, "x"), signed(first)][-1]
    remarks = [second.write(second.author.write(second.state, "note", ("n",), "chafe", job=JOBS[0])) for _ in "ab"]
    unknown = second.write(second.author.write(second.state, "tag", ("t",), "bow", job=JOBS[0]))
    entries = [*first.held.values(), *remarks, unknown]
    assert worth(entries) == {signature.id, unknown.id, *(one.id for one in remarks)}
    ((_, names),) = told((), entries).stale
    assert names == told_of_everything((), entries).stale[0][1]
    assert len(names) == 2


def test_a_signature_that_missed_something_before_is_not_told_anew() -> None:
    """What covers it came only now; it misses another value all the same, as it did."""
    first, second, third = tablet("a"), tablet("b"), tablet("c")
    own, signature = typed(first, "x"), signed(first)
    same, other = typed(second, "x"), typed(third, "y")
    here, came = [*same, signature], [*own, *other]
    assert told(here, came) == told_of_everything(here, came)
    assert told(here, came).stale == ()


def test_jobs_are_named_in_the_order_they_were_opened() -> None:
    late, early = JOBS
    one, other = tablet("a"), tablet("b", DAY)
    entries = [*typed(one, "x", job=early), *typed(one, "x", job=late), signed(one, early), signed(one, late)]
    entries += [*typed(other, "z", job=late), *typed(other, "z", job=early)]
    assert [who.rpartition(" ")[2] for who, _ in told((), entries).stale] == [early, late]
    assert replay(HULL, entries).jobs == (early, late)


def test_a_signature_taken_back_by_a_clock_that_ran_behind_opens_no_job() -> None:
    late, early = JOBS
    one, other, behind = tablet("a"), tablet("b", DAY), tablet("c", -DAY)
    entries = [*typed(one, "x", job=early), *typed(one, "x", job=late), signed(one, early)]
    entries += [signed(one, late), taken_back := signed(one, early, "A. Wren")]
    behind.held = dict(one.held)
    entries.append(behind.write(retract(behind.author, behind.state, register_of(taken_back), "not he")))
    entries += [*typed(other, "z", job=late), *typed(other, "z", job=early)]
    assert told((), entries) == told_of_everything((), entries)


@pytest.mark.parametrize("seed", range(8))
def test_a_signature_stale_before_and_signed_again_is_told_by_no_clock(seed: int) -> None:
    """Of three in a row the second came last. A clock chose which of the others stood for them: it was told, or not."""
    signer, other = tablet("a"), tablet("b")
    three = [signed(signer) for _ in range(3)]
    entries = with_other_clocks({one.id: one for one in (*three, *typed(other, "u"))}, random.Random(seed))
    late = entries[three[1].id]
    assert told([one for one in entries.values() if one is not late], [late]).stale == ()


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("typed_in", JOBS[:2])
def test_of_signatures_over_jobs_that_are_joined_the_one_that_was_sound_is_told(typed_in: str, seed: int) -> None:
    """One was stale, and either may be the one that is shown for both."""
    signer, other = tablet("a"), tablet("b")
    both = [signed(signer, job, "A. Wren") for job in JOBS[:2]]
    reason: JsonValue = {"job": JOBS[1], "reason": "one piece of work"}
    join = signer.write(signer.author.write(signer.state, "move", ("into",), reason, job=JOBS[0]))
    entries = with_other_clocks(
        {one.id: one for one in (*both, join, *typed(other, "u", job=typed_in))}, random.Random(seed)
    )
    late = entries[join.id]
    ((who, names),) = told([one for one in entries.values() if one is not late], [late]).stale
    assert (who, len(names)) == (f"technician A. Wren, job {JOBS[1]}", 1)


@pytest.mark.parametrize("seed", range(4))
def test_of_signatures_over_joined_jobs_that_part_again_none_is_told_by_a_clock(seed: int) -> None:
    """Both were stale, and one stood for both while the jobs were joined."""
    signer, other = tablet("a"), tablet("b")
    both = [signed(signer, job, "A. Wren") for job in JOBS[:2]]
    reason: JsonValue = {"job": JOBS[1], "reason": "one piece of work"}
    join = signer.write(signer.author.write(signer.state, "move", ("into",), reason, job=JOBS[0]))
    back = signer.write(retract(signer.author, signer.state, register_of(join), "two pieces"))
    all_of_it = {one.id: one for one in (*both, join, *typed(other, "u"), back)}
    entries = with_other_clocks(all_of_it, random.Random(seed))
    late = entries[back.id]
    assert told([one for one in entries.values() if one is not late], [late]).stale == ()
