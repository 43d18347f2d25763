"""Which of these is my compass? A name on the network is tied to a sensor once, and verdicts name the sensor."""

from __future__ import annotations

import time

import pytest

from garboard.findings import Verdict
from garboard.history.runs import file_of, let_count
from garboard.hosting.host import PluginHost, make_host
from garboard.recordings.encode import csv_series
from garboard.recordings.simulator import Boat, Compass, Order, simulate
from garboard.samples import gather
from garboard_tablet.models.asks import Ask
from garboard_tablet.models.heading_sources import sensor_of, tie
from garboard_tablet.models.session import Route
from tablet.driver import Drive, Driver, new_job, view_of

STEP = "heading_calibration.steady_turn"
FIELD = (STEP, "turn_recording", "", "")


def heading_host() -> PluginHost:
    return make_host(("garboard_heading_calibration",), entry_points=False)


def turn(*sources: str) -> bytes:
    boat = Boat(compasses=tuple(Compass(source=source) for source in sources))
    return csv_series(simulate(boat, [Order(seconds=220, engine_speed=1100, rate_of_turn=2.5)], start=time.time()))


def add_turn(d: Driver, *sources: str) -> Route:
    """A recording of a turn counts in the step."""
    tablet, here = d.app.tablet, d.app.tablet.session.here
    value = tablet.keep_file(turn(*sources), "turn.csv")
    tablet.save(*let_count(tablet.author(), tablet.state_of(here.hull), here.job, FIELD, value))
    return Route(page="step", hull=here.hull, job=here.job, step=STEP)


def test_a_run_long_enough_and_too_slow_is_not_called_too_short(d: Driver) -> None:
    """494 degrees at 1.5 deg/s: what is wrong is told by the finding's code, and by what the guide had seen."""
    from garboard_tablet.models.runs import recording_asks, review

    here = d.app.tablet.session.here
    route = Route(page="step", hull=here.hull, job=here.job, step=STEP)
    ask: Ask = recording_asks(d.app.tablet, route)[0]
    slow = list(simulate(Boat(), [Order(seconds=329, engine_speed=1100, rate_of_turn=1.5)], start=1e9))
    found = review(d.app.tablet.host, view_of(d), STEP, d.app.live.guide_of(route), ask.place, gather("slow", slow))
    assert found.enough is False
    assert not found.too_short
    assert found.reached == "492°"
    assert found.trace is not None
    assert (found.trace.unit, found.trace.band) == ("deg/s", (2.0, 3.0))
    path = d.app.tablet.folder / "slow.csv"
    path.write_bytes(csv_series(slow))
    d.app.way.go(route.to("run", str(path.absolute())))
    assert d.says("Too slow. The run is long enough.")
    assert d.says("of the time in the band, 80 % wanted")
    assert d.says("too slow")
    assert not d.says("too short")
    assert not d.says("of what this step needs")


@pytest.fixture
def d(drive: Drive) -> Driver:
    d = drive(make_host=heading_host)
    new_job(d)
    for sensor in ("Pilot compass", "Satellite compass"):
        d.app.tablet.add_piece(d.app.tablet.session.here.hull, ("heading_sensors", sensor))
    return d


def subjects(d: Driver, route: Route) -> set[str]:
    return {one.finding.about for one in d.app.findings.now(route)}


def test_a_verdict_names_the_sensor_once_it_is_tied(d: Driver) -> None:
    """From the step, by what the sensor's own display says; each name is tied with two touches."""
    route = add_turn(d, "27", "35")
    assert {"source 27", "source 35"} <= subjects(d, route)
    d.app.way.go(route)
    touches = d.touches
    d.press("sensors")
    assert d.says("deg magnetic") or d.says("deg true")
    assert d.says("The network calls it 27.")
    assert d.says("none chosen")
    d.press("source 27", "sensor Pilot compass", "source 35", "sensor Satellite compass", "back")
    assert d.touches - touches == 6
    assert subjects(d, route) == {"Pilot compass", "Satellite compass"}
    assert not d.has("sensors"), "nothing is left to tie"


def test_a_name_entered_and_not_heard_is_said(d: Driver) -> None:
    """77 is entered, 35 is heard: the row and its page say so. A sensor of which one name is heard is not accused."""
    hull = d.app.tablet.session.here.hull
    tie(d.app.tablet, hull, "Pilot compass", "77")
    route = add_turn(d, "27", "35")
    d.app.way.go(route)
    assert d.says("The network calls it 27, 35. 77, entered for Pilot compass, is not heard")
    assert not d.says("none chosen")
    d.press("sensors")
    assert d.says("77, entered for Pilot compass, is not heard. Choose what it is called here.")
    d.press("source 27", "sensor Pilot compass")
    assert not d.says("not heard.")
    d.press("back")
    assert not d.says("entered for")
    assert d.says("none chosen")


