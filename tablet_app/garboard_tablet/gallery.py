"""Pictures of every page in every size, off screen, from the sample jobs: `python -m garboard_tablet.gallery DIR`."""

from __future__ import annotations

import logging
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import attrs

from garboard.findings import Figure
from garboard.fittings import CAME_WITH
from garboard.history.replay import replay
from garboard.steps import Assessed, Field, Kind
from garboard_tablet.models.asks import Ask, asks_of_step
from garboard_tablet.models.entry import entry_route
from garboard_tablet.models.pages import asks_here, figures_and_tables
from garboard_tablet.models.rows import tables_of
from garboard_tablet.models.runs import PendingRun
from garboard_tablet.models.session import HOME, Route
from garboard_tablet.models.tablet import Tablet, open_tablet

if TYPE_CHECKING:
    from garboard.recordings.boat_network import BoatNetwork
    from garboard_tablet.app import GarboardApp
    from garboard_tablet.system.files import Got, Place, Put

SIZES: tuple[tuple[int, int, float], ...] = ((1280, 800, 1.0), (800, 1280, 1.0), (1024, 600, 1.0), (1920, 1200, 1.5))
"""Width, height [dots] and density of the screens every page must fit."""

TYPED_IN_THE_README = ("wiring_audit.batteries", "rest_voltage")

ROWS_LOOKED_AT = ("_circuits", "_batteries", "_networks", "_as_rigged", "_runs", "_gear", "_makers_window")

Act = Callable[[Any], None]


def nothing(_page: Any) -> None:
    """The page as it comes up."""


def scenes(tablet: Tablet) -> Iterator[tuple[str, Route, Act]]:
    """Every page worth a picture: its name, its route, and what is done on it first."""
    yield "vessels", HOME, nothing
    yield "new_job", HOME.to("new job"), nothing
    yield "new_job_faulty", HOME.to("new job"), lambda page: page.take("XYZ0I234M52")
    yield "new_job_good", HOME.to("new job"), lambda page: page.take("XYZAB123F526")
    yield "settings", HOME.to("settings"), nothing
    yield "shop_settings", HOME.to("shop settings"), nothing
    yield "who", HOME.to("who"), nothing
    yield "ashore", HOME.to("ashore"), nothing
    yield "pair", HOME.to("pair"), nothing
    yield "pair_refused", HOME.to("pair"), refuse_the_code
    yield "trouble", HOME.to("settings"), make_a_mistake
    yield "not_saved", HOME.to("settings"), refuse_to_save
    yield "where", HOME.to("where"), nothing
    yield "where_faulty", HOME.to("where"), lambda page: page._done("192.168.4.1:99999")
    yield "network", HOME.to("network"), hear_two_senders
    yield "network_silent", HOME.to("network"), hear_nothing
    yield "audit", HOME.to("audit"), hear_two_devices_of_one_address
    yield "units", HOME.to("units"), nothing
    jobs = [Route(page="job", hull=hull, job=tablet.state_of(hull).jobs[-1]) for hull in tablet.files.boats()]
    for job in jobs:
        yield from _scenes_of_job(tablet, job)
    for route in (job.to("recordings", step="heading_calibration.steady_turn") for job in jobs[:1]):
        yield "sensors_heard", route.to("sensors"), hear_compasses
        yield "recordings_several", route, run_several_times
        yield "recordings_thrown_away", route, lambda page: page._show_thrown_away()
        yield "recordings_undo", route, lambda page: page._throw_away(*page.looked_at)
    for route in (job.to("trials", step="prop_check.full_throttle") for job in jobs[:1]):
        yield "trials_one", route, nothing
        yield "trials_new", route.to("new trial"), nothing
        yield "trials_beside", route.to("aside", "steps", step="fuel_curve.steps"), nothing
        yield "trials_several", route, try_another
        yield "trials_each_engine", route.to("each engine"), nothing
        engines = len(tablet.boat(route.hull).vessel().engines)
        yield "trials_first", route.to("trial", *[CAME_WITH] * engines), nothing
    for route in _measured_amounts(tablet, jobs):  # last: from here on two values stand there
        yield "change", route, lambda page: page._change()
        yield "meter", route.to("meter", *route.subject), nothing
        yield "disagreement", route, disagree
        yield "disagreement_technician", route, disagree_as_technician
        yield "said_back", route, say_back
        break
    yield from _scenes_of_photos(jobs)
    yield "vessels_elsewhere", HOME, lack_boats  # from here on every list of vessels says so


