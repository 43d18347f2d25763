"""Hull numbers: read as typed, explained fault by fault, and compared without ever being guessed.

[1] 33 CFR 181.25, hull identification number format: 12 characters, no check digit.
[2] Transport Canada TP 1332, section 2: the same 12; maker code of letters or numerals; CA- may stand in front.
[3] ISO 10087: country code in front of the 12, printed CC-MMMSSSSS-MY-YY.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from itertools import product
from math import prod
from string import ascii_uppercase

import attrs

from garboard.faults import Fault, InputError

__all__ = [
    "FIRST_YEAR_OF_THIS_FORM",
    "LETTERS_BARRED_FROM_SERIAL",
    "MONTH_LETTERS",
    "NO_BOAT",
    "OLDER_FORM",
    "HullNumber",
    "KnownElsewhere",
    "KnownNumbers",
    "key",
    "look_alikes",
    "marks",
    "parse",
    "printed",
    "refuse_no_boat",
    "repair_suggestions",
    "scanned",
    "sought",
]

SOURCE = "hull number"
NO_BOAT = "SHOPSETTINGSNOBOAT"
"""Stands for a hull number where the shop's own settings are kept. A hull number has 12 or 14 characters."""
_LONGEST_COMPARED = 512
"""More than any key of a number that a person types, signs spelled out. An entry can name another hull by any text: to
spell out each slip in thousands of characters takes minutes."""
MONTH_LETTERS = "ABCDEFGHIJKL"
LETTERS_BARRED_FROM_SERIAL = "IOQ"
FIRST_YEAR_OF_THIS_FORM = 1984
OLDER_FORM = "US before 1984"

_DASHES = "-\u00ad\u2010\u2011\u2012\u2013\u2014\u2212"
_SEPARATORS = " \t\n\r/" + _DASHES
_NOT_IN_KEY = re.compile(r"[^A-Z0-9]+")
_KEY_CHARACTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
_READ_AS = {"0": "0OQ", "1": "1I"}
_WITH_LETTERS, _WITH_COUNTRY, _WITH_SIGNS = "~", "+", "^"
"""Before marks that are no numbers; no key has them."""
_SPELLED_OUT = re.compile("U([0-9A-F]{4})")
_LOOKS_LIKE = str.maketrans("АВСЕНІЈКМОРЅТХУΑΒΕΖΗΙΚΜΝΟΡΤΥΧ", "ABCEHIJKMOPSTXYABEZHIKMNOPTYX")
"""Cyrillic and Greek capitals that a keyboard of another language types, by their shape."""
_MOST_READINGS = 20_000
_TO_NUMERALS = str.maketrans({"O": "0", "I": "1", "Q": "0"})
# Before August 1984 (from memory, no source at hand): ABC12345 + month and year in figures,
# or ABC12345 + M + model year + month letter counted from August.
_OLDER_FIGURES = re.compile(r"([A-Z]{3})([A-Z0-9]{5})(0[1-9]|1[0-2])(7[2-9]|8[0-4])")
_OLDER_MODEL_YEAR = re.compile(r"([A-Z]{3})([A-Z0-9]{5})M(7[2-9]|8[0-4])([A-L])")


@attrs.frozen
class HullNumber:
    """One hull number, taken apart.

    country    : two letters in front of the number, or "" when none stands there
    maker      : 3 characters
    serial     : 5 characters
    month      : month of certification or manufacture, 1 to 12
    year_digit : last digit of that year, 0 to 9
    model_year : full year; 84 to 99 are read as 1984 to 1999
    text       : the number as its form prints it; what every screen and report shows
    form       : "US", "Canada", "ISO" or "US before 1984"
    cleaned    : what was changed to read it, in words; empty when it was typed as printed
    doubts     : warnings; the number is well formed, a person should look again
    """

    country: str
    maker: str
    serial: str
    month: int
    year_digit: int
    model_year: int
    text: str
    form: str
    cleaned: tuple[str, ...] = attrs.field(default=(), eq=False)
    doubts: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """What entries are merged by: the capitals and numerals alone."""
        return key(self.text)

    def __str__(self) -> str:
        return self.text


def printed(text: str) -> str:
    """A hull number as its form prints it; as given where it is not well formed.

    >>> printed("fi-qqzcat01d626"), printed("FIQQZCAT01D626"), printed("qqz 1")
    ('FI-QQZCAT01-D6-26', 'FI-QQZCAT01-D6-26', 'qqz 1')
    """
    try:
        return parse(text).text
    except InputError:
        return text


