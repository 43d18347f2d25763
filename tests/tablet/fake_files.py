"""A camera, a picker and folders outside the app, in the test's hand."""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import attrs
from PIL import Image, ImageDraw

from garboard_tablet.system.desk_files import copy_of, put_into
from garboard_tablet.system.files import CANCELLED, Got, How, Place, Put


def picture(width: int = 800, height: int = 600, colour: str = "#5B6B78", form: str = "JPEG") -> bytes:
    """A picture with something to point at."""
    image = Image.new("RGB", (width, height), colour)
    pen = ImageDraw.Draw(image)
    pen.rectangle((width * 0.3, height * 0.3, width * 0.5, height * 0.6), fill="#C98A3B")
    pen.line((0, height * 0.8, width, height * 0.5), fill="#1B1B1B", width=max(2, width // 60))
    out = BytesIO()
    image.save(out, form)
    return out.getvalue()


@attrs.define
class FakeFiles:
    """Answers at once with what the test laid ready; what was asked for is kept.

    camera  : what the camera writes next; None where the person cancels, empty where nothing comes
    chosen  : the file the person picks next; None where nobody picks
    place   : the folder the person chooses next; None where nobody chooses
    ends    : whether the system ends the app while the camera is in front: nobody is told
    """

    has_camera: bool = True
    has_picker: bool = True
    camera: bytes | None = None
    chosen: Path | None = None
    place: Path | None = None
    ends: bool = False
    asked: list[str] = attrs.field(factory=list)

    def take_picture(self, target: Path, done: Callable[[Got], object]) -> None:
        self.asked.append(f"camera {target.name}")
        if self.camera:
            target.write_bytes(self.camera)
        if self.ends:
            return
        if self.camera is None:
            done(CANCELLED)
        else:
            done(Got(how=How.DONE, path=target, name=target.name) if self.camera else Got(how=How.NOTHING))

    def pick(
        self, folder: Path, done: Callable[[Got], object], *, pictures: bool = False, is_backup: bool = False
    ) -> None:
        self.asked.append("pictures" if pictures else "files")
        done(copy_of(self.chosen, folder, is_backup=is_backup) if self.chosen is not None else CANCELLED)

    def choose_folder(self, done: Callable[[Place | None], object]) -> None:
        self.asked.append("folder")
        done(Place(key=str(self.place), title=self.place.name) if self.place is not None else None)

    def put(self, file: Path, name: str, place: Place, done: Callable[[Put], object]) -> None:
        self.asked.append(f"put {name}")
        if not Path(place.key).is_dir():
            done(Put(how=How.FAILED, where=place.title, why="The folder is not there. Choose it again."))
            return
        done(put_into(Path(place.key), file, name))


def without_any() -> FakeFiles:
    """A desk without a camera and without a dialog."""
    return FakeFiles(has_camera=False, has_picker=False)