def _scenes_of_photos(jobs: Sequence[Route]) -> Iterator[tuple[str, Route, Act]]:
    """Late: from here on a step has photos."""
    yield "backup", HOME.to("backup"), nothing
    yield "backup_damaged", HOME.to("backup"), take_back_a_damaged_one
    for job in jobs[:1]:
        route = job.to("photos", "drop", "", "Bilge pump", step="wiring_audit.circuits")
        yield "photos_none", route, nothing
        yield "photo", route, partial(attach_photos, 1)
        yield "photos", route, partial(attach_photos, 0)
        yield "photo_words", route, name_an_arrow
        yield "photo_cut_off", route, bring_half_a_picture
        yield "photos_step", route.to("step"), nothing


def _scenes_of_job(tablet: Tablet, job: Route) -> Iterator[tuple[str, Route, Act]]:
    name = tablet.boat(job.hull).vessel().name or job.hull
    short = name.lower().replace(" ", "_")
    for tab in ("alongside", "under way", "hand over", "missing", "vessel"):
        yield f"{short}_job_{tab.replace(' ', '_')}", job.to("job", tab), nothing
    pages = (
        *("equipment", "punch list", "add punch", "hand over", "book", "vessel jobs"),
        *("like", "own facts", "keep template"),
    )
    for page in pages:
        yield f"{short}_{page.replace(' ', '_')}", job.to(page), nothing
    yield f"{short}_boat", job.to("piece"), nothing
    yield f"{short}_engines", job.to("kind", "engines"), nothing
    yield f"{short}_circuits", job.to("kind", "circuits"), nothing
    yield f"{short}_add_circuit", job.to("add piece", "circuits"), nothing
    vessel = tablet.boat(job.hull).vessel()
    if vessel.circuits:
        circuit = vessel.circuits[0].name
        yield f"{short}_pick", job.to("entry", "field", "circuits", circuit, "conductor_area"), nothing
    if vessel.engines:
        yield f"{short}_engine", job.to("piece", "engines", vessel.engines[0].position), nothing
        yield f"{short}_remove", job.to("remove piece", "engines", vessel.engines[0].position), nothing
    yield f"{short}_covers", job.to("covers", "owner"), nothing
    for times in range(1, 6):
        yield f"{short}_covers_{times}", job.to("covers", "owner"), partial(turn_pages, times)
    yield f"{short}_covers_part", job.to("covers", "owner", "1"), nothing
    yield f"{short}_signer", job.to("signer", "owner"), nothing
    yield f"{short}_signing", job.to("signing", "owner", "A. Marsh"), nothing
    found = tablet.assess(job.hull, job.job)
    yield from _scenes_of_steps(tablet, job, short, found)
    yield f"{short}_state", job.to("state", step=tablet.host.steps[0].key), nothing


