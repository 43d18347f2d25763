"""`garboard demo`: the sample jobs, assessed and written out."""

from __future__ import annotations

from pathlib import Path

import click

from garboard.commands.tools import need_office, write_file
from garboard.report.terminal import Tools

DEFAULT_FOLDER = Path("garboard-demo")


@click.command("demo", help="An invented shop's day: three boats on three tablets, merged, judged, and their books.")
@click.option(
    "--out", type=click.Path(path_type=Path), default=DEFAULT_FOLDER, show_default=True, help="Folder to write into."
)
@click.pass_obj
def command(tools: Tools, out: Path) -> None:
    """Merge the day's tablets, print an account of each vessel, then write its book."""
    from rich.progress import track

    from garboard.commands.hulls import readable_report
    from garboard.demo.demo_day import make_day, settle_day
    from garboard.demo.samples_folder import sample_job_files
    from garboard.judging.assessing import assess_hulls
    from garboard.report import json_out
    from garboard.report.account import print_account, summary

    need_office()
    host, console = tools.host, tools.console()
    tools.tell_broken_plugins()
    day = make_day({file.parent.name: file for file in sample_job_files()}, out)
    console.print("EVENING: THREE TABLETS COME ASHORE", highlight=False)
    console.print(readable_report(day.report), soft_wrap=True, highlight=False)
    for decision in settle_day(day.shop):
        console.print(f"  decided: {decision}", soft_wrap=True, highlight=False)
    jobs = {job.view.job.id: job for job in assess_hulls(day.shop, host)}
    for job in jobs.values():
        print_account(console, job.view, host, job.assessed, job.questions)
    plain = [json_out.assessed_job(name, job.view, host, job.assessed, job.questions) for name, job in jobs.items()]
    write_file(out / "findings.json", json_out.document(host, plain).encode())
    from garboard.report.book import handover_book

    console.print()
    names = track(jobs, "Handover books", console=console, disable=not console.is_terminal, transient=True)
    for name in names:
        job = jobs[name]
        write_file(out / f"{name}-handover-book.pdf", handover_book(job.view, host, job.assessed))
    for job in jobs.values():
        console.print(f"{job.view.vessel.name}: {summary(job.assessed)}", soft_wrap=True)
    console.print(
        f"\nWrote {len(jobs)} handover books, findings.json, tablets and shop to {out.resolve()}.", soft_wrap=True
    )
    for what, how in (
        ("look at a book", f"open {out / next(iter(jobs))}-handover-book.pdf"),
        ("see it all judged again", f"garboard assess {out / 'shop'}"),
        ("work on the boats", "garboard tablet --demo"),
        ("see the day sheet", f"garboard shop --folder {out / 'shop'}"),
    ):
        console.print(f"To {what}: {how}", soft_wrap=True)
