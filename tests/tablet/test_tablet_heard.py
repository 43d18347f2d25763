"""What the boat's network says is taken with one touch, off the simulated boat's network, over real sockets.

The network is the simulated one without its mark, as a real boat's would be; with it nothing is taken.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import pytest

from garboard.fittings import PROPELLER
from garboard.hosting.host import PluginHost, make_host
from garboard.job_files.unrecognised import unknown_keys
from garboard.job_view import JobView
from garboard.recordings.boat_network import BoatNetwork, Newest
from garboard.recordings.simulated_network import STEPS, TWIN, SimulatedNetwork
from garboard.recordings.simulator import Order
from garboard.recordings.where import Way, Where
from garboard.records import Engine, Job, Vessel
from garboard.samples import UNIT_OF_QUANTITY, Sample, StreamKey
from garboard.units import Amount, convert
from garboard_tablet.models.asks import asks_of_step
from garboard_tablet.models.heard import HEARD_FROM, choose_anew, follow, offers, rivals
from garboard_tablet.models.one_source import OneSource, choices_of
from garboard_tablet.models.runs import left_behind
from tablet.driver import Drive, Driver, new_job, view_of

HULL = "XYZAB123F526"
FULL, THROTTLE = "prop_check.full_throttle", "fuel_curve.steps"


def trials_host() -> PluginHost:
    return make_host(("garboard_prop_check", "garboard_fuel_curve"), entry_points=False)


class AtSea:
    """The app and the simulated boat's network, both at the test's own clock."""

    def __init__(self, d: Driver, orders: list[Order], form: str = "nmea0183", *, is_marked: bool = False) -> None:
        self.d, self.form, self.clock = d, form, [0.0]
        self.boat = SimulatedNetwork(TWIN, orders, rate=1.0, noise=0.0, start=1_700_000_000.0, is_marked=is_marked)
        way = Way.SIGNAL_K if form == "signalk" else Way.CONNECT
        where = Where(self.boat.ports[form], "127.0.0.1", way)
        self.network = d.app.live.network = BoatNetwork(where, now=lambda: self.clock[0])
        self.network.start()
        self.wait(self.is_connected)

    def is_connected(self) -> bool:
        self.boat.look()
        return self.boat.listeners(self.form) == 1

    def wait(self, condition: Callable[[], object]) -> None:
        end = time.monotonic() + 60
        while not condition():
            assert time.monotonic() < end, "did not come about"
            time.sleep(0.001)

    def sail(self, seconds: float) -> None:
        """Go on so long; everything sent has arrived then."""
        for _ in range(round(seconds)):
            self.clock[0] += 1.0
            before = self.heard
            due = self.boat.advance(1.0)
            if due:
                self.wait(lambda b=before: self.heard > b and not self.waits)  # type: ignore[misc]
        self.wait(lambda: self.quiet())

    @property
    def heard(self) -> int:
        return sum(one.notes.lines for one in self.network.senders())

    @property
    def waits(self) -> bool:
        return any(one.waiting for one in self.boat._listeners)

    def quiet(self) -> bool:
        before = self.heard
        time.sleep(0.005)
        return self.heard == before

    def look(self) -> None:
        """The page looks at what is heard, as it does by itself twice a second."""
        self.d.app.shell.page._look_at_heard()
        self.d.step()

    def close(self) -> None:
        self.boat.close()


@pytest.fixture
def at_sea(drive: Drive, tmp_path: Path) -> Iterator[Callable[..., AtSea]]:
    """A twin under way, its app at a new job."""
    made = []

    def start(orders: list[Order], form: str = "nmea0183", *, is_marked: bool = False) -> AtSea:
        d = drive(tmp_path / "t", make_host=trials_host)
        new_job(d, HULL)
        tablet, here = d.app.tablet, d.app.tablet.session.here
        state = tablet.boat(here.hull).vessel_home("engines")
        for number, position in enumerate(("port", "starboard")):
            subject = ("engines", position, "network_instance")
            tablet.save(tablet.author().write(state, "field", subject, number))
        sea = AtSea(d, orders, form, is_marked=is_marked)
        made.append(sea)
        return sea

    yield start
    for one in made:
        one.close()


def entry(d: Driver, step: str, field: str, row: str = "1", of: str = "") -> None:
    """Open the page of one value."""
    here = d.app.tablet.session.here
    d.app.way.go(here.to("step", step=step))
    d.app.way.go(here.to("entry", "measure", step, field, row, of, step=step))
    d.step()


def values(d: Driver, step: str, row: str = "1") -> Mapping[tuple[str, str], float]:
    rows = [m for m in view_of(d).measurements if m.step == step and m.row == row and m.field != PROPELLER]
    return {(m.field, m.of): float(Amount.parse(str(m.value)).text) for m in rows}


def test_full_throttle_of_a_twin_is_taken_with_no_digit(at_sea: Callable[..., AtSea]) -> None:
    """Both ways: course, speed and both engines, a touch a run, each value marked as heard and from whom."""
    runs = [Order(seconds=16, engine_speed=5800, course=course) for course in (80.0, 260.0)]
    sea = at_sea(runs)
    d = sea.d
    entry(d, FULL, "course")
    touches = d.touches
    for row in ("1", "2"):
        sea.sail(15)
        sea.look()
        d.press("heard row")
        found = values(d, FULL, row)
        truth = {s.instance: s.value for s in sea.boat.truth if s.quantity == "engine_speed"}
        assert found["engine_speed", "port"] == pytest.approx(truth["0"], abs=25)
        assert found["engine_speed", "starboard"] == pytest.approx(truth["1"], abs=25)
        [speed] = [s.value for s in sea.boat.truth if s.quantity == "speed_over_ground"]
        assert found["speed", ""] == pytest.approx(speed, abs=0.3)
        assert ("course", "") in found
    assert d.touches - touches == 2
    assert not d.app.tablet.session.typed, "no digit was typed"
    assert str(d.app.shell.page.saved).startswith("4\u00a0values")
    d.press("undo")
    assert (values(d, FULL, "2"), len(values(d, FULL, "1"))) == ({}, 4), "one touch takes back what one touch took"
    sea.look()
    d.press("heard row")
    heard_from = {m.instrument for m in view_of(d).measurements if m.field != PROPELLER}
    assert all(one.startswith(f"{HEARD_FROM} ") for one in heard_from)


@pytest.mark.parametrize(("form", "count"), [("can", 10), ("signalk", 2)])
def test_throttle_steps_out_and_back_are_taken_with_no_digit(
    at_sea: Callable[..., AtSea], form: str, count: int
) -> None:
    """A touch a step each way; fuel flow and engine speed of both engines, from the network where they are."""
    speeds = STEPS[:count]
    steps = [Order(seconds=6, engine_speed=rpm, course=course) for course in (80.0, 260.0) for rpm in speeds]
    sea = at_sea([steps[0], *steps], form)
    d = sea.d
    sea.sail(5)
    entry(d, THROTTLE, "nominal_engine_speed")
    touches = d.touches
    truth = []
    for _ in speeds:
        sea.sail(6)
        sea.look()
        truth.append({(s.quantity, s.instance): s.value for s in sea.boat.truth})
        d.press("heard row")
    entry(d, THROTTLE, "speed_back")
    for number in range(1, count + 1):
        sea.sail(6)
        sea.look()
        d.press("heard")
        assert d.app.tablet.session.here.subject[3] != str(number)
    assert d.touches - touches == 2 * count
    assert not d.app.tablet.session.typed
    for number, told in enumerate(truth, 1):
        found = values(d, THROTTLE, str(number))
        gallons = [convert(told["fuel_flow", engine], "L/h", "gal/h") for engine in ("0", "1")]
        assert [found["fuel_flow", of] for of in ("port", "starboard")] == pytest.approx(gallons, rel=0.05)
        assert found["nominal_engine_speed", ""] == pytest.approx(told["engine_speed", "0"], abs=60)
        assert found["speed_out", ""] == pytest.approx(told["speed_over_ground", ""], abs=1.5)
        assert ("speed_back", "") in found


def test_what_the_network_knows_of_the_boat_is_offered_where_it_is_asked(at_sea: Callable[..., AtSea]) -> None:
    """Hours, which instance an engine is, fuel on board, the air; all beside each other with one touch."""
    sea = at_sea([Order(seconds=30, engine_speed=1500, course=80.0)], "can")
    d = sea.d
    sea.sail(3)
    entry(d, "prop_check.conditions", "fuel_level", "")
    d.press("heard row")
    assert values(d, "prop_check.conditions", "") == {
        ("fuel_level", ""): 62.0,
        ("air_temperature", ""): 21.5,
        ("air_pressure", ""): 1009.0,
    }
    d.app.way.go(d.app.tablet.session.here.to("entry", "field", "engines", "starboard", "hours"))
    d.step()
    d.press("heard")
    [_, starboard] = d.app.tablet.boat(d.app.tablet.session.here.hull).vessel().engines
    assert starboard.hours == Amount("4.0", "h")


def test_nothing_of_the_simulated_boat_is_taken(at_sea: Callable[..., AtSea]) -> None:
    """It says so; the way to type stays."""
    sea = at_sea([Order(seconds=30, engine_speed=5800, course=80.0)], is_marked=True)
    entry(sea.d, FULL, "course")
    sea.sail(3)
    sea.d.app.shell.page.refill()
    sea.d.step()
    assert sea.d.says("The simulated boat is heard")
    assert not any(sea.d.has(name) for name in ("heard", "heard row"))
    assert sea.d.has("key 1")


def test_a_run_off_the_simulated_network_leaves_nothing_on_the_disk(at_sea: Callable[..., AtSea]) -> None:
    """Not while it runs, so that a tablet that goes dark offers nothing of it; nor when it is stopped."""
    sea = at_sea([Order(seconds=30, engine_speed=5800, course=80.0)], "can", is_marked=True)
    d = sea.d
    d.app.live.time = lambda: sea.clock[0]
    here = d.app.tablet.session.here
    d.app.way.go(here.to("live", "measure", FULL, "all_runs", "", "", step=FULL))
    d.step()
    d.press("start")
    for _ in range(8):
        sea.sail(1)
        d.app.shell.page._tick(0.1)
    assert len(d.app.shell.page.run.samples) > 50
    assert d.says("SIMULATED")
    kept = left_behind(d.app.tablet.folder, d.app.tablet.session.here, ())
    assert kept == ()
    d.press("stop")
    assert left_behind(d.app.tablet.folder, d.app.tablet.session.here, ()) == ()
    assert d.app.tablet.session.here.page == "live"


def test_what_is_old_is_not_offered(at_sea: Callable[..., AtSea]) -> None:
    """Three seconds after the last value there is nothing to take."""
    sea = at_sea([Order(seconds=30, engine_speed=5800, course=80.0)])
    entry(sea.d, FULL, "speed")
    sea.sail(2)
    sea.look()
    assert sea.d.has("heard")
    sea.clock[0] += 4.0
    sea.look()
    assert not sea.d.has("heard")


def test_two_instruments_of_one_quantity_are_never_mixed_and_the_choice_stays(at_sea: Callable[..., AtSea]) -> None:
    """Both are shown with their names; the one picked is believed on this boat from then on."""
    sea = at_sea([Order(seconds=30, engine_speed=5800, course=80.0)])
    d = sea.d
    entry(d, FULL, "speed")
    for number in range(4):
        sea.clock[0] += 0.5
        sea.network.hear(b"$GPVTG,80.0,T,,M,38.%d,N,,K,A\r\n" % number, sea.network.where.host)
        sea.network.hear(b"$GNVTG,80.0,T,,M,12.%d,N,,K,A\r\n" % number, sea.network.where.host)
    sea.look()
    assert not d.has("heard")
    assert not d.has("heard row")
    d.press("heard GP")
    assert values(d, FULL) == {("speed", ""): pytest.approx(38.15, abs=0.06)}
    vessel = d.app.tablet.boat(d.app.tablet.session.here.hull).vessel()
    assert choices_of(vessel) == {"speed_over_ground": "GP"}
    assert rivals(("speed_over_ground", "heading"), vessel, sea.network) == {}
    assert list(unknown_keys(vessel)) == [], "a job file with it is asked nothing about it"
    entry(d, THROTTLE, "speed_out")
    sea.look()
    assert d.says("Heard: 38.2 kn") or d.says("Heard: 38.1 kn")
    d.press("other instruments")  # the wrong one was touched
    assert d.has("heard GN")
    assert choices_of(d.app.tablet.boat(d.app.tablet.session.here.hull).vessel()) == {}
    d.press("heard GP")


def test_a_source_is_chosen_where_the_run_is_begun(at_sea: Callable[..., AtSea]) -> None:
    sea = at_sea([Order(seconds=30, engine_speed=5800, course=80.0)])
    d = sea.d
    for talker in (b"GP", b"GN"):
        sea.network.hear(b"$" + talker + b"VTG,80.0,T,,M,38.0,N,,K,A\r\n", sea.network.where.host)
    d.app.way.go(d.app.tablet.session.here.to("live", step=FULL))
    d.step()
    d.seek("follow GN")
    assert not d.says("Several instruments")
    run = d.app.shell.page.run
    assert run.view.vessel.more["network_sources"] == {"speed_over_ground": "GN"}
    d.seek("choose again speed_over_ground")
    d.seek("follow GN")
    run = d.app.shell.page.run
    d.press("start")
    assert run.running
    assert not run._one_source.takes(Sample(0.0, "speed_over_ground", 38.0, "GP"))


def test_of_two_gateways_one_is_chosen_with_one_touch(at_sea: Callable[..., AtSea]) -> None:
    """Both pass on the same engines; a second receiver behind the same gateway is left to the person."""
    sea = at_sea([Order(seconds=30, engine_speed=5800, course=80.0)])
    d, here = sea.d, sea.d.app.tablet.session.here
    engines = b"$IIRPM,E,0,3000,,A\r\n$IIRPM,E,1,3000,,A\r\n"
    for gateway in ("10.0.0.1", "10.0.0.2"):
        sea.network.hear(engines + b"$GPVTG,80.0,T,,M,38.0,N,,K,A\r\n", gateway)

    def vessel() -> Vessel:
        found: Vessel = d.app.tablet.boat(here.hull).vessel()
        return found

    open_now = rivals(("engine_speed", "speed_over_ground"), vessel(), sea.network)
    assert set(open_now) == {"engine_speed", "speed_over_ground"}
    first, second = open_now["speed_over_ground"]
    follow(d.app.tablet, here.hull, "speed_over_ground", second, open_now)
    assert choices_of(vessel()) == {"speed_over_ground": second, "engine_speed": second.replace("GP", "II")}
    choose_anew(d.app.tablet, here.hull, "engine_speed")
    more = {"speed_over_ground": (first, second), "engine_speed": ("II", "II 10.0.0.2", "ER 10.0.0.2")}
    follow(d.app.tablet, here.hull, "speed_over_ground", second, more)
    assert choices_of(vessel()) == {"speed_over_ground": second}


def test_a_guide_follows_one_source_and_the_chosen_one_even_when_it_is_silent() -> None:
    first, second = (Sample(0.0, "speed_over_ground", 20.0, source) for source in ("3", "17"))
    by_order, chosen = OneSource(), OneSource({"speed_over_ground": "17"})
    assert [by_order.takes(one) for one in (first, second, first)] == [True, False, True]
    assert [chosen.takes(one) for one in (first, second, first)] == [False, True, False]
    later = second._replace(time=3.5)
    assert by_order.takes(later), "an address that changed, or one that fell silent"
    assert not by_order.takes(first._replace(time=4.0))
    assert not chosen.takes(first._replace(time=60.0))
    headings = [Sample(0.0, "rate_of_turn", 2.0, source) for source in ("20", "35")]
    assert all(by_order.takes(one) for one in headings), "the guide of a turn tells compasses apart itself"


class Heard:
    """A network on which each engine's gateway shows a number of its own."""

    def newest(self, quantity: str) -> dict[StreamKey, Newest]:
        return {StreamKey(quantity, "10", str(engine)): Newest(value=14.0 + engine, age=0.0) for engine in (0, 1)}

    def devices(self) -> dict[str, tuple[str, ...]]:
        return {}


@pytest.mark.parametrize("field", ["voltage", "water_pressure", "temperature"])
def test_a_gauge_of_one_engine_is_taken_from_that_engine(field: str) -> None:
    """Not from the other, and not the mean of both."""
    host = make_host(("garboard_engine_trial",), entry_points=False)
    step = host.step("engine_trial.under_load")
    assert step is not None
    engines = tuple(Engine(position=of, network_instance=number) for number, of in enumerate(("port", "starboard")))
    vessel = Vessel(hull_number="QQZ00001A626", engines=engines)
    asks = asks_of_step(step, JobView(vessel=vessel, job=Job(id="J")), open_tables=("loads",))
    taken = {}
    for ask in asks:
        if ask.field.name == field:
            unit = UNIT_OF_QUANTITY[ask.field.heard]
            [offer] = offers(ask, unit, vessel, Heard())  # type: ignore[arg-type]
            taken[ask.of] = Amount.parse(str(offer.value)).to(unit)
    assert taken == {"port": pytest.approx(14.0), "starboard": pytest.approx(15.0)}
