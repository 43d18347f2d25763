"""Replay: what stands, what disagrees, what was taken back, which sign-offs went stale."""

from __future__ import annotations

import gc
import sys
from collections.abc import Callable, Sized
from functools import partial
from itertools import permutations
from pathlib import Path
from typing import Any, NoReturn

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from counted import calls_of
from examples import examples
from garboard.disk.bulk import makes_many
from garboard.disk.clock import Stamp
from garboard.disk.entries import Entry, make_entry
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.history import views
from garboard.history.authoring import Author, measure, move_job, retract, same_boat, settle, sign_off, take_in
from garboard.history.moves import target
from garboard.history.registers import Register, RegisterKey, register_of
from garboard.history.replay import HullState, replay
from garboard.history.sound import sound_whole
from garboard.history.values import alike, same_value
from garboard.job_files.job_file import parse_job_file
from garboard.records import JsonValue, Measurement
from garboard.units import Amount
from histories import HULL, JOB, JOBS, history, tablet, union

STEP, FIELD = "prop_check.runs", "speed"
KEY = RegisterKey("measure", JOB, (STEP, FIELD, "1", ""))
seeds = st.integers(0, 2**32)


def _measured(author: Author, state: HullState, value: str) -> Entry:
    entry = measure(author, state, JOB, STEP, FIELD, value, row="1")
    state.add(entry)
    return entry


def test_a_correction_replaces_what_it_saw_and_keeps_it_in_the_history() -> None:
    one = tablet("a")
    state = one.state
    first = _measured(one.author, state, "30.0 kn")
    second = _measured(one.author, state, "31.0 kn")
    assert [entry.id for entry in state.current(KEY)] == [second.id]
    assert [entry.id for entry in state.registers[KEY].history] == [first.id, second.id]


def test_two_tablets_that_did_not_see_each_other_disagree_and_neither_value_is_used() -> None:
    one, two = tablet("a"), tablet("b")
    state = replay(HULL, [_measured(one.author, one.state, "30.0 kn"), _measured(two.author, two.state, "31.0 kn")])
    view = state.view(JOB)
    assert view.amount(STEP, FIELD, "kn", row="1") is None
    assert {m.value for m in view.disagreements[0].values} == {"30.0 kn", "31.0 kn"}


def test_a_view_reads_how_far_a_step_is_once_for_each_entry(monkeypatch: pytest.MonkeyPatch) -> None:
    """A tablet makes a view after each value that is saved; a job has some forty steps."""
    read = list[str]()

    def counted(plain: Any, kind: type[Any]) -> Any:
        read.append(kind.__name__)
        return sound_whole(plain, kind)

    monkeypatch.setattr(views, "sound_whole", counted)
    author = tablet("a").author
    state = HullState(HULL)
    for number in range(40):
        state.add(author.write(state, "step", (f"prop_check.s{number}",), {"state": "done"}, job=JOB))
    first = state.view(JOB)
    assert (len(first.steps), read.count("StepState")) == (40, 40)
    _measured(author, state, "30.0 kn")
    state.add(author.write(state, "step", ("prop_check.s7",), {"state": "under way"}, job=JOB))
    second = state.view(JOB)
    assert read.count("StepState") == 41
    assert {one.state for one in second.steps if one.step == "prop_check.s7"} == {"under way"}
    assert second == replay(HULL, state._entries.values()).view(JOB)


def test_equal_values_from_two_tablets_agree() -> None:
    one, two = tablet("a"), tablet("b")
    state = replay(HULL, [_measured(one.author, one.state, "30.0 kn"), _measured(two.author, two.state, "30.00 kn")])
    assert state.disagreements(JOB) == ()
    assert state.view(JOB).amount(STEP, FIELD, "kn", row="1") == 30.0


def test_settling_replaces_every_value_and_a_late_edit_of_one_opens_it_again() -> None:
    one, two = tablet("a"), tablet("b")
    first, second = _measured(one.author, one.state, "30.0 kn"), _measured(two.author, two.state, "31.0 kn")
    late = measure(two.author, replay(HULL, [second]), JOB, STEP, FIELD, "31.2 kn", row="1")
    state = replay(HULL, [first, second])
    state.add(settle(one.author, state, KEY, "30.0 kn", "second run had the wind behind"))
    assert [entry.value for entry in state.current(KEY)] == ["30.0 kn"]
    state.add(late)
    assert {entry.value for entry in state.current(KEY)} == {"30.0 kn", "31.2 kn"}


def test_a_reading_that_was_chosen_keeps_the_instrument_it_was_made_with() -> None:
    one, two = tablet("a"), tablet("b")
    first = measure(one.author, one.state, JOB, STEP, FIELD, "30.0 kn", row="1", instrument="plotter")
    second = measure(two.author, two.state, JOB, STEP, FIELD, "31.0 kn", row="1")
    for value, instrument in (("30.0 kn", "plotter"), ("31.0 kn", ""), ("32.0 kn", "")):
        state = replay(HULL, [first, second])
        state.add(settle(one.author, state, KEY, value, "second run had the wind behind"))
        assert [one.instrument for one in state.view(JOB).measurements] == [instrument]


def test_settling_needs_a_reason_and_a_disagreement() -> None:
    one = tablet("a")
    state = one.state
    _measured(one.author, state, "30.0 kn")
    with pytest.raises(InputError, match="a disagreement"):
        settle(one.author, state, KEY, "30.0 kn", "sure")
    with pytest.raises(InputError, match="why"):
        settle(one.author, state, KEY, "30.0 kn", " ")


