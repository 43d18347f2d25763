"""`garboard assess`: job files in, findings out."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import attrs
import click

from garboard.commands.tools import BAD_INPUT, SOMETHING_FAILS, reading_shown
from garboard.faults import Fault, InputError, shown
from garboard.report.terminal import Tools

if TYPE_CHECKING:
    from rich.console import Console

    from garboard.hosting.host import PluginHost
    from garboard.judging.assessing import AssessedJob

HELP = """Judge jobs: what passes, what fails, what to do next.

PATH is a job file, a folder of job files, or a folder of hull files (a tablet's or the shop's). A faulty file does
not stop the others.

\b
Exit status 0  nothing fails; advice and missing data are not failures
            1  something fails
            2  a file cannot be used, or not all of it; every fault is listed with its location
"""


@click.command("assess", help=HELP, short_help="Judge a job, or a folder of jobs.")
@click.argument("paths", metavar="PATH...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON, for other programs.")
@click.option("--full", is_flag=True, help="Print numbers and basis of every finding, also of those that pass.")
@click.option("--only", metavar="PLUGIN", default="", help="Only what one plugin finds.")
@click.option("--explain", is_flag=True, help="With --only: each value its checks asked for, given or missing.")
@click.pass_context
def command(context: click.Context, paths: Sequence[Path], as_json: bool, full: bool, only: str, explain: bool) -> None:
    """Assess and exit."""
    from garboard.judging.assessing import assess_path

    tools: Tools = context.obj
    if explain and not only:
        raise InputError("assess", [Fault("--explain", "the plugin to explain: --only PLUGIN", "none")])
    hosts = [tools.host_for(path) for path in paths]
    for one in {id(one): one for one in hosts}.values():
        tools.tell_broken_plugins(one)
        _refuse_unknown(one, only)
    console = tools.console()
    fails, unusable = False, False
    with reading_shown():
        judged = [(one, job) for path, one in zip(paths, hosts, strict=True) for job in assess_path(path, one)]
    written = []
    for host, found in judged:
        job = found if isinstance(found, InputError) else _of_plugin(found, only)
        if isinstance(job, InputError):
            unusable = True
            click.echo(str(job), err=True)
        else:
            fails = fails or job.fails
        if as_json:
            written.append(_as_plain(host, job, only if explain else ""))
        elif not isinstance(job, InputError):
            _print(console, host, job, only if explain else "", full)
    if as_json:
        from garboard.report.json_out import document

        click.echo(document(max(hosts, key=lambda one: len(one.plugins)), written), nl=False)
    context.exit(BAD_INPUT if unusable else SOMETHING_FAILS if fails else 0)


def _as_plain(host: PluginHost, job: AssessedJob | InputError, explained_of: str) -> dict[str, Any]:
    """A job for other programs.

    explained_of : the plugin whose checks are explained besides; "" for none
    """
    from garboard.report import json_out

    if isinstance(job, InputError):
        return json_out.faulty_job(job.source, job.faults)
    plain = json_out.assessed_job(job.source, job.view, host, job.assessed, job.questions, job.aside)
    if explained_of:
        from garboard.hosting.explaining import explained

        plain["explained"] = [json_out.explained_as_plain(one) for one in explained(host, explained_of, job.view)]
    return plain


def _print(console: Console, host: PluginHost, job: AssessedJob, explained_of: str, full: bool) -> None:
    """A job for a person to read; where a plugin is to be explained, what its checks ask for."""
    from garboard.report.job_report import print_heading, print_report

    if not explained_of:
        print_report(console, job.view, host, job.assessed, job.questions, full=full, aside=job.aside)
        return
    from garboard.hosting.explaining import explained
    from garboard.report.explained import explained_in_words

    print_heading(console, job.view, job.aside)
    click.echo("\n".join(explained_in_words([*explained(host, explained_of, job.view)], host)))


def _refuse_unknown(host: PluginHost, plugin: str) -> None:
    names = [one.name for one in host.plugins]
    if plugin and plugin not in names:
        raise InputError("assess", [Fault("--only", f"a plugin at work: {', '.join(names)}", shown(plugin))])


def _of_plugin(job: AssessedJob, plugin: str) -> AssessedJob:
    """A job with what one plugin finds; with all of it where none is named."""
    own = tuple(one for one in job.assessed if plugin in ("", one.plugin))
    return attrs.evolve(job, assessed=own)
