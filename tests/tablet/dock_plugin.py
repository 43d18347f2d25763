"""A small invented plugin with one step for every kind of field, so that the app is tested apart from the real ones."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import attrs

from garboard import hookimpl
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
from garboard.job_view import JobView
from garboard.steps import Calculator, Caution, Field, Guidance, Kind, LiveGuide, Phase, Step

__version__ = "3"
PRACTICE = Basis(BasisKind.COMMON_PRACTICE, "a horn is heard across a harbour")
MANUAL = Basis(BasisKind.MANUAL, "the engine maker's manual", "the manual decides")


@hookimpl
def register_steps(register: Callable[[Any], object]) -> None:
    register(
        Step(
            key="dock.horn",
            title="Sound the horn",
            phase=Phase.ALONGSIDE,
            order=100,
            fields=(
                Field(name="heard", title="Heard from the end of the dock", kind=Kind.YES_NO),
                Field(name="tone", title="Its tone", kind=Kind.CHOICE, choices=("clear", "hoarse", "silent")),
                Field(name="remark", title="Remark", kind=Kind.TEXT, required=False),
                Field(name="fuses", title="Spare fuses aboard", kind=Kind.COUNT, hard=(0, 99)),
            ),
        )
    )
    register(
        Step(
            key="dock.full",
            title="Full throttle",
            phase=Phase.UNDER_WAY,
            order=400,
            cautions=(Caution("Everyone seated, kill cord worn, water clear ahead.", MANUAL),),
            at_hand=("The maker's window for engine speed", "A second person to keep a lookout"),
            guide="dock.turn",
            fields=(
                Field(
                    name="engine_speed",
                    title="Engine speed",
                    kind=Kind.AMOUNT,
                    quantity="engine speed",
                    unit="rev/min",
                    each="engines",
                    plausible=(3000, 7000),
                    hard=(0, 20000),
                    help="Read it when it has stood still for five seconds.",
                ),
                Field(
                    name="speed",
                    title="Boat speed",
                    kind=Kind.AMOUNT,
                    quantity="speed",
                    unit="kn",
                    plausible=(5, 90),
                    hard=(0, 200),
                ),
            ),
        )
    )
    register(
        Step(
            key="dock.fuel",
            title="Fuel steps",
            phase=Phase.UNDER_WAY,
            order=500,
            fields=(
                Field(
                    name="steps",
                    title="Step",
                    kind=Kind.TABLE,
                    columns=(
                        Field(
                            name="at", title="Engine speed", kind=Kind.AMOUNT, quantity="engine speed", unit="rev/min"
                        ),
                        Field(name="flow", title="Fuel flow", kind=Kind.AMOUNT, quantity="fuel flow", unit="gal/h"),
                    ),
                ),
                Field(name="log", title="Recording of the run", kind=Kind.RECORDING, required=False),
            ),
            guide="dock.turn",
        )
    )
    register(
        Step(
            key="dock.brief",
            title="Brief the owner",
            phase=Phase.HAND_OVER,
            order=700,
            fields=(
                Field(name="shown", title="Shown how to stop it", kind=Kind.YES_NO),
                Field(name="photo", title="Photo of the plate", kind=Kind.PHOTO, required=False),
                Field(name="initials", title="Owner's initials", kind=Kind.SIGNATURE),
            ),
        )
    )


def _horn(view: JobView) -> Iterator[Finding]:
    ask = view.asking()
    heard = ask.yes("dock.horn", "heard")
    ask.check()
    verdict = Verdict.PASS if heard else Verdict.FAIL
    sentence = "Heard. Nothing to do." if heard else "Not heard. Check its fuse and its earth, then sound it again."
    yield Finding(verdict=verdict, about="horn", sentence=sentence, basis=(PRACTICE,))


def _full(view: JobView) -> Iterator[Finding]:
    if not view.vessel.engines:
        raise NotEnoughData("no engine is entered")
    ask = view.asking()
    speeds = [ask.amount("dock.full", "engine_speed", "rev/min", of=engine.position) for engine in view.vessel.engines]
    speed = ask.amount("dock.full", "speed", "kn")
    ask.check()
    mean = sum(speeds) / len(speeds)
    yield Finding(
        verdict=Verdict.PASS if mean > 5000 else Verdict.ADVISE,
        about="engines",
        sentence=f"{mean:.0f} rev/min at {speed:.1f} kn. In the maker's window.",
        basis=(MANUAL, PRACTICE),
        numbers=(Number("Mean engine speed", mean, "rev/min", 25.0, 0), Number("Boat speed", speed, "kn", 0.3)),
        figures=(
            Figure(
                title="Speed by engine speed",
                x=Axis("Engine speed", "rev/min"),
                y=Axis("Boat speed", "kn", 0),
                series=(
                    Series("Measured", (1000, 2000, 3000, 4000, 5000, mean), (5, 8, 17, 27, 35, speed)),
                    Series("Expected", (1000, 2000, 3000, 4000, 5000, 6000), (4, 8, 16, 26, 34, 41), markers=False),
                ),
                bands=(Band("Maker's window", "x", 5400, 6000),),
                markers=(Marker("Best economy", 3000, 17),),
            ),
        ),
        tables=(
            Table(
                "Engines",
                ("Engine", "Speed [rev/min]"),
                tuple((engine.position, f"{s:.0f}") for engine, s in zip(view.vessel.engines, speeds, strict=True)),
            ),
        ),
    )


@hookimpl
def register_calculators(register: Callable[[Any], object]) -> None:
    register(Calculator(key="dock.horn", title="Horn", step="dock.horn", compute=_horn, basis=(PRACTICE,)))
    register(Calculator(key="dock.full", title="Full throttle", step="dock.full", compute=_full, basis=(MANUAL,)))


@attrs.frozen
class Turn:
    rate: float | None = None
    seen: int = 0


def _show(turn: Turn) -> Guidance:
    on_target = turn.rate is not None and 2.0 <= turn.rate <= 3.0
    too_fast = turn.rate is not None and turn.rate > 6.0
    return Guidance(
        number=turn.rate,
        unit="deg/s",
        word="ease off" if too_fast else "hold it here" if on_target else "turn faster",
        urgent=too_fast,
        of="lowest: port",
        on_target=on_target,
        scale=(0, 5),
        band=(2, 3),
        progress=min(1.0, turn.seen / 200),
        lines=("Two circles to starboard, then two to port.",),
        done=turn.seen >= 200,
    )


@hookimpl
def register_live_guides(register: Callable[[Any], object]) -> None:
    register(
        LiveGuide(
            key="dock.turn",
            title="Slow circle",
            quantities=("rate_of_turn",),
            begin=lambda _view: Turn(),
            take=lambda turn, sample: Turn(sample.value, turn.seen + 1),
            show=_show,
        )
    )
