"""A step on the tablet: what a line, a finding, a caution and an odd value say, and which press is under the thumb."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from garboard_tablet.models.pages import ValueLine
from garboard_tablet.models.tablet import Tablet, open_tablet
from tablet.driver import Drive, declared, new_job, view_of
from tablet.fake_files import picture


@pytest.fixture
def long_reach(tmp_path: Path) -> Iterator[tuple[Tablet, str, str]]:
    """A tablet with the sample job of that name: the tablet, its hull, its job."""
    from garboard.demo.samples_folder import sample_job_files
    from garboard.history import exchange
    from garboard.job_files.job_file import read_job_file

    tablet = open_tablet(tmp_path / "long_reach")
    path = next(path for path in sample_job_files() if path.parent.name == "long_reach")
    exchange.import_job(tablet.files, read_job_file(path), path.parent, tablet.author(by="Robin"))
    (hull,) = tablet.files.hulls()
    yield tablet, hull, tablet.state_of(hull).jobs[-1]
    tablet.close()


def test_a_row_says_what_it_is_of_and_names_its_values(long_reach: tuple[Tablet, str, str]) -> None:
    """Which pump, not which row; a value never stands without its name; what is simply in order is counted."""
    from garboard_tablet.models.pages import asks_here, lines_of_step, table_titles

    tablet, hull, job = long_reach

    def lines(key: str) -> dict[str, ValueLine]:
        step = declared(tablet, key)
        found = lines_of_step(tablet, hull, job, asks_here(tablet, hull, job, step), table_titles(step))
        return {line.title: line for line in found}

    pumps = lines("handover.bilge_pumps")
    assert {"Pumps, Forward", "Pumps, Aft"} <= set(pumps)
    assert pumps["Pumps, Forward"].named.startswith("Runs by its switch and pumps overboard: yes; ")
    assert pumps["Pumps, Forward"].value == "3 of 3"
    step = declared(tablet, "handover.bilge_pumps")
    assert all(ask.context == "Forward" for ask in asks_here(tablet, hull, job, step)
               if ask.row == "1")  # fmt: skip
    wash = lines("wiring_audit.circuits")["Circuits, Deck wash"]
    assert "Current, running: 10.8 A; Drop, running: 0.98 V" in wash.named
    assert "others: yes" in wash.named
    assert "·" not in wash.named


def test_a_finding_names_what_it_is_about_before_it_says_anything(drive: Drive) -> None:
    """On the step's page, on the page of the value just entered, and on the page that says why."""
    d = drive()
    new_job(d)

    def leads() -> list[list[str]]:
        """The bold words of each card or line, with the words after them."""
        bold = [w for w in d.widgets() if getattr(w, "bold", False) and w.text == "Horn"]
        return [
            sorted((other.text for other in w.parent.children if getattr(other, "text", "")), key=len) for w in bold
        ]

    d.press("step dock.horn", "choice No")
    (said,) = leads()
    assert any("Not heard" in text for text in said), "while the next value is entered"
    d.press("back")
    (said,) = leads()
    assert any("Not heard" in text for text in said), "on the step's own page"
    d.press("finding 0")
    (said,) = leads()
    assert any("Not heard" in text for text in said), "where it says why"


def test_an_odd_value_is_not_confirmed_by_the_thumb_that_pressed_next(drive: Drive) -> None:
    """What stands where Next stood is to type it again; confirming lies apart and is not the strong one."""
    d = drive()
    new_job(d)
    d.press("tab vessel", "Equipment", "kind engines", "2 engines", "back", "back", "tab under way")
    d.press("step dock.full", "begin")
    next_at = d.find("next").center
    d.number("9000")
    again, yes = d.find("next"), d.find("yes, save it")
    assert (again.text, again.kind, yes.kind) == ("Type it again", "main", "plain")
    assert again.collide_point(*next_at)
    assert not yes.collide_point(*next_at)
    d.press("next")
    assert view_of(d).find("dock.full", "engine_speed", of="port") is None
    assert d.app.shell.page.form.text == ""
    assert d.find("next").text.startswith("Next: ")


