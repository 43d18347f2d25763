"""Everything the pages work with: the store, the plugins, who is signed in, and what is kept ready."""

from __future__ import annotations

import logging
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self

import attrs
from anyio import CapacityLimiter
from jinja2 import DictLoader, Environment, StrictUndefined, Undefined
from markupsafe import Markup, escape

from garboard import hull_number
from garboard.disk.attachments import AttachmentDamaged
from garboard.disk.clock import wall_milliseconds
from garboard.disk.entries import Entry
from garboard.disk.hullfile import CheckedEntries
from garboard.disk.photo_words import BEGINNING
from garboard.faults import GarboardError, InputError, in_number, in_words
from garboard.findings import Verdict, in_full, rounded, with_minus
from garboard.history.authority import AT_THE_DESK
from garboard.history.handed_in import handed_in, put_away
from garboard.history.past import reason_in
from garboard.hosting.host import PluginHost
from garboard.hosting.titles import place_in_words
from garboard.report.outline import MOST_NAMED, references
from garboard.report.palette import STEP_MARKS, VERDICT_MARKS
from garboard.report.photo_files import to_draw
from garboard.report.photos import Photo, PhotoContent, arrows_in_words, photo_in_words, shown_in_words
from garboard.report.settings_used import memory_in_words, setting_in_words, settings_in_words
from garboard.report.unit_signs import with_signs
from garboard.report.visible import visible
from garboard.shop_link.pairing import PairingCode
from garboard_shop.naming import UNNAMED, kept_name
from garboard_shop.pages import drawing, wording
from garboard_shop.pages.consequences import Consequences
from garboard_shop.pages.index import Index
from garboard_shop.pages.insights import Insights
from garboard_shop.pages.people import Attempts, Sessions
from garboard_shop.pages.plugins import content_of, opened, restart_due, without_file
from garboard_shop.pages.remembering import Remembering, judging
from garboard_shop.pages.summaries import Summaries, file_of, history_name, is_held
from garboard_shop.pages.taking_away import TablesMaker
from garboard_shop.program_files import ProgramFiles
from garboard_shop.store import Store

FOLDER = Path(__file__).parent
MOST_PHOTOS = 6
"""Of a job on the day sheet; the boat's page has them all."""
log = logging.getLogger("garboard.shop")

PAGES_AT_ONCE = 16
"""Of the 40 threads that answer: the others are for signing in and for tablets that come ashore."""


@attrs.define(eq=False)
class ShopDesk:
    """The pages of one shop server.

    store     : where everything is kept
    host      : the plugins that assess
    folder    : where the shop's name is kept; None for a shop without one
    pair      : opens a pairing code for a role, asked for by someone; None where the server's address is not known
    drop      : folder of this machine in which plugins wait for approval; None for no such folder
    now       : the shop's wall time [ms since 1970-01-01 UTC]
    program   : the program's own files, to tell when a restart is due; None where nobody looks
    """

    store: Store
    host: PluginHost
    folder: Path | None = None
    pair: Callable[[str, str], PairingCode] | None = None
    drop: Path | None = None
    now: Callable[[], int] = wall_milliseconds
    program: ProgramFiles | None = None
    summaries: Summaries = attrs.field(init=False)
    consequences: Consequences = attrs.field(init=False)
    index: Index = attrs.field(init=False)
    remembering: Remembering = attrs.field(init=False)
    insights: Insights = attrs.field(init=False)
    tables: TablesMaker = attrs.field(init=False)
    drawn: drawing.Drawn = attrs.field(init=False, factory=drawing.Drawn)
    books: drawing.Drawn = attrs.field(init=False, factory=lambda: drawing.Drawn(most=8))
    photos: drawing.Drawn = attrs.field(init=False, factory=lambda: drawing.Drawn(most=64))
    sessions: Sessions = attrs.field(init=False, factory=Sessions)
    attempts: Attempts = attrs.field(init=False)
    templates: Environment = attrs.field(init=False)
    _page_threads: CapacityLimiter | None = attrs.field(init=False, default=None)

    def __attrs_post_init__(self) -> None:
        self.attempts = Attempts(self.store.register)
        self.summaries = Summaries(self.store, self.host)
        self.consequences = Consequences(self.store, self.host)
        self.index = Index(self.store, self.summaries.of, self.now)
        judged_by = judging(self.host, self.store)
        self.remembering = Remembering(
            self.store, self.summaries.of, judged_by, self.now, lambda: self.index, self.take_handed_in
        )
        self.insights = Insights(self.host, self.now)
        self.tables = TablesMaker(self.store, self.host)
        self.templates = _templates(self)

    def page_threads(self) -> CapacityLimiter:
        """How many pages are made at once. Made when a server runs: it belongs to its event loop."""
        if self._page_threads is None:
            self._page_threads = CapacityLimiter(PAGES_AT_ONCE)
        return self._page_threads

    def load_photo(self, photo: Photo) -> PhotoContent:
        """The file of a photo; nothing where it is not here whole, and no more than the beginning of what is none.

        errors : PictureRefused where it is too large for one
        """
        held, name = self.store.attachments, photo.file
        try:
            beginning = held.read(name, 0, BEGINNING)
        except (KeyError, AttachmentDamaged):
            return b""
        size = held.sizes().get(name, 0)
        return to_draw(
            size, beginning, lambda: content_of(self.store, name), lambda: opened(self.store, name, size) or b""
        )

    def take_handed_in(self) -> None:
        """Keep what commands handed in, because this server has the folder open. What cannot be taken is put away; what
        cannot be kept, on a full disk or in a newer version's file, waits and holds up nothing else."""
        for path, found in handed_in(self.folder.parent) if self.folder is not None else ():
            try:
                self._take(path, found)
            except (GarboardError, OSError) as failure:
                log.warning("what a command handed in waits on: %s", in_words(failure))

    def _take(self, path: Path, found: Entry | InputError) -> None:
        if isinstance(found, InputError):
            log.warning("what a command handed in is not taken: %s", in_words(found))
            put_away(path)
            return
        offered = {found.hull_key: CheckedEntries([(found.id, found.raw)])}
        if self.store.put_if_absent(offered, AT_THE_DESK, self.now(), 0).refused:
            put_away(path)
        else:
            path.unlink()

    def shop_name(self) -> str:
        """What the shop is called now."""
        return kept_name(self.folder) if self.folder else UNNAMED

    def __enter__(self) -> Self:
        """Begin to read all hulls for the search, beside the server's work."""
        self.index.start()
        self.remembering.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.index.stop()
        self.remembering.stop()
        self.tables.stop()


