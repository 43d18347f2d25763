"""Equipment of a shop's own kind on the tablet: added, edited and removed by touch, with and without its check."""

from __future__ import annotations

from pathlib import Path
from shutil import copyfile

from garboard.hosting.host import PluginHost, make_host
from garboard.records import JsonValue
from tablet.driver import Drive, Driver, new_job, view_of

TRAILERS = "trailer.trailers"
CHECK = Path(__file__).parents[1] / "core" / "own_checks" / "trailer" / "trailer.toml"


def facts(d: Driver) -> dict[str, dict[str, JsonValue]]:
    return {name: dict(piece.more) for name, piece in view_of(d).vessel.of_kind(TRAILERS).items()}


def to_kind(d: Driver) -> None:
    here = d.app.tablet.session.here
    d.app.way.go(here.to("equipment"))
    d.step()
    d.seek(f"kind {TRAILERS}")


def test_a_trailer_is_added_edited_and_removed_by_touch_and_kept_without_its_check(
    drive: Drive, tmp_path: Path
) -> None:
    file = tmp_path / "trailer.toml"
    copyfile(CHECK, file)

    def plugins() -> PluginHost:
        return make_host((), entry_points=False, files=[file] if file.exists() else [])

    d = drive(make_host=plugins)
    new_job(d)
    assert d.says("does not apply")
    assert d.says("No trailer on this boat. If it has one, enter it.")
    d.press("step trailer.weights", "begin")
    assert d.says("Trailer: none entered")
    assert not d.has("continue"), "nothing is asked of a boat without one"
    d.press(f"missing {TRAILERS}")
    d.press("add piece")
    d.press(d.app.tablet.host.equipment[TRAILERS].one)
    assert d.says("Most weight (GVWR)")
    d.press("continue")
    d.number("5000")
    d.number("4400")
    assert facts(d) == {"trailer": {"gvwr": "5000 lb", "gawr": "4400 lb"}}
    d.app.way.back()
    d.step()
    to_kind(d)
    assert d.says("5000 lb · 4400 lb")
    assert not d.has("add piece"), "a boat has one trailer at most"
    file.unlink()
    d = d.restart()
    to_kind(d)
    assert d.says("Needs the plugin trailer")
    assert not d.has("add piece")
    d.press("piece trailer")
    assert d.says("Gvwr: 5000 lb")
    assert facts(d)["trailer"]["gvwr"] == "5000 lb"
    copyfile(CHECK, file)
    d = d.restart()
    to_kind(d)
    d.press("piece trailer")
    d.seek("remove piece")
    d.press("remove it")
    assert facts(d) == {}
