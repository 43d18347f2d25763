"""`garboard verify`: whether a handover book is what it says."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import attrs
import click

from garboard.commands.tools import SOMETHING_FAILS
from garboard.disk.clock import moment_in_words
from garboard.disk.formats import Format
from garboard.faults import Fault, InputError, in_number, shown
from garboard.report.visible import visible_name

if TYPE_CHECKING:
    from garboard.disk.hullfile import HullFolder
    from garboard.history.boat import Boat
    from garboard.history.proof import Issued
    from garboard.hosting.host import PluginHost
    from garboard.judging.verifying import EntriesChecked, FileChecked
    from garboard.report.record_file import Change, Record
    from garboard.report.terminal import Tools

VERIFIED = Format("garboard verification")
LARGEST_BOOK = 200 * 1024 * 1024
_MOST_NAMED = 12


@attrs.frozen
class _Figures:
    """The figures computed anew: how many there are, which came out otherwise, and what is of another version."""

    count: int
    changes: tuple[Change, ...]
    versions: tuple[str, ...]


@click.command("verify", short_help="Check a handover book: its file, the entries since, its figures.")
@click.argument("book", metavar="BOOK.pdf", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option("--hull", default="", help="Hull number, for a file that does not say which boat it is of.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON, for other programs.")
@click.pass_context
def command(context: click.Context, book: Path, folder: Path, hull: str, as_json: bool) -> None:
    """Check BOOK.pdf against FOLDER, a folder of hull files. Nothing is written.

    Three things are told apart: whether the file is the one that was issued, byte for byte; which entries came since;
    and whether its figures, computed anew from its own entries, come out the same.

    Recordings and photos that are not here whole are named.

    Exit status 0: all three are the same, and every file is here. 1: something differs, or cannot be told. 2: nothing
    could be checked.
    """
    from garboard.disk.hullfile import HullFolder
    from garboard.judging.assessing import is_hull_folder
    from garboard.judging.verifying import (
        boat_of_book,
        books_beside,
        entries_checked,
        file_checked,
        files_lacking,
        hashes_in,
    )
    from garboard.report.record_file import record_in

    tools: Tools = context.obj
    if not is_hull_folder(folder):
        raise InputError(str(folder), [Fault("FOLDER", "a folder of hull files", "a folder without any")])
    content = _content_of(book)
    record = record_in(content)
    host = tools.host_for(folder)
    tools.tell_broken_plugins(host)
    with HullFolder(folder, read_only=True) as hulls:
        number = hull or (record.hull_number if record else "") or boat_of_book(hulls, _sha256(content))
        number = number or (hulls.boats()[0] if len(hulls.boats()) == 1 else "")
        boat = _boat(hulls, number)
        root, hashes = (record.root, record.entries) if record else ("", ())
        file = file_checked(boat, content, root, lambda sha256: books_beside(hulls, sha256))
        entries = entries_checked(boat, root, hashes, lambda: hashes_in(hulls))
        is_of_another = record is not None and 0 < len(set(record.entries)) <= entries.missing
        figures = None if is_of_another else _figures(hulls, number, record, host)
        lacking = files_lacking(hulls, boat)
        for damage in hulls.damage_of(boat.hulls):
            click.echo(f"damage: {damage}", err=True)
    if as_json:
        click.echo(json.dumps(_plain(file, entries, figures, lacking), indent=1, ensure_ascii=False))
    else:
        told = (*_of_entries(entries, host), *_of_lacking(lacking), *_of_figures(figures, file, entries, host))
        for line in (*_of_file(file), *told):
            click.echo(visible_name(line))  # a book of anybody's hand must not write a line of its own
    if not _is_all_the_same(file, entries, figures, lacking):
        sys.exit(SOMETHING_FAILS)


def _content_of(book: Path) -> bytes:
    if (size := book.stat().st_size) > LARGEST_BOOK:
        raise InputError(str(book), [Fault("BOOK.pdf", f"at most {LARGEST_BOOK} bytes", f"{size} bytes")])
    return book.read_bytes()


def _sha256(content: bytes) -> str:
    import hashlib

    return hashlib.sha256(content).hexdigest()


def _boat(hulls: HullFolder, number: str) -> Boat:
    from garboard.judging.verifying import boat_named

    known = ", ".join(hulls.boats()[:_MOST_NAMED]) or "none"
    if not number:
        got = "a file that does not say so, and was not issued here"
        cure = "name the boat with --hull to compare it"
        raise InputError("verify", [Fault("BOOK.pdf", "a handover book that names its boat", got, cure=cure)])
    boat = boat_named(hulls, number)
    if boat is None:
        raise InputError("verify", [Fault("hull number", f"a boat in this folder ({known})", shown(number))])
    return boat


def _figures(hulls: HullFolder, number: str, record: Record | None, host: PluginHost) -> _Figures | None:
    """None where the file carries no figures, or not the entries they came from."""
    from garboard.judging.verifying import judged_anew
    from garboard.report.record_file import changes, told, versions_changed

    if record is None or not record.entries:
        return None
    of_shop = {one.key for one in host.calculators if one.of_shop}  # what an owner's book leaves out
    judged = judged_anew(hulls, number, record.job, record.entries, host)
    now = told(one for one in judged if one.calculator not in of_shop)
    return _Figures(len(record.findings), changes(record.findings, now), versions_changed(record, host))


def _is_all_the_same(
    file: FileChecked, entries: EntriesChecked, figures: _Figures | None, lacking: Sequence[str]
) -> bool:
    from garboard.judging.verifying import EntriesState, FileState

    return (
        (file.state, entries.state) == (FileState.ISSUED, EntriesState.SAME)
        and figures is not None
        and not lacking
        and not (figures.changes or figures.versions)
    )


def _of_file(file: FileChecked) -> Iterator[str]:
    from garboard.judging.verifying import FileState

    own = f"{file.size} bytes, SHA-256 {file.sha256}"
    if file.state is FileState.ISSUED and file.issued:
        draft = " It is a draft: technician and owner had not both signed what it says." if file.issued.is_draft else ""
        yield f"File: issued, byte for byte, {_when(file.issued)}.{draft}"
    elif file.state is FileState.ANOTHER and file.issued:
        yield f"File: another file. A book of the same entries was issued {_when(file.issued)}."
        yield f"  issued: SHA-256 {file.issued.sha256}"
    else:
        yield "File: never issued here. No entry names it, and none names its root."
    yield f"  this file: {own}"


def _when(issued: Issued) -> str:
    entry = issued.entry
    return f"on {moment_in_words(entry.at)} by {entry.by}, by garboard {entry.program}"


def _of_entries(entries: EntriesChecked, host: PluginHost) -> Iterator[str]:
    from garboard.judging.verifying import EntriesState

    count = in_number(entries.count, "entry", "entries")
    if entries.state is EntriesState.SAME:
        yield f"Entries: the same root, over {count}. Nothing was added, taken out or changed."
    elif entries.state is EntriesState.NOT_STATED:
        yield "Entries: the file states no root, so nothing can be compared."
    elif entries.state is EntriesState.FALSE:
        yield "Entries: the list in the file does not make the root it states. Somebody changed the file."
    else:
        gone = f"{entries.missing} of the book's are not here, or were changed; " if entries.missing else ""
        if entries.moved:
            gone += f"{entries.moved} of the book's stand under another hull number now, as a job was moved; "
        yield f"Entries: {gone}{in_number(entries.added_count, 'entry', 'entries')} added since."
    if entries.added and entries.stated:
        yield f"  added: {_named(entries.added, host)}"
    if entries.stated and entries.stated != entries.now:
        yield f"  the book: root {entries.stated}"
    yield f"  now: root {entries.now}"


def _of_lacking(lacking: Sequence[str]) -> Iterator[str]:
    if lacking:
        more = f"; and {len(lacking) - _MOST_NAMED} more" if len(lacking) > _MOST_NAMED else ""
        files = in_number(len(lacking), "recording or photo", "recordings or photos")
        yield f"Files not here whole: {files} of these entries: {'; '.join(lacking[:_MOST_NAMED])}{more}."


def _named(names: Sequence[str], host: PluginHost) -> str:
    from garboard.hosting.titles import name_in_words

    words = [*dict.fromkeys(name_in_words(name, host) for name in names)]
    more = len(words) - _MOST_NAMED
    return "; ".join(words[:_MOST_NAMED]) + (f"; and {more} more" if more > 0 else "")


def _of_figures(
    figures: _Figures | None, file: FileChecked, entries: EntriesChecked, host: PluginHost
) -> Iterator[str]:
    from garboard.hosting.titles import title_of
    from garboard.judging.verifying import FileState

    if figures is None and entries.missing:
        yield "Figures: none of the book's entries are here, so nothing can be computed anew."
        yield "  It may be the book of another boat with this hull number, or of another shop's folder."
        return
    if figures is None:
        yield "Figures: the file does not carry the findings and the entries they came from. Nothing can be compared."
        return
    count = in_number(figures.count, "finding")
    less = " Not all of its entries are here." if entries.missing else ""
    if figures.changes:
        differ = f"{len(figures.changes)} differ. The book has {count}."
        yield f"Figures: computed anew from the book's entries, {differ}{less}"
    else:
        yield f"Figures: computed anew from the book's entries, {count}: each verdict and number is the same.{less}"
    for one in figures.changes:
        about = f", {one.about}" if one.about else ""
        yield f"  {title_of(one.step, host)}{about}: {one.was or 'no such finding'}, now {one.now or 'no such finding'}"
    if figures.versions:
        yield f"  other versions: {'; '.join(figures.versions)}"
    else:
        yield "  program and plugins: the same versions"
    if file.state is not FileState.ISSUED:
        yield "  compared: the figures attached to the file. What its pages show was not compared."


def _issued(issued: Issued) -> Mapping[str, Any]:
    return {
        "at": issued.entry.at,
        "by": issued.entry.by,
        "sha256": issued.sha256,
        "draft": issued.is_draft,
    }


def _plain(
    file: FileChecked, entries: EntriesChecked, figures: _Figures | None, lacking: Sequence[str]
) -> Mapping[str, Any]:
    issued = file.issued
    return {
        **VERIFIED.heading,
        "same": _is_all_the_same(file, entries, figures, lacking),
        "file": {
            "state": file.state.value,
            "sha256": file.sha256,
            "size": file.size,
            "issued": [_issued(issued)] if issued else [],
        },
        "entries": {
            "state": entries.state.value,
            "root": entries.stated,
            "root_now": entries.now,
            "count": entries.count,
            "added": [*entries.added],
            "added_count": entries.added_count,
            "missing": entries.missing,
            "moved": entries.moved,
            "files_lacking": [*lacking],
        },
        "figures": {
            "state": "cannot be told" if figures is None else "changed" if figures.changes else "same",
            "changes": [attrs.asdict(one) for one in figures.changes] if figures else [],
            "versions": [*figures.versions] if figures else [],
        },
    }