def test_a_value_taken_back_is_struck_with_its_reason_and_does_not_revive_what_it_replaced() -> None:
    one = tablet("a")
    state = one.state
    _measured(one.author, state, "30.0 kn")
    second = _measured(one.author, state, "31.0 kn")
    state.add(retract(one.author, state, KEY, "wrong boat"))
    assert state.current(KEY) == ()
    assert [(struck.entry.id, struck.reason) for struck in state.retractions(JOB)] == [(second.id, "wrong boat")]


def test_a_sign_off_goes_stale_by_name_when_something_new_arrives() -> None:
    one, two = tablet("a"), tablet("b")
    state = one.state
    _measured(one.author, state, "30.0 kn")
    state.add(sign_off(one.author, state, JOB, "technician", "R. Vane"))
    assert state.stale(JOB) == ()
    later = _measured(two.author, two.state, "31.0 kn")
    state.add(later)
    (stale,) = state.stale(JOB)
    assert [entry.id for entry in stale.not_covered] == [later.id]
    assert [signature.stale for signature in state.view(JOB).sign_offs] == [True]


@pytest.mark.parametrize(
    ("signed", "typed", "stale"),
    [
        ("30.0 kn", ["30.0 kn"], False),
        ("1.0 h", ["60 min"], False),
        ("30.0 kn", ["30.1 kn"], True),
        ("30.0 kn", ["30.0 kn", "31.0 kn"], True),
    ],
)
def test_a_sign_off_covers_a_value_typed_again_elsewhere_and_no_other(
    signed: str, typed: list[str], stale: bool
) -> None:
    one = tablet("a")
    state = one.state
    _measured(one.author, state, signed)
    signature = sign_off(one.author, state, JOB, "technician", "R. Vane")
    state.add(signature)
    again = [_measured(tablet(f"b{n}").author, HullState(HULL), value) for n, value in enumerate(typed)]
    for entry in again:
        state.add(entry)
    assert [one.stale for one in state.view(JOB).sign_offs] == [bool(state.stale(JOB))] == [stale]
    told = state.summary()
    assert isinstance(told, dict)
    missed = sorted(entry.id for entry in again)
    assert told["stale"] == [[signature.id, missed]], "digests of other versions go by entries"


def test_a_value_the_signer_saw_replaced_is_a_change_when_it_comes_back() -> None:
    one, two = tablet("a"), tablet("b")
    state = one.state
    for value in ("30.0 kn", "31.0 kn"):
        _measured(one.author, state, value)
    state.add(sign_off(one.author, state, JOB, "technician", "R. Vane"))
    back = measure(two.author, state, JOB, STEP, FIELD, "30.0 kn", row="1")
    state.add(back)
    assert [entry.id for (one_stale,) in [state.stale(JOB)] for entry in one_stale.not_covered] == [back.id]
    state.add(measure(two.author, state, JOB, STEP, FIELD, "31.0 kn", row="1"))
    assert state.stale(JOB) == (), "what was signed stands again"


def test_a_sign_off_over_a_disagreement_does_not_cover_the_choice_of_one_of_its_values() -> None:
    one = tablet("a")
    state = one.state
    _measured(one.author, state, "30.0 kn")
    state.add(_measured(tablet("b").author, HullState(HULL), "31.0 kn"))
    state.add(sign_off(one.author, state, JOB, "technician", "R. Vane"))
    assert state.stale(JOB) == ()
    state.add(measure(one.author, state, JOB, STEP, FIELD, "30.0 kn", row="1"))
    assert len(state.stale(JOB)) == 1
    state.add(_measured(tablet("c").author, HullState(HULL), "31.0 kn"))
    assert [len(stale.not_covered) for stale in state.stale(JOB)] == [], "both stand again, as they were signed"


def test_a_sign_off_covers_what_its_entries_replaced_even_when_that_arrives_last() -> None:
    one = tablet("a")
    state = one.state
    first, second = _measured(one.author, state, "30.0 kn"), _measured(one.author, state, "31.0 kn")
    signature = sign_off(one.author, state, JOB, "technician", "R. Vane")
    assert replay(HULL, [signature, second, first]).stale(JOB) == ()


def test_the_owners_signature_does_not_make_the_technicians_stale() -> None:
    one = tablet("a")
    state = one.state
    _measured(one.author, state, "30.0 kn")
    state.add(sign_off(one.author, state, JOB, "technician", "R. Vane"))
    state.add(sign_off(one.author, state, JOB, "owner", "E. Marlow"))
    assert state.stale(JOB) == ()


def test_a_sign_off_covers_a_vessel_field_that_another_job_replaced_before_it_was_signed() -> None:
    one = tablet("a")
    state = one.state
    first = one.author.write(state, "field", ("beam",), "8 ft", job=JOB)
    state.add(first)
    later = one.author.write(state, "field", ("beam",), "8.5 ft", job="job-2")
    state.add(later)
    signature = sign_off(one.author, state, JOB, "technician", "R. Vane")
    for entries in ([first, later, signature], [signature, later, first], [later, signature, first]):
        assert replay(HULL, entries).stale(JOB) == ()