def shown_as_marks(value: object) -> object:
    """What a template puts on a page: nothing in it hides or turns the writing around, and units stand as people write
    them. Markup is the program's own."""
    if type(value) is str:  # markup is a class of its own; most of what a page shows is plain text
        return _as_people_write(visible(value))
    if isinstance(value, Undefined) or hasattr(value, "__html__"):
        return value
    return _as_people_write(visible(str(value)))


def _as_people_write(text: str) -> str:
    """Units and a real minus, but in an address."""
    return text if text.startswith("/") else with_signs(with_minus(text))


def ended(text: str) -> str:
    """What somebody wrote, as the end of a sentence.

    >>> ended("R. Vane"), ended("Aino T."), ended("sure?")
    ('R. Vane.', 'Aino T.', 'sure?')
    """
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _letter_by_letter(text: str) -> Markup:
    """Code and files as they are written; what hides in them is shown."""
    return Markup(escape(visible(text)))


def _exactly(text: str) -> Markup:
    """A text as it is, escaped: for what a form sends back."""
    return Markup(escape(text))


def _written() -> dict[str, str]:
    """Every template as it is when the server begins: one of another version fits no code of this one."""
    return {path.name: path.read_text(encoding="utf-8") for path in (FOLDER / "templates").glob("*.html")}


def _templates(desk: ShopDesk) -> Environment:
    """Templates that escape everything a person typed, show what steers as a mark, and fail on an unknown name."""
    found = Environment(
        loader=DictLoader(_written()),
        autoescape=True,
        finalize=shown_as_marks,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.filters["exactly"] = _exactly
    found.filters["memory_in_words"] = memory_in_words
    found.filters["letter_by_letter"] = _letter_by_letter
    found.filters["ended"] = ended
    for function in (
        wording.value_in_words,
        wording.day_in_words,
        wording.written_at,
        wording.shop_time,
        wording.hour_of,
        wording.clock_in_words,
        in_number,
        in_full,
        rounded,
        wording.number_differences,
        hull_number.printed,
        drawing.mark_svg,
        drawing.figure_name,
        drawing.figure_in_words,
        drawing.photo_name,
        arrows_in_words,
        references,
        file_of,
        history_name,
        reason_in,
        setting_in_words,
        settings_in_words,
    ):
        found.globals[function.__name__] = function
    found.globals["place"] = lambda place, seen=None: place_in_words(place, desk.host, seen)
    found.globals["MOST_PHOTOS"] = MOST_PHOTOS
    found.globals["MOST_NAMED"] = MOST_NAMED
    found.globals["photo_in_words"] = lambda photo, seen: photo_in_words(photo, desk.host, seen)
    found.globals["shown_in_words"] = lambda photo, seen: shown_in_words(photo, desk.host, seen)
    found.globals["is_held"] = lambda name: is_held(desk.store.attachments, name)
    found.globals["VERDICTS"] = {verdict.name.lower(): mark for verdict, mark in VERDICT_MARKS.items()}
    found.globals["VERDICT"] = Verdict
    found.globals["STEPS"] = STEP_MARKS
    found.globals["STATES"] = drawing.STATE_MARKS
    found.globals["shop"] = desk.shop_name
    found.globals["not_whole"] = lambda: desk.remembering.not_whole
    found.globals["remembering"] = desk.remembering
    found.globals["restart_due"] = lambda: restart_due(desk.store, desk.host)
    found.globals["without_file"] = lambda names: without_file(desk.store, names)
    found.globals["is_program_changed"] = lambda: desk.program is not None and desk.program.are_changed()
    return found
