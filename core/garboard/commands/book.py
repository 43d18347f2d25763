"""`garboard book`: the handover book of a job as a PDF."""

from __future__ import annotations

from pathlib import Path

import click

from garboard.commands.tools import need_office, reading_shown, refuse_unless_a_pdf_can_stand_there, write_file
from garboard.report.terminal import Tools


@click.command("book", help="Write the handover book of a job as a PDF. JOB is a job file or a folder of hull files.")
@click.argument("job", metavar="JOB", type=click.Path(path_type=Path))
@click.option("--hull", default="", help="Hull number, for a folder of hull files.")
@click.option("--job", "job_id", default="", help="Job id, for a boat with several jobs.")
@click.option("-o", "--out", required=True, type=click.Path(path_type=Path), help="The PDF to write.")
@click.option(
    "--paper",
    type=click.Choice(["letter", "A4"], case_sensitive=False),
    default="letter",
    show_default=True,
    help="Paper size.",
)
@click.pass_obj
def command(tools: Tools, job: Path, hull: str, job_id: str, out: Path, paper: str) -> None:
    """Assess the job and write its book."""
    from garboard.judging.assessing import assess_one

    need_office()
    refuse_unless_a_pdf_can_stand_there(out)
    from garboard.report.book import handover_book

    host = tools.host_for(job)
    tools.tell_broken_plugins(host)
    with reading_shown():
        done = assess_one(job, host, hull, job_id)
    for damage in done.damage:
        click.echo(f"damage: {damage}", err=True)
    write_file(out, handover_book(done.view, host, done.assessed, paper, unread=done.unread))
    click.echo(f"Wrote {out}")