def test_only_the_unit_in_use_is_marked(drive: Drive) -> None:
    """The others are plain; choosing one moves the mark."""
    d = drive()
    new_job(d)
    d.press("tab under way", "step dock.fuel")
    d.number("3000")
    d.press("unit")
    units = [w for w in d.widgets() if getattr(w, "name", "").startswith("unit ")]
    assert len(units) > 1
    assert [unit.text for unit in units if unit.chosen] == ["gal/h"]
    d.press("unit L/h", "unit")
    assert [w.text for w in d.widgets() if getattr(w, "name", "").startswith("unit ") and w.chosen] == ["L/h"]


def test_having_read_is_said_only_under_the_last_caution(drive: Drive) -> None:
    """While cautions remain the press reads on; the same press, and no more of them than before."""
    from garboard.hosting.host import make_host

    d = drive(make_host=lambda: make_host(("garboard_prop_check",), entry_points=False))
    new_job(d)
    d.resize(1024, 600)
    d.press("tab under way", "step prop_check.full_throttle")
    said, cautions = [], declared(d.app.tablet, "prop_check.full_throttle").cautions
    read = set()
    while d.app.tablet.session.here.page == "cautions":
        said.append(d.find("begin").text)
        read |= {caution.text for caution in cautions if d.says(caution.text)}
        d.press("begin")
    assert len(said) > 1
    assert said == ["Read on"] * (len(said) - 1) + ["I have read this"]
    assert read == {caution.text for caution in cautions}


def test_the_cautions_of_a_step_follow_what_the_boat_burns(drive: Drive) -> None:
    """Before anybody has said, gasoline vapour; of a diesel boat fuel fire."""
    from garboard.cautions import FUEL_FIRE, FUEL_VAPOUR
    from garboard.history.authoring import measure
    from garboard.history.replay import HullState
    from garboard.hosting.host import make_host

    d = drive(make_host=lambda: make_host(("garboard_fuel_curve",), entry_points=False))
    new_job(d)
    tablet, here = d.app.tablet, d.app.tablet.session.here
    key = "fuel_curve.steps"

    def read() -> set[str]:
        d.app.way.go(here.to("step", step=key))
        d.app.way.go(here.to("step", step=key).to("cautions"))
        d.step()
        seen = set()
        while tablet.session.here.page == "cautions":
            seen |= {one.text for one in (FUEL_VAPOUR, FUEL_FIRE) if d.says(one.text)}
            d.press("begin")
        return seen

    assert read() == {FUEL_VAPOUR.text}
    tablet.save(measure(tablet.author("Kim"), HullState(here.hull), here.job, key, "fuel", "diesel"))
    assert read() == {FUEL_FIRE.text}


def test_taking_off_names_the_piece_whole(drive: Drive) -> None:
    """ "port" alone is no question."""
    d = drive()
    new_job(d)
    d.press(
        "tab vessel", "Equipment", "kind engines", "2 engines", "piece port", "page down", "page down", "remove piece"
    )
    assert d.says("Remove the port engine?")


def test_plugins_are_called_by_their_titles(drive: Drive) -> None:
    """A technician knows a wiring audit, and no package."""
    from garboard.hosting.host import make_host

    d = drive(make_host=lambda: make_host(("garboard_wiring_audit",), entry_points=False))
    d.press("settings")
    assert d.says("Wiring audit")
    assert not d.says("garboard_")


def test_without_a_file_the_page_says_how_one_comes_in_and_looks_again(drive: Drive, tmp_path: Path) -> None:
    """A folder's short name, no path of the machine; a picture copied there is listed without leaving the page."""
    d = drive(tmp_path / "t")
    new_job(d)
    d.press("tab hand over", "step dock.brief", "skip")
    assert d.says("the tablet's camera")
    assert d.says("t/inbox")
    assert not d.says(str(tmp_path))
    (tmp_path / "t" / "inbox").mkdir(parents=True)
    (tmp_path / "t" / "inbox" / "plate.jpg").write_bytes(picture(40, 30))
    d.press("look again", "plate.jpg")
    photo: Any = view_of(d).value("dock.brief", "photo")
    assert photo["name"] == "plate.jpg"
