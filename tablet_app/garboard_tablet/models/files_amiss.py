"""Boats' files that are gone from this tablet, damaged, or not readable: what is missing, and what to do."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import attrs

from garboard.disk.entries import file_in_words
from garboard.disk.journal import SUFFIX
from garboard.disk.shop_document import is_paired
from garboard.disk.storage import NewerFormat
from garboard.faults import in_number
from garboard_tablet.language import phrase

if TYPE_CHECKING:
    from collections.abc import Iterator

    from garboard.disk.hullfile import HullFolder

GET_BACK = (
    "Bring ashore: the shop gives back what it holds. If the shop lacks it too, merge a copy of this tablet's folder."
)
PAIR_FIRST = "Pair this tablet with the shop and bring ashore, or merge a copy of this tablet's folder."


@attrs.frozen
class FileAmiss:
    """A boat's file of which something is not on this tablet.

    file    : its name
    text    : what is missing, in words
    is_gone : whether it is gone whole; a person may say that it was removed on purpose
    returns : whether a merge may bring back what is missing
    """

    file: str
    text: str
    is_gone: bool = False
    returns: bool = True


def files_amiss(files: HullFolder) -> tuple[FileAmiss, ...]:
    """The boats' files of which something is missing now. Reads each file by itself: nobody waits long to save."""
    here: set[str] = set()
    for key in files.hulls():
        with suppress(NewerFormat, OSError):
            here |= files.look_at(key)
    return (*files_gone(files), *_damaged(files, here), *_not_read(files))


def files_gone(files: HullFolder) -> tuple[FileAmiss, ...]:
    """The boats' files that are gone: it takes so little to see that the first page need not wait for it."""
    return tuple(_gone(files))


def _gone(files: HullFolder) -> Iterator[FileAmiss]:
    for gone in files.gone():
        held = (
            phrase("It held {entries} when it was last saved.", entries=in_number(gone.had, "entry", "entries"))
            if gone.had
            else ""
        )
        what = "was gone, and not all that it held is back" if gone.file.exists() else "is gone from this tablet"
        yield FileAmiss(gone.file.name, " ".join(filter(None, (f"{_file_of(gone.file)} {what}.", held))), is_gone=True)


def _damaged(files: HullFolder, here: set[str]) -> Iterator[FileAmiss]:
    for loss in files.set_aside(here):
        yield FileAmiss(
            loss.file.name,
            phrase("{file} was found damaged. It lacks {what}.", file=_file_of(loss.file), what=loss.what),
        )
    for damage in files.damage_found():
        if damage.set_aside is None and SUFFIX in damage.file.name:  # the disk had no room to keep it
            yield FileAmiss(
                damage.file.name,
                phrase("{file} is damaged: {reason}.", file=_file_of(damage.file), reason=damage.reason),
            )


def _not_read(files: HullFolder) -> Iterator[FileAmiss]:
    for path, reason in files.not_read():
        if SUFFIX in Path(path).name:
            yield FileAmiss(
                Path(path).name,
                phrase("{file} cannot be read: {reason}", file=_file_of(Path(path)), reason=reason),
                returns=False,
            )


def _file_of(path: Path) -> str:
    return phrase("The file of {boat}", boat=file_in_words(path.name.partition("-")[0]))


def what_to_do(folder: Path) -> str:
    """How what is missing comes back to this tablet."""
    return GET_BACK if is_paired(folder) else PAIR_FIRST
