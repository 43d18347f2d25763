"""Two jobs opened for one piece of work, joined: what stands, what disagrees, what is signed, and the undoing."""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping
from pathlib import Path

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from examples import examples
from garboard.disk.entries import ISSUED, Entry
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.history.authoring import Author, join_job, measure, move_job, part_job, retract, settle, sign_off
from garboard.history.boat import Boat, open_entries, open_hull
from garboard.history.exchange import export_job, import_job
from garboard.history.plans import plan_entries, plan_of
from garboard.history.proof import issued_books
from garboard.history.registers import RegisterKey, register_of
from garboard.history.replay import HullState, replay
from garboard.job_files.job_file import read_job_file
from histories import HULL, history, tablet, union

ONE, OTHER, THIRD = "job-1", "job-2", "job-3"
ELSEWHERE = "QQZ04418D626"
STEP, FIELD = "prop_check.runs", "speed"
SPEED = RegisterKey("measure", ONE, (STEP, FIELD, "", ""))
KIM, ROBIN, OFFICE = (tablet(name).author for name in ("kim", "robin", "office"))
seeds = st.integers(0, 2**32)


def _opened(author, job: str, hull: str = HULL, **values: str) -> list[Entry]:  # type: ignore[no-untyped-def]
    """A job one person opened without knowing of the other's."""
    alone = HullState(hull)
    return [
        author.write(alone, "job", ("technicians",), [author.by], job=job),
        *(measure(author, alone, job, STEP, field, value) for field, value in values.items()),
    ]


def _joined(*jobs: Iterable[Entry], hull: str = HULL) -> tuple[HullState, Entry]:
    state = replay(hull, [entry for job in jobs for entry in job])
    joining = join_job(OFFICE, state, OTHER, ONE, "one commissioning, opened twice")
    state.add(joining)
    return state, joining


def test_values_of_both_jobs_stand_in_one_and_those_that_differ_disagree_until_a_person_chooses() -> None:
    state, _ = _joined(
        _opened(KIM, ONE, speed="30 kn", trim="2 deg"), _opened(ROBIN, OTHER, speed="31 kn", fuel="9 gal")
    )
    assert state.jobs == (ONE,)
    view = state.view(ONE)
    assert {m.field: m.value for m in view.measurements} == {"trim": "2 deg", "fuel": "9 gal"}
    assert [{value.value for value in one.values} for one in view.disagreements] == [{"30 kn", "31 kn"}]
    state.add(settle(OFFICE, state, SPEED, "31 kn", "the other run was downwind"))
    assert state.view(ONE).amount(STEP, FIELD, "kn") == 31
    assert state.view(ONE).disagreements == ()


def test_both_technicians_are_named_in_the_joined_job() -> None:
    state, _ = _joined(_opened(KIM, ONE), _opened(ROBIN, OTHER))
    assert set(state.view(ONE).job.technicians) == {KIM.by, ROBIN.by}


def test_a_tablet_that_still_has_the_other_job_open_sees_and_writes_the_joined_one() -> None:
    state, _ = _joined(_opened(KIM, ONE, speed="30 kn"), _opened(ROBIN, OTHER, fuel="9 gal"))
    assert state.view(OTHER) == state.view(ONE)
    late = measure(ROBIN, state, OTHER, STEP, FIELD, "30.5 kn")
    state.add(late)
    assert [entry.id for entry in state.current(SPEED)] == [late.id]
    assert state.coverage(OTHER) == state.coverage(ONE)


def test_signatures_over_either_job_go_stale_and_name_what_the_other_brought() -> None:
    one, other = _opened(KIM, ONE, speed="30 kn"), _opened(ROBIN, OTHER, fuel="9 gal")
    signed = sign_off(KIM, replay(HULL, one), ONE, "technician", "K. Lind")
    also = sign_off(ROBIN, replay(HULL, other), OTHER, "technician", "R. Vane")
    apart = replay(HULL, [*one, *other, signed, also])
    assert apart.stale(ONE) == apart.stale(OTHER) == ()
    state, _ = _joined(one, other, [signed, also])
    missing = {one.sign_off.id: {entry.id for entry in one.not_covered} for one in state.stale(ONE)}
    assert missing == {signed.id: {entry.id for entry in other}, also.id: {entry.id for entry in one}}


