"""Where the person is and what they have typed: saved at every key, so that a dead battery loses nothing."""

from __future__ import annotations

import json
import logging
from collections.abc import Mapping
from pathlib import Path

import attrs

from garboard.disk import storage

log = logging.getLogger("garboard.tablet")

FORMAT = 1


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

    path: Path
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
        plain = {"format": FORMAT, "way": [attrs.asdict(route) for route in self.way], "typed": self.typed}
        storage.write_whole(self.path, [json.dumps(plain, ensure_ascii=False).encode()])


def resume(path: Path) -> Session:
    """The session as it was left. One that cannot be read begins anew: every confirmed value is in the hull files."""
    try:
        plain = json.loads(path.read_bytes())
        if plain["format"] != FORMAT:
            log.warning("the session is of another version of the program; it begins anew")
            return Session(path)
        way = [_route(route) for route in plain["way"]]
        typed = {str(key): str(text) for key, text in plain["typed"].items()}
    except FileNotFoundError:
        return Session(path)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        log.warning("the session cannot be read; it begins anew", exc_info=True)
        return Session(path)
    return Session(path, way or [HOME], typed)


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
