"""What a person enters: one field, of one kind, with the range its value must lie in."""

from __future__ import annotations

import enum
import math
import re
from collections.abc import Callable
from datetime import date, timedelta

from garboard.faults import ValueRefused, one_of, shown
from garboard.record_types import frozen, typed
from garboard.records import EQUIPMENT, JsonValue, Vessel, is_equipment
from garboard.samples import UNIT_OF_QUANTITY
from garboard.units import EXAMPLE_OF, UNITS_OF, day_in_words, in_full, in_own_spelling, parse_amount, range_in_words

__all__ = [
    "FAR_AHEAD",
    "IN_A_MONTH",
    "IN_A_YEAR",
    "LOAD",
    "LONG_AGO",
    "PEOPLE",
    "SAID",
    "TODAY",
    "WATER",
    "Field",
    "Kind",
    "amount_as_text",
    "amount_field",
    "check_value",
    "doubtful",
    "implausible",
    "typed_value",
]

WATER = ("calm", "light chop", "chop", "rough")
"""Choices of a field that says how the water was: the same words in every check."""

LOAD = ("light", "half", "full", "unknown")
"""The same of a field that says how the boat was laden."""


TODAY = "today"
IN_A_MONTH = "in a month"
IN_A_YEAR = "in a year"
LONG_AGO, FAR_AHEAD = timedelta(days=2 * 365), timedelta(days=5 * 365)
"""A day of today, and one to come, is asked about where it lies further from the day it is entered; common practice, no
source."""
_ROUND = {
    TODAY: (-LONG_AGO, timedelta(days=1)),
    IN_A_MONTH: (timedelta(days=-1), FAR_AHEAD),
    IN_A_YEAR: (timedelta(days=-1), FAR_AHEAD),
}
"""How far a day may lie from the day it is entered, by what is offered for it; one day more for time zones."""
PEOPLE = "people"
"""What a field may offer besides its own words: a day, written as 2027-05-01, or whoever is at work, and the owner."""


class Kind(enum.Enum):
    """What a field takes."""

    AMOUNT = "amount"
    COUNT = "count"
    CHOICE = "choice"
    YES_NO = "yes or no"
    TEXT = "text"
    PHOTO = "photo"
    SIGNATURE = "signature"
    RECORDING = "recording"
    TABLE = "table"


