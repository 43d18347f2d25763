"""One rounding for sentences, numbers and the book: what a person reads is written with `garboard.findings.rounded`.

Python's own formats round a half to even, so 450.5 was "450 degrees" in a sentence beside 451 in its number; and they
write ten million as 1e+07.
"""

from __future__ import annotations

import ast
import math
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import garboard
from garboard.findings import (
    Doubt,
    Missing,
    NotEnoughData,
    decimals_beside,
    in_full,
    plain_text,
    rounded,
    rounded_beside,
)
from garboard.judging.assessing import Question
from garboard.samples import Stream, StreamKey
from garboard.units import Amount, range_in_words
from garboard_handover.pilot import hold_of
from garboard_shop.board import Week, shares
from garboard_shop.pages.charts import in_digits
from garboard_shop.pages.desk import shown_as_marks

ROOT = Path(garboard.__file__).parents[2]
FILES = sorted(file for folder in ("core", "plugins", "tablet_app") for file in (ROOT / folder).rglob("*.py"))
NO_SENTENCE = {
    "core/garboard/demo/demo_day.py": "points of a drawn signature",
    "core/garboard/findings.py": "a number too small for its digits",
    "core/garboard/hosting/made_up.py": "values of made-up jobs",
    "core/garboard/recordings/encode.py": "lines of recordings",
    "core/garboard/recordings/simulated_network.py": "lines of recordings",
    "core/garboard/report/label_sheets.py": "an error of a caller",
    "core/garboard/report/photos.py": "places in a drawing",
    "core/garboard/testing.py": "lines of recordings",
    "core/garboard/units.py": "rounds",
    "plugins/garboard_shop/pages/board.py": "places in a drawing",
    "plugins/garboard_shop/pages/charts.py": "places in a drawing",
    "plugins/garboard_shop/pages/drawing.py": "places in a drawing",
    "plugins/garboard_shop/postgres/schema.py": "a version",
    "tablet_app/garboard_tablet/gallery.py": "presses of a robot",
    "tablet_app/garboard_tablet/models/entry.py": "half of a last digit",
    "tablet_app/garboard_tablet/models/scale.py": "ticks, with no digits from adding up",
    "tablet_app/garboard_tablet/ui/inputs.py": "points of a drawn signature",
    "tablet_app/garboard_tablet/ui/sound.py": "the name of a file",
}
"""Files that format numbers for a program, with what is formatted there."""
DIGITS = re.compile(r"(?<![a-z])[fFgGeE]$")
MAYBE = re.compile(r":[^\s:'\"]*[fFgGeE]\}|\{((float|int)\()*round\(|%[-+ 0-9]*\.\d+f")
"""No other file is worth reading as code."""
IN_A_TEMPLATE = re.compile(r"\{[\w.]*:[^{}]*\.\d+[fF]\}|\{[\w.]*:[^{}\w]*[gGeE]\}|%[-+ 0]*\d*\.\d+f")


def _spec(node: ast.FormattedValue) -> str:
    parts = node.format_spec.values if isinstance(node.format_spec, ast.JoinedStr) else ()
    return "".join(str(one.value) if isinstance(one, ast.Constant) else "{}" for one in parts)


def _rounds(node: ast.FormattedValue) -> bool:
    value: ast.expr = node.value
    while isinstance(value, ast.Call) and isinstance(value.func, ast.Name) and value.func.id in ("float", "int"):
        value = value.args[0]
    return isinstance(value, ast.Call) and isinstance(value.func, ast.Name) and value.func.id == "round"


def _formatted(source: str) -> Iterator[tuple[int, str]]:
    """Numbers that a text formats in another way, each with its line."""
    for node in ast.walk(ast.parse(source)) if MAYBE.search(source) else ():
        if isinstance(node, ast.FormattedValue) and (DIGITS.search(_spec(node)) or _rounds(node)):
            yield node.lineno, ast.unparse(node.value)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and IN_A_TEMPLATE.search(node.value):
            yield node.lineno, node.value


