"""A small plugin and a job for the tests of the core, so that they do not lean on any built-in plugin."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

import attrs

from garboard.findings import (
    Axis,
    Band,
    Basis,
    BasisKind,
    Figure,
    Finding,
    Marker,
    NotEnoughData,
    Number,
    Series,
    Table,
    Verdict,
)
from garboard.hooks import hookimpl
from garboard.hosting.host import PluginHost, make_host
from garboard.job_files.job_file import JobFile, parse_job_file, view_of
from garboard.job_view import JobView
from garboard.records import JsonValue
from garboard.samples import Recording
from garboard.steps import (
    Assessed,
    Block,
    Calculator,
    Caution,
    Field,
    Kind,
    Phase,
    RecordingJudge,
    ReportSection,
    Setting,
    Step,
)

if TYPE_CHECKING:
    import click

PRACTICE = Basis(BasisKind.COMMON_PRACTICE, "An invented rule of the test shop")
MANUAL = Basis(BasisKind.MANUAL, "Invented engine manual, page 12", "for the engine as delivered")

FIGURE = Figure(
    title="Speed by engine speed",
    x=Axis("Engine speed", "rev/min", 0, 6500),
    y=Axis("Speed over ground", "kn", 0),
    series=(Series("Mean of both ways", (1000, 3000, 5000, 6000), (6.0, 18.0, 33.0, 40.0)),),
    bands=(Band("Full-throttle window", "x", 5000, 6000),),
    markers=(Marker("Best economy", 3000, 18.0),),
)
TABLE = Table(
    "Runs",
    ("Run", "Engine speed [rev/min]", "Speed [kn]"),
    tuple((f"{n}", f"{n * 50}", f"{n * 0.3:.1f}") for n in range(1, 81)),
)

HORN = Step(
    key="small.horn",
    title="Sound the horn",
    phase=Phase.ALONGSIDE,
    order=10,
    fields=(
        Field(name="heard", title="Heard from the dock", kind=Kind.YES_NO),
        Field(
            name="battery",
            title="Battery at rest",
            kind=Kind.AMOUNT,
            quantity="voltage",
            unit="V",
            plausible=(12.0, 13.2),
            hard=(0, 60),
        ),
        Field(name="log", title="Log of the run", kind=Kind.RECORDING, required=False),
    ),
    cautions=(Caution("Cover your ears before the horn sounds.", PRACTICE), Caution("Keep clear of the bow.", MANUAL)),
)
RUN = Step(
    key="small.run",
    title="Full-throttle run",
    phase=Phase.UNDER_WAY,
    order=10,
    fields=(
        Field(
            name="speed",
            title="Engine speed",
            kind=Kind.AMOUNT,
            quantity="engine speed",
            unit="rev/min",
            each="engines",
            hard=(0, 9000),
        ),
    ),
    cautions=(Caution("Keep clear of the bow.", MANUAL),),
)


def _horn(view: JobView) -> Iterator[Finding]:
    asking = view.asking()
    volts = asking.amount("small.horn", "battery", "V")
    heard = asking.yes("small.horn", "heard")
    asking.check()
    verdict = Verdict.PASS if heard else Verdict.FAIL
    sentence = "Heard from the dock." if heard else "Not heard from the dock. Look at its fuse first."
    yield Finding(
        verdict=verdict,
        about="Horn",
        sentence=sentence,
        basis=(PRACTICE,),
        numbers=(Number("battery at rest", volts, "V", 0.05, 2),),
    )


def _run(view: JobView) -> Iterator[Finding]:
    for engine in view.vessel.engines:
        speed = view.amount("small.run", "speed", "rev/min", of=engine.position)
        if speed is None:
            raise NotEnoughData(f"engine speed ({engine.position}) is not entered")
        yield Finding(
            verdict=Verdict.ADVISE if speed < 5000 else Verdict.PASS,
            about=f"{engine.position} engine",
            sentence=f"{speed:.0f} rev/min at full throttle.",
            basis=(MANUAL, PRACTICE),
            numbers=(Number("engine speed", speed, "rev/min", 20, 0),),
            figures=(FIGURE,),
            tables=(TABLE,),
        )


def _judge(recording: Recording) -> Iterator[Finding]:
    streams = recording.of("heading")
    if not streams:
        raise NotEnoughData("no heading in the recording")
    steady = max(streams[0].values) - min(streams[0].values) < 5
    yield Finding(
        verdict=Verdict.PASS if steady else Verdict.FAIL,
        about="Heading",
        sentence="Held steady." if steady else "It moved. Hold the boat still.",
        basis=(PRACTICE,),
    )


@hookimpl
def register_steps(register: Callable[[Step], None]) -> None:
    register(RUN)
    register(HORN)


@hookimpl
def register_calculators(register: Callable[[Calculator], None]) -> None:
    register(Calculator(key="small.run", title="Full throttle", step="small.run", compute=_run, basis=(MANUAL,)))
    register(Calculator(key="small.horn", title="Horn", step="small.horn", compute=_horn, basis=(PRACTICE,)))


@hookimpl
def register_report_sections(register: Callable[[ReportSection], None]) -> None:
    def build(view: JobView, assessed: Sequence[Assessed]) -> Sequence[Block]:
        under = [one.finding for one in assessed if one.step == "small.run"]
        large = Number("at full throttle", 40.0, "kn", 0.4)
        return [large, "How fast it goes, and what it burns on the way.", FIGURE, *under] if under else []

    register(ReportSection(key="small.speed", title="Speed", order=10, build=build))


@hookimpl
def register_settings(register: Callable[[Setting], None]) -> None:
    field = Field(name="patience", title="Patience", kind=Kind.AMOUNT, quantity="time", unit="s", hard=(0, 60))
    register(Setting(key="small.patience", field=field, default="10 s", basis=PRACTICE))


@hookimpl
def register_recording_judges(register: Callable[[RecordingJudge], None]) -> None:
    register(RecordingJudge(key="small.steady", title="Steady heading", option="steady", judge=_judge))


@hookimpl
def register_commands(register: Callable[[click.Command], None]) -> None:
    import click

    register(click.Command("whistle", callback=lambda: click.echo("wheet"), help="Whistle."))


def small_module() -> ModuleType:
    """The plugin as a module of its own."""
    module = ModuleType("small")
    vars(module)["__version__"] = "3"
    for name, hook in globals().items():
        if name.startswith("register_"):
            setattr(module, name, hook)
    return module


def small_host() -> PluginHost:
    """A host with this plugin alone."""
    return make_host((), entry_points=False, modules={"small": small_module()})


JOB = """{
 "format": "garboard job", "version": 1,
 "vessel": {"hull_number": "ABC12345C393", "name": "Señora Åse", "maker": "Invented Boats", "length": "24.5 ft",
  "engines": [{"position": "port", "rated_power": "150 hp", "gear_ratio": "1.85",
               "propeller": {"pitch": "17 in", "diameter": "14.5 in", "blades": 3}},
              {"position": "starboard", "rated_power": "150 hp"}],
  "batteries": [{"name": "house", "chemistry": "AGM", "capacity": "100 Ah"}],
  "circuits": [{"name": "Bilge pump", "conductor_awg": "14", "length": "6.2 m", "protection": "fuse"}]},
 "job": {"id": "J-1", "opened": "2026-05-14", "place": "Dock 3", "shop": "Test shop",
         "technicians": ["T. Ryggare"], "owner": "An Owner"},
 "steps": [{"step": "small.horn", "state": "done"},
           {"step": "small.run", "state": "look again", "reason": "Fog came in."}],
 "measurements": [
  {"step": "small.horn", "field": "heard", "value": false},
  {"step": "small.horn", "field": "battery", "value": "12.65 V"},
  {"step": "small.run", "field": "speed", "of": "port", "value": "4800 rev/min"},
  {"step": "small.run", "field": "speed", "of": "starboard", "value": "5650 rev/min"}],
 "notes": [{"text": "Cleat loose at the bow.", "by": "T. Ryggare", "punch_list": true},
           {"text": "Fender missing.", "punch_list": true, "settled": true}],
 "sign_offs": [{"role": "technician", "name": "T. Ryggare", "at": "2026-05-15T16:20+02:00"}]
}"""


def small_job() -> JobFile:
    """A job with a failure, an advice, a pass, a step to look at again and an open note."""
    return parse_job_file(JOB, "small job")


def small_view(folder: Path) -> JobView:
    """The job's view."""
    return view_of(small_job(), folder)


def with_settings(view: JobView, settings: Mapping[str, JsonValue]) -> JobView:
    """The view with a shop's settings."""
    return attrs.evolve(view, settings=settings)
