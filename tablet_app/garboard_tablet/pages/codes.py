"""How a page reads a serial number off a picture: taken by the camera or picked, read in the background, then gone."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from garboard_tablet.models.camera_codes import SERIALS, Codes, can_read_codes, codes_in
from garboard_tablet.models.coming import coming_folder, drop_copy
from garboard_tablet.models.photos import next_picture
from garboard_tablet.system.files import Got
from garboard_tablet.ui.widgets import Press

if TYPE_CHECKING:
    from garboard_tablet.models.asks import Ask
    from garboard_tablet.ui.context import Context

log = logging.getLogger("garboard.tablet")


class ReadingCodes:
    """Reads codes for one page.

    came    : takes what was read
    changed : draws the page anew
    found   : what several codes of one picture say, until one is chosen
    said    : what came of the last picture
    """

    def __init__(
        self, context: Context, came: Callable[[Sequence[str]], object], changed: Callable[[], object]
    ) -> None:  # fmt: skip
        self._context, self._came, self._changed = context, came, changed
        self.found: tuple[str, ...] = ()
        self.said = ""

    def presses(self, ask: Ask) -> list[Press]:
        """The press that has a picture taken; none where nothing here reads one, or the value is no serial number."""
        files = self._context.files
        is_serial = ask.key.kind == "field" and ask.key.subject[-1] in SERIALS
        if not is_serial or not can_read_codes() or not (files.has_camera or files.has_picker):
            return []
        return [Press("Read its code", self._take, name="read code")]

    def forget(self) -> None:
        """None of them: the number is typed."""
        self.found = ()
        self._changed()

    def _take(self) -> None:
        files, tablet = self._context.files, self._context.tablet
        if files.has_camera:
            files.take_picture(next_picture(tablet), self._picture)
        else:
            files.pick(coming_folder(tablet), self._picture, pictures=True)

    def _picture(self, got: Got) -> None:
        if got.path is None:
            self._say(got.why or "No picture was taken. Nothing was changed.")
            return
        read, done = partial(codes_in, got.path), partial(self._read, got.path)
        self._context.background.run("reading a code", read, done, partial(self._failed, got.path))

    def _read(self, path: Path, codes: Codes) -> None:
        """What was read is used, and the picture goes: it was taken for its code alone."""
        drop_copy(self._context.tablet, path)
        if codes.refused:
            self._say(codes.refused)
        else:
            self.found, self.said = codes.texts if len(codes.texts) > 1 else (), ""
            self._came(codes.texts)

    def _failed(self, path: Path, failure: Exception) -> None:
        log.error("a code was not read", exc_info=failure)
        drop_copy(self._context.tablet, path)
        self._say("The picture could not be read. Type the number.")

    def _say(self, text: str) -> None:
        self.said = text
        self._changed()