def _scenes_of_steps(
    tablet: Tablet, job: Route, short: str, found: Sequence[Assessed]
) -> Iterator[tuple[str, Route, Act]]:
    """What was found, and the pages of each step; of each kind of value asked for, the first."""
    for number, (_, thing) in enumerate(figures_and_tables(found)):
        form = "figure" if isinstance(thing, Figure) else "table"
        yield f"{short}_{form}_{number}", job.to("results", str(number)), nothing
    asked: set[tuple[Kind, bool]] = set()
    for step in tablet.host.steps:
        here = job.to("step", step=step.key)
        name = f"{short}_{step.key.replace('.', '_')}"
        yield name, here, nothing
        for table in tables_of(step):
            if name.endswith(ROWS_LOOKED_AT):  # the others differ in what stands in their cells alone
                yield f"{name}_rows_{table.name}", here.to("rows", table.name, step=step.key), nothing
        if step.cautions or step.at_hand:
            yield f"{name}_cautions", here.to("cautions"), nothing
        if any(one.step == step.key for one in found):
            yield f"{name}_why", here.to("why", "0"), nothing
        if step.guide:
            yield from _scenes_of_guide(name, here)
        for ask in asks_here(tablet, job.hull, job.job, step):
            kind = (ask.field.kind, bool(ask.row))
            if kind not in asked:
                asked.add(kind)
                yield from _scenes_of_ask(name, entry_route(here, ask), ask)
            elif (step.key, ask.field.name) == TYPED_IN_THE_README and ask.of == "house":
                yield f"{name}_{ask.field.name}", entry_route(here, ask), nothing


def _scenes_of_guide(name: str, here: Route) -> Iterator[tuple[str, Route, Act]]:
    yield f"{name}_live_unchosen", here.to("live"), nothing
    yield f"{name}_live_waiting", here.to("live"), wait_for_start
    yield f"{name}_live", here.to("live"), steer
    yield f"{name}_live_simulated", here.to("live"), steer_simulated
    yield f"{name}_live_silent", here.to("live"), fall_silent
    yield f"{name}_live_disk_full", here.to("live"), fill_the_disk
    yield f"{name}_live_unsaved", here.to("live"), leave_unsaved
    yield f"{name}_source", here.to("source"), nothing
    yield f"{name}_stopped", here.to("live"), stop_a_replay
    yield f"{name}_recordings", here.to("recordings"), nothing
    yield f"{name}_sensors", here.to("sensors"), nothing
    yield f"{name}_sensor", here.to("sensor", "27"), nothing


def _scenes_of_ask(name: str, route: Route, ask: Ask) -> Iterator[tuple[str, Route, Act]]:
    yield f"{name}_{ask.field.name}", route, nothing
    if ask.field.kind is Kind.AMOUNT:
        yield f"{name}_{ask.field.name}_odd", route, type_something_odd
        yield f"{name}_{ask.field.name}_unit", route, lambda page: page._ask_unit()


def _measured_amounts(tablet: Tablet, jobs: Sequence[Route]) -> Iterator[Route]:
    """Where amounts are entered that stand already."""
    for job in jobs:
        for step in tablet.host.steps:
            here = job.to("step", step=step.key)
            for ask in asks_here(tablet, job.hull, job.job, step):
                if ask.field.kind is Kind.AMOUNT and tablet.current(job.hull, job.job, ask):
                    yield entry_route(here, ask)


def run_several_times(page: Any) -> None:
    """Beside the run in use: one broken off, one too slow, one played, and one thrown away."""
    from garboard.recordings.encode import csv_series
    from garboard.recordings.simulator import Boat, Order, simulate

    (ask,) = page.asks
    for number, (seconds, rate, origin) in enumerate(((45, 2.5, "live"), (330, 1.6, "live"), (200, 2.5, "replay"))):
        turn = simulate(Boat(), [Order(seconds=seconds, engine_speed=1100, rate_of_turn=rate)], start=1.7788e9)
        kept = page.tablet.keep_file(csv_series(turn), f"run {number + 1}")
        value = {**kept, "origin": origin, "source": "boat's network" if origin == "live" else "turn.n2k.csv"}
        page.tablet.keep_beside(page.route.hull, page.route.job, ask, value)
        if number == 0:
            page.tablet.throw_away(page.route.hull, page.route.job, ask, {**value, "file": kept["file"]})
    page.screen.redraw()


