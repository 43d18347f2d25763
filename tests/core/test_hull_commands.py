"""The commands on hull files, as a manager at the office types them."""

from __future__ import annotations

import json
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from garboard.commands import digest, hulls
from garboard.commands.hull import command as hull_command
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.history.authoring import measure
from garboard.history.boat import open_hull
from garboard.history.replay import HullState
from garboard.records import JsonValue
from garboard.report.terminal import Tools
from histories import HULL, JOB, tablet

STEP, FIELD = "prop_check.runs", "speed"
NAME = f"{STEP}/{FIELD}/1"
SIGNED = ("--by", "M. Office", "--reason", "asked both")


def _run(command: click.Command, *arguments: object) -> Result:
    result = CliRunner().invoke(command, [str(argument) for argument in arguments], obj=Tools())
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """Two tablets' folders merged: one value disagrees."""
    for name, value in (("a", "30.0 kn"), ("b", "31.5 kn")):
        with HullFolder(tmp_path / name) as folder:
            folder.save(measure(tablet(name).author, HullState(HULL), JOB, STEP, FIELD, value, row="1"))
    _run(hulls.merge_folders, tmp_path / "a", tmp_path / "b", "--into", tmp_path / "shop")
    return tmp_path / "shop"


def test_merge_prints_what_disagrees_and_counts_both_sides(tmp_path: Path, shop: Path) -> None:
    result = _run(hulls.merge_folders, tmp_path / "a", "--into", tmp_path / "b")
    assert f"values disagree: {STEP}: {FIELD}, 1 (job {JOB})" in result.stdout  # no plugin here gives it a title
    said = json.loads(_run(hulls.merge_folders, tmp_path / "a", "--into", tmp_path / "c", "--json").stdout)
    assert said["hulls"][0]["disagreeing"] == []
    said = json.loads(_run(hulls.merge_folders, tmp_path / "b", "--into", tmp_path / "c", "--json").stdout)
    assert said["hulls"][0]["disagreeing"] == [{"job": JOB, "name": NAME}]
    assert "both sides counted" in result.stdout
    assert result.exit_code == 0


def test_a_merges_report_counts_in_the_singular_and_says_that_a_field_is_the_vessels(tmp_path: Path) -> None:
    for name, beam in (("a", "2.40 m"), ("b", "2.55 m")):
        with HullFolder(tmp_path / name) as folder:
            folder.save(tablet(name).author.write(HullState(HULL), "field", ("beam",), beam, job=JOB))
    said = _run(hulls.merge_folders, tmp_path / "a", "--into", tmp_path / "b", "--dry-run").stdout
    assert said.startswith(f"Would be new in {tmp_path / 'b'}: 1 entry and 0 attachments\n")
    said = _run(hulls.merge_folders, tmp_path / "a", "--into", tmp_path / "b").stdout
    assert said.startswith(f"New in {tmp_path / 'b'}: 1 entry and 0 attachments\n  {HULL}: 1 new, 0 there already\n")
    assert "values disagree: Vessel: beam (of the vessel)" in said
    assert "any" not in said.replace(str(tmp_path), "")


def test_merge_both_ways_leaves_both_folders_with_equal_digests(tmp_path: Path) -> None:
    for name in ("a", "b"):
        with HullFolder(tmp_path / name) as folder:
            folder.save(measure(tablet(name).author, HullState(HULL), JOB, STEP, FIELD, "30.0 kn", row=name))
    _run(hulls.merge_folders, tmp_path / "a", "--into", tmp_path / "b", "--both-ways")
    one, other = (json.loads(_run(digest.command, tmp_path / name, "--json").stdout) for name in ("a", "b"))
    assert one["hulls"] == other["hulls"] != {}


def test_of_many_boats_a_few_are_named_to_whoever_asks_for_another(tmp_path: Path) -> None:
    """All the numbers of 100 000 boats are more than a megabyte on a terminal."""
    with HullFolder(tmp_path) as folder:
        for number in range(14):
            name = f"QQZ{number:05d}A626"
            folder.save(measure(tablet("a").author, HullState(name), JOB, STEP, FIELD, "30.0 kn"))
        said = hulls.known_in(folder)
    assert said.startswith("one of QQZ00000A626, QQZ00001A626, ")
    assert said.endswith("QQZ00011A626 and 2 more")


