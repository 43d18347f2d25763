"""The handover book's pages about the compass: what the owner needs to know and keep aboard."""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from garboard.findings import Finding, Number, Table, Verdict, with_uncertainty
from garboard.job_view import JobView
from garboard.steps import Assessed, Block, ReportSection

from .steps import COMPARISON, MAGNETOMETER, STEADY_TURN, STRAIGHT_RUNS, SWING
from .swing_finding import LARGEST, LARGEST_READ
from .turn_findings import APART

VARIATION = "heading_calibration.variation"


def build(view: JobView, assessed: Sequence[Assessed]) -> Sequence[Block]:
    """The pages; none when nothing about heading was measured."""
    blocks: list[Block] = []
    swings = _measured(assessed, SWING, STRAIGHT_RUNS)
    if swings:
        blocks += [
            *_largest(swings),
            "The card tells how far a heading sensor is off on each heading. Add the deviation to what the sensor "
            "shows and you have the magnetic heading; a minus sign means take it away. The card holds as long as "
            "nothing magnetic is moved near the sensor: swing again after new electronics, loudspeakers, engine work "
            "or a lightning strike, and once a year. Coefficients A to E are what deviation is made of: A is alike on "
            "every heading, B and C change once round the circle, D and E twice.",
        ]
        for finding in swings:
            blocks += [*(table for table in finding.tables if table.card), finding]
    blocks += _not_swung(view, swings)
    variations = _measured(assessed, VARIATION)
    for finding in variations:
        blocks += [
            "Variation is the angle between true and magnetic north where you are. Add it to a magnetic heading and "
            "you have the true one. East is positive, west negative.",
            finding,
        ]
    turns = _measured(assessed, STEADY_TURN)
    measured = [turn for turn in turns if turn.numbers]
    if measured:
        blocks += [
            "Circles turned to calibrate the sensors, and how even they were. A current turns the course over ground "
            "aside, but not over whole circles: there the two are compared.",
            _turns(measured),
        ]
    blocks += [turn for turn in turns if turn.verdict is not Verdict.PASS]
    others = [*_measured(assessed, COMPARISON), *_measured(assessed, MAGNETOMETER)]
    return [*blocks, *others] if swings or variations or turns or others else []


def _not_swung(view: JobView, swings: Sequence[Finding]) -> Sequence[str]:
    """Sensors that have no deviation card, said in one line."""
    swung = {finding.about for finding in swings if any(table.card for table in finding.tables)}
    names = [sensor.name for sensor in view.vessel.heading_sensors if sensor.name not in swung]
    told = f"Not swung, no deviation card: {', '.join(names)}. Have a sensor swung before you steer by it alone."
    return [told] if names else []


def _largest(swings: Sequence[Finding]) -> Sequence[Number]:
    """The largest deviation of all sensors, whichever way, as the number of the page."""
    found = [number for swing in swings for number in swing.numbers if number.name in (LARGEST, LARGEST_READ)]
    if not found:
        return ()
    largest = max(found, key=lambda number: abs(number.value))
    name = "largest deviation after calibration" + (", of all sensors" if len(swings) > 1 else "")
    return (attrs.evolve(largest, name=name, value=abs(largest.value)),)


def _measured(assessed: Sequence[Assessed], *calculators: str) -> list[Finding]:
    return [
        item.finding
        for item in assessed
        if item.calculator in calculators and item.finding.verdict is not Verdict.NOT_ENOUGH_DATA
    ]


_COLUMNS = {
    "turned": "Turned [deg]",
    "turned by course over ground": "By course over ground [deg]",
    APART: "Apart over whole circles [deg]",
    "mean rate of turn": "Mean rate [deg/s]",
    "share of time in the band": "In the band [%]",
    "longest lapse": "Longest lapse [s]",
}


def _turns(findings: Sequence[Finding]) -> Table:
    told = {number.name for finding in findings for number in finding.numbers}
    names = [name for name in _COLUMNS if name != APART or name in told]
    rows = []
    for finding in findings:
        by_name = {number.name: number for number in finding.numbers}
        cells = (_cell(by_name.get(name)) for name in names)
        rows.append((finding.about, *cells, finding.verdict.value))
    return Table("Steady turns", ("Sensor", *(_COLUMNS[name] for name in names), "Verdict"), tuple(rows))


def _cell(number: Number | None) -> str:
    return "-" if number is None else with_uncertainty(abs(number.value), number.expanded_uncertainty, number.decimals)


SECTION = ReportSection(key="heading_calibration.compass", title="Heading and compass", order=450, build=build)
