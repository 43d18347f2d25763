"""The day sheet: what came ashore on a day, or was entered on it, boat by boat."""

from __future__ import annotations

import logging
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date

import attrs

from garboard.disk.entries import SHOP_RECORD, Entry
from garboard.disk.storage import NewerFormat
from garboard.faults import InputError, in_words
from garboard.findings import Verdict
from garboard_shop.pages.index import Index
from garboard_shop.pages.summaries import BoatSummary, JobSummary, Summaries
from garboard_shop.pages.wording import limits_of
from garboard_shop.store import Store, names_of_devices

log = logging.getLogger("garboard.shop")

RECEIVED, ENTERED = "came", "entered"
"""The two ways to ask for a day: by when entries were delivered, and by when they say they were made."""
MOST_BOATS = 60
"""On one page: a day on which a whole year comes ashore is turned over page by page."""
CLOCK_TO_MENTION = 60_000
"""A tablet's clock that is so far off is mentioned beside what it brought [ms]."""


@attrs.frozen
class Received:
    """Entries one tablet brought of one boat.

    at           : when the last of them came [ms since 1970-01-01 UTC]; 0 when asked by when they were made
    by           : who made them
    clock_offset : how far the shop's clock was ahead of the tablet's [ms]
    """

    tablet: str
    entries: int
    by: tuple[str, ...]
    at: int = 0
    clock_offset: int = 0

    @property
    def has_wrong_clock(self) -> bool:
        return abs(self.clock_offset) >= CLOCK_TO_MENTION


@attrs.frozen
class SheetBoat:
    """A boat on the day sheet: what came, and the jobs it came for.

    others      : jobs nothing came for
    look_alikes : hull numbers that may be the same boat's
    """

    summary: BoatSummary
    received: tuple[Received, ...]
    jobs: tuple[JobSummary, ...]
    others: tuple[JobSummary, ...]
    look_alikes: tuple[str, ...]

    @property
    def urgency(self) -> tuple[int, ...]:
        """What a person must decide comes first, what is ready last."""
        return (
            -sum(len(job.choices) for job in self.jobs) - bool(self.look_alikes),
            -sum(job.counts[Verdict.FAIL] for job in self.jobs),
            -sum(len(job.stale) for job in self.jobs),
            -sum(not job.is_ready for job in self.jobs),
        )


@attrs.frozen
class DaySheet:
    """A day, or a page of it.

    unreadable : hulls that cannot be shown, with the reason
    page       : which page, from 1
    pages      : how many there are
    """

    day: date
    asked: str
    boats: tuple[SheetBoat, ...]
    unreadable: tuple[tuple[str, str], ...]
    page: int = 1
    pages: int = 1

    @property
    def jobs(self) -> tuple[JobSummary, ...]:
        return tuple(job for boat in self.boats for job in boat.jobs)

    @property
    def counted(self) -> tuple[JobSummary, ...]:
        """The jobs that numbers count: none that is set aside."""
        return tuple(job for job in self.jobs if not job.is_set_aside)

    @property
    def to_settle(self) -> int:
        return sum(len(job.choices) for job in self.counted)

    @property
    def failing(self) -> int:
        """Jobs in which something fails."""
        return sum(job.counts[Verdict.FAIL] > 0 for job in self.counted)

    @property
    def ready(self) -> int:
        return sum(job.is_ready and not job.is_handed_over for job in self.counted)

    @property
    def stale(self) -> int:
        return sum(len(job.stale) for job in self.counted)


