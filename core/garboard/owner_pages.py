"""What stands on an owner's page beside text, tables and figures: large digits, a ruler, bars, a plan, steps, photos.

A plugin hands these over as data in a section with `part=YOUR_BOAT`; the book draws them. What an owner reads has no
"±", no code and no basis: the Record has them.

A text names another page with `page_of`, and a card to cut out with `card_of`: the book prints the number.
"""

from __future__ import annotations

import re

from garboard.record_types import frozen, typed
from garboard.units import in_full

__all__ = [
    "BEFORE_YOU_GO",
    "CARE",
    "FUEL_AND_RANGE",
    "HELM",
    "IN_THE_DARK",
    "OWNER_BLOCKS",
    "OWNER_RECORDS",
    "WHERE_THINGS_ARE",
    "Bar",
    "Bars",
    "Digits",
    "Logo",
    "OwnerBlock",
    "Photographs",
    "Place",
    "Plan",
    "Pointer",
    "Ruler",
    "RulerStep",
    "Span",
    "Steps",
    "card_of",
    "page_of",
]

BEFORE_YOU_GO = "Before you go, and if it will not start"
HELM = "At the helm"
FUEL_AND_RANGE = "Fuel and range"
WHERE_THINGS_ARE = "Where things are"
IN_THE_DARK = "Find these in the dark"
CARE = "Care, and what you signed for"
"""Titles of pages that several plugins write on."""
RECORD_PART, PUNCH_LIST, SIGNATURES = "Record", "Punch list", "Signatures"
"""The second part, and clauses of it that the owner's pages lead to."""

_OPENS, _CLOSES = "\ue000", "\ue001"
REFERENCE = re.compile(f"{_OPENS}[0-9a-f]{{12}}{_CLOSES}")
"""The place of a page's number in a text; it is known once all pages are laid out."""


def key_of(name: str) -> str:
    """What leads to a page, a card, a clause or a finding, whatever letters its name has."""
    from hashlib import sha256  # here: a process that judges needs none of it, and starts sooner

    return sha256(name.encode(errors="surrogatepass")).hexdigest()[:12]


def page_of(title: str) -> str:
    """A reference to a page by its title, within a sentence: the book prints "page 7, “Where things are”"."""
    return f"{number_of(title)}, \u201c{title}\u201d"


def card_of(title: str) -> str:
    """A reference to a card by its title: the book prints "“Helm” on page 11"."""
    return f"\u201c{title}\u201d on {number_of(title)}"


def number_of(name: str) -> str:
    """The page alone on which something stands: the book prints "page 11"."""
    return f"page\u00a0{_OPENS}{key_of(name)}{_CLOSES}"


@frozen(field_transformer=typed)
class Digits:
    """Something worth knowing by heart, printed large with its name under it. Three stand side by side.

    text  : with its unit ("45.5 kn")
    lines : what belongs to it, a line each
    """

    text: str
    name: str
    lines: tuple[str, ...] = ()


@frozen(kw_only=True, field_transformer=typed)
class Span:
    """A stretch of a ruler. look: "slow", "avoid" (hatched), "best" or "full"."""

    name: str
    low: float
    high: float
    look: str = "slow"

    def __attrs_post_init__(self) -> None:
        if self.look not in ("slow", "avoid", "best", "full"):
            raise ValueError(f"span {self.name!r}: look is slow, avoid, best or full, got {self.look!r}")
        if not self.low <= self.high:
            raise ValueError(f"span {self.name!r}: low {in_full(self.low)} lies above high {in_full(self.high)}")


@frozen(kw_only=True, field_transformer=typed)
class Pointer:
    """A triangle above a ruler."""

    name: str
    at: float


@frozen(kw_only=True, field_transformer=typed)
class RulerStep:
    """What is told under a place of a ruler, one text for each of the ruler's `rows`."""

    at: float
    cells: tuple[str, ...]


@frozen(kw_only=True, field_transformer=typed)
class Ruler:
    """A linear scale with stretches, pointers above it and figures under it.

    rows : names of the figures under each step
    alt  : the same in words, for those who cannot see it
    """

    spans: tuple[Span, ...]
    steps: tuple[RulerStep, ...]
    alt: str
    rows: tuple[str, ...] = ()
    pointers: tuple[Pointer, ...] = ()


@frozen(kw_only=True, field_transformer=typed)
class Bar:
    """A distance out and as far back."""

    name: str
    value: float
    text: str


@frozen(kw_only=True, field_transformer=typed)
class Bars:
    """Distances out and back side by side: out is filled, back outlined.

    keeps_as_much : as much fuel as for one way is kept, and drawn in grey behind them
    """

    bars: tuple[Bar, ...]
    alt: str
    keeps_as_much: bool = False


@frozen(kw_only=True, field_transformer=typed)
class Place:
    """Something aboard.

    along, across : shares of length and breadth, from the transom and from the port side; None where not entered
    is_first      : it is needed first when something is wrong
    """

    name: str
    along: float | None = None
    across: float | None = None
    is_first: bool = False


@frozen(kw_only=True, field_transformer=typed)
class Plan:
    """Where things are: numbered in two lists, and from three places on in a plan of the boat, bow up."""

    places: tuple[Place, ...]
    hull_form: str = ""
    length: float = 0.0
    beam: float = 0.0


@frozen(field_transformer=typed)
class Steps:
    """What to do, one thing after the other, numbered large.

    title : when to do it
    """

    steps: tuple[str, ...]
    title: str = ""


@frozen(field_transformer=typed)
class Photographs:
    """The photos of a field; without one those kept with the step whose arrows say what they point at."""

    step: str
    field: str = ""


@frozen(field_transformer=typed)
class Logo:
    """The shop's logo, for the cover: a picture as a setting with `is_picture` holds it."""

    picture: str


OwnerBlock = Digits | Ruler | Bars | Plan | Steps | Photographs | Logo
OWNER_BLOCKS: tuple[type, ...] = (Digits, Ruler, Bars, Plan, Steps, Photographs, Logo)
OWNER_RECORDS: tuple[type, ...] = (*OWNER_BLOCKS, Span, Pointer, RulerStep, Bar, Place)
