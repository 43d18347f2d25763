"""The wiring audit against regulations, standards, handbooks and worked examples from outside the project.

Sources, by title:
[A] 33 CFR 183.425, Conductors: general, Table 5 (current edition).
[B] 33 CFR 183.425, Table 5 with its engine-space column for 105 degC, restated in two catalogues (address withheld).
[C] 33 CFR 183.455, Overcurrent protection: general.
[D] Technical note of a chandlery on the 3 % drop formula (address withheld).
[E] Public wire-size FAQ with two foot-ampere examples.
[F] Catalogue page with a 10 % drop example (address withheld).
[G] American wire gauge formula, ASTM B258-02, encyclopaedia copy.
[H] NEC (NFPA 70), chapter 9, table 8, restated on a public page (address withheld): uncoated stranded copper, 75 degC.
[I] NBS Handbook 100 and Circular 31: annealed copper, 58 MS/m, 0.017241 ohm mm2/m at 20 degC.
[J] Industrial Power Engineering and Applications Handbook, p. 970: 0.00393 per kelvin.
[K] NEC table 310.15(B)(2)(a), ambient factors for 46 to 50 degC, read in a public copy.
[L] Four installation sheets of the NMEA 2000 trade standard (address withheld).
[M] State of charge table, source given there as the battery trade council.
[N] ISO 10133:2012, 7.7, and ISO 10133:2000, 8.1, extracts.
[O] Table of flooded batteries, rounded, on a public mailing list.
[P] 33 CFR 183.425 (2001 annual edition), paragraphs (a) to (g).
[Q] Correction factors for bundled conductors, reprinted in a catalogue from the Coast Guard's electrical system
    compliance guideline (address withheld).
[R] Standard ampere ratings of fuses and breakers up to 400 A, NEC 240.6(A), from memory.
"""

import pytest

from garboard.findings import Verdict
from garboard.uncertainty import MeasuredValue
from garboard_wiring_audit.ampacity import CFR_TABLE_5, TABLE_5, allowable, bundling_factor, table_5
from garboard_wiring_audit.batteries import state_of_charge
from garboard_wiring_audit.bus import (
    BusDevice,
    bus_drop,
    load_number,
    terminators_by_resistance,
    worst_device,
)
from garboard_wiring_audit.conductors import (
    ambient_factor,
    circular_mils,
    gauge_area,
    gauge_diameter,
    gauge_number,
    larger_sizes,
    of_gauge,
    resistance_per_metre,
)
from garboard_wiring_audit.overcurrent import ISO_DISTANCE, STANDARD_RATINGS, distance_limit, largest_rating
from garboard_wiring_audit.rules import ISO_MINIMUM
from garboard_wiring_audit.voltage_drop import K, circular_mils_needed, drop_by_circular_mils
from wiring_boats import battery, circuit, device, network, said, verdict_on, wired_job

INSULATIONS = (60.0, 75.0, 80.0, 90.0, 105.0, 125.0, 200.0)

# [A], every row: gauge, then amperes at 60, 75, 80, 90, 105, 125 and 200 degC.
TABLE_5_AS_PRINTED = """
18   10  10  15  20  20  25  25
16   15  15  20  25  25  30  35
14   20  20  25  30  35  40  45
12   25  25  35  40  45  50  55
10   40  40  50  55  60  70  70
8    55  65  70  70  80  90 100
6    80  95 100 100 120 125 135
4   105 125 130 135 160 170 180
3   120 145 150 155 180 195 210
2   140 170 175 180 210 225 240
1   165 195 210 210 245 265 280
1/0 195 230 245 245 285 305 325
2/0 225 265 285 285 330 355 370
3/0 260 310 330 330 385 410 430
4/0 300 360 385 385 445 475 510
"""
ROWS = [line.split() for line in TABLE_5_AS_PRINTED.strip().splitlines()]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_table_5_row(row: list[str]) -> None:
    """[A] Every printed value of Table 5."""
    gauge, *amperes = row
    assert [table_5(gauge, insulation) for insulation in INSULATIONS] == [float(value) for value in amperes]


def test_table_5_has_no_other_rows() -> None:
    """[A] The table ends at 18 and at 4/0."""
    assert list(TABLE_5) == [row[0] for row in ROWS]


@pytest.mark.parametrize(
    ("fewest", "most", "factor"), [(1, 2, 1.0), (3, 3, 0.7), (4, 6, 0.6), (7, 24, 0.5), (25, 60, 0.4)]
)
def test_bundling_factors(fewest: int, most: int, factor: float) -> None:
    """[Q] From and up to how many current-carrying conductors each factor counts."""
    assert {bundling_factor(count) for count in range(fewest, most + 1)} == {factor}


