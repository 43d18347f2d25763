"""Codes in a picture: a serial number stands on many plates as a code as well, which nobody mistypes."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import attrs

from garboard.faults import in_words
from garboard.report.photo_files import LARGEST_FILE

READER = "zxingcpp"
"""What reads them, where it is installed; see the extra of that name."""
SERIALS = frozenset({"serial_number"})
"""Facts of a piece that makers print as a code."""
LONGEST = 60
"""A longer text is no serial number [characters]."""
_NONE = "No code can be read in this picture. Hold the camera closer and square to it, or type the number."


@attrs.frozen
class Codes:
    """What was read in a picture.

    texts   : what stands in its codes, each once, in the order they were found
    refused : why there is none, and what to do
    """

    texts: tuple[str, ...] = ()
    refused: str = ""


def can_read_codes() -> bool:
    """Whether this machine reads codes at all."""
    return find_spec(READER) is not None and find_spec("PIL") is not None


def codes_in(path: Path) -> Codes:
    """Read the codes in a picture, of any usual kind: QR, data matrix, and bars."""
    import zxingcpp
    from PIL import Image

    try:
        if path.stat().st_size > LARGEST_FILE:
            return Codes(refused=f"{path.name} is too large. Take the picture with the camera of this tablet.")
        with Image.open(path) as image:
            found = zxingcpp.read_barcodes(image.convert("L"))
    except (OSError, ValueError, Image.DecompressionBombError) as failure:
        return Codes(refused=f"The picture cannot be read: {in_words(failure)}. Take it again.")
    texts = tuple(dict.fromkeys(text for code in found if (text := _plain(code.text))))
    return Codes(texts) if texts else Codes(refused=_NONE)


def _plain(text: str) -> str:
    """The text of a code as it can be typed; "" where it is none that anybody would type."""
    text = " ".join(text.split())
    return text if len(text) <= LONGEST and text.isprintable() else ""
