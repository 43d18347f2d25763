"""A merge's report is made from the entries it can come from; it is the one made by folding everything."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Collection, Sequence
from pathlib import Path

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import garboard.history.merge
from examples import examples
from garboard.commands.hulls import plain_report, readable_report
from garboard.disk.entries import Entry
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import measure, same_boat, sign_off
from garboard.history.boat import replay_with_aliases
from garboard.history.merge import MergeReport, merge
from garboard.history.registers import RegisterKey, name_of, register_of
from garboard.history.replay import HullState, replay
from garboard.history.values import member
from garboard.hosting.host import make_host
from garboard.hosting.titles import names_in_words
from histories import HULL, JOB, history, tablet, union

STEP, FIELD = "prop_check.runs", "speed"
OTHER = "QQZ04418D626"
seeds = st.integers(0, 2**32)


@attrs.frozen
class _Boat:
    """What a boat's entries say, folded from all of them; of stale sign-offs what is told of each."""

    state: HullState
    disagreeing: set[RegisterKey]
    stale: Sequence[tuple[Entry, tuple[str, tuple[str, ...]]]]

    def signed(self, sign_off: Entry) -> tuple[RegisterKey, frozenset[object]]:
        """Who signed, and for what: of two entries that say that, no clock decides which was stale before."""
        covers = member(sign_off.value, "covers")
        return self.state.register_of(sign_off), frozenset(covers if isinstance(covers, list) else ())


def _told(entries: Collection[Entry], hull: str) -> _Boat:
    state: HullState = replay_with_aliases(lambda key: [entry for entry in entries if entry.hull_key == key], hull)
    return _Boat(
        state,
        {key for key in state.registers if state.disagrees(key)},
        [
            (
                one.sign_off,
                (
                    f"{' '.join(one.sign_off.subject)}, job {job}",
                    tuple(sorted({name_of(register_of(entry)) for entry in one.not_covered})),
                ),
            )
            for job in state.jobs
            for one in state.stale(job)
        ],
    )


def _reported(before: Collection[Entry], received: Collection[Entry]) -> MergeReport:
    """The report of a merge, and its dry run's, which is the same."""
    with (
        tempfile.TemporaryDirectory() as where,
        HullFolder(Path(where) / "shop") as shop,
        HullFolder(Path(where) / "a") as source,
    ):
        for folder, entries in ((shop, before), (source, received)):
            for hull in {entry.hull for entry in entries}:
                folder.put_if_absent(hull, [entry for entry in entries if entry.hull == hull])
        planned, report = merge([source], shop, dry_run=True), merge([source], shop)
    assert planned.hulls == report.hulls
    return report


def _expect_what_folding_everything_says(before: Collection[Entry], received: Collection[Entry], remark: str) -> None:
    report = _reported(before, received)
    hulls = []
    for said in report.hulls:
        earlier = _told(before, said.hull)
        later = _told([*before, *received], said.hull)
        was_stale = {later.signed(sign_off) for sign_off, _ in earlier.stale}
        expected = attrs.evolve(
            said,
            disagreeing=tuple(sorted(later.disagreeing - earlier.disagreeing)),
            stale=tuple(words for sign_off, words in later.stale if later.signed(sign_off) not in was_stale),
        )
        hulls.append(expected if said.received else attrs.evolve(said, disagreeing=(), stale=()))
    whole = attrs.evolve(report, hulls=tuple(hulls))
    assert readable_report(report) == readable_report(whole), remark
    assert plain_report(report) == plain_report(whole), remark


_SOMETIMES_ABSENT = ("signoff", "retract", "move", "alias", "settled", "note", "step", "field", "shop_photo_tag")


@settings(deadline=None, max_examples=examples(200))
@given(seeds, st.floats(0, 1), st.booleans(), st.sets(st.sampled_from(_SOMETIMES_ABSENT)))
def test_a_report_says_what_folding_every_entry_before_and_after_says(
    seed: int, part: float, is_simple: bool, absent: set[str]
) -> None:
    """After any history, of which any part was here before; often of a hull where some kinds of entries are absent."""
    chance = random.Random(seed)
    absent |= {"move", "alias", "settled", chance.choice(["retract", "signoff"])} if is_simple else set()
    entries = [one for one in union(history(seed)).values() if ("settled" if one.more else one.kind) not in absent]
    before = [entry for entry in entries if chance.random() < part]
    received = [entry for entry in entries if entry not in before or chance.random() < 0.2]
    _expect_what_folding_everything_says(before, received, f"seed {seed}")


@settings(deadline=None, max_examples=examples(50))
@given(seeds)
def test_a_report_of_two_numbers_of_one_boat_says_what_folding_every_entry_says(seed: int) -> None:
    """Some of the boat under each number, with the statement that they are one here before, coming, or neither."""
    chance = random.Random(seed)
    author = tablet("a").author
    entries = [
        measure(
            author, HullState(hull), JOB, STEP, FIELD, f"{chance.randint(30, 32)} kn", row=str(chance.randint(1, 3))
        )
        for hull in (HULL, OTHER)
        for _ in range(4)
    ]
    if chance.random() < 0.7:
        entries += same_boat(author, HullState(HULL), HullState(OTHER), "one transom, read twice")
    if chance.random() < 0.5:
        entries.append(sign_off(author, replay(HULL, entries[:4]), JOB, "technician", "R. Vane"))
    before = [entry for entry in entries if chance.random() < 0.5]
    _expect_what_folding_everything_says(before, [one for one in entries if one not in before], f"seed {seed}")


