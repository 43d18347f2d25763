"""EntryForm one value after the other: what is asked, what is typed, what comes next."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING

import attrs

from garboard.disk.clock import moment_in_words
from garboard.faults import in_number
from garboard.history.registers import RegisterKey
from garboard.records import JsonValue, Vessel, is_equipment
from garboard.steps import Field, Kind, Step
from garboard.units import Amount
from garboard_tablet.language import phrase
from garboard_tablet.models.asks import (
    Ask,
    asks_of_piece,
    asks_of_step,
    asks_of_vessel,
    before,
    naming_propellers,
    shown,
    shown_of,
    table_rows,
)
from garboard_tablet.models.drafts import draft_key, opening_unit, unit_key
from garboard_tablet.models.echo import UNDONE, echo_of
from garboard_tablet.models.heard import Offer, may_choose_again, offers
from garboard_tablet.models.keys import ERASE, pressed
from garboard_tablet.models.like import on_the_model
from garboard_tablet.models.offered import keep_word, with_offers
from garboard_tablet.models.own_facts import OWN, asks_of_own
from garboard_tablet.models.pad import ValidationResult, judge, judge_number
from garboard_tablet.models.saved_last import Echo
from garboard_tablet.models.session import Route
from garboard_tablet.models.tablet import Tablet

if TYPE_CHECKING:
    from garboard.disk.entries import Entry
    from garboard.recordings.boat_network import BoatNetwork

NUMBERS = (Kind.AMOUNT, Kind.COUNT)


def entry_route(route: Route, ask: Ask) -> Route:
    """The page on which an ask is answered."""
    return route.to("entry", ask.key.kind, *ask.key.subject)


@attrs.frozen(kw_only=True)
class Rival:
    """One of the values that disagree.

    text       : the value as people say it
    instrument : what it was read with; "" where nobody said
    """

    value: JsonValue
    text: str
    who: str
    when: str
    instrument: str


@attrs.define
class EntryForm:
    """The value asked for at a route, and what is typed for it so far.

    result : what was made of the last try to save; empty until then
    unit   : the unit chosen
    """

    tablet: Tablet
    route: Route
    asks: tuple[Ask, ...]
    ask: Ask
    unit: str = ""
    result: ValidationResult = attrs.field(factory=ValidationResult)

    @property
    def field(self) -> Field:
        return self.ask.field

    @property
    def step(self) -> Step | None:
        return self.tablet.step(self.route.step) if self.ask.key.kind == "measure" else None

    @property
    def key(self) -> str:
        """What is typed is kept under this."""
        return draft_key(self.route.hull, self.route.job, self.ask)

    @property
    def saved(self) -> JsonValue:
        """The value that stands now."""
        return self.tablet.value(self.route.hull, self.route.job, self.ask)

    @property
    def rivals(self) -> tuple[JsonValue, ...]:
        """Values that disagree; empty when they do not."""
        current = self.tablet.current(self.route.hull, self.route.job, self.ask)
        return tuple(entry.value for entry in current) if len(current) > 1 else ()

    @property
    def rivals_told(self) -> tuple[Rival, ...]:
        """Values that disagree, each with who stated it, when and with what."""
        current = self.tablet.current(self.route.hull, self.route.job, self.ask)
        return tuple(_rival(self.field, entry) for entry in current) if len(current) > 1 else ()

    @property
    def is_to_settle(self) -> bool:
        """Whether values disagree and one of them may be chosen here; else it is measured again, or left alone."""
        return bool(self.rivals) and self.tablet.may_decide

    @property
    def may_take_back(self) -> bool:
        """Whether one value stands that may be taken back here; a manager's choice is the manager's to take back."""
        from garboard.history.authority import managers_part

        current = self.tablet.current(self.route.hull, self.route.job, self.ask)
        return len(current) == 1 and (not managers_part(current[0]) or self.tablet.may_decide)

    @property
    def of_earlier_run(self) -> str:
        """What was said of the run that counted before; "" where something stands, or nothing was said."""
        from garboard.history.runs import is_of_earlier_run

        before = self.stood_before
        history = self.tablet.history(self.route.hull, self.route.job, self.ask)
        return shown(before[0].value) if before and is_of_earlier_run(history) else ""

    @property
    def stood_before(self) -> tuple[Entry, ...]:
        """Values that stood here and stand no longer, the latest first, each once."""
        from garboard.history.values import same_value

        found: list[Entry] = list(self.tablet.current(self.route.hull, self.route.job, self.ask))
        now = len(found)
        for entry in reversed(self.tablet.history(self.route.hull, self.route.job, self.ask)):
            if entry.kind != "retract" and not any(same_value(entry.value, other.value) for other in found):
                found.append(entry)
        return tuple(found[now:])

    @property
    def typed(self) -> str | None:
        """What is typed and not yet saved; None when nothing was touched."""
        return self.tablet.session.typed.get(self.key)

    @property
    def unit_key(self) -> str:
        """A unit chosen and not yet saved is kept under this."""
        return unit_key(self.key)

    @property
    def opening_unit(self) -> str:
        """The unit before one is chosen here: that of the saved value, else the one this tablet offers first."""
        return opening_unit(self.tablet, self.field, self.saved)

    @property
    def is_changed(self) -> bool:
        """Whether what the page shows is not what is saved: something is typed, or another unit is chosen."""
        return self.typed is not None or self.unit != self.opening_unit

    @property
    def may_be_always(self) -> bool:
        """Whether the unit shown is another than this tablet offers first for this field."""
        return self.field.kind is Kind.AMOUNT and self.unit != self.tablet.settings.unit_for(self.field)

    @property
    def has_meter(self) -> bool:
        """Whether it is read with a meter, as far as that can be told: an amount that is measured."""
        return self.ask.key.kind == "measure" and self.field.kind is Kind.AMOUNT

    @property
    def in_hand(self) -> str:
        """The meter that a value entered now is read with; "" where none is named."""
        return self.tablet.settings.in_hand.get(self.field.quantity, "") if self.has_meter else ""

    @property
    def meter(self) -> str:
        """The meter of the value shown: the saved one's, or the one in hand for what is typed."""
        return self.in_hand if self.saved is None or self.typed is not None else self._saved_with

    @property
    def _saved_with(self) -> str:
        current = self.tablet.current(self.route.hull, self.route.job, self.ask)
        instrument = current[0].more.get("instrument") if len(current) == 1 else ""
        return instrument if isinstance(instrument, str) else ""

    def use_meter(self, name: str) -> None:
        """Take a meter in hand. A value that stands, with nothing typed over it, was read with it: it says so."""
        self.tablet.change_settings(self.tablet.settings.with_meter(self.field.quantity, name))
        if self.saved is not None and self.typed is None and name != self._saved_with:
            self.save(self.saved, name)

    @property
    def read_to(self) -> str:
        """How finely the value shown is read, and with what: "read to ± 0.005 V, with Meter 2"."""
        said = []
        if self.field.kind is Kind.AMOUNT and any(digit.isdigit() for digit in self.text):
            half = 0.5 * 10.0 ** -len(self.text.partition(".")[2])
            said.append(" ".join(filter(None, ("read to ±", f"{half:.12f}".rstrip("0"), self.unit))))
        if self.has_meter:
            said.append(phrase("with {meter}", meter=self.meter) if self.meter else "meter not named")
        return ", ".join(said)

    @property
    def text(self) -> str:
        """What stands in the input: what is typed, or else the saved value."""
        if self.typed is not None:
            return self.typed
        saved = self.saved
        if self.field.kind is Kind.AMOUNT and isinstance(saved, str):
            return Amount.parse(saved).text
        return shown(saved)

    def press(self, key: str) -> None:
        """One key of the number pad. The first digit over a value saved, refused or doubted begins a new one."""
        said_something = bool(self.result.problem or self.result.question)
        fresh = (self.typed is None or said_something) and key != ERASE
        self.result = ValidationResult()
        self.tablet.session.type(self.key, pressed("" if fresh else self.text, key))

    def write(self, text: str) -> None:
        """What stands in the text input now."""
        self.tablet.session.type(self.key, text)

    def choose_unit(self, unit: str) -> None:
        """Take another unit for this one value."""
        self.unit, self.result = unit, ValidationResult()
        if unit == self.opening_unit:
            self.tablet.session.forget(self.unit_key)
        else:
            self.tablet.session.type(self.unit_key, unit)

    def always_this_unit(self) -> None:
        """Offer the unit shown first for this field from now on, on every boat."""
        self.tablet.change_settings(self.tablet.settings.with_unit(self.field.name, self.unit))

    def try_typed(self) -> bool:
        """Save what is typed; False when it is refused or has to be asked again, with `result` saying why."""
        if not self.is_changed and self.saved is not None:
            return True
        if self.field.kind in NUMBERS:
            self.result = judge_number(self.field, self.text, self.unit, *self._of_what)
        elif not self.text.strip():
            self.result = ValidationResult(problem="Type something first, or skip it.")
        else:
            self.result = judge(self.field, self.text.strip(), entered=date.today())
        if self.result.problem or self.result.question:
            return False
        self.save(self.result.value)
        return True

    @property
    def _of_what(self) -> tuple[Vessel | None, str]:
        """The vessel and the piece a measurement is of: what is usual may depend on them."""
        if self.ask.key.kind != "measure":
            return None, ""
        return self.tablet.view(self.route.hull, self.route.job).vessel, self.ask.place[3]

    def insist(self) -> None:
        """Save the value that was questioned."""
        self.save(self.result.value, self.result.instrument or None)

    # What is heard

    @property
    def vessel(self) -> Vessel:
        """The boat it is entered for."""
        return self.tablet.boat(self.route.hull).vessel()

    def stands(self, ask: Ask) -> bool:
        """Whether a value of an ask is entered."""
        return bool(self.tablet.current(self.route.hull, self.route.job, ask))

    def unit_of(self, ask: Ask) -> str:
        """The unit a value of an ask is written in: the one chosen here, else the one this tablet offers first."""
        return self.unit if ask.key == self.ask.key else self.tablet.settings.unit_for(ask.field)

    def heard(self, network: BoatNetwork | None) -> tuple[Offer, ...]:
        """What is heard now for the value asked for; see `heard.offers`."""
        return offers(self.ask, self.unit, self.vessel, network)

    def may_choose_again(self, network: BoatNetwork | None) -> bool:
        """Whether other instruments than the one chosen can be had; see `heard.may_choose_again`."""
        return may_choose_again(self.ask, self.unit, self.vessel, network)

    def heard_for_row(self, network: BoatNetwork | None) -> tuple[tuple[Ask, Offer], ...]:
        """What is heard now for the values still open in the row of a table, or beside a value outside tables.

        Of several that take the same, such as the speed out and the speed back, the first that is open. What two
        instruments send is left to a person, and so is what is unusual.
        """
        vessel, found, had = self.vessel, list[tuple[Ask, Offer]](), set[tuple[str, str, bool]]()
        for ask in self.asks:
            same = (ask.field.heard, ask.of, bool(ask.field.each))
            if not ask.field.heard or _row_of(ask) != _row_of(self.ask) or same in had or self.stands(ask):
                continue
            had.add(same)
            offered = offers(ask, self.unit_of(ask), vessel, network)
            if len(offered) == 1 and not offered[0].is_simulated:
                judged = judge(ask.field, offered[0].value, vessel, ask.of)
                found += [] if judged.question or judged.problem else [(ask, offered[0])]
        return tuple(found)

    def take_heard(self, offer: Offer) -> bool:
        """Save a value heard; False when it is refused or has to be asked again, with `result` saying why."""
        judged = judge(self.field, offer.value, *self._of_what)
        if judged.problem or judged.question:
            self.result = attrs.evolve(judged, instrument=offer.instrument)
            return False
        self.save(offer.value, offer.instrument)
        return True

    def take_row(self, heard: Iterable[tuple[Ask, Offer]]) -> None:
        """Save all that is heard for a row; one undo takes all of it back."""
        self._take_together([(ask, offer.value, offer.instrument) for ask, offer in heard])

    def _take_together(self, values: Iterable[tuple[Ask, JsonValue, str]]) -> None:
        taken = []
        for ask, value, instrument in values:
            self.tablet.enter(self.route.hull, self.route.job, ask, value, instrument)
            taken.append((ask, self.tablet.current(self.route.hull, self.route.job, ask)))
        if taken:
            (first, now), *also = taken
            route, text = entry_route(self.route, first), in_number(len(taken), "value")
            self.tablet.echo = Echo(route=route, ask=first, text=text, before=(), now=now, also=tuple(also))
        self._forget_draft()
        self.result = ValidationResult()

    def after_row(self) -> Route | None:
        """Where to go once a row of a table is dealt with: its next row; None when nothing is left to enter here."""
        asks = _asks(self.tablet, self.route, open_table=self.ask.table)
        here = (self.ask.table, self.ask.row)
        ends = max((at for at, ask in enumerate(asks) if (ask.table, ask.row) == here), default=0)
        if not self.ask.table:
            return self.after()
        return first_route(self.tablet, self.route, asks[ends + 1 :])

    def save(self, value: JsonValue, meter: str | None = None) -> None:
        """Keep a value; on the disk when this returns.

        meter : what it was read with, where somebody says so; else the one of the value shown
        """
        before = self.tablet.current(self.route.hull, self.route.job, self.ask)
        instrument = self.meter if meter is None else meter
        read_otherwise = meter is not None or (instrument and instrument != self._saved_with)
        if value != self.saved or self.saved is None or read_otherwise:
            self.tablet.enter(self.route.hull, self.route.job, self.ask, value, instrument)
            keep_word(self.tablet, self.ask, self.step, value)
            now = self.tablet.current(self.route.hull, self.route.job, self.ask)
            text = "Photo" if self.field.kind is Kind.PHOTO else shown_of(self.field, value)
            self.tablet.echo = Echo(route=self.route, ask=self.ask, text=text, before=before, now=now)
        self._forget_draft()  # not before: the disk may refuse the value
        self.result = ValidationResult()

    def settle(self, value: JsonValue, reason: str) -> None:
        """Choose one of the values that disagree."""
        self.tablet.choose(self.route.hull, self.route.job, self.ask, value, reason)
        self._forget_draft()

    def undo(self) -> None:
        """Undo what was saved last, where it was saved here: what stood before stands again."""
        echo = echo_of(self.tablet, self.route)
        if echo is None or not echo.can_be_undone or echo.ask.key != self.ask.key:
            return
        if echo.before:
            self.put_back(echo.before[0])
        else:
            self.take_back(UNDONE)
        for ask, now in echo.also:
            if self.tablet.current(self.route.hull, self.route.job, ask) == now:  # not changed since
                self.tablet.take_back(self.route.hull, self.route.job, ask, UNDONE)
        self.tablet.echo = None

    def take_back(self, reason: str) -> None:
        """Take back the value that stands."""
        self.tablet.take_back(self.route.hull, self.route.job, self.ask, reason)
        self._forget_draft()
        self.tablet.session.save()  # the page stays: no change of page saves it

    def put_back(self, entry: Entry) -> None:
        """Have a value stand again that stood before, with the instrument it was read with."""
        self.tablet.put_back(self.route.hull, self.route.job, self.ask, entry)
        self._forget_draft()
        self.tablet.session.save()  # the page stays

    def leave_as_it_is(self) -> None:
        """Keep the value that stands, and drop what was typed over it. A number typed where none stands is kept."""
        if self.saved is not None or self.typed == "":
            self._forget_draft()

    def _forget_draft(self) -> None:
        self.tablet.session.forget(self.key)
        self.tablet.session.forget(self.unit_key)
        self.unit = self.opening_unit

    @property
    def repeat(self) -> JsonValue:
        """The value of the ask before of the same title, to repeat with one touch; None when there is none."""
        for earlier in before(self.asks, self.ask):
            value = self.tablet.value(self.route.hull, self.route.job, earlier)
            if value is not None:
                return value
        return None

    @property
    def on_the_model(self) -> tuple[tuple[Ask, JsonValue], ...]:
        """What it is on the boat or template this one was begun like, with what else is open of the same piece."""
        if self.ask.key.kind != "field" or self.stands(self.ask):
            return ()
        piece = piece_of(self.ask.key.subject)
        beside = [ask for ask in self.asks if ask.key != self.ask.key and piece_of(ask.key.subject) == piece]
        open_ones = [self.ask, *(ask for ask in beside if self.route.step == OWN and not self.stands(ask))]
        known = on_the_model(self.tablet, self.route.hull, open_ones)
        return known if known and known[0][0] == self.ask else ()

    def take_model(self, known: Iterable[tuple[Ask, JsonValue]]) -> None:
        """Save what a piece has as on the model; one undo takes all of it back."""
        self._take_together([(ask, value, "") for ask, value in known])

    @property
    def may_end_table(self) -> bool:
        """Whether this begins a row nobody asked for: then the table can be ended instead, or left empty."""
        rows = self._rows()
        return bool(self.ask.row) and self.ask.row not in rows and (bool(rows) or not self._is_table_required)

    @property
    def _is_table_required(self) -> bool:
        step = self.step
        return any(field.name == self.ask.table and field.required for field in step.fields) if step else True

    def after(self, *, ending_table: bool = False) -> Route | None:
        """Where to go once this value is dealt with; None when nothing is left to enter here."""
        ask = self.following(ending_table=ending_table)
        return entry_route(self.route, ask) if ask is not None else None

    def following(self, *, ending_table: bool = False) -> Ask | None:
        """What is asked once this value is dealt with; None when nothing is left to enter here."""
        asks = self.asks
        if ending_table:
            asks = tuple(ask for ask in asks if ask.table != self.ask.table)
            start = self._table_end()
            asks = tuple(ask for ask in asks if self.asks.index(ask) >= start)
        elif self._ends_last_row():
            fresh = _asks(self.tablet, self.route, open_table=self.ask.table)
            return next(iter(fresh[self._index(fresh, self.ask) + 1 :]), None)
        else:
            asks = asks[self._index(asks, self.ask) + 1 :]
        return first_open(self.tablet, self.route, asks)

    def progress(self) -> tuple[int, int]:
        """Values entered, and values asked for."""
        have = sum(bool(self.tablet.current(self.route.hull, self.route.job, ask)) for ask in self.asks)
        return have, len(self.asks)

    def _rows(self) -> tuple[str, ...]:
        step = self.step
        table = next((field for field in step.fields if field.name == self.ask.table), None) if step else None
        if step is None or table is None:
            return ()
        return table_rows(step, table, self.tablet.view(self.route.hull, self.route.job))

    def _ends_last_row(self) -> bool:
        own = [ask for ask in self.asks if ask.table == self.ask.table]
        return bool(self.ask.table and self.ask.row) and bool(own) and own[-1].key == self.ask.key

    def _table_end(self) -> int:
        return max((i + 1 for i, ask in enumerate(self.asks) if ask.table == self.ask.table), default=0)

    @staticmethod
    def _index(asks: tuple[Ask, ...], ask: Ask) -> int:
        return next((i for i, other in enumerate(asks) if other.key == ask.key), -1)