@pytest.mark.parametrize("insulation", INSULATIONS)
def test_engine_space_factors_against_the_ambient_formula(insulation: float) -> None:
    """[K] The formula at 50 degC gives the factors of note 1 to a hundredth, but for 200 degC, which loses nothing."""
    factor = allowable(CFR_TABLE_5, of_gauge("16"), insulation, 50.0, 1).factor
    assert factor == (1.0 if insulation == 200 else pytest.approx(ambient_factor(insulation, 50.0), abs=0.01))


def test_fuses_and_breakers_come_in_standard_ratings() -> None:
    """[R] From 15 A on; a chandler need not stock all of them. Below, the sizes of blade fuses: common practice."""
    nec = {15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300, 350, 400}
    assert set(STANDARD_RATINGS) == (nec - {45}) | {1, 2, 3, 5, 7.5, 10}


# [B]: gauge, amperes outside and inside an engine space at 105 degC, as printed.
ENGINE_SPACE_105 = [
    ("18", 20, 17),
    ("16", 25, 21),
    ("14", 35, 30),
    ("12", 45, 38),
    ("10", 60, 51),
    ("8", 80, 68),
    ("6", 120, 102),
    ("4", 160, 136),
    ("3", 180, 153),
    ("2", 210, 178),
    ("1", 245, 208),
    ("1/0", 285, 242),
    ("2/0", 330, 280),
    ("3/0", 385, 327),
    ("4/0", 445, 378),
]


@pytest.mark.parametrize(("gauge", "outside", "inside"), ENGINE_SPACE_105)
def test_engine_space_at_105_degrees(gauge: str, outside: int, inside: int) -> None:
    """[B] Allowed current outside and inside; the catalogues print whole amperes, some rounded and some cut."""
    amperes = [allowable(CFR_TABLE_5, of_gauge(gauge), 105.0, space, 1).amperes for space in (None, 50.0)]
    assert amperes[0] == outside
    assert amperes[1] == pytest.approx(inside, abs=0.5)


@pytest.mark.parametrize(("insulation", "factor"), [(60, 0.58), (75, 0.75), (90, 0.82)])
def test_ambient_formula_gives_the_nec_factors(insulation: int, factor: float) -> None:
    """[K] Ambient factors for 46 to 50 degC, printed to two digits."""
    assert ambient_factor(insulation, 50.0) == pytest.approx(factor, abs=0.006)


def test_ambient_formula_gives_the_engine_space_factor() -> None:
    """[B] 0.85 for 105 degC, found by another road."""
    assert ambient_factor(105.0, 50.0) == pytest.approx(0.85, abs=0.01)


# [C]: 150 % of the Table 5 amperage below 50 V. Gauge, insulation, in engine space, largest rating.
@pytest.mark.parametrize(
    ("gauge", "insulation", "largest"), [("16", 105.0, 37.5), ("14", 105.0, 52.5), ("10", 105.0, 90.0)]
)
def test_largest_fuse_below_50_volts(gauge: str, insulation: float, largest: float) -> None:
    """[C] with [A]."""
    assert largest_rating(table_5(gauge, insulation), 12.0) == largest


@pytest.mark.parametrize("in_engine_space", [False, True])
def test_largest_fuse_points_to_the_table_in_an_engine_space_too(in_engine_space: bool) -> None:
    """[C] 10 AWG at 105 degC allows 90 A, in an engine space as well."""
    view = wired_job(
        [
            circuit(
                conductor_awg="10", in_engine_space=in_engine_space, protection_rating="=90 A", design_current="=50 A"
            )
        ]
    )
    assert verdict_on(view, "overcurrent_rating") is Verdict.PASS


@pytest.mark.parametrize(("sheathed", "inches"), [(False, 7.0), (True, 40.0)])
def test_fuse_distance(sheathed: bool, inches: float) -> None:
    """[C] 7 in, and 40 in if sheathed or enclosed for the whole run."""
    assert distance_limit("33 CFR 183.455", sheathed, False).inches == inches


def test_iso_fuse_distance() -> None:
    """[N] 200 mm of conductor without protection."""
    assert distance_limit(ISO_DISTANCE, False, False).inches * 25.4 == pytest.approx(200)


@pytest.mark.parametrize(
    ("changes", "verdict"),
    [
        ({"conductor_awg": "16"}, Verdict.PASS),
        ({"conductor_awg": "18"}, Verdict.FAIL),
        ({"conductor_awg": "18", "in_sheath": True}, Verdict.PASS),
    ],
)
def test_smallest_conductor_by_regulation(changes: dict[str, bool | str] | dict[str, str], verdict: Verdict) -> None:
    """[P] 16 AWG alone, 18 AWG in a sheath."""
    assert verdict_on(wired_job([circuit(**changes)]), "minimum_size") is verdict


