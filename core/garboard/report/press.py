"""Sets a book in type: data in, a tagged PDF out. Knows nothing of jobs.

The file conforms to PDF/UA-1 as far as its compiler checks that: the document's title and language, headings in order,
tables with heads, figures with words. Everything comes as data, so that no name is ever taken for markup. The same data
gives the same bytes.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir
from typing import Any

from garboard.faults import Fault, GarboardError, InputError, in_words
from garboard.report.type_faces import FOLDER, breakable, printable

NEEDED = ("typst", "fontTools", "PIL")
"""What a book is made with, by import name."""
TEMPLATE = Path(__file__).with_name("book.typ")
LONGEST = 300.0
"""A book may take so long on a machine with other work [s]; it takes a fifth of a second."""
TYPESETTER = Path(__file__).with_name("typesetter.py")


class BookRefused(GarboardError):
    """The typesetter refused a book: a mistake of the program, with what it said."""


def pressed(book: Mapping[str, Any], pictures: Mapping[str, bytes]) -> bytes:
    """A book as a PDF.

    book     : what `book.typ` reads
    pictures : content of each picture file the book names
    Raises BookRefused where the typesetter refuses it, or warns; InputError where its pictures find no room.
    """
    with _pictures(pictures) as folder:
        return _set_in_type(book, folder)


@contextmanager
def _pictures(pictures: Mapping[str, bytes]) -> Iterator[str]:
    """A folder with the pictures, which the typesetter reads from files. Raises InputError where there is no room."""
    with ExitStack() as kept:
        try:
            folder = kept.enter_context(TemporaryDirectory(prefix="garboard-book-"))
            for file, content in pictures.items():
                (Path(folder) / file).write_bytes(content)
        except OSError as failure:
            fault = Fault(gettempdir(), "room for the photos of a book while it is made", in_words(failure))
            raise InputError("handover book", [fault]) from None
        yield folder


def _set_in_type(book: Mapping[str, Any], folder: str) -> bytes:
    """The book, made by a process of its own, which gives back all the memory that the typesetter keeps."""
    template, data = TEMPLATE.read_bytes(), json.dumps(settable(book)).encode()
    request = {"template": len(template), "root": folder, "fonts": [str(FOLDER)], "standards": ["ua-1"]}
    try:
        ended = subprocess.run(
            [sys.executable, "-B", "-P", str(TYPESETTER)],
            input=json.dumps(request).encode() + b"\n" + template + data,
            capture_output=True,
            check=False,
            cwd=folder,
            timeout=LONGEST,
        )
    except subprocess.TimeoutExpired:
        raise BookRefused(f"the typesetter had not ended after {LONGEST:g} s") from None
    said, _, made = ended.stdout.partition(b"\n")
    if ended.returncode or not made:
        refused = json.loads(said)["refused"] if said else ended.stderr.decode(errors="replace").strip()[-600:]
        raise BookRefused(refused or "no file was made")
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