def test_a_sign_off_does_not_cover_what_a_covered_entry_of_another_subject_claims_to_replace() -> None:
    one, two = tablet("a"), tablet("b")
    state = one.state
    elsewhere = measure(two.author, two.state, JOB, STEP, FIELD, "31 kn", row="2")
    claiming = one.author.write(state, "measure", KEY.subject, "30 kn", job=JOB, replaces=(elsewhere.id,))
    state.add(claiming)
    signature = sign_off(one.author, state, JOB, "technician", "R. Vane")
    for entries in ([claiming, signature, elsewhere], [elsewhere, signature, claiming]):
        (stale,) = replay(HULL, entries).stale(JOB)
        assert [entry.id for entry in stale.not_covered] == [elsewhere.id]


def test_two_signatures_of_one_person_stand_side_by_side_and_are_no_disagreement() -> None:
    one, two = tablet("a"), tablet("b")
    state, other = one.state, two.state
    _measured(one.author, state, "30.0 kn")
    signatures = [
        sign_off(author, s, JOB, "technician", "R. Vane") for author, s in ((one.author, state), (two.author, other))
    ]
    for signature in signatures:
        state.add(signature)
    assert state.disagreements(JOB) == ()
    assert len(state.view(JOB).sign_offs) == 2


def test_two_states_of_a_step_disagree_and_both_are_shown() -> None:
    one, two = tablet("a"), tablet("b")
    done, again = (
        each.author.write(HullState(HULL), "step", (STEP,), {"state": state}, job=JOB)
        for each, state in ((one, "done"), (two, "look again"))
    )
    view = replay(HULL, [done, again]).view(JOB)
    assert view.steps == ()
    ((place, values),) = [(d.place, {m.value for m in d.values}) for d in view.disagreements]
    assert (place, values) == ((STEP, "state", "", ""), {"done", "look again"})


def test_two_people_who_say_the_same_of_a_hull_for_other_reasons_agree() -> None:
    one, two = tablet("a"), tablet("b")
    right, wrong = HullState("QQZ04417D626"), HullState("QQZO4417D626")
    for author, reason in ((one.author, "letter for digit"), (two.author, "saw the transom")):
        right.add(author.write(right, "alias", (wrong.hull,), {"hull": wrong.hull, "reason": reason}, replaces=()))
        right.add(author.write(right, "move", ("to",), {"hull": "X1", "reason": reason}, job=JOB, replaces=()))
    assert right.aliases == (wrong.hull,)
    assert right.moved_to(JOB) == "X1"
    assert right.disagreements(JOB) == ()


def test_an_alias_leads_from_either_hull_to_the_other_and_is_undone_by_taking_it_back() -> None:
    one = tablet("a")
    right, wrong = HullState("QQZ04417D626"), HullState("QQZO4417D626")
    for state, entry in zip((right, wrong), same_boat(one.author, right, wrong, "letter for digit"), strict=True):
        state.add(entry)
    assert right.aliases == ("QQZO4417D626",)
    assert wrong.aliases == ("QQZ04417D626",)
    right.add(retract(one.author, right, RegisterKey("alias", "", ("QQZO4417D626",)), "two boats after all"))
    assert list(right.aliases) == []


def test_a_job_is_moved_to_its_hull_and_two_different_moves_leave_it_where_it_is() -> None:
    one, two = tablet("a"), tablet("b")
    here, there, elsewhere = HullState(HULL), HullState("QQZ04418D626"), HullState("QQZ04419D626")
    _measured(one.author, here, "30.0 kn")
    leaving, arriving = move_job(one.author, here, there, JOB, "typed on the wrong boat")
    other, _ = move_job(two.author, here, elsewhere, JOB, "typed on the wrong boat")
    here.add(leaving)
    there.add(arriving)
    assert here.moved_to(JOB) == there.hull
    assert here.jobs == ()
    assert there.moved_from == ((HULL, JOB),)
    assert there.jobs == ()
    here.add(other)
    assert here.moved_to(JOB) is None
    assert list(here.jobs) == [JOB]


JOB_FILE = """{"format": "garboard job", "version": 1, "job": {"id": "job-1", "owner": "E. Marlow"},
 "vessel": {"hull_number": "QQZ04417D626", "length": "19.50 ft", "engines": [
   {"position": "port", "gear_ratio": "1.85", "propeller": {"pitch": "19 in", "blades": 3}},
   {"position": "starboard"}],
   "networks": [{"name": "main", "devices": [{"name": "plotter", "load_equivalency": 9}]}]},
 "measurements": [{"step": "prop_check.runs", "field": "speed", "row": "1", "value": "30.0 kn", "by": "R. Vane"}],
 "steps": [{"step": "prop_check.runs", "state": "done"}],
 "notes": [{"text": "Chafe at the transom grommet", "punch_list": true}],
 "sign_offs": [{"role": "technician", "name": "R. Vane"}]}"""


def test_a_job_file_taken_in_gives_the_view_it_was_written_for_and_adds_nothing_twice() -> None:
    job_file = parse_job_file(JOB_FILE, "test")
    state, author = HullState(HULL), tablet("a").author
    assert take_in(author, state, job_file)
    view = state.view(JOB)
    assert view.vessel == job_file.vessel
    assert view.job == job_file.job
    assert view.amount(STEP, FIELD, "kn", row="1") == 30.0
    assert view.state_of("prop_check.runs") == "done"
    assert [note.text for note in view.notes] == ["Chafe at the transom grommet"]
    assert [(s.name, s.stale) for s in view.sign_offs] == [("R. Vane", False)]
    assert take_in(author, state, job_file) == []


