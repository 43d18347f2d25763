"""A shop's check file on the tablet: entered by touch, judged, gone and back, and its renamed field with its value."""

from __future__ import annotations

from pathlib import Path

from garboard.hosting.host import PluginHost, make_host
from garboard_tablet.models.pages import asks_here, lines_of_step, table_titles
from hostile_checks import GOOD
from tablet.driver import Drive, declared, new_job, view_of

_HEIGHT = 'name = "height"\ntitle = "Height"\n'
RENAMED = (
    GOOD.replace(_HEIGHT, 'name = "rail"\nrenamed_from = ["height"]\ntitle = "Height"\n', 1)
    .replace("height - least", "rail - least")
    .replace("{height}", "{rail}")
)


def test_a_check_is_entered_by_touch_needs_its_file_and_a_renamed_field_keeps_its_value(
    drive: Drive, tmp_path: Path
) -> None:
    file = tmp_path / "rail.toml"
    file.write_text(GOOD)

    def plugins() -> PluginHost:
        return make_host((), entry_points=False, files=[file] if file.exists() else [])

    d = drive(make_host=plugins)
    new_job(d)
    here = d.app.tablet.session.here
    d.press("step rail.look")
    d.number("20")
    assert view_of(d).value("rail.look", "height") == "20 in"
    assert [one.finding.code for one in d.app.tablet.assess(here.hull, here.job)] == ["rail.height.low"]
    file.unlink()
    d = d.restart()
    assert d.app.tablet.step("rail.look") is None
    assert d.app.tablet.assess(here.hull, here.job) == ()
    assert view_of(d).value("rail.look", "height") == "20 in"
    file.write_text(RENAMED)
    d = d.restart()
    tablet, step = d.app.tablet, declared(d.app.tablet, "rail.look")
    lines = lines_of_step(tablet, here.hull, here.job, asks_here(tablet, here.hull, here.job, step), table_titles(step))
    assert next((line.title, line.value) for line in lines) == ("Height", "20 in")
    assert [one.finding.code for one in tablet.assess(here.hull, here.job)] == ["rail.height.low"]
    ask = next(ask for ask in asks_here(tablet, here.hull, here.job, step) if ask.field.name == "rail")
    tablet.enter(here.hull, here.job, ask, "30 in")
    assert [one.finding.code for one in tablet.assess(here.hull, here.job)] == ["rail.height.high"]
    tablet.take_back(here.hull, here.job, ask, "measured wrong")
    assert (view_of(d).value("rail.look", "rail"), tablet.current(here.hull, here.job, ask)) == (None, ())
