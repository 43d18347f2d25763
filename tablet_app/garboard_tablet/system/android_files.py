"""Files on Android, through pyjnius. Imported on Android alone; it has not run on a device.

[1] Android's reference: Intent.ACTION_IMAGE_CAPTURE, FileProvider, ACTION_OPEN_DOCUMENT, ACTION_OPEN_DOCUMENT_TREE,
DocumentsContract, ContentResolver.openFileDescriptor, PackageManager.FEATURE_CAMERA_ANY. Constants are from memory.

The manifest must not ask for the permission CAMERA: an app that asks for it and was refused may not ask the camera's
own app for a picture either [1]. The camera writes through a FileProvider of the app; see AUTHORITY.
"""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from android import activity as results
from jnius import autoclass, cast

from garboard.faults import in_words
from garboard_tablet.language import phrase
from garboard_tablet.system.files import CANCELLED, Got, How, Place, Put, copy_in, digest_of

if TYPE_CHECKING:
    from garboard_tablet.models.background import Later

log = logging.getLogger("garboard.tablet")

AUTHORITY = "fileprovider"
"""The FileProvider's authority is the package's name, a point and this; its paths name the folder pictures go to."""
_OK = -1
_READ, _WRITE = 1, 2
_FEATURE_CAMERA = "android.hardware.camera.any"
_ZIP, _ANY, _PICTURE = "application/zip", "*/*", "image/*"
_CHUNK = 1 << 20
_NAMELESS = "file"
_NO_APP = "No app on this tablet answers. Copy the file into the app's folder, or install one."

Answer = Callable[[int, Any], object]