def test_a_dry_run_into_a_folder_that_is_not_there_makes_none(tmp_path: Path, shop: Path) -> None:
    report = json.loads(_run(hulls.merge_folders, shop, "--into", tmp_path / "new", "--dry-run", "--json").stdout)
    assert report["came"] == 2
    assert not (tmp_path / "new").exists()


def test_settle_keeps_the_other_value_in_the_history_with_who_and_why(shop: Path) -> None:
    assert "DISAGREES" in _run(hulls.show, shop, HULL).stdout
    _run(hulls.settle, shop, HULL, NAME, "--value", "31.5 kn", *SIGNED)
    assert "DISAGREES" not in _run(hulls.show, shop, HULL).stdout
    history = _run(hulls.show, shop, HULL, "--value", NAME).stdout
    assert "30.0 kn" in history
    assert "M. Office on office: 31.5 kn (asked both)" in history


def test_take_back_strikes_a_value_through(shop: Path) -> None:
    _run(hulls.take_back, shop, HULL, NAME, *SIGNED)
    assert "taken back by M. Office" in _run(hulls.show, shop, HULL).stdout
    with HullFolder(shop, read_only=True) as folder:
        assert open_hull(folder, HULL).view(JOB).measurements == ()


def test_same_boat_and_its_undoing(shop: Path) -> None:
    other = "QQZO4417D626"
    _run(hulls.same_boat, shop, HULL, other, *SIGNED)
    with HullFolder(shop, read_only=True) as folder:
        assert open_hull(folder, other).jobs == (JOB,)
    _run(hulls.same_boat, shop, HULL, other, "--undo", *SIGNED)
    with HullFolder(shop, read_only=True) as folder:
        assert open_hull(folder, other).jobs == ()


def test_move_job_and_the_jobs_there_are_named_when_it_is_not_one(shop: Path) -> None:
    with pytest.raises(InputError, match=JOB):
        _run(hulls.move_job, shop, HULL, "job-9", "--to", "QQZ04418D626", *SIGNED)
    _run(hulls.move_job, shop, HULL, JOB, "--to", "QQZ04418D626", *SIGNED)
    with HullFolder(shop, read_only=True) as folder:
        assert open_hull(folder, "QQZ04418D626").jobs == (JOB,)
        assert open_hull(folder, HULL).jobs == ()


def test_a_job_moved_on_or_moved_back_is_where_the_last_move_says_with_all_its_values(shop: Path) -> None:
    before = _run(hulls.show, shop, HULL).stdout
    for here, there in (
        (HULL, "QQZ04418D626"),
        ("QQZ04418D626", "QQZ04419D626"),
        ("QQZ04419D626", HULL),
    ):
        _run(hulls.move_job, shop, here, JOB, "--to", there, *SIGNED)
        with HullFolder(shop, read_only=True) as folder:
            assert open_hull(folder, there).jobs == (JOB,)
            assert open_hull(folder, here).jobs == ()
    assert _run(hulls.show, shop, HULL).stdout == before


def test_a_moved_job_is_shown_with_the_boat_it_was_moved_to(shop: Path) -> None:
    """Its number, its vessel and what is corrected in that vessel are the new boat's, and not the one it was under."""
    other = "QQZ04418D626"
    with HullFolder(shop) as folder:
        for number, beam in ((HULL, "2.40 m"), (other, "2.55 m")):
            state = HullState(number)
            folder.save(tablet("c").author.write(state, "field", ("beam",), beam, job=JOB if number == HULL else ""))
    _run(hulls.move_job, shop, HULL, JOB, "--to", other, *SIGNED)
    shown = _run(hulls.show, shop, other).stdout
    assert shown.splitlines()[:2] == [f"{other}, job {JOB}", f"  moved here from {HULL}"]
    assert "vessel/beam: 2.55 m" in shown
    assert "2.40 m" not in shown
    assert "30.0 kn" in shown
    assert "2.55 m" in _run(hulls.show, shop, other, "--value", "vessel/beam").stdout
    _run(hulls.take_back, shop, other, "vessel/beam", *SIGNED)
    with HullFolder(shop, read_only=True) as folder:
        assert open_hull(folder, other).state.vessel()[0].beam is None
        assert str(open_hull(folder, HULL).state.vessel()[0].beam) == "2.40 m"


