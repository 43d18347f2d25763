"""All boats in short: what to find them by, and which numbers look alike. Filled beside the server's work.

Nothing on the day sheet waits for it. It reads every hull once after the start, then only those that changed.
"""

from __future__ import annotations

import heapq
import json
import logging
import threading
import time
from bisect import bisect_right
from collections.abc import Callable, Collection, Container, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import date
from itertools import accumulate, islice

import attrs

from garboard import hull_number
from garboard.disk.clock import Stamp, wall_milliseconds
from garboard.disk.entries import SHOP_RECORD, Entry, entry_id, view
from garboard.disk.storage import NewerFormat
from garboard.faults import InputError
from garboard.history.registers import register_of
from garboard.history.replay import HullState, replay
from garboard.history.shapes import misfit_of
from garboard.records import JsonValue, Propeller
from garboard_shop.store import Store

OVERLAP = 60_000
"""Deliveries are noted a moment before their entries are kept, so the last minute is looked at again [ms]."""
A_DAY = 24 * 60 * 60 * 1000
"""Boats that came ashore so long before the start are made ready first [ms]."""
SHORTEST_PAUSE = 2.0
"""Between two looks for what is new [s]."""
LOOKED_THROUGH = 60.0
"""So often all boats are looked through [s]: no clock has to be right by which deliveries were noted."""
MOST_SHOWN = 100
LONGEST_SEARCH = 200
"""Characters looked at of what is searched for: each word costs a look through all boats."""
MOST_NEWER = 200
"""Cards looked through one by one before they join the others on the shelf."""

_DECISIONS = tuple(f'"kind":"{kind}"'.encode() for kind in ("alias", "move", "retract"))
log = logging.getLogger("garboard.shop")


@attrs.frozen(kw_only=True)
class Card:
    """What a boat is found by.

    numbers    : the hull number in every way it was typed
    names      : its name, several where they disagree, the last one entered last
    owners     : the owner references of its jobs
    former     : names and owner references that were replaced or taken back, or went with a job: people remember them
    propellers : a line for each engine, and for each propeller tried
    days       : days on which something was entered, "2026-05-14"
    entries    : how many there were
    also       : keys of other hull numbers said to be the same boat
    came_from  : keys of hull numbers that jobs were moved here from
    """

    hull: str
    numbers: tuple[str, ...]
    names: tuple[str, ...]
    owners: tuple[str, ...]
    propellers: tuple[str, ...]
    days: frozenset[str]
    entries: int
    also: tuple[str, ...] = ()
    came_from: tuple[str, ...] = ()
    former: tuple[str, ...] = ()
    text: str = attrs.field(init=False, repr=False)

    @text.default
    def _words(self) -> str:
        pitches = (f"pitch {line.partition(' x ')[2]}" for line in self.propellers)  # some search for "pitch 19 in"
        said = (*self.also, *self.numbers, *self.names, *self.owners, *self.former, *self.propellers, *pitches)
        return hull_number.sought(" ".join((self.hull, *said)))

    @property
    def name(self) -> str:
        return self.names[-1] if self.names else ""

    def last_day(self, before: str) -> str:
        """The latest day before one, on which something was entered; "" where there is none.

        before : "2026-05-16"; a tablet whose clock is ahead enters on days that have not come yet
        """
        return max((day for day in self.days if day < before), default="")

    @property
    def order(self) -> tuple[str, str]:
        """Where it stands in a list of boats."""
        return self.name or self.hull, self.hull

    @property
    def digits(self) -> str:
        """Every key of its hull numbers, to be searched for a part of one."""
        return " ".join((self.hull, *self.also))


def _differ_in_numerals(hull: str, other: str) -> bool:
    differing = [pair for pair in zip(hull, other, strict=False) if len({*pair}) > 1]
    return len(hull) == len(other) and all(one.isdigit() and another.isdigit() for one, another in differing)


