"""What the shop is called: said once, then kept beside the certificate its tablets know it by."""

from __future__ import annotations

from pathlib import Path

from garboard.disk.storage import make_folder_of, write_whole
from garboard.faults import Fault, InputError

FILE = "name.txt"
UNNAMED = "Shop"
LONGEST = 60


def kept_name(folder: Path) -> str:
    """What the shop was last called; "Shop" where nobody said."""
    try:
        return (folder / FILE).read_text("utf-8").strip() or UNNAMED
    except (OSError, UnicodeDecodeError):
        return UNNAMED


def keep_name(folder: Path, name: str) -> str:
    """Call the shop so from now on; nothing said changes nothing.

    returns : what it is called
    errors  : InputError when that is no name; storage.NotSaved
    """
    tidy = " ".join(name.split())
    if not tidy:
        return kept_name(folder)
    if len(tidy) > LONGEST or not tidy.isprintable():
        raise InputError(
            "shop", [Fault("name", f"at most {LONGEST} characters of plain text", f"{len(tidy)} characters")]
        )
    make_folder_of(folder / FILE)
    write_whole(folder / FILE, [tidy.encode()])
    return tidy
