"""What a calculator says: a verdict with its numbers, their expanded uncertainty, and the basis it rests on."""

from __future__ import annotations

import enum
import math
import re
from collections.abc import Collection, Iterable
from itertools import pairwise

import attrs

from garboard.faults import GarboardError
from garboard.record_types import frozen, typed
from garboard.records import Forecast
from garboard.uncertainty import MeasuredValue
from garboard.units import in_full as in_full
from garboard.units import own_spelling_of
from garboard.units import plain_text as plain_text
from garboard.units import rounded as rounded
from garboard.units import with_minus as with_minus
from garboard.verdict import Verdict as Verdict  # part of a finding: whoever declares one takes both from here

__all__ = [
    "OF_VESSEL",
    "Axis",
    "Band",
    "Basis",
    "BasisKind",
    "Doubt",
    "Figure",
    "Finding",
    "Lack",
    "Limit",
    "Marker",
    "Missing",
    "NotEnoughData",
    "Number",
    "Series",
    "Table",
    "Verdict",
    "decimals_beside",
    "in_full",
    "is_numbered",
    "not_enough_data",
    "plain_text",
    "rounded",
    "rounded_beside",
    "row_in_words",
    "with_minus",
    "with_spread",
    "with_uncertainty",
]


def is_numbered(row: str) -> bool:
    """Whether a row goes by a number; a job file may call one by a word."""
    return row[:1].isdigit()


def row_in_words(row: str) -> str:
    """A row by its number; one that a job file calls by a word, by that.

    >>> row_in_words("3"), row_in_words("aft")
    ('row 3', 'aft')
    """
    return f"row {row}" if is_numbered(row) else row


class BasisKind(enum.Enum):
    """Where a rule or a limit comes from."""

    REGULATION = "regulation"
    STANDARD = "standard"
    MANUAL = "maker's manual"
    SHOP_RULE = "shop rule"
    COMMON_PRACTICE = "common practice, no source"
    METHOD = "method"


@frozen(field_transformer=typed)
class Basis:
    """Where a rule, limit or method comes from.

    text : title and clause ("33 CFR 183.425, Table 5"); for common practice, what the practice is
    note : how far it applies ("on an outboard boat this is practice, not law")
    """

    kind: BasisKind
    text: str
    note: str = ""

    def __str__(self) -> str:
        base = f"{self.text} ({self.kind.value})"
        return f"{base}; {self.note}" if self.note else base


def _finite(_instance: object, field: attrs.Attribute[float], value: float) -> None:
    if not math.isfinite(value):
        raise ValueError(f"{field.name} must be a finite number, got {value!r}")


_DRAWN_UP_TO = 1e30
"""Beyond it the scale of a figure overflows."""


def _drawn(_instance: object, field: attrs.Attribute[float], value: float) -> None:
    if not abs(value) <= _DRAWN_UP_TO:
        raise ValueError(f"{field.name} must be a finite number up to {_DRAWN_UP_TO:g}, got {value!r}")


def _drawn_or_none(instance: object, field: attrs.Attribute[float], value: float | None) -> None:
    if value is not None:
        _drawn(instance, field, value)


def _not_below_zero(_instance: object, field: attrs.Attribute[float | None], value: float | None) -> None:
    if value is not None and not (math.isfinite(value) and value >= 0):
        raise ValueError(f"{field.name} must be a finite number, zero or above, got {value!r}")


def _few_digits(_instance: object, field: attrs.Attribute[int], value: int) -> None:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= _MOST_DECIMALS:
        raise ValueError(f"{field.name} must be a whole number from 0 to {_MOST_DECIMALS}, got {value!r}")


_MOST_DECIMALS = 9
_MOST_EXTRA_DECIMALS = 2
MOST_PLACES = 10_000
"""Values that one finding may rest on."""