def _are_two(one: Card | None, other: Card | None) -> bool:
    """Whether two boats have names, or owners, and were never given one in common."""
    if one is None or other is None:
        return False
    pairs = ((one.names, other.names), (one.owners, other.owners))
    return any(
        mine
        and theirs
        and not {name.casefold() for name in (*mine, *one.former)}
        & {name.casefold() for name in (*theirs, *other.former)}
        for mine, theirs in pairs
    )


def card_of(hull: str, entries: Iterable[bytes]) -> Card:
    """A boat's card from its entries: what stands, as the boat's own page shows it.

    entries : canonical bytes of entries of this hull
    """
    days, count, facts, decisions = set[str](), 0, list[Entry](), list[Entry]()
    for raw in entries:
        count += 1
        if (day := _day_in(raw)) not in days and _is_day(day):
            days.add(day)
        is_decision = any(kind in raw for kind in _DECISIONS)
        if is_decision or b'"kind":"job"' in raw or b'"kind":"field"' in raw:
            entry = view(entry_id(raw), raw)
            if entry.kind in ("job", "field"):  # what takes one back names its kind as well
                facts += [entry] if entry.is_understood and misfit_of(entry) is None else []
            elif is_decision:
                decisions.append(entry)
    facts.sort(key=_when)  # stores keep entries in no order
    shown = [entry for entry in facts if entry.subject[:1] in _SHOWN]
    state = replay(hull, (*decisions, *shown))
    standing = {entry.id for entry in shown if _stands(state, entry)}
    names, owners = (_given(shown, standing, what) for what in (_NAME, _OWNER))
    return Card(
        hull=hull,
        numbers=tuple(dict.fromkeys(entry.hull for entry in facts)),
        names=names[0],
        owners=owners[0],
        propellers=_propellers(entry for entry in shown if entry.id in standing),
        days=frozenset(days),
        entries=count,
        also=state.aliases,
        came_from=tuple(dict.fromkeys(other for other, _ in state.moved_from)),
        former=tuple(dict.fromkeys((*names[1], *owners[1]))),
    )


_NAME, _OWNER = ("field", ("name",)), ("job", ("owner",))
_SHOWN = {("name",), ("owner",), ("engines",), ("propellers",)}
"""How the subjects begin of what a card says."""


def _stands(state: HullState, entry: Entry) -> bool:
    """Whether a fact is current; of a job that was moved away nothing stands here."""
    is_current = any(one.id == entry.id for one in state.current(register_of(entry)))
    return is_current and not (entry.kind == "job" and state.moved_to(entry.job))


