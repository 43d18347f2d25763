"""`garboard book`: the handover book of a job as a PDF."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import attrs
import click

from garboard.commands.tools import (
    SOMETHING_FAILS,
    need_office,
    reading_shown,
    refuse_unless_a_pdf_can_stand_there,
    write_file,
)
from garboard.disk.attachments import AttachmentDamaged, Attachments
from garboard.disk.hullfile import ATTACHMENTS_FOLDER
from garboard.disk.photo_words import BEGINNING
from garboard.faults import GarboardError, in_words
from garboard.history.authority import SHOP_FOLDER
from garboard.job_files.job_file import file_beside, is_a_file, is_beside
from garboard.report.photo_files import beginning_of, to_draw
from garboard.report.photos import Photo, PhotoContent, PhotoLoader
from garboard.report.terminal import Tools

if TYPE_CHECKING:
    from garboard.disk.entries import Entry
    from garboard.disk.storage import FolderInUse
    from garboard.history.proof import Proof
    from garboard.hosting.failures import PluginProblem
    from garboard.hosting.host import PluginHost
    from garboard.job_view import JobView


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
@click.option("--by", default="", help="Who issues it. Default: the name under which this machine writes.")
@click.option("--no-entry", is_flag=True, help="Keep no entry in the folder that this book was issued.")
@click.pass_obj
def command(tools: Tools, job: Path, hull: str, job_id: str, out: Path, paper: str, by: str, no_entry: bool) -> None:
    """Assess the job and write its book. A folder of hull files keeps that it was issued, or the shop's server that
    has it open.

    Exit status 1: a plugin could not write its section, and the book is without it; or that the book was issued
    could not be kept.
    """
    from garboard.judging.assessing import assess_one

    need_office()
    refuse_unless_a_pdf_can_stand_there(out)
    from garboard.report.book import FONTS_FOLDER, handover_book

    host = tools.host_for(job)
    tools.tell_broken_plugins(host)
    with reading_shown():
        done = assess_one(job, host, hull, job_id)
    for damage in done.damage:
        click.echo(f"damage: {damage}", err=True)
    proof = proof_in(job, done.view) if job.is_dir() else None
    load = photos_at(job)
    fonts = (job if job.is_dir() else job.parent) / FONTS_FOLDER
    not_written: list[PluginProblem] = []
    pdf = handover_book(
        done.view,
        host,
        done.assessed,
        paper,
        unread=done.unread,
        load_photo=load,
        proof=proof,
        fonts=fonts,
        aside=done.aside,
        failed=not_written.append,
    )
    write_file(out, pdf)
    click.echo(f"Wrote {out}")
    for problem in not_written:
        click.echo(f"Not in the book: plugin {problem.name}, {problem.in_words}", err=True)
    is_kept = proof is None or no_entry or _keep_issued(job, done.view, pdf, proof, by, host)
    if not_written or not is_kept:
        sys.exit(SOMETHING_FAILS)


def proof_in(folder: Path, view: JobView) -> Proof:
    """What a book of a job says of the entries in a folder."""
    from garboard.disk.hullfile import HullFolder
    from garboard.history.boat import open_hull
    from garboard.history.proof import proof_of

    with HullFolder(folder, read_only=True) as hulls:
        return proof_of(open_hull(hulls, view.vessel.hull_number), view.job.id)


def _keep_issued(folder: Path, view: JobView, pdf: bytes, proof: Proof, by: str, host: PluginHost) -> bool:
    """Keep the entry, and say whether it is kept. The book is whole without it: `verify` then does not know it.

    A shop's server that has the folder open keeps it instead.
    """
    from garboard.commands.hulls import author_of, save_all
    from garboard.disk.hullfile import HullFolder
    from garboard.disk.storage import FolderInUse
    from garboard.history.boat import open_hull
    from garboard.history.proof import issue

    def entry_in(hulls: HullFolder) -> Entry | None:
        boat = open_hull(hulls, view.vessel.hull_number)
        author = author_of(hulls, boat.state, "", by)
        author = attrs.evolve(author, by=by or author.tablet, plugins={one.name: one.version for one in host.plugins})
        return issue(author, boat, view.job.id, pdf, proof)

    try:
        try:
            with HullFolder(folder) as hulls:
                entry = entry_in(hulls)
                save_all(hulls, [entry] if entry else [])
        except FolderInUse as in_use:
            with HullFolder(folder, read_only=True) as hulls:
                entry = entry_in(hulls)
            if entry is not None and not _hand_in(folder, entry, in_use):
                return False
    except (GarboardError, OSError) as failure:
        click.echo(f"Not kept that it was issued: {in_words(failure)}", err=True)
        return False
    draft = " as a draft" if proof.revision.is_draft else ""
    click.echo(f"{'Kept' if entry else 'Kept before'}: issued{draft}, root {proof.short}")
    return True


def _hand_in(folder: Path, entry: Entry, in_use: FolderInUse) -> bool:
    """Hand the entry in to the shop's server that has the folder open, and wait for it to be kept."""
    from garboard.history.handed_in import hand_in, is_taken

    if not (folder / SHOP_FOLDER).is_dir():
        told = "Then write the book again. With --no-entry it is written without."
        click.echo(f"Not kept that it was issued: {in_words(in_use)}. {told}", err=True)
        return False
    path = hand_in(folder, entry)
    if is_taken(path):
        return True
    told = "The shop's server keeps it when it next looks; until then `verify` does not know this book."
    click.echo(f"Not kept yet that it was issued: it is handed in as {path}. {told}", err=True)
    return False


def photos_at(job: Path) -> PhotoLoader:
    """Gives the photos of a job: those kept in a folder of hull files, or those beside a job file."""
    if not job.is_dir():
        return lambda photo: _beside(job.parent, photo)
    kept = Attachments(job / ATTACHMENTS_FOLDER, writing=False)

    def load(photo: Photo) -> PhotoContent:
        try:
            beginning = kept.read(photo.file, 0, BEGINNING)
            size = kept.size(photo.file)
            return to_draw(size, beginning, lambda: kept.get(photo.file), lambda: kept.opened(photo.file))
        except (KeyError, OSError, AttachmentDamaged):
            return b""

    return load


def _beside(folder: Path, photo: Photo) -> PhotoContent:
    """A job file comes from elsewhere and must not reach out of its folder."""
    path = file_beside(folder, photo.file, photo.name)
    try:
        if not (is_beside(photo.file) and is_a_file(path)):
            return b""
        return to_draw(path.stat().st_size, beginning_of(path), path.read_bytes, lambda: path.open("rb"))
    except OSError:
        return b""
