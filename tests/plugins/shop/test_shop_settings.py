"""Settings over the sync: whose hold at the shop and on a tablet. Over real TLS."""

from __future__ import annotations

from pathlib import Path

import attrs
import pytest
from click.testing import CliRunner

from garboard.commands.cli import program
from garboard.demo.samples_folder import sample_jobs_folder
from garboard.disk.entries import SHOP_RECORD
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import Author
from garboard.history.authority import MANAGERS_FILE, managers_of
from garboard.history.like import keep_template, shared_facts, templates_in
from garboard.history.merge import merge
from garboard.history.replay import replay
from garboard.history.setting_entries import reset_setting, shop_settings
from garboard.hosting.host import PluginHost, make_host
from garboard.job_files.job_file import read_job_file
from garboard.shop_link import pairing
from garboard.shop_link.sync import bring_ashore
from garboard.shop_link.wire import names
from garboard_shop.app import Limits
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.store import MANAGER, MOST_KEPT_IN_FORCE, TECHNICIAN, before_the_shop, settings_kept
from setting_jobs import DROP, OFFICE, set_for_job, set_for_shop, take_in, view_in
from shop_rig import RunningShop, shop_and_tablets

LABELS = "wiring_audit.labelled"
CURRENT = "wiring_audit.capacity"


@pytest.fixture(scope="module")
def host() -> PluginHost:
    return make_host(entry_points=False)


def test_what_a_manager_sets_holds_on_every_tablet_and_what_a_technician_brings_is_refused(
    tmp_path: Path, host: PluginHost
) -> None:
    with (
        RunningShop(tmp_path / "shop") as shop,
        HullFolder(tmp_path / "1") as technicians,
        HullFolder(tmp_path / "2") as managers,
    ):
        ours, theirs = shop.paired("tablet 1", TECHNICIAN), shop.paired("tablet 2", MANAGER)
        pairing.keep(technicians.folder, ours)
        pairing.keep(managers.folder, theirs)
        hull = take_in(technicians, signed=False)
        set_for_shop(technicians, {DROP: "12 %"}, attrs.evolve(OFFICE, tablet=ours.device, by="R. Vane"))
        set_for_shop(managers, {DROP: "5 %"}, attrs.evolve(OFFICE, tablet=theirs.device, by="Kim"))
        report = bring_ashore(technicians, ours)
        assert report.refused == ()
        assert len(report.not_taken) == 1
        bring_ashore(managers, theirs)
        bring_ashore(technicians, ours)
        assert theirs.device in (managers_of(technicians.folder) or ())
        assert managers_of(shop.folder) == managers_of(technicians.folder)
        for folder in (technicians, shop.hulls):
            view = view_in(folder, hull, host)
            assert (view.settings[DROP], view.settings_used[DROP].set[0].by) == ("5 %", "Kim")
        assert [one.value for one in view_in(technicians, hull, host).settings_used[DROP].not_used] == ["12 %"]


def test_a_role_given_later_proves_what_waited_and_one_taken_away_does_not_undo_the_shops_page(
    tmp_path: Path, host: PluginHost
) -> None:
    with RunningShop(tmp_path / "shop") as shop, HullFolder(tmp_path / "1") as folder:
        paired = shop.paired("tablet 1", MANAGER)
        pairing.keep(folder.folder, paired)
        hull = take_in(folder, signed=False)
        set_for_shop(folder, {DROP: "5 %"}, attrs.evolve(OFFICE, tablet=paired.device))
        bring_ashore(folder, paired)
        assert view_in(shop.hulls, hull, host).settings[DROP] == "5 %"
        shop.store.register.change_role(paired.tablet, TECHNICIAN, "office", shop.now())
        assert view_in(shop.hulls, hull, host).settings[DROP] == "10 %"
        shop.store.register.change_role(paired.tablet, MANAGER, "office", shop.now())
        assert view_in(shop.hulls, hull, host).settings[DROP] == "5 %"


def test_a_shop_of_the_program_before_gets_its_list_when_it_is_opened(tmp_path: Path) -> None:
    with RunningShop(tmp_path / "shop") as shop:
        device = shop.paired("tablet 1", MANAGER).device
    (tmp_path / "shop" / MANAGERS_FILE).unlink()
    EmbeddedStore(tmp_path / "shop").close()
    assert managers_of(tmp_path / "shop") == {device, "shop page", "shop desk"}