def with_uncertainty(value: float, expanded_uncertainty: float | None, decimals: int = 1, *, plus: bool = False) -> str:
    """A value with its expanded uncertainty, to as many digits as that bears [1].

    value                : any finite number, in some unit
    expanded_uncertainty : half width of its 95 % interval, same unit, zero or above; None or zero where the number
                           is exact or a count
    decimals             : digits after the point, more where the half width would lose its first digit, fewer where it
                           would show three
    plus                 : whether a positive value carries its sign

    >>> with_uncertainty(60, 0.3, 0), with_uncertainty(472.71, 19.9), with_uncertainty(0.304, 0.66)
    ('60.0 ± 0.3', '473 ± 20', '0.3 ± 0.7')
    >>> with_uncertainty(540, 0, 0)
    '540'

    A minus is a real one. A value that rounds to nothing has none: "0.0", never "-0.0".

    >>> with_uncertainty(-100, None), with_uncertainty(-0.04, None)
    ('−100.0', '0.0')

    [1] JCGM 100:2008, 7.2.6: at most two significant digits in an uncertainty, the value rounded to match.
    """
    sign = "+z" if plus else "z"  # z: no minus before a zero
    return _digits(value, expanded_uncertainty, decimals, sign).replace("-", "−")


def _digits(value: float, half_width: float | None, decimals: int, sign: str) -> str:
    if not half_width:  # zero says that it is exact, as a count is: no instrument reads "± 0"
        return rounded(value, decimals, sign)
    leading = -math.floor(math.log10(half_width))  # place of its first digit, 1 for tenths
    shown = max(0, min(max(decimals, leading), leading + 1))
    finest = decimals + _MOST_EXTRA_DECIMALS
    if shown > finest:
        return f"{rounded(value, finest, sign)} ± less than {10.0**-finest:.{finest}f}"
    return f"{rounded(value, shown, sign)} ± {rounded(half_width, shown)}"


_ROUNDING = 1e-9
"""By this share of a number, and of 1 near nothing, two ways of working it out may differ."""


def are_one(value: float, other: float) -> bool:
    """Whether two numbers are one, worked out in two ways: 0.1 + 0.2 is 0.3, and 60.96 cm are 24 in."""
    return math.isclose(value, other, rel_tol=_ROUNDING, abs_tol=_ROUNDING)


def _side(value: float, other: float) -> int:
    return 0 if are_one(value, other) else 1 if value > other else -1


def decimals_beside(value: float, others: Collection[float], decimals: int, *, may_touch: bool = False) -> int:
    """Digits after the point with which a value is told beside others: each as much on its side as it is.

    may_touch : whether it may look as if it were one of them, as a value within a limit that includes its ends

    >>> decimals_beside(23.96, [24.0], 1), decimals_beside(12.25, [12.25], 1), decimals_beside(23.9, [24.0], 1)
    (2, 2, 1)
    """
    apart = [other for other in others if not are_one(value, other)]
    if len(apart) < len(others):  # at a limit it has that one's digits, unless they have no end
        exact = range(decimals, min(decimals + _MOST_EXTRA_DECIMALS, _MOST_DECIMALS) + 1)
        decimals = next((shown for shown in exact if are_one(float(rounded(value, shown)), value)), decimals)
    finer = range(decimals, _MOST_DECIMALS + 1)
    fitting = (shown for shown in finer if all(_is_told(value, other, shown, may_touch) for other in apart))
    return next(fitting, finer[-1])


def rounded_beside(value: float, others: Collection[float], decimals: int = 0, *, may_touch: bool = False) -> str:
    """A number to so many digits, and to more where it would be told on the other side of a limit beside it.

    others    : limits, or other numbers of the sentence
    may_touch : as of `decimals_beside`

    >>> rounded_beside(59.6, [60]), rounded_beside(61.2, [60]), rounded_beside(99.97, [100])
    ('59.6', '61', '99.97')
    """
    return rounded(value, decimals_beside(value, others, decimals, may_touch=may_touch))


def _is_told(value: float, end: float, decimals: int, may_touch: bool) -> bool:
    """Whether a value rounded so lies as it does to an end, however closely that is written beside it."""
    shown, side = float(rounded(value, decimals)), _side(value, end)
    return {_side(shown, end), _side(shown, float(rounded(end, decimals)))} <= {side, 0 if may_touch else side}


def end_beside(number: Number, end: float) -> str:
    """An end of a limit as it is written beside its number: with four digits, or with as many as keep them apart.

    >>> [end_beside(Number("drop", value), end) for value, end in ((4.1, 3.0), (2.9, 3.0), (1234.7, 1234.6))]
    ['3', '3', '1234.6']
    """
    told = float(rounded(number.value, number.decimals))
    side = _side(number.value, end)
    texts = (plain_text(end, digits) for digits in range(4, 11))
    found = next((text for text in texts if _side(told, float(text)) == side), "")
    if not found:
        is_here = side == 0 or are_one(told, end)
        found = plain_text(told, 10) if is_here else plain_text(end, 10)
    return found.replace("-", "−")