def test_what_is_tied_is_kept_for_later_jobs(d: Driver) -> None:
    """After a restart, in another job, with another recording: nothing is asked."""
    add_turn(d, "27")
    tie(d.app.tablet, d.app.tablet.session.here.hull, "Pilot compass", "27")
    d = d.restart()
    hull = d.app.tablet.session.here.hull
    _, second = d.app.tablet.open_job("XYZAB123F526")
    d.app.way.go(Route(page="job", hull=hull, job=second))
    route = add_turn(d, "27")
    d.app.way.go(route)
    assert not d.has("sensors")
    assert "Pilot compass" in subjects(d, route)


def test_a_sensor_keeps_the_name_of_each_gateway(d: Driver) -> None:
    """On the boat's own network it is 27, over wifi HE: both are it, and neither is asked again."""
    hull = d.app.tablet.session.here.hull
    tie(d.app.tablet, hull, "Pilot compass", "27")
    tie(d.app.tablet, hull, "Pilot compass", "HE")
    vessel = view_of(d).vessel
    assert [sensor_of(vessel, source) for source in ("27", "HE", "35", "")] == ["Pilot compass"] * 2 + ["", ""]
    route = add_turn(d, "HE")
    assert subjects(d, route) == {"Pilot compass"}


def test_a_name_belongs_to_one_sensor(d: Driver) -> None:
    """Tied anew it leaves the other, which keeps its other names."""
    hull = d.app.tablet.session.here.hull
    for sensor, source in (("Pilot compass", "27"), ("Pilot compass", "HE"), ("Satellite compass", "27")):
        tie(d.app.tablet, hull, sensor, source)
    assert {sensor.name: sensor.source for sensor in view_of(d).vessel.heading_sensors} == {
        "Pilot compass": "HE",
        "Satellite compass": "27",
    }


def test_it_is_asked_of_what_is_heard_now(d: Driver) -> None:
    """While the network is listened to, the page says what each name says at this moment."""
    from garboard.recordings.boat_network import BoatNetwork
    from garboard.recordings.where import Where

    network = BoatNetwork(Where())
    network.hear(b"$HCHDG,81.3,,,12.0,W\r\n$HEROT,150.0,A\r\n", "192.168.4.1")
    d.app.live.network = network
    d.app.way.go(d.app.tablet.session.here.to("sensors", step=STEP))
    assert d.says("Heading 81.3 deg magnetic")
    d.press("source HC", "sensor Pilot compass")
    assert sensor_of(view_of(d).vessel, "HC") == "Pilot compass"
    d.app.live.network = None


def test_a_device_is_shown_as_it_names_itself(d: Driver) -> None:
    """Maker and model where it sends them, else what its two letters stand for; also where it is tied."""
    from garboard.recordings.boat_network import BoatNetwork
    from garboard.recordings.where import Where

    network = BoatNetwork(Where())
    network.hear(
        b"$HEVER,1,1,HE,MAKER,7,123,FLUX 3,1.04,2,\r\n$HEHDT,81.3,T\r\n$HCHDG,93.0,,,12.0,W\r\n", "192.168.4.1"
    )
    d.app.live.network = network
    d.app.way.go(d.app.tablet.session.here.to("sensors", step=STEP))
    assert d.says("MAKER, FLUX 3, serial 123. Heard now. The network calls it HE, gyro compass")
    assert d.says("Heard now. The network calls it HC, magnetic compass")
    d.press("source HE")
    assert d.says("MAKER, FLUX 3, serial 123. ")
    d.press("sensor Pilot compass")
    assert sensor_of(view_of(d).vessel, "HE") == "Pilot compass"
    d.app.live.network = None


def test_a_value_is_shown_as_it_is_now_with_its_time(d: Driver) -> None:
    """The display says what is now: an old value says how old it is, and stands apart from what is heard."""
    from garboard.recordings.boat_network import BoatNetwork
    from garboard.recordings.where import Where
    from garboard_tablet.ui.widgets import stood_before

    clock = [100.0]
    network = BoatNetwork(Where(), now=lambda: clock[0])
    network.hear(b"$HCHDG,81.3,,,12.0,W\r\n", "192.168.4.1")
    d.app.live.network = network
    d.app.way.go(d.app.tablet.session.here.to("sensors", step=STEP))
    assert d.says("Heard now. The network calls it HC")
    row = d.find("source HC")
    d.step()
    stood = row.standing
    network.hear(b"$HCHDG,123.0,,,12.0,W\r\n", "192.168.4.1")
    d.app.shell.page.look()
    assert row.text == "Heading 123.0 deg magnetic"
    assert d.find("source HC") is row, "a row under a finger is not made anew"
    stood_before.changes()
    d.step()
    assert row.standing is stood, "nor is a finger on its way to it in vain"
    clock[0] += 12
    d.app.shell.page.look()
    assert d.says("Last heard 12 s ago")
    assert not d.says("Press the one that says the same")
    d.app.live.network = None