def scanned(text: str) -> str:
    """What somebody looks for who may have scanned a boat's sticker: of a boat's address its last part, else the text.

    >>> scanned("https://shop.example:8443/boats/QQZ04417D626"), scanned("night heron")
    ('QQZ04417D626', 'night heron')
    """
    _, of_a_boat, number = text.strip().rstrip("/").rpartition("/boats/")
    return number if of_a_boat else text


def sought(text: str) -> str:
    """A text as searches compare it: small letters, without accents, however they were typed.

    >>> sought("Zo\u00eb"), sought("Zoe\u0308"), sought("\u0130STANBUL"), sought("Gro\u00dfe")
    ('zoe', 'zoe', 'istanbul', 'grosse')
    """
    if text.isascii():
        return text.lower()
    parted = unicodedata.normalize("NFKD", text).casefold()
    return "".join(one for one in parted if not unicodedata.combining(one))


def key(text: str) -> str:
    """The merge key of a hull number, well formed or not: its letters and numerals, in capitals.

    Characters outside A to Z and 0 to 9 that are not separators are spelled out by code point, so that two
    different numbers never share a key because of a character nobody expected.

    text    : as typed, not empty
    returns : capitals and numerals only, never empty
    errors  : InputError when text is empty

    >>> key(" ca-abc2ab41g091")
    'CAABC2AB41G091'
    """
    if not text:
        raise InputError(SOURCE, [Fault("hull number", "the number on the transom", "nothing")])
    if text.isascii():
        kept = text.upper() if text.isalnum() else _NOT_IN_KEY.sub("", text.upper())
    else:
        kept = "".join(map(_key_character, unicodedata.normalize("NFKC", text)))
    return kept or "".join(_spelled_out(character) for character in text)


def parse(text: str) -> HullNumber:
    """Read a hull number as typed.

    text    : as typed; case, spaces, hyphens and slashes are put right and noted in `cleaned`
    returns : the number taken apart
    errors  : InputError with every fault: the position and what may stand there

    >>> parse("abc12345c393").text
    'ABC12345C393'
    """
    refuse_no_boat(text)
    country, body = _country_and_body(text)
    older = _older_form(body) if not country else None
    number = older or _current_form(country, body)
    return attrs.evolve(number, cleaned=_what_was_cleaned(text, number.text))


def refuse_no_boat(text: str) -> None:
    """Raise InputError for what stands in the place of a hull number and is no boat's."""
    if text and key(text) == NO_BOAT:
        got = f"{NO_BOAT}, under which the shop's own settings are kept; no boat has it"
        raise InputError(SOURCE, [Fault("hull number", "the number on the transom", got)])


class KnownNumbers:
    """Hull numbers in use, laid out so that what looks like one is found without a look at each of them.

    A number differs by one slip from few others: they are spelled out, and looked up.
    """

    def __init__(self, known: Iterable[str] = ()) -> None:
        self._place: dict[str, int] = {}
        self._typed: dict[str, list[str]] = {}
        self._with_letters: dict[str, list[str]] = {}
        self._with_country: dict[str, list[str]] = {}
        for number in known:
            self.add(number)

    def add(self, number: str) -> None:
        """Take in a number; the same one typed differently stands beside it."""
        this = key(number)
        if number in self._place or this == NO_BOAT:
            return
        self._place[number] = len(self._place)
        if this in self._typed:
            self._typed[this].append(number)
            return
        self._typed[this] = [number]
        if (plain := _as_numerals(_as_it_looks(this))) != this:
            self._with_letters.setdefault(plain, []).append(this)
        if len(this) == 14 and this[:2].isalpha():
            self._with_country.setdefault(this[2:], []).append(this)

    def look_alikes(self, text: str) -> tuple[str, ...]:
        """Those that may be the same boat, likeliest first; see `look_alikes`."""
        typed = key(text)
        if typed == NO_BOAT or len(typed) > _LONGEST_COMPARED:
            return ()
        likeliest_first = (self._differing_by_letters, self._differing_by_country, _swapped, _with_one_other)
        found = [
            number
            for differing in likeliest_first
            for number in self._in_order(other for other in differing(typed) if other != typed)
        ]
        return tuple(dict.fromkeys(found))

    def _in_order(self, keys: Iterable[str]) -> list[str]:
        """How those of the keys that are known were typed, in the order they came."""
        return sorted((number for this in {*keys} for number in self._typed.get(this, ())), key=self._place.__getitem__)

    def _differing_by_letters(self, typed: str) -> Iterable[str]:
        plain = _as_numerals(_as_it_looks(typed))
        return (plain, *self._with_letters.get(plain, ()))

    def _differing_by_country(self, typed: str) -> Iterable[str]:
        shorter = [typed[2:]] if len(typed) == 14 and typed[:2].isalpha() else []
        return (*shorter, *(self._with_country.get(typed, ()) if len(typed) == 12 else ()))


