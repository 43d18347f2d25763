"""An entry of a shape nobody expected is kept as it came, marked "cannot be read", and costs its own boat at most."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from click.testing import CliRunner

from examples import examples
from garboard.commands.cli import program
from garboard.demo.samples_folder import sample_job_files
from garboard.disk.clock import Stamp
from garboard.disk.entries import (
    LARGEST_ENTRY,
    SHOP_RECORD,
    Entry,
    canonical_bytes,
    carried_by,
    entry_id,
    hull_key_of,
    make_entry,
    read_entry,
    view,
)
from garboard.disk.hullfile import HullFolder
from garboard.disk.journal import file_name, heading
from garboard.faults import InputError
from garboard.history.authoring import measure, retract, sign_off
from garboard.history.boat import open_hull, register_named
from garboard.history.exchange import import_job
from garboard.history.past import history_of
from garboard.history.registers import RegisterKey, name_of
from garboard.history.replay import HullState, replay
from garboard.history.shapes import Shape, misfit_of
from garboard.history.sound import sound_part
from garboard.hosting.host import PluginHost, make_host
from garboard.job_files.job_file import read_job_file
from garboard.judging.assessing import assess_path
from garboard.records import Job, JsonValue
from garboard.report.book import handover_book
from garboard.report.outline import punch_list
from histories import HULL, JOB, tablet
from hostile_entries import (
    DISAGREEING,
    FORMS,
    MOST_WORDS,
    NO_ENTRIES,
    SOUND,
    SOUND_FORM,
    STRANGE_FORM,
    every_shape,
    hostile,
)

OTHER = "QQZ01209A626"
SEED = 20261129


@pytest.fixture(scope="module")
def host() -> PluginHost:
    return make_host(entry_points=False)


def entry(kind: str, subject: tuple[str, ...], value: JsonValue, job: str = JOB, hull: str = HULL) -> Entry:
    return make_entry(
        kind,
        hull,
        dev="tablet-07",
        by="Ines",
        clock=Stamp(1, 0),
        at="2026-05-14T12:00:00+02:00",
        job=job,
        subject=subject,
        value=value,
    )


@pytest.mark.parametrize(
    ("kind", "subject", "value", "expected"),
    [
        ("job", ("technicians",), [1, 2], Shape.JOB),
        ("job", ("technicians",), "Ann", Shape.JOB),
        ("job", ("owner",), ["Ann"], Shape.JOB),
        ("job", ("a", "b"), "Ann", Shape.SUBJECT),
        ("measure", ("steering.feel", "play", "", ""), ["38.2 kn"], Shape.VALUE),
        ("measure", ("steering.feel", "play", "", ""), {"file": 1}, Shape.VALUE),
        ("measure", ("steering.feel", "play"), "38.2 kn", Shape.SUBJECT),
        ("step", ("steering.feel",), "done", Shape.STEP),
        ("step", ("steering.feel",), {"state": "somehow"}, Shape.STEP),
        ("note", ("n1",), {"text": 5}, Shape.NOTE),
        ("note", ("n1",), "a remark", Shape.NOTE),
        ("signoff", ("owner",), {"role": "owner", "name": []}, Shape.SIGNATURE),
        ("signoff", ("owner",), {"role": "owner", "name": "A", "covers": [1]}, Shape.SIGNATURE),
        ("signoff", ("owner",), {"role": "owner", "name": "A", "signature": "ab"}, Shape.SIGNATURE),
        ("retract", ("steering.feel",), {"kind": ["measure"]}, Shape.TAKEN_BACK),
        ("alias", (), {"hull": 5}, Shape.HULL),
        ("move", ("to",), "elsewhere", Shape.HULL),
        ("move", ("into",), {"job": 7}, Shape.OTHER_JOB),
        ("run", ("a", "b", "", "", "ab"), "ab", Shape.RECORDING),
        ("field", (), "19 ft", Shape.SUBJECT),
        ("field", ("engines", "port"), ["outboard"], Shape.EQUIPMENT),
        ("setting", ("prop_check.limit",), ["7 %"], Shape.SETTING),
    ],
)
def test_each_kind_says_what_it_expected(
    kind: str, subject: tuple[str, ...], value: JsonValue, expected: Shape
) -> None:
    found = misfit_of(entry(kind, subject, value))
    assert found is not None
    assert found.expected is expected


def test_what_every_sample_job_holds_can_be_read(tmp_path: Path) -> None:
    for file in sample_job_files():
        with HullFolder(tmp_path / file.parent.name) as folder:
            import_job(folder, read_job_file(file), file.parent, tablet("a").author)
            assert [one for hull in folder.hulls() for one in folder.entries(hull) if misfit_of(one)] == []


def test_an_unreadable_list_of_technicians_is_named_and_can_be_put_right(host: PluginHost) -> None:
    state, author = HullState(HULL), tablet("a").author
    state.add(entry("job", ("technicians",), [1, "Ann", 2]))
    state.add(measure(author, state, JOB, "steering.feel", "play", "fine"))
    seen = state.view(JOB)
    assert (seen.job.technicians, seen.measurements[0].value) == ((), "fine")
    (unreadable,) = seen.unreadable
    assert (unreadable.place, unreadable.by, unreadable.got) == (
        ("job", "technicians", "", ""),
        "Ines",
        '[1, "Ann", 2]',
    )
    assert [item.why for item in punch_list(seen, host, ())] == ["cannot be read"]
    state.add(retract(author, state, RegisterKey("job", JOB, ("technicians",)), "typed by a broken program"))
    assert state.view(JOB).unreadable == ()


def test_a_signature_covers_nothing_that_could_not_be_read() -> None:
    state, author = HullState(HULL), tablet("a").author
    strange = entry("measure", ("steering.feel", "play", "", ""), ["fine"])
    state.add(strange)
    state.add(sign_off(author, state, JOB, "technician", "R. Vane"))
    assert [one.id for stale in state.stale(JOB) for one in stale.not_covered] == [strange.id]


def test_what_no_record_of_the_vessel_takes_is_named() -> None:
    state = replay(HULL, [entry("field", ("beam",), "8 kg", ""), entry("field", ("length",), "19.5 ft", "")])
    assert [one.place for one in state.view(JOB).unreadable] == [("vessel", "beam", "", "")]


def test_taking_items_out_of_a_list_takes_no_sound_one_with_them() -> None:
    record, faults = sound_part({"id": "j", "technicians": [1, 2, "Ann", 3, "Bo"]}, Job)
    assert record.technicians == ("Ann", "Bo")
    assert len(faults) == 3


def test_bytes_that_are_no_entry_have_a_view_all_the_same() -> None:
    for raw in NO_ENTRIES:
        found = view(entry_id(raw), raw)
        state = HullState(HULL)
        state.add(found)
        assert (found.raw, found.is_understood, len(state.view(JOB).unreadable)) == (raw, False, 1), raw[:60]
        with pytest.raises(InputError):
            read_entry(raw)


def test_lines_of_a_file_that_are_no_entries_cost_no_other(tmp_path: Path, host: PluginHost) -> None:
    good = entry("measure", ("steering.feel", "play", "", ""), "fine").raw
    lines = [raw for raw in (*NO_ENTRIES, good) if b"\n" not in raw]
    place = tmp_path / "hulls" / file_name(HULL)
    place.parent.mkdir()
    place.write_bytes(heading(HULL) + b"".join(b"%b %b\n" % (entry_id(raw).encode(), raw) for raw in lines))
    before = place.read_bytes()
    with HullFolder(tmp_path) as folder:
        folder.put_if_absent(OTHER, [entry("job", ("opened",), "2026-05-14", "other", OTHER)])
        boat = open_hull(folder, HULL)
        assert boat.view(JOB).measurements[0].value == "fine"
        assert len(boat.view(JOB).unreadable) == len(NO_ENTRIES)
    assert place.read_bytes() == before
    assert len([*assess_path(tmp_path, host)]) == 2
    shown = CliRunner().invoke(program, ["show", str(tmp_path), HULL])
    assert (shown.exit_code, shown.output.count("CANNOT BE READ")) == (0, len(NO_ENTRIES)), shown.output


def test_a_text_that_is_no_amount_closes_no_folder(tmp_path: Path, host: PluginHost) -> None:
    with HullFolder(tmp_path) as folder:
        for number, value in enumerate(("many", "38.2 kg", "1e400 rpm")):
            place = ("prop_check.full_throttle", "engine_speed", str(number), "")
            folder.put_if_absent(HULL, [entry("measure", place, value)])
    (job,) = assess_path(tmp_path, host)
    assert not isinstance(job, InputError)
    assert any("many" in question for question in job.questions)


def test_thousands_of_hostile_entries_are_kept_and_cost_their_own_boat_at_most(
    tmp_path: Path, host: PluginHost
) -> None:
    """Through taking in, replay, the report and the book; the other boat in the folder is judged as before."""
    samples = sample_job_files()
    with HullFolder(tmp_path) as folder:
        import_job(folder, read_job_file(samples[0]), samples[0].parent, tablet("a").author)
    (before,) = assess_path(tmp_path, host)
    assert not isinstance(before, InputError)
    chance = random.Random(SEED)
    with HullFolder(tmp_path) as folder:
        real = [one for hull in folder.boats() for one in folder.get(hull).values()]
        for number in range(6):
            hull = f"QQZ0000{number}A626"
            ours = [canonical_bytes({**view("", raw).fields, "hull": hull}) for raw in real]
            given = {entry_id(raw): raw for raw in hostile(chance, hull, ours, examples(500))}
            put = folder.put_if_absent(hull, given.values())
            strays = {entry.id: name for name, (entry, _) in put.strays.items()}
            refused = {name for name, _ in put.refused}
            assert {*put.added} == given.keys() - put.strays.keys() - refused | strays.keys()
            assert all(len(given[name]) > LARGEST_ENTRY // 2 for name in refused)
            assert len(strays) > examples(20) / 2
            for name in put.strays:
                with pytest.raises(InputError):
                    read_entry(given[name])
            for name, raw in folder.get(hull).items():
                assert (carried_by(view(name, raw)) if name in strays else raw) == given[strays.get(name, name)]
                assert hull_key_of(raw) == hull
            boat = open_hull(folder, hull)
            for job in boat.jobs:
                boat.view(job)
    jobs = [one for one in assess_path(tmp_path, host) if not isinstance(one, InputError)]
    mine = [one.assessed for one in jobs if one.view.vessel.hull_number == before.view.vessel.hull_number]
    assert mine == [before.assessed]
    books = [handover_book(one.view, host, one.assessed, "letter") for one in chance.sample(jobs, 1)]
    assert all(book.startswith(b"%PDF") for book in books)


WORDS_OF = {"measure": {4}, "run": {5}, "job": {1}, "step": {1}, "setting": {1}, "view": {1}, "issued": {2}}
WORDS_OF |= {"plan": {2, 3}, "template": {1, 3}, "field": {1, 2, 3, 4, 5, 6}, "move": set()}
"""How many words the subject of each kind has; of the others any number."""


@pytest.mark.parametrize("kind", sorted(SOUND))
def test_each_kind_takes_subjects_of_its_own_lengths(kind: str) -> None:
    for length in range(MOST_WORDS + 1):
        words = tuple("owner" if kind == "job" else f"word{number}" for number in range(length))
        is_read = misfit_of(entry(kind, words, SOUND[kind])) is None
        assert is_read is (length in WORDS_OF.get(kind, {*range(MOST_WORDS + 1)})), (kind, words)


BOATS = {form: f"QQZ0000{number}A626" for number, form in enumerate(FORMS)}


@pytest.fixture(scope="module")
def every_form(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a boat for each form of entries; what is sound stands in the shop's record too."""
    folder = tmp_path_factory.mktemp("shapes")
    with HullFolder(folder) as hulls:
        for form, hull in BOATS.items():
            fine = entry("measure", ("steering.feel", "play", "", ""), "fine", hull=hull)
            hulls.put_if_absent(hull, [fine.raw, *every_shape(hull, JOB, form)])
        hulls.put_if_absent(BOATS[SOUND_FORM], every_shape(BOATS[SOUND_FORM], JOB, DISAGREEING))
        hulls.put_if_absent(SHOP_RECORD, every_shape(SHOP_RECORD, JOB, SOUND_FORM))
    return folder