def try_another(page: Any) -> None:
    """Two runs with a propeller of more pitch, on every engine."""
    tablet, route = page.tablet, page.route
    tablet.add_piece(route.hull, ("propellers", "19 steel"))
    engines = [engine.position for engine in tablet.boat(route.hull).vessel().engines]
    tablet.fit_propellers(route.hull, ["19 steel"] * len(engines))
    step = tablet.step(route.step)
    for row, side, speed in (("91", "with", "44.1 kn"), ("92", "against", "43.5 kn")):
        values = {("direction", ""): side, ("speed", ""): speed}
        values |= {("engine_speed", of): "5310 rev/min" for of in engines}
        for ask in asks_of_step(step, tablet.view(route.hull, route.job), open_tables=("runs",)):
            value = values.pop((ask.place[1], ask.of), None)
            if value is not None:
                place = (route.step, ask.place[1], row, ask.of)
                row_ask = attrs.evolve(ask, key=ask.key._replace(subject=place))
                tablet.enter(route.hull, route.job, row_ask, value)
    page.screen.redraw()


def disagree(page: Any) -> None:
    """Another tablet measured the same, and came ashore with another value."""
    from garboard.history.authoring import Author, measure

    tablet, route, key = page.tablet, page.route, page.form.ask.key
    current = tablet.current(route.hull, route.job, page.form.ask)
    if len(current) == 1:
        step, field, row, of = key.subject
        number, unit = str(current[0].value).split(" ", 1)
        nothing_seen = replay(tablet.state_of(route.hull, route.job).hull_number, ())
        author = Author("another tablet", "N. Sorrel")
        value = f"{float(number) + 1:g} {unit}"
        tablet.save(measure(author, nothing_seen, route.job, step, field, value, row=row, of=of))
    page.screen.show()


def disagree_as_technician(page: Any) -> None:
    """The same on a tablet that a shop has paired as a technician's."""
    from garboard.disk.shop_document import FILE
    from garboard.shop_link import pairing
    from garboard.shop_link.pairing import PairedShop

    folder = page.tablet.folder
    pairing.keep(folder, PairedShop(name="shop", host="192.0.2.1", port=1, fingerprint="", token="", tablet=""))
    disagree(page)
    (folder / FILE).unlink()


def type_something_odd(page: Any) -> None:
    """A number outside the plausible range, so that the page asks again; outside the hard one it is refused."""
    field: Field = page.form.field
    high = (field.plausible or (0.0, 9000.0))[1]
    page.form.write(f"{high * 1.5:.0f}")
    page._next()


def say_back(page: Any) -> None:
    """A value is saved, which the next page says back."""
    page.form.save("12.4 V")
    page._onward()


def turn_pages(times: int, page: Any) -> None:
    """Turn the page's list on, as far as it goes."""
    for _ in range(times):
        page.screen.shell.body.turn()


def wait_for_start(page: Any) -> None:
    """A recording is chosen, of what the guide is for."""
    from garboard.demo.samples_folder import sample_jobs_folder

    wanted = page.live.guide_of(page.route).quantities
    log = next((log for quantity, log in _LOGS.items() if quantity in wanted), "turn.n2k.csv")
    page.live.replay(sample_jobs_folder() / "kittiwake" / log)
    page.screen.show()


_LOGS = {"fuel_flow": "throttle_steps.n2k.csv", "engine_speed": "full_throttle.n2k.csv"}
"""The sample recording for a guide that follows a quantity; for any other, circles."""


def steer(page: Any) -> None:
    """Play the recording for a while: circles take longer than a run at full throttle may."""
    wait_for_start(page)
    _run(page, 60.0 if page.live.replayed.name.startswith("turn") else 30.0)


def stop_a_replay(page: Any) -> None:
    """Play the recording for a moment and stop: too short, and no measurement."""
    steer(page)
    page.screen.page._stop()


def steer_simulated(page: Any) -> None:
    """Let the simulated boat go for half a minute."""
    page.live.replay(None)
    page.screen.show()
    _run(page, 30.0)


