"""Hull numbers: what is put right, what is refused, what is only offered."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from examples import examples
from garboard.faults import Fault, InputError
from garboard.hull_number import HullNumber, KnownNumbers, key, look_alikes, parse, repair_suggestions

SERIAL = st.text("ABCDEFGHJKLMNPRSTUVWXYZ0123456789", min_size=5, max_size=5)
MAKER = st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=3, max_size=3)
BODY = st.builds(
    "{}{}{}{}{:02d}".format,
    MAKER,
    SERIAL,
    st.sampled_from("ABCDEFGHIJKL"),
    st.integers(0, 9),
    st.integers(0, 99),
)
COUNTRY = st.sampled_from(["", "CA-", "GB-", "US-", "SE-"])
TYPED = st.text("abcABC0123 -/*", max_size=18) | st.text(max_size=18)


def faults_of(text: str) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as refused:
        parse(text)
    return refused.value.faults


def test_a_number_is_taken_apart() -> None:
    """Each part of the 12 characters is named."""
    number = parse("ABC12345C393")
    assert (number.maker, number.serial, number.month, number.year_digit) == ("ABC", "12345", 3, 3)
    assert (number.model_year, number.country, number.form, number.cleaned) == (1993, "", "US", ())


def test_a_wrong_month_letter_is_explained() -> None:
    """The fault names the position, what may stand there and what does."""
    assert str(faults_of("ABC00001M526")[0]) == "position 9: expected a month letter A to L, got 'M'"


def test_every_fault_is_reported_at_once() -> None:
    """Three wrong characters give three faults, in order of position."""
    where = [fault.where for fault in faults_of("ABC0I0O1Z526")]
    assert where == ["position 5", "position 7", "position 9"]


def test_an_odd_character_in_a_number_of_wrong_length_is_named_too() -> None:
    """Length and character are both reported."""
    assert [fault.where for fault in faults_of("ABC*001A52")] == ["length", "position 4"]


@pytest.mark.parametrize(
    ("typed", "printed", "note"),
    [
        ("abc00001a526", "ABC00001A526", "written in capitals"),
        ("ABC 00001 A526", "ABC00001A526", "spaces removed"),
        ("ABC/00001/A526", "ABC00001A526", "slashes removed"),
        ("ABC-00001-A526", "ABC00001A526", "hyphens set as the number is printed"),
        ("CAABC2AB41G091", "CA-ABC2AB41G091", "hyphens set as the number is printed"),
        ("gb-abc00042a399", "GB-ABC00042-A3-99", "hyphens set as the number is printed"),
        ("ＡＢＣ00001A526", "ABC00001A526", "unusual characters replaced by the plain ones they stand for"),
        ("ABC\u201300001A526", "ABC00001A526", "hyphens set as the number is printed"),
    ],
)
def test_what_was_cleaned_is_said(typed: str, printed: str, note: str) -> None:
    """A number typed loosely is read, and every change is named."""
    number = parse(typed)
    assert number.text == printed
    assert note in number.cleaned


def test_a_number_typed_as_printed_has_nothing_cleaned() -> None:
    """No note where nothing was changed."""
    assert [parse(text).cleaned for text in ("ABC00001A526", "GB-ABC00042-A3-99", "CA-ABC2AB41G091")] == [()] * 3


def test_dates_that_contradict_are_a_doubt_not_a_refusal() -> None:
    """A build year ending 5 with model year 2029 is read, and doubted."""
    (doubt,) = parse("ABC00001A529").doubts
    assert "ending 5" in doubt
    assert "2029" in doubt


def test_the_form_before_1984_is_read_with_a_doubt() -> None:
    """An older boat has a key like any other; the month counted from August is understood."""
    number = parse("ABC12345M79D")
    assert (number.form, number.month, number.year_digit, number.model_year) == (
        "US before 1984",
        11,
        8,
        1979,
    )
    assert number.doubts


def test_model_years_are_read_as_1984_to_2083() -> None:
    """The two digits are read from the year the form came into force."""
    assert [parse(f"ABC00001A{yy}").model_year for yy in ("484", "384", "083")] == [1984, 1984, 2083]


@given(COUNTRY, BODY)
def test_a_printed_number_reads_back_as_itself(country: str, body: str) -> None:
    """Reading what was printed changes nothing."""
    number = parse(country + body)
    again = parse(number.text)
    assert again == number
    assert again.cleaned == ()
    assert number.key == key(country + body)


@given(COUNTRY, BODY, st.data())
def test_separators_and_case_never_change_the_number(country: str, body: str, data: st.DataObject) -> None:
    """However it is spaced and typed, it is the same number with the same key."""
    first = 1 if country else 3  # without a country a hyphen after two letters would make them one
    place = data.draw(st.integers(first, 11))
    loose = (country + body[:place] + data.draw(st.sampled_from([" ", "-", "/", "  "])) + body[place:]).lower()
    assert parse(loose) == parse(country + body)
    assert key(loose) == key(country + body)


def test_two_letters_before_a_hyphen_are_a_country_even_if_ten_follow() -> None:
    """A number cut short must not be read as another boat's."""
    assert [fault.where for fault in faults_of("CA-ABC123G091")] == ["length"]


@given(TYPED)
def test_anything_typed_is_read_or_refused_with_faults(text: str) -> None:
    """No typed text causes any other error."""
    outcome: HullNumber | tuple[Fault, ...]
    try:
        outcome = parse(text)
    except InputError as refused:
        outcome = refused.faults
    assert outcome