def test_a_history_says_what_was_taken_back_and_what_takes_it_back(shop: Path) -> None:
    _run(hulls.settle, shop, HULL, NAME, "--value", "31.5 kn", *SIGNED)
    _run(hulls.take_back, shop, HULL, NAME, *SIGNED)
    lines = _run(hulls.show, shop, HULL, "--value", NAME).stdout.splitlines()
    became = sorted(line[2:13].rstrip() for line in lines[1:])
    assert became == ["replaced", "replaced", "taken back", "taking back"]
    (take_back,) = [line for line in lines if line.startswith("  taking back")]
    assert take_back.endswith("M. Office on office (asked both)")


def test_values_that_agree_both_stand_in_a_history(tmp_path: Path) -> None:
    with HullFolder(tmp_path) as folder:
        for name, value in (("a", "30.0 kn"), ("b", "30.00 kn")):
            folder.save(measure(tablet(name).author, HullState(HULL), JOB, STEP, FIELD, value, row="1"))
    shown = _run(hulls.show, tmp_path, HULL, "--value", NAME).stdout
    assert shown.count("stands") == 2
    assert "replaced" not in shown


def test_parting_two_numbers_lists_what_was_chosen_while_they_were_one(shop: Path) -> None:
    other = "QQZO4417D626"
    with HullFolder(shop) as folder:
        folder.save(measure(tablet("c").author, HullState(other), JOB, STEP, FIELD, "33 kn", row="1"))
        folder.save(measure(tablet("c").author, HullState(other), JOB, STEP, FIELD, "20 kn", row="2"))
    _run(hulls.same_boat, shop, HULL, other, *SIGNED)
    _run(hulls.settle, shop, HULL, NAME, "--value", "31.5 kn", *SIGNED)
    parted = _run(hulls.same_boat, shop, HULL, other, "--undo", *SIGNED).stdout.splitlines()
    assert parted[0] == f"{HULL} and {other} are two boats"
    assert parted[1].startswith("Chosen while they were one, and kept where it was written")
    assert parted[2].startswith(f"  {HULL}, job {JOB}: {NAME}: 31.5 kn (M. Office, ")
    assert parted[3:] == [f"Look at each. Take back what is wrong there: garboard take-back {shop} HULL NAME"]
    with HullFolder(shop, read_only=True) as folder:
        assert open_hull(folder, other).view(JOB).value(STEP, FIELD, row="1") == "33 kn"


def test_parting_two_jobs_lists_what_was_chosen_while_they_were_one(shop: Path) -> None:
    with HullFolder(shop) as folder:
        folder.save(measure(tablet("c").author, HullState(HULL), "job-2", STEP, FIELD, "33 kn", row="1"))
    _run(hulls.join_job, shop, HULL, "job-2", "--into", JOB, *SIGNED)
    _run(hulls.take_back, shop, HULL, NAME, *SIGNED)
    parted = _run(hulls.join_job, shop, HULL, "job-2", "--undo", *SIGNED).stdout
    assert f"  {HULL}, job {JOB}: {NAME}: taken back\n" in parted
    assert NAME not in _run(hulls.join_job, shop, HULL, "job-2", "--into", JOB, *SIGNED).stdout


def test_parting_what_was_only_looked_at_lists_nothing(shop: Path) -> None:
    _run(hulls.settle, shop, HULL, NAME, "--value", "31.5 kn", *SIGNED)
    _run(hulls.same_boat, shop, HULL, "QQZO4417D626", *SIGNED)
    parted = _run(hulls.same_boat, shop, HULL, "QQZO4417D626", "--undo", *SIGNED).stdout
    assert parted == f"{HULL} and QQZO4417D626 are two boats\n"