def _run(page: Any, seconds: float) -> None:
    now = [0.0]
    page.live.time = lambda: now[0]
    page = page.screen.page
    page._start()
    for _ in range(round(seconds * 4)):
        now[0] += 0.25
        page._tick(0.25)


def fall_silent(page: Any) -> None:
    """The boat's network falls silent in the middle of a run."""
    from garboard.recordings.boat_network import BoatNetwork
    from garboard.recordings.where import Where
    from garboard_tablet.models.sources import Heard

    steer(page)
    page = page.screen.page
    page.run.source = Heard(BoatNetwork(Where(), now=lambda: 12.0))
    now = page.live.time()
    page.live.time = lambda: now + 12.0
    page._tick(12.0)


NO_ROOM = "not saved: no space left on device. Free some space, then do this again"


def fill_the_disk(page: Any) -> None:
    """The disk is full in the middle of a run."""
    steer(page)
    page = page.screen.page
    page.recorder.refusal = NO_ROOM
    page._view.show(page.run)
    page.screen.say_saved()


def leave_unsaved(page: Any) -> None:
    """The disk was full at the end of a run."""
    fill_the_disk(page)
    page = page.screen.page
    page._halt()
    path, source = page.recorder.path, page.run.source
    page.live.unsaved[path.name] = PendingRun(
        path=path, origin=source.origin, source=source.title, in_memory=page.run.samples, refusal=NO_ROOM
    )
    page.way.instead(page.route.to("run", path.name))
    page.live.forget(path)


def refuse_the_code(page: Any) -> None:
    """The shop refuses what was typed."""
    page.context.shop.refusal = "The shop does not know this code. Ask for a new one; each works once."
    page.screen.redraw_as_it_is()
    page.context.shop.refusal = ""


def lack_boats(page: Any) -> None:
    """The disk was full when an older version's boats were to be brought in."""
    problem = (
        "Not everything in /data/app/garboard-tablet could be brought in: no space left on device. Boats that are "
        "missing here are there. Keep it. Free some space. The next start tries again."
    )
    object.__setattr__(page.context, "data_problem", problem)  # an app is told once, when it begins
    page.refill()


def make_a_mistake(page: Any) -> None:
    """The program fails where nobody expects it."""
    from garboard_tablet.pages.trouble import TroublePage

    what, kind = "making a list of the vessels on this tablet", "UnicodeDecodeError"
    page.screen.interrupt(TroublePage(page.context, page.route.to("trouble"), what, kind))


def refuse_to_save(page: Any) -> None:
    """The disk refuses."""
    from garboard_tablet.pages.trouble import NotSavedPage

    page.screen.interrupt(NotSavedPage(page.context, page.route.to("not saved"), NO_ROOM))


def hear_two_senders(page: Any) -> None:
    """A gateway, and another sender that is not in order."""
    from garboard.recordings.boat_network import BoatNetwork
    from garboard.recordings.where import Where

    network = BoatNetwork(Where())
    network.hear(_SENTENCES, "192.168.4.1")
    network.hear(b"$HCHDG,83.5,,,12.6,W\r\n$HEROT,-11.23,A*FF\r\n", "192.168.4.27")
    _show_network(page, network)


def hear_two_devices_of_one_address(page: Any) -> None:
    """Devices that name themselves, two that claim one address, and engines that nobody hears."""
    from garboard.recordings.boat_network import BoatNetwork
    from garboard.recordings.simulated_network import CLAIM, DEVICES, can_frame, introductions
    from garboard.recordings.where import Where

    lines = [*introductions(DEVICES, 0.0), can_frame(0.0, CLAIM, DEVICES[3].address, bytes(8))]
    network = BoatNetwork(Where(), now=lambda: 60.0)
    network.hear("".join(f"{line}\n" for line in lines).encode(), "192.168.4.1")
    _show_network(page, network)


