"""The shop's settings on a tablet: shown, not changed; what arrives by sync is in every finding at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import attrs
import pytest

from garboard.disk.entries import SHOP_RECORD
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.history.authoring import Author
from garboard.history.merge import HullMerge, merge
from garboard.hosting.host import make_host
from garboard.shop_link import pairing
from garboard.shop_link.ashore import State
from garboard.shop_link.sync import SyncReport, bring_ashore
from garboard_tablet.models.assessor import Assessor
from garboard_tablet.models.background import Background
from garboard_tablet.models.pages import ranked
from garboard_tablet.models.session import Route
from garboard_tablet.models.shop_settings import setting_lines
from garboard_tablet.models.tablet import Tablet, open_tablet
from garboard_tablet.models.vessels import VesselList, check_hull
from setting_jobs import DROP, OFFICE, set_for_shop, take_in
from shop_rig import RunningShop

MAKE = partial(make_host, entry_points=False)
TITLE = next(setting.field.title for setting in MAKE().settings if setting.key == DROP)


@pytest.fixture
def tablet(tmp_path: Path) -> Iterator[Tablet]:
    opened = open_tablet(tmp_path / "tablet", MAKE)
    yield opened
    opened.close()


def arrive(tablet: Tablet, tmp_path: Path, value: str, author: Author = OFFICE) -> None:
    """A setting arrives from elsewhere, as coming ashore brings it."""
    with HullFolder(tmp_path / f"shop {value}") as shop:
        merge([tablet.files], shop)
        set_for_shop(shop, {DROP: value}, author)
        report = merge([shop], tablet.files)
    tablet.look_again([hull.hull for hull in report.hulls])


def drops(tablet: Tablet, hull: str, job: str) -> set[object]:
    return {used.value for one in tablet.assess(hull, job) for used in one.settings_used if used.key == DROP}


def test_a_setting_that_arrives_is_in_the_next_findings(tablet: Tablet, tmp_path: Path) -> None:
    hull = take_in(tablet.files, signed=False)
    (job,) = tablet.boat(hull).jobs
    assert drops(tablet, hull, job) == set()
    arrive(tablet, tmp_path, "7 %")
    assert drops(tablet, hull, job) == {"7 %"}
    arrive(tablet, tmp_path, "5 %")
    assert drops(tablet, hull, job) == {"5 %"}


def failed(_what: str, failure: BaseException) -> None:
    raise AssertionError(str(failure))


def test_findings_worked_out_before_it_arrived_are_known_no_more(
    tablet: Tablet, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also those still being worked out when it arrives."""
    hull = take_in(tablet.files, signed=False)
    route = Route(page="job", hull=hull, job=tablet.boat(hull).jobs[0])
    queue: list[Callable[[], object]] = []
    background = Background(lambda work, _after=0.0: queue.append(work), failed)
    monkeypatch.setattr(background._workers, "submit", lambda work, *args: queue.append(lambda: work(*args)))
    assessor = Assessor(tablet, background, lambda _key: None)
    assessor.soon(route)
    queue.pop(0)()  # it begins, with the view of before
    arrive(tablet, tmp_path, "7 %")
    while queue:
        queue.pop(0)()
    assert assessor.known(route) is None
    assessor.soon(route)
    while queue:
        queue.pop(0)()
    found = assessor.known(route)
    assert found is not None
    assert {used.value for one in found for used in one.settings_used} == {"7 %"}


def test_who_may_decide_is_learnt_with_the_next_coming_ashore(tmp_path: Path) -> None:
    """The tablet's own list is from the shop; a value that waited for it holds from then on."""
    tablet = open_tablet(tmp_path / "tablet", MAKE)
    with RunningShop(tmp_path / "shop") as shop:
        paired = shop.paired("tablet 1", "technician")
        pairing.keep(tablet.folder, paired)
        hull = take_in(tablet.files, signed=False)
        (job,) = tablet.boat(hull).jobs
        author = attrs.evolve(OFFICE, tablet=paired.device)
        set_for_shop(tablet.files, {DROP: "7 %"}, author)
        tablet.look_again([SHOP_RECORD])
        assert tablet.view(hull, job).settings[DROP] == "10 %"
        shop.store.register.change_role(paired.tablet, "manager", "office", shop.now())
        bring_ashore(tablet.files, paired)
        tablet.look_again([])
        assert tablet.view(hull, job).settings[DROP] == "7 %"
    tablet.close()


def test_the_list_has_what_is_not_at_its_default_first(tablet: Tablet, tmp_path: Path) -> None:
    set_for_shop(tablet.files, {DROP: "7 %"})
    first, *others = setting_lines(tablet)
    assert (first.title, first.value, first.is_default, first.is_plain) == (TITLE, "7 %", False, False)
    assert "our limit, set by Office on 12 May 2026" in first.text
    assert all(line.is_default for line in others)
    assert len(others) == len(tablet.host.settings) - 1


