"""A desktop's keyboard drives the pads, and what was typed is dropped once it is settled."""

from __future__ import annotations

import json

import pytest

from tablet.driver import Drive, Driver, new_job, view_of

BACKSPACE, ENTER, KEYPAD_ENTER, KEYPAD_POINT = 8, 13, 271, 266
KEYPAD = 256
"""The window's number for 0 on the number block; 1 to 9 follow."""


def at_boat_speed(d: Driver) -> None:
    new_job(d)
    d.press("tab under way", "step dock.full", "begin")


def on_disk(d: Driver) -> dict[str, str]:
    """What is typed and not yet settled, as a dead battery would leave it."""
    plain = json.loads((d.app.tablet.folder / "documents/session.json").read_bytes())
    typed: dict[str, str] = plain["session"]["1"]["typed"]
    return typed


def test_a_hull_number_is_typed_on_the_keyboard(drive: Drive) -> None:
    """Small letters count as large ones; a slip is put right; enter opens the job only once the number is whole."""
    d = drive()
    d.press("new job")
    d.type_keys(*"xyzab12")
    d.type_keys(ENTER)
    assert d.app.tablet.files.hulls() == (), "it is asked first whether the transom says so"
    d.type_keys(*"4", BACKSPACE, *"3f5")
    d.type_keys(KEYPAD + 2, KEYPAD + 6, ENTER)
    assert d.app.tablet.files.hulls() == ("XYZAB123F526",)
    assert d.app.tablet.session.here.page == "job"


def test_numbers_are_typed_on_the_keyboard(drive: Drive) -> None:
    """Digits, either point, backspace and enter, on the row and on the block."""
    d = drive()
    at_boat_speed(d)
    d.type_keys(*"41", BACKSPACE, "0", KEYPAD_POINT, KEYPAD + 2, KEYPAD_ENTER)
    assert view_of(d).value("dock.full", "speed") == "40.2 kn"
    d.press("value Boat speed")
    d.type_keys(*"39,5", ENTER)
    assert view_of(d).value("dock.full", "speed") == "39.5 kn"


def test_keys_the_pad_does_not_offer_do_nothing(drive: Drive) -> None:
    """No minus where none can be right, no letters, and nothing while a further key is held."""
    d = drive()
    at_boat_speed(d)
    d.type_keys("-", "a", "4")
    d.type_keys("v", "9", held=["ctrl"])
    assert d.app.shell.page.form.text == "4"


def test_a_minus_is_typed_where_it_can_be_right(drive: Drive) -> None:
    """On a field below zero."""
    from garboard.steps import Field, Kind

    d = drive()
    at_boat_speed(d)
    page = d.app.shell.page
    cold = Field(name="speed", title="Air", kind=Kind.AMOUNT, quantity="temperature", unit="degC")
    page.form.ask = type(page.form.ask)(key=page.form.ask.key, field=cold)
    d.type_keys("5", "-")
    assert page.form.text == "-5"


def test_an_odd_number_is_not_confirmed_by_the_keyboard(drive: Drive) -> None:
    """A second enter does not answer the question whether 95 kn is right."""
    d = drive()
    at_boat_speed(d)
    d.type_keys(*"95", ENTER, ENTER)
    assert d.says("outside the usual")
    assert view_of(d).value("dock.full", "speed") is None
    d.type_keys("9", *"6", ENTER)
    assert d.says("96 kn is outside the usual"), "the first digit began a new value"
    d.press("yes, save it")
    assert view_of(d).value("dock.full", "speed") == "96 kn"


def test_a_box_for_words_keeps_its_keys(drive: Drive) -> None:
    """Digits and backspace in a remark go into the remark; enter goes on."""
    from kivy.uix.textinput import TextInput

    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice Yes", "choice clear")
    d.write("12")
    d.type_keys(BACKSPACE)
    assert next(w for w in d.widgets() if isinstance(w, TextInput)).text == "1"
    d.type_keys(ENTER)
    assert view_of(d).value("dock.horn", "remark") == "1"


