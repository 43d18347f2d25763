"""Data hookup: displays against the engine's own readings, tank senders as a calibration table."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from garboard.faults import in_number
from garboard.findings import Finding, Lack, Limit, NotEnoughData, Number, Table, Verdict, not_enough_data, rounded
from garboard.job_view import JobView, in_unit
from garboard.record_types import frozen
from garboard.steps import Calculator
from garboard_engine_trial.alongside_steps import DATA
from garboard_engine_trial.bases import practice
from garboard_engine_trial.points import engines, is_entered, is_left_out, pieces, rows_of
from garboard_engine_trial.settings import AGREE_SPEED, AGREE_TEMPERATURE, AGREE_VOLTAGE, SENDER
from garboard_engine_trial.steps import table_of

AGREEING = practice("what the network shows is what the engine's own gauge or the maker's tool shows")
CALIBRATED = practice("a tank gauge is compared with what was filled in, in steps, boat level")
FEWEST_STEPS = 3
"""Empty, half and full: fewer tell no calibration; common practice, no source."""
LEAST_SPAN = 50.0
"""Steps closer together say nothing of the rest of the tank; common practice, no source [% of a full tank]."""


@frozen
class _Pair:
    """A quantity read on the engine itself and on the display, and the setting that says how far they may differ."""

    what: str
    own: str
    shown: str
    unit: str
    setting: str
    decimals: int

    def difference(self, value: float) -> Number:
        """The display less the engine. One of temperatures has no unit: 3 degrees are not a temperature of 3."""
        unit = "" if self.unit == "degC" else self.unit
        return Number(f"{self.what}, display less engine", value, unit, decimals=self.decimals)

    def limit(self, view: JobView) -> Limit:
        """How far they may differ."""
        within = view.setting_value(self.setting, "" if self.unit == "degC" else self.unit)
        return Limit(f"{self.what}, display less engine", -within, within)


_PAIRS = (
    _Pair("engine speed", "own_speed", "shown_speed", "rev/min", AGREE_SPEED, 0),
    _Pair("temperature", "own_temperature", "shown_temperature", "degC", AGREE_TEMPERATURE, 0),
    _Pair("voltage", "own_voltage", "shown_voltage", "V", AGREE_VOLTAGE, 2),
)


def _agreement(view: JobView) -> Iterator[Finding]:
    if is_left_out(view, DATA):
        return
    for position in engines(view):
        try:
            yield _agreement_of(view, position)
        except NotEnoughData as lacking:
            yield not_enough_data(f"{position} engine", lacking.missing, (AGREEING,))


def _agreement_of(view: JobView, position: str) -> Finding:
    asking = view.asking()
    asked = [
        pair
        for pair in _PAIRS
        if pair.setting == AGREE_SPEED or is_entered(view, DATA, pair.own, pair.shown, of=position)
    ]
    apart = [
        asking.amount(DATA, pair.shown, pair.unit, of=position) - asking.amount(DATA, pair.own, pair.unit, of=position)
        for pair in asked
    ]
    asking.check()
    numbers = [pair.difference(value) for pair, value in zip(asked, apart, strict=True)]
    limits = [pair.limit(view) for pair in asked]
    beyond = [
        pair.what for pair, number, limit in zip(asked, numbers, limits, strict=True) if not limit.holds(number.value)
    ]
    return Finding(
        code="engine_trial.agreement.apart" if beyond else "engine_trial.agreement.agree",
        verdict=Verdict.ADVISE if beyond else Verdict.PASS,
        about=f"{position} engine",
        sentence=(
            f"Display and engine differ in {' and '.join(beyond)}. Read both at once, then see the gateway's set-up."
            if beyond
            else "Display and engine agree."
        ),
        basis=(AGREEING,),
        numbers=tuple(numbers),
        limits=tuple(limits),
        of=position,
    )


@frozen
class Filled:
    """One step of filling a tank: what is in it, and what the gauge shows, both as a share of full [%]."""

    row: str
    volume: float
    share: float
    gauge: float

    @property
    def off(self) -> float:
        """How far the gauge is off [% of a full tank]."""
        return self.gauge - self.share


def is_rising(steps: Sequence[Filled], within: float = 0.0) -> bool:
    """Whether the gauge rises with the fuel from each step to the next.

    within : of a full tank: a gauge may stay, or fall back, by as much as it may be off. One that ends before the tank
             does is no fault of its sender, and a step read twice is none at all [%]
    """
    by_volume = sorted(steps, key=lambda one: (one.volume, one.gauge))
    return all(
        after.gauge > before.gauge or (after.share - before.share <= within and before.gauge - after.gauge <= within)
        for before, after in pairwise(by_volume)
    )


def _senders(view: JobView) -> Iterator[Finding]:
    if is_left_out(view, DATA):
        return
    rows = rows_of(view, DATA, table_of(DATA, "senders"))
    for tank in pieces(view, "tanks") if rows else ():
        try:
            yield from _sender_of(view, tank, rows)
        except NotEnoughData as lacking:
            yield not_enough_data(f"{tank} tank", lacking.missing, (CALIBRATED,))


def _sender_of(view: JobView, tank: str, rows: Sequence[str]) -> Iterator[Finding]:
    filled = _filled(view, tank, rows)
    if len(filled) < FEWEST_STEPS:
        text = f"{tank} tank: {in_number(len(filled), 'step')} of filling; enter {FEWEST_STEPS} or more, empty to full"
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, step=DATA, field="in_tank", of=tank)
    low, high = (end(one.share for one in filled) for end in (min, max))
    if high - low < LEAST_SPAN:
        text = (
            f"{tank} tank: steps from {rounded(low)} to {rounded(high)} % of it; enter some further apart, empty to "
            "full"
        )
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, step=DATA, field="in_tank", of=tank)
    within = view.setting_value(SENDER, "%")
    worst = max(filled, key=lambda one: abs(one.off))
    limit = Limit("furthest off", -within, within)
    verdict, code, sentence = Verdict.PASS, "engine_trial.senders.agree", "The gauge follows the fuel."
    if not is_rising(filled, within):
        verdict, code = Verdict.ADVISE, "engine_trial.senders.not_rising"
        sentence = "The gauge does not rise with the fuel. See the sender, its float and its wires."
    elif not limit.holds(worst.off):
        verdict, code = Verdict.ADVISE, "engine_trial.senders.off"
        sentence = "The gauge is off. Enter the table below in the display, then check two of its steps."
    yield Finding(
        code=code,
        verdict=verdict,
        about=f"{tank} tank",
        sentence=sentence,
        basis=(CALIBRATED,),
        numbers=(Number("furthest off", worst.off, "%", decimals=0),),
        limits=(limit,),
        tables=(_calibration(view, tank, filled),),
        of=tank,
    )


def _filled(view: JobView, tank: str, rows: Sequence[str]) -> list[Filled]:
    """The steps of one tank. Raises NotEnoughData where its capacity is not known, or more is in it than it holds."""
    asking = view.asking()
    piece = view.vessel.pieces["tanks"].get(tank)
    capacity = asking.known(
        piece.capacity if piece else None, "gal", f"{tank} tank: capacity", field="tanks.capacity", of=tank
    )
    of_tank = [row for row in rows if is_entered(view, DATA, "in_tank", "gauge", row=row, of=tank)]
    volumes = {row: asking.amount(DATA, "in_tank", "gal", row=row, of=tank) for row in of_tank}
    gauges = {row: asking.amount(DATA, "gauge", "%", row=row, of=tank) for row in of_tank}
    for row, volume in volumes.items():
        asking.need(
            not volume > 1.1 * capacity,
            f"{tank} tank: {view.told(volume, 'gal', 0)} is more than it holds; correct it, or its capacity",
            lack=Lack.CONTRADICTS,
            step=DATA,
            field="in_tank",
            row=row,
            of=tank,
        )
    asking.check()
    return [Filled(row, volumes[row], 100 * volumes[row] / capacity, gauges[row]) for row in of_tank]


def _calibration(view: JobView, tank: str, filled: Sequence[Filled]) -> Table:
    unit = view.unit_to_tell("gal")
    rows = tuple(
        (
            rounded(in_unit(one.volume, "gal", unit), 1),
            rounded(one.share),
            rounded(one.gauge),
            rounded(one.off, 0, "+z"),
        )
        for one in sorted(filled, key=lambda one: one.volume)
    )
    headings = (f"In the tank [{unit}]", "Share [%]", "Gauge [%]", "Off [%]")
    return Table(f"Calibration of the {tank} tank", headings, rows)


CALCULATORS = (
    Calculator(
        key="engine_trial.agreement",
        title="Displays against the engine",
        step=DATA,
        order=200,
        compute=_agreement,
        basis=(AGREEING,),
    ),
    Calculator(
        key="engine_trial.senders", title="Tank senders", step=DATA, order=300, compute=_senders, basis=(CALIBRATED,)
    ),
)