def _rival(field: Field, entry: Entry) -> Rival:
    instrument = entry.more.get("instrument")
    return Rival(
        value=entry.value,
        text=shown_of(field, entry.value),
        who=entry.by,
        when=moment_in_words(entry.at),
        instrument=instrument if isinstance(instrument, str) else "",
    )


def _row_of(ask: Ask) -> tuple[str, str, str]:
    """What asks that are taken together share: a row of a table, or being in none."""
    return (ask.table, ask.row, ask.of if ask.table and not ask.row else "")


def enter(tablet: Tablet, route: Route) -> EntryForm | None:
    """The entry form of a route; None when what it asks for is no longer there."""
    asks = _asks(tablet, route)
    kind, *words = route.subject
    key = RegisterKey(kind, "", tuple(words))
    ask = next((ask for ask in asks if ask.key == key), None)
    if ask is None:
        return None
    if kind == "field":
        ask = attrs.evolve(ask, field=naming_propellers(ask.field, tablet.boat(route.hull).vessel()))
    else:
        ask = with_offers(tablet, ask, tablet.step(route.step), tablet.view(route.hull, route.job))
    form = EntryForm(tablet, route, asks, ask)
    form.unit = tablet.session.typed.get(form.unit_key, form.opening_unit)
    return form


def first_route(tablet: Tablet, route: Route, asks: tuple[Ask, ...]) -> Route | None:
    """Where the first value still missing is entered; None where none is."""
    ask = first_open(tablet, route, asks)
    return entry_route(route, ask) if ask is not None else None


