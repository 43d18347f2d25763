"""`garboard assess`: job files in, findings out."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import attrs
import click

from garboard.commands.tools import BAD_INPUT, SOMETHING_FAILS, reading_shown
from garboard.report.terminal import Tools

if TYPE_CHECKING:
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
    from garboard.faults import Fault, InputError
    from garboard.judging.assessing import assess_path
    from garboard.report import json_out
    from garboard.report.job_report import print_heading, print_report

    tools: Tools = context.obj
    if explain and not only:
        raise InputError("assess", [Fault("--explain", "the plugin to explain: --only PLUGIN", "none")])
    hosts = [tools.host_for(path) for path in paths]
    for one in {id(one): one for one in hosts}.values():
        tools.tell_broken_plugins(one)
        _refuse_unknown(one, only)
    console = tools.console()
    written, fails, unusable = [], False, False
    with reading_shown():
        judged = [(one, job) for path, one in zip(paths, hosts, strict=True) for job in assess_path(path, one)]
    for host, job in judged:
        if isinstance(job, InputError):
            unusable = True
            click.echo(str(job), err=True)
            written.append(json_out.faulty_job(job.source, job.faults))
            continue
        job = _of_plugin(job, only)
        fails = fails or job.fails
        written.append(json_out.assessed_job(job.source, job.view, host, job.assessed, job.questions))
        if explain:
            from garboard.hosting.explaining import explained
            from garboard.report.explained import explained_in_words

            found = [*explained(host, only, job.view)]
            written[-1]["explained"] = [json_out.explained_as_plain(one) for one in found]
            if not as_json:
                print_heading(console, job.view)
                click.echo("\n".join(explained_in_words(found, host)))
        elif not as_json:
            print_report(console, job.view, host, job.assessed, job.questions, full=full)
    if as_json:
        click.echo(json_out.document(max(hosts, key=lambda one: len(one.plugins)), written), nl=False)
    context.exit(BAD_INPUT if unusable else SOMETHING_FAILS if fails else 0)


def _refuse_unknown(host: PluginHost, plugin: str) -> None:
    from garboard.faults import Fault, InputError, shown

    names = [one.name for one in host.plugins]
    if plugin and plugin not in names:
        raise InputError("assess", [Fault("--only", f"a plugin at work: {', '.join(names)}", shown(plugin))])


def _of_plugin(job: AssessedJob, plugin: str) -> AssessedJob:
    """A job with what one plugin finds; with all of it where none is named."""
    own = tuple(one for one in job.assessed if plugin in ("", one.plugin))
    return attrs.evolve(job, assessed=own)
