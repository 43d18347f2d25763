"""The hooks: all a plugin writer needs to know.

A plugin is a Python module (or package) with functions marked `@garboard.hookimpl`, named as below. Each
receives a `register` function and calls it once for every thing it offers. The program calls every hook once,
when it starts, before any job is opened. A key another plugin already took raises PluginClash, naming both
plugins; nothing is replaced silently. Whatever a hook raises is caught: the plugin is listed as broken with the
reason, everything it registered is withdrawn, and the other plugins load.
A field of a wrong type is refused so. What a plugin prints goes to the error output.

    from garboard import hookimpl
    from garboard.fields import Field, Kind
    from garboard.steps import Phase, Step

    __version__ = "1"
    written_for = 1

    @hookimpl
    def register_steps(register):
        register(Step(key="horn.sound", title="Sound the horn", phase=Phase.ALONGSIDE, order=900,
                      fields=(Field(name="heard", title="Heard from the dock", kind=Kind.YES_NO),)))

A plugin imports `garboard` and the modules that lie flat in it, never a folder inside and never another plugin.
It declares and computes; it draws nothing, reads no file and keeps no state. `written_for` is the
`garboard.API_VERSION` it was written against; a plugin that states none counts as 1. A hook that only offers
what stands in a list is one line: `register_steps = each_of(STEPS)`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, TypeVar

import pluggy

from garboard import hookimpl

if TYPE_CHECKING:
    import click

    from garboard.steps import Calculator, EquipmentKind, LiveGuide, RecordingJudge, ReportSection, Setting, Step

__all__ = [
    "each_of",
    "hookimpl",
    "register_calculators",
    "register_commands",
    "register_equipment",
    "register_live_guides",
    "register_recording_judges",
    "register_report_sections",
    "register_settings",
    "register_steps",
]

PROJECT = "garboard"
hookspec = pluggy.HookspecMarker(PROJECT)
Item = TypeVar("Item")


def each_of(items: Iterable[Item]) -> Callable[[Callable[[Item], None]], None]:
    """A hook that offers each of some items. The name a plugin gives it says which hook it is.

    >>> register_steps = each_of(("first", "second"))
    >>> register_steps(print)
    first
    second
    """
    offered = tuple(items)  # a generator would be empty at the second call

    @hookimpl
    def offer_each(register: Callable[[Item], None]) -> None:
        for item in offered:
            register(item)

    return offer_each


@hookspec
def register_steps(register: Callable[[Step], None]) -> None:
    """Offer steps of the job.

    :param register: call it once for each `garboard.steps.Step`. The order on screen comes from the step's
        phase and order, never from the order of calls. Keys read "<plugin>.<step>" and never change once jobs
        hold them: measurements are stored under them.
    """


@hookspec
def register_equipment(register: Callable[[EquipmentKind], None]) -> None:
    """Offer kinds of equipment: a trailer, reels, a generator.

    :param register: call it once for each `garboard.steps.EquipmentKind`. A fact of a piece is asked for as a value of
        a step: `asking.amount(OF_VESSEL, "our_yard.trailers.rating", "lb", of=name)`, with `OF_VESSEL` of
        `garboard.findings`; `view.vessel.of_kind("our_yard.trailers")` has the names. A step of the same plugin may
        ask once for each piece, with `Field(each="our_yard.trailers")`.
    """


@hookspec
def register_calculators(register: Callable[[Calculator], None]) -> None:
    """Offer calculators.

    :param register: call it once for each `garboard.steps.Calculator`. Its `compute` gets a frozen
        `garboard.job_view.JobView` and returns findings. It must be pure: same view, same findings. It raises
        `garboard.findings.NotEnoughData` when it cannot give an honest number. Any other exception is shown as
        a fault of this plugin under its step; what it gave before stands, and the rest of the job is assessed all
        the same. A code that begins with a built-in plugin's name is refused.
    """


@hookspec
def register_live_guides(register: Callable[[LiveGuide[Any]], None]) -> None:
    """Offer guides for steps done while steering.

    :param register: call it once for each `garboard.steps.LiveGuide`. `take` and `show` are called about ten
        times a second and must be pure and quick.
    """


@hookspec
def register_report_sections(register: Callable[[ReportSection], None]) -> None:
    """Offer parts of the handover book.

    :param register: call it once for each `garboard.steps.ReportSection`. `build` gets the job view and all
        findings, and returns paragraphs, tables, figures, findings and at most one number to print large, in
        the order to print them. It stands in the Record, the book's second part, unless its `part` says otherwise:
        `YOUR_BOAT` makes a page for the owner, `COVER` sentences for the cover.
    """


@hookspec
def register_settings(register: Callable[[Setting], None]) -> None:
    """Offer settings a shop may decide.

    :param register: call it once for each `garboard.settings.Setting`; an amount or a count needs a range.
        Calculators read them with `view.setting_value(key, unit)`, choices with `view.setting(key)`. The default
        holds until a manager decides otherwise.
    """


@hookspec
def register_recording_judges(register: Callable[[RecordingJudge], None]) -> None:
    """Offer judgements of a recording on its own, without a job.

    :param register: call it once for each `garboard.steps.RecordingJudge`. `garboard recording FILE` offers
        each as an option of that name; `judge` gets the recording and returns findings. It must be pure, and
        raises `garboard.findings.NotEnoughData` when the recording cannot be judged.
    """


@hookspec
def register_commands(register: Callable[[click.Command], None]) -> None:
    """Offer subcommands of the `garboard` program.

    :param register: call it once for each `click.Command`. Called only by the command line, never on a tablet.
        Import click inside the function. A name already taken raises PluginClash.
    """