def own_open(tablet: Tablet, route: Route) -> tuple[Ask, ...]:
    """What a boat has of its own and nobody entered yet."""
    asks = asks_of_own(tablet.view(route.hull, route.job).vessel)
    return tuple(ask for ask in asks if first_open(tablet, route, [ask]) is not None)


def first_open(tablet: Tablet, route: Route, asks: Iterable[Ask]) -> Ask | None:
    """The first value that is neither entered nor said by another; None where none is."""
    for ask in asks:
        others = [ask, attrs.evolve(ask, key=_beside(ask))] if ask.field.unless else [ask]
        if not any(tablet.current(route.hull, route.job, other) for other in others):
            return ask
    return None


def _beside(ask: Ask) -> RegisterKey:
    """Where the field is kept that says the same of the same piece."""
    kind, subject = ask.key.kind, ask.key.subject
    place = 1 if kind == "measure" else len(subject) - 1
    return RegisterKey(kind, ask.key.job, (*subject[:place], ask.field.unless, *subject[place + 1 :]))


def piece_of(path: tuple[str, ...]) -> tuple[str, ...]:
    """The piece of equipment a field belongs to; empty for the boat itself.

    >>> piece_of(("engines", "port", "propeller", "pitch"))
    ('engines', 'port')
    """
    if len(path) < 2 or not is_equipment(path[0]):
        return ()
    return path[:4] if len(path) > 4 and path[2] == "devices" else path[:2]


