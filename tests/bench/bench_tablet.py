"""The tablet app against a bare window with one label, in the same run: start, steps, keys, live guide, memory.

Run by hand:  python tests/bench/bench_tablet.py --hulls 1 50 500
Off screen, in software, on whatever machine this is: only the ratios mean something. Medians of five processes, each
figure with the least and the most of the five. With --opened 120 also the memory of so many pages of steps, opened one
after another.
Goal: the first usable frame within 1.4 times the bare window's, with 50 hulls on the tablet. Byte code is kept between
runs, as an installed program has it; on a busy machine the processor's ratio says more than the clock's.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir
from typing import Any

import attrs

os.environ.setdefault("SDL_VIDEODRIVER", "offscreen")
os.environ.setdefault("SDL_AUDIODRIVER", "dummy")
for switch in ("KIVY_NO_ARGS", "KIVY_NO_FILELOG", "KIVY_NO_CONFIG"):
    os.environ.setdefault(switch, "1")
os.environ.setdefault("KIVY_LOG_MODE", "PYTHON")

ROOT = Path(__file__).parents[2]
JOB = ROOT / "sample_jobs" / "kittiwake" / "job.json"
BETWEEN = 0.5
"""A person takes no less between two presses that are measured [s]."""
SAVES, TICKS = 20, 100
"""In one process."""
SLOWEST = 20
"""So many saves are told one by one: the first of a process has more to make than those after it."""
MAKER, END = "QQZ", "B626"


def fill(folder: Path, hulls: int) -> None:
    """The sample job under so many hull numbers."""
    from garboard.disk.hullfile import HullFolder
    from garboard.history.authoring import Author, take_in
    from garboard.history.replay import HullState
    from garboard.hull_number import key
    from garboard.job_files.job_file import read_job_file

    job_file = read_job_file(JOB)
    with HullFolder(folder) as files, files.batch():
        for number in range(hulls):
            hull = f"{MAKER}{number:05d}{END}"
            vessel = attrs.evolve(job_file.vessel, hull_number=hull, name=f"Vessel {number}")
            entries = take_in(Author("bench", "R. Vane"), HullState(key(hull)), attrs.evolve(job_file, vessel=vessel))
            files.put_if_absent(hull, entries)


def as_the_app_sets() -> None:
    """What the app sets where nothing loads Kivy before it; here its settings are changed first."""
    import garboard_tablet.ui.before_kivy  # noqa: F401


def quiet_window() -> None:
    import logging

    from kivy.config import Config

    logging.getLogger("kivy").disabled = True
    for name, value in (("width", "1280"), ("height", "800"), ("maxfps", "0"), ("multisamples", "0")):
        Config.set("graphics", name, value)


def frame() -> None:
    """One turn of the app's loop and one picture, waited for until it is drawn.

    The software renderer draws in threads of its own and only queues what it is asked. Without waiting, a frame took
    0.3 ms or 36 ms, by the length of the queue, and each picture queued kept 1 MB.
    """
    from kivy.base import EventLoop
    from kivy.core.window import Window
    from kivy.graphics.opengl import glFinish

    Window.canvas.ask_update()  # else the loop draws only where something changed
    EventLoop.idle()
    glFinish()


def first_frame(app: object) -> None:
    """Start an app, draw one frame, say when."""
    from kivy.base import runTouchApp

    app._run_prepare()  # type: ignore[attr-defined]
    runTouchApp(embedded=True)
    frame()
    told = {"at": time.time(), "cpu": time.process_time() * 1000}
    print(json.dumps({**told, "memory": peak_memory()}))


def peak_memory() -> float:
    """[MB]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def bare_window() -> object:
    quiet_window()
    from kivy.app import App
    from kivy.uix.label import Label

    class Bare(App):  # type: ignore[misc]
        def build(self) -> Label:
            return Label(text="Vessels", font_size=32)

    return Bare()


def tablet(folder: Path) -> None:
    as_the_app_sets()
    quiet_window()
    from garboard_tablet.app import GarboardApp
    from garboard_tablet.models.tablet import open_tablet

    first_frame(GarboardApp(open_tablet(folder)))