def test_two_people_who_note_the_same_fault_in_the_same_words_wrote_two_notes() -> None:
    """In job files taken in one after the other, and taken in on two tablets that merge later."""
    files = [
        parse_job_file(JOB_FILE.replace('"punch_list": true', f'"punch_list": true, "by": "{name}"'), "test")
        for name in ("R. Vane", "A. Marsh")
    ]
    one_tablet, author = HullState(HULL), tablet("a").author
    apart = []
    for name, file in zip("ab", files, strict=True):
        take_in(author, one_tablet, file)
        apart += take_in(tablet(name).author, HullState(HULL), file)
    for state in (one_tablet, replay(HULL, apart)):
        assert [(note.text, note.by) for note in state.view(JOB).notes] == [
            ("Chafe at the transom grommet", "R. Vane"),
            ("Chafe at the transom grommet", "A. Marsh"),
        ]
    assert take_in(author, one_tablet, files[0]) == take_in(author, one_tablet, files[1]) == []


def test_a_job_file_settles_no_disagreement_and_its_signature_covers_only_what_stands_in_it() -> None:
    one, two = tablet("a"), tablet("b")
    seen_by_nobody = measure(one.author, HullState(HULL), JOB, STEP, FIELD, "33.0 kn", row="9")
    values = [_measured(one.author, one.state, "29.0 kn"), _measured(two.author, two.state, "31.0 kn")]
    state = replay(HULL, [*values, seen_by_nobody])
    take_in(one.author, state, parse_job_file(JOB_FILE, "test"))
    assert {entry.value for entry in state.current(KEY)} == {"29.0 kn", "30.0 kn", "31.0 kn"}
    (stale,) = state.stale(JOB)
    assert {entry.id for entry in stale.not_covered} == {*(entry.id for entry in values), seen_by_nobody.id}


@pytest.mark.parametrize(
    ("kind", "subject", "value"),
    [
        ("measure", KEY.subject, "29.0 kn"),
        ("field", ("length",), "19.60 ft"),
        ("step", (STEP,), {"state": "look again"}),
        ("job", ("owner",), "E. Marlowe"),
    ],
)
def test_a_job_file_replaces_no_value_its_writer_may_not_have_seen(
    kind: str, subject: tuple[str, ...], value: JsonValue
) -> None:
    """One value stands that differs from the file's: both stand, neither is used; taken in again, nothing is added."""
    author = tablet("a").author
    state = HullState(HULL)
    here = author.write(state, kind, subject, value, job=JOB)
    state.add(here)
    take_in(author, state, parse_job_file(JOB_FILE, "test"))
    key = register_of(here)
    assert here.id in {entry.id for entry in state.current(key)}
    assert state.disagrees(key)
    assert take_in(author, state, parse_job_file(JOB_FILE, "test")) == []


def test_a_value_changed_in_an_exported_file_replaces_the_one_it_was_exported_as_and_no_other() -> None:
    """The exported value carries its entry's id: whoever changed it saw that one, and what agrees with it."""
    one, two = tablet("a"), tablet("b")
    seen, agreeing = _measured(one.author, one.state, "29.0 kn"), _measured(two.author, two.state, "29.00 kn")
    exported = JOB_FILE.replace('"30.0 kn", "by"', f'"30.0 kn", "id": "{seen.id}", "by"')
    state = replay(HULL, [seen, agreeing])
    take_in(one.author, state, parse_job_file(exported, "test"))
    assert [entry.value for entry in state.current(KEY)] == ["30.0 kn"]

    later = measure(two.author, replay(HULL, [seen, agreeing]), JOB, STEP, FIELD, "33 kn", row="1")
    state = replay(HULL, [seen, agreeing, later])
    take_in(one.author, state, parse_job_file(exported, "test"))
    assert {entry.value for entry in state.current(KEY)} == {"30.0 kn", "33 kn"}


def test_a_job_file_taken_in_again_brings_back_nothing_that_was_taken_back_or_corrected_since() -> None:
    dated = parse_job_file(JOB_FILE.replace('"30.0 kn", ', '"30.0 kn", "at": "2026-05-14T09:30:00+02:00", '), "test")
    author, taken_back, corrected = tablet("a").author, HullState(HULL), HullState(HULL)
    for state in (taken_back, corrected):
        take_in(author, state, dated)
    taken_back.add(retract(author, taken_back, KEY, "the wrong boat"))
    corrected.add(_measured(author, corrected, "33.0 kn"))
    assert take_in(author, taken_back, dated) == take_in(author, corrected, dated) == []
    assert taken_back.current(KEY) == ()
    assert [entry.value for entry in corrected.current(KEY)] == ["33.0 kn"]


def test_a_job_file_signed_anew_after_a_change_is_taken_in_with_its_new_signature() -> None:
    def signed(value: str, day: int) -> str:
        stamp = f'"name": "R. Vane", "at": "2026-05-{day}T09:30:00+02:00"'
        return JOB_FILE.replace('"30.0 kn"', f'"{value}"').replace('"name": "R. Vane"', stamp)

    author, state = tablet("a").author, HullState(HULL)
    take_in(author, state, parse_job_file(signed("30.0 kn", 14), "test"))
    take_in(author, state, parse_job_file(signed("31.0 kn", 15), "test"))
    new = next(entry for entry in state.current(KEY) if entry.value == "31.0 kn")
    not_covered = {one.sign_off.at[:10]: new in one.not_covered for one in state.stale(JOB)}
    assert not_covered == {"2026-05-14": True, "2026-05-15": False}
    assert take_in(author, state, parse_job_file(signed("31.0 kn", 15), "test")) == []


