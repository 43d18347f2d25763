"""Keeps the row of every boat up to date, beside the server's work; see `memory`."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable, Mapping
from hashlib import sha256
from typing import Any

import attrs

from garboard.disk.clock import wall_milliseconds
from garboard.disk.entries import SHOP_RECORD, canonical_bytes, view
from garboard.disk.hullfile import CheckedEntries
from garboard.disk.json_text import read_json
from garboard.disk.storage import NewerFormat, NotSaved
from garboard.faults import InputError, in_words
from garboard.history.authority import ON_THE_PAGE, THE_SHOP_ITSELF
from garboard.history.board_views import SavedView, views_in
from garboard.history.boat import Boat
from garboard.history.boats_alike import REGISTER, kinds_entry, kinds_in
from garboard.history.plans import plan_of
from garboard.history.replay import replay
from garboard.history.setting_entries import shop_settings
from garboard.hosting.host import PluginHost
from garboard.records import JsonValue
from garboard.settings import SettingSet
from garboard_shop.board import Board
from garboard_shop.job_rows import Came, Past, job_rows, planned
from garboard_shop.memory import Memory, as_text, kinds_of, of_text, pasts_of_text, row_of
from garboard_shop.pages.authors import author_after
from garboard_shop.pages.index import OVERLAP, Index
from garboard_shop.pages.summaries import BoatSummary
from garboard_shop.settings import PREFIX
from garboard_shop.store import KeptRow, Store, StoreAway, Tablet, managers_devices

PAUSE = 0.2
"""Between two boats whose rows are made again, so that the pages come first [s]."""
A_WEEK = 7 * 24 * 60 * 60 * 1000
"""What boats kept changes slowly, and every telling stays in the shop's record [ms]."""
NEXT_LOOK = 10.0
"""After all of them [s]."""
LONG_AGO = 2 * 60 * 1000
"""Rows that were last brought up to date so long ago are told as such: something keeps them from it [ms]."""
AN_HOUR = 60 * 60 * 1000
"""So often it is looked whether tablets are to be told: all rows are gone through for that [ms]."""

log = logging.getLogger("garboard.shop")


@attrs.frozen
class Made:
    """Of what a row was made.

    numbers   : of the boat
    digests   : of everything read for it, by hull number: a job may have come from another boat
    files     : where recordings lacked, how many files were here then
    judged_by : names the plugins and the shop's settings
    """

    numbers: tuple[str, ...]
    digests: Mapping[str, str]
    files: int | None
    judged_by: str

    def as_text(self) -> str:
        return canonical_bytes({**attrs.asdict(self), "numbers": [*self.numbers]}).decode()

    @classmethod
    def of_text(cls, text: str) -> Made | None:
        """None for what an earlier program wrote, which said less: the row is made again. Raises ValueError."""
        plain: Any = read_json(text) if text.startswith("{") else {}
        if not isinstance(plain, dict) or not attrs.fields_dict(cls).keys() <= plain.keys():
            return None
        numbers, digests = plain["numbers"], plain["digests"]
        if not (isinstance(numbers, list) and isinstance(digests, dict)):
            raise ValueError(f"expected numbers and digests, got {text[:80]!r}")
        return cls(tuple(map(str, numbers)), digests, plain["files"], plain["judged_by"])


@attrs.frozen
class _Standing:
    """How the shop stands now: the digest of each boat, how many files are here, and what judges."""

    digests: Mapping[str, str]
    files: int
    judged_by: str

    def bears_out(self, made: Made | None) -> bool:
        """Whether a row would be made of the same again."""
        return (
            made is not None
            and made.judged_by == self.judged_by
            and made.files in (None, self.files)
            and all(self.digests.get(number, "") == digest for number, digest in made.digests.items())
        )


@attrs.frozen
class Progress:
    """How far the thread that makes rows is.

    made, of : boats, of those whose row is made again; 0 of 0 between two looks
    is_read  : whether it came to an end of them once
    """

    made: int = 0
    of: int = 0
    is_read: bool = False


