"""How a page brings a picture in: from the camera, by the system's picker, or one that came before and waits.

Whatever happens is said on the page, and nothing is lost: what came in lies in a folder of the app until it is kept.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from garboard.disk.storage import not_saved
from garboard.findings import Verdict
from garboard.report.photo_files import LARGEST_FILE
from garboard_tablet.language import phrase
from garboard_tablet.models.coming import coming_folder, drop_copy
from garboard_tablet.models.photos import Prepared, next_picture, prepare, waiting_pictures
from garboard_tablet.system.files import Got, How
from garboard_tablet.ui.picture import THUMB_SIDE, PhotoGrid, PhotoPress, texture_of
from garboard_tablet.ui.shell import Maker
from garboard_tablet.ui.theme import SMALL, dp
from garboard_tablet.ui.widgets import Card, Press, Txt, act, verdict_marks, words

if TYPE_CHECKING:
    from garboard_tablet.ui.context import Context

log = logging.getLogger("garboard.tablet")

MOST_OFFERED = 12
"""So many pictures that wait are offered, the newest first."""
TAKE, CHOOSE = "Take picture", "Choose picture"
_BUSY = "Keeping the picture"
_CANCELLED = "No picture was taken or chosen. Nothing was changed."
_NOTHING = "Nothing came from the camera. Take the picture again."
_INBOX = (
    "Take the photo with the tablet's camera. Then copy it into the folder {}, by cable or with the tablet's file "
    "manager, and press Look again."
)


class Bringing:
    """Brings pictures in for one page.

    keep    : what becomes of a picture, on the drawing thread
    changed : draws the page anew
    """

    def __init__(self, context: Context, keep: Callable[[Prepared], object], changed: Callable[[], object]) -> None:
        self._context, self._keep, self._changed = context, keep, changed
        self._tablet, self._files = context.tablet, context.files
        self.said, self.is_busy = "", False

    # What stands on the page

    @property
    def has_way_in(self) -> bool:
        """Whether a picture can be brought in with one press."""
        return self._files.has_camera or self._files.has_picker

    def presses(self) -> list[Press]:
        """The ways there are, what is done most last and large."""
        found = [Press(CHOOSE, self.choose, name="choose picture")] if self._files.has_picker else []
        if self._files.has_camera:
            found.append(Press(TAKE, self.take, "main", name="take picture"))
        return found

    def main(self) -> Press:
        """The next thing to do."""
        if self._files.has_camera:
            return Press(TAKE, self.take, "main", name="take picture")
        if self._files.has_picker:
            return Press(CHOOSE, self.choose, "main", name="choose picture")
        return Press("Look again", self._changed, "main", name="look again")

    def message(self) -> list[Maker]:
        """What is under way, or went otherwise than hoped."""
        if self.is_busy:
            return [words(_BUSY, "quiet")]
        if self.said:
            return [lambda: Card(Txt(self.said), mark=verdict_marks[Verdict.ADVISE], word="not kept")]
        return []

    def waiting(self) -> list[Maker]:
        """Pictures that came in and are attached to nothing, to press; else how one comes in."""
        found = waiting_pictures(self._tablet, self._context.files_come_from)[:MOST_OFFERED]
        textures = [(path, self._texture(path)) for path in found]
        offered = [partial(self._offered, path, texture) for path, texture in textures if texture is not None]
        makers: list[Maker] = []
        if offered:
            makers = [words("Not attached yet. Press one to keep it here.", "quiet"), lambda: PhotoGrid(offered)]
        elif not self.has_way_in:
            inbox = self._context.files_come_from
            makers = [words(_INBOX.format(f"{inbox.parent.name}/{inbox.name}"))]
        unread = [path.name for path, texture in textures if texture is None]
        if unread:
            makers.append(
                words(
                    phrase("Cannot be read: {unread}. Take or copy it again.", unread=", ".join(unread)), "quiet", SMALL
                )
            )
        return makers

    @staticmethod
    def _texture(path: Path) -> Any:
        """A picture that waits, small. The camera may still be writing it: it is known by its size as well."""
        try:
            stamp = path.stat()
        except OSError:
            return None
        if stamp.st_size > LARGEST_FILE:
            return None
        return texture_of(f"{path}:{stamp.st_mtime_ns}:{stamp.st_size}", path.read_bytes, dp(THUMB_SIDE))

    def _offered(self, path: Path, texture: Any) -> PhotoPress:
        return PhotoPress(texture, (), path.name, partial(self.use, path), name=path.name)

    # What is done

    def take(self) -> None:
        """Have the camera take a picture."""
        try:
            target = next_picture(self._tablet)
        except OSError as failure:
            raise not_saved(coming_folder(self._tablet), failure) from failure
        self._files.take_picture(target, self.came)

    def choose(self) -> None:
        """Have the person choose one."""
        self._files.pick(coming_folder(self._tablet), partial(self.came, is_copy=True), pictures=True)

    def came(self, got: Got, *, is_copy: bool = False) -> None:
        """Keep what came in, or say why nothing did.

        is_copy : whether the person has it elsewhere; of what the camera took there is nothing else
        """
        if got.path is not None:
            self.use(got.path, is_copy=is_copy)
        else:
            self._say({How.CANCELLED: _CANCELLED, How.NOTHING: _NOTHING}.get(got.how, got.why))

    def use(self, path: Path, *, is_copy: bool = False) -> None:
        """Keep a picture that came in. A copy of what cannot be kept goes again: nobody could remove it."""
        if self.is_busy:
            return
        self.said, self.is_busy = "", True
        self._changed()
        self._context.background.run(
            "keeping a picture", partial(prepare, path), partial(self._prepared, path, is_copy), self._failed
        )

    def _prepared(self, path: Path, is_copy: bool, picture: Prepared) -> None:
        self.is_busy = False
        if picture.refused:
            if is_copy:
                drop_copy(self._tablet, path)
            is_own = path.parent == coming_folder(self._tablet)  # its name tells the person nothing
            self._say(picture.refused if is_own else f"{path.name}: {picture.refused}")
        else:
            act(partial(self._kept, path, picture))

    def _kept(self, path: Path, picture: Prepared) -> None:
        self._keep(picture)
        drop_copy(self._tablet, path)  # not before: the disk may refuse it

    def _failed(self, failure: Exception) -> None:
        log.error("a picture was not kept", exc_info=failure)
        self.is_busy = False
        self._say("The picture could not be kept. It is still among those not attached.")

    def _say(self, text: str) -> None:
        self.said = text
        self._changed()
