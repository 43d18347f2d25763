"""What the program's settings declare of instruments and of people reading them: the noise and tolerances injected.

Nobody has measured these on the boats of the recordings the project knows: nothing in them is typed, run at full
throttle or refilled. What is measured stands in `garboard.recordings.simulated_boat`. Every figure here is a default
of a setting or a standard deviation a plugin names; all of them are assumptions until a shop's own records say better.
"""

from __future__ import annotations

# Noise: standard deviations, drawn anew for each reading, halved and doubled in the second table.
SPEED_RUN_TO_RUN = 0.12
"""Of a boat's speed from one run to the next [kn]."""
SPEED_BY_EYE = 0.05
"""Of a speed read by eye from a display that moves [kn]."""
ENGINE_RUN_TO_RUN = 11.0
"""Of engine speed from one run to the next [rev/min]."""
ENGINE_BY_EYE = 8.0
"""Of engine speed read by eye [rev/min]."""
FLOW_REPEATS = 0.008
"""Of a fuel flow at one throttle read again, as a share [-]."""
SWING_BY_EYE = 0.8
"""Of one reading of a swing, helm and eye together [deg]."""
SUPPLY_SAGS = 0.01
"""Of the supply between two readings of a voltage [V]."""

# Tolerances: one draw for a boat, the same at every noise.
TACHOMETER = 20.0
"""Bound of a tachometer's error [rev/min]."""
RECEIVER = 0.1
"""Bound of a satellite receiver's error in speed [kn]."""
PITCH = 0.03
"""Bound of the real pitch about the stamped one, as a share [-]."""
FLOW_SCALE = 0.03
"""Of a fuel flow meter's scale, 95 %, as a share [-]."""
UNKNOWN_CURRENT = 1.0
"""Bound of a current that one-way runs did not take out [kn]."""
FILL_REPEATS = 0.5
"""Of filling to a mark, 95 %, each time anew [gal]."""
PUMP = 0.005
"""Bound of a fuel pump's scale, as a share [-]."""
RATE_SCALE = 0.012
"""Of a rate-of-turn sensor's scale, 95 %, as a share [-]."""
RATE_ZERO = 0.02
"""Of a rate-of-turn sensor's zero, 95 % [deg/s]."""
SWING_REFERENCE = 0.5
"""Of the direction a swing is held against, 95 %, for all its readings [deg]."""
ANY_CURRENT = 0.2
"""Standard deviation of each of the two parts of a current nobody measured [kn]: within 0.5 kn in 95 %."""
DEVIATION, DEVIATION_OF_TWICE = 1.0, 0.28
"""Standard deviation of B and C, and of D and E, of a sensor that was not swung yet [deg]."""
DOWN_WIND = 0.2
"""By which a boat is faster down a steady breeze than without it, 95 % [kn]."""
LEEWAY = 1.0
"""By which a steady breeze pushes it aside, 95 % [deg]."""
VOLTMETER, CURRENT_METER = 0.005, 0.03
"""Of a meter's scale, 95 %, as a share; the same for all readings with it [-]."""
COPPER_COLDEST, COPPER_WARMEST = 15.0, 45.0
"""Bounds of the temperature of a conductor at work [degC]."""
COPPER_AREA = 0.03
"""Of the area of copper about its size, 95 %, as a share [-]."""
CAPACITY = 0.10
"""Of a sound battery's capacity about the stamped one, 95 %, as a share [-]."""
SELF_DISCHARGE = 1 / 3
"""Of the days a battery lasts by itself about those stated, 95 %, as a share [-]."""
RATE_EXPONENT, RATE_EXPONENT_WITHIN = 1.15, 0.15
"""Of a lead battery's law by rate of discharge, and its 95 % half width [-]."""
REST_TABLES = 0.06
"""How far published tables of rest voltage lie apart, 95 % [V]."""
KNOWN_CURRENT, KNOWN_SET = 0.2, 15.0
"""Of a current that was entered, 95 %: its speed [kn] and where it sets [deg]."""
COURSE_LAG = 1.0
"""How late a receiver's course over ground is [s]."""

# Last digits.
SPEED_DIGIT, ENGINE_DIGIT, FLOW_DIGIT = 0.1, 10.0, 0.1
"""Steps of the displays typed from [kn], [rev/min], [gal/h]."""
