"""Setup asks like a person: lists to pick from, the next box has the focus, a refusal says why, steps in order."""

from __future__ import annotations

from pathlib import Path

import attrs
import pytest

from builders import job_view
from garboard.fields import Field, Kind
from garboard.records import Battery, Circuit, JsonValue, Vessel, unusual_in
from garboard.units import Amount
from garboard_tablet.models.asks import Ask, asks_of_piece, asks_of_step, shown_of
from garboard_tablet.models.pad import judge
from garboard_tablet.models.tablet import open_tablet
from garboard_wiring_audit.steps import STEPS
from tablet.driver import Drive, Driver, new_job, view_of
from tablet.layout_lint import faults


def ask_of(kind: str, name: str) -> Ask:
    return next(ask for ask in asks_of_piece((kind, "x"), {}) if ask.field.name == name)


def test_conductor_size_insulation_and_cable_are_lists_to_pick_from() -> None:
    gauge, area, insulation = (
        ask_of("circuits", name).field.offers for name in ("conductor_awg", "conductor_area", "insulation_temperature")
    )
    assert {"18", "16", "10", "2/0"} <= set(gauge)
    assert {"1.5 mm2", "2.5 mm2"} <= set(area)
    assert {"60 degC", "105 degC"} <= set(insulation)
    assert "stainless steel" in next(
        ask.field.offers for ask in asks_of_piece(("engines", "x"), {}) if ask.field.name == "material"
    )
    cable = ask_of("networks", "cable").field
    assert [shown_of(cable, choice) for choice in cable.choices] == ["micro (light)", "mid", "mini (heavy)"]


def test_a_length_says_which_way_as_a_person_does() -> None:
    field = ask_of("circuits", "length").field
    assert field.title == "Cable run, source to load"
    assert "Do not add the way back" in field.help
    every = [ask.field for kind in ("circuits", "networks") for ask in asks_of_piece((kind, "x"), {})]
    assert not [one for one in every if "one way" in f"{one.title} {one.help}".casefold()]


@pytest.mark.parametrize(("amount", "asked"), [("18 Ah", False), ("5 Ah", True)])
def test_the_battery_of_a_small_boat_is_not_asked_about(amount: str, asked: bool) -> None:
    """A skiff's 18 Ah behind a 15 A fuse was asked about on every page; common practice, no source."""
    assert bool(list(unusual_in(Battery(name="start", capacity=Amount.parse(amount))))) is asked
    step = next(step for step in STEPS if step.key == "wiring_audit.batteries")
    view = job_view(Vessel(hull_number="XYZ00001A626", batteries=(Battery(name="start"),)), {})
    (fuse,) = [ask.field for ask in asks_of_step(step, view) if ask.field.name == "fuse_rating"]
    assert [bool(judge(fuse, text).question) for text in ("15 A", "3 A", "150 A")] == [False, True, False]


