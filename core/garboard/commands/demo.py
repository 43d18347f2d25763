"""`garboard demo`: the sample jobs on three tablets, merged, judged, signed and written out."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING

import click

from garboard.commands.tools import need_office, write_file
from garboard.report.terminal import Tools

if TYPE_CHECKING:
    from rich.console import Console

    from garboard.hosting.host import PluginHost
    from garboard.judging.assessing import AssessedJob

DEFAULT_FOLDER = Path("garboard-demo")


@click.command(
    "demo",
    help="Run an invented shop's day: three boats on three tablets, merged, judged, with books.",
    short_help="Run an invented shop's day, with three boats.",
)
@click.option(
    "--out", type=click.Path(path_type=Path), default=DEFAULT_FOLDER, show_default=True, help="Folder to write into."
)
@click.option("--all", "show_all", is_flag=True, help="Print the merge report and every finding of every boat.")
@click.pass_obj
def command(tools: Tools, out: Path, show_all: bool) -> None:
    """Merge the day's tablets, let the evening happen, write the books, then print one line for each boat."""
    from garboard.commands.hulls import readable_report
    from garboard.demo.demo_day import make_day, settle_day, sign_day
    from garboard.demo.samples_folder import sample_job_files
    from garboard.judging.assessing import assess_hulls

    need_office()
    host, console = tools.host, tools.console()
    tools.tell_broken_plugins()
    day = make_day({file.parent.name: file for file in sample_job_files()}, out)
    decided, signed = settle_day(day.shop), sign_day(day)
    jobs = {job.view.job.id: job for job in assess_hulls(day.shop, host)}
    if show_all:
        console.print("EVENING: THREE TABLETS COME ASHORE", highlight=False)
        console.print(readable_report(day.report), soft_wrap=True, highlight=False)
        for words in (*(f"decided: {one}" for one in decided), *(f"signed again: {one}" for one in signed)):
            console.print(f"  {words}", soft_wrap=True, highlight=False)
        _print_reports(console, host, jobs)
    _write_findings(out, host, jobs)
    _write_books(console, out, host, jobs, day.shop)
    _print_boats(console, host, jobs)
    _print_what_next(console, out, jobs)


def _print_reports(console: Console, host: PluginHost, jobs: Mapping[str, AssessedJob]) -> None:
    from garboard.report.job_report import print_report

    for job in jobs.values():
        print_report(console, job.view, host, job.assessed, job.questions)
    console.print()


def _write_findings(out: Path, host: PluginHost, jobs: Mapping[str, AssessedJob]) -> None:
    from garboard.report import json_out

    plain = [
        json_out.assessed_job(name, job.view, host, job.assessed, job.questions, job.aside)
        for name, job in jobs.items()
    ]
    write_file(out / "findings.json", json_out.document(host, plain).encode())


def _write_books(console: Console, out: Path, host: PluginHost, jobs: Mapping[str, AssessedJob], shop: Path) -> None:
    from rich.progress import track

    from garboard.commands.book import photos_at, proof_in
    from garboard.demo.demo_day import keep_issued
    from garboard.report.book import handover_book

    load = photos_at(shop)
    for name in track(jobs, "Handover books", console=console, disable=not console.is_terminal, transient=True):
        job, proof = jobs[name], proof_in(shop, jobs[name].view)
        book = handover_book(job.view, host, job.assessed, load_photo=load, proof=proof, aside=job.aside)
        write_file(_book(out, name), book)
        keep_issued(shop, job.view, book, proof, {one.name: one.version for one in host.plugins})


def _print_boats(console: Console, host: PluginHost, jobs: Mapping[str, AssessedJob]) -> None:
    """One line a boat, the finished one last, where the eye stops."""
    from garboard.report.job_report import summary
    from garboard.report.outline import hand_over, is_handed_over, punch_list

    for job in sorted(jobs.values(), key=lambda job: is_handed_over(job.view)):
        vessel = job.view.vessel
        state = hand_over(job.view, job.assessed, punch_list(job.view, host, job.assessed))
        standing = "finished and signed" if state.is_done else "not finished"
        if state.is_done and state.lacking:
            standing = f"{state.words}, {', '.join(state.lacking)}"
        line = f"{vessel.name} ({vessel.hull_number}), {standing}: {summary(job.assessed)}"
        console.print(line, soft_wrap=True, highlight=False)


def _print_what_next(console: Console, out: Path, jobs: Mapping[str, AssessedJob]) -> None:
    from garboard.report.outline import is_handed_over

    done = [name for name, job in jobs.items() if is_handed_over(job.view)]
    console.print(
        f"\nWrote {len(jobs)} handover books, findings.json, tablets and shop to {out.resolve()}.", soft_wrap=True
    )
    for what, how in (
        ("read a finished book", f"open the file {_book(out, done[0] if done else next(iter(jobs)))}"),
        ("see the day sheet", f"garboard shop --folder {quote(str(out / 'shop'))}"),
        ("work on the boats", "garboard tablet --demo"),
        ("see every finding", f"garboard demo --all --out {quote(str(out))}"),
        ("judge the boats again", f"garboard assess {quote(str(out / 'shop'))}"),
    ):
        console.print(f"To {what}: {how}", soft_wrap=True)


def _book(out: Path, job: str) -> Path:
    return out / f"{job}-handover-book.pdf"