def _env() -> dict[str, str]:
    """With byte code kept, as an installed program has it, but beside the tree."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return kept | {"PYTHONPYCACHEPREFIX": str(Path(gettempdir()) / "bench_tablet byte code")}


def child(*arguments: str) -> tuple[float, float, float]:
    """Milliseconds from the start of a process to its first frame, its memory [MB], and its processor time [ms]."""
    began = time.time()
    done = subprocess.run(
        [sys.executable, __file__, *arguments], capture_output=True, text=True, check=True, env=_env()
    )
    told = json.loads(done.stdout.splitlines()[-1])
    return (told["at"] - began) * 1000, told["memory"], told["cpu"]


class Flushes:
    """How long the disk was waited for [s], since the program began."""

    def __init__(self) -> None:
        self.taken = 0.0
        self._flush, os.fsync = os.fsync, self  # type: ignore[assignment]

    def __call__(self, descriptor: int) -> None:
        start = time.perf_counter()
        self._flush(descriptor)
        self.taken += time.perf_counter() - start


@attrs.define
class Taken:
    """Milliseconds of each round by the clock; by the clock without its flushes; and of the processor for this thread
    alone, without the renderer's."""

    flushes: Flushes
    clock: list[float] = attrs.field(factory=list)
    beyond: list[float] = attrs.field(factory=list)
    thread: list[float] = attrs.field(factory=list)

    def add(self, work: Callable[[], object], rounds: int = 1, before: Callable[[], object] = lambda: None) -> None:
        """before : done before each round, and not measured"""
        for _ in range(rounds):
            before()
            start, own_start, flushed = time.perf_counter(), time.thread_time(), self.flushes.taken
            work()
            self.clock.append((time.perf_counter() - start) * 1000)
            self.thread.append((time.thread_time() - own_start) * 1000)
            self.beyond.append(self.clock[-1] - (self.flushes.taken - flushed) * 1000)


def wait(seconds: float) -> None:
    """As long as a person takes, at the least; what goes on in the background ends meanwhile."""
    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        frame()
        time.sleep(0.02)


def memory_now() -> float:
    """What the process holds now [MB]."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1024 / 1024


def bare_drawn() -> None:
    """Memory of a bare window as JSON [MB], at its first frame and once the renderer has made all it draws with."""
    window = bare_window()
    window._run_prepare()  # type: ignore[attr-defined]
    from kivy.base import runTouchApp

    runTouchApp(embedded=True)
    told = {"first frame": memory_now()}
    wait(4 * BETWEEN)
    print(json.dumps(told | {"after two seconds": memory_now()}))


def opened_pages(folder: Path, count: int) -> None:
    """Memory of one app as JSON [MB]: at its first frame, at a job's page, at the first step's page and the last's."""
    as_the_app_sets()
    quiet_window()
    from kivy.base import runTouchApp

    from garboard_tablet.app import GarboardApp
    from garboard_tablet.models.session import Route
    from garboard_tablet.models.tablet import open_tablet

    data = open_tablet(folder)
    app = GarboardApp(data)
    app._run_prepare()
    runTouchApp(embedded=True)
    told = {"first frame": memory_now()}
    wait(4 * BETWEEN)
    told["after two seconds"] = memory_now()
    hull = data.files.hulls()[0]
    job = Route(page="job", hull=hull, job=data.state_of(hull).jobs[-1])
    app.way.go(job)
    wait(2 * BETWEEN)
    told["a job's page"] = memory_now()
    steps = [step.key for step in data.host.steps]
    for number in range(count):
        app.way.go(job.to("step", step=steps[number % len(steps)]))
        wait(BETWEEN)
        if number in (0, count - 1):
            told[f"page {number + 1} of steps"] = memory_now()
        app.way.back()
        frame()
    print(json.dumps(told | {"at most": peak_memory()}))


