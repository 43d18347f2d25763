"""Where the rules, methods and cautions of this plugin come from."""

from __future__ import annotations

from garboard.findings import Basis, BasisKind, in_full

PRACTICE_NOT_LAW = "written for gasoline inboards and sterndrives; on an outboard boat it is practice, not law"
NOW = "ISO 13297:2020 and later covers direct current now: see there"
"""What took the place of ISO 10133, whose text the numbers here were read in."""


def regulation(text: str, note: str = PRACTICE_NOT_LAW) -> Basis:
    """A basis in the US electrical subpart, which does not bind outboard boats."""
    return Basis(BasisKind.REGULATION, text, note)


def standard(text: str, note: str = "") -> Basis:
    """A basis in a standard."""
    return Basis(BasisKind.STANDARD, text, note)


def practice(text: str, note: str = "") -> Basis:
    """A basis in common practice."""
    return Basis(BasisKind.COMMON_PRACTICE, text, note)


def method(text: str, note: str = "") -> Basis:
    """A method of calculation."""
    return Basis(BasisKind.METHOD, text, note)


AMPACITY_CFR = regulation(
    "33 CFR 183.425, Table 5", f"{PRACTICE_NOT_LAW}; conductors sized by area count as the next smaller gauge"
)
AMPACITY_ISO = practice(
    "Ampacity by area, as ISO 10133:2012 has it in table A.2",
    f"{NOW}; conductors sized by gauge count as the next smaller area",
)
ENGINE_SPACE_CFR = regulation("33 CFR 183.425, Table 5, note 1: 0.85 for 105 degC insulation in an engine space")


def ambient_formula(temperature: float) -> Basis:
    """The formula an engine space of a temperature [degC] is judged by."""
    return method(f"Ambient formula of NEC 310.15(B) for {in_full(temperature)} degC in an engine space")


