"""What the wiring audit declares: cautions, settings, docstrings."""

import inspect
import re
from collections.abc import Callable

import pytest

from garboard.fields import implausible
from garboard.records import Battery, unusual_in
from garboard.steps import Step
from garboard.units import Amount
from garboard_wiring_audit import ampacity, batteries, bus, conductors, loads, overcurrent, voltage_drop
from garboard_wiring_audit.rules import rules_of
from garboard_wiring_audit.steps import BATTERIES, STEPS
from wiring_boats import HOST, wired_job

CALCULATIONS = [
    function
    for module in (ampacity, batteries, bus, conductors, loads, overcurrent, voltage_drop)
    for name, function in inspect.getmembers(module, inspect.isfunction)
    if function.__module__ == module.__name__ and not name.startswith("_")
]


@pytest.mark.parametrize("function", CALCULATIONS, ids=lambda function: function.__name__)
def test_every_calculation_names_units_and_gives_an_example(function: Callable[..., object]) -> None:
    """Each argument and the result carry a unit in square brackets; there is a doctest."""
    text = inspect.getdoc(function) or ""
    names = [*inspect.signature(function).parameters, "returns"]
    paragraphs = re.split(r"\n(?=\S)", text)
    without = [
        name
        for name in names
        if not any(re.match(rf"{name}\s+: ", part) and re.search(r"\[[^\]]+\]\s*$", part) for part in paragraphs)
    ]
    assert without == []
    assert ">>> " in text


@pytest.mark.parametrize("step", HOST.steps, ids=lambda step: step.key)
def test_every_step_warns_and_defers(step: Step) -> None:
    """Disconnect, vapour, shore power and deference stand before every step, each with its basis."""
    texts = " ".join(caution.text for caution in step.cautions)
    for word in ("Disconnect the battery", "gasoline vapour", "Shore power off", "licensed person", "makers' manuals"):
        assert word in texts


def test_the_battery_step_warns_of_hydrogen() -> None:
    """Gas first where batteries are handled."""
    step = next(step for step in HOST.steps if step.key == "wiring_audit.batteries")
    assert "hydrogen" in step.cautions[0].text


def test_every_setting_can_be_read_at_its_default() -> None:
    """The rules understand each default, and a default that is a choice is one of the choices."""
    rules = rules_of(wired_job())
    for setting in HOST.settings:
        name = setting.key.removeprefix("wiring_audit.")
        if setting.field.choices:
            assert rules.chosen(name) in setting.field.choices
        else:
            assert setting.field.hard is not None
            low, high = setting.field.hard
            assert low <= rules.amount(name, setting.field.unit) <= high


def test_defaults_rest_on_values_that_were_read() -> None:
    """No rule set from memory is in force unless the shop chose it."""
    assert not [setting.key for setting in HOST.settings if "memory" in str(setting.default)]


def test_every_finding_has_a_step_that_exists() -> None:
    """Calculators point at declared steps."""
    keys = {step.key for step in HOST.steps}
    assert {calculator.step for calculator in HOST.calculators} <= keys


@pytest.mark.parametrize(
    ("capacity", "fuse", "asked"),
    [("12 Ah", "10 A", 0), ("18 Ah", "15 A", 0), ("400 Ah", "300 A", 0), ("3 Ah", "5 A", 2), ("3000 Ah", "600 A", 2)],
)
def test_the_battery_and_main_fuse_of_a_skiff_are_as_usual_as_those_of_a_cruiser(
    capacity: str, fuse: str, asked: int
) -> None:
    """Common practice, no source: a skiff that lights its lamps and pumps its bilge has a small battery."""
    (step,) = (step for step in STEPS if step.key == BATTERIES)
    rating = step.field("fuse_rating")
    assert rating is not None
    battery = Battery(name="start", capacity=Amount.parse(capacity))
    questions = [text for _, text in unusual_in(battery)]
    questions.append(implausible(rating, fuse))
    assert len([one for one in questions if one]) == asked