class KnownElsewhere(KnownNumbers):
    """Numbers of which there are too many to lay out, and some others.

    may_be : those of some marks that may be among the `marks` of one of them; all that are, and few besides
    beside : those keys that differ from one in a character and may be one of them; all that are, and few besides
    is_one : whether a number is one of them
    listed : all of them laid out after all
    """

    def __init__(
        self,
        may_be: Callable[[Iterable[str]], list[str]],
        beside: Callable[[str], list[str]],
        is_one: Callable[[str], bool],
        listed: Callable[[], KnownNumbers],
        others: Iterable[str],
    ) -> None:
        super().__init__(sorted(others))
        self._may_be, self._beside, self._is_one, self._listed = may_be, beside, is_one, listed
        self._with_gap: dict[tuple[str, str], list[str]] = {}
        for other in self._typed:
            for gap in _gaps(other):
                self._with_gap.setdefault(gap, []).append(other)

    def look_alikes(self, text: str) -> tuple[str, ...]:
        typed = key(text)
        if typed == NO_BOAT or len(typed) > _LONGEST_COMPARED:
            return ()
        has_signs = _as_it_looks(typed) != typed or self._may_be([_WITH_SIGNS + _as_numerals(typed)])
        if has_signs or _readings(typed) > _MOST_READINGS:
            return self._listed().look_alikes(text)
        found: dict[str, None] = {}
        for group in (self._differing_by_letters, self._differing_by_country, _swapped):
            named = [*group(typed)]
            found |= self._those_known({*self._may_be(named), *(self._typed.keys() & named)} - {typed})
        among_others = (other for gap in _gaps(typed) for other in self._with_gap.get(gap, ()))
        return tuple(found | self._those_known({*self._beside(typed), *among_others} - {typed}))

    def _those_known(self, numbers: Iterable[str]) -> dict[str, None]:
        return dict.fromkeys(sorted(number for number in numbers if number != NO_BOAT and self._is_known(number)))

    def _is_known(self, number: str) -> bool:
        return number in self._typed or self._is_one(number)

    def _differing_by_letters(self, typed: str) -> Iterable[str]:
        plain = _as_numerals(typed)
        if not self._may_be([_WITH_LETTERS + plain]):
            return super()._differing_by_letters(typed)
        readings = product(*(_READ_AS.get(character, character) for character in plain))
        return (*super()._differing_by_letters(typed), *map("".join, readings))

    def _differing_by_country(self, typed: str) -> Iterable[str]:
        named = super()._differing_by_country(typed)
        if len(typed) != 12 or not self._may_be([_WITH_COUNTRY + typed]):
            return named
        return (*named, *(f"{one}{other}{typed}" for one in ascii_uppercase for other in ascii_uppercase))


def marks(number: str) -> Iterator[str]:
    """What a number is looked up by where all are not at hand: itself, and how it reads where letters, a country code,
    or signs that no number has make it another number that may be the same boat.

    >>> [*marks("USCOB45678C393")]
    ['USCOB45678C393', '~USC0B45678C393', '+COB45678C393']
    """
    this = key(number)
    if this == NO_BOAT:
        return
    yield this
    if (plain := _as_numerals(this)) != this:
        yield _WITH_LETTERS + plain
    if len(this) == 14 and this[:2].isalpha():
        yield _WITH_COUNTRY + this[2:]
    if (plain := _as_it_looks(this)) != this:
        yield _WITH_SIGNS + _as_numerals(plain)


def _readings(typed: str) -> int:
    """How many numbers read as one where letters are taken for numerals."""
    return prod(len(_READ_AS.get(character, character)) for character in _as_numerals(typed))


def look_alikes(text: str, known: Iterable[str]) -> tuple[str, ...]:
    """Known hull numbers that may be the same boat, likeliest first: to offer, never to apply.

    text    : the number in question
    known   : numbers already in use; the same number typed differently is not a look-alike
    returns : those that differ by O for 0 or I for 1, by a sign that looks like another or like none, by the
              country code, by one swapped pair of neighbours, or by one character

    >>> look_alikes("ABC0OO01A526", ["ABC00001A526", "XYZHJKLMF626"])
    ('ABC00001A526',)
    >>> look_alikes("ABC00001A526\\u200b", ["ABC00001A526"]), look_alikes("\\u0410BC00001A526", ["ABC00001A526"])
    (('ABC00001A526',), ('ABC00001A526',))
    """
    return KnownNumbers(known).look_alikes(text)