@pytest.mark.parametrize("form", FORMS)
def test_what_is_no_measurement_does_not_go_by_the_name_of_one(every_form: Path, form: str) -> None:
    """And what names nothing it is about is found by the name it is listed under."""
    with HullFolder(every_form, read_only=True) as hulls:
        boat = open_hull(hulls, BOATS[form])
        registers = [*boat.registers(JOB)]
        measured = {name_of(key) for _, key in registers if key.is_measurement}
        others = {name_of(key) for _, key in registers if not key.is_measurement}
        assert "" not in measured | others
        assert measured.isdisjoint(others)
        for name in (name_of(key) for _, key in registers if not any(key.subject)):
            state, key = register_named(boat, JOB, name)
            assert (name_of(key), bool(history_of(state, key))) == (name, True)


def test_no_command_raises(every_form: Path, tmp_path: Path) -> None:
    """Commands that list, show and report; and those that would change what names nothing it is about."""
    folder, copy, out, sound = str(every_form), str(tmp_path / "copy"), str(tmp_path / "out"), BOATS[SOUND_FORM]
    signed = ("--by", "Ines", "--reason", "a test")
    commands = [
        ("merge", folder, "--into", copy),
        *(("show", folder, hull) for hull in BOATS.values()),
        *(("export", folder, hull, "--job", JOB, "--out", f"{out} {hull}") for hull in BOATS.values()),
        ("export", folder, "--out", f"{out}.zip"),
        ("settings", "list", folder),
        ("templates", "list", folder),
        (
            "circuits",
            copy,
            sound,
            written(tmp_path / "table.csv", "name,length\nhorn,12 ft\n"),
            "--job",
            JOB,
            "--by",
            "Ines",
        ),
        (
            "attach",
            copy,
            sound,
            "no.step",
            written(tmp_path / "run.csv", "time,rate_of_turn [deg/s]\n0,1\n"),
            "--job",
            JOB,
            "--by",
            "Ines",
        ),
        ("settle", copy, sound, "setting", "--job", JOB, "--value", "3", *signed),
        ("take-back", copy, BOATS[STRANGE_FORM], "vessel", "--job", JOB, *signed),
    ]
    for command in commands:
        done = CliRunner().invoke(program, command)
        assert done.exception is None or isinstance(done.exception, SystemExit), (command, done.exc_info)
        assert done.exit_code in (0, 1, 2), command


def written(file: Path, text: str) -> str:
    file.write_text(text)
    return str(file)


def test_a_taking_back_that_names_no_kind_is_told_as_one() -> None:
    state = replay(HULL, [entry("retract", ("a", "b"), value) for value in ("x", {"kind": None}, {"kind": ["a"]})])
    assert {one.place for one in state.view(JOB).unreadable} == {("retract", "a/b", "", "")}
