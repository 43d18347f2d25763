"""Attachments in PostgreSQL, in the pieces they came in."""

from __future__ import annotations

import hashlib
import re

from garboard.disk.attachments import AttachmentDamaged
from garboard.disk.partial_upload import MOST_UNFINISHED, OutOfPlace, to_drop
from garboard_shop.postgres.database import Database, place_of

_NAME = re.compile(r"[0-9a-f]{64}")
_AT_ONCE = 1 << 20
"""Read to prove an attachment [bytes]."""


class PostgresAttachments:
    """Attachments in pieces. One whose last piece has come counts as finished once it was read back and proved; cut
    before that, the next who brings it brings nothing more and has it proved.

    most : how much the unfinished ones may take together [bytes]; how much is free there, a database does not tell
    """

    def __init__(self, database: Database, most: int = MOST_UNFINISHED) -> None:
        self._database = database
        self._most = most

    def sizes(self) -> dict[str, int]:
        return {
            name: size
            for name, size in self._database.ask("attachments", self._database.yard)
            if _NAME.fullmatch(name)  # not one set aside
        }

    def held(self, name: str) -> int:
        found = self._database.ask("attachment", _place(name), self._database.yard, name)
        return found[0][1] if found else 0

    def read(self, name: str, start: int, most: int) -> bytes:
        place = _place(name)
        found = self._database.ask("attachment", place, self._database.yard, name)
        if not found or not found[0][2]:
            raise KeyError(f"attachment {name} is not on this machine")
        number = found[0][0]
        if start == 0 and not self._is_what_its_name_says(name, number):
            self._database.save("attachment_judge", place, number, False)
            raise AttachmentDamaged(f"attachment {name} was damaged in the database; merge to fetch it again")
        return self._content(place, number, start, most)

    def add(self, name: str, start: int, piece: bytes, total: int) -> int:
        place = _place(name)
        self._make_room(name, len(piece))
        ((number, held, is_finished, is_taken),) = self._database.save(
            "attachment_add", place, self._database.yard, name, start, piece, total
        )
        if not is_taken and not is_finished:
            raise OutOfPlace(held)
        if held == total and not is_finished:
            is_sound = self._is_what_its_name_says(name, number)
            self._database.save("attachment_judge", place, number, is_sound)
            if not is_sound:
                raise AttachmentDamaged(f"attachment {name}: what came is not what its name says; send it again")
        return int(held)

    def _make_room(self, name: str, needed: int) -> None:
        """Drop unfinished ones until a piece has room; NotSaved when the attachment alone is too large."""
        begun = self._database.ask("attachments_arriving", self._database.yard)
        arriving = {other: (held, touched) for other, held, touched in begun}
        for other in to_drop(arriving, name, needed, self._most):
            self._database.save("attachment_drop", place_of(other), self._database.yard, other)

    def _content(self, place: int, number: int, start: int, most: int) -> bytes:
        ((content,),) = self._database.ask("attachment_read", place, number, start, most)
        return content or b""

    def _is_what_its_name_says(self, name: str, number: int) -> bool:
        digest, size = hashlib.sha256(), 0
        while piece := self._content(place_of(name), number, size, _AT_ONCE):
            digest.update(piece)
            size += len(piece)
        return digest.hexdigest() == name


def _place(name: str) -> int:
    if not _NAME.fullmatch(name):
        raise KeyError(f"{name!r} names no attachment: expected 64 hexadecimal characters")
    return place_of(name)
