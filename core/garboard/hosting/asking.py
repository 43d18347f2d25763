"""Functions that a step's fields have of their own, such as the usual range of one engine: named, and put in place."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import attrs

from garboard.fields import Field
from garboard.steps import Step


def asking_fields(step: Step) -> dict[str, Callable[..., Any]]:
    """The functions, by the names of their fields."""
    return {field.name: field.plausible_for for field in step.all_fields() if field.plausible_for}


def with_functions(step: Step, functions: Mapping[str, Callable[..., Any]]) -> Step:
    """The step, its fields asking the functions given by their names."""

    def field_with(field: Field) -> Field:
        columns = tuple(map(field_with, field.columns))
        return attrs.evolve(field, plausible_for=functions.get(field.name), columns=columns)

    return attrs.evolve(step, fields=tuple(map(field_with, step.fields)))
