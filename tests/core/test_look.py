"""One table of colours, shapes and words; readable in noon sun, at night and in black and white."""

from math import isclose

import attrs
import pytest

from garboard.findings import Verdict
from garboard.records import StepState
from garboard.report import palette as look
from garboard.steps import LEFT_OUT, NOT_ABOARD, NOT_NEEDED

TEXT = ("ink", "quiet", "action", "good", "advise", "fail", "unknown")


@pytest.mark.parametrize("colours", [look.DAY, look.NIGHT], ids=["day", "night"])
@pytest.mark.parametrize("role", TEXT)
def test_text_has_at_least_seven_to_one_on_its_ground(colours: look.Colours, role: str) -> None:
    assert look.contrast(getattr(colours, role), colours.ground) >= look.LEAST_TEXT_CONTRAST


@pytest.mark.parametrize("colours", [look.DAY, look.NIGHT], ids=["day", "night"])
@pytest.mark.parametrize("role", TEXT)
def test_text_has_at_least_seven_to_one_on_a_panel(colours: look.Colours, role: str) -> None:
    assert look.contrast(getattr(colours, role), colours.panel) >= look.LEAST_TEXT_CONTRAST


@pytest.mark.parametrize("colours", [look.DAY, look.NIGHT], ids=["day", "night"])
@pytest.mark.parametrize("under", ["ground", "panel"])
def test_lines_have_at_least_three_to_one(colours: look.Colours, under: str) -> None:
    assert look.contrast(colours.line, getattr(colours, under)) >= look.LEAST_LINE_CONTRAST


@pytest.mark.parametrize("style", look.SERIES_STYLES)
def test_series_have_at_least_three_to_one_on_white_and_on_paper(style: look.SeriesStyle) -> None:
    assert look.contrast(style.colour, "#FFFFFF") >= look.LEAST_LINE_CONTRAST
    assert look.contrast(style.colour, look.DAY.ground) >= look.LEAST_LINE_CONTRAST


def test_contrast_of_black_on_white_is_the_end_of_the_scale() -> None:
    """WCAG 2.2, definition of contrast ratio: ratios range from 1 to 21."""
    assert isclose(look.contrast("#000000", "#FFFFFF"), 21.0)
    assert isclose(look.contrast("#FFFFFF", "#000000"), 21.0)
    assert look.contrast("#68747D", "#68747D") == 1.0


@pytest.mark.parametrize(
    ("colour", "luminance"),
    # WCAG 2.2, relative luminance L = 0.2126 R + 0.7152 G + 0.0722 B, full primaries by definition;
    # mid grey by hand: ((128/255 + 0.055) / 1.055) ^ 2.4 = 0.21586.
    [("#FF0000", 0.2126), ("#00FF00", 0.7152), ("#0000FF", 0.0722), ("#808080", 0.21586), ("#000000", 0.0)],
)
def test_luminance_follows_the_definition(colour: str, luminance: float) -> None:
    assert isclose(look.luminance(colour), luminance, abs_tol=1e-5)


def test_every_verdict_has_a_word_a_shape_and_a_colour_of_its_own() -> None:
    assert set(look.VERDICT_MARKS) == set(Verdict)
    marks = look.VERDICT_MARKS.values()
    for told_apart_by in ("word", "parts", "colour", "character", "letter"):
        assert len({getattr(mark, told_apart_by) for mark in marks}) == len(Verdict)


def test_the_word_shown_is_the_word_of_the_verdict() -> None:
    assert {mark.word for mark in look.VERDICT_MARKS.values()} == {verdict.value for verdict in Verdict}


def test_every_state_of_a_step_has_a_mark() -> None:
    states = attrs.fields_dict(StepState)["state"].metadata["choices"]
    assert set(look.STEP_MARKS) == {*states, NOT_NEEDED, LEFT_OUT, NOT_ABOARD}
    assert len({look.STEP_MARKS[state].parts for state in states}) == len(states)


def test_what_is_urgent_looks_like_no_verdict_and_no_step() -> None:
    others = [*look.VERDICT_MARKS.values(), *look.STEP_MARKS.values()]
    for told_apart_by in ("word", "parts", "character"):
        assert getattr(look.URGENT_MARK, told_apart_by) not in [getattr(mark, told_apart_by) for mark in others]


@pytest.mark.parametrize(
    "mark",
    [*look.VERDICT_MARKS.values(), *look.STEP_MARKS.values(), look.URGENT_MARK],
    ids=lambda mark: mark.word,
)
def test_marks_stay_in_their_square_and_name_a_colour(mark: look.Mark) -> None:
    assert all(0 <= x <= 1 and 0 <= y <= 1 for part in mark.parts for x, y in part.points)
    assert {part.form for part in mark.parts} <= {"disc", "ring", "area", "stroke"}
    assert getattr(look.DAY, mark.colour).startswith("#")


def test_a_terminal_that_lacks_the_shapes_gets_letters() -> None:
    assert look.VERDICT_MARKS[Verdict.FAIL].as_text("utf-8") == "■ fail"
    assert look.VERDICT_MARKS[Verdict.FAIL].as_text("ascii") == "x fail"


def test_series_are_told_apart_without_colour() -> None:
    assert len({(style.marker, style.dash) for style in look.SERIES_STYLES}) == len(look.SERIES_STYLES)
    assert len({style.marker for style in look.SERIES_STYLES}) == len(look.SERIES_STYLES)
    assert len({style.dash for style in look.SERIES_STYLES}) == len(look.SERIES_STYLES)