def test_two_jobs_opened_for_one_piece_of_work_are_joined_and_parted_again(shop: Path) -> None:
    with HullFolder(shop) as folder:
        folder.save(measure(tablet("c").author, HullState(HULL), "job-2", STEP, FIELD, "33 kn", row="1"))
    before = _run(hulls.show, shop, HULL).stdout
    _run(hulls.join_job, shop, HULL, "job-2", "--into", JOB, *SIGNED)
    shown = _run(hulls.show, shop, HULL).stdout
    assert "with job job-2, joined into it by M. Office" in shown
    assert all(f"{value} (tech" in shown for value in ("30.0 kn", "31.5 kn", "33 kn"))
    with pytest.raises(InputError, match=f"one of {JOB}"):
        _run(hulls.join_job, shop, HULL, "job-2", "--into", JOB, *SIGNED)
    _run(hulls.join_job, shop, HULL, "job-2", "--undo", *SIGNED)
    parted = _run(hulls.show, shop, HULL).stdout
    assert [line for line in parted.splitlines() if "taken back by" not in line] == before.splitlines()
    assert "taken back by M. Office: move into" in parted


def test_a_joined_job_is_parted_also_after_it_was_moved_to_another_hull(shop: Path) -> None:
    with HullFolder(shop) as folder:
        folder.save(measure(tablet("c").author, HullState(HULL), "job-2", STEP, FIELD, "33 kn", row="2"))
    _run(hulls.join_job, shop, HULL, "job-2", "--into", JOB, *SIGNED)
    _run(hulls.move_job, shop, HULL, JOB, "--to", "QQZ04418D626", *SIGNED)
    _run(hulls.join_job, shop, "QQZ04418D626", "job-2", "--undo", *SIGNED)
    with HullFolder(shop, read_only=True) as folder:
        assert open_hull(folder, "QQZ04418D626").jobs == (JOB,)
        assert open_hull(folder, HULL).jobs == ("job-2",)


def test_two_states_of_a_step_are_shown_and_one_is_chosen(tmp_path: Path) -> None:
    with HullFolder(tmp_path) as folder:
        for name, state in (("a", "done"), ("b", "look again")):
            folder.save(tablet(name).author.write(HullState(HULL), "step", (STEP,), {"state": state}, job=JOB))
    shown = _run(hulls.show, tmp_path, HULL).stdout
    assert "DISAGREES" in shown
    assert f"step {STEP}" in shown
    _run(hulls.settle, tmp_path, HULL, f"step {STEP}", "--value", '{"state": "look again"}', *SIGNED)
    assert "DISAGREES" not in _run(hulls.show, tmp_path, HULL).stdout
    with HullFolder(tmp_path, read_only=True) as folder:
        assert open_hull(folder, HULL).view(JOB).state_of(STEP) == "look again"


def test_a_hull_that_is_not_there_names_those_that_are(shop: Path) -> None:
    with pytest.raises(InputError, match=HULL):
        _run(hulls.show, shop, "ABC00001A526")


def test_export_and_import_carry_a_job_to_another_folder(tmp_path: Path, shop: Path) -> None:
    _run(hulls.settle, shop, HULL, NAME, "--value", "31.5 kn", *SIGNED)
    path = _run(hulls.export, shop, HULL, "-o", tmp_path / "out").stdout.strip()
    result = _run(hulls.import_job, path, "--into", tmp_path / "new", "--by", "M. Office")
    assert result.stdout == f"{HULL}: 3 new entries\n"
    assert "0 new entries" in _run(hulls.import_job, path, "--into", tmp_path / "new", "--by", "M. Office").stdout


JOB_TEXT = {
    "format": "garboard job",
    "version": 1,
    "vessel": {"hull_number": "ABC1234SC393"},
    "job": {"id": "J-1"},
}


def job_file(tmp_path: Path, number: str) -> Path:
    path = tmp_path / "job.json"
    path.write_text(json.dumps({**JOB_TEXT, "vessel": {"hull_number": number}}), encoding="utf-8")
    return path