@pytest.mark.parametrize(
    ("kind", "subject", "value"),
    [
        ("step", (STEP,), {"state": "a state of a later version"}),
        ("note", ("n",), {"remark": "no text"}),
        ("signoff", ("owner", "E. Marlowe"), {"role": "owner"}),
        ("field", ("hull_number",), 5),
        ("field", ("engines", "port", "position"), 5),
    ],
)
def test_a_value_this_version_cannot_read_hides_nothing_else(
    kind: str, subject: tuple[str, ...], value: JsonValue
) -> None:
    author, state = tablet("a").author, HullState(HULL)
    state.add(_measured(author, state, "30.0 kn"))
    state.add(author.write(state, kind, subject, value, job=JOB))
    view = state.view(JOB)
    assert view.amount(STEP, FIELD, "kn", row="1") == 30.0
    assert view.vessel.hull_number == HULL


def test_a_joining_that_names_no_job_of_its_own_leaves_the_vessel_where_it_is() -> None:
    author, state = tablet("a").author, HullState(HULL)
    state.add(author.write(state, "field", ("length",), "19.60 ft"))
    state.add(author.write(state, "move", ("into",), {"job": JOB, "reason": "from elsewhere"}))
    state.add(_measured(author, state, "30.0 kn"))
    state.add(sign_off(author, state, "", "technician", "R. Vane"))
    assert state.view(JOB).vessel.length == Amount("19.60", "ft")
    assert state.stale(JOB) == ()


def test_fields_whose_paths_cross_give_one_vessel_whichever_was_written_first() -> None:
    author = tablet("a").author
    place, object_in_its_way = ("engines", "port", "gear_ratio"), ("engines", "port")
    vessels = []
    for paths in ((place, object_in_its_way), (object_in_its_way, place)):
        entries = [
            author.write(HullState(HULL), "field", path, {"gear_ratio": "2"} if path != place else "1.85")
            for path in paths
        ]
        vessels.append(replay(HULL, entries).vessel()[0])
        assert [entry.value for entry in entries if entry.subject == object_in_its_way] == [{"gear_ratio": "2"}]
    assert vessels[0] == vessels[1]
    assert [engine.gear_ratio for engine in vessels[0].engines] == [Amount.parse("1.85")]


def test_one_bad_field_does_not_hide_the_vessel() -> None:
    state, author = HullState(HULL), tablet("a").author
    state.add(author.write(state, "field", ("length",), "19.5 ft"))
    state.add(author.write(state, "field", ("beam",), "8 kg"))
    state.add(author.write(state, "field", ("engines", "port", "rated_power"), "many"))
    vessel, faults = state.vessel()
    assert str(vessel.length) == "19.5 ft"
    assert vessel.beam is None
    assert [piece.position for piece in vessel.engines] == ["port"]
    assert [fault.where for fault in faults] == ["beam", "engines[0].rated_power"]


def test_values_are_the_same_when_number_and_unit_are() -> None:
    assert same_value("30.0 kn", "30.00 kn")
    assert not same_value("30.0 kn", "30.0 mph")
    assert not same_value(True, 1)
    assert same_value({"a": 1}, {"a": 1})
    assert not same_value({"a": 1}, {"a": True})


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("1.0 h", "60 min", True),
        ("55 gal", "208.19764812 L", True),
        ("16.0 degC", "60.8 degF", True),
        ("0 kn", "0.0 mph", True),
        ("38.2 kn", "43.96 mph", False),  # 43.9597: rounded on the way, so nobody knows what was read
        ("21.1 degC", "70 degF", False),
        ("90 s", "90 m", False),
        ("60", "60 min", False),
        ("1 h", "60 minutes of it", False),
        ("9" * 400 + " h", "8" * 402 + " min", False),
    ],
)
def test_equal_amounts_in_two_units_are_one_value(one: str, other: str, same: bool) -> None:
    assert same_value(one, other) == same_value(other, one) == same


@pytest.mark.parametrize(
    ("texts", "finest"),
    [
        (("63 degF", "17.2 degC"), "17.2 degC"),
        (("25 gal", "95 L"), "95 L"),
        (("63 degF", "17.4 degC"), None),  # 63.3 degF: they differ by a digit typed
        (("2 h", "100 min"), None),
        (("17 degC", "17.2 degC"), None),  # one unit: nothing was rounded on the way
        (("63 degF", "17.2 degC", "17.22 degC"), None),  # two of them differ in one unit, whichever came first
    ],
)
def test_a_reading_typed_in_two_units_agrees_as_far_as_its_digits_go(
    texts: tuple[str, ...], finest: str | None
) -> None:
    entries = [_measured(tablet(f"t{n}").author, HullState(HULL), text) for n, text in enumerate(texts)]
    found = set()
    for some in permutations(entries):
        state = replay(HULL, some)
        found.add(frozenset(entry.value for entry in state.current(state.register_of(some[0]))))
    assert found == {frozenset([finest])} if finest else (len(found) == 1 and len(found.pop()) > 1)


def test_readings_of_one_amount_in_two_units_do_not_disagree_and_the_finest_is_used() -> None:
    hands = [tablet(name) for name in "abc"]
    texts = ("1.0 h", "60 min", "60.0 min")  # to 6 min, to 1 min, to 0.1 min
    entries = [_measured(hand.author, hand.state, text) for hand, text in zip(hands, texts, strict=True)]
    for count, finest in ((2, "60 min"), (3, "60.0 min")):
        for some in permutations(entries[:count]):
            state = replay(HULL, some)
            assert state.disagreements(JOB) == ()
            assert [entry.value for entry in state.current(state.register_of(some[0]))] == [finest]
    other = _measured(tablet("d").author, HullState(HULL), "61 min")
    assert len(replay(HULL, [*entries, other]).disagreements(JOB)) == 1


