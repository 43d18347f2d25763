"""Where the person is and what they have typed: saved at every key, so that a dead battery loses nothing."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import attrs

from garboard.disk.documents import FOLDER, Document, DocumentDamaged, Kind
from garboard.disk.formats import Format

FILE = f"{FOLDER}/session.json"
TABLE = "session"
_FORMER = "session.json"


def _as_row(plain: dict[str, Any]) -> dict[str, Any]:
    former = plain[_FORMER]
    return {TABLE: {"1": {"way": former["way"], "typed": former["typed"]}}}


SESSION = Kind(
    Format("garboard session", (_as_row,)),
    cure="Go to the boat again, and type again what was not yet saved.",
    former=(_FORMER,),
)


@attrs.frozen(kw_only=True)
class Route:
    """One page of the app, and what it is about.

    page    : name of the page
    hull    : key of the hull
    job     : id of the job
    step    : key of the step
    subject : further words the page needs, such as the register of the value being entered
    """

    page: str
    hull: str = ""
    job: str = ""
    step: str = ""
    subject: tuple[str, ...] = ()

    def to(self, page: str, *subject: str, **changes: str) -> Route:
        """Another page about the same hull, job and step, unless changed."""
        return attrs.evolve(self, page=page, subject=subject, **changes)


HOME = Route(page="vessels")


@attrs.define
class Session:
    """The way to the page shown, from the first page on, and everything typed and not yet confirmed.

    Each change is on the disk when the method returns.
    """

    document: Document
    way: list[Route] = attrs.field(factory=lambda: [HOME])
    typed: dict[str, str] = attrs.field(factory=dict)

    @property
    def here(self) -> Route:
        return self.way[-1]

    def go(self, route: Route) -> None:
        """To another page; back leads here again."""
        self.way.append(route)
        self.save()

    def instead(self, route: Route) -> None:
        """To another page in the place of this one; back leads to where it led before."""
        self.way[-1] = route
        self.save()

    def back(self) -> None:
        """One page back. What was typed stays."""
        if len(self.way) > 1:
            self.way.pop()
            self.save()

    def back_to(self, page: str) -> None:
        """Back to the nearest page of that name on the way."""
        while len(self.way) > 1 and self.here.page != page:
            self.way.pop()
        self.save()

    def type(self, key: str, text: str) -> None:
        """Keep what stands in an input."""
        if self.typed.get(key) != text:
            self.typed[key] = text
            self.save()

    def forget(self, key: str) -> None:
        """Drop what was typed, once it is confirmed. Saved with the next change of page."""
        self.typed.pop(key, None)

    def save(self) -> None:
        self.document.put_row(TABLE, {"way": [attrs.asdict(route) for route in self.way], "typed": self.typed})


def resume(folder: Path, damaged: list[DocumentDamaged]) -> Session:
    """The session as it was left in a tablet's folder. A damaged one begins anew: what was saved is in the hull files.

    errors : NewerFormat
    """
    document = Document(folder / FILE, SESSION)

    def read() -> Session:
        row = document.row(TABLE) or {"way": [], "typed": {}}
        typed = {str(key): str(text) for key, text in row["typed"].items()}
        return Session(document, [_route(route) for route in row["way"]] or [HOME], typed)

    return document.read_or_begin_anew(read, damaged)


def _route(plain: Mapping[str, object]) -> Route:
    words = plain["subject"]
    subject = tuple(str(word) for word in words) if isinstance(words, list) else ()
    return Route(
        page=str(plain["page"]),
        hull=str(plain["hull"]),
        job=str(plain["job"]),
        step=str(plain["step"]),
        subject=subject,
    )
