"""`garboard book`: the handover book of a job as a PDF."""

from __future__ import annotations

from pathlib import Path

import click

from garboard.commands.tools import need_office, reading_shown, refuse_unless_a_pdf_can_stand_there, write_file
from garboard.disk.attachments import AttachmentDamaged, Attachments
from garboard.disk.hullfile import ATTACHMENTS_FOLDER
from garboard.job_files.job_file import file_beside, is_a_file, is_beside
from garboard.report.photos import Photo, PhotoLoader
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
    pdf = handover_book(done.view, host, done.assessed, paper, unread=done.unread, load_photo=photos_at(job))
    write_file(out, pdf)
    click.echo(f"Wrote {out}")


def photos_at(job: Path) -> PhotoLoader:
    """Gives the photos of a job: those kept in a folder of hull files, or those beside a job file."""
    if not job.is_dir():
        return lambda photo: _beside(job.parent, photo)
    kept = Attachments(job / ATTACHMENTS_FOLDER, writing=False)

    def load(photo: Photo) -> bytes:
        try:
            return kept.get(photo.file)
        except (KeyError, OSError, AttachmentDamaged):
            return b""

    return load


def _beside(folder: Path, photo: Photo) -> bytes:
    """A job file comes from elsewhere and must not reach out of its folder."""
    path = file_beside(folder, photo.file, photo.name)
    try:
        return path.read_bytes() if is_beside(photo.file) and is_a_file(path) else b""
    except OSError:
        return b""
