"""The numbers of the sample jobs as a technician reads them: value, half width, unit, and the place of the last digit.

How right they are is checked in `published` and beside each plugin; here, that none is printed to another digit, and
that none changes unnoticed.
"""

from collections.abc import Iterator
from functools import cache

from garboard.demo.samples_folder import sample_job_files
from garboard.findings import Finding
from garboard.hosting.host import make_host
from garboard.judging.assessing import assess_job_file

AS_READ = """
kittiwake
    engine_trial.height.within
        mounting height: 1.00 ± 0.10 in
    engine_trial.toe.within
        toe: 0.2 ± 0.1 in
        centre to centre: 28.0 in
    engine_trial.idle.within
        idle speed: 670 ± 19 rev/min
    wiring_audit.battery_charge.enough
        charge, at least: 87 %
        rest voltage: 12.66 ± 0.06 V
    wiring_audit.standing_current.small
        standing current: 22.0 ± 0.9 mA
        days: 94 ± 17 d
    wiring_audit.labels.all_labelled
        labelled: 100 %
    wiring_audit.battery_reserve.enough
        reserve time: 5.6 h
        reserve time, shortest: 4.8 h
        reserve time, longest: 6.4 h
    wiring_audit.load_sum.listed
        load: 20.8 A
        measured: 17.5 ± 0.5 A
        measured beyond the list: −3.3 ± 0.5 A
    wiring_audit.load_sum.charging_covers
        load: 20.8 A
        charging: 96.0 A
    wiring_audit.network_terminators.two
        signal lines: 60.10 ± 0.05 ohm
    wiring_audit.network_voltage_measured.within_limit
        worst device: 12.20 ± 0.08 V
        supply drop: 0.40 ± 0.08 V
        lost before the power tee: 0.00 ± 0.10 V
    wiring_audit.network_voltage_calculated.within_limit
        supply drop: 0.51 V
        worst device: 12.1 V
    wiring_audit.network_load.within_limits
        load number: 19
        current: 0.95 A
        cable carries: 4 A
        largest load number of a device: 9
        devices: 5
        fuse: 3 A
    wiring_audit.network_lengths.within_limits
        backbone: 11.0 m
        drop cables: 14.0 m
        longest drop cable: 5.0 m
    heading_calibration.location.clear
        nearest disturber: 1.20 m
    heading_calibration.variation.known
        variation, east positive: −14.1 ± 0.7 deg
        change in a year: 0.05 deg
        latitude, north positive: 37.50 deg
        longitude, east positive: −68.00 deg
        horizontal field: 23.0 uT
    engine_trial.agreement.agree
        engine speed, display less engine: 10 rev/min
        voltage, display less engine: −0.10 V
    engine_trial.senders.agree
        furthest off: −3 %
    prop_check.capacity.within_label
        power fitted: 500 hp
        power on the label: 500 hp
    engine_trial.label.within
        rigged: 1500 lb
        left for gear and fuel in portable tanks: 300 lb
    engine_trial.depth.agrees
        depth off by: −1.2 in
    engine_trial.standing_wave.low
        standing wave ratio: 1.38 ± 0.36
    engine_trial.pump_flow.enough
        share of the label: 65 %
        flow: 713 gal/h
    heading_calibration.steady_turn.good
        turned: 472.7 ± 7.7 deg
        turned by course over ground: 492 ± 13 deg
        sensor beyond the course, over whole circles: 1.0 ± 6.7 deg
        mean rate of turn: 2.488 ± 0.041 deg/s
        share of time in the band: 99 %
        longest lapse: 2 s
        spread of the rate: 0.12 deg/s
    heading_calibration.swing.in_order
        largest deviation: 2.4 ± 0.9 deg
        coefficient A: 0.5 ± 0.7 deg
        coefficient B: 1.6 ± 0.4 deg
        coefficient C: −1.1 ± 0.4 deg
        coefficient D: 0.03 ± 0.08 deg
        coefficient E: 0.01 ± 0.08 deg
        largest deviation beside the constant: 2.0 deg
        scatter of the readings: 0.0 deg
    heading_calibration.comparison.agree
        mean difference: −0.3 ± 0.9 deg
        spread of the difference: 1.4 deg
        offset to enter: 0.3 ± 0.9 deg
        compared over: 599 s
    prop_check.speed.measured
        speed: 45.5 ± 0.3 kn
        current along the runs: 0.6 kn
    prop_check.window.inside
        engine speed: 5851 ± 27 rev/min
        window, low end: 5400 rev/min
        window, high end: 6000 rev/min
    prop_check.slip.usual
        slip: 13.0 ± 2.6 %
        slip by the stamped pitch: 13.0 ± 0.6 %
        theoretical speed: 52.3 ± 1.5 kn
    prop_check.engine_difference.usual
        difference: 25 ± 39 rev/min
    prop_check.reference_air.as_run
        engine speed in reference air: 5817 ± 34 rev/min
        power factor: 0.983
        dry air pressure: 99.8 kPa
    prop_check.crouch.believable
        Crouch constant: 168
        slowest to expect: 36.6 kn
        fastest to expect: 53.7 kn
        speed: 45.5 ± 0.3 kn
    fuel_curve.best_cruise.planing
        economy: 1.64 ± 0.04 nm/gal
        economy in statute miles: 1.89 ± 0.05 mi/gal
        fuel for a nautical mile: 2.31 ± 0.06 L/nm
        cruise, from: 3495 rev/min
        cruise, to: 3931 rev/min
        engine speed of these figures: 3680 rev/min
        speed: 25.5 ± 0.2 kn
        fuel flow: 15.5 ± 0.4 gal/h
    fuel_curve.curve.in_order
        lowest step: 651 rev/min
        highest step: 5837 rev/min
    fuel_curve.planing_hump.found
        planing begins, from: 2694 rev/min
        planing begins, to: 3093 rev/min
        speed at the step that planes: 16.1 ± 0.2 kn
        hump begins, from: 1696 rev/min
        hump begins, to: 2195 rev/min
        hump deepest: 2694 rev/min
        economy in the hump: 0.82 ± 0.03 nm/gal
    fuel_curve.mixed_use.ordinary
        fuel flow over mixed use: 10.1 ± 0.3 gal/h
        power of engine speed that fuel follows: 1.9
    fuel_curve.fuel_for_power.believable
        specific consumption: 0.50 ± 0.06 lb/(hp h)
        specific consumption, metric: 305 ± 35 g/kWh
        brake efficiency: 27.5 ± 3.3 %
        fuel flow: 20.5 ± 0.5 gal/h
    engine_trial.gauges.within
        highest temperature: 71.0 ± 1.9 degC
        water pressure at the highest step: 19.0 ± 1.0 psi
        lowest voltage above idle: 14.00 ± 0.10 V
        highest voltage: 14.10 ± 0.10 V
    engine_trial.charge.charges
        least charge current above idle: 38.0 A
        most charge current: 41.0 A
    engine_trial.loaded.inside
        full throttle, light: 5850 ± 19 rev/min
        full throttle, loaded: 5640 ± 19 rev/min
        lost with the load: 210 rev/min
    fuel_curve.range.reckoned
        out and back by thirds: 85.5 ± 2.2 nm
        whole range with 20 % in reserve: 205 ± 5 nm
        usable fuel: 170.0 ± 0.6 gal
        reserve by thirds: 56.7 ± 0.2 gal
        economy: 1.51 ± 0.04 nm/gal
        speed: 30.9 ± 0.2 kn
    fuel_curve.flow_meter.within_limit
        refill over meter: 1.010 ± 0.024
        factor to set: 1.010 ± 0.024
long_reach
    wiring_audit.battery_charge.low
        charge: 58 ± 13 %
        rest voltage: 12.31 ± 0.06 V
    wiring_audit.overcurrent_rating.too_large
        rating: 60.0 A
        largest rating: 52.5 A
    wiring_audit.drop_measured.too_much
        drop: 3.6 ± 0.2 %
        drop, as read: 0.41 ± 0.02 V
        drop by circular mils: 3.9 ± 0.3 %
        drop, conductor warm: 3.9 %
    wiring_audit.network_terminators.one_missing
        signal lines: 119.60 ± 0.05 ohm
    heading_calibration.steady_turn.too_slow
        turned: −361.3 ± 7.2 deg
        turned by course over ground: −362.2 ± 2.7 deg
        mean rate of turn: 1.642 ± 0.033 deg/s
        share of time in the band: 0 %
        longest lapse: 220 s
        spread of the rate: 0.08 deg/s
    heading_calibration.comparison.off
        mean difference: −3.8 ± 2.4 deg
        spread of the difference: 1.5 deg
        offset to enter: 3.8 ± 2.4 deg
        compared over: 235 s
    prop_check.engine_difference.too_much
        difference: 180 ± 39 rev/min
saltgrass
    wiring_audit.labels.unlabelled
        labelled: 86 %
    wiring_audit.battery_reserve.short
        reserve time: 3.3 h
        reserve time, shortest: 2.7 h
        reserve time, longest: 4.0 h
    prop_check.capacity.within_formula
        length x transom width: 140.4
        power by formula: 190.8 hp
        power the formula may be raised to: 195 hp
        power fitted: 150 hp
    prop_check.pitch.try_first
        change of pitch to try first: −3 in
        engine speed to expect: 5462 ± 409 rev/min
        chance to land in the window: 98 %
        boat speed to expect: 32.1 ± 2.8 kn
    prop_check.window.below
        engine speed: 4845 ± 31 rev/min
        window, low end: 5000 rev/min
        window, high end: 6000 rev/min
    prop_check.reference_air.out_as_run
        engine speed in reference air: 4803 ± 39 rev/min
        power factor: 0.974
        dry air pressure: 100.2 kPa
"""