_SENTENCES = (
    b"$HCHDG,81.3,,,12.0,W\r\n$HEROT,150.0,A\r\n$IIRPM,E,0,1100,,A\r\n$IIRPM,E,1,1080,,A\r\n$IIRSA,2.0,A\r\n"
    b"$GPRMC,120000,A,3730.10,N,06800.20,W,005.5,084.4,140526,,,A\r\n$VWVHW,,T,,M,5.2,N,,K\r\n"
    b"$GPGSV,1,1,00\r\n$SDDBT,,f,3.4,M,,F\r\n$WIMWV,040,R,08.2,N,A\r\n"
)


def hear_compasses(page: Any) -> None:
    """Two compasses, of which one says what it is."""
    from garboard.recordings.boat_network import BoatNetwork
    from garboard.recordings.where import Where

    network = BoatNetwork(Where())
    network.hear(
        b"$HEVER,1,1,HE,A. MAKER,7,00123,SATELLITE COMPASS 3,1.04,2,\r\n$HEHDT,69.2,T\r\n$HCHDG,81.3,,,12.0,W\r\n",
        "192.168.4.1",
    )
    _show_network(page, network)


class ToShow:
    """A tablet with a camera and a picker; neither answers."""

    has_camera = has_picker = True

    def take_picture(self, target: Path, done: Callable[[Got], object]) -> None: ...
    def pick(
        self, folder: Path, done: Callable[[Got], object], *, pictures: bool = False, is_backup: bool = False
    ) -> None: ...
    def choose_folder(self, done: Callable[[Place | None], object]) -> None: ...
    def put(self, file: Path, name: str, place: Place, done: Callable[[Put], object]) -> None: ...