@frozen(kw_only=True, field_transformer=typed)
class Field:
    """One thing to enter.

    name      : unique in its step, columns of tables included; never changes once jobs hold it
    title     : what the person reads
    quantity  : for an amount, a key of `units.UNITS_OF`; `unit` is the unit offered first
    choices   : for a choice, the words to choose from
    renamed_from : names this field once had: what jobs hold under them counts as entered here
    former    : words that were choices once: jobs of then still hold them, and nobody is offered them
    said      : what people say for each choice, where that is another word ("micro" for light cable)
    offers    : for a text or an amount, values to take with one press; any other can be typed
    offers_from : for a text, where more to take comes from: TODAY, IN_A_MONTH, IN_A_YEAR, PEOPLE, a key of
                `records.EQUIPMENT` (the names of its pieces), or of a setting that lists words with semicolons between.
                They are offered first
    pattern   : for a text, the regular expression that the whole of it must match; the first of `offers` shows how
    unless    : a field of the same piece that says the same: once it is entered, nobody is led here
    plausible : (low, high) in `unit`; outside it the person is asked again
    plausible_for : the same of one vessel and piece ("port"), where it tells more; None where it does not
    doubted_outside : (low, high) in `unit`, wider than `plausible`: no value in order lies outside it, so nothing that
                rests on such a one passes, though a person insisted on it; what `plausible_for` has of the vessel and
                piece is not doubted
    hard      : (low, high) in `unit`; outside it the value is refused
    each      : a key of `records.EQUIPMENT`, or of a kind the plugin itself registers (`steps.EquipmentKind`): asked
                once for every such piece the vessel has
    of_run    : the recording field of the same step whose run this describes; where another run comes to count, it is
                asked anew
    heard     : what of the boat's network may be taken for it with one press, a key of `samples.UNIT_OF_QUANTITY`; of a
                count the number of the instance that sends it
    aside     : nobody is led here: it stands on a page of its own beside the row, and is entered there
    begins    : what a new row takes for it as the row is begun: a fact of its piece ("engines", "fitted"), the value of
                a field of another step ("prop_check.conditions", "persons"), or with "" that of the row before
    of_several : a key of `records.EQUIPMENT`: asked only where the vessel has two such pieces or more
    of_model  : what boats of one model share: a template keeps it, and a boat begun like another takes it over
    columns   : for a table, the fields of one row, none of them a table; with `each` the rows are the pieces of
                equipment

    Both ends of a range are finite numbers, low not above high.
    """

    name: str
    title: str
    kind: Kind
    quantity: str = ""
    unit: str = ""
    choices: tuple[str, ...] = ()
    former: tuple[str, ...] = ()
    said: tuple[str, ...] = ()
    offers: tuple[str, ...] = ()
    offers_from: tuple[str, ...] = ()
    pattern: str = ""
    unless: str = ""
    plausible: tuple[float, float] | None = None
    plausible_for: Callable[[Vessel, str], tuple[float, float] | None] | None = None
    doubted_outside: tuple[float, float] | None = None
    hard: tuple[float, float] | None = None
    each: str = ""
    required: bool = True
    help: str = ""
    columns: tuple[Field, ...] = ()
    of_run: str = ""
    heard: str = ""
    aside: bool = False
    begins: tuple[str, ...] = ()
    of_several: str = ""
    of_model: bool = False
    renamed_from: tuple[str, ...] = ()

    def __attrs_post_init__(self) -> None:
        if self.kind is Kind.AMOUNT:
            self._check_unit()
        self._check_choices()
        self._check_offers()
        self._check_columns()
        _check_ends(self.name, "plausible", self.plausible)
        _check_ends(self.name, "doubted_outside", self.doubted_outside)
        _check_ends(self.name, "hard", self.hard)
        if self.plausible and self.doubted_outside:
            (low, high), (lowest, highest) = self.plausible, self.doubted_outside
            if not lowest <= low <= high <= highest:
                usual = range_in_words(low, high, self.unit)
                raise ValueError(f"field {self.name!r}: doubted_outside must hold all of plausible, {usual}")
        if self.heard and self.heard not in UNIT_OF_QUANTITY:
            raise ValueError(f"field {self.name!r}: heard must be a quantity of the network, got {self.heard!r}")
        for name, kind in (("each", self.each), ("of_several", self.of_several)):
            if kind and not is_equipment(kind):
                raise ValueError(
                    f"field {self.name!r}: {name} must be one of {', '.join(EQUIPMENT)}, or the key of a kind that the "
                    f"plugin registers, got {kind!r}"
                )

    def is_called(self, name: str) -> bool:
        """Whether values under a name are this field's: its own name, or one it had before."""
        return name == self.name or name in self.renamed_from

    def _check_choices(self) -> None:
        if self.kind is Kind.CHOICE and not self.choices:
            raise ValueError(f"field {self.name!r}: a choice needs choices")
        if self.said and len(self.said) != len(self.choices):
            raise ValueError(
                f"field {self.name!r}: {len(self.choices)} choices but {len(self.said)} words said for them"
            )

    def _check_offers(self) -> None:
        if self.offers and self.kind not in (Kind.AMOUNT, Kind.TEXT):
            raise ValueError(f"field {self.name!r}: only a text or an amount has offers")
        known = (TODAY, IN_A_MONTH, IN_A_YEAR, PEOPLE, *EQUIPMENT)
        if self.offers_from and self.kind is not Kind.TEXT:
            raise ValueError(f"field {self.name!r}: only a text offers words from elsewhere")
        if unknown := [one for one in self.offers_from if one not in known and "." not in one]:
            raise ValueError(
                f"field {self.name!r}: offers_from must be {', '.join(known)} or a setting's key, got {unknown[0]!r}"
            )
        if self.pattern:
            self._check_pattern()
        for offer in self.offers:
            check_value(self, offer)

    def _check_columns(self) -> None:
        if self.kind is Kind.TABLE and not self.columns:
            raise ValueError(f"field {self.name!r}: a table needs columns")
        if tables := [column.name for column in self.columns if column.kind is Kind.TABLE]:
            raise ValueError(f"field {self.name!r}: its column {tables[0]!r} is a table; a table holds no other table")

    def _check_pattern(self) -> None:
        if self.kind is not Kind.TEXT or not self.offers:
            raise ValueError(f"field {self.name!r}: only a text has a pattern, and its first offer shows how it reads")
        try:
            re.compile(self.pattern)
        except re.error as wrong:
            raise ValueError(f"field {self.name!r}: the pattern is no regular expression: {wrong}") from None

    def _check_unit(self) -> None:
        if self.quantity not in UNITS_OF:
            raise ValueError(
                f"field {self.name!r}: quantity must be one of {', '.join(UNITS_OF)}, got {self.quantity!r}"
            )
        if self.unit not in (units := UNITS_OF[self.quantity]):
            raise ValueError(
                f"field {self.name!r}: unit of {self.quantity} must be one of {', '.join(map(repr, units))}, "
                f"got {self.unit!r}"
            )