class AndroidFiles:
    """The camera's own app, and the system's picker.

    later : hands work to the drawing thread
    """

    def __init__(self, later: Later) -> None:
        self._later = later
        self._activity: Any = autoclass("org.kivy.android.PythonActivity").mActivity
        self._resolver: Any = self._activity.getContentResolver()
        self._asked: dict[int, Answer] = {}
        self._last = 700
        results.bind(on_activity_result=self._came)

    @property
    def has_camera(self) -> bool:
        return bool(self._activity.getPackageManager().hasSystemFeature(_FEATURE_CAMERA))

    @property
    def has_picker(self) -> bool:
        return True

    def take_picture(self, target: Path, done: Callable[[Got], object]) -> None:
        def answer(code: int, _intent: Any) -> None:
            done(taken(target, is_ok=code == _OK))

        try:
            intent = self._asking_for(target)
        except Exception as failure:  # a folder the app's own provider does not know
            log.exception("the camera cannot be asked")
            done(Got(how=How.FAILED, why=f"{in_words(failure)}."))
            return
        self._ask(intent, answer, lambda why: done(Got(how=How.FAILED, why=why)))

    def _asking_for(self, target: Path) -> Any:
        """What asks the camera's app for a picture there."""
        intent_class, media = autoclass("android.content.Intent"), autoclass("android.provider.MediaStore")
        provider = autoclass("androidx.core.content.FileProvider")
        authority = f"{self._activity.getPackageName()}.{AUTHORITY}"
        address = provider.getUriForFile(self._activity, authority, autoclass("java.io.File")(str(target)))
        intent = intent_class(media.ACTION_IMAGE_CAPTURE)
        intent.putExtra(media.EXTRA_OUTPUT, cast("android.os.Parcelable", address))
        intent.addFlags(_READ | _WRITE)
        return intent

    def pick(
        self, folder: Path, done: Callable[[Got], object], *, pictures: bool = False, is_backup: bool = False
    ) -> None:
        intent_class = autoclass("android.content.Intent")
        intent = intent_class(intent_class.ACTION_OPEN_DOCUMENT)
        intent.addCategory(intent_class.CATEGORY_OPENABLE)
        intent.setType(_PICTURE if pictures else _ANY)

        def answer(code: int, chosen: Any) -> None:
            address = chosen.getData() if code == _OK and chosen is not None else None
            if address is None:
                done(CANCELLED)
            else:
                self._beside(lambda: self._copied(address, folder, is_backup), done)

        self._ask(intent, answer, lambda why: done(Got(how=How.FAILED, why=why)))

    def choose_folder(self, done: Callable[[Place | None], object]) -> None:
        intent_class = autoclass("android.content.Intent")
        intent = intent_class(intent_class.ACTION_OPEN_DOCUMENT_TREE)

        def answer(code: int, chosen: Any) -> None:
            address = chosen.getData() if code == _OK and chosen is not None else None
            if address is not None:
                self._keep_leave(address)
            done(None if address is None else Place(key=address.toString(), title=_folder_title(address)))

        self._ask(intent, answer, lambda _why: done(None))

    def _keep_leave(self, address: Any) -> None:
        """Ask to write there after a restart too. The folders of some apps give leave for once only."""
        try:
            self._resolver.takePersistableUriPermission(address, _READ | _WRITE)
        except Exception:
            log.exception("leave to write in a folder was given for once")

    def put(self, file: Path, name: str, place: Place, done: Callable[[Put], object]) -> None:
        self._beside(lambda: self._put(file, name, place), done)

    def _ask(self, intent: Any, answer: Answer, failed: Callable[[str], object]) -> None:
        self._last += 1
        number = self._last
        self._asked[number] = answer
        try:
            self._activity.startActivityForResult(intent, number)
        except Exception:  # Java's exceptions are of no kind known on a desk
            log.exception("no app answers")
            del self._asked[number]
            failed(_NO_APP)

    def _came(self, number: int, code: int, intent: Any) -> None:
        """Called on the system's own thread."""
        answer = self._asked.pop(number, None)
        if answer is not None:
            self._later(lambda: answer(code, intent))

    def _beside(self, work: Callable[[], object], done: Callable[..., object]) -> None:
        def run() -> None:
            result = work()
            self._later(lambda: done(result))

        threading.Thread(target=run, daemon=True).start()

    def _copied(self, address: Any, folder: Path, is_backup: bool) -> Got:
        name = _NAMELESS
        try:
            name = self._name_of(address)
            with os.fdopen(self._descriptor(address, "r"), "rb") as source:
                return copy_in(source, folder, name, is_backup=is_backup)
        except Exception as failure:
            return Got(
                how=How.FAILED,
                name=name,
                why=phrase("{name} could not be read: {reason}.", name=name, reason=in_words(failure)),
            )

    def _descriptor(self, address: Any, mode: str) -> int:
        """A descriptor of our own: it is read and written without Java."""
        return int(self._resolver.openFileDescriptor(address, mode).detachFd())

    def _name_of(self, address: Any) -> str:
        found = self._resolver.query(address, ["_display_name"], None, None, None)
        try:
            return str(found.getString(0)) if found is not None and found.moveToFirst() else _NAMELESS
        finally:
            if found is not None:
                found.close()

    def _put(self, file: Path, name: str, place: Place) -> Put:
        """A new document each time: what was written before stays as it is. One that does not read back is removed."""
        contract, uri = autoclass("android.provider.DocumentsContract"), autoclass("android.net.Uri")
        made: Any = None
        try:
            tree = uri.parse(place.key)
            parent = contract.buildDocumentUriUsingTree(tree, contract.getTreeDocumentId(tree))
            made = contract.createDocument(self._resolver, parent, _ZIP, name)
            self._write(made, file)
            with os.fdopen(self._descriptor(made, "r"), "rb") as copied, file.open("rb") as source:
                if digest_of(copied) == digest_of(source):
                    return Put(how=How.DONE, where=f"{place.title}/{self._called(made, name)}")
            why = "It does not read back as it was written: look at the disk or card."
        except Exception as failure:
            log.exception("a file could not be put out")
            why = phrase("{reason}. Choose the folder again.", reason=in_words(failure))
        if made is not None:
            self._remove(contract, made)
        return Put(how=How.FAILED, where=place.title, why=why)

    def _called(self, address: Any, otherwise: str) -> str:
        """The name a document got: the system gives another where the wanted one is taken."""
        try:
            found = self._name_of(address)
        except Exception:
            log.exception("a document does not say its name")
            return otherwise
        return otherwise if found == _NAMELESS else found

    def _write(self, address: Any, file: Path) -> None:
        with os.fdopen(self._descriptor(address, "w"), "wb") as target, file.open("rb") as source:
            while piece := source.read(_CHUNK):
                target.write(piece)
            target.flush()
            os.fsync(target.fileno())

    def _remove(self, contract: Any, address: Any) -> None:
        try:
            contract.deleteDocument(self._resolver, address)
        except Exception:
            log.exception("an unfinished file stays in the folder")


def taken(target: Path, *, is_ok: bool) -> Got:
    """What the camera did. A picture that it wrote although it says it was cancelled stays, and is offered.

    Where it says it took one and nothing is there, it may be writing yet: an empty file stays too, and is not offered.
    """
    size = target.stat().st_size if target.exists() else 0
    if not size:
        if not is_ok:
            target.unlink(missing_ok=True)
        return Got(how=How.NOTHING) if is_ok else CANCELLED
    return Got(how=How.DONE, path=target, name=target.name) if is_ok else CANCELLED


def _folder_title(address: Any) -> str:
    """The last words of a folder's address: "Backups" of "primary:Shop/Backups"."""
    segment = str(address.getLastPathSegment() or "")
    return segment.replace(":", "/").rstrip("/").rpartition("/")[2] or "the folder chosen"