class Arrivals:
    """When something of each hull first and last came to the shop, and who brought it. Read once, then what is new."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._first: dict[str, int] = {}
        self._last: dict[str, int] = {}
        self._tablet: dict[str, tuple[int, str]] = {}
        """The tablet that last brought something of a hull, with when."""
        self._tablets: tuple[Tablet, ...] = ()
        self._read_to = 0

    def read(self, now: int) -> None:
        """Read what came up to now [ms since 1970-01-01 UTC]; the last minute is read twice."""
        for one in self._store.deliveries(max(0, self._read_to - OVERLAP), now + OVERLAP):
            for hull in one.ids:
                self._first[hull] = min(one.at, self._first.get(hull, one.at))
                self._last[hull] = max(one.at, self._last.get(hull, one.at))
                if one.tablet not in THE_SHOP_ITSELF:
                    self._tablet[hull] = max((one.at, one.tablet), self._tablet.get(hull, (0, "")))
        self._tablets = self._store.register.tablets()
        self._read_to = now

    def of(self, hulls: Iterable[str], now: int) -> Came:
        """Of a boat, by all its numbers; now, where the shop has no note of when it came."""
        known = [hull for hull in hulls if hull in self._first]
        first = min((self._first[hull] for hull in known), default=now)
        _, tablet = max((self._tablet[hull] for hull in known if hull in self._tablet), default=(0, ""))
        return Came(first, max((self._last[hull] for hull in known), default=now), now, self._devices_of(tablet))

    def _devices_of(self, tablet: str) -> frozenset[str]:
        return frozenset(name for one in self._tablets if one.id == tablet for name in one.writes_as)


def judging(host: PluginHost, store: Store) -> str:
    """Names the plugins at work since the start, a shop's own by what they are and not by their version alone."""
    own = {one.name: one.sha256 for one in store.register.plugins() if not one.is_withdrawn}
    return ", ".join(sorted(f"{one.name} {one.version} {own.get(one.name, '')}".rstrip() for one in host.plugins))