@pytest.mark.parametrize(
    ("area", "in_sheath", "verdict"),
    [
        ("=1.0 mm2", False, Verdict.PASS),
        ("=0.75 mm2", False, Verdict.FAIL),
        ("=0.75 mm2", True, Verdict.PASS),
        ("=0.5 mm2", True, Verdict.FAIL),
    ],
)
def test_smallest_conductor_by_iso(area: str, in_sheath: bool, verdict: Verdict) -> None:
    """[N] 1 mm2 alone, 0.75 mm2 in a sheath."""
    view = wired_job(
        [circuit(conductor_awg="", conductor_area=area, in_sheath=in_sheath)], settings={"minimum_rule": ISO_MINIMUM}
    )
    assert verdict_on(view, "minimum_size") is verdict


# Worked examples of the circular-mil method: volts, share, amperes, round trip in feet, circular mils, answer.
CIRCULAR_MIL_EXAMPLES = [
    pytest.param(12, 0.03, 10, 21, 6270.83, "12", id="[D] bilge pump at 3 %"),
    pytest.param(12, 0.10, 10, 21, 1881.25, "16", id="[F] the same circuit at 10 %"),
    pytest.param(12, 0.10, 45, 40, 16125.0, "8", id="[E] 45 A at 10 %"),
    pytest.param(24, 0.03, 100, 10, 14930.6, "8", id="[E] 24 V, 100 A at 3 %"),
]


@pytest.mark.parametrize(("volts", "share", "amperes", "feet", "mils", "answer"), CIRCULAR_MIL_EXAMPLES)
def test_circular_mil_example(volts: int, share: float, amperes: int, feet: int, mils: float, answer: str) -> None:
    """Area to the printed digits, and the next larger gauge."""
    needed = circular_mils_needed(amperes, feet, share * volts)
    assert needed == pytest.approx(mils, abs=0.05)
    fitting = [size for size in larger_sizes(of_gauge("20")) if circular_mils(size.area) >= needed]
    assert min(fitting, key=lambda size: size.area).gauge == answer


def test_drop_is_the_formula_turned_round() -> None:
    """[D] 10 A over 21 ft of 12 AWG (6530 cmil) lose less than 0.36 V; of SAE 12 (5833 cmil) more."""
    assert drop_by_circular_mils(10, 21, 6530) < 0.36 < drop_by_circular_mils(10, 21, 5833)


def test_cure_meets_both_drop_and_ampacity() -> None:
    """[E] 24 V, 100 A, 10 ft round trip: 8 AWG by drop, 6 AWG by ampacity; the finding asks for 6 AWG."""
    view = wired_job(
        [circuit(conductor_awg="10", nominal_voltage="=24 V", design_current="=100 A", length="=5 ft")],
        [battery(nominal_voltage="=24 V")],
        read={("circuits", "current", "Bilge pump"): None, ("batteries", "rest_voltage", "house"): None},
    )
    assert said(view, "drop_calculated")[0].sentence.endswith("Fit 6 AWG or larger.")


def test_k_is_copper_at_29_degrees() -> None:
    """[I], [J] 10.75 ohm cmil/ft is copper at 29.3 degC: one foot of one circular mil at that temperature."""
    one_circular_mil = 1 / circular_mils(1.0)
    assert resistance_per_metre(one_circular_mil, 29.3) * 0.3048 == pytest.approx(K, rel=0.0005)


# [G], [I]: gauge, diameter in mm, area in mm2, circular mils, ohm/km of solid copper at 20 degC.
WIRE_GAUGE = [
    ("18", 1.0237, 0.8230, 1624.3, 20.9482),
    ("10", 2.5882, 5.2612, 10383.0, 3.2771),
    ("3", 5.8273, 26.6705, 52634.8, 0.6465),
    ("1/0", 8.2515, 53.4751, 105534.5, 0.3224),
    ("4/0", 11.6840, 107.2193, 211600.0, 0.1608),
]


@pytest.mark.parametrize(("gauge", "diameter", "area", "mils", "ohms"), WIRE_GAUGE)
def test_wire_gauge_formula(gauge: str, diameter: float, area: float, mils: float, ohms: float) -> None:
    """Diameter 0.005 in x 92^((36 - n) / 39), and what follows from it."""
    number = gauge_number(gauge)
    assert gauge_diameter(number) == pytest.approx(diameter, abs=0.00006)
    assert gauge_area(number) == pytest.approx(area, abs=0.00006)
    assert circular_mils(gauge_area(number)) == pytest.approx(mils, abs=0.06)
    assert resistance_per_metre(gauge_area(number), 20.0) * 1000 == pytest.approx(ohms, abs=0.00006)


