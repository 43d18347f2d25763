"""A typed value says how finely it was read and with which meter; taking it back stands behind Change."""

from __future__ import annotations

import pytest

from garboard_tablet.models.entry import EntryForm, enter
from garboard_tablet.models.session import Route
from garboard_tablet.models.tablet import open_tablet
from tablet.driver import Drive, Driver, new_job, view_of

SPEED = ("measure", "dock.full", "speed", "", "")
NB = "\u00a0"


@pytest.fixture
def pad(drive: Drive) -> Driver:
    """The number pad of the boat's speed."""
    d = drive()
    new_job(d)
    at_speed(d)
    return d


def at_speed(d: Driver) -> None:
    here = d.app.tablet.session.here
    d.app.way.go(Route(page="entry", hull=here.hull, job=here.job, step="dock.full", subject=SPEED))


def form(d: Driver) -> EntryForm:
    here = d.app.tablet.session.here
    found = enter(d.app.tablet, Route(page="entry", hull=here.hull, job=here.job, step="dock.full", subject=SPEED))
    assert found is not None
    return found


def instrument(d: Driver) -> str:
    found = view_of(d).find("dock.full", "speed")
    assert found is not None
    return str(found.instrument)


def test_the_pad_says_how_finely_it_is_read_digit_by_digit_and_with_what(pad: Driver) -> None:
    assert pad.says("meter not named")
    assert not pad.says("read to")
    for key, half in (("3", "0.5"), ("9", "0.5"), (".", "0.5"), ("2", "0.05"), ("5", "0.005")):
        pad.press(f"key {key}")
        assert pad.says(f"read to ±{NB}{half}{NB}kn, meter not named")
    pad.press("meter")
    pad.write("Log 2")
    pad.press("save it")
    assert pad.says(f"39.25{NB}kn") or pad.says("39.25"), "what was typed is still there"
    assert pad.says("with Log 2")
    pad.press("next")
    assert (view_of(pad).value("dock.full", "speed"), instrument(pad)) == ("39.25 kn", "Log 2")


def test_the_meter_stays_in_hand_for_its_quantity_and_is_put_down_again(pad: Driver) -> None:
    pad.press("meter")
    pad.write("Log 2")
    pad.press("save it")
    pad.number("40")
    here = pad.app.tablet.session.here
    engine_speed = Route(page="entry", hull=here.hull, job=here.job, step="dock.fuel",
                         subject=("measure", "dock.fuel", "at", "1", ""))  # fmt: skip
    pad.app.way.go(engine_speed)
    assert pad.says("meter not named"), "an engine speed is not read with a log"
    pad.app.way.back()
    at_speed(pad)
    assert pad.says("with Log 2")
    pad.press("change", "meter", "No meter named")
    assert instrument(pad) == "", "the value that stands says so, too"
    assert form(pad).in_hand == ""


def test_a_meter_named_afterwards_is_written_to_the_value_and_nothing_else_changes(pad: Driver) -> None:
    pad.number("40")
    at_speed(pad)
    before = len(pad.app.tablet.files.entries(pad.app.tablet.session.here.hull))
    pad.press("next")
    assert len(pad.app.tablet.files.entries(pad.app.tablet.session.here.hull)) == before, "nothing was changed"
    at_speed(pad)
    pad.press("change", "meter")
    pad.write("Log 2")
    pad.press("save it")
    assert (view_of(pad).value("dock.full", "speed"), instrument(pad)) == ("40 kn", "Log 2")
    assert pad.says("with Log 2")


def test_a_value_read_with_another_meter_keeps_its_own_until_it_is_typed_anew(pad: Driver) -> None:
    pad.press("meter")
    pad.write("Log 2")
    pad.press("save it")
    pad.number("40")
    pad.app.tablet.change_settings(pad.app.tablet.settings.with_meter("speed", "Log 3"))
    at_speed(pad)
    assert pad.says("with Log 2")
    pad.press("next")
    assert instrument(pad) == "Log 2"
    at_speed(pad)
    pad.number("40")
    assert instrument(pad) == "Log 3"


def test_another_unit_alone_is_no_reading_with_the_meter_in_hand(pad: Driver) -> None:
    pad.press("meter")
    pad.write("Log 2")
    pad.press("save it")
    pad.number("40")
    pad.app.tablet.change_settings(pad.app.tablet.settings.with_meter("speed", "Log 3"))
    at_speed(pad)
    pad.press("unit", "unit mph", "next")
    assert (view_of(pad).value("dock.full", "speed"), instrument(pad)) == ("40 mph", "Log 2")


def test_take_it_back_stands_behind_change(pad: Driver) -> None:
    pad.number("40")
    at_speed(pad)
    assert pad.has("change")
    assert not pad.has("take back")
    pad.press("change")
    assert pad.has("take back")
    pad.press("keep it")
    assert not pad.has("take back")
    pad.press("key 4", "key 1", "next")
    assert view_of(pad).value("dock.full", "speed") == "41 kn"


def test_settings_of_an_older_version_open_without_meters(pad: Driver) -> None:
    folder = pad.app.tablet.folder
    pad.app.tablet.change_settings(pad.app.tablet.settings.with_meter("speed", "Log 2"))
    pad.close()
    again = open_tablet(folder)
    assert (again.settings.meters, again.settings.in_hand) == (("Log 2",), {"speed": "Log 2"})
    again.close()


@pytest.mark.parametrize("size", [(1024, 600), (800, 600)])
def test_change_stands_on_the_first_screen_of_a_small_tablet(pad: Driver, size: tuple[int, int]) -> None:
    """It stood a page down, behind what else is said of a meter's answer."""
    pad.press("meter")
    pad.write("Log 2")
    pad.press("save it")
    pad.number("39.25")
    at_speed(pad)
    pad.resize(*size)
    assert pad.has("change"), pad.words()
    assert pad.find("change").texture_size[1] < 40, "one word in one line"
    pad.press("change")
    assert pad.has("take back")
    pad.press("keep it", "page down")
    names = [getattr(widget, "name", None) for widget in pad.widgets()]
    assert names.count("change") == 1, "on the next page it stands among the others, and nowhere else"