with_spread = with_uncertainty
"""A former name of `with_uncertainty`, which older plugins may use."""


@frozen(init=False, field_transformer=typed)
class Number:
    """A result with its unit. One that people often spell otherwise is spelled as elsewhere: "gph" is "gal/h".

    expanded_uncertainty : half width of the 95 % interval, in the same unit; None where the number is exact or a count
    decimals             : digits after the point worth showing, 0 to 9; see `with_uncertainty`
    coverage_factor      : by which its standard uncertainty was multiplied; None where there is no one such factor
    degrees_of_freedom   : of its standard uncertainty; None where it was not told by repeating

    `uncertainty` is the name under which plugins written for version 1 give and read the expanded uncertainty.
    """

    name: str
    value: float = attrs.field(validator=_finite)
    unit: str = attrs.field(default="", converter=own_spelling_of)
    expanded_uncertainty: float | None = attrs.field(default=None, validator=_not_below_zero)
    decimals: int = attrs.field(default=1, validator=_few_digits)
    coverage_factor: float | None = attrs.field(default=None, validator=_not_below_zero)
    degrees_of_freedom: int | None = None

    def __init__(
        self,
        name: str,
        value: float,
        unit: str = "",
        expanded_uncertainty: float | None = None,
        decimals: int = 1,
        *,
        coverage_factor: float | None = None,
        degrees_of_freedom: int | None = None,
        uncertainty: float | None = None,
    ) -> None:
        half_width = uncertainty if expanded_uncertainty is None else expanded_uncertainty
        self.__attrs_init__(name, value, unit, half_width, decimals, coverage_factor, degrees_of_freedom)

    @classmethod
    def of(cls, name: str, measured: MeasuredValue, decimals: int = 1) -> Number:
        """A measured value as a result; one that is exact shows no uncertainty."""
        if not measured.expanded_uncertainty:
            return cls(name, measured.value, measured.unit, decimals=decimals)
        return cls(
            name,
            measured.value,
            measured.unit,
            measured.expanded_uncertainty,
            decimals,
            coverage_factor=measured.coverage_factor,
            degrees_of_freedom=measured.degrees_of_freedom,
        )

    @property
    def uncertainty(self) -> float | None:
        """The expanded uncertainty, under its name of version 1."""
        return self.expanded_uncertainty

    def __str__(self) -> str:
        return f"{with_uncertainty(self.value, self.expanded_uncertainty, self.decimals)} {self.unit}".rstrip()


def _finite_or_open(_instance: object, field: attrs.Attribute[float | None], value: float | None) -> None:
    if value is not None and not math.isfinite(value):
        raise ValueError(f"{field.name} must be a finite number, or None where that end is open, got {value!r}")


@frozen(field_transformer=typed)
class Limit:
    """What a verdict holds one of its numbers against: both ends belong to it, and either may be open.

    number    : name of the Number it bounds, which the finding gives once
    low, high : in that number's unit; None where that end is open

    Raises ValueError where both ends are open, and where low lies above high.

    >>> limit = Limit("drop", high=3.0)
    >>> [limit.holds(2.9), limit.holds(2.9, 0.3), limit.reaches(3.1), limit.reaches(3.1, 0.3)]
    [True, False, False, True]
    """

    number: str
    low: float | None = attrs.field(default=None, validator=_finite_or_open)
    high: float | None = attrs.field(default=None, validator=_finite_or_open)

    def __attrs_post_init__(self) -> None:
        if self.low is None and self.high is None:
            raise ValueError(f"limit of {self.number!r} has neither low nor high; give one")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError(f"limit of {self.number!r}: low {in_full(self.low)} lies above high {in_full(self.high)}")

    def holds(self, value: float, expanded_uncertainty: float = 0.0) -> bool:
        """Whether the whole 95 % interval of a value lies within."""
        return self._within(value - expanded_uncertainty, value + expanded_uncertainty)

    def reaches(self, value: float, expanded_uncertainty: float = 0.0) -> bool:
        """Whether any of the 95 % interval of a value lies within."""
        return self._within(value + expanded_uncertainty, value - expanded_uncertainty)

    def _within(self, above_low: float, below_high: float) -> bool:
        low = self.low is None or above_low >= self.low - _ROUNDING * abs(self.low)
        return low and (self.high is None or below_high <= self.high + _ROUNDING * abs(self.high))


