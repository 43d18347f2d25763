"""`garboard demo`: the sample jobs, assessed and written out."""

from __future__ import annotations

from pathlib import Path

import click

from garboard.commands.tools import Tools, need_office, write_file

DEFAULT_FOLDER = Path("garboard-demo")


@click.command("demo", help="Assess the sample jobs and write their handover books and findings.")
@click.option(
    "--out", type=click.Path(path_type=Path), default=DEFAULT_FOLDER, show_default=True, help="Folder to write into."
)
@click.pass_obj
def command(tools: Tools, out: Path) -> None:
    """Print an account of each sample vessel, then write its book."""
    from rich.progress import track

    from garboard.assessing import assess_job_file
    from garboard.report import json_out
    from garboard.report.account import print_account
    from garboard.samples_folder import sample_job_files

    need_office()
    host, console = tools.host, tools.console()
    tools.tell_broken_plugins()
    jobs = {file.parent.name: assess_job_file(file, host) for file in sample_job_files()}
    for job in jobs.values():
        print_account(console, job.view, host, job.assessed, job.questions)
    plain = [
        json_out.assessed_job(f"{name}/job.json", job.view, host, job.assessed, job.questions)
        for name, job in jobs.items()
    ]
    write_file(out / "findings.json", json_out.document(host, plain).encode())
    from garboard.report.book import handover_book

    console.print()
    names = track(jobs, "Handover books", console=console, disable=not console.is_terminal, transient=True)
    for name in names:
        job = jobs[name]
        write_file(out / f"{name}-handover-book.pdf", handover_book(job.view, host, job.assessed))
    console.print(f"Wrote {len(jobs)} handover books and findings.json to {out.resolve()}", soft_wrap=True)