def repair_suggestions(text: str) -> tuple[str, ...]:
    """Well-formed numbers that a faulty one becomes when a sign is read as the letter or the numeral it looks like.

    text    : as typed
    returns : numbers to offer; empty when the number is well formed or nothing helps

    >>> repair_suggestions("ABC0I001A526")
    ('ABC01001A526',)
    """
    if _parse_or_none(text) is not None:
        return ()
    country, body = _country_and_body("".join(map(_plain_character, unicodedata.normalize("NFKC", text))))
    if len(body) != 12:
        return ()
    month = "I" if body[8] == "1" else body[8]
    repaired = body[:3] + _as_numerals(body[3:8]) + month + _as_numerals(body[9:])
    number = _parse_or_none(f"{country}-{repaired}" if country else repaired)
    return (number.text,) if number is not None else ()


def _current_form(country: str, body: str) -> HullNumber:
    faults = _faults(country, body)
    if faults:
        raise InputError(SOURCE, faults)
    year_digit, model_digits = int(body[9]), int(body[10:])
    model_year = model_digits + (1900 if model_digits >= FIRST_YEAR_OF_THIS_FORM % 100 else 2000)
    form = _form(country, body[:3])
    return HullNumber(
        country=country,
        maker=body[:3],
        serial=body[3:8],
        month=MONTH_LETTERS.index(body[8]) + 1,
        year_digit=year_digit,
        model_year=model_year,
        text=_printed(form, country, body),
        form=form,
        doubts=_date_doubts(year_digit, model_year),
    )


def _older_form(body: str) -> HullNumber | None:
    doubts = ("this is the form used before August 1984: compare it with the boat's papers",)
    if found := _OLDER_FIGURES.fullmatch(body):
        maker, serial, month, year = found.groups()
        return HullNumber(
            "", maker, serial, int(month), int(year[1]), 1900 + int(year), body, OLDER_FORM, doubts=doubts
        )
    if found := _OLDER_MODEL_YEAR.fullmatch(body):
        maker, serial, year, letter = found.groups()
        months_after_august = MONTH_LETTERS.index(letter)
        month_number = (7 + months_after_august) % 12 + 1
        model_year = 1900 + int(year)
        built = model_year - 1 if month_number >= 8 else model_year
        return HullNumber("", maker, serial, month_number, built % 10, model_year, body, OLDER_FORM, doubts=doubts)
    return None


def _faults(country: str, body: str) -> list[Fault]:
    if not body:
        return [Fault("hull number", "12 characters, such as ABC12345C393", "nothing")]
    if len(body) != 12:
        wrong_length = Fault(
            "length",
            "12 characters, or 14 with a country code in front",
            f"{len(body)} after the country code {country}" if country else str(len(body)),
        )
        return [wrong_length, *_character_faults(body)]
    checks = [
        (range(0, 3), _is_letter_or_numeral, "a letter or numeral of the maker code"),
        (range(3, 8), _may_stand_in_serial, "a letter or numeral of the serial, never I, O or Q"),
        (range(8, 9), MONTH_LETTERS.__contains__, "a month letter A to L"),
        (range(9, 10), _is_numeral, "the last numeral of the year of certification or manufacture"),
        (range(10, 12), _is_numeral, "a numeral of the model year"),
    ]
    return [
        Fault(f"position {position + 1}", allowed, repr(body[position]))
        for positions, fits, allowed in checks
        for position in positions
        if not fits(body[position])
    ]


def _character_faults(body: str) -> list[Fault]:
    return [
        Fault(f"position {position}", "a letter A to Z or a numeral", repr(character))
        for position, character in enumerate(body, start=1)
        if not _is_letter_or_numeral(character)
    ]


def _date_doubts(year_digit: int, model_year: int) -> tuple[str, ...]:
    """A boat is built in its model year or the year before (common practice, no source)."""
    if (model_year - year_digit) % 10 in (0, 1):
        return ()
    return (
        f"a build year ending {year_digit} does not go with model year {model_year}: expected a year ending "
        f"{(model_year - 1) % 10} or {model_year % 10}; read the transom again",
    )


