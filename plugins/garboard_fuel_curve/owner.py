"""What the owner steers and plans by: the ruler of engine speeds, cruises, and how far the fuel goes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from garboard.findings import Finding, NotEnoughData, Table, Verdict, rounded
from garboard.job_view import JobView, in_unit
from garboard.owner_pages import FUEL_AND_RANGE, HELM, Bar, Bars, Digits, Pointer, Ruler, RulerStep, Span
from garboard.record_types import frozen
from garboard.records import Engine
from garboard.steps import COVER, YOUR_BOAT, Assessed, Block, ReportSection
from garboard_fuel_curve.believed import JobCurve, begins_in_a_gap, believable_curve, hump_found
from garboard_fuel_curve.cruise import Cruise, best_place
from garboard_fuel_curve.curve import Hump
from garboard_fuel_curve.economy import radius_by_thirds, statute_economy
from garboard_fuel_curve.fitted import of_now
from garboard_fuel_curve.steps import TANKS
from garboard_fuel_curve.tank_gauge import Tanks, tanks_of
from garboard_fuel_curve.wording import least, tens, to_plan_by

SHARES = (("full", 1.0), ("three quarters", 0.75), ("half", 0.5), ("a quarter", 0.25))
_ON_CARD = {"three quarters": "3/4", "half": "1/2", "a quarter": "1/4"}
KEEPS_A_THIRD = (
    "Each way uses a third of the usable fuel, and the last third is kept. Load, trim, growth on the hull, wind "
    "and waves all cost fuel. Watch your gauge and the weather, and refuel early."
)


@frozen(kw_only=True)
class Speed:
    """An engine speed the owner may run at.

    name   : "your usual cruise"
    short  : the same on a card
    at     : engine speed [rev/min]
    speed  : [kn]
    flow   : [gal/h]
    economy : [nm/gal]
    """

    name: str
    short: str
    at: float
    speed: float
    flow: float
    economy: float


@frozen(kw_only=True)
class Known:
    """What can be told an owner, all of it beyond doubt.

    usable : fuel of all tanks [gal]; None where no range is given
    tanks  : the same with what they hold and what their gauge shows
    """

    curve: JobCurve
    cruise: Cruise | None
    hump: Hump | None
    slow: Speed | None
    best: Speed | None
    usual: Speed | None
    full: Speed
    usable: float | None
    tanks: Tanks

    @property
    def speeds(self) -> tuple[Speed, ...]:
        return tuple(one for one in (self.slow, self.best, self.usual, self.full) if one is not None)

    @property
    def to_plan_by(self) -> Speed | None:
        """The speed that ranges are told for first."""
        return self.usual or self.best


def _sound(assessed: Sequence[Assessed], name: str) -> Finding | None:
    """A finding of the fuel curve that nothing contradicts."""
    for one in assessed:
        if one.calculator == f"fuel_curve.{name}":
            sound = one.finding.verdict in (Verdict.PASS, Verdict.ADVISE) and not one.finding.doubted
            return one.finding if sound else None
    return None


def known(view: JobView, assessed: Sequence[Assessed]) -> Known | None:
    """What the sea trial told; None where its readings are missing or in doubt."""
    failed = any(
        one.calculator == "fuel_curve.fuel_for_power" and one.finding.verdict is Verdict.FAIL for one in assessed
    )
    if failed or _sound(assessed, "curve") is None:
        return None
    try:
        view = of_now(view)
        found = believable_curve(view)
        hump = hump_found(view, found.curve)
        cruise = best_place(view, found.curve) if _sound(assessed, "best_cruise") else None
    except NotEnoughData:
        return None
    below = found.curve.best_step_below_hump
    best = _speed(found, "best cruise", "best", cruise.engine_speed) if cruise else None
    slow = _speed(found, "slowly", "slow", below) if hump and below < hump.planing else None
    ranged = _sound(assessed, "range")
    wanted = view.amount(TANKS, "cruise", "rev/min")
    usable = view.amount(TANKS, "usable_fuel", "gal") if ranged else None
    return Known(
        curve=found,
        cruise=cruise,
        hump=hump,
        slow=slow,
        best=best,
        usual=_speed(found, "your usual cruise", "yours", wanted) if wanted is not None and ranged else None,
        full=_speed(found, "the highest step tried", "top", found.curve.highest),
        usable=usable,
        tanks=tanks_of(view, assessed, usable or 0.0),
    )


def _speed(found: JobCurve, name: str, short: str, at: float) -> Speed:
    curve = found.curve
    speed, flow, economy = curve.speed_at(at), curve.flow_at(at), curve.economy_at(at)
    return Speed(name=name, short=short, at=at, speed=least(speed), flow=flow.value, economy=least(economy))


def out_and_back(view: JobView, one: Speed, usable: float, share: float = 1.0) -> str:
    """How far out, with as much to come back and a third kept, in the unit distances are told in."""
    return to_plan_by(in_unit(radius_by_thirds(one.economy, usable * share), "nm", view.unit_to_tell("nm")))


def _fuel(view: JobView, value: float) -> str:
    """An amount of fuel; a tenth where it is not whole, so that the shares of a tank add up."""
    unit = view.unit_to_tell("gal")
    told = in_unit(value, "gal", unit)
    return f"{rounded(told, 0 if abs(told - round(told)) < 0.05 else 1)}\u00a0{unit}"


def _beside(view: JobView, one: Speed) -> str:
    return f"{view.told(one.speed, 'kn', 1)}, {view.told(one.flow, 'gal/h', 1)}"


def helm(view: JobView, assessed: Sequence[Assessed]) -> Iterator[Block]:
    """The numbers to steer by, and the ruler."""
    found = known(view, assessed)
    if found is None:
        return
    if found.cruise and found.best:
        name = "rev/min, best cruise" if found.cruise.planing else "rev/min, where fuel goes farthest"
        lines = (f"{_beside(view, found.best)} at {tens(found.best.at)} rev/min", "all of it within 3 % as good")
        yield Digits(f"{tens(found.cruise.low)}\u2013{tens(found.cruise.high)}", name, lines)
    if found.usual:
        yield Digits(tens(found.usual.at), "rev/min, your usual cruise", (_beside(view, found.usual),))
    yield _ruler(view, found)
    ends = _climbs(view, found)
    if ends:
        yield f"Between {ends[0]} and {ends[1]} rev/min the boat climbs its own bow wave. Run through it."
    if window := _window(view.vessel.engines):
        ends_of_box = f"{rounded(window[0], 0)} to {rounded(window[1], 0)} rev/min"
        yield f"The box \u201cfull\u201d is the engine maker's range at full throttle, {ends_of_box}."
    yield _card(view, found)
    if found.usable and found.to_plan_by:
        yield _fuel_card(view, found, found.usable)


def _climbs(view: JobView, found: Known) -> tuple[str, str] | None:
    """Engine speeds between which the boat climbs its bow wave; None where that was not seen, or not closely."""
    if found.hump is None or begins_in_a_gap(view, found.curve.curve, found.hump):
        return None
    _, planes = found.curve.curve.steps_around(found.hump.planing)
    return tens(found.hump.start), tens(min(planes, found.cruise.low) if found.cruise else planes)


def _window(engines: Sequence[Engine]) -> tuple[float, float] | None:
    """The makers' range at full throttle that holds for every engine [rev/min]."""
    ends = [(one.full_throttle_low, one.full_throttle_high) for one in engines]
    lows, highs = [low.to("rev/min") for low, _ in ends if low], [high.to("rev/min") for _, high in ends if high]
    if not engines or len(lows) < len(ends) or len(highs) < len(ends) or max(lows) >= min(highs):
        return None
    return max(lows), min(highs)


