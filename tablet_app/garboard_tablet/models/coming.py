"""The folder of the app that files come in by: they lie there until they are kept where they belong."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from garboard_tablet.models.tablet import Tablet

COMING = "coming"
"""The folder that the camera writes to and the picker copies to. What lies there is not attached yet; it is offered."""

RECORDER = "recording "
"""How the names of recorded runs begin that nobody has decided on; they lie in the tablet's own folder."""


def coming_folder(tablet: Tablet) -> Path:
    """Where files come in."""
    return tablet.folder / COMING


def drop_copy(tablet: Tablet, path: Path) -> None:
    """Remove the app's own copy of what is kept now. A file of the inbox is nobody's to delete."""
    if path.parent == coming_folder(tablet):
        path.unlink(missing_ok=True)