def test_what_was_set_in_a_folder_before_it_became_a_shops_goes_on_holding(tmp_path: Path, host: PluginHost) -> None:
    """The shop's own settings and a job's; whatever else the same machine writes is believed no more than before."""
    desk = attrs.evolve(OFFICE, tablet="office", by="Boss")
    with HullFolder(tmp_path / "shop") as hulls:
        hull = take_in(hulls, signed=False)
        set_for_shop(hulls, {DROP: "9 %"}, desk)
        set_for_shop(hulls, {DROP: "5 %"}, desk)
        set_for_job(hulls, hull, LABELS, "80 %", desk)
        set_for_shop(hulls, {CURRENT: "20 %"}, attrs.evolve(OFFICE, tablet="shop desk"))
        record = replay(SHOP_RECORD, hulls.entries(SHOP_RECORD))
        hulls.save(reset_setting(desk, record, CURRENT, "as before"))
    with RunningShop(tmp_path / "shop") as shop, HullFolder(tmp_path / "1") as folder:
        pairing.keep(folder.folder, paired := shop.paired("tablet 1", TECHNICIAN))
        bring_ashore(folder, paired)
        for hulls in (shop.hulls, folder):
            view = view_in(hulls, hull, host)
            assert (view.settings[DROP], view.settings[LABELS]) == ("5 %", "80 %")
            assert not view.settings_used[DROP].not_used
            assert CURRENT not in view.settings_used, "it was taken back"
        stick = attrs.evolve(desk, by="K. Lind")
        set_for_shop(shop.hulls, {LABELS: "70 %"}, stick)
        view = view_in(shop.hulls, hull, host)
        assert [(one.value, one.proved) for one in view.settings_used[LABELS].not_used] == [("70 %", False)]
        assert [one.about for one in shop.store.register.changes() if one.what == "settings kept"] == [
            "3 set in this folder before it was a shop"
        ]
    before = managers_of(tmp_path / "shop")
    EmbeddedStore(tmp_path / "shop").close()
    assert managers_of(tmp_path / "shop") == before


def test_a_folder_in_which_nothing_was_set_becomes_a_shop_with_nobody_in_it(tmp_path: Path) -> None:
    with HullFolder(tmp_path / "shop") as hulls:
        take_in(hulls, signed=False)
    store = EmbeddedStore(tmp_path / "shop")
    assert store.register.tablets() == ()
    store.close()


def test_another_shops_settings_from_a_stick_are_said_once_and_hold_no_boat_back(tmp_path: Path) -> None:
    """The shop's and a job's: each time ashore ends well, and the boats count as ashore."""
    elsewhere = attrs.evolve(OFFICE, tablet="other yard", by="K. Lind")
    with HullFolder(tmp_path / "stick") as stick:
        hull = take_in(stick, signed=False)
        set_for_shop(stick, {DROP: "7 %", LABELS: "80 %"}, elsewhere)
        set_for_job(stick, hull, CURRENT, "20 %", elsewhere)
    with RunningShop(tmp_path / "shop") as shop:
        with HullFolder(tmp_path / "1") as tablet, HullFolder(tmp_path / "stick", read_only=True) as stick:
            merge([stick], tablet)
            pairing.keep(tablet.folder, paired := shop.paired("tablet 1", TECHNICIAN))
            for _ in range(2):
                report = bring_ashore(tablet, paired)
                assert (report.refused, report.differing, len(report.not_taken)) == ((), (), 3)
        ended = CliRunner().invoke(program, ["ashore", "--folder", str(tmp_path / "1")])
        assert ended.exit_code == 0, ended.output
        assert ended.output.count("settings of another shop, or set by nobody who is a manager of this one: 3.") == 1
        assert "the shop holds all the others" in ended.output
        assert SHOP_RECORD not in ended.output
        assert shop.hulls.count(SHOP_RECORD) == 0


def test_what_the_shop_refuses_in_its_record_for_another_reason_is_still_said(tmp_path: Path) -> None:
    """A manager's tablet, and no room: it is to be done something about."""
    with RunningShop(tmp_path / "shop", Limits(hull=1)) as shop, HullFolder(tmp_path / "1") as tablet:
        pairing.keep(tablet.folder, paired := shop.paired("tablet 1", MANAGER))
        set_for_shop(tablet, {DROP: "7 %", LABELS: "80 %"}, attrs.evolve(OFFICE, tablet=paired.device))
        report = bring_ashore(tablet, paired)
    assert (len(report.refused), report.not_taken, report.differing) == (1, (), (SHOP_RECORD,))
    assert SHOP_RECORD not in report.refused[0][1]


def test_more_settings_than_a_tablet_can_be_told_of_are_counted_in_what_was_noted() -> None:
    ids = [f"{number:032x}" for number in range(MOST_KEPT_IN_FORCE + 2)]
    before = before_the_shop(ids, 1)
    assert before.writes_as == tuple(ids[:MOST_KEPT_IN_FORCE]), "the shop's own come first"
    assert settings_kept(before, len(ids)).about.endswith("; 2 more do not hold, set them again")
    assert len(names(before.writes_as)) < 60_000


def test_a_template_a_technician_keeps_reaches_the_other_tablets_and_sets_nothing(tmp_path: Path) -> None:
    """Kept beside the shop's settings: unlike those, anyone of the shop may keep one."""
    vessel = read_job_file(sample_jobs_folder() / "saltgrass" / "job.json").vessel
    with shop_and_tablets(tmp_path, 2) as (shop, [(one, first), (two, second)]):
        kept = keep_template(
            Author("tablet one", "N. Sorrel"), replay(SHOP_RECORD, []), "Bay boat", shared_facts(vessel)
        )
        one.put_if_absent(SHOP_RECORD, kept)
        assert bring_ashore(one, first).equal
        assert bring_ashore(two, second).received == len(kept)
        record = replay(SHOP_RECORD, two.entries(SHOP_RECORD))
        (template,) = templates_in(record)
        assert dict(template.facts) == shared_facts(vessel)
        assert shop_settings(two.entries(SHOP_RECORD)) == ()
        assert shop.hulls.boats() == ()