@frozen(field_transformer=typed)
class Axis:
    """One axis of a figure.

    whole : whether only whole numbers are marked on it, as for runs that are counted
    """

    label: str
    unit: str = attrs.field(default="", converter=own_spelling_of)
    low: float | None = attrs.field(default=None, validator=_drawn_or_none)
    high: float | None = attrs.field(default=None, validator=_drawn_or_none)
    whole: bool = False


@frozen
class Series:
    """Points to draw: on the first or the second y axis, joined by a line, as markers, or both.

    gaps : ranges of x, low end and high end, over which nobody knows y: no line is drawn across
    """

    name: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    second_axis: bool = False
    line: bool = True
    markers: bool = True
    gaps: tuple[tuple[float, float], ...] = ()

    def __attrs_post_init__(self) -> None:
        if len(self.x) != len(self.y):
            raise ValueError(f"series {self.name!r}: {len(self.x)} x values but {len(self.y)} y values")
        for value in (*self.x, *self.y):
            if not (isinstance(value, int | float) and abs(value) <= _DRAWN_UP_TO):
                raise ValueError(f"series {self.name!r}: expected finite numbers up to {_DRAWN_UP_TO:g}, got {value!r}")

    @property
    def stretches(self) -> tuple[tuple[int, int], ...]:
        """The points that one line joins, as first and one past the last; all where there is no gap."""
        breaks = [
            place
            for place, (before, after) in enumerate(pairwise(self.x), 1)
            if any(before <= low and high <= after for low, high in self.gaps)
        ]
        return tuple(pairwise((0, *breaks, len(self.x))))


@frozen(field_transformer=typed)
class Band:
    """A range on an axis ("x", "y" or "y2") that means something, such as the full-throttle window."""

    name: str
    axis: str
    low: float = attrs.field(validator=_drawn)
    high: float = attrs.field(validator=_drawn)


@frozen(field_transformer=typed)
class Marker:
    """One point worth a word, such as the best-economy cruise."""

    name: str
    x: float = attrs.field(validator=_drawn)
    y: float = attrs.field(validator=_drawn)
    second_axis: bool = False


@frozen(field_transformer=typed)
class Figure:
    """Plain data to draw; every surface draws the same."""

    title: str
    x: Axis
    y: Axis
    series: tuple[Series, ...]
    y2: Axis | None = None
    bands: tuple[Band, ...] = ()
    markers: tuple[Marker, ...] = ()
    equal_scales: bool = False


@frozen(field_transformer=typed)
class Table:
    """Rows of text under headings; headings carry units.

    card : worth keeping by itself, such as a deviation card; the book sets it in a frame to be cut out
    """

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    card: bool = False

    def __attrs_post_init__(self) -> None:
        for number, row in enumerate(self.rows):
            if len(row) != len(self.headings):
                raise ValueError(
                    f"table {self.title!r}, row {number}: {len(row)} cells for {len(self.headings)} headings"
                )


class Lack(enum.Enum):
    """Why something a calculation needs cannot be used. The value is what `--json` carries."""

    NOT_ENTERED = "not entered"
    NOT_TRIED = "not tried yet"
    DISAGREES = "values disagree"
    UNREADABLE = "cannot be read"
    OUT_OF_RANGE = "out of range"
    CONTRADICTS = "readings contradict each other"
    TOO_LITTLE = "too few or too short"
    UNSUITABLE = "conditions do not suit"
    NOT_COVERED = "method does not reach so far"
    RECORDING_NOT_HERE = "recording not here"
    NOT_IN_RECORDING = "not in the recording"
    SIMULATED = "simulated run"
    LEFT_OUT = "left out by the shop"
    OTHER = "other"


