"""A unit is part of the value: one changed alone is saved, and it stays with the boat it was chosen on."""

from __future__ import annotations

import pytest

from fuel_curve_jobs import HOST
from garboard.fields import Field, Kind
from garboard_tablet.models.entry import EntryForm, enter
from garboard_tablet.models.session import Route
from tablet.driver import Drive, Driver, new_job, view_of

ENGINES = ("tab vessel", "Equipment", "kind engines", "2 engines", "piece port")


def at_field(d: Driver, *path: str) -> None:
    """Open the pad of a field of the vessel."""
    here = d.app.tablet.session.here
    d.app.way.go(Route(page="entry", hull=here.hull, job=here.job, subject=("field", *path)))


def form(d: Driver, route: Route) -> EntryForm:
    """What is saved at a route, and in which unit it opens."""
    found = enter(d.app.tablet, route)
    assert found is not None
    return found


@pytest.fixture
def engine(drive: Drive) -> Driver:
    d = drive()
    new_job(d)
    d.press(*ENGINES)
    return d


def test_engine_hours_open_in_hours(engine: Driver) -> None:
    """Nobody reads an hour meter in seconds."""
    at_field(engine, "engines", "port", "hours")
    engine.number("1.2")
    assert str(view_of(engine).vessel.engines[0].hours) == "1.2 h"


@pytest.mark.parametrize(
    ("path", "saved", "unit", "shown"),
    [
        (("engines", "port", "hours"), "1.2 s", "h", "1.2 h"),
        (("engines", "port", "propeller", "pitch"), "19 mm", "in", "19 in"),
    ],
)
def test_a_unit_changed_alone_is_saved(
    engine: Driver, path: tuple[str, ...], saved: str, unit: str, shown: str
) -> None:
    """The page shows the number with the new unit and Next keeps just that."""
    here = engine.app.tablet.session.here
    route = Route(page="entry", hull=here.hull, job=here.job, subject=("field", *path))
    form(engine, route).save(saved)
    at_field(engine, *path)
    engine.press("unit", f"unit {unit}", "next")
    assert form(engine, route).saved == shown


def test_a_unit_changed_alone_can_be_left(engine: Driver) -> None:
    """Leave as it is drops the chosen unit as it drops typed digits."""
    here = engine.app.tablet.session.here
    route = Route(page="entry", hull=here.hull, job=here.job, subject=("field", "engines", "port", "hours"))
    form(engine, route).save("1.2 h")
    at_field(engine, "engines", "port", "hours")
    engine.press("unit", "unit min", "skip")
    assert (form(engine, route).saved, form(engine, route).unit) == ("1.2 h", "h")
    assert engine.app.tablet.session.typed == {}


def test_a_chosen_unit_waits_with_the_digits(engine: Driver) -> None:
    """Typed over 1.2 s in minutes, then a dead battery: 40 stands there in minutes, not in what the tablet offers."""
    here = engine.app.tablet.session.here
    route = Route(page="entry", hull=here.hull, job=here.job, subject=("field", "engines", "port", "hours"))
    form(engine, route).save("1.2 s")
    at_field(engine, "engines", "port", "hours")
    engine.press("key 4", "key 0", "unit", "unit min")
    engine.restart()
    engine.press("next")
    assert form(engine, route).saved == "40 min"


def test_digits_typed_over_a_saved_value_keep_its_unit(engine: Driver) -> None:
    """Also after a restart: the unit of the saved value stood on the page while the digits were typed."""
    here = engine.app.tablet.session.here
    route = Route(page="entry", hull=here.hull, job=here.job, subject=("field", "engines", "port", "hours"))
    form(engine, route).save("72 min")
    at_field(engine, "engines", "port", "hours")
    engine.press("key 9", "key 0")
    engine.restart()
    engine.press("next")
    assert form(engine, route).saved == "90 min"