def _ruler(view: JobView, found: Known) -> Ruler:
    ends, window, spans = _climbs(view, found), _window(view.vessel.engines), []
    if ends:
        lowest = found.curve.curve.lowest
        if lowest < float(ends[0]):
            spans.append(Span(name="slow", low=lowest, high=float(ends[0]), look="slow"))
        spans.append(Span(name="run through", low=float(ends[0]), high=float(ends[1]), look="avoid"))
    if found.cruise:
        low, high = (10 * float(rounded(end / 10)) for end in (found.cruise.low, found.cruise.high))
        spans.append(Span(name="best", low=low, high=high, look="best"))
    if window:
        spans.append(Span(name="full", low=window[0], high=window[1], look="full"))
    speed, flow = view.unit_to_tell("kn"), view.unit_to_tell("gal/h")
    economy = view.unit_to_tell("nm/gal")
    steps = tuple(
        RulerStep(
            at=step.engine_speed,
            cells=(
                tens(step.engine_speed),
                rounded(in_unit(step.speed, "kn", speed), 1),
                rounded(in_unit(step.flow, "gal/h", flow), 1),
                rounded(in_unit(step.speed / step.flow, "nm/gal", economy), 2) if step.both_ways and step.flow else "",
            ),
        )
        for step in found.curve.read
    )
    pointers = [Pointer(name=f"usual {tens(found.usual.at)}", at=found.usual.at)] if found.usual else []
    pointers.append(Pointer(name=f"highest tried {tens(found.full.at)}", at=found.full.at))
    said = "; ".join(f"{span.name} {rounded(span.low, 0)} to {rounded(span.high, 0)}" for span in spans)
    return Ruler(
        spans=tuple(spans),
        steps=steps,
        rows=("rev/min", speed, flow, economy),
        pointers=tuple(pointers),
        alt=f"Ruler of engine speed in rev/min. {said}. Under it speed, fuel flow and economy at each step tried.",
    )


