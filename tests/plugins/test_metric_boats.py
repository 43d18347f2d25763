"""A boat whose values were typed in L/h, km/h, kW, kg and mm is answered in them; programs read what was declared."""

from __future__ import annotations

import re
from typing import Any

import attrs
import pytest

from builders import job_view
from fuel_curve_jobs import PLANING, STEPS, TANKS, typed
from garboard.demo.samples_folder import sample_job_files
from garboard.findings import Axis, Basis, BasisKind, Figure, Finding, Limit, Number, Series, Table, Verdict
from garboard.hosting.host import PluginHost, make_host
from garboard.hosting.watching import watched
from garboard.job_files.job_file import read_job_file, view_of
from garboard.job_view import FieldKey, JobView
from garboard.records import Engine, JsonValue, Propeller, Vessel
from garboard.report.as_typed import as_typed, finding_as_typed
from garboard.report.json_out import finding_as_plain
from garboard.units import Amount
from garboard_fuel_curve.owner import fuel

METRIC = {"kn": ("km/h", 1), "mph": ("km/h", 1), "gal/h": ("L/h", 2), "gal": ("L", 1), "hp": ("kW", 1)}
METRIC |= {"lb": ("kg", 0), "in": ("mm", 0), "ft": ("m", 2), "psi": ("kPa", 1)}
NOT_METRIC = re.compile(
    r"\d (kn|nm|mph|mi|gal|hp|lb|in|ft|psi)(?![\w(/]| \d)|\d (gal/h|nm/gal|mi/gal)|\[(kn|gal|nm|mi|hp|lb|in)"
)


@pytest.fixture(scope="module")
def host() -> PluginHost:
    return make_host(entry_points=False)


def metric(amount: Amount) -> Amount:
    if amount.unit not in METRIC:
        return amount
    unit, decimals = METRIC[amount.unit]
    return Amount(f"{amount.to(unit):.{decimals}f}", unit)


def record(one: Any) -> Any:
    """A record with its amounts in metric units."""
    if isinstance(one, Amount):
        return metric(one)
    if isinstance(one, tuple):
        return tuple(record(each) for each in one)
    if attrs.has(type(one)):
        fields = {field.name: getattr(one, field.name) for field in attrs.fields(type(one))}
        return attrs.evolve(one, **{name: record(value) for name, value in fields.items()})
    return one


def text(value: JsonValue) -> JsonValue:
    try:
        return str(metric(Amount.parse(value))) if isinstance(value, str) else value
    except ValueError:
        return value


def told(finding: Finding) -> list[str]:
    """Everything a finding says with a unit."""
    cells = [cell for table in finding.tables for row in (table.headings, *table.rows) for cell in row]
    axes = [axis for figure in finding.figures for axis in (figure.x, figure.y, figure.y2) if axis]
    return [finding.sentence, *map(str, finding.numbers), *cells, *(f"[{axis.unit}]" for axis in axes)]


@pytest.mark.parametrize("name", ["kittiwake", "saltgrass"])
def test_the_same_boat_typed_in_metric_units_is_judged_alike_and_answered_in_them(host: PluginHost, name: str) -> None:
    path = next(path for path in sample_job_files() if path.parent.name == name)
    view = view_of(read_job_file(path), path.parent)
    values = tuple(attrs.evolve(one, value=text(one.value)) for one in view.measurements)
    in_metric = attrs.evolve(view, vessel=record(view.vessel), measurements=values)
    before, after = host.assess(view), as_typed(in_metric, host.assess(in_metric), host)
    assert [one.finding.code for one in before] == [one.finding.code for one in after]
    assert sum(bool(NOT_METRIC.search(line)) for one in before for line in told(one.finding)) > 20
    assert [line for one in after for line in told(one.finding) if NOT_METRIC.search(line)] == []
    speeds = [
        {heading for one in fuel(host.with_defaults(seen), found) if isinstance(one, Table) for heading in one.headings}
        & {"Speed [kn]", "Speed [mph]", "Speed [km/h]"}
        for seen, found in ((view, before), (in_metric, after))
    ]
    assert speeds == [{"Speed [kn]", "Speed [mph]"}, {"Speed [kn]", "Speed [km/h]"}]


def test_a_radios_power_and_a_pumps_flow_say_nothing_of_how_the_boat_is_told(host: PluginHost) -> None:
    path = next(path for path in sample_job_files() if path.parent.name == "saltgrass")
    view = view_of(read_job_file(path), path.parent)
    assert {"W", "mW"} & {str(one.value).rpartition(" ")[2] for one in view.measurements}
    told = {number.unit for one in as_typed(view, host.assess(view), host) for number in one.finding.numbers}
    assert "hp" in told
    assert not {"W", "mW"} & told