def test_a_signature_written_over_the_joined_job_covers_all_of_it() -> None:
    state, _ = _joined(_opened(KIM, ONE, speed="30 kn"), _opened(ROBIN, OTHER, speed="31 kn"))
    state.add(sign_off(OFFICE, state, ONE, "manager", "M. Office"))
    assert state.stale(ONE) == ()


def test_a_signature_over_a_job_that_an_empty_one_is_joined_into_stays_good() -> None:
    one = _opened(KIM, ONE, speed="30 kn")
    state, _ = _joined(one, [sign_off(KIM, replay(HULL, one), ONE, "technician", "K. Lind")])
    assert [signature.stale for signature in state.view(ONE).sign_offs] == [False]


def test_taking_a_joining_back_parts_the_jobs_as_they_were_with_their_signatures() -> None:
    one, other = _opened(KIM, ONE, speed="30 kn"), _opened(ROBIN, OTHER, speed="31 kn")
    signed = sign_off(ROBIN, replay(HULL, other), OTHER, "technician", "R. Vane")
    before = replay(HULL, [*one, *other, signed])
    state, joining = _joined(one, other, [signed])
    state.add(part_job(OFFICE, state, OTHER, "two after all"))
    assert state.jobs == before.jobs
    assert set(state.jobs) == {ONE, OTHER}
    assert [state.view(job) for job in state.jobs] == [before.view(job) for job in before.jobs]
    assert joining in state.register(register_of(joining)).history


def test_a_value_corrected_while_the_jobs_were_joined_leaves_the_old_one_in_its_own_job_once_they_are_parted() -> None:
    state, _ = _joined(_opened(KIM, ONE), _opened(ROBIN, OTHER, speed="31 kn"))
    state.add(measure(KIM, state, ONE, STEP, FIELD, "30 kn"))
    assert state.view(ONE).amount(STEP, FIELD, "kn") == 30
    state.add(part_job(OFFICE, state, OTHER, "two after all"))
    assert [state.view(job).amount(STEP, FIELD, "kn") for job in (ONE, OTHER)] == [30, 31]


def test_two_different_joinings_of_a_job_leave_it_by_itself_and_are_shown() -> None:
    jobs = [*_opened(KIM, ONE), *_opened(ROBIN, OTHER), *_opened(KIM, THIRD)]
    joinings = [join_job(author, replay(HULL, jobs), OTHER, into, "x") for author, into in ((KIM, ONE), (ROBIN, THIRD))]
    state = replay(HULL, [*jobs, *joinings])
    assert set(state.jobs) == {ONE, OTHER, THIRD}
    ((place, said),) = [(one.place, {value.value for value in one.values}) for one in state.view(OTHER).disagreements]
    assert (place[:2], said) == (("move", "into"), {ONE, THIRD})
    state.add(settle(OFFICE, state, RegisterKey("move", OTHER, ("into",)), {"job": ONE}, "asked both"))
    assert set(state.jobs) == {ONE, THIRD}


def test_two_people_who_join_the_same_jobs_for_other_reasons_agree() -> None:
    jobs = [*_opened(KIM, ONE), *_opened(ROBIN, OTHER)]
    joinings = [join_job(author, replay(HULL, jobs), OTHER, ONE, f"said by {author.by}") for author in (KIM, ROBIN)]
    assert replay(HULL, [*jobs, *joinings]).jobs == (ONE,)


@pytest.mark.parametrize("into", [ONE, OTHER])
def test_a_job_is_joined_only_into_one_it_does_not_stand_in_already(into: str) -> None:
    state, _ = _joined(_opened(KIM, ONE), _opened(ROBIN, OTHER))
    with pytest.raises(InputError, match="does not stand in already"):
        join_job(OFFICE, state, OTHER, into, "again")
    with pytest.raises(InputError, match="why"):
        join_job(OFFICE, state, ONE, THIRD, " ")