def test_a_unit_is_offered_first_on_later_boats_only_when_always_is_pressed(engine: Driver) -> None:
    """Chosen for one engine it ends there; with Always it opens the next boat's field."""
    at_field(engine, "engines", "port", "hours")
    engine.press("unit", "unit min", "key 9", "next")
    at_field(engine, "engines", "starboard", "hours")
    assert engine.app.shell.page.form.unit == "h"
    assert not engine.has("always"), "h is offered first as it is"
    engine.press("unit", "unit min", "always")
    assert not engine.has("always")
    engine.app.way.home()
    new_job(engine, "XYZAB124F526")
    engine.press(*ENGINES)
    at_field(engine, "engines", "port", "hours")
    assert engine.app.shell.page.form.unit == "min"


def test_a_unit_said_for_always_names_its_field_and_can_be_forgotten(engine: Driver) -> None:
    """The press says for what field; Settings lists it, and forgets it with one press."""
    at_field(engine, "engines", "port", "hours")
    title = engine.app.shell.page.form.field.title
    engine.press("unit", "unit min")
    assert engine.find("always").text == f"Always min for {title}"
    engine.press("always")
    engine.app.way.go(engine.app.tablet.session.here.to("settings"))
    engine.seek("forget hours")
    assert not engine.has("forget hours")
    assert dict(engine.app.tablet.settings.always) == {}
    at_field(engine, "engines", "starboard", "hours")
    assert engine.app.shell.page.form.unit == "h"


def test_a_flow_the_engine_cannot_burn_is_asked_about(drive: Drive) -> None:
    """60 hp burn 9.9 gal/h at most, by the poorest efficiency anyone believes."""
    engine = drive(make_host=lambda: HOST)
    new_job(engine)
    engine.press(*ENGINES)
    here = engine.app.tablet.session.here
    power = Route(page="entry", hull=here.hull, job=here.job, subject=("field", "engines", "port", "rated_power"))
    form(engine, power).save("60 hp")
    flow = ("measure", "fuel_curve.steps", "fuel_flow", "1", "port")
    for text, asked in (("9", False), ("12", True)):
        pad = form(engine, Route(page="entry", hull=here.hull, job=here.job, step="fuel_curve.steps", subject=flow))
        pad.write(text)
        assert pad.try_typed() is not asked
        assert ("outside the usual 0.1 to 9.9 gal/h" in pad.result.question) is asked


def test_units_are_chosen_once_by_a_person_and_values_stay_as_entered(engine: Driver) -> None:
    """Robin reads metres and km/h from then on, on every boat; Sam as before; what was typed in hp stays in hp."""
    at_field(engine, "engines", "port", "rated_power")
    engine.number("150")
    engine.app.way.go(engine.app.tablet.session.here.to("settings"))
    engine.seek("own units")
    for group, unit in (("length", "m"), ("speed", "km/h"), ("power", "kW"), ("fuel", "L"), ("temperature", "degF")):
        engine.seek(f"unit {group} {unit}")
    at_field(engine, "engines", "port", "rated_power")
    assert engine.app.shell.page.form.unit == "hp"
    assert str(view_of(engine).vessel.engines[0].rated_power) == "150 hp"
    at_field(engine, "engines", "starboard", "rated_power")
    assert engine.app.shell.page.form.unit == "kW"
    engine.restart()
    settings = engine.app.tablet.settings
    fields = {
        "length": ("length", "ft", "m"),
        "transom_width": ("length", "in", "mm"),
        "air": ("temperature", "degC", "degF"),
        "flow": ("fuel flow", "gal/h", "L/h"),
        "speed": ("speed", "kn", "km/h"),
        "drop": ("voltage", "V", "V"),
    }
    made = {n: Field(name=n, title=n, kind=Kind.AMOUNT, quantity=q, unit=u) for n, (q, u, _) in fields.items()}
    assert {name: settings.unit_for(field) for name, field in made.items()} == {n: w for n, (_, _, w) in fields.items()}
    sam = settings.with_person("Sam")
    assert {name: sam.unit_for(field) for name, field in made.items()} == {n: u for n, (_, u, _) in fields.items()}
    assert sam.with_person("Robin").own_units == settings.own_units
