"""A unit is part of the value: one changed alone is saved, and it stays with the boat it was chosen on."""

import pytest
from test_tablet_commissioning import new_job, view_of

from garboard_tablet.models.entry import enter
from garboard_tablet.models.session import Place

ENGINES = ("tab vessel", "Equipment", "kind engines", "2 engines", "piece port")


def at_field(d, *path):
    """Open the pad of a field of the vessel."""
    here = d.app.tablet.session.here
    d.app.way.go(Place(page="entry", hull=here.hull, job=here.job, subject=("field", *path)))


@pytest.fixture
def engine(drive):
    d = drive()
    new_job(d)
    d.press(*ENGINES)
    return d


def test_engine_hours_open_in_hours(engine):
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
def test_a_unit_changed_alone_is_saved(engine, path, saved, unit, shown):
    """The page shows the number with the new unit and Next keeps just that."""
    here = engine.app.tablet.session.here
    place = Place(page="entry", hull=here.hull, job=here.job, subject=("field", *path))
    enter(engine.app.tablet, place).save(saved)
    at_field(engine, *path)
    engine.press("unit", f"unit {unit}", "next")
    assert enter(engine.app.tablet, place).saved == shown


def test_a_unit_changed_alone_can_be_left(engine):
    """Leave as it is drops the chosen unit as it drops typed digits."""
    here = engine.app.tablet.session.here
    place = Place(page="entry", hull=here.hull, job=here.job, subject=("field", "engines", "port", "hours"))
    enter(engine.app.tablet, place).save("1.2 h")
    at_field(engine, "engines", "port", "hours")
    engine.press("unit", "unit min", "skip")
    assert (enter(engine.app.tablet, place).saved, enter(engine.app.tablet, place).unit) == ("1.2 h", "h")
    assert engine.app.tablet.session.typed == {}


def test_a_chosen_unit_waits_with_the_digits(engine):
    """Typed over 1.2 s in minutes, then a dead battery: 40 stands there in minutes, not in what the tablet offers."""
    here = engine.app.tablet.session.here
    place = Place(page="entry", hull=here.hull, job=here.job, subject=("field", "engines", "port", "hours"))
    enter(engine.app.tablet, place).save("1.2 s")
    at_field(engine, "engines", "port", "hours")
    engine.press("key 4", "key 0", "unit", "unit min")
    engine.restart()
    engine.press("next")
    assert enter(engine.app.tablet, place).saved == "40 min"


def test_digits_typed_over_a_saved_value_keep_its_unit(engine):
    """Also after a restart: the unit of the saved value stood on the page while the digits were typed."""
    here = engine.app.tablet.session.here
    place = Place(page="entry", hull=here.hull, job=here.job, subject=("field", "engines", "port", "hours"))
    enter(engine.app.tablet, place).save("72 min")
    at_field(engine, "engines", "port", "hours")
    engine.press("key 9", "key 0")
    engine.restart()
    engine.press("next")
    assert enter(engine.app.tablet, place).saved == "90 min"


def test_a_unit_is_offered_first_on_later_boats_only_when_always_is_pressed(engine):
    """Chosen for one engine it ends there; with Always it opens the next boat's field."""
    at_field(engine, "engines", "port", "hours")
    engine.press("unit", "unit min", "key 9", "next")
    at_field(engine, "engines", "starboard", "hours")
    assert engine.app.shell.page.entering.unit == "h"
    assert not engine.has("always"), "h is offered first as it is"
    engine.press("unit", "unit min", "always")
    assert not engine.has("always")
    engine.app.way.home()
    new_job(engine, "XYZAB124F526")
    engine.press(*ENGINES)
    at_field(engine, "engines", "port", "hours")
    assert engine.app.shell.page.entering.unit == "min"
