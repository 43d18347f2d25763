"""Every step of the engine trial, and the tables in them."""

from __future__ import annotations

from garboard.steps import Field, Step
from garboard_engine_trial import after_steps, alongside_steps, fit_out_steps, under_way_steps

STEPS: tuple[Step, ...] = (
    *alongside_steps.STEPS,
    *fit_out_steps.STEPS,
    *under_way_steps.STEPS,
    *after_steps.STEPS,
)


def step_of(key: str) -> Step:
    """The step of a key."""
    return next(one for one in STEPS if one.key == key)


def table_of(step: str, name: str) -> Field:
    """A table of a step, by its name."""
    return next(field for field in step_of(step).fields if field.name == name)