@settings(deadline=None, max_examples=examples(60))
@given(seeds)
def test_a_sign_off_is_stale_exactly_when_something_is_not_covered(seed: int) -> None:
    entries = union(history(seed))
    state = replay(HULL, entries.values())
    stale = {staleness.sign_off.id for job in JOBS for staleness in state.stale(job)}
    for key in [key for key in state.registers if key.kind == "signoff"]:
        for signature in state.current(key):
            assert (signature.id in stale) == bool(_not_covered(signature, state, entries)), f"seed {seed}"


def _not_covered(signature: Entry, state: HullState, entries: dict[str, Entry]) -> set[str]:
    """By the definition, from scratch: everything in the job less what is covered, step by step."""
    assert isinstance(signature.value, dict)
    covers = signature.value["covers"]
    assert isinstance(covers, list)
    covered = {str(found) for found in covers}
    while True:
        more = {
            target
            for found in covered & entries.keys()
            for target in entries[found].replaces
            if target in entries and state.register_of(entries[target]) == state.register_of(entries[found])
        } - covered
        if not more:
            break
        covered |= more
    in_the_job = [one for one in entries.values() if one.job and state.joined(one.job) == state.joined(signature.job)]
    told_by_what_they_bring = ("move", ("into",))
    by_entries = {
        one.id
        for one in in_the_job
        if register_of(one).kind != "signoff" and register_of(one)[::2] != told_by_what_they_bring
    } - covered
    there = {name: state.register_of(entries[name]) for name in by_entries}
    return {
        name
        for name, key in there.items()
        if name not in state.register(key).entries or not _stands_as_signed(key, state, covered)
    }


def _stands_as_signed(key: RegisterKey, state: HullState, covered: set[str]) -> bool:
    """Whether what stands in a register is, value for value, what stood there of what a signature covers."""
    seen = [entry for entry in state.register(key).entries.values() if entry.id in covered]
    signed = Register(key)
    for entry in seen:
        signed.add(entry)
    said = [[*map(_said, one.heads)] for one in (signed, state.register(key))]
    return bool(seen) and all(
        any(alike(value, other) for other in there)
        for here, there in (said, said[::-1])
        for value in here
        if value is not None
    )


def _said(entry: Entry) -> JsonValue:
    if entry.kind in ("alias", "move"):
        return target(entry)
    if entry.kind == "note":
        return [entry.by, entry.at, entry.value]
    return None if entry.kind == "retract" else entry.value


@settings(deadline=None, max_examples=examples(60))
@given(seeds)
def test_an_entry_is_never_shown_before_one_it_replaces(seed: int) -> None:
    state = replay(HULL, union(history(seed)).values())
    for register in state.registers.values():
        shown = [entry.id for entry in register.history]
        for entry in register.entries.values():
            for replaced in entry.replaces:
                assert replaced not in register.entries or shown.index(replaced) < shown.index(entry.id), f"seed {seed}"


def _containers(state: HullState) -> dict[str, Sized]:
    """Every table of a state that grows with every entry that has a place of its own."""
    (job,) = state._jobs.values()
    return {
        "entries": state._entries,
        "registers": state.registers,
        "what a signature covers": job.scope.entries,
    }


@pytest.mark.parametrize("entries", [100, 1_000, 10_000])
def test_while_a_history_doubles_each_entry_is_moved_in_memory_at_most_twice(entries: int) -> None:
    """The calls of adding one are the same at any length; inside them a table that is full moves to a larger one.

    A table moves seldom and then whole, so that one entry may cost much more than the next. Over as many entries as
    there were before it comes out even: at most two moves an entry and table, however long the history is.
    """
    author, state = tablet("a").author, HullState(HULL)
    moved = dict.fromkeys(("entries", "registers", "what a signature covers"), 0)
    sizes: dict[str, int] = {}
    for number in range(2 * entries):
        state.add(measure(author, state, JOB, STEP, FIELD, "1 kn", row=str(number)))
        for name, table in _containers(state).items():
            size = sys.getsizeof(table)
            if number >= entries and size != sizes[name]:
                moved[name] += len(table)
            sizes[name] = size
    assert moved["entries"] > 0, "a table was full at least once, so the count counts"
    assert max(moved.values()) <= 2 * entries, moved


def _open_job_after(entries: int, *, signed: bool) -> tuple[HullState, Author]:
    """A job of twenty places measured again and again, perhaps signed halfway, with a disagreement and a field."""
    author = tablet("a").author
    state = HullState(HULL)
    state.add(author.write(state, "field", ("beam",), "8 ft", job=JOB))
    for number in range(entries):
        state.add(measure(author, state, JOB, STEP, FIELD, f"{number}.5 kn", row=str(number % 20)))
        if signed and number == entries // 2:
            state.add(sign_off(author, state, JOB, "technician", "R. Vane"))
    for value in ("1 kn", "2 kn"):
        state.add(measure(author, HullState(HULL), JOB, STEP, "other", value))
    state.view(JOB)
    return state, author


@pytest.mark.parametrize("entries", [1_000, 10_000])
def test_adding_an_entry_to_an_open_job_is_the_same_work_at_any_length_of_history(entries: int) -> None:
    """Against 100 entries of history, a signature among them: a correction, a new value, a retraction."""
    _work_of_adding(100)  # an amount is read the first time it is met, and known from then on
    assert _work_of_adding(entries) == _work_of_adding(100)