def _card(view: JobView, found: Known) -> Table:
    speed, flow = view.unit_to_tell("kn"), view.unit_to_tell("gal/h")
    rows = [
        (
            one.name.capitalize(),
            tens(one.at),
            rounded(in_unit(one.speed, "kn", speed), 1),
            rounded(in_unit(one.flow, "gal/h", flow), 1),
        )
        for one in found.speeds
    ]
    if ends := _climbs(view, found):
        rows.insert(1, ("Run through", f"{ends[0]}\u2013{ends[1]}", "", ""))
    return Table("Helm", ("At", "[rev/min]", f"[{speed}]", f"[{flow}]"), tuple(rows), card=True)


def fuel(view: JobView, assessed: Sequence[Assessed]) -> Iterator[Block]:
    """How far the fuel goes at each speed, and every step of the sea trial."""
    found = known(view, assessed)
    if found is None:
        return
    if found.usable and (plan := found.to_plan_by):
        of_fuel = f" of {view.fuel}" if view.fuel else ""
        yield Digits(
            f"{out_and_back(view, plan, found.usable)}\u00a0{view.unit_to_tell('nm')}",
            "out, and as far back",
            (f"{plan.name}, {tens(plan.at)} rev/min", f"from {_usable(view, found.tanks)}{of_fuel}"),
        )
        yield from _what_the_gauge_counts(view, found.tanks)
        yield KEEPS_A_THIRD
        yield Bars(
            bars=tuple(_bar(view, one, found.usable) for one in found.speeds),
            alt=f"Bars of how far {_usable(view, found.tanks)} take the boat out and back. The table says the same.",
            keeps_as_much=True,
        )
        yield _by_tank(view, found, found.usable)
    yield _every_step(view, found)


def _usable(view: JobView, tanks: Tanks) -> str:
    """The fuel that is reckoned with, and what the tanks hold where that is more."""
    whole = f" of {_fuel(view, tanks.holds)}" if tanks.holds and tanks.kept else ""
    return f"{_fuel(view, tanks.usable)} usable{whole}"


def _what_the_gauge_counts(view: JobView, tanks: Tanks) -> Iterator[str]:
    """How much of what the gauge shows cannot be burned."""
    if tanks.kept and tanks.holds:
        empty = tanks.gauge_at(0.0)
        shown = (
            f"it still shows about {math.ceil(empty)} % when" if empty is not None else "it does not read empty when"
        )
        yield (
            f"The engines cannot draw the last {_fuel(view, tanks.kept)}. The gauge counts it: {shown} no usable fuel "
            "is left."
        )