def boat(**changes: Any) -> Vessel:
    propeller = Propeller(pitch=Amount("432", "mm"), diameter=Amount("368", "mm"))
    engine = Engine(position="centre", rated_power=Amount("150", "kW"), propeller=propeller)
    return Vessel(hull_number="ABC12345C393", engines=(engine,), **changes)


def test_the_unit_most_values_were_typed_in_is_told() -> None:
    rows: dict[FieldKey, JsonValue] = {
        (STEPS, "speed_out", "1", ""): "20 km/h",
        (STEPS, "speed_out", "2", ""): "30 km/h",
        (STEPS, "speed_out", "3", ""): "22 kn",
        (TANKS, "refilled", "", ""): "100 L",
    }
    view = job_view(boat(length=Amount("6.5", "m"), transom_width=Amount("90", "in")), rows)
    assert (view.unit_as_typed("speed"), view.unit_as_typed("weight")) == ("km/h", "lb")
    one = ((STEPS, "speed_out", "3", ""),)
    assert view.unit_as_typed("speed", one) == "kn"
    assert [view.unit_to_tell(unit) for unit in ("kn", "nm", "gal", "gal/h", "hp", "lb", "rev/min", "nm/gal")] == [
        *("km/h", "km", "L", "L/h", "kW", "lb", "rev/min", "km/L")
    ]
    assert view.unit_to_tell("in") == "mm"  # two sizes of a propeller in mm, one of the transom in inches
    assert view.unit_to_tell("in", [("vessel", "transom_width", "", "")]) == "in"
    assert view.told(10.0, "nm/gal", 2) == "4.89 km/L"  # by hand: 18.52 km on 3.785 L


def test_nothing_typed_is_told_as_worked_out() -> None:
    view = job_view(Vessel(hull_number="ABC12345C393"), {})
    assert [view.told(value, unit, 1) for value, unit in ((10, "kn"), (5, "gal/h"), (15, "in"))] == [
        *("10.0 kn", "5.0 gal/h", "15.0 in")
    ]


def finding() -> Finding:
    return Finding(
        verdict=Verdict.ADVISE,
        about="a",
        sentence="b",
        basis=(Basis(BasisKind.METHOD, "c"),),
        numbers=(Number("speed", 20.0, "kn", 1.0), Number("turns", 5000.0, "rev/min")),
        limits=(Limit("speed", low=10.0),),
        figures=(
            Figure(
                title="t",
                x=Axis("turns", "rev/min"),
                y=Axis("speed", "kn", low=0.0),
                y2=Axis("economy", "nm/gal"),
                series=(Series("s", (1.0,), (10.0,)), Series("e", (1.0,), (10.0,), second_axis=True)),
            ),
        ),
    )


def test_numbers_limits_and_figures_are_told_in_one_unit_and_programs_read_the_declared_one() -> None:
    values = typed(PLANING[:3])
    view = job_view(boat(), {place: text(value) for place, value in values.items()})
    seen = finding_as_typed(view, finding())
    assert [str(number) for number in seen.numbers] == ["37.0 ± 1.9 km/h", "5000.0 rev/min"]
    assert seen.limits[0].low == pytest.approx(18.52)
    (figure,) = seen.figures
    assert figure.y2 is not None
    assert (figure.y.unit, figure.y2.unit) == ("km/h", "km/L")
    assert [one.y[0] for one in figure.series] == pytest.approx([18.52, 18.52 / 3.785411784])
    assert finding_as_typed(view, seen) == seen
    assert finding_as_plain(finding())["numbers"][0]["unit"] == "kn"


def test_to_look_for_units_rests_on_nothing(host: PluginHost) -> None:
    """Readings of the vessel that a doubt is about are not read by it."""
    engine = Engine(
        position="centre", full_throttle_low=Amount("6000", "rev/min"), limiter_speed=Amount("1", "rev/min")
    )
    view = job_view(Vessel(hull_number="ABC12345C393", engines=(engine,), plate_power=Amount("90", "kW")), {})
    seen = watched(view, {})
    assert seen.unit_to_tell("hp") == "kW"
    assert (list(seen.facts), seen.seen) == ([], [])


def test_the_book_and_the_report_are_told_so(host: PluginHost) -> None:
    values = {place: text(value) for place, value in typed(PLANING).items()}
    values[TANKS, "usable_fuel", "", ""] = "240 L"
    view: JobView = job_view(boat(), values)
    said = {one.finding.code: one.finding for one in as_typed(view, host.assess(view), host)}
    best, reach = said["fuel_curve.best_cruise.planing"], said["fuel_curve.range.reckoned"]
    assert (best.numbers[0].unit, reach.numbers[0].unit) == ("km/L", "km")
    assert " km/h: " in best.sentence
    assert " km out and the same back on two thirds of 240 L, 80 L left, at " in reach.sentence