def _work_of_adding(entries: int) -> list[int]:
    state, author = _open_job_after(entries, signed=True)
    correction = measure(author, state, JOB, STEP, FIELD, "99.5 kn", row="7")
    new = measure(author, state, JOB, STEP, "trim", "3 deg")
    retraction = retract(author, state, RegisterKey("measure", JOB, (STEP, FIELD, "8", "")), "wrong boat")
    work = []
    for entry in (correction, new, retraction):
        work += [calls_of(partial(state.add, entry)), calls_of(partial(state.current, register_of(entry)))]
    return work


@pytest.mark.parametrize("entries", [1_000, 10_000])
def test_looking_at_an_open_job_again_is_the_same_work_at_any_length_of_history(entries: int) -> None:
    """Against 100 entries of history: the view after one more entry, the list of disagreements, and of jobs."""
    assert _work_of_looking(entries) == _work_of_looking(100)


def _work_of_looking(entries: int) -> list[int]:
    state, author = _open_job_after(entries, signed=False)
    state.add(measure(author, state, JOB, STEP, FIELD, "99.5 kn", row="7"))
    looks: list[Callable[[], object]] = [
        partial(state.view, JOB),
        partial(state.disagreements, JOB),
        lambda: state.jobs,
    ]
    return [calls_of(look) for look in looks]


def test_a_view_after_one_more_value_makes_that_one_measurement(monkeypatch: pytest.MonkeyPatch) -> None:
    """The others are the objects of the view before; so a tablet saves to the next field in a third less time."""
    author, state = tablet("a").author, HullState(HULL)
    for row in range(30):
        state.add(measure(author, state, JOB, STEP, FIELD, f"{row} kn", row=str(row)))
    before = state.view(JOB)
    made = list[Entry]()
    make = views._measurement

    def counted(entry: Entry) -> Measurement:
        made.append(entry)
        return make(entry)

    monkeypatch.setattr(views, "_measurement", counted)
    more = measure(author, state, JOB, STEP, FIELD, "99 kn", row="7")
    state.add(more)
    after = state.view(JOB)
    assert made == [more]
    assert [one.value for one in after.measurements if one.row == "7"] == ["99 kn"]
    assert len({*map(id, before.measurements)} & {*map(id, after.measurements)}) == 29
    assert after == replay(HULL, state._entries.values()).view(JOB)


def test_python_looks_for_garbage_only_after_a_long_history_is_opened_and_viewed(tmp_path: Path) -> None:
    """There is none among what is made; over 100 000 values the looking took a third of the time."""
    author, empty = tablet("a").author, HullState(HULL)
    with HullFolder(tmp_path) as folder:
        folder.put_if_absent(
            HULL, [measure(author, empty, JOB, STEP, FIELD, "1 kn", row=str(row)) for row in range(1_000)]
        )
    looked = list[str]()
    gc.callbacks.append(lambda phase, _told: looked.append(phase))
    try:
        with HullFolder(tmp_path, read_only=True) as folder:
            entries = folder.entries(HULL)
            gc.collect()
            del looked[:]
            state = replay(HULL, entries)
            view = state.view(JOB)
    finally:
        gc.callbacks.pop()
    assert len(view.measurements) == 1_000
    assert looked.count("start") <= 2, "once after each of the two"


def test_an_entry_that_is_added_waits_for_no_search_through_what_was_opened_and_viewed() -> None:
    """Python counts what it made meanwhile: the first save after it would go through all of it for garbage."""
    author, empty = tablet("a").author, HullState(HULL)
    entries = [measure(author, empty, JOB, STEP, FIELD, "1 kn", row=str(row)) for row in range(500)]
    gone_through = list[int]()

    def look(phase: str, told: dict[str, int]) -> None:
        if phase == "start":
            gone_through.append(sum(len(gc.get_objects(young)) for young in range(told["generation"] + 1)))

    usual = gc.get_threshold()
    gc.set_threshold(20, 10, 10)  # so that few entries are many
    gc.collect()
    state = replay(HULL, entries[:-100])
    state.view(JOB)
    gc.callbacks.append(look)
    try:
        for entry in entries[-100:]:
            state.add(entry)
    finally:
        gc.callbacks.remove(look)
        gc.set_threshold(*usual)
    assert gone_through
    assert max(gone_through) < 400, "fewer objects than entries were replayed"


@pytest.mark.parametrize("is_on", [True, False])
def test_what_makes_many_leaves_the_search_for_garbage_as_it_was(is_on: bool) -> None:
    """Also where it fails, and where one such work calls another."""
    found = list[bool]()

    @makes_many
    def within() -> None:
        found.append(gc.isenabled())

    @makes_many
    def fails() -> None:
        within()
        found.append(gc.isenabled())
        raise KeyError

    (gc.enable if is_on else gc.disable)()
    try:
        with pytest.raises(KeyError):
            fails()
        found.append(gc.isenabled())
    finally:
        gc.enable()
    assert found == [False, False, is_on]


class _NeverGoneThrough(dict[RegisterKey, Register]):
    def __iter__(self) -> NoReturn:
        raise AssertionError("every register of the boat is gone through")


def test_looking_at_one_job_goes_through_no_register_of_the_others() -> None:
    state, author = HullState(HULL), tablet("a").author
    for job in (JOB, *map(str, range(20))):
        state.add(measure(author, state, job, STEP, FIELD, "31 kn"))
    state.add(author.write(state, "field", ("model",), "Skerry 23"))
    seen = state.view(JOB)
    state.registers = _NeverGoneThrough(state.registers)
    assert state.view(JOB) == seen
    assert (len(seen.measurements), seen.vessel.model) == (1, "Skerry 23")