def test_a_recording_says_its_last_value_and_when_and_is_not_to_be_compared(d: Driver) -> None:
    from garboard.recordings.boat_network import BoatNetwork
    from garboard.recordings.where import Where

    route = add_turn(d, "27")
    d.app.way.go(route)
    d.press("sensors")
    recorded = d.app.tablet.load_recording(file_of(view_of(d).value(STEP, "turn_recording")))
    last = recorded.of("heading")[0].values[-1]
    assert d.says(f"Heading {last:.1f} deg")
    assert d.says("At the end of the recording, ")
    assert not d.says("Press the one that says the same")
    network = BoatNetwork(Where())
    network.hear(b"$HCHDG,81.3,,,12.0,W\r\n", "192.168.4.1")
    d.app.live.network = network
    d.app.shell.page.look()
    assert d.says("Press the one that says the same")
    assert d.says("Not heard now: do not compare with a display")
    d.app.live.network = None


def test_what_describes_a_run_is_asked_anew_of_the_next(d: Driver) -> None:
    """Calm water and what the instrument said are of one run. Another run that counts does not inherit them."""
    from garboard_tablet.models.entry import enter, entry_route
    from garboard_tablet.models.pages import asks_here

    tablet = d.app.tablet
    route = add_turn(d, "27")
    step = tablet.step(STEP)
    tie(tablet, route.hull, "Pilot compass", "27")

    def ask(field: str, of: str = "") -> Ask:
        found = asks_here(tablet, route.hull, route.job, step)
        return next(one for one in found if (one.field.name, one.of) == (field, of))

    recording, calm, said = ask("turn_recording"), ask("calm_water"), ask("instrument_result", "Pilot compass")
    for one, value in ((calm, True), (said, "accepted")):
        tablet.enter(route.hull, route.job, one, value)
    (finding,) = [one.finding for one in d.app.findings.now(route) if one.finding.about == "Pilot compass"]
    assert finding.code == "heading_calibration.steady_turn.good"
    tablet.let_count(route.hull, route.job, recording, tablet.value(route.hull, route.job, recording))
    assert tablet.value(route.hull, route.job, calm) is True, "the same run counts still"

    tablet.set_state(route.hull, route.job, STEP, "done")
    tablet.let_count(route.hull, route.job, recording, tablet.keep_file(turn("27", "35"), "second.csv"))
    assert view_of(d).state_of(STEP) == "under way", "a step with a question asked anew is not done"
    assert [tablet.value(route.hull, route.job, one) for one in (calm, said)] == [None, None]
    (finding,) = [one.finding for one in d.app.findings.now(route) if one.finding.about == "Pilot compass"]
    assert (finding.code, finding.verdict) == ("heading_calibration.steady_turn.calm_not_said", Verdict.ADVISE)
    form = enter(tablet, entry_route(route, calm))
    assert form is not None
    assert form.of_earlier_run == "yes"
    d.app.way.go(entry_route(route, calm))
    assert d.says("yes was said of the earlier run")
    tablet.enter(route.hull, route.job, calm, False)
    assert form.of_earlier_run == ""


def test_what_was_entered_after_a_run_was_thrown_away_is_of_the_next(d: Driver) -> None:
    from garboard_tablet.models.pages import asks_here

    tablet = d.app.tablet
    route = add_turn(d, "27")
    asks = asks_here(tablet, route.hull, route.job, tablet.step(STEP))
    recording, calm = (next(one for one in asks if one.field.name == name) for name in ("turn_recording", "calm_water"))
    tablet.enter(route.hull, route.job, calm, True)
    tablet.throw_away(route.hull, route.job, recording, tablet.value(route.hull, route.job, recording))
    second = tablet.keep_file(turn("27", "35"), "second.csv")
    tablet.let_count(route.hull, route.job, recording, second)
    assert tablet.value(route.hull, route.job, calm) is None
    tablet.throw_away(route.hull, route.job, recording, second)
    tablet.enter(route.hull, route.job, calm, False)
    tablet.let_count(route.hull, route.job, recording, tablet.keep_file(turn("27", "36"), "third.csv"))
    assert tablet.value(route.hull, route.job, calm) is False


def test_a_run_of_the_engines_asks_for_no_compass(drive: Drive) -> None:
    d = drive(make_host=lambda: make_host(("garboard_prop_check",), entry_points=False))
    new_job(d)
    tablet, here = d.app.tablet, d.app.tablet.session.here
    step = "prop_check.full_throttle"
    field = next(f.name for f in tablet.step(step).fields if f.kind.value == "recording")
    value = tablet.keep_file(turn("27"), "run.csv")
    tablet.save(*let_count(tablet.author(), tablet.state_of(here.hull), here.job, (step, field, "", ""), value))
    d.app.way.go(here.to("step", step=step))
    assert not d.has("sensors")
