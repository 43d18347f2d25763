"""Fields of the engine trial, short to write."""

from __future__ import annotations

import functools

from garboard.fields import amount_field
from garboard.steps import Field, Kind


def yes(name: str, title: str, *, required: bool = True, each: str = "", help: str = "", of_several: str = "") -> Field:
    return Field(
        name=name, title=title, kind=Kind.YES_NO, required=required, each=each, help=help, of_several=of_several
    )


def text(
    name: str,
    title: str,
    *,
    required: bool = False,
    help: str = "",
    offers: tuple[str, ...] = (),
    offers_from: tuple[str, ...] = (),
    begins: tuple[str, ...] = (),
    of_model: bool = False,
) -> Field:
    return Field(
        name=name,
        title=title,
        kind=Kind.TEXT,
        required=required,
        help=help,
        offers=offers,
        offers_from=offers_from,
        begins=begins,
        of_model=of_model,
    )


amount = functools.partial(amount_field, required=False)
"""An amount; its plausible range is common practice, no source."""


def table(name: str, title: str, *columns: Field, each: str = "", required: bool = True, help: str = "") -> Field:
    return Field(name=name, title=title, kind=Kind.TABLE, each=each, columns=columns, required=required, help=help)