def _bar(view: JobView, one: Speed, usable: float) -> Bar:
    out = out_and_back(view, one, usable)
    name = f"{one.name[:1].upper()}{one.name[1:]}, {tens(one.at)} rev/min"
    return Bar(name=name, value=float(out), text=f"{out} {view.unit_to_tell('nm')} out, {out} back")


def _by_tank(view: JobView, found: Known, usable: float, speeds: Sequence[Speed] = (), *, card: bool = False) -> Table:
    """How far from full, three quarters and so on of the usable fuel, beside what the gauge shows of it."""
    speeds, unit = speeds or found.speeds, view.unit_to_tell("nm")
    gauges = [found.tanks.gauge_at(share) for _, share in SHARES]
    is_read = None not in gauges
    rows = tuple(
        (
            f"{_ON_CARD.get(name, name) if card else name}, {_fuel(view, usable * share)}",
            *([f"{rounded(gauge, 0)} %"] if is_read and gauge is not None else []),
            *(out_and_back(view, one, usable, share) for one in speeds),
        )
        for (name, share), gauge in zip(SHARES, gauges, strict=True)
    )
    headings = (
        "Usable fuel",
        *(["Gauge"] if is_read else []),
        *(f"{one.short}, {tens(one.at)}" for one in speeds),
    )
    title = (
        f"Fuel: {unit} out and as far back, a third kept"
        if card
        else f"Out [{unit}] by engine speed [rev/min], and as far back, a third kept"
    )
    return Table(title, headings, rows, card=card)


def _fuel_card(view: JobView, found: Known, usable: float) -> Table:
    """The same for the dash, at the speeds to plan by."""
    speeds = [one for one in (found.best, found.usual, found.full) if one is not None]
    return _by_tank(view, found, usable, speeds, card=True)


def _every_step(view: JobView, found: Known) -> Table:
    ashore = "mph" if view.unit_to_tell("gal") == "gal" else "km/h"  # as its owner knows speeds from the road
    speeds = tuple(dict.fromkeys((view.unit_to_tell("kn"), "kn", ashore)))
    flow, economy = view.unit_to_tell("gal/h"), view.unit_to_tell("nm/gal")
    statute = economy == "nm/gal"
    rows = []
    for step in found.curve.read:
        good = step.speed / step.flow if step.both_ways and step.flow else None
        rows.append(
            (
                tens(step.engine_speed),
                *(rounded(in_unit(step.speed, "kn", unit), 1) for unit in speeds),
                rounded(in_unit(step.flow, "gal/h", flow), 1),
                "" if good is None else rounded(in_unit(good, "nm/gal", economy), 2),
                *([("" if good is None else rounded(statute_economy(good), 2))] if statute else []),
            )
        )
    headings = (
        "Engine [rev/min]",
        *(f"Speed [{unit}]" for unit in speeds),
        f"Fuel [{flow}]",
        f"Economy [{economy}]",
        *(["Economy [mi/gal]"] if statute else []),
    )
    return Table("Every step of the sea trial, all engines together", headings, tuple(rows))


def cover(view: JobView, assessed: Sequence[Assessed]) -> Iterator[Block]:
    """The range in a sentence."""
    found = known(view, assessed)
    if found and found.usable and (plan := found.to_plan_by):
        out = out_and_back(view, plan, found.usable)
        unit = view.unit_to_tell("nm")
        yield f"At {tens(plan.at)} rev/min a full tank takes you {out} {unit} out and {out} back, with a third left."


SECTIONS = (
    ReportSection(key="fuel_curve.helm", title=HELM, order=210, part=YOUR_BOAT, build=lambda v, a: [*helm(v, a)]),
    ReportSection(
        key="fuel_curve.how_far", title=FUEL_AND_RANGE, order=300, part=YOUR_BOAT, build=lambda v, a: [*fuel(v, a)]
    ),
    ReportSection(key="fuel_curve.cover", title="Cover", order=30, part=COVER, build=lambda v, a: [*cover(v, a)]),
)
