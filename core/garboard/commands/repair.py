"""`garboard repair`: look through a folder of hull files, mend what can be mended, and say what cannot."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from garboard.disk.hullfile import HullFolder

HELP = """Look through a folder of hull files and mend what can be mended.

A damaged file is kept whole beside the mended one. A decision that stands in two files (a job moved, two numbers one
boat) and was cut off half-way is ended. A photo or a recording that is not what its name says is set aside; merging
with the shop, or with where it was taken, brings it back. One that lies here under another name is copied to its own.

Exit status 0 when nothing is wrong any more, 1 when something is left that this folder cannot mend by itself: a file
that cannot be read, entries of a file damaged before that are not back yet, a hull file that is gone, a photo or a
recording that is not here.
"""


@click.command("repair", help=HELP, short_help="Look through a folder and mend what can be mended.")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False, exists=True))
@click.option(
    "--forget",
    multiple=True,
    metavar="HULL",
    help="This boat's file was removed on purpose: do not tell of it any more. Can be repeated.",
)
@click.pass_context
def command(context: click.Context, folder: Path, forget: tuple[str, ...]) -> None:
    """Mend, and tell."""
    from garboard.commands.tools import SOMETHING_FAILS
    from garboard.disk.hullfile import HULLS_FOLDER, HullFolder
    from garboard.faults import Fault, InputError, in_number

    if not (folder / HULLS_FOLDER).is_dir():
        raise InputError(str(folder), [Fault("folder", f"hull files: a folder named {HULLS_FOLDER} in it", "none")])
    with HullFolder(folder) as hulls:
        for hull in forget:
            if not hulls.forget_gone(hull):
                raise InputError(str(folder), [Fault("--forget", "a boat whose file is gone from here", repr(hull))])
            click.echo(f"forgotten: the file of {hull}")
        for decision in _end_what_is_unfinished(hulls):
            click.echo(f"ended: {decision}")
        if came := hulls.take_in_kept():
            click.echo(f"found: {in_number(came, 'entry', 'entries')} in files kept as damaged. They are here now")
        _prove_attachments(hulls)
        for found in _take_in_misplaced(hulls):
            click.echo(f"found: {found}")
        for damage in hulls.damage_found():
            click.echo(f"damage: {damage}")
        left = [f"not mended: {file}: {reason}" for file, reason in hulls.not_read()]
        left += [f"not mended: {words}" for words in _documents_not_read(folder)]
        left += [*_noted_by_the_shop(folder)]
        lost = sum(damage.lost for damage in hulls.damage_found())
        if lost:
            places = in_number(lost, "place")
            left.append(f"{places} could not be read: merge with the shop, which may hold what stood there")
        left += [*_still_missing(hulls)]
    click.echo("\n".join(left or ["Everything here can be read, nothing is missing, and nothing is left half-way."]))
    context.exit(SOMETHING_FAILS if left else 0)


def _end_what_is_unfinished(hulls: HullFolder) -> Iterator[str]:
    from garboard.history.halves import missing_halves
    from garboard.shop_link.pairing import may_decide

    for hull in hulls.readable():
        for half in missing_halves(hulls.entries, hull):
            if half.is_sure or may_decide(hulls.folder):
                hulls.save(half.entry)
                yield half.decision


def _noted_by_the_shop(folder: Path) -> Iterator[str]:
    """Decisions that a shop server noted and did not keep in every file yet."""
    from garboard.history.authority import SHOP_FOLDER
    from garboard.history.halves import TOGETHER_FOLDER

    for path in sorted((folder / SHOP_FOLDER / TOGETHER_FOLDER).glob("[0-9]*.json")):
        yield f"not mended: a decision is not in every file yet. Start the shop server once, it adds the rest: {path}"


def _still_missing(hulls: HullFolder) -> Iterator[str]:
    """What was set aside before, and what entries name and is not here."""
    from garboard.history.exchange import attachments_missing

    told = {damage.set_aside for damage in hulls.damage_found() if damage.lost}
    for lost in hulls.set_aside():
        if lost.file not in told:
            yield (
                f"missing: {lost.what}, of a file found damaged before. Merge with the shop, or with where it was "
                f"written. It is kept as {lost.file}: remove it once nothing more is to be had from it"
            )
    for gone in hulls.gone():
        yield f"missing: {gone}"
    for name, called in attachments_missing(hulls).items():
        what = f"{called or 'an attachment'} ({name[:12]})"
        yield f"missing: {what}, which an entry names: merge with the shop, or with where it was taken"


def _take_in_misplaced(hulls: HullFolder) -> Iterator[str]:
    """Photos and recordings that entries name and that lie here under another name."""
    from garboard.history.exchange import attachments_missing

    if lacking := attachments_missing(hulls):
        for name, path in hulls.attachments.take_in_misplaced(lacking):
            yield f"{lacking[name] or 'an attachment'} ({name[:12]}), as {path.name}. A copy is kept under its own name"


def _documents_not_read(folder: Path) -> Iterator[str]:
    """What the program keeps beside the hull files and cannot read, and what to do about each.

    Those of plugins and of the tablet's app are known here by their common shape alone; their owners set them aside.
    """
    from garboard.disk import documents, shop_document
    from garboard.disk.storage import NewerFormat
    from garboard.faults import in_words
    from garboard.history import authority

    known = {authority.MANAGERS_FILE: authority.MANAGERS, shop_document.FILE: shop_document.SHOP}
    places = (folder / documents.FOLDER, folder / authority.SHOP_FOLDER)
    for path in (path for place in places for path in sorted(place.glob("*.json"))):
        try:
            documents.refuse_unreadable(path, known.get(str(path.relative_to(folder).as_posix())))
        except (documents.DocumentDamaged, NewerFormat) as failure:
            yield in_words(failure)


def _prove_attachments(hulls: HullFolder) -> None:
    from contextlib import suppress

    from garboard.disk.attachments import AttachmentDamaged

    for name in sorted(hulls.attachments.names()):
        with suppress(AttachmentDamaged):
            hulls.attachments.prove(name)
