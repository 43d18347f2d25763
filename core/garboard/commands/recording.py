"""`garboard recording`: what a log holds, and what the plugins say of it."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import attrs
import click

from garboard.commands.tools import BAD_INPUT, SOMETHING_FAILS, reading_shown
from garboard.faults import in_number
from garboard.findings import (
    Basis,
    BasisKind,
    Finding,
    Lack,
    Missing,
    NotEnoughData,
    Verdict,
    not_enough_data,
    plain_text,
    rounded,
    with_minus,
)
from garboard.hosting.codes import PLUGIN_FAILED, code_for, with_code
from garboard.hosting.cut import cut, told
from garboard.hosting.exact import exact
from garboard.hosting.failures import NotJudgedHere
from garboard.hosting.plugin_code import plugin_code
from garboard.report.terminal import Tools
from garboard.samples import UNIT_OF_QUANTITY, Recording
from garboard.steps import RecordingJudge

if TYPE_CHECKING:
    from garboard.hosting.host import PluginHost
    from garboard.recordings import Summary

HELP = """Show what a recording contains: sources, quantities, rates, gaps and damaged lines.

Options from plugins also judge it. Exit status 1: a check fails. Exit status 2: FILE cannot be read, or it contains no
usable value.
"""

Judged = Sequence[tuple[RecordingJudge, Sequence[Finding]]]


_DATA = f"{__name__}.data"


def _host_of(tools: Tools, file: Path | None) -> PluginHost:
    """The plugins, those beside a recording among them."""
    return tools.host if file is None else tools.host_for(file)


class _WithJudges(click.Command):
    """Has a flag for each judge the plugins offer, those beside the recording among them."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        ctx.meta[_DATA] = next((path for path in map(Path, args) if path.is_file()), None)
        return super().parse_args(ctx, args)

    def get_params(self, ctx: click.Context) -> list[click.Parameter]:
        own = super().get_params(ctx)
        tools = ctx.find_object(Tools)
        judges = _host_of(tools, ctx.meta.get(_DATA)).recording_judges if tools else ()
        titles: dict[str, list[str]] = {}
        for judge in judges:
            titles.setdefault(judge.option, []).append(judge.title)
        flags = [
            click.Option([f"--{option}", f"judge_{option}"], is_flag=True, help=f"{', '.join(found)}.")
            for option, found in titles.items()
        ]
        return [*own[:-1], *flags, own[-1]]  # --help stays last


@click.command("recording", cls=_WithJudges, help=HELP, short_help="Show what a recording contains.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON.")
@click.pass_context
def command(context: click.Context, /, file: Path, as_json: bool, **chosen: bool) -> None:
    """Summarise, judge and exit."""
    from garboard.recordings import summarise
    from garboard.report.job_report import print_findings

    tools: Tools = context.obj
    judges = _host_of(tools, context.meta.get(_DATA)).recording_judges
    asked_for = [judge for judge in judges if chosen.get(f"judge_{judge.option}")]
    with reading_shown(f"Reading {file.name}"):
        summary = summarise(file)
        judged = _judged(file, asked_for) if asked_for else ()
    if as_json:
        click.echo(_as_json(summary, judged))
    else:
        console = tools.console()
        _print(console, summary)
        for judge, findings in judged:
            print_findings(console, judge.title, findings)
    fails = any(finding.verdict is Verdict.FAIL for _, findings in judged for finding in findings)
    context.exit(SOMETHING_FAILS if fails else 0 if summary.streams else BAD_INPUT)


def _judged(file: Path, judges: Iterable[RecordingJudge]) -> Judged:
    from garboard.recordings import load_recording

    recording, _ = load_recording(file)
    return [(judge, _findings(judge, recording)) for judge in judges]


