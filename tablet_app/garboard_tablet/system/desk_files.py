"""Files on an ordinary computer: the system's own dialog where there is one. There is no camera; the inbox stays."""

from __future__ import annotations

import importlib.util
import logging
import os
import shutil
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from garboard.disk.storage import NotSaved
from garboard.faults import GarboardError, in_words, refuse_endless
from garboard_tablet.language import phrase
from garboard_tablet.system.files import CANCELLED, Got, How, Place, Put, copy_in, copy_out, free_name

if TYPE_CHECKING:
    from garboard_tablet.models.background import Later

log = logging.getLogger("garboard.tablet")

_TK = """
import sys, tkinter
from tkinter import filedialog
root = tkinter.Tk()
root.withdraw()
ask = filedialog.askdirectory if sys.argv[1] == "folder" else filedialog.askopenfilename
kinds = [("Pictures", "*.jpg *.jpeg *.png *.webp"), ("All files", "*")]
print(ask(**({"filetypes": kinds} if sys.argv[1] == "pictures" else {})) or "")
"""
"""Runs in a process of its own: two windows of two toolkits in one process do not go together on every system."""

_WORDS: Mapping[str, Sequence[str]] = {
    "zenity": ("zenity", "--file-selection"),
    "kdialog": ("kdialog",),
}


def dialog(what: str) -> list[str] | None:
    """The command that shows the system's dialog and prints what was chosen; None where there is none.

    what : "file", "pictures" or "folder"
    """
    if sys.platform.startswith("linux") and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        return None
    if shutil.which("zenity"):
        return [*_WORDS["zenity"], *(["--directory"] if what == "folder" else [])]
    if shutil.which("kdialog"):
        return [*_WORDS["kdialog"], "--getexistingdirectory" if what == "folder" else "--getopenfilename"]
    if importlib.util.find_spec("_tkinter") is not None:
        return [sys.executable, "-c", _TK, what]
    return None


class DeskFiles:
    """The dialogs of a desk.

    later : hands work to the drawing thread
    """

    has_camera = False

    def __init__(self, later: Later) -> None:
        self._later = later

    @cached_property
    def has_picker(self) -> bool:
        """Asked at every page; which dialogs there are does not change."""
        return dialog("file") is not None

    def take_picture(self, target: Path, done: Callable[[Got], object]) -> None:
        done(Got(how=How.FAILED, why="This computer has no camera for the app. Choose a picture."))

    def pick(
        self, folder: Path, done: Callable[[Got], object], *, pictures: bool = False, is_backup: bool = False
    ) -> None:
        what = "pictures" if pictures else "file"
        self._ask(
            what,
            lambda chosen: copy_of(Path(chosen), folder, is_backup=is_backup) if chosen else CANCELLED,
            done,
            lambda why: Got(how=How.FAILED, why=why),
        )

    def choose_folder(self, done: Callable[[Place | None], object]) -> None:
        self._ask("folder", lambda chosen: Place(key=chosen, title=chosen) if chosen else None, done, lambda _why: None)

    def put(self, file: Path, name: str, place: Place, done: Callable[[Put], object]) -> None:
        self._beside(
            lambda: put_into(Path(place.key), file, name),
            done,
            lambda why: Put(how=How.FAILED, where=place.title, why=why),
        )

    def _ask(
        self,
        what: str,
        made: Callable[[str], object],
        done: Callable[..., object],
        failed: Callable[[str], object],
    ) -> None:
        command = dialog(what)
        self._beside(lambda: made(_chosen(command) if command else ""), done, failed)

    def _beside(self, work: Callable[[], object], done: Callable[..., object], failed: Callable[[str], object]) -> None:
        """A dialog stays open as long as the person likes: it gets a thread of its own.

        failed : what is told instead of a result, given why; whoever waits is told in any case
        """

        def run() -> None:
            try:
                result = work()
            except Exception as failure:  # a stick that fails, a folder that is closed to us, a name in no alphabet
                log.exception("files could not be brought in or out")
                result = failed(f"{in_words(failure)}.")
            self._later(lambda: done(result))

        threading.Thread(target=run, daemon=True).start()


def _chosen(command: Sequence[str]) -> str:
    """What the person chose; "" where nobody chose, or the dialog could not be shown."""
    import subprocess  # here: the app's first frame waits for it otherwise

    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    except OSError as failure:
        log.warning("the system's dialog cannot be shown: %s", failure)
        return ""
    except UnicodeDecodeError:
        raise GarboardError("Its name holds signs of no alphabet. Give it another name, then choose it again") from None
    return done.stdout.strip("\n") if done.returncode == 0 else ""


def copy_of(path: Path, folder: Path, *, is_backup: bool = False) -> Got:
    """The app's own copy of a file."""
    try:
        refuse_endless(path, "a file")
        with path.open("rb") as source:
            return copy_in(source, folder, path.name, is_backup=is_backup)
    except Exception as failure:  # a stick was taken out, a pipe was chosen: nothing came, and it is said why
        return Got(
            how=How.FAILED,
            name=path.name,
            why=phrase("{name} could not be read: {reason}.", name=path.name, reason=in_words(failure)),
        )


def put_into(folder: Path, file: Path, name: str) -> Put:
    """Copy a file into a folder, and read it back."""
    target = free_name(folder, name)
    try:
        copy_out(file, target)
    except (NotSaved, OSError) as failure:  # a stick was taken out
        return Put(how=How.FAILED, where=str(folder), why=in_words(failure))
    return Put(how=How.DONE, where=str(target))