def at_work(folder: Path) -> None:
    """Times of one app on a filled folder, as JSON [ms]: steps, keys, saves, and the live guide beside a frame of the
    same page where nothing happens."""
    as_the_app_sets()
    quiet_window()
    flushes = Flushes()
    from kivy.base import runTouchApp

    from garboard_tablet.app import GarboardApp
    from garboard_tablet.gallery import steer
    from garboard_tablet.models.entry import entry_route
    from garboard_tablet.models.pages import asks_here
    from garboard_tablet.models.session import Route
    from garboard_tablet.models.tablet import open_tablet

    data = open_tablet(folder)
    data.change_settings(data.settings.with_person("R. Vane"))
    app = GarboardApp(data)
    app._run_prepare()
    runTouchApp(embedded=True)
    frame()
    hull = data.files.hulls()[0]
    job = Route(page="job", hull=hull, job=data.state_of(hull).jobs[-1])
    step = job.to("step", step="prop_check.full_throttle")
    full_throttle = data.step(step.step)
    assert full_throttle is not None
    ask = next(ask for ask in asks_here(data, hull, job.job, full_throttle) if ask.field.name == "speed")
    entry = entry_route(step, ask)
    app.way.go(job)

    def close_step() -> None:
        app.way.instead(job)
        wait(BETWEEN)

    def open_step() -> None:
        app.way.instead(step)
        frame()

    opened, still_step = Taken(flushes), Taken(flushes)
    for _ in range(10):  # in turns, so that a busy machine troubles both alike
        opened.add(open_step, 1, close_step)
        wait(BETWEEN)
        still_step.add(frame, 10)
    app.way.instead(entry)
    page: Any = app.shell.page
    keys = Taken(flushes)
    keys.add(lambda: (page._key("1"), page._key("erase")), 100)
    speeds = iter(range(300, 10_000))

    def type_a_speed() -> None:
        app.way.instead(entry)
        value: Any = app.shell.page
        value.form.write(f"{next(speeds) / 10}")
        wait(BETWEEN)

    def save_to_next() -> None:
        value: Any = app.shell.page
        value._next()
        frame()

    saved = Taken(flushes)
    saved.add(save_to_next, SAVES, type_a_speed)
    app.way.go(job.to("live", step="heading_calibration.steady_turn"))
    steer(app.shell.page)
    live: Any = app.shell.page  # steer has put a new page in the place of the one it was given
    app.run_clock.end()  # ticked here, not by the clock as well
    wait(BETWEEN)
    now = [app.live.time()]
    app.live.time = lambda: now[0]
    heard = len(live.run.samples)

    def tick() -> None:
        now[0] += 0.1
        live._tick(0.1)
        frame()

    still, ticks = Taken(flushes), Taken(flushes)
    for _ in range(TICKS // 10):  # in turns, so that a busy machine troubles both alike
        still.add(frame, 10)
        ticks.add(tick, 10)
    is_shown = app.shell.page is live
    if not is_shown or not live.run.running or len(live.run.samples) < heard + TICKS:
        raise RuntimeError("the page measured is not the live guide that is shown, or it hears nothing")
    parts = {"empty frame of a step": still_step, "open a step": opened, "a key and its erasing": keys}
    parts |= {"save to next field": saved, "empty frame of the guide": still, "live frame": ticks}
    told: dict[str, object] = {what: statistics.median(one.clock) for what, one in parts.items()}
    told |= {f"{what}, drawing thread": statistics.median(one.thread) for what, one in parts.items()}
    saves = {"saves": saved.clock, "saves beyond their flushes": saved.beyond, "saves, drawing thread": saved.thread}
    print(json.dumps({**told, **saves, "memory": peak_memory()}))


def told_opened(folder: Path, count: int) -> None:
    """Memory of pages of steps opened one after another, beside a bare window's."""
    for what, *mode in (("bare window", "bare drawn"), ("tablet", "opened", str(folder), str(count))):
        command = [sys.executable, __file__, *mode]
        done = subprocess.run(command, capture_output=True, text=True, check=True, env=_env())
        for name, found in json.loads(done.stdout.splitlines()[-1]).items():
            print(f"  {what}, {name}: {found:.0f} MB", flush=True)


def told_at_work(folder: Path, rounds: int) -> None:
    """Medians of so many processes, with the least and the most of them."""
    runs = []
    for _ in range(rounds):
        command = [sys.executable, __file__, "work", str(folder)]
        done = subprocess.run(command, capture_output=True, text=True, check=True, env=_env())
        runs.append(json.loads(done.stdout.splitlines()[-1]))
    numbered = [(save, number) for run in runs for number, save in enumerate(run["saves beyond their flushes"], 1)]
    saves = {name: sorted(save for run in runs for save in run.pop(name)) for name in [*runs[0]] if "saves" in name}
    for name in runs[0]:
        found = sorted(run[name] for run in runs)
        unit, digits = ("MB", 0) if name == "memory" else ("ms", 2)
        least, middle, most = (f"{one:.{digits}f}" for one in (found[0], statistics.median(found), found[-1]))
        print(f"  {name}: {middle} {unit} ({least} to {most})")
    for one, other in (("open a step", "empty frame of a step"), ("live frame", "empty frame of the guide")):
        for by in ("", ", drawing thread"):
            ratios = [run[f"{one}{by}"] / run[f"{other}{by}"] for run in runs]
            told = f"{statistics.median(ratios):.2f} ({min(ratios):.2f} to {max(ratios):.2f})"
            print(f"  {one} in empty frames{by}: {told}")
    for name, found in saves.items():
        slowest = found[int((len(found) - 1) * 0.99)]
        print(f"  slowest but one in a hundred of {len(found)} {name}: {slowest:.0f} ms", flush=True)
    slow = ", ".join(f"{save:.0f} ms (no. {number})" for save, number in sorted(numbered, reverse=True)[:SLOWEST])
    print(f"  the slowest saves beyond their flushes, each with its number in its process: {slow}", flush=True)


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--hulls", type=int, nargs="+", default=[1, 50, 500])
    arguments.add_argument("--rounds", type=int, default=5)
    arguments.add_argument("--opened", type=int, default=0)
    chosen = arguments.parse_args()
    print(platform.platform(), platform.python_version())
    for hulls in chosen.hulls:
        with TemporaryDirectory() as where:
            folder = Path(where) / "tablet"
            fill(folder, hulls)
            child("tablet", str(Path(where) / "other"))  # which makes the byte code
            cold = child("tablet", str(folder))[0]
            subprocess.run([sys.executable, __file__, "summaries", str(folder)], check=True)
            runs = [(child("bare"), child("tablet", str(folder))) for _ in range(chosen.rounds)]
            one, other = (statistics.median(run[which][0] for run in runs) for which in (0, 1))
            memory = [statistics.median(run[which][1] for run in runs) for which in (0, 1)]
            work = [statistics.median(run[which][2] for run in runs) for which in (0, 1)]
            print(
                f"{hulls} hulls: bare window {one:.0f} ms {memory[0]:.0f} MB; tablet {other:.0f} ms {memory[1]:.0f} MB;"
                f" ratio {other / one:.2f}, processor {work[1] / work[0]:.2f} (first start ever {cold / one:.2f});"
                f" memory {memory[1] / memory[0]:.2f}",
                flush=True,
            )
            told_at_work(folder, chosen.rounds)
            if chosen.opened:
                told_opened(folder, chosen.opened)


def summaries(folder: Path) -> None:
    """What an earlier start of the app leaves behind: the lines of the list of vessels."""
    from garboard_tablet.models.tablet import open_tablet
    from garboard_tablet.models.vessels import VesselList

    data = open_tablet(folder)
    vessels = VesselList(data)
    for hull in vessels.stale():
        vessels.refresh(hull)
    vessels.keep()
    data.close()


if __name__ == "__main__":
    modes: dict[str, Callable[[Path], None]] = {"tablet": tablet, "work": at_work, "summaries": summaries}
    if sys.argv[1:2] == ["bare"]:
        first_frame(bare_window())
    elif sys.argv[1:2] == ["bare drawn"]:
        bare_drawn()
    elif sys.argv[1:2] == ["opened"]:
        opened_pages(Path(sys.argv[2]), int(sys.argv[3]))
    elif sys.argv[1:2] and sys.argv[1] in modes:
        modes[sys.argv[1]](Path(sys.argv[2]))
    else:
        main()