def _given(
    facts: Iterable[Entry], standing: Container[str], what: tuple[str, tuple[str, ...]]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What stands of some facts in the order it was entered, the last one last, and what else they ever said."""
    here, before = dict[str, None](), dict[str, None]()
    for entry in facts:
        if (entry.kind, entry.subject) == what and (said := _text(entry.value)):
            into = here if entry.id in standing else before
            into.pop(said, None)
            into[said] = None
    return tuple(here), tuple(said for said in before if said not in here)


def _propellers(facts: Iterable[Entry]) -> tuple[str, ...]:
    """A line for each propeller. Where two values of one part disagree, both are said.

    facts : that stand, in the order they were entered
    """
    parts: dict[str, dict[str, dict[str, None]]] = {}
    fitted: dict[str, str] = {}
    for entry in facts:
        path, value = entry.subject, _text(entry.value)
        if len(path) == 4 and path[0] == "engines" and path[2] == "propeller":
            parts.setdefault(path[1], {}).setdefault(path[3].replace("_", " "), {})[value] = None
        elif len(path) == 3 and path[0] == "engines" and path[2] == "fitted":
            fitted[path[1]] = value
        elif len(path) == 3 and path[0] == "propellers" and path[2] not in ("name", "removed"):
            parts.setdefault(f"propeller {path[1]}", {}).setdefault(path[2].replace("_", " "), {})[value] = None
    on_now = {f"propeller {name}": ", fitted" for name in fitted.values() if name}
    on_now |= {engine: ", as delivered" for engine, name in fitted.items() if f"propeller {name}" in parts}
    said = {of: {what: " or ".join(sorted(values)) for what, values in part.items()} for of, part in parts.items()}
    return tuple(f"{of}{on_now.get(of, '')}: {_in_words(part)}" for of, part in sorted(said.items()))


_ORDER = [one.name.replace("_", " ") for one in attrs.fields(Propeller)]


_SAID: Mapping[str, Callable[[str], str]] = {
    "blades": lambda value: f"{value} blades",
    "handing": str,
    "material": str,
    "cup": lambda value: "no cup" if value == "none" else f"{value} cup",
}


def _in_words(parts: Mapping[str, str]) -> str:
    """A propeller as people say it; what a later version knows of it stands last.

    >>> _in_words({"cup": "light", "pitch": "19 in", "blades": "3", "handing": "left", "diameter": "15.3 in"})
    '15.3 x 19 in, 3 blades, left, light cup'
    >>> _in_words({"pitch": "19 in", "diameter": "389 mm"}), _in_words({"pitch": "19 in", "later": "x"})
    ('389 mm x 19 in', 'pitch 19 in, later x')
    """
    left, said = dict(parts), []
    if "diameter" in left and "pitch" in left:
        diameter, pitch = left.pop("diameter"), left.pop("pitch")
        number, _, unit = diameter.rpartition(" ")
        said.append(f"{number if number and pitch.endswith(f' {unit}') else diameter} x {pitch}")
    in_order = sorted(left, key=lambda what: (_ORDER.index(what) if what in _ORDER else len(_ORDER), what))
    said += [_SAID[what](left[what]) if what in _SAID else f"{what} {left[what]}" for what in in_order]
    return ", ".join(filter(None, said))


def _with_what_came(card: Card, others: Sequence[Card]) -> Card:
    """A card with what a job that was moved here brought of the boat: all of a kind, where none of it is entered here.

    The boat's own page shows the same (`Boat.fields`).
    """
    return attrs.evolve(
        card,
        numbers=card.numbers or (card.hull,),
        names=card.names or tuple(name for one in others for name in one.names),
        former=tuple(dict.fromkeys(said for one in (card, *others) for said in one.former)),
        owners=card.owners or tuple(dict.fromkeys(owner for one in others for owner in one.owners)),
        propellers=card.propellers or next((one.propellers for one in others if one.propellers), ()),
    )


def _whole(cards: Sequence[Card]) -> Card:
    """The card of a boat with several hull numbers, from theirs; the first one leads."""
    first, *others = cards
    return Card(
        hull=first.hull,
        numbers=tuple(dict.fromkeys(number for card in cards for number in card.numbers)),
        names=tuple(dict.fromkeys(name for card in (*others, first) for name in card.names)),
        owners=tuple(dict.fromkeys(owner for card in cards for owner in card.owners)),
        former=tuple(dict.fromkeys(said for card in cards for said in card.former)),
        propellers=tuple(dict.fromkeys(line for card in cards for line in card.propellers)),
        days=frozenset().union(*(card.days for card in cards)),
        entries=sum(card.entries for card in cards),
        also=tuple(card.hull for card in others),
    )


def _is_well_formed(hull: str) -> bool:
    try:
        hull_number.parse(hull)
    except InputError:
        return False
    return True


def _day_in(raw: bytes) -> str:
    """The day of an entry's wall time. It is among the first fields: keys are sorted."""
    place = raw.find(b'"at":"')
    day = raw[place + 6 : place + 16] if place >= 0 else b""
    return day.decode("ascii", "replace") if day[4:5] == b"-" and day[7:8] == b"-" else ""


def _is_day(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def _when(entry: Entry) -> tuple[Stamp, bytes]:
    """The order in which facts were entered, as far as clocks tell; the same whatever order they come in."""
    return entry.clock, entry.raw


def _text(value: JsonValue) -> str:
    return value if isinstance(value, str) else "" if value is None else json.dumps(value)


@attrs.frozen
class Wanted:
    """What is searched for: a boat has every word, anywhere, or its hull number has what was typed.

    number : the hull number's letters and numerals; "" when they are too few to mean one
    """

    words: tuple[str, ...]
    number: str

    @classmethod
    def typed(cls, text: str) -> Wanted:
        text = hull_number.scanned(text[:LONGEST_SEARCH])
        number = hull_number.key(text) if text.strip() else ""
        return cls(tuple(hull_number.sought(text).split()), number if len(number) > 3 else "")

    def fits(self, card: Card) -> bool:
        return all(word in card.text for word in self.words) or bool(self.number and self.number in card.digits)


class _Lines:
    """Texts run together, to be searched as one: finding a word costs what comparing bytes costs, not a step a boat."""

    def __init__(self, texts: Iterable[str]) -> None:
        lines = [f"{text}\n" for text in texts]
        self.text = "".join(lines)
        self._ends = [*accumulate(map(len, lines))]

    def having(self, part: str) -> Iterator[int]:
        """Places of the texts that have a part, in order. The part holds no line end, so it lies in one of them."""
        place = self.text.find(part)
        while 0 <= place < len(self.text):
            number = bisect_right(self._ends, place)
            yield number
            place = self.text.find(part, self._ends[number])


class _Shelf:
    """Cards in the order in which they are shown."""

    def __init__(self, cards: Iterable[Card] = ()) -> None:
        self._cards: Sequence[Card] = sorted(cards, key=lambda card: card.order)
        self._words = _Lines(card.text for card in self._cards)
        self._numbers = _Lines(card.digits for card in self._cards)

    def found(self, wanted: Wanted) -> Iterator[Card]:
        """Cards that fit, in order."""
        rarest = min(wanted.words, key=self._words.text.count) if len(wanted.words) > 1 else "".join(wanted.words)
        places = heapq.merge(
            self._words.having(rarest), self._numbers.having(wanted.number) if wanted.number else iter(())
        )
        last = -1
        for place in places:
            if place != last and wanted.fits(self._cards[place]):
                yield self._cards[place]
            last = place


class Index:
    """The cards of all boats.

    store  : read through its usual calls
    warm   : called with hulls that changed, so that their pages are ready before someone asks
    """

    def __init__(
        self, store: Store, warm: Callable[[str], object] | None = None, now: Callable[[], int] = wall_milliseconds
    ) -> None:
        self._store, self._warm, self._now = store, warm, now
        self._own: dict[str, Card] = {}
        """A card for each hull number."""
        self._boat_of: dict[str, str] = {}
        """The hull number a boat is listed under, by each of its numbers."""
        self._named_by: dict[str, set[str]] = {}
        self._moved_on: dict[str, set[str]] = {}
        """Hull numbers that jobs were moved to, by the number they were moved from."""
        self._cards: dict[str, Card] = {}
        """A card for each boat, by the number it is listed under."""
        self._shelf = _Shelf()
        self._newer: dict[str, Card | None] = {}
        self._days: dict[str, set[str]] = {}
        self._numbers = hull_number.KnownNumbers()
        self._looked_at = 0
        self._looked_through = -LOOKED_THROUGH
        self._all_read = False
        self._guard = threading.Lock()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to read, in a thread of its own."""
        self._thread = threading.Thread(target=self._run, name="garboard-index", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop reading."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(10)

    @property
    def is_complete(self) -> bool:
        """Whether every hull has been read."""
        return self._all_read

    def refresh(self) -> None:
        """Read what is new: everything the first time, what came ashore lately before the rest."""
        began = self._now()
        if self._all_read:
            changed = {
                hull for one in self._store.deliveries(self._looked_at - OVERLAP, began + OVERLAP) for hull in one.ids
            }
            if began < self._looked_at or time.monotonic() - self._looked_through > LOOKED_THROUGH:
                changed |= self._grown()
            for hull in sorted(changed):
                if self._stop.is_set():
                    return
                if self._read_for_the_search(hull):
                    self._make_ready(hull)
        else:
            for hull in sorted({hull for one in self._store.deliveries(began - A_DAY, began) for hull in one.ids}):
                if not self._stop.is_set():
                    self._make_ready(hull)
            self._looked_through = time.monotonic()
            for hull in sorted(self._store.digests()):
                if self._stop.is_set():
                    return
                self._read_for_the_search(hull)
            self._all_read = True
        self._looked_at = began

    def _grown(self) -> set[str]:
        """Hulls that hold more than was read of them, whatever the time of their deliveries: another server's clock,
        or this one's before it was set, may be wrong.
        """
        self._looked_through = time.monotonic()
        held = self._store.digests().items()
        return {hull for hull, one in held if hull not in self._own or self._own[hull].entries != one.entries}

    def _read_for_the_search(self, hull: str) -> bool:
        try:
            return self.read(hull)
        except Exception:  # one boat that cannot be read keeps no other out of the search
            log.exception("hull %s cannot be read for the search", hull)
            return False

    def _make_ready(self, hull: str) -> None:
        if self._warm is None:
            return
        try:
            self._warm(hull)
        except Exception:  # the page says what is wrong with this boat when someone opens it
            log.exception("hull %s cannot be shown", hull)

    def read(self, hull: str) -> bool:
        """Read one hull; False when it was read before and has not grown, and for the shop's own record."""
        if hull == SHOP_RECORD:
            return False
        try:
            ids = self._store.ids(hull)
        except (NewerFormat, InputError):
            return False
        known = self._own.get(hull)
        if not ids or (known is not None and known.entries == len(ids)):
            return False
        cards = [self._whole_card(hull, ids)]
        for other in self._moved_on.get(hull, ()):  # what came of this boat there may have changed
            cards.append(self._whole_card(other, self._store.ids(other)))
        card = cards[0]
        with self._guard:
            for one in cards:
                self._take(one)
            if len(self._newer) > MOST_NEWER:
                self._shelf, self._newer = _Shelf(self._cards.values()), {}
            for day in card.days:
                self._days.setdefault(day, set()).add(hull)
            self._numbers.add(hull)
        return True

    def _whole_card(self, hull: str, ids: Collection[str]) -> Card:
        """A hull number's card, with what came with jobs that were moved to it."""
        card = card_of(hull, self._store.get(hull, ids).values())
        others = []
        for other in card.came_from:
            self._moved_on.setdefault(other, set()).add(hull)
            with suppress(NewerFormat, InputError):
                others.append(card_of(other, self._store.get(other, self._store.ids(other)).values()))
        return _with_what_came(card, others) if others else card

    def _take(self, card: Card) -> None:
        """Take in a hull number's card: its boat is listed once, and those parted from it by themselves."""
        before = self._family(card.hull)
        for other in self._own[card.hull].also if card.hull in self._own else ():
            self._named_by[other].discard(card.hull)
        self._own[card.hull] = card
        for other in card.also:
            self._named_by.setdefault(other, set()).add(card.hull)
        families = {self._family(hull) for hull in (card.hull, *before)}
        listed = {self._boat_of[hull] for family in families for hull in family if hull in self._boat_of}
        for hull in listed:
            self._cards.pop(hull, None)
            self._newer[hull] = None
        for family in families:
            whole = _whole([self._own[hull] for hull in self._in_order(family)])
            self._boat_of.update(dict.fromkeys(family, whole.hull))
            self._cards[whole.hull] = self._newer[whole.hull] = whole

    def _family(self, hull: str) -> frozenset[str]:
        """Every hull number read so far that is the same boat, however many steps away."""
        found, waiting = set[str](), [hull]
        while waiting:
            one = waiting.pop()
            if one in self._own and one not in found:
                found.add(one)
                waiting += [*self._own[one].also, *self._named_by.get(one, ())]
        return frozenset(found)

    def _in_order(self, family: frozenset[str]) -> list[str]:
        """A boat's numbers, first the one it is listed under: it leads to the others, and is well formed if one is."""
        leads = {hull: self._reached(hull) >= family for hull in family}
        return sorted(family, key=lambda hull: (not leads[hull], not _is_well_formed(hull), hull))

    def _reached(self, hull: str) -> set[str]:
        found, waiting = set[str](), [hull]
        while waiting:
            one = waiting.pop()
            if one in self._own and one not in found:
                found.add(one)
                waiting += self._own[one].also
        return found

    def boat_of(self, hull: str) -> str:
        """The number the boat of a hull number is listed under."""
        return self._boat_of.get(hull, hull)

    def boats(self) -> tuple[str, ...]:
        """Every boat read so far, by the number it is listed under."""
        with self._guard:
            return tuple(sorted(self._cards))

    def card(self, hull: str) -> Card | None:
        """The card of a boat, by any of its numbers."""
        return self._cards.get(self.boat_of(hull))

    def look_alikes(self, hull: str) -> tuple[str, ...]:
        """Hulls whose numbers may be the same boat's, likeliest first."""
        with self._guard:
            alike = self._numbers.look_alikes(hull)
        return hull_number.look_alikes(hull, sorted(alike))  # in one order, whichever was read first

    def to_ask_about(self, hulls: Iterable[str]) -> tuple[str, ...]:
        """Hulls whose numbers look like a boat's, but for those that are boats of their own; see `told_apart`."""
        return self._alike(hulls)[0]

    def told_apart(self, hulls: Iterable[str]) -> tuple[str, ...]:
        """Hulls whose numbers differ from a boat's in numerals alone, and which have another name or other owners: a
        builder's boats are numbered one after the other, and nobody need say of each that it is another.
        """
        return self._alike(hulls)[1]

    def _alike(self, hulls: Iterable[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
        own = {*hulls}
        asked, apart = set[str](), set[str]()
        for hull in own:
            for other in {*self.look_alikes(hull)} - own:
                is_apart = _differ_in_numerals(hull, other) and _are_two(self.card(hull), self.card(other))
                (apart if is_apart else asked).add(other)
        return tuple(sorted(asked)), tuple(sorted(apart - asked))

    def hulls_on(self, day: str) -> tuple[str, ...]:
        """Hulls in which something was entered on a day."""
        with self._guard:
            return tuple(sorted(self._days.get(day, ())))

    def last_day(self, before: str = "9999") -> str:
        """The latest day on which something was entered; "" when there is none."""
        with self._guard:
            return max((day for day in self._days if day < before), default="")

    def search(self, words: str, day: str = "", most: int | None = None) -> tuple[Card, ...]:
        """Boats that have every word, anywhere; with a day, those in which something was entered on it.

        most    : how many at most; None for all
        returns : in order; however many boats there are, the first take no step for each of the others
        """
        wanted = Wanted.typed(words)
        with self._guard:
            shelf, newer = self._shelf, dict(self._newer)
            of_day = [self._cards[hull] for hull in {self._boat_of[one] for one in self._days.get(day, ())}]
        if day:
            found = iter(sorted(filter(wanted.fits, of_day), key=lambda card: card.order))
        else:
            late = sorted(filter(wanted.fits, filter(None, newer.values())), key=lambda card: card.order)
            kept = (card for card in shelf.found(wanted) if card.hull not in newer)
            found = heapq.merge(kept, late, key=lambda card: card.order)
        return tuple(islice(found, most))

    def __len__(self) -> int:
        return len(self._cards)

    def _run(self) -> None:
        while not self._stop.is_set():
            began = time.monotonic()
            try:
                self.refresh()
            except Exception:  # whatever one look runs into, the next must be made
                log.exception("reading hulls for the pages failed; it is tried again")
            took = time.monotonic() - began
            self._stop.wait(max(SHORTEST_PAUSE, 20 * took if self._all_read else 0.0))
