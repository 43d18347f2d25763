"""The demo's day shows everything a merge is for."""

from __future__ import annotations

import shutil
from pathlib import Path

import attrs
import pytest

from garboard.demo.demo_day import Day, keep_issued, make_day, settle_day, sign_day
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.history.authoring import retract
from garboard.history.boat import author_for, open_hull, register_named
from garboard.history.proof import issued_books, proof_of
from garboard.hosting.host import make_host
from garboard.judging.assessing import assess_one, assess_path
from garboard.report.outline import hand_over, is_handed_over

SAMPLES = Path(__file__).parents[2] / "sample_jobs"
SALTGRASS, KITTIWAKE, LONG_REACH = "QQZ04417D626", "QQZ08832B626", "QQZ01209A626"


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Day:
    jobs = {name: SAMPLES / name / "job.json" for name in ("saltgrass", "kittiwake", "long_reach")}
    out = tmp_path_factory.mktemp("day")
    made = make_day(jobs, out)
    again = make_day(jobs, out)
    assert again.report.received == 0
    return made


@pytest.fixture
def own_day(day: Day, tmp_path: Path) -> Day:
    """The day again, to write into: no other test sees what is written."""
    shutil.copytree(day.shop.parent, tmp_path / "day")
    tablets = tuple(tmp_path / "day" / one.relative_to(day.shop.parent) for one in day.tablets)
    return attrs.evolve(day, shop=tmp_path / "day" / day.shop.name, tablets=tablets)


def test_the_evenings_merge_names_the_disagreement_the_stale_sign_offs_and_the_look_alike(day: Day) -> None:
    hulls = {hull.hull: hull for hull in day.report.hulls}
    assert [key.subject[:2] for key in hulls[SALTGRASS].disagreeing] == [("prop_check.full_throttle", "speed")]
    assert any("drop" in what for _, names in hulls[KITTIWAKE].stale for what in names)
    assert hulls["QQZO1209A626"].look_alikes == (LONG_REACH,)
    assert day.report.complete


def test_the_shop_holds_what_every_tablet_holds(day: Day) -> None:
    with HullFolder(day.shop, read_only=True) as shop:
        for tablet in day.tablets:
            with HullFolder(tablet, read_only=True) as held:
                for hull in held.hulls():
                    assert held.ids(hull) <= shop.ids(hull)


def test_an_entry_of_a_plugin_not_here_is_kept_and_counted(day: Day) -> None:
    with HullFolder(day.shop, read_only=True) as shop:
        state = open_hull(shop, LONG_REACH).state
        assert [entry.kind for entry in state.unknown.values()] == ["paint_check"]


def test_a_value_that_disagrees_is_not_used_and_says_so(day: Day) -> None:
    with HullFolder(day.shop, read_only=True) as shop:
        view = open_hull(shop, SALTGRASS).view("saltgrass-2026-05")
    assert view.amount("prop_check.full_throttle", "speed", "kn", row="2") is None
    assert view.amount("prop_check.full_throttle", "speed", "kn", row="1") == 32.9


def test_the_managers_evening_leaves_nothing_to_decide_and_is_not_repeated(own_day: Day) -> None:
    assert len(settle_day(own_day.shop)) == 3
    assert settle_day(own_day.shop) == ()
    with HullFolder(own_day.shop, read_only=True) as shop:
        assert open_hull(shop, "QQZO1209A626").jobs == open_hull(shop, LONG_REACH).jobs == ("long-reach-2026-05",)
        view = open_hull(shop, LONG_REACH).view("long-reach-2026-05")
    assert view.amount("fuel_curve.tanks", "usable_fuel", "gal") == 270


def test_the_boat_measured_again_is_signed_again_and_finished_and_no_one_signs_twice(own_day: Day) -> None:
    host = make_host()
    before = assess_one(own_day.shop, host, KITTIWAKE)
    assert not is_handed_over(before.view)
    assert set(sign_day(own_day)) == {f"{KITTIWAKE}: technician N. Sorrel", f"{KITTIWAKE}: owner J. Ashdown"}
    after = assess_one(own_day.shop, host, KITTIWAKE)
    assert is_handed_over(after.view)
    assert hand_over(after.view, after.assessed, ()).lacking == ()
    assert [one.stale for one in after.view.sign_offs] == [False, False]
    assert sign_day(own_day) == ()
    with HullFolder(own_day.tablets[1], read_only=True) as tablet, HullFolder(own_day.shop, read_only=True) as shop:
        assert tablet.ids(KITTIWAKE) == shop.ids(KITTIWAKE)


def test_the_sample_day_signs_for_no_one_who_went_on_with_the_boat(tmp_path: Path) -> None:
    """Taken back after both had signed: the owner did not sign for that, and no second demo signs for him."""
    jobs = {name: SAMPLES / name / "job.json" for name in ("saltgrass", "kittiwake", "long_reach")}
    day = make_day(jobs, tmp_path / "day")
    settle_day(day.shop)
    sign_day(day)
    with HullFolder(day.shop) as shop:
        boat = open_hull(shop, KITTIWAKE)
        state, horn = register_named(boat, "kittiwake-2026-05", "handover.lights_and_horn/horn")
        shop.save(retract(author_for(shop, state, "office", "M. Office"), state, horn, "not heard"))
    again = make_day(jobs, tmp_path / "day")
    assert settle_day(again.shop) == ()
    assert sign_day(again) == ()
    with HullFolder(day.shop, read_only=True) as shop:
        view = open_hull(shop, KITTIWAKE).view("kittiwake-2026-05")
    assert [one.stale for one in view.sign_offs] == [True, True]


def test_a_folder_of_hull_files_is_assessed_like_job_files_and_a_book_needs_one_job_named(day: Day) -> None:
    host = make_host()
    jobs = {job.view.job.id: job for job in assess_path(day.shop, host) if not isinstance(job, InputError)}
    assert set(jobs) == {"saltgrass-2026-05", "kittiwake-2026-05", "long-reach-2026-05"}
    turns = [one for one in jobs["kittiwake-2026-05"].assessed if one.calculator == "heading_calibration.steady_turn"]
    assert any(one.finding.numbers for one in turns), "the recordings were read out of the attachments"
    assert assess_one(day.shop, host, SALTGRASS).view.job.id == "saltgrass-2026-05"
    with pytest.raises(InputError, match="--hull QQZ04417D626 --job saltgrass-2026-05"):
        assess_one(day.shop, host)


def test_a_finished_boats_book_is_issued_once_and_its_root_stays(own_day: Day) -> None:
    with HullFolder(own_day.shop, read_only=True) as shop:
        boat = open_hull(shop, KITTIWAKE)
        before = proof_of(boat, boat.jobs[0])
        view = boat.view(boat.jobs[0])
    for _ in range(2):
        keep_issued(own_day.shop, view, b"the book", before, {"handover": "1"})
    with HullFolder(own_day.shop, read_only=True) as shop:
        boat = open_hull(shop, KITTIWAKE)
        (one,) = issued_books(boat, view.job.id)
        assert (one.root, one.entry.by) == (before.root, "M. Office")
        assert proof_of(boat, view.job.id).root == before.root