def test_a_day_years_away_is_asked_about_before_it_is_saved(drive: Drive) -> None:
    """A slip in the year reads as well as any other."""
    from garboard.fields import TODAY, Field, Kind

    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice Yes", "choice clear")
    page = d.app.shell.page
    day = Field(name="remark", title="Filed on", kind=Kind.TEXT, offers_from=(TODAY,))
    page.form.ask = type(page.form.ask)(key=page.form.ask.key, field=day)
    d.write("2016-05-15")
    d.type_keys(ENTER)
    assert d.says("Is the year right?")
    assert view_of(d).value("dock.horn", "remark") is None
    d.press("yes, save it")
    assert view_of(d).value("dock.horn", "remark") == "2016-05-15"


@pytest.mark.parametrize(
    "settle",
    [
        pytest.param(["next"], id="confirmed"),
        pytest.param(["change", "take back", "back mistyped"], id="taken back"),
        pytest.param(["skip"], id="left as it is"),
    ],
)
def test_what_was_typed_is_dropped_once_it_is_settled(drive: Drive, settle: list[str]) -> None:
    """Typed over a value that stands, then settled: nothing is left over in the session's file."""
    d = drive()
    at_boat_speed(d)
    d.number("40")
    d.press("value Boat speed", "key 3", "key 8")
    assert list(on_disk(d).values()) == ["38"]
    d.press(*settle)
    assert on_disk(d) == {}


def test_a_number_typed_and_not_settled_waits(drive: Drive) -> None:
    """Skipped, gone back from and restarted: the digits stand where they were typed."""
    d = drive()
    at_boat_speed(d)
    d.press("key 4", "key 1", "skip")
    d = d.restart()
    d.press("value Boat speed")
    assert d.app.shell.page.form.text == "41"


def test_digits_all_erased_are_no_draft(drive: Drive) -> None:
    """Erased over a saved value and gone back: the saved value stands there again."""
    d = drive()
    at_boat_speed(d)
    d.number("40")
    d.press("value Boat speed", "key erase", "key erase", "back", "value Boat speed")
    assert d.app.shell.page.form.text == "40"
    assert on_disk(d) == {}


def test_a_vessels_field_has_one_draft_for_all_its_jobs(drive: Drive) -> None:
    """Typed in one job and confirmed in another: nothing stale waits in the first."""
    from garboard_tablet.models.entry import enter
    from garboard_tablet.models.session import Route

    d = drive()
    new_job(d)
    here = d.app.tablet.session.here
    _, second = d.app.tablet.open_job(here.hull)
    first_beam = enter(d.app.tablet, Route(page="entry", hull=here.hull, job=here.job, subject=("field", "beam")))
    second_beam = enter(d.app.tablet, Route(page="entry", hull=here.hull, job=second, subject=("field", "beam")))
    assert first_beam is not None
    assert second_beam is not None
    first_beam.write("8")
    second_beam.save("9 ft")
    assert first_beam.text == "9"


def test_what_is_typed_and_left_is_said_wherever_its_value_is_listed(drive: Drive) -> None:
    """Back over typed digits: the step and the list of steps say that they are not saved; one press leads to them."""
    d = drive()
    at_boat_speed(d)
    d.number("44")
    d.press("value Boat speed", "key 4", "key 4", "back")
    assert not d.says("not saved"), "what is saved already is not accused"
    d.press("value Boat speed", "key 5", "key 8", "back")
    assert d.says("58 kn is not saved")
    assert d.says("58 kn typed, not saved")
    assert view_of(d).value("dock.full", "speed") == "44 kn"
    d.press("back")
    assert d.says("1 value typed, not saved")
    d.press("step dock.full", "typed Boat speed")
    assert d.app.shell.page.form.text == "58"
    assert d.says("Typed before, not saved. Press Save to save it.")
    d.press("next")
    assert view_of(d).value("dock.full", "speed") == "58 kn"
    assert not d.says("not saved")


def test_a_value_typed_in_a_row_that_is_not_there_yet_is_said_too(drive: Drive) -> None:
    """The second value of a further row: no other row of the list would lead to it."""
    d = drive()
    new_job(d)
    d.press("tab under way", "step dock.fuel")
    d.number("3000")
    d.number("12")
    d.press("skip", "key 9", "back")
    assert d.says("9 gal/h is not saved")
    d.seek("typed Fuel flow, row 2")
    assert d.app.shell.page.form.text == "9"