def _country_and_body(text: str) -> tuple[str, str]:
    typed = _ascii_upper(unicodedata.normalize("NFKC", text)).strip()
    body = typed.translate(dict.fromkeys(map(ord, _SEPARATORS)))
    prefixed = re.match(rf"([A-Z]{{2}})\s*[{re.escape(_DASHES)}]", typed)
    if prefixed or re.fullmatch(r"[A-Z]{2}[^\s]{12}", body):
        return body[:2], body[2:]
    return "", body


def _form(country: str, maker: str) -> str:
    if country not in ("", "US", "CA"):
        return "ISO"
    return "Canada" if country == "CA" or (not country and not maker.isalpha()) else "US"


def _printed(form: str, country: str, body: str) -> str:
    if form == "ISO":
        return f"{country}-{body[:8]}-{body[8:10]}-{body[10:]}"
    return f"{country}-{body}" if country else body


def _what_was_cleaned(typed: str, printed: str) -> tuple[str, ...]:
    if typed == printed:
        return ()
    plain = unicodedata.normalize("NFKC", typed)
    changes = {
        "unusual characters replaced by the plain ones they stand for": plain != typed,
        "written in capitals": _ascii_upper(plain) != plain,
        "spaces removed": any(character.isspace() for character in plain),
        "slashes removed": "/" in plain,
        "hyphens set as the number is printed": _hyphens(plain) != _hyphens(printed),
    }
    return tuple(change for change, made in changes.items() if made)


def _hyphens(text: str) -> list[tuple[int, str]]:
    """Where the hyphens stand, counted in the other characters before them."""
    marks = [character for character in text if not character.isspace() and character != "/"]
    dashes = set(_DASHES)
    return [(sum(c not in dashes for c in marks[:place]), c) for place, c in enumerate(marks) if c in dashes]


def _key_character(character: str) -> str:
    if _is_letter_or_numeral(_ascii_upper(character)):
        return _ascii_upper(character)
    return "" if character.isascii() or character in _SEPARATORS else _spelled_out(character)


def _spelled_out(character: str) -> str:
    return f"U{ord(character):04X}"


def _as_it_looks(typed: str) -> str:
    """A key as a person reads it: without what cannot be seen, and with a letter or a numeral for what looks like one.

    >>> _as_it_looks("U0410BC00001A526U200B")
    'ABC00001A526'
    """
    return _SPELLED_OUT.sub(_seen_in, typed) if "U" in typed else typed


def _seen_in(spelled: re.Match[str]) -> str:
    character = chr(int(spelled[1], 16))
    looks = _plain_character(character)
    return spelled[0] if looks == character or character.isascii() else looks


def _plain_character(character: str) -> str:
    """What a sign looks like; itself where it looks like no letter or numeral of a number."""
    if character.isascii() or character in _SEPARATORS:
        return character
    if unicodedata.category(character) in ("Cf", "Mn", "Me"):  # nothing that is seen, or a mark on a letter
        return ""
    if unicodedata.digit(character, -1) >= 0:
        return str(unicodedata.digit(character))
    looks = unicodedata.normalize("NFKD", character)[0].upper().translate(_LOOKS_LIKE)
    return looks if len(looks) == 1 and _is_letter_or_numeral(looks) else character


def _ascii_upper(text: str) -> str:
    """Capitals for a to z alone: `str.upper` turns one foreign letter into two."""
    return "".join(c.upper() if "a" <= c <= "z" else c for c in text)


def _is_numeral(character: str) -> bool:
    return character in "0123456789"


def _is_letter_or_numeral(character: str) -> bool:
    return "A" <= character <= "Z" or _is_numeral(character)


def _may_stand_in_serial(character: str) -> bool:
    return _is_letter_or_numeral(character) and character not in LETTERS_BARRED_FROM_SERIAL


def _as_numerals(text: str) -> str:
    return text.translate(_TO_NUMERALS)


def _parse_or_none(text: str) -> HullNumber | None:
    try:
        return parse(text)
    except InputError:
        return None


def _swapped(typed: str) -> Iterator[str]:
    """A key with one pair of neighbours swapped."""
    for place in range(len(typed) - 1):
        yield f"{typed[:place]}{typed[place + 1]}{typed[place]}{typed[place + 2 :]}"


def _gaps(typed: str) -> Iterator[tuple[str, str]]:
    """What stands before and after each character of a key: two keys of one length share one where one differs."""
    return ((typed[:place], typed[place + 1 :]) for place in range(len(typed)))


def _with_one_other(typed: str) -> Iterator[str]:
    """A key with one other character; a key has capitals and numerals only."""
    for place in range(len(typed)):
        before, after = typed[:place], typed[place + 1 :]
        for character in _KEY_CHARACTERS:
            yield f"{before}{character}{after}"
