"""`garboard book`: the handover book of a job as a PDF."""

from __future__ import annotations

from pathlib import Path

import click

from garboard.commands.tools import Tools, need_office, write_file


@click.command("book", help="Write the handover book of a job (a job file, or a folder of hull files) as a PDF.")
@click.argument("job", metavar="JOB", type=click.Path(path_type=Path))
@click.option("--hull", default="", help="Hull number, for a folder of hull files.")
@click.option("--job", "job_id", default="", help="Job id, for a boat with several jobs.")
@click.option("-o", "--out", required=True, type=click.Path(path_type=Path), help="The PDF to write.")
@click.option("--paper", type=click.Choice(["letter", "A4"]), default="letter", show_default=True)
@click.pass_obj
def command(tools: Tools, job: Path, hull: str, job_id: str, out: Path, paper: str) -> None:
    """Assess the job and write its book."""
    from garboard.assessing import assess_one

    need_office()
    from garboard.report.book import handover_book

    tools.tell_broken_plugins()
    done = assess_one(job, tools.host, hull, job_id)
    write_file(out, handover_book(done.view, tools.host, done.assessed, paper))
    click.echo(f"Wrote {out}")