def test_the_shops_record_is_no_vessel(tablet: Tablet) -> None:
    hull = take_in(tablet.files)
    set_for_shop(tablet.files, {DROP: "7 %"})
    vessels = VesselList(tablet)
    assert vessels.stale() == (hull,)
    vessels.refresh(hull)
    vessels.keep()
    vessels.read()
    assert [line.hull for line in vessels.found("")] == [hull]
    assert vessels.found("SETTINGS") == ()
    assert vessels.stale() == ()


def test_typed_as_a_hull_number_it_opens_no_job(tablet: Tablet) -> None:
    typed = "SHOP SETTINGS NO BOAT"
    assert any("no boat has it" in fault for fault in check_hull(typed, ()).faults)
    with pytest.raises(InputError, match="no boat has it"):
        tablet.open_job(typed)
    assert tablet.files.hulls() == ()


def test_a_technician_signs_under_what_holds_then(tablet: Tablet) -> None:
    hull = take_in(tablet.files, signed=False)
    (job,) = tablet.boat(hull).jobs
    set_for_shop(tablet.files, {DROP: "7 %"})
    tablet.look_again([SHOP_RECORD])
    tablet.sign(hull, job, "technician", "R. Vane", b"drawn")
    set_for_shop(tablet.files, {DROP: "5 %"})
    tablet.look_again([SHOP_RECORD])
    view = tablet.view(hull, job)
    assert (view.settings[DROP], view.settings_used[DROP].shop_now[0].value) == ("7 %", "5 %")


def test_the_page_is_reached_from_the_settings_and_changes_nothing(drive: Any, tmp_path: Path) -> None:
    d = drive(tmp_path / "t", make_host=MAKE)
    set_for_shop(d.app.tablet.files, {DROP: "7 %"})
    d.press("settings", "shop settings")
    assert d.says("Not at the default")
    assert d.says(f"{TITLE}: 7 %")
    assert {w.name for w in d.widgets() if getattr(w, "name", None)} <= {"back", "page down", "page up", "home"}


def test_what_arrives_while_the_page_is_open_is_shown(drive: Any, tmp_path: Path) -> None:
    d = drive(tmp_path / "t", make_host=MAKE)
    d.press("settings", "shop settings")
    assert d.says("None. Every setting is at its default.")
    set_for_shop(d.app.tablet.files, {DROP: "7 %"})
    report = SyncReport(
        sent=0,
        received=1,
        attachments_sent=0,
        attachments_received=0,
        hulls=(HullMerge(hull=SHOP_RECORD, received=1, existing=0),),
        refused=(),
        not_kept=(),
        approved=(),
        withdrawn=(),
        role="technician",
        clock_offset=0,
        here={},
        there={},
        differing=(),
        bytes_sent=0,
        bytes_received=0,
    )
    d.app._came_ashore(State(word="ashore", report=report))
    d.step(2)
    assert d.says(f"{TITLE}: 7 %")


def test_the_page_of_why_names_the_setting(drive: Any, tmp_path: Path) -> None:
    with HullFolder(tmp_path / "t") as files:
        hull = take_in(files, signed=False)
        set_for_shop(files, {DROP: "7 %"})
    d = drive(tmp_path / "t", make_host=MAKE)
    (job,) = d.app.tablet.boat(hull).jobs
    found = d.app.tablet.assess(hull, job)
    step = next(one.step for one in found if one.settings_used)
    here = d.app.tablet.assess(hull, job, [step])
    number = next(n for n, one in enumerate(ranked(d.app.tablet, here)) if one.settings_used)
    d.app.way.go(Route(page="why", hull=hull, job=job, step=step, subject=(str(number),)))
    while not d.says("set by Office on 12 May 2026") and d.has("page down"):
        d.press("page down")
    assert d.says("7 %, our limit, set by Office on 12 May 2026")


def test_the_page_of_a_step_says_whose_limit_it_judges_by(drive: Any, tmp_path: Path) -> None:
    """Where a finding rests on a limit of the shop's own, it says so where it stands, not only under Why."""
    with HullFolder(tmp_path / "t") as files:
        hull = take_in(files, signed=False)
        set_for_shop(files, {DROP: "7 %"})
    d = drive(tmp_path / "t", make_host=MAKE)
    (job,) = d.app.tablet.boat(hull).jobs
    step = next(one.step for one in d.app.tablet.assess(hull, job) if one.settings_used)
    d.app.way.go(Route(page="step", hull=hull, job=job, step=step))
    while not d.says("set by Office on 12 May 2026") and d.has("page down"):
        d.press("page down")
    assert d.says("7 %, our limit, set by Office on 12 May 2026")