def drawn_picture(width: int, height: int, ground: str) -> bytes:
    """A picture with something to point at."""
    from io import BytesIO

    from PIL import Image, ImageDraw

    image = Image.new("RGB", (width, height), ground)
    pen = ImageDraw.Draw(image)
    pen.rectangle((width * 0.3, height * 0.3, width * 0.5, height * 0.6), fill="#C98A3B")
    pen.line((0, height * 0.8, width, height * 0.5), fill="#1B1B1B", width=width // 60)
    out = BytesIO()
    image.save(out, "JPEG")
    return out.getvalue()


def attach_photos(shown: int, page: Any) -> None:
    """Two photos, one of them with three arrows.

    shown : whether the one with arrows is shown then
    """
    from garboard_tablet.models.photos import Pointing, Prepared, attach_picture
    from garboard_tablet.pages.photo import photo_route

    places = [
        attach_picture(page.tablet, page.route, Prepared(drawn_picture(*size), "clamp.jpg", "2026-05-04T09:12:00"))
        for size in ((600, 800, "#3B5B3B"), (800, 600, "#5B6B78"))
    ]
    pointing = Pointing(page.tablet, page.route, places[1], 4 / 3)
    for tip, word in (((0.4, 0.4), "loose"), ((0.85, 0.2), "wrong size"), ((0.1, 0.9), "")):
        if len(pointing.arrows) < 3:
            pointing.one_more()
            pointing.touch(*tip)
            pointing.name(word)
    page.way.go(photo_route(page.route, places[1])) if shown else page.screen.show()


def name_an_arrow(page: Any) -> None:
    """Say what an arrow points at."""
    attach_photos(1, page)
    page.screen.page._words()


def bring_half_a_picture(page: Any) -> None:
    """The camera was not done when the app came back."""
    from garboard_tablet.models.photos import next_picture

    path = next_picture(page.tablet)
    path.write_bytes(drawn_picture(400, 300, "#5B6B78")[:900])
    page.bringing.use(path)


def take_back_a_damaged_one(page: Any) -> None:
    """A stick that went bad."""
    path = page.tablet.folder / "garboard 2026-05-04 1740.zip"
    path.write_bytes(b"PK\x03\x04")
    page.context.backups.take_back(path)


def hear_nothing(page: Any) -> None:
    """The tablet is not on the boat's wifi."""
    from garboard.recordings.boat_network import BoatNetwork
    from garboard.recordings.where import Where

    _show_network(page, BoatNetwork(Where(), now=lambda: 12.0))


def _show_network(page: Any, network: BoatNetwork) -> None:
    page.leave()  # it looks no more: what is on it now stays
    page.live.network = network
    page.screen.redraw_as_it_is()
    page.live.network = None


def show(app: GarboardApp, route: Route, act: Act) -> None:
    """Put a page up as if the person had come to it, and do what belongs to it."""
    app.tablet.session.typed.clear()
    app.live.end_run()
    app.live.unsaved.clear()
    app.live.replayed, app.live.simulated = None, app.demo
    app.tablet.session.way = [HOME] if route == HOME else [HOME, route]
    if route.hull and not app.findings.of(route):
        app.findings.now(route)
    app.screen.show()
    act(app.shell.page)


def set_screen(app: GarboardApp, width: int, height: int, density: float) -> None:
    """A screen of another size."""
    from kivy.base import EventLoop
    from kivy.core.window import Window
    from kivy.metrics import Metrics

    Metrics.density = density
    Window.size = (width, height)
    for _ in range(2):
        EventLoop.idle()
    app.screen.show()


def picture(path: Path) -> None:
    """What the window shows, as PNG."""
    from kivy.base import EventLoop
    from kivy.core.window import Window
    from kivy.graphics.opengl import GL_RGB, GL_UNSIGNED_BYTE, glReadPixels

    EventLoop.idle()
    EventLoop.idle()
    Window.dispatch("on_draw")
    width, height = Window.size
    data = glReadPixels(0, 0, width, height, GL_RGB, GL_UNSIGNED_BYTE)
    Window._win.save_bytes_in_png(str(path), data, width, height)


def pictures(out: Path, only: str, width: int, height: int, density: float) -> int:
    """Write the pictures of one size whose name holds `only`. Returns how many."""
    for switch in ("KIVY_NO_ARGS", "KIVY_NO_FILELOG", "KIVY_NO_CONFIG"):
        os.environ.setdefault(switch, "1")
    os.environ.setdefault("KIVY_LOG_MODE", "PYTHON")
    os.environ.setdefault("SDL_VIDEODRIVER", "offscreen")
    from kivy.base import runTouchApp
    from kivy.config import Config

    logging.getLogger("kivy").disabled = True
    for key, value in (("width", str(width)), ("height", str(height)), ("maxfps", "0"), ("multisamples", "0")):
        Config.set("graphics", key, value)
    from garboard_tablet.app import GarboardApp
    from garboard_tablet.demo import fill

    out.mkdir(parents=True, exist_ok=True)
    tablet = open_tablet(Path(tempfile.mkdtemp()) / "garboard-tablet")
    fill(tablet)
    app = GarboardApp(tablet, threads=False, files=ToShow())
    app._run_prepare()
    runTouchApp(embedded=True)
    for hull in app.vessels.stale():
        app.vessels.refresh(hull)
    set_screen(app, width, height, density)
    wanted = [scene for scene in scenes(tablet) if only in scene[0]]
    for name, route, act in wanted:
        show(app, route, act)
        picture(out / f"{name}_{width}x{height}.png")
    return len(wanted)


def main(arguments: Sequence[str]) -> int:
    """Every size in a process of its own: a window off screen keeps the surface it began with."""
    if not arguments or arguments[0].startswith("-"):
        print("say where the pictures go: python -m garboard_tablet.gallery DIR [PART OF A NAME]")
        return 2
    out, only, *size = [*arguments, ""][: max(2, len(arguments))]
    if size:
        screen = next(screen for screen in SIZES if f"{screen[0]}x{screen[1]}" == size[0])
        print(pictures(Path(out), only, *screen), "pictures of", size[0])
        return 0
    for width, height, _ in SIZES:
        command = [sys.executable, "-m", "garboard_tablet.gallery", out, only, f"{width}x{height}"]
        subprocess.run(command, check=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