def test_a_hull_number_that_is_none_is_not_taken_in_and_makes_no_folder(tmp_path: Path) -> None:
    refused = _run(hulls.import_job, job_file(tmp_path, "hello"), "--into", tmp_path / "new", "--by", "M. Office")
    assert refused.exit_code == 2
    assert _run(hull_command, "hello").stderr.strip() in refused.stderr
    assert "use --anyway" in refused.stderr
    assert not (tmp_path / "new").exists()


def test_said_to_be_so_on_the_transom_it_is_taken_in_and_from_then_on_without_asking(tmp_path: Path) -> None:
    words = (job_file(tmp_path, "hello"), "--into", tmp_path / "new", "--by", "M. Office")
    assert _run(hulls.import_job, *words, "--anyway").stdout.startswith("HELLO: ")
    again = _run(hulls.import_job, *words)
    assert (again.exit_code, again.stderr) == (0, "")


def test_a_misspelt_value_is_answered_with_what_it_may_be(shop: Path) -> None:
    with pytest.raises(InputError) as caught:
        _run(hulls.settle, shop, HULL, f"{STEP}/sped/1", "--value", "1 kn", *SIGNED)
    assert f"expected a value as `garboard show` lists it, perhaps {NAME}, got" in str(caught.value)


def test_where_nothing_disagrees_it_says_what_to_do_instead(shop: Path) -> None:
    _run(hulls.settle, shop, HULL, NAME, "--value", "31.5 kn", *SIGNED)
    with pytest.raises(InputError) as caught:
        _run(hulls.settle, shop, HULL, NAME, "--value", "30.0 kn", *SIGNED)
    assert "enter the value anew, or take it back" in str(caught.value)
    assert f"got {NAME}, where nothing disagrees" in str(caught.value)


def test_times_are_shown_as_people_write_them(shop: Path) -> None:
    with HullFolder(shop, read_only=True) as folder:
        at = folder.entries(HULL)[0].at
    shown = _run(hulls.show, shop, HULL).stdout
    assert at not in shown
    assert f"{int(at[8:10])} " in shown
    assert at[11:16] in shown


# A settled value is one its field takes


FUEL, THROTTLE = "handover.fuel_system/dry_at_rest", "prop_check.full_throttle/speed/1"


@pytest.fixture
def disputed(tmp_path: Path) -> Path:
    """A shop where two people disagree whether fuel leaks, and on a speed."""
    for by, leak, speed in (("a", True, "31.5 kn"), ("b", False, "33.0 kn")):
        with HullFolder(tmp_path) as folder:
            author = tablet(by).author
            state = HullState(HULL)
            folder.save(measure(author, state, JOB, "handover.fuel_system", "dry_at_rest", leak))
            folder.save(measure(author, state, JOB, "prop_check.full_throttle", "speed", speed, row="1"))
    return tmp_path


@pytest.mark.parametrize(
    ("name", "typed", "kept"),
    [(FUEL, "no", False), (FUEL, "true", True), (THROTTLE, "32.5 kn", "32.5 kn"), (THROTTLE, "32.5 knots", "32.5 kn")],
)
def test_another_value_is_kept_as_its_field_takes_it(disputed: Path, name: str, typed: str, kept: JsonValue) -> None:
    _run(hulls.settle, disputed, HULL, name, "--value", typed, *SIGNED)
    with HullFolder(disputed) as folder:
        view = open_hull(folder, HULL).view(JOB)
    step, field, *row = name.split("/")
    assert view.value(step, field, row="".join(row)) == kept


@pytest.mark.parametrize(
    ("name", "typed"), [(FUEL, "leaks"), (THROTTLE, "nonsense"), (THROTTLE, "500 kn"), (THROTTLE, "38 rpm")]
)
def test_a_value_its_field_does_not_take_settles_nothing(disputed: Path, name: str, typed: str) -> None:
    with pytest.raises(InputError, match="--value"):
        _run(hulls.settle, disputed, HULL, name, "--value", typed, *SIGNED)
    with HullFolder(disputed) as folder:
        assert len(open_hull(folder, HULL).view(JOB).disagreements) == 2