class Remembering:
    """The rows of a shop, read from where they are kept, and made anew where a boat changed.

    summary   : assesses a boat
    judged_by : names what assesses it
    now       : the shop's wall time [ms since 1970-01-01 UTC]
    index     : the search over all boats, which has the owners' references; None for none
    before_look : called before it looks what changed
    """

    def __init__(
        self,
        store: Store,
        summary: Callable[[str], BoatSummary | None],
        judged_by: str = "",
        now: Callable[[], int] = wall_milliseconds,
        index: Callable[[], Index | None] = lambda: None,
        before_look: Callable[[], None] = lambda: None,
    ) -> None:
        self._store, self._summary, self._judged_by, self._now = store, summary, judged_by, now
        self._index, self._before_look = index, before_look
        self._board: Board | None = None
        self._has_owners = False
        self._guard, self._standing_guard = threading.Lock(), threading.Lock()
        self._memory: Memory | None = None
        self._made: dict[str, Made] = {}
        self._settings_of: tuple[str, frozenset[str]] | None = None
        self._settings: list[JsonValue] = []
        self.stated: tuple[SettingSet, ...] = ()
        """What the shop set, as of the last look."""
        self._views: tuple[SavedView, ...] | None = None
        self._not_whole: Mapping[str, str] | None = None
        self._not_made: dict[str, str] = {}
        """Boats whose row is that of an earlier time, as it cannot be made anew, each with why."""
        self._pasts: dict[str, Mapping[str, Past]] = {}
        self._arrivals = Arrivals(store)
        self.progress = Progress()
        self.as_of = 0
        """When the shop last stood as all rows say [ms since 1970-01-01 UTC]; 0 while nobody looked."""
        self._began = 0
        self._stop, self._look = threading.Event(), threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def memory(self) -> Memory:
        """All rows; read at the first use. One that is damaged is told, and made anew."""
        with self._guard:
            if self._memory is None:
                rows, held = [], self._store.digests()
                for hull, one in self._store.rows().items():
                    self._pasts[hull] = pasts_of_text(one.text)
                    try:
                        row = of_text(one.text) if one.text else None  # "": the boat has its row under another number
                        made = Made.of_text(one.digest)
                        if row is None or made is None or hull not in held:
                            continue
                        if row.hull != hull:
                            self._pasts[hull] = {}  # of another boat's jobs
                            raise ValueError(f"expected the row of {hull}, got that of {row.hull}")
                    except ValueError as error:
                        log.warning("the row of %s in the shop's memory is damaged and made anew: %s", hull, error)
                        continue
                    rows.append(row)
                    self._pasts[hull] = {job.job: job for job in row.jobs}
                    self._made.update(dict.fromkeys(made.numbers, made))
                self._board = Board((job for row in rows for job in row.jobs), self._owners_of)
                self._memory = Memory(rows)
            return self._memory

    @property
    def board(self) -> Board | None:
        """The rows of all jobs; None while a server that was just started still reads them."""
        return None if self.at_hand is None else self._board

    def _owners_of(self, hull: str) -> tuple[str, ...]:
        index = self._index()
        card = index.card(hull) if index is not None else None
        return card.owners if card is not None else ()

    @property
    def at_hand(self) -> Memory | None:
        """All rows; None while a server that was just started still reads them: no page waits for that."""
        return None if self._memory is None and self._thread is not None else self.memory

    @property
    def views(self) -> tuple[SavedView, ...]:
        """Views of the board under names of the shop's own, as of the last look or of the last one saved here."""
        if self._views is None:
            self.learn_views()
        return self._views or ()

    @property
    def not_whole(self) -> Mapping[str, str]:
        """What the store holds and could not read, or not all of it, as of the last look; each with why."""
        if self._not_whole is None and self._thread is None:
            self._not_whole = self._store.not_whole()
        return {**self._not_made, **(self._not_whole or {})}

    def learn_views(self) -> None:
        """Read them anew."""
        entries = self._store.get(SHOP_RECORD, self._store.ids(SHOP_RECORD)).items()
        self._views = views_in(replay(SHOP_RECORD, [view(name, raw) for name, raw in entries]))

    def start(self) -> None:
        """Begin to make rows again, in a thread of its own."""
        self._began = self._now()
        self._thread = threading.Thread(target=self._run, name="garboard-memory", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop making rows."""
        self._stop.set()
        self._look.set()
        if self._thread is not None:
            self._thread.join(10)

    def bring_up_to_date(self, pause: float = 0.0) -> int:
        """Make the rows of boats that changed since theirs was made; how many were made."""
        memory, made, began, was_read = self.memory, 0, self._now(), self.progress.is_read
        now = self._standing()
        self._not_whole = self._store.not_whole()
        waiting = [hull for hull in sorted(now.digests) if not now.bears_out(self._made.get(hull))]
        if waiting:
            self._arrivals.read(self._now())
        try:
            for number, hull in enumerate(waiting):
                self.progress = Progress(number, len(waiting), was_read)
                if self._stop.is_set():
                    return made
                if not now.bears_out(self._made.get(hull)):  # it may have become part of another's row meanwhile
                    made += self._make(memory, hull, now)
                    self._stop.wait(pause)
            self.as_of, was_read = began, True
        finally:
            self.progress = Progress(is_read=was_read)
        return made

    @property
    def is_behind(self) -> bool:
        """Whether something keeps the rows from being brought up to date."""
        since = self.as_of or self._began
        return bool(since) and not self.progress.of and self._now() - since > LONG_AGO

    def look_soon(self) -> None:
        """Something was decided on a page: look at once. Until the rows are made anew, the pages say that some wait."""
        if waiting := self.behind():
            if not self.progress.of:
                self.progress = Progress(0, waiting, self.progress.is_read)
            self._look.set()

    def behind(self) -> int:
        """How many boats changed since their row was made, or have none yet."""
        now = self._standing()
        return sum(not now.bears_out(self._made.get(hull)) for hull in now.digests)

    def _standing(self) -> _Standing:
        with self._standing_guard:
            return self._standing_now()

    def _standing_now(self) -> _Standing:
        held = self._store.digests()
        managers = managers_devices(self._store.register)
        shop = held[SHOP_RECORD].digest if SHOP_RECORD in held else ""
        if (shop, managers) != self._settings_of:  # most of what comes into the shop's record is no setting
            self._settings_of = shop, managers
            kept = self._store.get(SHOP_RECORD, self._store.ids(SHOP_RECORD)).items()
            entries = [view(name, raw) for name, raw in kept]
            self.stated = shop_settings(entries, managers)
            self._views = views_in(replay(SHOP_RECORD, entries))
            judges = [one for one in self.stated if not one.key.startswith(PREFIX)]
            self._settings = [[one.key, one.value, one.proved] for one in judges]
        judged = canonical_bytes([self._judged_by, self._settings])
        files = len(self._store.attachments.sizes())
        digests = {hull: one.digest for hull, one in held.items() if hull != SHOP_RECORD}
        return _Standing(digests, files, sha256(judged).hexdigest()[:16])

    def _make(self, memory: Memory, hull: str, now: _Standing) -> bool:
        """The row of one boat. One that cannot be read has none, and keeps no other from its own."""
        try:
            summary = self._summary(hull)
            row = row_of(summary) if summary is not None and not summary.is_passing else None
        except StoreAway:
            raise
        except (NewerFormat, InputError) as failure:
            self._not_made[hull] = in_words(failure)
            return False
        except Exception:  # a mistake of the program over one boat
            log.exception("the row of a boat could not be made; the others' are")
            self._not_made[hull] = "it cannot be judged; see the server's log"
            return False
        self._not_made.pop(hull, None)
        if row is None or summary is None:
            return False
        numbers = summary.boat.state.hull_keys
        gone = {number: KeptRow("", "") for number in numbers - {row.hull} if number in memory}
        digests = {number: now.digests.get(number, "") for number in (*summary.held, hull) if number != SHOP_RECORD}
        made = Made(tuple(sorted({*numbers, hull})), digests, now.files if summary.lacking else None, now.judged_by)
        before = self._pasts_of(row.hull, made)
        row = attrs.evolve(row, jobs=job_rows(summary, row.hull, before, self._arrivals.of(numbers, self._now())))
        self._store.put_rows({**gone, row.hull: KeptRow(made.as_text(), as_text(row))})
        self._pasts[row.hull] = {job.job: job for job in row.jobs}
        self._made.update(dict.fromkeys(made.numbers, made))
        memory.take(row, gone)
        if self._board is not None:
            for hull in gone:
                self._board.take(hull, ())
            self._board.take(row.hull, row.jobs)
            if self._board.words_are_due:
                self._board.learn_words()
        return True

    def plan(self, boat: Boat, job: str) -> None:
        """Show what a manager just planned for a job. Its row is made anew as soon as that boat's turn comes."""
        board, home = self.board, boat.state_of(job)
        plan = plan_of(home, (job, *home.parts(job)))
        for hull in sorted(boat.state.hull_keys) if board is not None else ():
            if board is not None and (rows := board.jobs_of(hull)):
                board.take(hull, [planned(row, plan) if row.job == job else row for row in rows])

    def learn_owners(self) -> None:
        """Let the board's search know the owners' references, once the index has read them all."""
        index = self._index()
        if not self._has_owners and index is not None and index.is_complete and self._board is not None:
            self._board.learn_words()
            self._has_owners = True

    def _pasts_of(self, hull: str, made: Made) -> dict[str, Past]:
        """What was known of a boat's jobs, by job; under the number of its row before any other."""
        numbers = [*sorted({*made.numbers, *made.digests} - {hull}), hull]
        return {job: past for number in numbers for job, past in self._pasts.get(number, {}).items()}

    def tell_tablets(self, now: int) -> bool:
        """Write what boats of each kind kept into the shop's record, once a week at most; whether it was written.

        now : the shop's wall time since 1970-01-01 UTC [ms]
        """
        kinds = kinds_of(self.memory.rows())
        entries = self._store.get(SHOP_RECORD, self._store.ids(SHOP_RECORD)).items()
        shop = replay(SHOP_RECORD, [view(name, raw) for name, raw in entries])
        told = max((one.clock.milliseconds for one in shop.current(REGISTER)), default=0)
        if 0 <= now - told < A_WEEK or kinds_in(shop) == kinds or not kinds:
            return False
        entry = kinds_entry(author_after(shop, "the shop's memory"), shop, kinds)
        offered = {SHOP_RECORD: CheckedEntries([(entry.id, entry.raw)])}
        return bool(self._store.put_if_absent(offered, ON_THE_PAGE, now, 0).added)

    def _run(self) -> None:
        told = 0
        while not self._stop.is_set():
            try:
                self._before_look()
                self.learn_owners()
                self.bring_up_to_date(pause=PAUSE)
                if not 0 <= wall_milliseconds() - told < AN_HOUR:
                    told = wall_milliseconds()
                    self.tell_tablets(told)
            except (StoreAway, NotSaved):
                log.warning("the shop's memory is not up to date; it is tried again", exc_info=True)
            except Exception:  # the thread has nobody above it, and the rows are made again at the next look
                log.exception("making rows of the shop's memory failed; it is tried again")
            self._look.wait(NEXT_LOOK)
            self._look.clear()
