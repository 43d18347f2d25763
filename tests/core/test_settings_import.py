"""Settings by file: checked where they come in, kept as what they are, in force only where a manager took them in."""

from pathlib import Path

import attrs
import pytest

from garboard.disk import entries
from garboard.disk.entries import SHOP_RECORD
from garboard.disk.hullfile import HullFolder
from garboard.history.boat import open_hull
from garboard.history.exchange import export_job, import_job
from garboard.history.merge import merge, state_digest
from garboard.history.replay import replay
from garboard.history.setting_entries import reset_setting
from garboard.hosting.host import make_host
from garboard.job_files.job_file import job_file_text, read_job_file
from garboard.shop_link import pairing
from run_program import outcome as run
from setting_jobs import DROP, OFFICE, SALTGRASS, set_for_job, set_for_shop, take_in, view_in

HOST = make_host(entry_points=False)
LABELS = "wiring_audit.labelled"
TABLET = attrs.evolve(OFFICE, tablet="device-1", by="R. Vane")
PAIRED = pairing.PairedShop("Yard", "10.0.0.2", 8443, "ab" * 32, "token", "t1", "technician", "device-1")


@pytest.fixture
def exported(tmp_path: Path) -> Path:
    """A job exported at a shop: one setting of its own, one of the shop's."""
    with HullFolder(tmp_path / "shop") as hulls:
        hull = take_in(hulls, signed=False)
        set_for_job(hulls, hull, DROP, "7 %")
        set_for_shop(hulls, {LABELS: "80 %"})
        boat = open_hull(hulls, hull)
        return export_job(hulls, boat, boat.jobs[0], tmp_path / "out", HOST.settings)


@pytest.fixture
def technicians(tmp_path: Path) -> Path:
    folder = tmp_path / "tablet"
    folder.mkdir()
    pairing.keep(folder, PAIRED)
    return folder


def test_an_export_states_what_holds_and_carries_the_jobs_own_entries(exported: Path) -> None:
    read = read_job_file(exported)
    assert read.settings == {DROP: "7 %", LABELS: "80 %"}
    kinds = [(one["kind"], one["hull"]) for one in read.entries if isinstance(one, dict) and one["kind"] == "setting"]
    assert kinds == [("setting", read.vessel.hull_number)]


def test_in_another_shop_the_file_changes_no_rule_of_that_shop(exported: Path, tmp_path: Path) -> None:
    with HullFolder(tmp_path / "other") as hulls:
        set_for_shop(hulls, {LABELS: "90 %"})
        held = hulls.ids(SHOP_RECORD)
        hull, _ = import_job(hulls, read_job_file(exported), exported.parent, OFFICE)
        assert hulls.ids(SHOP_RECORD) == held
        view = view_in(hulls, hull, HOST)
        assert (view.settings[DROP], view.settings[LABELS]) == ("7 %", "80 %"), "they stay with the job"
        assert import_job(hulls, read_job_file(exported), exported.parent, OFFICE)[1] == 0


def test_in_a_technicians_folder_they_are_kept_shown_and_not_in_force(exported: Path, technicians: Path) -> None:
    """The job's own entry names the shop's page, which is known; what the importer states is a technician's."""
    with HullFolder(technicians) as hulls:
        hull, _ = import_job(hulls, read_job_file(exported), exported.parent, TABLET)
        view = view_in(hulls, hull, HOST)
        assert view.settings[DROP] == "7 %"
        assert view.settings[LABELS] != "80 %"
        assert [(one.value, one.by) for one in view.settings_used[LABELS].not_used] == [("80 %", "R. Vane")]
        assert import_job(hulls, read_job_file(exported), exported.parent, TABLET)[1] == 0


def test_a_file_written_by_hand_is_kept_in_a_technicians_folder_the_same_way(technicians: Path, tmp_path: Path) -> None:
    by_hand = attrs.evolve(read_job_file(SALTGRASS), settings={DROP: "7 %"}, sign_offs=())
    with HullFolder(technicians) as hulls:
        hull, _ = import_job(hulls, by_hand, SALTGRASS.parent, TABLET)
        view = view_in(hulls, hull, HOST)
        assert view.settings[DROP] == "10 %"
        assert [one.value for one in view.settings_used[DROP].not_used] == ["7 %"]


