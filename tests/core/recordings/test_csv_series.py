"""CSV series: names and units of columns, cells that cannot be used."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from garboard.faults import InputError
from garboard.recordings import ReadingNotes
from garboard.recordings.csv_series import read
from garboard.recordings.remarks import remarks
from garboard.recordings.times import parse_time
from garboard.samples import HARD_RANGE, UNIT_OF_QUANTITY, Sample


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
        ("fuel_flow [GPH]", "10", 37.85411784),  # as people spell it
        ("engine_speed#0 [rpm]", "5800", 5800.0),
        ("air_temperature [°C]", "21.5", 21.5),
        ("speed_over_ground [knots]", "38", 38.0),
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
    value = max(12.5, HARD_RANGE[quantity][0]) if HARD_RANGE[quantity][1] > 12.5 else 0.5
    [sample], _ = samples_of(f"time [s],{quantity} [{UNIT_OF_QUANTITY[quantity]}]", f"1.5,{value}")
    assert sample == Sample(1.5, quantity, value)


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


def test_every_quantity_has_a_hard_range() -> None:
    assert HARD_RANGE.keys() == UNIT_OF_QUANTITY.keys()
    assert all(low < high for low, high in HARD_RANGE.values())


@pytest.mark.parametrize(
    ("column", "good", "bad"),
    [
        ("heading [deg]", ("0", "360"), ("-5", "360.1", "1e308")),
        ("course_over_ground [deg]", ("0", "360"), ("-0.1", "361")),
        ("latitude [deg]", ("-90", "90"), ("-90.1", "91")),
        ("engine_speed [rev/min]", ("0", "15000"), ("-100", "5e9")),
        ("engine_temperature [degF]", ("212",), ("2000",)),  # 1000 degC is 1832 degF
        ("speed_over_ground [m/s]", ("100",), ("103",)),  # 200 kn is 102.9 m/s
    ],
)
def test_a_value_no_instrument_shows_is_damaged(column: str, good: tuple[str, ...], bad: tuple[str, ...]) -> None:
    """Angles by what they mean; the rest common practice, no source."""
    samples, notes = samples_of(f"time,{column}", *(f"{n},{text}" for n, text in enumerate((*good, *bad))))
    assert len(samples) == notes.samples == len(good)
    assert notes.damaged_count == len(bad)
    assert all(f"got '{text}'" in one.reason for text, one in zip(bad, notes.damaged, strict=True))
    assert notes.damaged[0].reason.startswith(f"{column}: expected ")


def test_decimal_commas_are_counted_with_the_first_as_written() -> None:
    """5000,5 may be a decimal and 5,000 five thousand: the reading is told, not silent."""
    samples, notes = samples_of("time;engine_speed [rev/min];roll [deg]", "0;5000,5;1", "1;5,000;-0,5", "2;5000;1")
    assert [s.value for s in samples if s.quantity == "engine_speed"] == [5000.5, 5.0, 5000.0]
    assert (notes.decimal_commas, notes.first_decimal_comma) == (3, "5000,5")
    assert remarks(notes, {"engine_speed", "roll"})[0] == (
        "3 numbers have a comma, read as a decimal point: 5000,5 as 5000.5. Use a point, and nothing to part thousands."
    )
    _, points = samples_of("time;engine_speed [rev/min]", "0;5000.5")
    assert points.decimal_commas == 0


def test_dates_and_seconds_are_not_mixed() -> None:
    samples, notes = samples_of("time,roll [deg]", "2026-05-04 09:30:00,1", "1777887001,2", "2026-05-04 09:30:02,3")
    assert [s.value for s in samples] == [1.0, 3.0]
    assert "expected a date and time" in notes.damaged[0].reason


def test_comments_are_passed_over_and_lines_still_counted() -> None:
    _, notes = samples_of("# sea trial", "", "time,roll [deg]", "# gusty", "x,1")
    assert [one.line for one in notes.damaged] == [5]


@pytest.mark.parametrize("unit", ["%", "kn", "", "turns", "rad"])
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