@frozen(field_transformer=typed)
class Missing:
    """One thing a calculation needs and does not have.

    text : what is missing or out of range, and what to do ("speed, row 2 is not entered")
    step : where to look; the host fills in the calculator's own where it is left open
    field, row, of : the place in that step, as far as it is one. A fact of the vessel is named by its record and key
                     ("engines.rated_power", of "port"). "" where it is no one place
    """

    text: str = attrs.field(converter=with_minus)
    lack: Lack = attrs.field(default=Lack.OTHER, kw_only=True)
    step: str = attrs.field(default="", kw_only=True)
    field: str = attrs.field(default="", kw_only=True)
    row: str = attrs.field(default="", kw_only=True)
    of: str = attrs.field(default="", kw_only=True)

    def __str__(self) -> str:
        return self.text


def _says_something(_instance: object, field: attrs.Attribute[str], value: str) -> None:
    if not value.strip(" .\t\r\n"):
        raise ValueError(f"{field.name} of a doubt must say what contradicts the value, got {value!r}")


@frozen(field_transformer=typed)
class Doubt:
    """A value that another reading contradicts. Whatever rests on it passes nothing until somebody has looked.

    text                 : what contradicts it, as the rest of "In doubt: ..." ("run 2 is 3.1 kn above the log")
    step, field, row, of : the place of the value, as in `Finding.places`
    """

    text: str = attrs.field(validator=_says_something, converter=with_minus)
    step: str = attrs.field(kw_only=True)
    field: str = attrs.field(kw_only=True)
    row: str = attrs.field(default="", kw_only=True)
    of: str = attrs.field(default="", kw_only=True)

    @property
    def place(self) -> tuple[str, str, str, str]:
        """Step, field, row and piece, as in `Finding.places`."""
        return self.step, self.field, self.row, self.of


_CODE = re.compile(r"[a-z0-9_]+(\.[a-z0-9_]+)+")


def _code(_instance: object, _field: attrs.Attribute[str], code: str) -> None:
    if code and not _CODE.fullmatch(code):
        raise ValueError(f'code must read "plugin.topic.what" in small letters, digits and "_", got {code!r}')