def day_sheet(store: Store, summaries: Summaries, index: Index, day: date, asked: str, page: int = 1) -> DaySheet:
    """A page of a day's sheet, the last to come ashore first. Only boats on it are read."""
    found = _received_on(store, day) if asked == RECEIVED else dict.fromkeys(index.hulls_on(day.isoformat()), ())
    boats: dict[frozenset[str], SheetBoat] = {}
    unreadable: list[tuple[str, str]] = []
    devices = names_of_devices(store.register)
    numbers = sorted(found, key=lambda hull: (-max((one.at for one in found[hull]), default=0), hull))
    hulls = [*dict.fromkeys(map(index.boat_of, numbers))]
    pages = max(1, -(-len(hulls) // MOST_BOATS))
    page = min(max(1, page), pages)
    for hull in hulls[(page - 1) * MOST_BOATS : page * MOST_BOATS]:
        try:
            summary = summaries.of(hull)
        except (NewerFormat, InputError) as failure:
            unreadable.append((hull, in_words(failure)))
            continue
        except Exception as failure:  # whatever is wrong with one boat, the day's others are shown
            log.exception("hull %s cannot be shown", hull)
            unreadable.append((hull, f"the program made a mistake reading it: {in_words(failure)}"))
            continue
        if summary is None or summary.boat.state.hull_keys in boats:
            continue
        hull_keys = summary.boat.state.hull_keys
        deliveries = [one for number in sorted(hull_keys) for one in found.get(number, ())]
        index.read(hull)
        boats[hull_keys] = _sheet_boat(summary, deliveries, index, day, asked, devices)
    asked_once = _each_pair_once(boats.values())
    boats_shown = tuple(sorted(asked_once, key=lambda boat: (boat.urgency, boat.summary.key)))
    return DaySheet(day, asked, boats_shown, tuple(unreadable), page, pages)


def _each_pair_once(boats: Iterable[SheetBoat]) -> Iterator[SheetBoat]:
    """Two boats of the day whose numbers look alike: asked at the one with fewer entries, likelier the mistyped one."""
    here = list(boats)
    sizes = {
        number: (len(boat.summary.entries), boat.summary.key)
        for boat in here
        for number in boat.summary.boat.state.hull_keys
    }
    for boat in here:
        size = len(boat.summary.entries), boat.summary.key
        yield attrs.evolve(
            boat, look_alikes=tuple(other for other in boat.look_alikes if other not in sizes or sizes[other] > size)
        )


def hulls_received(store: Store, day: date) -> tuple[str, ...]:
    """Hulls of which something came ashore on a day."""
    return tuple(sorted(_received_on(store, day)))


@attrs.frozen
class _Delivered:
    tablet: str
    at: int
    clock_offset: int
    ids: tuple[str, ...]


def _received_on(store: Store, day: date) -> Mapping[str, Sequence[_Delivered]]:
    names = {tablet.id: tablet.name for tablet in store.register.tablets()}
    found: dict[str, list[_Delivered]] = defaultdict(list)
    for delivery in store.deliveries(*limits_of(day)):
        for hull, ids in delivery.ids.items():
            tablet = names.get(delivery.tablet, delivery.tablet)
            if hull != SHOP_RECORD:
                found[hull].append(_Delivered(tablet, delivery.at, delivery.clock_offset, ids))
    return found


def _sheet_boat(
    summary: BoatSummary,
    delivered: Sequence[_Delivered],
    index: Index,
    day: date,
    asked: str,
    devices: Mapping[str, str],
) -> SheetBoat:
    if asked == RECEIVED:
        ids = {name for one in delivered for name in one.ids}
        received = _by_tablet(summary, delivered)
    else:
        ids = {name for name, entry in summary.entries.items() if entry.at.startswith(day.isoformat())}
        received = _entered_by_tablet([summary.entries[name] for name in ids], devices)
    touched = {summary.entries[name].job for name in ids if name in summary.entries}
    jobs = tuple(job for job in summary.jobs if job.id in touched) or summary.jobs
    others = tuple(job for job in summary.jobs if job not in jobs)
    return SheetBoat(summary, received, jobs, others, index.to_ask_about(summary.boat.state.hull_keys))


def _by_tablet(summary: BoatSummary, delivered: Iterable[_Delivered]) -> tuple[Received, ...]:
    grouped: dict[str, list[_Delivered]] = defaultdict(list)
    for one in delivered:
        grouped[one.tablet].append(one)
    return tuple(
        Received(
            tablet,
            sum(len(one.ids) for one in deliveries),
            _writers(summary.entries[name] for one in deliveries for name in one.ids if name in summary.entries),
            max(one.at for one in deliveries),
            max((one.clock_offset for one in deliveries), key=abs),
        )
        for tablet, deliveries in sorted(grouped.items())
    )


def _entered_by_tablet(entries: Sequence[Entry], devices: Mapping[str, str]) -> tuple[Received, ...]:
    grouped: dict[str, list[Entry]] = defaultdict(list)
    for entry in entries:
        grouped[devices.get(entry.tablet, entry.tablet)].append(entry)
    return tuple(Received(tablet, len(made), _writers(made)) for tablet, made in sorted(grouped.items()))


def _writers(entries: Iterable[Entry]) -> tuple[str, ...]:
    return tuple(sorted({entry.by for entry in entries}))
