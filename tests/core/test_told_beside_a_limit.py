"""A number as it is shown lies on the same side of its limit, as that is shown, as it does by its verdict."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest

from garboard.findings import Basis, BasisKind, Finding, Limit, Number, Verdict, end_beside
from garboard.hosting.host import PluginHost
from garboard.job_view import JobView
from garboard.records import Job, Vessel
from garboard.testing import judged, load
from hostile_checks import GOOD

OURS = (Basis(BasisKind.SHOP_RULE, "ours"),)


def shown(value: float, end: float, decimals: int) -> tuple[float, float]:
    """Both as a page has them."""
    number, limit = Number("x", value, decimals=decimals), Limit("x", high=end)
    (told,) = Finding(
        verdict=Verdict.ADVISE, about="x", sentence="x", basis=OURS, numbers=(number,), limits=(limit,)
    ).numbers
    return float(str(told).replace("−", "-")), float(end_beside(told, end).replace("−", "-"))


def test_no_number_is_shown_at_or_beyond_a_limit_where_it_is_not() -> None:
    """Limits of a shop have few digits, and those that are converted many; readings lie at them and just beside."""
    draw = random.Random(20)
    for _ in range(2000):
        decimals, size = draw.randrange(3), 10.0 ** draw.randrange(-1, 5)
        end = round(draw.uniform(-size, size), draw.randrange(4)) * draw.choice((1.0, 2.54, 1 / 3))
        value = draw.choice((end, round(end, decimals), end + size * 10.0 ** -draw.randrange(1, 6), end - size / 300))
        number, limit = shown(value, end, decimals)
        is_within = value <= end or abs(value - end) <= 1e-9 * max(1.0, abs(end))
        assert (number <= limit) is is_within, (value, end, decimals)


def test_a_limit_between_two_numbers_that_can_be_read_is_shown_as_it_is() -> None:
    assert [shown(value, 12.25, 1) for value in (12.25, 12.2, 12.3)] == [(12.25, 12.25), (12.2, 12.25), (12.3, 12.25)]


@pytest.fixture(scope="module")
def rail(tmp_path_factory: pytest.TempPathFactory) -> PluginHost:
    """The least height is 12.25 in."""
    file = tmp_path_factory.mktemp("checks") / "rail.toml"
    file.write_text(GOOD.replace("default = 24", "default = 12.25"))
    return load(file, built_in=False)


@pytest.mark.parametrize(
    ("typed", "verdict", "told"),
    [
        ("12.25 in", "pass", "12.25 in"),
        ("31.115 cm", "pass", "31.12 cm"),
        ("12.2 in", "fail", "12.2 in"),
        ("12.249 in", "fail", "12.249 in"),
        ("31.11 cm", "fail", "31.11 cm"),
        ("12.24996 in", "fail", "12.24996 in"),
    ],
)
def test_the_sentence_of_a_check_shows_what_it_was_decided_by(
    rail: PluginHost, typed: str, verdict: str, told: str
) -> None:
    (found,) = judged("rail.height", {"rail.look/height": typed}, rail)
    numbers = [float(one) for one in re.findall(r"\d+\.\d+|\d+", str(found["sentence"]))]
    assert (found["verdict"], told in str(found["sentence"])) == (verdict, True)
    assert verdict == "pass" or numbers[0] < numbers[1]


def test_two_ways_to_one_number_are_one_in_a_formula(tmp_path: Path) -> None:
    text = GOOD.replace('formula = "height - least"', "formula = \"height + '0.1 in' + '0.2 in' - least\"")
    (tmp_path / "rail.toml").write_text(text.replace("default = 24", "default = 10.3").replace("over < 0", "over != 0"))
    (found,) = judged("rail.height", {"rail.look/height": "10 in"}, load(tmp_path / "rail.toml", built_in=False))
    assert found["verdict"] == "pass"


def test_a_heavy_amount_has_no_exponent() -> None:
    view = JobView(vessel=Vessel(hull_number=""), job=Job(id="J-1"))
    assert [view.told(one, "lb") for one in (12345, 9999.7, 0.00002)] == ["12345 lb", "10000 lb", "0.00002 lb"]
