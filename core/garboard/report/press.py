"""Sets a book in type: data in, a tagged PDF out. Knows nothing of jobs.

The file conforms to PDF/UA-1 and PDF/A-3a as far as its compiler checks that: the document's title and language,
headings in order, tables with heads, figures with words. Everything comes as data, so that no name is ever taken for
markup. The same data gives the same bytes.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path
from tempfile import gettempdir
from types import MappingProxyType
from typing import Any

from garboard.disk.scratch import ScratchFolder
from garboard.faults import Fault, GarboardError, InputError, in_words
from garboard.report.type_faces import FOLDER, MoreFaces, breakable, more_faces, printable
from garboard.units import in_full

NEEDED = ("typst", "fontTools", "PIL", "segno")
"""What a book is made with, by import name."""
NOTHING: Mapping[str, bytes] = MappingProxyType({})
TEMPLATE = Path(__file__).with_name("book.typ")
_DOTS_TO_THE_INCH = 120.0
LONGEST = 300.0
"""A book may take so long on a machine with other work [s]; it takes a fifth of a second."""
TYPESETTER = Path(__file__).with_name("typesetter.py")


class BookRefused(GarboardError):
    """The typesetter refused a book: a mistake of the program, with what it said."""


class NoRoom(InputError):
    """The files of a book find no room on this machine."""


class NotTypeset(GarboardError):
    """The typesetter did not come to an end: it was killed, hung, or found no memory. The same book may be made later,
    and no other book takes its place."""


def pressed(book: Mapping[str, Any], pictures: Mapping[str, bytes], attached: Mapping[str, bytes] = NOTHING) -> bytes:
    """A book as a PDF.

    book     : what `book.typ` reads
    pictures : content of each picture file the book names
    attached : JSON files that go with the PDF, by name
    Raises BookRefused where the typesetter refuses it, or warns; NotTypeset; NoRoom.
    """
    with _files({**pictures, **attached}) as folder:
        more = more_faces()
        with_all = {**settable(book), "attached": [*attached], "faces": [*more.names] if more else []}
        return _set_in_type(with_all, folder, more)


@contextmanager
def _files(files: Mapping[str, bytes]) -> Iterator[str]:
    """A folder with files that the typesetter reads. Raises NoRoom."""
    with ExitStack() as kept:
        try:
            folder = kept.enter_context(ScratchFolder("book"))
            for file, content in files.items():
                (Path(folder) / file).write_bytes(content)
        except OSError as failure:
            fault = Fault(gettempdir(), "room for the files of a book while it is made", in_words(failure))
            raise NoRoom("handover book", [fault]) from None
        yield folder


def on_paper(picture: bytes, ending: str, width: float, height: float) -> bytes:
    """A picture as a book prints it on white paper, as a PNG.

    ending : of the picture's file
    width, height : as printed [mm]
    Raises BookRefused where the typesetter cannot read it; InputError where it finds no room.
    """
    page = f'#set page(width: {width}mm, height: {height}mm, margin: 0mm)\n#image("picture.{ending}", width: 100%)'
    with _files({f"picture.{ending}": picture}) as folder:
        return _made(page.encode(), b"", folder, [], {"format": "png", "ppi": _DOTS_TO_THE_INCH})


def _set_in_type(book: Mapping[str, Any], folder: str, more: MoreFaces | None) -> bytes:
    fonts = [str(FOLDER), *([str(more.folder.resolve())] if more else [])]
    return _made(TEMPLATE.read_bytes(), json.dumps(book).encode(), folder, fonts, {"pdf_standards": ["ua-1", "a-3a"]})


def _made(template: bytes, data: bytes, folder: str, fonts: list[str], made_as: Mapping[str, Any]) -> bytes:
    """A file, made by a process of its own, which gives back all the memory that the typesetter keeps."""
    request = {"template": len(template), "root": folder, "fonts": fonts, "made": made_as}
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
        raise NotTypeset(_not_made(f"had not ended after {in_full(LONGEST)} s")) from None
    except OSError as failure:
        raise NotTypeset(_not_made(f"could not be started: {in_words(failure)}")) from None
    if ended.returncode:
        last = ended.stderr.decode(errors="replace").strip().rpartition("\n")[2][:600]
        how = f"failed: {last}" if last else f"was ended, with status {ended.returncode}"
        raise NotTypeset(_not_made(how))
    said, _, made = ended.stdout.partition(b"\n")
    if not made:
        raise BookRefused(json.loads(said)["refused"] or "no file was made")
    return made


def _not_made(how: str) -> str:
    return f"No book was made: the typesetter {how}. Look whether this machine has memory to spare, then try again"


def settable(value: Any) -> Any:
    """The data with every text as it can be set."""
    if isinstance(value, str):
        return printable(breakable(value))
    if isinstance(value, Mapping):
        return {key: settable(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [settable(one) for one in value]
    return value