@frozen(kw_only=True)
class Finding:
    """One thing a calculator found.

    code     : what was found, for programs ("prop_check.window.above"); it stays when the sentence is reworded. Where
               a plugin gives none, the host makes one from the calculator's key and the verdict
    about    : what it is about ("port engine", "circuit Bilge pump")
    sentence : one short sentence that says the result and what to do next
    basis    : at least one, whatever the verdict
    missing  : what keeps it from a result, with the verdict "not enough data"
    notes    : texts of the job's notes it tells: a punch list need not tell them again
    short    : the sentence in a document, where the verdict stands beside it and need not be said twice, and where
               nobody needs what the technician does next ("Go on to the turn."); "" where that is the same
    of       : the piece of equipment it is about, where it is about one ("port", "Bilge pump")
    places   : the values it rests on, each as step, field, row, of. Where a plugin names none, the host fills in what
               its calculator read; with `of`, of that piece. A fact of the vessel has the step `OF_VESSEL` and is named
               by record and key ("batteries.capacity", of "house"); where a plugin names such facts alone, the host
               adds what was read
    forecasts : propellers that may be tried next, the best first, each as it is kept once somebody says "try this one"
    limits   : what the verdict holds its numbers against, where it compares a number with a limit. A fail for another
               reason, such as a "no", names none whose number keeps it
    doubts   : values it shows to be in doubt; only a calculator with `may_doubt` gives them, and never with a pass
    doubted  : doubts of others about values it rests on. The host fills them in, makes "advise" of a pass, and says
               so in the sentence
    code_in_doubt, sentence_in_doubt : for advice that nobody should follow while a value it rests on is in doubt: what
               the host tells then instead, without numbers, limits, tables and figures

    Raises ValueError for a verdict without a basis, for "not enough data" that still gives a number, and for a pass
    that doubts.
    """

    code: str = attrs.field(default="", validator=_code)

    verdict: Verdict
    about: str
    sentence: str = attrs.field(converter=with_minus)
    basis: tuple[Basis, ...]
    numbers: tuple[Number, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    missing: tuple[Missing, ...] = ()
    notes: tuple[str, ...] = ()
    short: str = attrs.field(default="", converter=with_minus)
    of: str = ""
    places: tuple[tuple[str, str, str, str], ...] = ()
    forecasts: tuple[Forecast, ...] = ()
    limits: tuple[Limit, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    doubted: tuple[Doubt, ...] = ()
    code_in_doubt: str = attrs.field(default="", validator=_code)
    sentence_in_doubt: str = attrs.field(default="", converter=with_minus)

    def __attrs_post_init__(self) -> None:
        if self.doubts and self.verdict is Verdict.PASS:
            raise ValueError(f"finding about {self.about!r}: what doubts a value does not pass")
        if bool(self.code_in_doubt) != bool(self.sentence_in_doubt):
            raise ValueError(f"finding about {self.about!r}: code_in_doubt and sentence_in_doubt go together")
        if not self.basis:
            raise ValueError(f"finding about {self.about!r} has no basis")
        if self.verdict is Verdict.NOT_ENOUGH_DATA and self.numbers:
            raise ValueError(f"finding about {self.about!r}: 'not enough data' must not give a number")
        if self.missing and self.verdict is not Verdict.NOT_ENOUGH_DATA:
            raise ValueError(f"finding about {self.about!r}: only 'not enough data' may name what is missing")
        if self.limits and _are(self.limits, Limit) and _are(self.numbers, Number):  # else the host tells its author
            object.__setattr__(self, "numbers", tuple(map(self._beside_limits, self.numbers)))

    def _beside_limits(self, number: Number) -> Number:
        """A number with so many digits that it is not shown at a limit, or beyond, where it is not. A "±" says more."""
        if number.expanded_uncertainty:
            return number
        decimals = number.decimals
        for limit in (limit for limit in self.limits if limit.number == number.name):
            ends = [end for end in (limit.low, limit.high) if end is not None]
            decimals = decimals_beside(number.value, ends, decimals, may_touch=limit.holds(number.value))
        return number if decimals == number.decimals else attrs.evolve(number, decimals=decimals)

    @property
    def bounded(self) -> tuple[tuple[Number, Limit], ...]:
        """Numbers with the limits the verdict holds them against: those beyond first, then those too close to tell."""
        pairs = [(number, limit) for limit in self.limits for number in self.numbers if number.name == limit.number]
        return tuple(sorted(pairs, key=_kept))


def _kept(pair: tuple[Number, Limit]) -> tuple[bool, bool]:
    number, limit = pair
    return limit.holds(number.value), limit.holds(number.value, number.expanded_uncertainty or 0.0)


def _are(parts: object, kind: type[object]) -> bool:
    return isinstance(parts, tuple) and all(type(one) is kind for one in parts)


_Place = tuple[str, str, str, str]
_NOWHERE: _Place = ("", "", "", "")
OF_VESSEL = "vessel"
"""Stands as the step of a fact of the vessel among the places of a finding or a doubt."""


def not_enough_data(about: str, missing: Iterable[Missing | str], basis: tuple[Basis, ...]) -> Finding:
    """The finding that names what is missing. Its code is its calculator's, which the host fills in."""
    items = _items(missing)
    reasons = "; ".join(dict.fromkeys(item.text for item in items))
    return Finding(
        verdict=Verdict.NOT_ENOUGH_DATA,
        about=about,
        sentence=f"Not enough data: {reasons}.",
        short=f"{reasons[:1].upper()}{reasons[1:]}.",
        missing=items,
        basis=basis,
    )


def _items(missing: Iterable[Missing | str], lack: Lack = Lack.OTHER, place: _Place = _NOWHERE) -> tuple[Missing, ...]:
    step, field, row, of = place
    items = [
        Missing(one, lack=lack, step=step, field=field, row=row, of=of) if isinstance(one, str) else one
        for one in missing
    ]
    return tuple(dict.fromkeys(item for item in items if item.text)) or (Missing("the check gives no reason"),)


class NotEnoughData(GarboardError):
    """A calculator cannot give a number, for want of one thing or several. The host makes the finding that says so.

    Findings that the calculator gave before it stand.

    missing                    : each thing once; a reason given as text is of the kind and place that follow
    lack, step, field, row, of : as in `Missing`
    """

    def __init__(
        self,
        *missing: Missing | str,
        lack: Lack = Lack.OTHER,
        step: str = "",
        field: str = "",
        row: str = "",
        of: str = "",
    ) -> None:
        self.missing = _items(missing, lack, (step, field, row, of))
        super().__init__("; ".join(self.reasons))

    @property
    def reasons(self) -> tuple[str, ...]:
        """What is missing and what to do, in words, each text once."""
        return tuple(dict.fromkeys(item.text for item in self.missing))