def test_what_is_usual_is_that_of_the_bank_it_is_typed_for() -> None:
    banks = (
        Battery(name="house", nominal_voltage=Amount("12", "V")),
        Battery(name="thruster", nominal_voltage=Amount("24", "V")),
    )
    step = next(step for step in STEPS if step.key == "wiring_audit.batteries")
    view = job_view(Vessel(hull_number="XYZ00001A626", batteries=banks), {})
    asks = [ask for ask in asks_of_step(step, view) if ask.field.name == "rest_voltage"]
    assert [(ask.of, ask.field.plausible) for ask in asks] == [("house", (11.5, 13.5)), ("thruster", (23.0, 27.0))]
    assert [bool(judge(ask.field, "25.6 V").question) for ask in asks] == [True, False]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"offers": ("red",), "kind": Kind.YES_NO}, "only a text or an amount has offers"),
        ({"choices": ("a", "b"), "said": ("one",), "kind": Kind.CHOICE}, "2 choices but 1 words said for them"),
    ],
)
def test_a_field_that_offers_what_cannot_be_is_refused(more: dict[str, JsonValue], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        Field(name="x", title="X", **more)  # type: ignore[arg-type]


def at_circuit(d: Driver, name: str) -> None:
    """The page that asks one thing of a circuit."""
    new_job(d)
    here = d.app.tablet.session.here
    d.app.tablet.add_piece(here.hull, ("circuits", "Horn"))
    d.app.way.go(here.to("piece", "circuits", "Horn"))
    d.app.way.go(here.to("entry", "field", "circuits", "Horn", name))


def circuit(d: Driver) -> Circuit:
    return view_of(d).vessel.circuits[0]


def test_a_size_is_picked_with_one_press_and_the_other_size_is_then_not_asked(drive: Drive) -> None:
    d = drive()
    at_circuit(d, "conductor_awg")
    assert [w.text for w in d.widgets() if getattr(w, "name", "") == "other"] == ["Other, typed"]
    d.press("choice 16")
    assert circuit(d).conductor_awg == "16"
    assert d.app.shell.page.form.field.name == "insulation_temperature"
    d.press("choice 105 degC")
    assert str(circuit(d).insulation_temperature) == "105 degC"
    d.app.way.go(d.app.tablet.session.here.to("entry", "field", "circuits", "Horn", "conductor_awg"))
    assert d.find("choice 16").chosen


def test_what_is_not_on_the_list_is_typed(drive: Drive) -> None:
    """A text in a box that has the focus at once; an amount on the pad, and it is marked when one comes back."""
    from kivy.uix.textinput import TextInput

    d = drive()
    at_circuit(d, "conductor_awg")
    d.press("other")
    assert next(w for w in d.widgets() if isinstance(w, TextInput)).focus
    d.write("13")
    d.press("next")
    assert circuit(d).conductor_awg == "13"
    here = d.app.tablet.session.here
    d.app.way.go(here.to("entry", "field", "circuits", "Horn", "conductor_area"))
    d.press("other")
    d.number("2.08")
    assert str(circuit(d).conductor_area) == "2.08 mm2"
    d.app.way.go(here.to("entry", "field", "circuits", "Horn", "conductor_area"))
    assert (d.find("other").text, d.find("other").chosen) == ("Other: 2.08 mm2", True)


def test_the_next_box_for_words_has_the_focus_after_next(drive: Drive) -> None:
    """Reached by Next it takes what is typed at once; reached by Back or from a list it brings up no keyboard."""
    from kivy.uix.textinput import TextInput

    d = drive()
    new_job(d)
    d.press("step dock.horn", "choice Yes", "choice clear")

    def box() -> TextInput:
        return next(w for w in d.widgets() if isinstance(w, TextInput))

    assert d.app.shell.page.form.field.kind is Kind.TEXT
    assert box().focus
    d.press("back", "value Remark")
    assert not box().focus


def test_saving_an_empty_signature_says_why_not(drive: Drive) -> None:
    from garboard_tablet.ui.inputs import SignaturePad

    d = drive()
    new_job(d)
    d.press("hand over", "technician signs", "go on")
    assert d.find("next").text == "Sign first"
    d.press("next")
    assert d.says("Nothing is drawn yet")
    assert not view_of(d).sign_offs
    d.draw_line(next(w for w in d.widgets() if isinstance(w, SignaturePad)))
    assert d.find("next").text == "Save it"
    assert not d.says("Nothing is drawn yet")


def test_people_who_worked_on_the_boats_are_offered_but_not_owners_who_signed(drive: Drive) -> None:
    d = drive(working="Kim")
    new_job(d)
    d.press("step dock.horn", "choice Yes")
    here = d.app.tablet.session.here
    d.app.tablet.sign(here.hull, here.job, "owner", "A. Marsh", b"<svg/>")
    d.app.vessels.refresh(here.hull)
    settings = d.app.tablet.settings
    d.app.tablet.change_settings(settings.with_person("Lee"))
    assert d.app.vessels.people() == ("Lee", "Kim")
    d.app.way.go(here.to("who"))
    d.press("Kim")
    assert d.app.tablet.settings.working == "Kim"


def test_at_800_x_600_more_than_one_boat_of_three_is_in_sight(drive: Drive) -> None:
    d = drive(size=(800, 600))
    for number in ("XYZAB123F526", "XYZAB124F526", "XYZAB125F526"):
        hull, _ = d.app.tablet.open_job(number)
        d.app.vessels.refresh(hull)
    d.app.screen.redraw()
    assert len([w for w in d.widgets() if getattr(w, "name", "").startswith("vessel ")]) >= 2
    d.write("124")
    assert [w.name for w in d.widgets() if getattr(w, "name", "").startswith("vessel ")] == ["vessel XYZAB124F526"]


def test_at_800_x_600_two_boats_are_in_sight_also_with_fails_and_where_nobody_is_named(drive: Drive) -> None:
    d = drive(size=(800, 600), working="")
    for number in ("XYZAB123F526", "XYZAB124F526", "XYZAB125F526"):
        hull, _ = d.app.tablet.open_job(number)
        d.app.vessels.refresh(hull)
        line = d.app.vessels.lines[hull]
        d.app.vessels.lines[hull] = attrs.evolve(line, phase="handed over", fails=5, left=27, failing={"other": 2})
    d.app.screen.redraw()
    assert len([w for w in d.widgets() if getattr(w, "name", "").startswith("vessel ")]) >= 2
    assert not faults(d.app.shell, d.window)
    d.press("who")
    assert d.app.tablet.session.here.page == "who"


def test_steps_stand_in_the_order_of_doing(tmp_path: Path) -> None:
    """What holds for every run is noted before the first; a propeller is judged before the curve that hangs on it."""
    tablet = open_tablet(tmp_path)
    steps = [step.key for step in tablet.host.steps]
    wanted = [
        "wiring_audit.batteries", "wiring_audit.standing_current", "wiring_audit.circuits",
        "prop_check.conditions", "heading_calibration.steady_turn", "prop_check.full_throttle", "fuel_curve.steps",
    ]  # fmt: skip
    assert [key for key in steps if key in wanted] == wanted
    circuits = next(step for step in tablet.host.steps if step.key == "wiring_audit.circuits")
    asked = [column.name for column in circuits.fields[0].columns]
    assert asked.index("terminations_tight") < asked.index("current"), "pulled by hand while the power is off"
    tablet.close()
