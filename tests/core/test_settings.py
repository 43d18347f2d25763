"""Settings: declared with a range, refused outside it, and which value holds where several were set."""

import pytest

from garboard.fields import Field, Kind
from garboard.findings import Basis, BasisKind
from garboard.hosting.host import make_host
from garboard.records import JsonValue
from garboard.settings import JOB, SHOP, Setting, SettingSet, in_force

RULE = Basis(BasisKind.SHOP_RULE, "a rule of the test")


def setting(stricter: str = "", hard: tuple[float, float] | None = (0, 50), default: str = "10 %") -> Setting:
    field = Field(name="drop", title="Drop", kind=Kind.AMOUNT, quantity="share", unit="%", hard=hard)
    return Setting(key="test.drop", field=field, default=default, basis=RULE, stricter=stricter)


def put(value: JsonValue, source: str = JOB, by: str = "Office") -> SettingSet:
    return SettingSet(key="test.drop", value=value, source=source, by=by)


def test_a_setting_without_a_range_is_refused_and_told_what_to_do() -> None:
    with pytest.raises(ValueError, match=r"test\.drop.*has no range; give its field hard=\(low, high\) in %"):
        setting(hard=None)


def test_a_default_outside_its_own_range_is_refused() -> None:
    with pytest.raises(ValueError, match="default '60 %' lies outside its range 0 to 50 %"):
        setting(default="60 %")


def test_every_built_in_amount_and_count_has_a_range() -> None:
    host = make_host(entry_points=False)
    numbers = [one for one in host.settings if one.field.kind in (Kind.AMOUNT, Kind.COUNT)]
    assert not host.problems
    assert len(numbers) > 80
    assert all(one.field.hard is not None and one.field.hard[0] < one.field.hard[1] for one in numbers)


@pytest.mark.parametrize("value", ["51 %", "-1 %", "5 V", "5", 5, None, "soon"])
def test_a_value_that_cannot_be_used_is_never_in_force(value: JsonValue) -> None:
    values, used = in_force([setting()], [put(value)])
    assert values["test.drop"] == "10 %"
    assert used["test.drop"].state == "default"
    assert [one.value for one in used["test.drop"].not_used] == [value]


def test_the_jobs_own_value_comes_before_the_shops() -> None:
    values, used = in_force([setting()], [put("5 %", SHOP), put("7 %")])
    assert values["test.drop"] == "7 %"
    assert [one.source for one in used["test.drop"].set] == [JOB]


@pytest.mark.parametrize(("stricter", "holds"), [("", "10 %"), ("lower", "5 %"), ("higher", "7 %")])
def test_while_two_values_stand_the_stricter_or_the_default_holds(stricter: str, holds: str) -> None:
    for order in ([put("5 %"), put("7 %")], [put("7 %"), put("5 %")]):
        values, used = in_force([setting(stricter)], order)
        assert values["test.drop"] == holds
        assert used["test.drop"].state == "unsettled"
        assert {one.value for one in used["test.drop"].set} == {"5 %", "7 %"}


def test_a_value_that_is_the_default_in_other_words_is_not_named() -> None:
    values, used = in_force([setting()], [put("10.0 %")])
    assert (values["test.drop"], used) == ("10 %", {})
