"""Sets a book in type: data in, a tagged PDF out. Knows nothing of jobs.

The file conforms to PDF/UA-1 and PDF/A-3a as far as its compiler checks that: the document's title and language,
headings in order, tables with heads, figures with words. Everything comes as data, so that no name is ever taken for
markup. The same data gives the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from garboard.faults import Fault, GarboardError, InputError, in_words
from garboard.report.type_faces import FOLDER, MoreFaces, breakable, more_faces, printable

if TYPE_CHECKING:
    from typst import Fonts

NEEDED = ("typst", "fontTools", "PIL", "segno")
"""What a book is made with, by import name."""
NOTHING: Mapping[str, bytes] = MappingProxyType({})
TEMPLATE = Path(__file__).with_name("book.typ")


class BookRefused(GarboardError):
    """The typesetter refused a book: a mistake of the program, with what it said."""


@lru_cache(maxsize=1)
def _fonts(more: Path | None) -> Fonts:
    from typst import Fonts

    folders = [str(FOLDER), *([str(more)] if more else [])]
    return Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=folders)


def pressed(book: Mapping[str, Any], pictures: Mapping[str, bytes], attached: Mapping[str, bytes] = NOTHING) -> bytes:
    """A book as a PDF.

    book     : what `book.typ` reads
    pictures : content of each picture file the book names
    attached : JSON files that go with the PDF, by name
    Raises BookRefused where the typesetter refuses it, or warns; InputError where its pictures find no room.
    """
    with _files({**pictures, **attached}) as folder:
        more = more_faces()
        with_all = {**settable(book), "attached": [*attached], "faces": [*more.names] if more else []}
        return _set_in_type(with_all, folder, more)


@contextmanager
def _files(files: Mapping[str, bytes]) -> Iterator[str]:
    """A folder with files that the typesetter reads. Raises InputError where there is no room."""
    with ExitStack() as kept:
        try:
            folder = kept.enter_context(TemporaryDirectory(prefix="garboard-book-"))
            for file, content in files.items():
                (Path(folder) / file).write_bytes(content)
        except OSError as failure:
            fault = Fault(gettempdir(), "room for the photos of a book while it is made", in_words(failure))
            raise InputError("handover book", [fault]) from None
        yield folder


def _set_in_type(book: Mapping[str, Any], folder: str, more: MoreFaces | None) -> bytes:
    import typst

    try:
        made, warnings = typst.compile_with_warnings(  # type: ignore[type-var]  # its types mix input and fonts
            TEMPLATE.read_bytes(),
            root=folder,
            font_paths=_fonts(more.folder if more else None),
            ignore_system_fonts=True,
            sys_inputs={"data": json.dumps(book)},
            pdf_standards=["ua-1", "a-3a"],
        )
    except typst.TypstError as failure:
        raise BookRefused(f"{failure.message} {' '.join(failure.hints)} {failure.diagnostic}") from None
    if warnings:
        raise BookRefused("; ".join(one.message for one in warnings))
    if not isinstance(made, bytes):
        raise BookRefused("no file was made")
    return made


def settable(value: Any) -> Any:
    """The data with every text as it can be set."""
    if isinstance(value, str):
        return printable(breakable(value))
    if isinstance(value, Mapping):
        return {key: settable(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [settable(one) for one in value]
    return value