def test_wire_gauge_ends_are_exact_inches() -> None:
    """[G] 36 AWG is 0.005 in, 4/0 AWG 0.46 in."""
    assert gauge_diameter(36) == pytest.approx(0.005 * 25.4)
    assert gauge_diameter(-3) == pytest.approx(0.46 * 25.4)


# [H]: gauge, circular mils, ohm per 1000 ft at 75 degC, stranded.
NEC_TABLE_8 = [
    ("14", 4110, 3.07),
    ("12", 6530, 1.93),
    ("10", 10380, 1.21),
    ("8", 16510, 0.764),
    ("6", 26240, 0.491),
    ("4", 41740, 0.308),
    ("3", 52620, 0.245),
    ("2", 66360, 0.194),
    ("1", 83690, 0.154),
    ("1/0", 105600, 0.122),
    ("2/0", 133100, 0.0967),
    ("3/0", 167800, 0.0766),
    ("4/0", 211600, 0.0608),
]


@pytest.mark.parametrize(("gauge", "mils", "ohms"), NEC_TABLE_8)
def test_resistance_at_75_degrees(gauge: str, mils: int, ohms: float) -> None:
    """[H] Strands lie at an angle and are up to 2.5 % longer than the conductor."""
    area = gauge_area(gauge_number(gauge))
    assert circular_mils(area) == pytest.approx(mils, rel=0.001)
    ours = resistance_per_metre(area, 75.0) * 304.8
    assert ours == pytest.approx(ohms, rel=0.025)
    assert ours <= ohms * 1.005


@pytest.mark.parametrize(("milliamperes", "number"), [(151, 4), (150, 3), (50, 1), (51, 2), (0, 0), (1000, 20)])
def test_load_equivalency_number(milliamperes: int, number: int) -> None:
    """[L] 151 mA is load equivalency number 4, one for every 50 mA begun; 1 A is 20."""
    assert load_number(milliamperes / 1000) == number


# By the sheets' own formula, VD = 0.1 x LEN x length x ohm/m: load number, metres, ohm/m, volts.
BUS_DROPS = [
    (8, 10.0, 0.053, 0.424),
    (20, 30.0, 0.053, 3.18),
    (20, 30.0, 0.057, 3.42),
    (40, 50.0, 0.053, 10.6),
]


@pytest.mark.parametrize(("number", "metres", "ohms", "volts"), BUS_DROPS)
def test_bus_drop(number: int, metres: float, ohms: float, volts: float) -> None:
    """[L] The sheets' formula, and ours with every load at the far end."""
    assert bus_drop(number, metres, ohms) == pytest.approx(volts)
    assert worst_device([BusDevice("far", number * 0.05, metres)], ohms)[1] == pytest.approx(volts)


def test_light_cable_is_22_gauge_copper() -> None:
    """[L], [G] 0.053 ohm/m is 22 AWG at 20 degC; one sheet's 0.0057 is ten times too small."""
    assert resistance_per_metre(gauge_area(22), 20.0) == pytest.approx(0.053, rel=0.002)


def test_a_bus_that_fails_by_the_sheets() -> None:
    """[L] 20 load numbers at 30 m of light cable lose 3.18 V, above 1.5 V."""
    far = device("far", load_equivalency=20, distance_from_power="=30 m", drop_length="=0 m")
    bus = network(devices=(far,), backbone_length="=30 m")
    (finding,) = said(wired_job(networks=[bus]), "network_voltage_calculated")
    assert finding.verdict is Verdict.FAIL
    assert finding.numbers[0].value == pytest.approx(3.18)


@pytest.mark.parametrize(("ohms", "count"), [(60.0, 2), (120.0, 1), (40.0, 3), (90.0, None)])
def test_terminators(ohms: float, count: int | None) -> None:
    """[L] Two of 120 ohm read 60; one missing 120, three 40."""
    assert terminators_by_resistance(ohms, 0.1) == count


@pytest.mark.parametrize(("volts", "percent"), [(12.65, 100), (12.45, 75), (12.24, 50), (12.06, 25), (11.89, 0)])
def test_flooded_rest_voltage(volts: float, percent: int) -> None:
    """[M] Every row of the table."""
    assert state_of_charge(MeasuredValue(volts, "V"), "flooded").percent.value == pytest.approx(percent)


@pytest.mark.parametrize(("volts", "percent"), [(12.6, 100), (12.4, 75), (12.2, 50), (12.0, 25)])
def test_flooded_rest_voltage_of_another_table_lies_within_the_uncertainty(volts: float, percent: int) -> None:
    """[O] The rounded table differs; our spread covers it even with a perfect meter."""
    charge = state_of_charge(MeasuredValue(volts, "V"), "flooded").percent
    assert charge.low - 1e-9 <= percent <= charge.high + 1e-9
