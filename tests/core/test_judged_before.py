"""A job judged again with another setting: only what reads it is worked out, and all is found as if judged anew."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import attrs
import pytest

import small_plugin
from garboard.hosting import host
from garboard.hosting.host import make_host
from garboard.hosting.judged_before import JudgedBefore
from garboard.job_files.job_file import read_job_file, view_of
from garboard.job_view import JobView
from garboard.records import JsonValue
from garboard.settings import SHOP, SettingSet
from garboard.steps import Assessed
from setting_jobs import DROP, SALTGRASS

HOST = make_host(entry_points=False)
VIEW = attrs.evolve(view_of(read_job_file(SALTGRASS), SALTGRASS.parent), sign_offs=())
PITCH = "prop_check.largest_pitch_change"


def with_setting(key: str, value: JsonValue) -> JobView:
    return attrs.evolve(VIEW, settings_set=(*VIEW.settings_set, SettingSet(key=key, value=value, source=SHOP)))


@pytest.fixture(scope="module")
def before() -> JudgedBefore:
    kept = JudgedBefore()
    HOST.assess(VIEW, None, kept)
    return kept


def done(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The checks that are run from here on."""
    run: list[str] = []
    compute = host._compute

    def counted(calculator: Any, *given: Any) -> Any:
        run.append(calculator.key)
        return compute(calculator, *given)

    monkeypatch.setattr(host, "_compute", counted)
    return run


def read_by(key: str, found: tuple[Assessed, ...]) -> set[str]:
    return {one.calculator for one in found if key in {used.key for used in one.settings_used}}


@pytest.mark.parametrize(
    ("key", "value"),
    [(DROP, "0.5 %"), (PITCH, "2 in"), ("prop_check.largest_current", "0.2 kn"), ("fuel_curve.meter_off_by", "2 %")],
)
def test_what_is_found_with_another_setting_is_what_judging_anew_finds(
    before: JudgedBefore, key: str, value: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    view = with_setting(key, value)
    anew = HOST.assess(view)
    run = done(monkeypatch)
    assert HOST.assess(view, None, before) == anew
    assert read_by(key, anew) <= {*run} < {calculator.key for calculator in HOST.calculators}
    run.clear()
    assert HOST.assess(VIEW, None, before) == HOST.assess(VIEW), "what was found first is still at hand"


def test_the_value_that_holds_already_has_nothing_worked_out_again(
    before: JudgedBefore, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = done(monkeypatch)
    HOST.assess(VIEW, None, before)
    assert run == []


def test_a_shops_own_check_is_always_run_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What it reads of a job beside its settings, such as who set them, nobody notes."""
    own, view, kept = small_plugin.small_host(), small_plugin.small_view(tmp_path), JudgedBefore()
    run = done(monkeypatch)
    first = own.assess(view, None, kept)
    once = [key for key in run if key.startswith("small.")]
    run.clear()
    assert own.assess(view, None, kept) == first
    assert run == once != []