def _joining(job: str, into: str) -> Entry:
    return OFFICE.write(HullState(HULL), "move", ("into",), {"job": into, "reason": "x"}, job=job)


@pytest.mark.parametrize(
    ("joinings", "expected"),
    [
        ([(OTHER, ONE)], {ONE: ONE, OTHER: ONE, THIRD: THIRD}),
        ([(ONE, OTHER), (OTHER, THIRD)], {ONE: THIRD, OTHER: THIRD, THIRD: THIRD}),
        ([(ONE, OTHER), (OTHER, ONE)], {ONE: ONE, OTHER: ONE, THIRD: THIRD}),
        ([(THIRD, ONE), (ONE, OTHER), (OTHER, THIRD)], {ONE: ONE, OTHER: ONE, THIRD: ONE}),
        ([(ONE, THIRD), (THIRD, OTHER), (OTHER, THIRD)], {ONE: OTHER, OTHER: OTHER, THIRD: OTHER}),
        ([(ONE, ONE)], {ONE: ONE, OTHER: OTHER, THIRD: THIRD}),
    ],
    ids=["one", "chain", "ring of two", "ring of three", "into a ring", "into itself"],
)
def test_chains_and_rings_of_joinings_end_in_one_job_whatever_comes_first(
    joinings: list[tuple[str, str]], expected: Mapping[str, str]
) -> None:
    """Worked out by hand: a chain ends in its last job; of a ring, all stand in the job whose id comes first."""
    values = [entry for job in (ONE, OTHER, THIRD) for entry in _opened(KIM, job, **{f"of {job}": "1 kn"})]
    entries = [*values, *(_joining(job, into) for job, into in joinings)]
    for seed in range(12):
        shuffled = random.Random(seed).sample(entries, len(entries))
        state = replay(HULL, [*shuffled, *shuffled[:5]])
        assert {job: state.joined(job) for job in expected} == expected
        assert set(state.jobs) == set(expected.values())
        shown = {m.field for job in state.jobs for m in state.view(job).measurements}
        assert shown == {f"of {job}" for job in (ONE, OTHER, THIRD)}


def test_what_a_signature_over_a_joined_job_covers_does_not_hang_on_the_order_of_a_moves_taking_back() -> None:
    """The move here is of the job that was joined; the signature covers its taking back, and so the move."""
    state, _ = _joined(_opened(KIM, ONE, speed="30 kn"), _opened(ROBIN, OTHER, fuel="9 gal"))
    elsewhere = replay(ELSEWHERE, [])
    _, arriving = move_job(OFFICE, elsewhere, state, OTHER, "written under the wrong number")
    state.add(arriving)
    undone = retract(OFFICE, state, register_of(arriving), "it was right")
    state.add(undone)
    signed = sign_off(KIM, state, ONE, "technician", "K. Lind")
    entries = [entry for register in state.registers.values() for entry in register.entries.values()]
    late = replay(HULL, [*(entry for entry in entries if entry is not undone), signed, undone])
    assert late.stale(ONE) == replay(HULL, [*entries, signed]).stale(ONE) == ()


@settings(deadline=None, max_examples=examples(100))
@given(seeds)
def test_with_every_joining_taken_back_the_jobs_are_as_if_none_had_been(seed: int) -> None:
    """After any history without corrections across jobs: the histories' tablets write to registers as they see them."""
    entries = [entry for entry in union(history(seed)).values() if register_of(entry)[::2] != ("move", ("into",))]
    before = replay(HULL, entries)
    state = replay(HULL, entries)
    chance = random.Random(seed)
    for _ in range(chance.randint(1, 4)):
        state.add(_joining(*chance.sample([ONE, OTHER, THIRD], 2)))
    for job in (ONE, OTHER, THIRD):
        if state.heads(RegisterKey("move", job, ("into",))):
            state.add(part_job(OFFICE, state, job, "apart again"))
    jobs = (ONE, OTHER)
    assert [state.view(job) for job in jobs] == [before.view(job) for job in jobs], f"seed {seed}"
    assert [state.stale(job) for job in jobs] == [before.stale(job) for job in jobs], f"seed {seed}"
    assert [state.coverage(job) for job in jobs] == [before.coverage(job) for job in jobs], f"seed {seed}"