def test_opening_and_viewing_a_hull_is_the_same_work_an_entry_however_many_values_it_has() -> None:
    """Values of rows of their own: what cannot be read is looked for in each, and only what was found is sorted."""

    def calls_each(values: int) -> float:
        author = tablet("a").author
        empty = HullState(HULL)
        entries = [measure(author, empty, JOB, STEP, FIELD, "1 kn", row=str(number)) for number in range(values)]
        opened = replay(HULL, entries)
        opening = calls_of(lambda: replay(HULL, entries))
        return (opening + calls_of(lambda: opened.view(JOB))) / values

    assert calls_each(2_000) <= 1.01 * calls_each(400)


@pytest.mark.parametrize("by", ["R. Vane", "Zoë"])
def test_a_plain_reading_is_opened_replayed_and_viewed_in_few_calls_and_few_objects(tmp_path: Path, by: str) -> None:
    """Nearly all entries of a boat are such. As JSON, with tables for each place, they were 166 and 14."""
    author, empty, values = attrs.evolve(tablet("a").author, by=by), HullState(HULL), 500
    with HullFolder(tmp_path) as folder:
        folder.put_if_absent(
            HULL, [measure(author, empty, JOB, STEP, FIELD, "1 kn", row=str(row)) for row in range(values)]
        )
    held = list[object]()
    with HullFolder(tmp_path, read_only=True) as folder:
        folder.ids(HULL)
        gc.collect()
        before = len(gc.get_objects())
        calls = calls_of(lambda: held.extend([state := replay(HULL, folder.entries(HULL)), state.view(JOB)]))
        gc.collect()
        objects = len(gc.get_objects()) - before
    assert len(held) == 2
    assert (calls / values < 60, objects / values < 7) == (True, True), (calls / values, objects / values)


RIGHT_HULL, AS_TYPED = "QQZ04417D626", "QQZ-04417D626"


def _typed(*numbers: str) -> list[Entry]:
    """One measurement for each way the hull number was typed, each of a row of its own."""
    who = tablet("a").author
    return [
        measure(who, HullState(number), JOB, STEP, FIELD, "1 kn", row=str(row)) for row, number in enumerate(numbers)
    ]


@pytest.mark.parametrize("order", [1, -1])
@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ((AS_TYPED, RIGHT_HULL, AS_TYPED), AS_TYPED),
        ((RIGHT_HULL, AS_TYPED, RIGHT_HULL), RIGHT_HULL),
        ((RIGHT_HULL, AS_TYPED), AS_TYPED),  # as often: the first by its characters, and "-" is before "0"
        ((), RIGHT_HULL),
    ],
)
def test_a_hull_number_is_shown_as_it_was_typed_most_often(typed: tuple[str, ...], shown: str, order: int) -> None:
    """In either order of arrival."""
    assert replay(RIGHT_HULL, _typed(*typed)[::order]).hull_number == shown


def test_a_hull_number_is_counted_once_an_entry_and_never_for_an_alias() -> None:
    """An entry that comes again adds nothing, and how another number of the boat was typed says nothing of this one."""
    once, *twice = _typed(AS_TYPED, RIGHT_HULL, RIGHT_HULL)
    assert replay(RIGHT_HULL, [once, once, once, *twice]).hull_number == RIGHT_HULL
    others = _typed("QQZ04418D626", "QQZ04418D626", "QQZ04418D626", RIGHT_HULL)
    assert replay(RIGHT_HULL, others, also=["QQZ04418D626"]).hull_number == RIGHT_HULL


def test_jobs_are_listed_oldest_first_by_their_first_entry_and_by_id_when_that_is_the_same() -> None:
    def written(job: str, *days: int) -> list[Entry]:
        wall = {"by": "R. Vane", "at": "2026-05-14T09:30:00+02:00", "dev": "tablet 1", "subject": (STEP, FIELD, "", "")}
        return [
            make_entry("measure", HULL, clock=Stamp(day, 0), job=job, value=f"{day} kn", **wall)  # type: ignore[arg-type]
            for day in days
        ]

    entries = [*written("a", 3), *written("z", 2, 9), *written("m", 5, 1), *written("c", 3), *written("b", 3)]
    for arrived in (entries, entries[::-1]):
        assert replay(HULL, arrived).jobs == ("m", "z", "a", "b", "c")


def test_a_network_without_devices_is_on_the_vessel_and_one_with_devices_lists_them() -> None:
    state, author = HullState(HULL), tablet("a").author
    fields: dict[tuple[str, ...], JsonValue] = {
        ("networks", "bare", "cable"): "mid",
        ("networks", "full", "cable"): "light",
        ("networks", "full", "devices", "GPS", "load_equivalency"): 3,
        ("networks", "full", "devices", "sounder", "leg"): "forward",
        ("networks", "full", "devices", "taken off", "removed"): True,
    }
    for path, value in fields.items():
        state.add(author.write(state, "field", path, value))
    vessel, faults = state.vessel()
    assert faults == ()
    bare, full = vessel.networks
    assert (bare.name, bare.cable, bare.devices) == ("bare", "mid", ())
    assert [(one.name, one.load_equivalency, one.leg) for one in full.devices] == [
        ("GPS", 3, ""),
        ("sounder", None, "forward"),
    ]