def test_a_hull_where_every_place_has_one_value_is_not_folded_for_the_report(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is folded for a report is the one place with two values, of a hundred places."""
    author = tablet("a").author
    values = [measure(author, HullState(HULL), JOB, STEP, FIELD, "30 kn", row=str(row)) for row in range(100)]
    other = measure(tablet("b").author, HullState(HULL), JOB, STEP, FIELD, "31 kn", row="7")
    folded: list[str] = []

    def family_counting(held, hull):  # type: ignore[no-untyped-def]
        folded.extend(entry.id for entry in held(hull))
        return replay_with_aliases(held, hull)

    monkeypatch.setattr(garboard.history.merge, "replay_with_aliases", family_counting)
    (hull,) = _reported(values, [other]).hulls
    assert [key.subject[2] for key in hull.disagreeing] == ["7"]
    assert set(folded) == {values[7].id}


def test_what_a_merge_changed_after_signatures_is_told_once_by_title_the_first_few_alone(tmp_path: Path) -> None:
    """Typed anew on another tablet, what is the same on both changes nothing; the rest is named once for all."""
    a, b = tablet("a"), tablet("b")
    here, there = a.state, b.state
    for row in "123456":
        here.add(measure(a.author, here, JOB, STEP, FIELD, "30.0 kn", row=row))
        changed = "30.0 kn" if row == "1" else "31.5 kn"
        there.add(measure(b.author, there, JOB, STEP, FIELD, changed, row=row))
    for role, name in (("technician", "R. Vane"), ("owner", "E. Marlow")):
        here.add(sign_off(a.author, here, JOB, role, name))
    with HullFolder(tmp_path / "a") as one, HullFolder(tmp_path / "b") as other, HullFolder(tmp_path / "shop") as shop:
        for folder, state in ((one, here), (other, there)):
            for register in state.registers.values():
                for entry in register.entries.values():
                    folder.save(entry)
        report = merge([one, other], shop)
    told = readable_report(report, lambda names: names_in_words(names, make_host()))
    (line,) = [line for line in told.splitlines() if "stale" in line]
    assert {who for who in ("owner E. Marlow", "technician R. Vane") if who in line} == {
        "owner E. Marlow",
        "technician R. Vane",
    }
    assert line.endswith("; and 2 more")
    (hull,) = report.hulls
    assert {what for _, what in hull.stale} == {tuple(f"{STEP}/{FIELD}/{row}" for row in "23456")}


def test_a_boat_with_two_numbers_is_one_line_with_each_disagreement_once(tmp_path: Path) -> None:
    one, other = replay(HULL, []), replay(OTHER, [])
    first = measure(tablet("a").author, one, JOB, STEP, FIELD, "30.0 kn", row="1")
    second = measure(tablet("b").author, other, JOB, STEP, FIELD, "31.5 kn", row="1")
    with HullFolder(tmp_path / "a") as source, HullFolder(tmp_path / "shop") as shop:
        for entry in (first, second, *same_boat(tablet("a").author, one, other, "one transom")):
            source.save(entry)
        read = readable_report(merge([source], shop))
        again = readable_report(merge([source], shop))
    lines = [line for line in read.splitlines() if HULL in line or OTHER in line]
    assert lines == [f"  {HULL}, also {OTHER}: 4 new, 0 there already"]
    assert read.count("values disagree") == 1
    assert f"  {HULL}, also {OTHER}: 0 new, 4 there already" in again.splitlines()


def test_an_entry_that_several_sources_hold_is_there_once(tmp_path: Path) -> None:
    """The report said "85 there already" of a boat of 44 entries, two tablets having 42 and 43 of them."""
    first, second = (measure(tablet("a").author, replay(HULL, []), JOB, STEP, FIELD, "30 kn", row=r) for r in "12")
    with HullFolder(tmp_path / "a") as one, HullFolder(tmp_path / "b") as other, HullFolder(tmp_path / "s") as shop:
        for source, entries in ((one, (first,)), (other, (first, second))):
            for entry in entries:
                source.save(entry)
        told = [[(hull.received, hull.existing) for hull in merge([one, other], shop).hulls] for _ in range(2)]
    assert told == [[(2, 0)], [(0, 2)]]


def test_a_builders_next_boats_are_told_of_in_one_line_the_likeliest_first(tmp_path: Path) -> None:
    """Each of ten boats numbered one after the other looks like all others: ninety lines hid the letter O."""
    numbers = [f"QQZ{number:05d}A626" for number in range(4400, 4410)]
    written = [measure(tablet("a").author, HullState(hull), JOB, STEP, FIELD, "30 kn") for hull in numbers]
    typed = measure(tablet("b").author, HullState("QQZO4401A626"), JOB, STEP, FIELD, "31 kn")
    with HullFolder(tmp_path / "shop") as shop, HullFolder(tmp_path / "a") as source:
        shop.save(typed)
        for entry in written:
            source.save(entry)
        told = readable_report(merge([source], shop))
    assert told.count("looks like") == len(numbers)
    assert "looks like QQZO4401A626, QQZ04400A626, QQZ04402A626 and 7 more. One boat?" in told