def _findings(judge: RecordingJudge, recording: Recording) -> Sequence[Finding]:
    """What a judge finds. What it found before it failed stands."""
    judged: list[Finding] = []
    basis = (Basis(BasisKind.METHOD, judge.title),)
    try:
        if recording.is_simulated:
            text = "a simulated run is not a measurement; record aboard"
            raise NotEnoughData(Missing(text, lack=Lack.SIMULATED))
        if text := recording.no_times:
            raise NotEnoughData(Missing(text, lack=Lack.UNSUITABLE))
        with plugin_code():
            for found in judge.judge(recording):
                judged.append(
                    cut(with_code(exact(found), judge.key))
                )  # one at a time, so that those before a failure are kept
    except NotEnoughData as lacking:
        judged.append(with_code(not_enough_data(judge.title, lacking.missing, basis), judge.key))
    except Exception as failure:
        stands = "What it found before stands, the rest was not judged. " if judged else ""
        failed = Finding(
            code=code_for(judge.key, failure.code if isinstance(failure, NotJudgedHere) else PLUGIN_FAILED),
            verdict=Verdict.NOT_ENOUGH_DATA,
            about=judge.title,
            sentence=f"The plugin failed in {judge.key} ({told(failure)}). {stands}Tell its author.",
            basis=basis,
        )
        judged.append(failed)
    return judged


def _print(console: Any, summary: Summary) -> None:
    from rich.table import Table

    from garboard.report.unit_signs import with_signs

    notes, tells_times = summary.notes, summary.notes.timed and not summary.stands_still
    console.print()
    console.print(
        f"{summary.name}: {notes.form}, {in_number(notes.lines, 'line')}, {in_number(notes.samples, 'value')}",
        style="bold",
    )
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in ("Quantity", "Source"):
        table.add_column(heading)
    for heading in ("Values", "Rate [Hz]", "Longest gap [s]", "Gaps", "Lowest", "Highest"):
        table.add_column(heading, justify="right")
    table.add_column("Unit")
    for stream in summary.streams:
        name = " ".join(filter(None, (stream.key.quantity.replace("_", " "), stream.key.reference)))
        table.add_row(
            f"{name} {stream.key.instance}".rstrip(),
            stream.key.source,
            str(stream.count),
            rounded(stream.rate, 2) if tells_times else "not known",
            rounded(stream.longest_gap, 1) if tells_times else "not known",
            str(stream.gaps),
            with_minus(plain_text(stream.lowest, 5)),
            with_minus(plain_text(stream.highest, 5)),
            with_signs(UNIT_OF_QUANTITY[stream.key.quantity]),
        )
    if summary.streams:
        console.print(table)
    for remark in summary.remarks:
        console.print(remark)
    if notes.damaged_count > 1:  # a remark named the first
        console.print("Also damaged:")
    for damaged in notes.damaged[1:_DAMAGED_SHOWN]:
        console.print(f"  {damaged}")
    if notes.damaged_count > _DAMAGED_SHOWN:
        console.print(f"  and {notes.damaged_count - min(_DAMAGED_SHOWN, len(notes.damaged))} more")
    for source, texts in sorted(notes.devices.items()):
        console.print(f"Source {source or 'without a name'} says it is: {', '.join(texts)}", markup=False)
    if notes.own_ship:
        said = ", ".join(f"{_OWN_SHIP.get(what, what)} {text}" for what, text in sorted(notes.own_ship.items()))
        console.print(f"The boat's own AIS unit says: {said}", markup=False)
    if notes.unknown:
        console.print(f"Not read: {', '.join(f'{count} {kind}' for kind, count in sorted(notes.unknown.items()))}")


_DAMAGED_SHOWN = 10
_OWN_SHIP = {"mmsi": "MMSI", "name": "name", "call_sign": "call sign"}


def _as_json(summary: Summary, judged: Judged) -> str:
    from garboard.report.json_out import finding_as_plain

    return json.dumps(
        {
            "format": "garboard recording",
            "version": 1,
            "name": summary.name,
            "notes": attrs.asdict(summary.notes),
            "remarks": list(summary.remarks),
            "streams": [
                {
                    **stream.key._asdict(),
                    "unit": UNIT_OF_QUANTITY[stream.key.quantity],
                    **attrs.asdict(stream, filter=lambda field, _value: field.name != "key"),
                }
                for stream in summary.streams
            ],
            "judged": [
                {"judge": judge.key, "title": judge.title, "findings": [finding_as_plain(one) for one in findings]}
                for judge, findings in judged
            ],
        },
        indent=1,
        ensure_ascii=False,
        allow_nan=False,
    )