@cache
def _findings() -> tuple[tuple[str, Finding], ...]:
    """What the sample jobs say now, each with its folder's name."""
    host = make_host(entry_points=False)
    return tuple(
        (path.parent.name, each.finding) for path in sample_job_files() for each in assess_job_file(path, host).assessed
    )


def _read(told: set[str]) -> Iterator[str]:
    """Of each code, the numbers of its first finding."""
    folder = ""
    for where, finding in _findings():
        if where != folder:
            folder = where
            yield folder
        if finding.code in told:
            told.remove(finding.code)
            yield f"    {finding.code}"
            yield from (f"        {number.name}: {number}" for number in finding.numbers)


def test_the_numbers_of_the_sample_jobs_are_read_to_the_right_digit() -> None:
    """One finding of each code that carries numbers."""
    lines = AS_READ.strip().splitlines()
    codes = {line.strip() for line in lines if line.startswith("    ") and line[4] != " "}
    assert [*_read(codes)] == lines


def test_no_sentence_begins_with_what_it_is_about() -> None:
    """Book, terminal, tablet and pages print the one before the other: "variation: Variation -14.1"."""
    said = [(one.about, one.sentence) for _, one in _findings() if one.about]
    assert len(said) > 100
    assert [one for one in said if one[1].casefold().startswith(one[0].casefold())] == []


