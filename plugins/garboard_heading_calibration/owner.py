"""The compass as the owner steers by it: how far it is off, and a card to cut out for each sensor."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from garboard.findings import Finding, Table, Verdict, rounded
from garboard.job_view import JobView
from garboard.owner_pages import CARE, HELM, Digits, card_of
from garboard.steps import YOUR_BOAT, Assessed, Block, ReportSection

from .steps import STRAIGHT_RUNS, SWING
from .swing_finding import LARGEST

SWING_AGAIN = (
    "Have the compass swung again once a year, and after new electronics, loudspeakers, engine work or lightning: "
    "the deviation card holds only as long as nothing magnetic is moved near the sensor."
)


READ_THE_CARD = (
    "Deviation cards are in degrees magnetic: set the display to magnetic north before you use one. Find what the "
    "sensor shows. Add what stands beside it, or take it away where it has a minus: that is the heading from "
    "magnetic north."
)


def _swings(assessed: Sequence[Assessed]) -> list[Finding]:
    """Swings with a card that nothing contradicts."""
    return [
        one.finding
        for one in assessed
        if one.calculator in (SWING, STRAIGHT_RUNS)
        and one.finding.verdict is not Verdict.NOT_ENOUGH_DATA
        and not one.finding.doubted
        and any(table.card for table in one.finding.tables)
    ]


def helm(_view: JobView, assessed: Sequence[Assessed]) -> Iterator[Block]:
    """The largest deviation, and the cards: what the sensor shows, and what to add."""
    swings = _swings(assessed)
    found = [number for swing in swings for number in swing.numbers if number.name == LARGEST]
    if found:
        most = max(found, key=lambda number: abs(number.value))
        within = [] if most.expanded_uncertainty is None else [f"give or take {rounded(most.expanded_uncertainty, 1)}°"]
        cards = [table.title for swing in swings if most in swing.numbers for table in swing.tables if table.card]
        yield Digits(f"{rounded(abs(most.value), 1)}°", "most a compass is off", (*within, *map(card_of, cards[:1])))
        yield READ_THE_CARD
    for swing in swings:
        for table in swing.tables:
            if table.card:
                rows = tuple((row[0], row[1]) for row in table.rows)
                yield Table(table.title, ("Shows [°]", "Add [°]"), rows, card=True)


def care(_view: JobView, assessed: Sequence[Assessed]) -> Iterator[Block]:
    """When to swing again."""
    if _swings(assessed):
        yield SWING_AGAIN


SECTIONS = (
    ReportSection(
        key="heading_calibration.helm", title=HELM, order=240, part=YOUR_BOAT, build=lambda v, a: [*helm(v, a)]
    ),
    ReportSection(
        key="heading_calibration.care", title=CARE, order=930, part=YOUR_BOAT, build=lambda v, a: [*care(v, a)]
    ),
)