def amount_field(
    name: str,
    title: str,
    quantity: str,
    unit: str,
    plausible: tuple[float, float] | None = None,
    hard: tuple[float, float] | None = None,
    *,
    plausible_for: Callable[[Vessel, str], tuple[float, float] | None] | None = None,
    doubted_outside: tuple[float, float] | None = None,
    each: str = "",
    required: bool = True,
    heard: str = "",
    aside: bool = False,
    begins: tuple[str, ...] = (),
    of_several: str = "",
    of_model: bool = False,
    help: str = "",
) -> Field:
    """A field that takes an amount. The arguments are those of `Field`."""
    return Field(
        name=name,
        title=title,
        kind=Kind.AMOUNT,
        quantity=quantity,
        unit=unit,
        plausible=plausible,
        plausible_for=plausible_for,
        doubted_outside=doubted_outside,
        hard=hard,
        each=each,
        required=required,
        heard=heard,
        aside=aside,
        begins=begins,
        of_several=of_several,
        of_model=of_model,
        help=help,
    )


def _check_ends(name: str, which: str, ends: tuple[float, float] | None) -> None:
    """Raise ValueError for a range that no number, or no file, can hold."""
    if ends is not None and not (all(map(math.isfinite, ends)) and ends[0] <= ends[1]):
        raise ValueError(
            f"field {name!r}: {which} is {in_full(ends[0])} to {in_full(ends[1])}; give (low, high), two finite "
            f"numbers, low first"
        )


def check_value(field: Field, value: JsonValue) -> None:
    """Raise ValueRefused unless the value is one the field takes."""
    if field.kind is Kind.AMOUNT:
        _check_amount(field, value)
    elif field.kind is Kind.COUNT:
        _check_range(field, value if type(value) is int else None, value)
    elif field.kind is Kind.CHOICE and value not in (*field.choices, *field.former):
        raise ValueRefused(one_of(field.choices), shown(value))
    elif field.kind is Kind.YES_NO and not isinstance(value, bool):
        raise ValueRefused("true or false", shown(value))
    elif field.kind is Kind.TEXT and not isinstance(value, str):
        raise ValueRefused("text in quotes", shown(value))
    elif field.pattern and not (isinstance(value, str) and re.fullmatch(field.pattern, value)):
        raise ValueRefused(f"text such as {field.offers[0]!r}", shown(value))
    elif field.kind in (Kind.RECORDING, Kind.PHOTO) and not (
        isinstance(value, dict) and isinstance(value.get("file"), str)
    ):
        raise ValueRefused('{"file": "name beside the job file"}', shown(value))


def typed_value(field: Field, text: str) -> JsonValue:
    """What a person typed, as the kind of value the field takes and in the program's own spelling.

    It need not be one the field takes: `check_value` says so.
    """
    text = text.strip()
    if field.kind is Kind.AMOUNT:
        return in_own_spelling(" ".join(text.split()), field.quantity)
    if field.kind is Kind.COUNT and len(text) < _MOST_DIGITS and text.removeprefix("-").isdecimal():
        return int(text)
    if field.kind is Kind.YES_NO:
        return SAID.get(text.casefold(), text)
    return text


_MOST_DIGITS = 20
"""Longer text is no count a person means; Python makes no number of thousands of digits."""