def test_a_unit_stands_in_brackets_over_its_column() -> None:
    """In one way all over the book: after a comma it reads as a second thing, "Share, %"."""
    heads = {head for _, one in _findings() for table in one.tables for head in table.headings}
    assert len([head for head in heads if head.endswith("]")]) > 20
    assert [head for head in heads if head.endswith(")") or (", " in head and not head.endswith("]"))] == []


def test_how_many_there_are_in_all_is_no_unit() -> None:
    """In the tables of an export the unit is a column of its own, and "of 3" measures nothing. The limit says it."""
    assert {number.unit for _, one in _findings() for number in one.numbers if number.unit.startswith("of ")} == set()


def test_a_cable_is_as_long_in_the_table_of_its_drop_as_in_the_equipment() -> None:
    """The sample boats' are typed in feet; metres beside them are another length to whoever reads it."""
    (told, *_) = [table for _, one in _findings() for table in one.tables if "One way" in table.headings]
    ran = [row[told.headings.index("One way")] for row in told.rows]
    assert ran[:2] == ["12 ft", "8 ft"]


def test_a_document_leaves_out_what_the_technician_does_next() -> None:
    """The owner's Record prints the short form: the next step is for whoever works on the boat."""
    codes = (
        "wiring_audit.battery_charge.enough",
        "heading_calibration.location.clear",
        "heading_calibration.steady_turn.good",
        "heading_calibration.comparison.agree",
        "fuel_curve.flow_meter.within_limit",
    )
    told = {one.code: one for _, one in _findings() if one.code in codes}
    assert set(told) == set(codes)
    for one in told.values():
        assert one.short, one.code
        assert one.sentence.startswith(one.short.rstrip("."))
        assert one.sentence != one.short


def test_no_source_of_a_sample_reads_more_under_load_than_its_bank_at_rest() -> None:
    """The technician reads it with the load running and no charger on: the bank sags."""
    (told, *_) = [table for _, one in _findings() for table in one.tables if "Left at load [V]" in table.headings]
    read, left = (told.headings.index(name) for name in ("Read [V]", "Left at load [V]"))
    sources = [float(row[read].split()[0]) + float(row[left]) for row in told.rows]
    assert len(set(sources)) > 1
    assert max(sources) < 12.66