BUNDLING_CFR = regulation(
    "33 CFR 183.435(b)", "bundling factors count from 50 V with three or more conductors; below 50 V none is applied"
)
BUNDLING_SHOP = Basis(
    BasisKind.SHOP_RULE,
    "Bundling factors of 33 CFR 183.425, Table 5, note 2, at any voltage",
    "the regulation asks for them from 50 V only; factors as commonly used",
)
OVERCURRENT_CFR = regulation(
    "33 CFR 183.455", f"{PRACTICE_NOT_LAW}; 150 % of the Table 5 amperage below 50 V, before the engine-space factor"
)
OVERCURRENT_ISO = practice("150 % of the ampacity, as 33 CFR 183.455, of the ampacity of ISO 10133", NOW)
STANDARD_RATINGS = practice("Fuse and breaker ratings in general stock, a quarter above the load")
OVER_DESIGN = practice(
    "A circuit draws at most a quarter more than its design current",
    "beyond it a motor is stalled, a lead is shorted, or an entry is wrong",
)
DISTANCE_CFR = regulation(
    "33 CFR 183.455", f"{PRACTICE_NOT_LAW}; at the source, 7 in or, sheathed throughout, 40 in only if impractical"
)
DISTANCE_BATTERY = practice("72 in for a lead from a battery, as 33 CFR 183.460(a) has it")
DISTANCE_E11 = practice("Distance of overcurrent protection, as small-craft standard E-11 has it")
DISTANCE_ISO = standard("ISO 10133:2000, 8.1: 200 mm of conductor without protection", NOW)
MINIMUM_CFR = regulation(
    "33 CFR 183.425(a) to (g)",
    f"{PRACTICE_NOT_LAW}; 16 AWG alone, 18 AWG in a sheath and at most 30 in outside it; "
    "navigation and communication electronics are exempt",
)
MINIMUM_ISO = standard("ISO 10133:2012, 7.7: 1 mm2 alone, 0.75 mm2 in a sheath and at most 800 mm outside it", NOW)
LOWER_ROW = practice("Insulation of a rating the table lacks counts as the next lower row")
DROP_CIRCULAR_MILS = method("Circular-mil method CM = K I L / E with K = 10.75, copper at 29 degC")
DROP_AT_TEMPERATURE = method(
    "Copper at 58 MS/m and 0.00393 /K from 20 degC, warmed by the square of the current (NEC 310.15(B))"
)
DROP_CLASSES = standard(
    "Drop classes 3 % and 10 %",
    f"ISO 10133 puts panel feeds, navigation lights, blowers and bilge pumps under 3 %; of the nominal voltage; {NOW}",
)
DROP_METER = practice(
    "Drop read from the source to the load and back, load running", "meter, digits and a supply that sags counted in"
)
FED_BY = practice(
    "A 12 V circuit that runs is fed with 10.5 to 15.5 V", "below it the battery is empty, above it charged too hard"
)
DROP_EXCESS = practice("Drop that the copper does not explain is lost in connections, fuse holders and switches")
LABELS = practice("Every circuit labelled before hand over")
TERMINATIONS = practice("Terminations pulled by hand, polarity proved with a meter, conductors held and clear of chafe")
SUPPORT_ISO = standard("ISO 10133:2012: conductors held every 450 mm", NOW)
LOAD_SUM = practice("Currents of circuits that run together, added")
MAIN_FUSE = practice(
    "A main fuse is rated above what runs at once behind it", "what is fed at the battery itself does not count"
)
LOAD_EXPLAINED = practice(
    "A load read with all of it on differs from the list by a tenth and what the meter is good to",
    "beyond it something was off, or is not listed",
)
ALL_ON = practice("What flows with the switches off flows with all of it on too")
LOAD_COLUMNS = practice(
    "Load worksheet with column A and the larger part of column B, as small-craft standard E-11 has it"
)
CHARGING = practice("Charging current at cruising speed covers what runs together, and a tenth is left to charge with")
REST_VOLTAGE = method(
    "State of charge table of the battery trade council, flooded batteries near 25 degC",
    "pages ask for 3 to 24 h of rest; tables differ by 0.06 V",
)
REST_VOLTAGE_AGM = practice("Rest voltage of AGM batteries, middle of ranges in use")
DEAD_BATTERY = practice("No 12 V battery in order reads below 10 V at rest, whatever its chemistry")
CHARGE_LEAST = practice("A lead battery is handed over at three quarters of its charge or more")
RESERVE = practice(
    "Half of a lead battery, four fifths of a LiFePO4 battery, is usable", "from full, capacity within a tenth"
)
RATE = practice("Peukert's law above the 20 h rate: exponent 1.15 ± 0.15, LiFePO4 1.00 ± 0.05")
CAPACITY = practice("A sound battery holds its stamped capacity within a tenth")
STANDING = practice("A battery left alone still starts the boat after the days wanted")
SELF_DISCHARGE = practice(
    "A lead battery loses its usable half by itself in about half a year",
    "give or take a third, faster in the heat; it goes on beside what is drawn",
)
SELF_DISCHARGE_LITHIUM = practice(
    "A LiFePO4 battery loses less by itself than a lead battery, and is reckoned like one",
    "on the safe side; its management system draws too",
)
BATTERY_CFR = regulation("33 CFR 183.420")
NETWORK_SHEETS = standard("Installation sheets of the NMEA 2000 trade standard", "as makers restate it")
NETWORK_DROP = standard(
    "Allowed supply drop by installation sheets of the NMEA 2000 trade standard",
    "sheets give 1.5 V, 1.67 V, or 3.0 V on a 13.8 V isolated supply; a shop may choose",
)
NETWORK_FEED = practice(
    "Up to 1 V is lost on the way to a network's power tee",
    "3 % of 12 V in the feed; a battery sags by half a volt or so under what is switched on",
)
NETWORK_VOLTS = practice("Least voltage at a device, as the NMEA 2000 trade standard has it")
IGNITION = regulation("33 CFR 183.410")
