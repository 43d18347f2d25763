"""CSV series: names and units of columns, cells that cannot be used."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from garboard.faults import InputError
from garboard.recordings import ReadingNotes
from garboard.recordings.csv_series import read
from garboard.recordings.times import parse_time
from garboard.samples import UNIT_OF_QUANTITY, Sample


def samples_of(*lines: str) -> tuple[list[Sample], ReadingNotes]:
    notes = ReadingNotes()
    return [sample for group in read(lines, notes, "series.csv") for sample in group], notes


def test_column_name_tells_quantity_reference_instance_and_source() -> None:
    samples, notes = samples_of(
        "time,heading magnetic#2@fluxgate, lower [deg]".replace(", lower", " lower"),
        "2026-05-04T09:30:00Z,41.5",
    )
    at = parse_time("2026-05-04T09:30:00Z")
    assert samples == [Sample(at, "heading", 41.5, "fluxgate lower", "2", "magnetic")]
    assert notes.dated


@pytest.mark.parametrize(
    ("column", "text", "value"),
    [
        ("speed_over_ground [mph]", "10", 10 * 1609.344 / 1852),  # both exact: statute and nautical mile in metres
        ("speed_through_water [m/s]", "1", 3600 / 1852),
        ("rate_of_turn [deg/min]", "90", 1.5),
        ("fuel_flow [gal/h]", "10", 37.85411784),  # US gallon, 231 cubic inches
        ("engine_temperature [degF]", "212", 100.0),
        ("oil_pressure [psi]", "50", 344.737865),  # 6.8947573 kPa each
        ("engine_hours [min]", "90", 1.5),
        ("alternator_voltage [mV]", "13900", 13.9),
        ("heading [deg]", "41.5", 41.5),
    ],
)
def test_value_is_converted_to_the_unit_of_its_quantity(column: str, text: str, value: float) -> None:
    """Expected: by hand from the definitions of the units."""
    [sample], _ = samples_of(f"time,{column}", f"0,{text}")
    assert sample.value == pytest.approx(value, rel=1e-7)


@pytest.mark.parametrize("quantity", UNIT_OF_QUANTITY)
def test_every_quantity_can_be_typed_in_its_own_unit(quantity: str) -> None:
    [sample], _ = samples_of(f"time [s],{quantity} [{UNIT_OF_QUANTITY[quantity]}]", "1.5,12.5")
    assert sample == Sample(1.5, quantity, 12.5)


def test_empty_cell_is_no_value_and_no_damage() -> None:
    samples, notes = samples_of("time,roll [deg],pitch [deg]", "0,1.5,", "1,,2.5", ",,")
    assert [(s.time, s.quantity) for s in samples] == [(0.0, "roll"), (1.0, "pitch")]
    assert notes.empty == {"roll [deg]": 1, "pitch [deg]": 1}
    assert [str(one) for one in notes.damaged] == ["line 4: time: expected a number, got ''"]


def test_semicolons_tabs_quotes_and_decimal_commas_are_read() -> None:
    semicolons, _ = samples_of("time;roll [deg]", "0,5;-1,5")
    tabs, _ = samples_of("time\troll [deg]", "0.5\t-1.5")
    quoted, _ = samples_of('"time","roll [deg]"', '"0.5","-1.5"')
    assert semicolons == tabs == quoted == [Sample(0.5, "roll", -1.5)]


def test_dates_and_seconds_are_not_mixed() -> None:
    samples, notes = samples_of("time,roll [deg]", "2026-05-04 09:30:00,1", "1777887001,2", "2026-05-04 09:30:02,3")
    assert [s.value for s in samples] == [1.0, 3.0]
    assert "expected a date and time" in notes.damaged[0].reason


def test_comments_are_passed_over_and_lines_still_counted() -> None:
    _, notes = samples_of("# sea trial", "", "time,roll [deg]", "# gusty", "x,1")
    assert [one.line for one in notes.damaged] == [5]


@pytest.mark.parametrize("unit", ["%", "kn", "", "degrees", "rad"])
def test_unit_of_another_quantity_is_refused_naming_those_accepted(unit: str) -> None:
    with pytest.raises(InputError) as refused:
        samples_of(f"time,heading [{unit}]", "0,1")
    assert [fault.expected for fault in refused.value.faults] == ["a unit out of deg"]


def test_every_fault_of_the_header_is_told_at_once() -> None:
    with pytest.raises(InputError) as refused:
        samples_of("clock,roll,pitch [kn],rol [deg],yaw [deg],yaw [deg]", "0,1,2,3,4,5")
    assert [fault.where for fault in refused.value.faults] == [f"column {n}" for n in (1, 2, 3, 4, 6)]


def test_header_alone_with_only_a_time_is_refused() -> None:
    with pytest.raises(InputError, match="a column of values beside the time"):
        samples_of("time", "0")


@given(st.lists(st.text(st.characters(blacklist_characters="\n"), max_size=60), max_size=15))
def test_no_row_whatever_is_in_it_stops_the_reading(rows: list[str]) -> None:
    samples, notes = samples_of("time,roll [deg],pitch [deg]", *rows)
    assert notes.lines == len(rows) + 1
    assert len(samples) == notes.samples
    assert all(s.value - s.value == 0 and s.time - s.time == 0 for s in samples)


@given(st.lists(st.tuples(st.floats(0, 1e9), st.floats(-180, 180)), min_size=1, max_size=20))
def test_series_written_by_python_reads_back_exactly(rows: list[tuple[float, float]]) -> None:
    samples, _ = samples_of("time,roll [deg]", *(f"{time!r},{value!r}" for time, value in rows))
    assert [(s.time, s.value) for s in samples] == rows
