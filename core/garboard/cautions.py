"""Cautions that hold wherever a boat is worked on or run, so that every plugin says them in the same words.

A plugin puts them into its steps and adds its own where they differ in substance.
"""

from __future__ import annotations

from garboard.findings import Basis, BasisKind
from garboard.steps import DIESEL, GASOLINE, Caution

__all__ = [
    "BATTERY_OFF",
    "CAPACITY_LABEL",
    "CUT_OFF_LINK",
    "DEFER",
    "FUEL_FIRE",
    "FUEL_VAPOUR",
    "FULL_THROTTLE",
    "HYDROGEN",
    "LOOK_OUT",
    "PROPELLERS",
    "SHORE_POWER",
    "TEST_CALLS",
]

LOOK_OUT = Caution(
    "Keep a look-out all round: one person steers, another reads and types.",
    Basis(
        BasisKind.REGULATION,
        "International Regulations for Preventing Collisions at Sea (COLREGs), rule 5",
        "local rules of the road come first",
    ),
    to_owner="Keep a look-out all round, and obey the local rules of the road.",
)
CUT_OFF_LINK = Caution(
    "Wear the engine cut-off link, and try it before you run.",
    Basis(
        BasisKind.REGULATION,
        "46 U.S.C. 4312(b)",
        "United States, on plane or above displacement speed; trying it first is common practice",
    ),
    to_owner="Wear the engine cut-off link, and try it before you run.",
)
FULL_THROTTLE = Caution(
    "Hold full throttle no longer than the reading takes, within the maker's engine speed; on a new engine keep to the "
    "running-in rules. Everyone seated and holding on, clear water ahead. Ease off at once on a knock, an alarm, or "
    "when the limiter cuts in.",
    Basis(BasisKind.COMMON_PRACTICE, "full-throttle runs", "the engine maker's manual comes first"),
)
FUEL_VAPOUR = Caution(
    "No flame, spark or switch, not even the blower's, until you have checked bilge and tank space for gasoline vapour "
    "by nose and detector. When there is none, run the blower of an enclosed space four minutes before you start.",
    Basis(
        BasisKind.REGULATION,
        "33 CFR 183.610(f)",
        "written for enclosed engine and tank spaces; practice elsewhere",
    ),
    fuels=(GASOLINE,),
    to_owner="Before you touch a switch, sniff bilge and tank space for gasoline. If you smell any, stop: no flame, no "
    "spark, no switch, not even the blower's. Open the boat up and find the leak. If you smell none, run the blower of "
    "an enclosed space four minutes, then start.",
)
FUEL_FIRE = Caution(
    "Diesel burns: a leak that sprays or drips on something hot starts a fire. No flame or smoking near fuel, mop up "
    "what is spilled, air the space, extinguisher within reach.",
    Basis(BasisKind.COMMON_PRACTICE, "diesel kept off hot parts and flames", "the engine maker's manual comes first"),
    fuels=(DIESEL,),
    to_owner="Diesel burns: mop up what is spilled, no flame near fuel, an extinguisher within reach.",
)
BATTERY_OFF = Caution(
    "Disconnect the battery before you open a panel, touch a lead or work near its cables: negative off first, back on "
    "last. Connect only to measure.",
    Basis(BasisKind.COMMON_PRACTICE, "battery off before work", "the makers' manuals decide"),
    to_owner="Switch the batteries off before you touch a wire or open a panel.",
)
SHORE_POWER = Caution(
    "Shore power off and unplugged while you work. Never work or swim in the water near a dock or boat with "
    "alternating current: 10 to 15 mA can stop a swimmer from moving.",
    Basis(BasisKind.STANDARD, "Electric shock drowning advice of three safety bodies"),
    to_owner="Never swim near a dock or boat that has shore power: its current can stop a swimmer from moving.",
)
HYDROGEN = Caution(
    "Batteries give off hydrogen that explodes. Air the space, no flame or spark, eye protection on, rings and "
    "watches off, tools insulated.",
    Basis(
        BasisKind.REGULATION,
        "33 CFR 183.420",
        "written for gasoline inboards and sterndrives; on an outboard boat it is practice, not law",
    ),
)
PROPELLERS = Caution(
    "Nobody in the water or near a propeller while an engine can start. Before a hand goes near one: cut-off link off, "
    "key out, gear in neutral.",
    Basis(BasisKind.COMMON_PRACTICE, "people clear of propellers", "the engine maker's instructions come first"),
    to_owner="Nobody in the water or near a propeller while an engine can start.",
)
CAPACITY_LABEL = Caution(
    "No more power and no more people or weight than the capacity label allows.",
    Basis(BasisKind.REGULATION, "33 CFR 183 subparts B to D", "monohull boats under 20 ft in the United States"),
    to_owner="No more people or weight than the capacity label allows.",
)
TEST_CALLS = Caution(
    "Keep test calls off the distress channel. Call a station that expects you, on a working channel, or use the "
    "radio's own test call.",
    Basis(BasisKind.COMMON_PRACTICE, "radio tests away from distress traffic", "the local radio rules decide"),
)
DEFER = Caution(
    "Local codes, makers' manuals and licensed practice come first. Leave alternating current to a licensed person.",
    Basis(BasisKind.COMMON_PRACTICE, "local codes, makers' manuals and licensed practice come before this check"),
    to_owner="Local rules and the makers' manuals come before this book.",
)