def _boat(entries: Iterable[Entry], number: str):  # type: ignore[no-untyped-def]
    held = list(entries)
    return open_entries(lambda hull: [entry for entry in held if entry.hull_key == hull], number)


@pytest.mark.parametrize("guest", [ONE, OTHER])
def test_a_job_moved_here_from_another_hull_is_joined_with_one_that_is_here(guest: str) -> None:
    """Either is the one that was moved; values of both stand in the first job, with this boat's vessel."""
    away, here = (
        _opened(KIM, guest, ELSEWHERE, speed="30 kn"),
        _opened(ROBIN, {ONE: OTHER, OTHER: ONE}[guest], fuel="9 gal"),
    )
    name = ROBIN.write(HullState(HULL), "field", ("name",), "Kittiwake")
    moving = move_job(OFFICE, replay(ELSEWHERE, away), replay(HULL, here), guest, "wrong boat")
    entries = [*away, *here, name, *moving]
    entries.append(join_job(OFFICE, _boat(entries, HULL).state, OTHER, ONE, "opened twice"))
    boat = _boat(entries, HULL)
    assert boat.jobs == (ONE,)
    for job in (ONE, OTHER):
        view = boat.view(job)
        assert {m.field: m.value for m in view.measurements} == {"speed": "30 kn", "fuel": "9 gal"}
        assert view.vessel.name == "Kittiwake"
    assert _boat(entries, ELSEWHERE).jobs == ()


def test_two_jobs_moved_here_from_two_hulls_are_joined_whichever_is_read_first() -> None:
    third = "QQZ04416D626"
    for hulls in ((ELSEWHERE, third), (third, ELSEWHERE)):
        parts = [
            _opened(author, job, hull, **{field: "1 kn"})
            for author, job, hull, field in zip((KIM, ROBIN), (ONE, OTHER), hulls, ("a", "b"), strict=True)
        ]
        entries = [entry for part in parts for entry in part]
        for job, hull in zip((ONE, OTHER), hulls, strict=True):
            entries += move_job(OFFICE, replay(hull, entries), replay(HULL, entries[:0]), job, "wrong boat")
        entries.append(join_job(OFFICE, _boat(entries, HULL).state, OTHER, ONE, "opened twice"))
        boat = _boat(entries, HULL)
        assert boat.jobs == (ONE,)
        assert {m.field for m in boat.view(ONE).measurements} == {"a", "b"}