@pytest.mark.parametrize("value", ["50 %", "5", "soon"])
def test_a_setting_out_of_range_is_refused_where_it_comes_in(value: str, tmp_path: Path) -> None:
    path = tmp_path / "job.json"
    path.write_text(job_file_text(attrs.evolve(read_job_file(SALTGRASS), settings={DROP: value})), encoding="utf-8")
    ended, said = run("import", path, "--into", tmp_path / "shop", "--by", "Office")
    assert ended == 2
    assert f"settings.{DROP}" in said
    assert "line " in said
    assert not (tmp_path / "shop").exists()


def test_settling_a_jobs_setting_checks_the_range(tmp_path: Path) -> None:
    with HullFolder(tmp_path / "a") as one, HullFolder(tmp_path / "b") as other:
        hull = take_in(one, signed=False)
        merge([one], other)
        set_for_job(one, hull, DROP, "5 %")
        set_for_job(other, hull, DROP, "7 %")
        merge([other], one)
        assert view_in(one, hull, HOST).settings_used[DROP].state == "unsettled"
    words = ("settle", tmp_path / "a", hull, f"setting {DROP}", "--by", "Office", "--reason", "our rule")
    ended, said = run(*words, "--value", "50 %")
    assert (ended, "between 0.5 and 20 %" in said) == (2, True), said
    ended, said = run(*words, "--value", "7 %")
    assert ended == 0, said
    with HullFolder(tmp_path / "a", read_only=True) as one:
        used = view_in(one, hull, HOST).settings_used[DROP]
    assert (used.value, used.state) == ("7 %", "set")


def test_the_command_of_a_technicians_folder_refuses_to_set(technicians: Path) -> None:
    with HullFolder(technicians) as hulls:
        hull = take_in(hulls)
    who = ("--by", "R. Vane", "--reason", "why")
    for words in ((), ("--hull", hull)):
        ended, said = run("settings", "set", technicians, DROP, "7 %", *words, *who)
        assert (ended, "a technician's, and this sets a shop setting" in said) == (2, True), said


def test_a_program_that_knows_no_settings_gives_the_same_digest_of_the_state(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with HullFolder(tmp_path) as hulls:
        hull = take_in(hulls, signed=False)
        set_for_job(hulls, hull, DROP, "7 %")
        set_for_shop(hulls, {DROP: "5 %", LABELS: "80 %"})
        record = replay(SHOP_RECORD, hulls.entries(SHOP_RECORD))
        hulls.save(reset_setting(OFFICE, record, LABELS, "no more"))
        now = {key: state_digest(hulls, key) for key in hulls.hulls()}
    monkeypatch.setattr(entries, "KINDS", entries.KINDS - {"setting"})
    with HullFolder(tmp_path, read_only=True) as hulls:
        before = {key: state_digest(hulls, key) for key in hulls.hulls()}
        assert [*replay(SHOP_RECORD, hulls.entries(SHOP_RECORD)).unknown]
    assert before == now


def reset_of_job(hulls: HullFolder, hull: str, key: str) -> None:
    boat = open_hull(hulls, hull)
    job = boat.jobs[0]
    hulls.save(reset_setting(OFFICE, boat.state_of(job), key, "not for this boat", job))


def test_what_a_file_stated_and_was_taken_back_stays_taken_back(exported: Path, tmp_path: Path) -> None:
    """By hand, and exported at another shop."""
    by_hand = attrs.evolve(read_job_file(SALTGRASS), settings={DROP: "7 %"}, sign_offs=())
    for number, (read, key) in enumerate(((by_hand, DROP), (read_job_file(exported), LABELS))):
        with HullFolder(tmp_path / str(number)) as hulls:
            hull, _ = import_job(hulls, read, exported.parent, OFFICE)
            assert key in view_in(hulls, hull, HOST).settings_used
            reset_of_job(hulls, hull, key)
            assert key not in view_in(hulls, hull, HOST).settings_used
            assert import_job(hulls, read, exported.parent, OFFICE)[1] == 0
            assert key not in view_in(hulls, hull, HOST).settings_used


def test_what_a_file_stated_and_a_manager_replaced_does_not_come_back_beside_it(tmp_path: Path) -> None:
    by_hand = attrs.evolve(read_job_file(SALTGRASS), settings={DROP: "7 %"}, sign_offs=())
    with HullFolder(tmp_path) as hulls:
        hull, _ = import_job(hulls, by_hand, SALTGRASS.parent, OFFICE)
        set_for_job(hulls, hull, DROP, "5 %")
        assert import_job(hulls, by_hand, SALTGRASS.parent, OFFICE)[1] == 0
        used = view_in(hulls, hull, HOST).settings_used[DROP]
    assert (used.value, used.state) == ("5 %", "set")