def test_no_text_that_a_person_reads_rounds_in_another_way() -> None:
    found = {str(file.relative_to(ROOT)): [*_formatted(file.read_text(encoding="utf-8"))] for file in FILES}
    assert {name: odd for name, odd in found.items() if odd and name not in NO_SENTENCE} == {}
    assert {name for name, odd in found.items() if odd} >= NO_SENTENCE.keys(), "take out what formats none any more"


def test_a_limit_of_millions_is_written_out() -> None:
    assert range_in_words(0, 1e7, "ohm") == "0 to 10000000 ohm"
    assert range_in_words(0, 1e7, "ohm", Amount("20000", "kohm")) == "0 to 10000 kohm"
    assert in_full(0.00001) == "0.00001"


def test_what_is_missing_doubtful_or_asked_about_has_a_real_minus() -> None:
    told = "−40 to 90 °C"
    assert range_in_words(-40, 90, "°C") == told
    assert range_in_words(-50, 50, "ft", Amount("20", "m")).startswith("−15")
    texts = (Missing("-40 to 90 °C").text, Doubt("-40 to 90 °C", step="a.b", field="c").text)
    assert {*texts, Question("-40 to 90 °C").text} == {told}


def test_a_cell_on_a_page_has_a_real_minus_and_an_address_stays() -> None:
    assert [shown_as_marks(text) for text in ("-0.5 to 3 deg", "/boats/A?job=-5")] == ["−0.5 to 3°", "/boats/A?job=-5"]


def test_no_template_of_a_page_does_either() -> None:
    pages = sorted((ROOT / "plugins" / "garboard_shop" / "pages" / "templates").glob("*.html"))
    assert pages
    odd = re.compile(r"\|\s*round\b|%\.\d+f|\|\s*format\(")
    assert [page.name for page in pages if odd.search(page.read_text(encoding="utf-8"))] == []


@pytest.mark.parametrize(
    "source",
    [
        'sentence = f"{speed:.1f} kn"',
        'sentence = f"{speed:.{digits}f} kn"',
        'sentence = f"{speed:+.0f} kn"',
        'sentence = f"{speed:g} kn"',
        'sentence = f"{speed:+.4g} kn"',
        'sentence = phrase("{speed:g} kn", speed=speed)',
        'sentence = f"about {round(speed)} kn"',
        'sentence = f"about {float(round(speed, 2)):g} kn"',
        'sentence = phrase("{speed:.1f} kn", speed=speed)',
        'sentence = "%.1f kn" % speed',
    ],
)
def test_each_way_to_round_otherwise_is_seen(source: str) -> None:
    assert len([*_formatted(source)]) == 1


def test_a_value_short_of_what_is_wanted_is_not_told_as_enough() -> None:
    """59.6 s of a hold were "held for 60 s; hold it 60 s"."""
    times = tuple(59.6 * number / 59 for number in range(60))
    heading = Stream(StreamKey("heading"), times, tuple(90.0 + math.sin(time) for time in times))
    with pytest.raises(NotEnoughData, match=r"held for 59\.6 s in 60 samples; hold it 60 s"):
        hold_of(heading, 60.0)


def test_numbers_of_a_few_digits_and_medians_round_as_sentences_do() -> None:
    assert [plain_text(value, digits) for value, digits in ((12345.5, 4), (0.00125, 2), (2.345, 3), (1e-12, 4))] == [
        "12346",
        "0.0013",
        "2.35",
        "0.000000000001",
    ]
    assert (in_digits(5234.5), in_digits(-0.0)) == ("5235", "0")
    assert shares(Week(jobs=200, right=125, days=0.0)) == 63
    assert [rounded(value) for value in (0.5, 1.5, 2.5, -2.5, -0.4)] == ["1", "2", "3", "-3", "0"]
    assert rounded_beside(99.6, [100]) == rounded(99.6, decimals_beside(99.6, [100], 0)) == "99.6"
