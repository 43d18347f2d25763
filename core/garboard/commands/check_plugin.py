"""`garboard check-plugin`: what approval and a tablet would say of a plugin, before it is handed in."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import attrs
import click

from garboard.commands.tools import BAD_INPUT, SOMETHING_FAILS

if TYPE_CHECKING:
    from garboard.hosting.host import PluginHost
    from garboard.hosting.plugin_trial import Trial
    from garboard.job_view import JobView

HELP = """Check a plugin as the shop's approval and a tablet do: each fault with file, line, code and what to do.

PATH is a Python file, a check file, or the folder of a package. Code runs in a process of its own. It is tried on the
sample jobs that come with the program, on jobs made up of its own fields, and on the jobs named by --on.

\b
Exit status 0  nothing is wrong with it
            1  it works, with the faults that are listed
            2  it cannot be approved; or PATH or a job cannot be read
"""

FORMAT = {"format": "garboard plugin check", "version": 1}
_SOUND, _WORKS, _REFUSED = "sound", "works", "refused"
_EXIT = {_SOUND: 0, _WORKS: SOMETHING_FAILS, _REFUSED: BAD_INPUT}


@click.command("check-plugin", help=HELP, short_help="Check a shop's own plugin before it is approved.")
@click.argument("path", type=click.Path(path_type=Path, exists=True))
@click.option(
    "--on",
    "jobs",
    multiple=True,
    metavar="PATH",
    type=click.Path(path_type=Path, exists=True),
    help="A job file, or a folder of jobs or hull files, to try it on as well. Can be repeated.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
@click.pass_context
def command(context: click.Context, path: Path, jobs: Sequence[Path], as_json: bool) -> None:
    """Check and exit."""
    trial = check(path, jobs)
    verdict = _REFUSED if trial.problems else _WORKS if trial.remarks else _SOUND
    click.echo(_as_json(path, trial, verdict) if as_json else _as_text(path, trial, verdict))
    context.exit(_EXIT[verdict])


def check(path: Path, jobs: Sequence[Path] = ()) -> Trial:
    """Everything that is wrong with a plugin: its name and size, its source, and how it judges.

    A folder cannot be approved for tablets; it runs on an office machine, so that is a remark.
    """
    from garboard.demo.samples_folder import sample_job_files
    from garboard.hosting.made_up import MADE_UP, made_up_jobs
    from garboard.hosting.plugin_file import SUFFIXES, why_not
    from garboard.hosting.plugin_trial import Trial, try_with
    from garboard.judging.assessing import jobs_at

    def to_try(host: PluginHost) -> Iterator[JobView]:
        views = (view for place in (*sample_job_files(), *jobs) for view in jobs_at(place, host))
        for number, view in enumerate(views):
            if not number:
                yield from made_up_jobs(host, path.stem, view)
            yield view

    refused = why_not(path)
    if refused is not None and path.is_file() and path.suffix.lower() not in SUFFIXES:
        return Trial(problems=(refused,))  # nothing of it can be loaded
    trial = try_with(path.absolute(), to_try).of_file(str(path.absolute()), str(path))
    trial = attrs.evolve(trial, jobs=max(0, trial.jobs - MADE_UP))
    if refused is None:
        return trial
    if path.is_dir():
        return attrs.evolve(trial, remarks=(attrs.evolve(refused, at_work=True), *trial.remarks))
    return attrs.evolve(trial, problems=(refused, *trial.problems))


def _as_text(path: Path, trial: Trial, verdict: str) -> str:
    lines = [problem.in_words for problem in (*trial.problems, *trial.remarks)]
    if verdict == _REFUSED:
        return "\n".join([*lines, f"{path.name} cannot be approved."])
    return "\n".join([*lines, *trial.tried, f"{path.name} {'works, with these faults' if lines else 'is sound'}."])


def _as_json(path: Path, trial: Trial, verdict: str) -> str:
    from garboard.report.json_out import problem_as_plain

    faults = [{"at_work": one.at_work, **problem_as_plain(one)} for one in (*trial.problems, *trial.remarks)]
    whole = {**FORMAT, "plugin": path.stem, "verdict": verdict, "jobs": trial.jobs, "faults": faults}
    return json.dumps(whole, indent=1, ensure_ascii=False)
