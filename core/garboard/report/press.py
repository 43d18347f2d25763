"""Sets a book in type: data in, a tagged PDF out. Knows nothing of jobs.

The file conforms to PDF/UA-1 as far as its compiler checks that: the document's title and language, headings in order,
tables with heads, figures with words. Everything comes as data, so that no name is ever taken for markup. The same data
gives the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from garboard.faults import GarboardError
from garboard.report.type_faces import FOLDER, breakable, printable

if TYPE_CHECKING:
    from typst import Fonts

NEEDED = ("typst", "fontTools", "PIL")
"""What a book is made with, by import name."""
TEMPLATE = Path(__file__).with_name("book.typ")


class BookRefused(GarboardError):
    """The typesetter refused a book: a mistake of the program, with what it said."""


@lru_cache(maxsize=1)
def _fonts() -> Fonts:
    from typst import Fonts

    return Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FOLDER)])


def pressed(book: Mapping[str, Any], pictures: Mapping[str, bytes]) -> bytes:
    """A book as a PDF.

    book     : what `book.typ` reads
    pictures : content of each picture file the book names
    Raises BookRefused where the typesetter refuses it, or warns.
    """
    import typst

    with TemporaryDirectory(prefix="garboard-book-") as name:
        folder = Path(name)
        for file, content in pictures.items():
            (folder / file).write_bytes(content)
        typst_source: Any = TEMPLATE.read_bytes()  # its stubs know no bytes
        try:
            made, warnings = typst.compile_with_warnings(
                typst_source,
                root=str(folder),
                font_paths=_fonts(),
                ignore_system_fonts=True,
                sys_inputs={"data": json.dumps(settable(book))},
                pdf_standards=["ua-1"],
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