def test_what_came_with_a_moved_job_and_was_planned_for_it_outlives_its_joining() -> None:
    """Engines typed under the wrong number, what a manager said of the job, and the book that was issued of it."""
    guest = [
        *_opened(KIM, OTHER, hull=ELSEWHERE, fuel="9 gal"),
        *(
            Author(tablet, "K. Lind").write(HullState(ELSEWHERE), "field", ("engines", "port", name), value, job=OTHER)
            for tablet, name, value in (("1", "gear_ratio", "1.85"), ("1", "hours", "2 h"), ("2", "hours", "3 h"))
        ),
        *plan_entries(OFFICE, HullState(ELSEWHERE), OTHER, {"comment": "fuel leak: do not launch"}),
        OFFICE.write(HullState(ELSEWHERE), ISSUED, (OTHER, "ab" * 32), {"root": "cd" * 32, "entries": 2}),
    ]
    entries = [*_opened(ROBIN, ONE, speed="30 kn"), *guest]
    entries += move_job(OFFICE, replay(ELSEWHERE, guest), replay(HULL, entries), OTHER, "wrong boat")

    def boat_of(held: Iterable[Entry]) -> Boat:
        return open_entries(lambda hull: [entry for entry in held if entry.hull_key == hull], HULL)

    def told(boat: Boat, job: str) -> list[object]:
        view, home = boat.view(job), boat.state_of(job)
        apart = [one.place for one in view.disagreements]
        plan, books = plan_of(home, (job, *home.parts(job))), issued_books(boat, job)
        return [view.vessel.engines, apart, plan, books, boat.vessel().engines, boat.vessel_home("engines").hull]

    moved = boat_of(entries)
    joined = boat_of([*entries, join_job(OFFICE, moved.state, OTHER, ONE, "opened twice")])
    assert joined.jobs == (ONE,)
    assert told(joined, ONE) == told(moved, OTHER)
    engine, books = moved.vessel().engines[0], issued_books(moved, OTHER)
    assert str(engine.gear_ratio) == "1.85"
    assert len(moved.view(OTHER).disagreements) == len(books) == 1
    held = [*entries, *(entry for entry in joined.state.register(RegisterKey("move", OTHER, ("into",))).history)]
    held.append(sign_off(KIM, joined.state_of(ONE), ONE, "owner", "A. Marsh"))
    signed = boat_of(held)
    assert [one.not_covered for one in signed.view(ONE).sign_offs] == [()]
    home = signed.vessel_home("engines")
    assert (signed.facts_of(ONE, home), signed.facts_of(ONE, signed.state)) == (OTHER, ONE)
    late = attrs.evolve(KIM, at_job=OTHER).write(home, "field", ("engines", "port", "gear_ratio"), "2.0")
    (missed,) = (one.not_covered for one in boat_of([*held, late]).view(ONE).sign_offs)
    assert missed == ("vessel/engines/port/gear_ratio",), "a check is judged by it"


def test_a_joined_job_moved_to_another_hull_goes_whole() -> None:
    one, other = _opened(KIM, ONE, speed="30 kn"), _opened(ROBIN, OTHER, fuel="9 gal")
    state, joining = _joined(one, other)
    entries = [*one, *other, joining, *move_job(OFFICE, state, HullState(ELSEWHERE), ONE, "wrong boat")]
    assert _boat(entries, HULL).jobs == ()
    boat = _boat(entries, ELSEWHERE)
    assert boat.jobs == (ONE,)
    assert {m.field for m in boat.view(ONE).measurements} == {"speed", "fuel"}


def test_a_joined_job_written_under_two_hull_numbers_is_not_moved_on_before_it_is_parted() -> None:
    away, here = _opened(KIM, ONE, ELSEWHERE, speed="30 kn"), _opened(ROBIN, OTHER, fuel="9 gal")
    entries = [*away, *here, *move_job(OFFICE, replay(ELSEWHERE, away), replay(HULL, here), ONE, "wrong boat")]
    entries.append(join_job(OFFICE, _boat(entries, HULL).state, OTHER, ONE, "opened twice"))
    with pytest.raises(InputError, match=f"part {OTHER} from it"):
        _boat(entries, HULL).states_to_move(ONE)
    entries.append(part_job(OFFICE, _boat(entries, HULL).state_of(OTHER), OTHER, "to move them"))
    assert [state.hull for state in _boat(entries, HULL).states_to_move(ONE)] == [ELSEWHERE]


@pytest.mark.parametrize("asked", [ONE, OTHER])
def test_an_exported_joined_job_is_the_same_where_it_is_taken_in(tmp_path: Path, asked: str) -> None:
    state, joining = _joined(_opened(KIM, ONE, speed="30 kn"), _opened(ROBIN, OTHER, speed="31 kn", fuel="9 gal"))
    with HullFolder(tmp_path / "here") as here, HullFolder(tmp_path / "there") as there:
        for register in state.registers.values():
            here.put_if_absent(HULL, register.entries.values())
        path = export_job(here, open_hull(here, HULL), asked, tmp_path / "out")
        import_job(there, read_job_file(path), path.parent, OFFICE)
        assert there.ids(HULL) == here.ids(HULL)
        assert joining.id in there.ids(HULL)
        assert open_hull(there, HULL).view(ONE) == open_hull(here, HULL).view(ONE)