def of_column(ask: Ask) -> tuple[str, ...]:
    """What all values of its column have in common; see `Tablet.filling`."""
    return ("column", ask.field.name)


def of_row(ask: Ask) -> tuple[str, ...]:
    """What all values of its row have in common; see `Tablet.filling`."""
    return ("row", *ask.line)


def _asks(tablet: Tablet, route: Route, open_table: str = "") -> tuple[Ask, ...]:
    kind, *words = route.subject
    if kind == "field" and route.step == OWN:
        return asks_of_own(tablet.view(route.hull, route.job).vessel)
    if kind == "field":
        piece = piece_of(tuple(words))
        return asks_of_piece(piece, tablet.host.equipment) if piece else asks_of_vessel()
    step = tablet.step(route.step)
    if step is None:
        return ()
    view = tablet.view(route.hull, route.job)
    if tablet.filling[:1] == (route.step,):
        filled = tuple(ask for ask in asks_of_step(step, view) if tablet.filling[1:] in (of_column(ask), of_row(ask)))
        if any(ask.place == tuple(words) for ask in filled):
            return filled
    row = words[2] if len(words) == 4 else ""
    named = {column.name: field for field in step.fields for column in field.columns}
    table = named.get(words[1]) if len(words) == 4 else None
    if table is not None and row and row not in table_rows(step, table, view):
        open_table = table.name
    open_tables = (open_table,) if open_table else ()
    if next((field.aside for field in step.all_fields() if len(words) == 4 and field.name == words[1]), False):
        beside = asks_of_step(step, view, open_tables=open_tables, aside=True)
        return tuple(ask for ask in beside if ask.field.aside and ask.row == row and bool(ask.table) == bool(row))
    return asks_of_step(step, view, open_tables=open_tables)