SAID = {"yes": True, "true": True, "no": False, "false": False}
"""How a person types yes and no."""


def _check_amount(field: Field, value: JsonValue) -> None:
    if not isinstance(value, str):
        raise amount_as_text(value, field.quantity, field.unit)
    _check_range(field, parse_amount(value, field.quantity).to(field.unit), value)


def _check_range(field: Field, number: float | None, value: JsonValue) -> None:
    if number is None:
        raise ValueRefused("a whole number", shown(value))
    if field.hard is not None and not field.hard[0] <= number <= field.hard[1]:
        low, high = field.hard
        raise ValueRefused(f"between {in_full(low)} and {in_full(high)} {field.unit}".rstrip(), shown(value))


def amount_as_text(value: object, quantity: str, unit: str = "") -> ValueRefused:
    """What to raise for a value that should be an amount as text; a bare number is shown as it should stand."""
    unit = unit or UNITS_OF[quantity][0]
    example = f"{value} {unit}".strip() if type(value) in (int, float) else EXAMPLE_OF[quantity]
    what = "text with number and unit" if unit else "a number as text"
    return ValueRefused(f'{what}, such as "{example}"', shown(value))


def implausible(
    field: Field, value: JsonValue, vessel: Vessel | None = None, of: str = "", entered: date | None = None
) -> str:
    """A question to ask again when an amount or a count lies outside its plausible range; empty when it does not.

    vessel, of : it is entered for, where that is known: an engine of 60 hp burns less than one of 300
    entered    : the day it is entered, where that is known: a text that is a day is asked about far from it
    """
    if field.kind is Kind.TEXT:
        return _odd_day(field, value, entered)
    of_vessel = field.plausible_for(vessel, of) if field.plausible_for and vessel else None
    plausible = of_vessel or field.plausible
    if plausible is None:
        return ""
    low, high = plausible
    try:
        number = _number_of(field, value)
    except ValueRefused as refused:
        return f"{refused}. Is it right?"
    if number is None or low <= number <= high:
        return ""
    typed = parse_amount(value, field.quantity) if isinstance(value, str) else None
    return f"{value} is outside the usual {range_in_words(low, high, field.unit, typed)}. Is it right?"


def doubtful(field: Field, value: JsonValue, vessel: Vessel | None = None, of: str = "") -> str:
    """Why an amount or a count is doubted: it lies where nothing in order does; empty where it does not.

    vessel, of : it is entered for, where that is known: 27 V is in order on an engine of 24 V
    """
    if field.doubted_outside is None:
        return ""
    low, high = field.doubted_outside
    if field.plausible_for and vessel and (of_vessel := field.plausible_for(vessel, of)):
        low, high = min(low, of_vessel[0]), max(high, of_vessel[1])
    try:
        number = _number_of(field, value)
    except ValueRefused:
        return ""  # whatever reads it says so
    if number is None or low <= number <= high:
        return ""
    typed = parse_amount(value, field.quantity) if isinstance(value, str) else None
    return f"{value}, where {range_in_words(low, high, field.unit, typed)} can be right"


def _odd_day(field: Field, value: JsonValue, entered: date | None) -> str:
    """A question about a day that lies years away: a slip in the year reads as well as any other."""
    rounds = [_ROUND[source] for source in field.offers_from if source in _ROUND]
    if entered is None or not rounds or not isinstance(value, str):
        return ""
    try:
        day = date.fromisoformat(value.strip())
    except ValueError:
        return ""  # the check that reads it says so
    if min(low for low, _ in rounds) <= day - entered <= max(high for _, high in rounds):
        return ""
    years = abs(day.year - entered.year)
    apart = f"{years} years " if years > 1 else ""
    which = "before" if day < entered else "after"
    return f"{day_in_words(day)} is {apart}{which} {day_in_words(entered)}. Is the year right?"


def _number_of(field: Field, value: JsonValue) -> float | None:
    """What an amount, in the field's unit, or a count says; None where it is neither. Raises ValueRefused."""
    if field.kind is Kind.AMOUNT and isinstance(value, str):
        return parse_amount(value, field.quantity).to(field.unit)
    return value if field.kind is Kind.COUNT and type(value) is int else None
