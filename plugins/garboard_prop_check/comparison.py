"""What another propeller would do, side by side: a table, a figure, and the two rules of the trade beside it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from garboard.findings import Axis, Band, Figure, Series, Table, in_full, rounded, with_uncertainty
from garboard.job_view import JobView, in_unit
from garboard.record_types import frozen
from garboard_prop_check.candidates import Option, inches
from garboard_prop_check.fitted import Fitted
from garboard_prop_check.forecast import Expected, Forecasts, in_100, limiter_of
from garboard_prop_check.pitch import engine_speed_by_proportion
from garboard_prop_check.words import about, inches_told_in


def table_of(view: JobView, forecasts: Forecasts, options: Sequence[Option]) -> Table:
    """Every propeller in reach, and beside what is foreseen what the two rules of the trade say."""
    found = [(one, forecasts.of(one, option)) for one in forecasts.fitted for option in options]
    laden = any(expected is not None and expected.laden for _, expected in found)
    return Table(
        title="What another propeller would do",
        headings=(
            "engine",
            f"pitch [{inches_told_in(view, forecasts.fitted[0].engine)}]",
            "engine speed [rev/min]",
            f"boat speed [{view.unit_to_tell('kn')}]",
            "chance to land in the window [%]",
            "by rev/min for each inch [rev/min]",
            "by proportion [rev/min]",
            *(("fully laden [rev/min]", "chance fully laden [%]") if laden else ()),
        ),
        rows=tuple(_row(view, expected, one, laden) for one, expected in found if expected is not None),
    )


@frozen
class Rules:
    """What the two rules of the trade say of an engine, and whether that lies inside what is foreseen.

    low, high  : so many rev/min for each inch, at least and at most [rev/min]
    proportion : pitch times engine speed stays the same [rev/min]
    """

    low: float
    high: float
    proportion: float
    per_inch_holds: bool
    proportion_holds: bool


def by_rules(view: JobView, expected: Expected, one: Fitted) -> Rules:
    """What they say of one engine with one propeller."""
    turned, run = expected.engine_speed, one.engine_speed.value
    change = expected.option.works_as(one)  # to a rigger too a cup is pitch
    low, high = sorted(run - change * lost for lost in per_inch(view))
    proportion = engine_speed_by_proportion(run, one.pitch, one.pitch + change)
    return Rules(
        low=low,
        high=high,
        proportion=proportion,
        per_inch_holds=low <= turned.high and turned.low <= high,
        proportion_holds=turned.low <= proportion <= turned.high,
    )


def _row(view: JobView, expected: Expected, one: Fitted, laden: bool) -> tuple[str, ...]:
    unit = inches_told_in(view, one.engine)
    more = f"{'+' if expected.change > 0 else '-'}{_size(abs(expected.change), unit)}" if expected.change else "same"
    turned, speed = expected.engine_speed, expected.speed
    is_limited, rules = turned.value > limiter_of(one), by_rules(view, expected, one)
    outside = "" if is_limited else " (outside)"
    ends = dict.fromkeys(rounded(end) for end in (rules.low, rules.high))
    return (
        one.engine.position,
        f"{called(expected.option, one, unit)} ({more})",
        "reaches the limiter" if is_limited else with_uncertainty(turned.value, turned.expanded_uncertainty, 0),
        view.told(speed.value, "kn", 1, speed.expanded_uncertainty).rpartition(" ")[0]
        if speed and not is_limited
        else "",
        str(in_100(expected.chance)),
        " to ".join(ends) + ("" if rules.per_inch_holds else outside),
        rounded(rules.proportion) + ("" if rules.proportion_holds else outside),
        *(_laden_cells(expected, one) if laden else ()),
    )


def _laden_cells(expected: Expected, one: Fitted) -> tuple[str, str]:
    if expected.laden is None:
        return "", ""
    is_limited = expected.laden.value > limiter_of(one)
    told = with_uncertainty(expected.laden.value, expected.laden.expanded_uncertainty, 0)
    return "reaches the limiter" if is_limited else told, str(in_100(expected.laden_chance))


def called(option: Option, one: Fitted, unit: str) -> str:
    """A propeller by its size, one at hand by all that is known of it."""
    kept = option.kept
    if kept is None:
        return _size(option.pitch(one), unit)
    size = f"{_size(kept.diameter, unit)} x {_size(kept.pitch, unit)}" if kept.diameter else _size(kept.pitch, unit)
    blades = f"{kept.blades} blades" if kept.blades else ""
    cup = f"{kept.cup} cup" if kept.cup not in ("", "none") else ""
    return ", ".join(filter(None, (size, blades, kept.material, cup, kept.name)))


def per_inch(view: JobView) -> tuple[float, float]:
    """Engine speed lost for an inch more pitch, at least and at most [rev/min]."""
    low, high = (view.setting_value(f"prop_check.per_inch_{end}", "rev/min") for end in ("low", "high"))
    return low, high


def _size(size: float, unit: str) -> str:
    """A size of propellers; makers' steps are of an inch, so other units are told in whole numbers."""
    return in_full(float(rounded(size, 2))) if unit == "in" else rounded(in_unit(size, "in", unit))


def figure_of(view: JobView, forecasts: Forecasts, one: Fitted) -> Figure:
    """Engine speed over pitch: what is foreseen with its interval, the window, what was run, the two rules."""
    unit = inches_told_in(view, one.engine)
    way = next(each.way for each in forecasts.fitted if each.way)
    options = inches(way, largest_change(view), [one])
    found = [each for each in (forecasts.of(one, option) for option in options) if each is not None]
    below = [each for each in found if each.engine_speed.value <= limiter_of(one)]
    runs = forecasts.runs[one.engine.position]
    at = tuple(in_unit(one.pitch + each.change, "in", unit) for each in below)
    rules = [by_rules(view, each, one) for each in below]
    middle = (in_unit(one.pitch, "in", unit), one.engine_speed.value)

    def line(name: str, ends: Iterable[float]) -> Series:
        return Series(name, x=(middle[0], *at), y=(middle[1], *ends), markers=False)

    of = f", {about(one.engine)}" if len(forecasts.fitted) > 1 else ""
    return Figure(
        title=f"Engine speed with another pitch{of}",
        x=Axis("Pitch", unit),
        y=Axis("Engine speed", "rev/min"),
        series=(
            Series(
                "as run",
                x=tuple(in_unit(run.pitch, "in", unit) for run in runs),
                y=tuple(run.engine_speed for run in runs),
                line=False,
            ),
            line("expected", (each.engine_speed.value for each in below)),
            line("at least", (each.engine_speed.low for each in below)),
            line("at most", (each.engine_speed.high for each in below)),
            line("by rev/min for each inch", ((each.low + each.high) / 2 for each in rules)),
            line("by proportion", (each.proportion for each in rules)),
        ),
        bands=(Band("full-throttle window", "y", one.low, one.high),),
    )


def largest_change(view: JobView) -> float:
    """The largest change of pitch the shop advises [in]."""
    return view.setting_value("prop_check.largest_pitch_change", "in")