@given(st.text(min_size=1, max_size=20))
def test_a_key_is_plain_and_stays_itself(text: str) -> None:
    """A key holds capitals and numerals only, is never empty, and is its own key."""
    made = key(text)
    assert made
    assert made.isascii()
    assert made.isalnum()
    assert made == made.upper() == key(made)


def test_keys_of_nothing_but_punctuation_differ() -> None:
    """Two odd texts never share a key by losing all their characters."""
    assert key("--") != key("..")
    assert key("é1") != key("è1")


def test_an_empty_text_has_no_key() -> None:
    """Nothing typed is refused."""
    with pytest.raises(InputError):
        key("")


KNOWN = ("ABC00001A526", "ABC10001A526", "XYZHJKLMF626", "CA-ABC2AB41G091")


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        ("ABCOOOO1A526", ("ABC00001A526",)),
        ("ABCI0001A526", ("ABC10001A526", "ABC00001A526")),
        ("ABC01000A526", ()),
        ("ABC00010A526", ("ABC00001A526",)),
        ("XYZHJKMLF626", ("XYZHJKLMF626",)),
        ("XYZHJKLMF625", ("XYZHJKLMF626",)),
        ("ABC2AB41G091", ("CA-ABC2AB41G091",)),
        ("abc-00001-a526", ("ABC10001A526",)),
    ],
)
def test_look_alikes_are_offered_likeliest_first(typed: str, offered: tuple[str, ...]) -> None:
    """One slip of the eye or thumb is offered; the number itself is not, nor anything further off."""
    assert look_alikes(typed, KNOWN) == offered


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        ("ABC0I001A526", ("ABC01001A526",)),
        ("ABC00Q01AO26", ("ABC00001A026",)),
        ("ABC000011526", ("ABC00001I526",)),
        ("CA-ABC2ABO1G091", ("CA-ABC2AB01G091",)),
        ("ABC00001A526", ()),
        ("ABC00001M526", ()),
        ("ABC", ()),
    ],
)
def test_a_number_faulty_by_i_o_or_q_gets_a_suggestion(typed: str, offered: tuple[str, ...]) -> None:
    """What the eye misreads is offered as the numeral it looks like."""
    assert repair_suggestions(typed) == offered


def test_nothing_looks_like_a_text_too_long_for_a_number() -> None:
    """Each slip in it spelled out would be 700 000 texts of 20 000 characters."""
    assert look_alikes("X" * 20_000, ["X" * 19_999 + "Y"]) == ()


NUMBERS = st.one_of(
    st.text("O0I1QA2", min_size=4, max_size=5).map(lambda end: f"ABC0000{end}"),
    st.text("O0I1QA2", min_size=5, max_size=5).map(lambda end: f"US-ABC0000{end}"),
)


@settings(max_examples=examples(200), deadline=None)
@given(st.lists(NUMBERS, min_size=2, max_size=14, unique=True), NUMBERS)
def test_look_alikes_looked_up_are_those_found_by_comparing_with_each(known: list[str], typed: str) -> None:
    assert look_alikes(typed, known) == tuple(_compared_with_each(typed, known))
    assert KnownNumbers([*known, *known]).look_alikes(typed.lower()) == look_alikes(typed, known)


def _compared_with_each(typed: str, known: list[str]) -> Iterator[str]:
    """The rule written out: for each kind of slip, the likeliest first, a look at every other number."""
    one, told = key(typed), set[str]()
    for differ in (_in_letters_for_digits, _in_the_country, _in_one_swap, _in_one_character):
        for number in known:
            if key(number) != one and number not in told and differ(one, key(number)):
                told.add(number)
                yield number


def _in_letters_for_digits(one: str, other: str) -> bool:
    plain = str.maketrans("OIQ", "010")
    return one.translate(plain) == other.translate(plain)


def _in_the_country(one: str, other: str) -> bool:
    shorter, longer = sorted((one, other), key=len)
    return len(shorter) == 12 and len(longer) == 14 and longer[:2].isalpha() and longer[2:] == shorter


def _in_one_swap(one: str, other: str) -> bool:
    places = _differing(one, other)
    return (
        len(places) == 2
        and places[1] - places[0] == 1
        and one[places[0]] + one[places[1]] == other[places[1]] + other[places[0]]
    )


def _in_one_character(one: str, other: str) -> bool:
    return len(_differing(one, other)) == 1


def _differing(one: str, other: str) -> list[int]:
    same_length = len(one) == len(other)
    return [place for place, (a, b) in enumerate(zip(one, other, strict=True)) if a != b] if same_length else []


@pytest.mark.parametrize(
    "typed",
    [
        "ABC00001A526\u200b",  # copied from a message, with what nobody sees
        "\ufeffABC00001A526",
        "\u0410\u0412\u042100001\u0410526",  # typed on a keyboard of another language
        "\u0430\u0432\u044100001\u0430526",
        "\u0391BC00001A526",
        "\u00c0BC00001A526",
        "ABC0\u06600\u06601A526",
    ],
)
def test_a_number_with_signs_that_look_like_others_is_asked_about(typed: str) -> None:
    """It has a key of its own. Two boats of one number stood side by side, and nobody asked about them."""
    assert key(typed) != key("ABC00001A526")
    assert look_alikes(typed, ["ABC00001A526"]) == ("ABC00001A526",)
    assert look_alikes("ABC00001A526", [typed]) == (typed,)
    assert look_alikes("ABC00001A526", [key(typed)]) == (key(typed),)
    assert "ABC00001A526" in repair_suggestions(typed)


def test_a_sound_number_that_reads_as_a_sign_spelled_out_is_no_other_boats() -> None:
    assert look_alikes("ABCU0410A526", ["ABC00001A526", "ABC12345A526"]) == ()
