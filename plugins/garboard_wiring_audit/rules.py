"""What a shop may decide, and the rules in force on a job."""

from __future__ import annotations

from collections.abc import Mapping

from garboard.findings import Basis, in_full
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.records import JsonValue
from garboard.settings import amount_setting, basis_used, setting_number
from garboard.steps import Field, Kind, Setting
from garboard.units import Amount
from garboard_wiring_audit import bases
from garboard_wiring_audit.ampacity import CFR_TABLE_5, ISO_BY_AREA
from garboard_wiring_audit.loads import COLUMNS, PLAIN_SUM
from garboard_wiring_audit.overcurrent import CFR_BATTERY_DISTANCE, CFR_DISTANCE, E11_DISTANCE, ISO_DISTANCE

BUNDLING_FROM_50_V = "from 50 V, as in 33 CFR 183.435"
BUNDLING_ALWAYS = "at any voltage (factors from memory)"
CFR_MINIMUM = "33 CFR 183.425: 16 AWG, 18 AWG in a sheath"
ISO_MINIMUM = "ISO 10133: 1 mm2, 0.75 mm2 in a sheath"


def _choice(name: str, title: str, choices: tuple[str, ...], basis: Basis) -> Setting:
    field = Field(name=name, title=title, kind=Kind.CHOICE, choices=choices)
    return Setting(key=f"wiring_audit.{name}", field=field, default=choices[0], basis=basis)


def _amount(
    name: str,
    title: str,
    quantity: str,
    default: str,
    hard: tuple[float, float],
    basis: Basis,
    help: str = "",
    stricter: str = "",
) -> Setting:
    unit = Amount.parse(default).unit
    return amount_setting("wiring_audit", name, title, quantity, unit, default, hard, basis, stricter, help=help)


_METER = bases.practice("A good hand-held meter, from its data sheet")

SETTINGS = (
    _choice("ampacity_rule", "Ampacity of conductors", (CFR_TABLE_5, ISO_BY_AREA), bases.AMPACITY_CFR),
    _choice("bundling_rule", "Bundling counts", (BUNDLING_FROM_50_V, BUNDLING_ALWAYS), bases.BUNDLING_CFR),
    _choice(
        "distance_rule",
        "Distance of fuse or breaker from its source",
        (CFR_DISTANCE, CFR_BATTERY_DISTANCE, E11_DISTANCE, ISO_DISTANCE),
        bases.DISTANCE_CFR,
    ),
    _choice("minimum_rule", "Smallest conductor", (CFR_MINIMUM, ISO_MINIMUM), bases.MINIMUM_CFR),
    _choice("load_rule", "Load sum", (PLAIN_SUM, COLUMNS), bases.LOAD_SUM),
    _amount("fuse_margin", "Fuse rating wanted, of the load", "share", "125 %", (100, 200), bases.STANDARD_RATINGS),
    _amount(
        "drop_critical",
        "Drop allowed, critical circuits",
        "share",
        "3 %",
        (0.5, 10),
        bases.DROP_CLASSES,
        stricter="lower",
    ),
    _amount(
        "drop_other", "Drop allowed, other circuits", "share", "10 %", (0.5, 20), bases.DROP_CLASSES, stricter="lower"
    ),
    _amount(
        "drop_excess", "Drop allowed in connections", "voltage", "0.2 V", (0.01, 2), bases.DROP_EXCESS, stricter="lower"
    ),
    _amount(
        "ambient",
        "Warmest surroundings of conductors",
        "temperature",
        "30 degC",
        (0, 60),
        bases.practice("Conductors lie in 30 degC, as the ampacity tables take it"),
        stricter="higher",
    ),
    _amount(
        "engine_space",
        "Warmest engine space",
        "temperature",
        "50 degC",
        (30, 80),
        bases.practice("An engine space reaches 50 degC, as the ampacity rules take it"),
        help="Ampacity counts with 50 degC at least.",
        stricter="higher",
    ),
    _amount("voltmeter", "Voltmeter is good to, of the reading (95 %)", "share", "0.5 %", (0, 10), _METER),
    _amount("current_meter", "Current meter is good to, of the reading (95 %)", "share", "3 %", (0, 20), _METER),
    _amount(
        "labelled", "Circuits that must carry a label", "share", "100 %", (0, 100), bases.LABELS, stricter="higher"
    ),
    _amount(
        "rest_needed",
        "Rest before a rest voltage counts",
        "time",
        "3 h",
        (0.5, 48),
        bases.REST_VOLTAGE,
        help="Pages ask for 3 to 24 h. Longer is better.",
        stricter="higher",
    ),
    _amount("charge_least", "Charge at hand over", "share", "75 %", (0, 100), bases.CHARGE_LEAST, stricter="higher"),
    _amount("usable_lead", "Usable part of a lead battery", "share", "50 %", (5, 100), bases.RESERVE, stricter="lower"),
    _amount(
        "usable_lithium", "Usable part of a LiFePO4 battery", "share", "80 %", (5, 100), bases.RESERVE, stricter="lower"
    ),
    _amount(
        "reserve_least",
        "Reserve time wanted",
        "time",
        "4 h",
        (0.1, 240),
        bases.practice("An evening at anchor, lights and instruments on"),
        stricter="higher",
    ),
    _amount(
        "charging_left",
        "Left to charge with, of what runs together",
        "share",
        "10 %",
        (0, 200),
        bases.CHARGING,
        stricter="higher",
    ),
    _amount("standing_days", "Days a boat is left alone", "number", "30", (1, 365), bases.STANDING, stricter="higher"),
    _amount(
        "standing_most",
        "Days until a battery is down by self-discharge alone",
        "number",
        "180",
        (10, 1000),
        bases.SELF_DISCHARGE,
    ),
    _amount("capacity", "Capacity is right within plus or minus (95 %)", "share", "10 %", (0, 50), bases.CAPACITY),
    _amount(
        "network_drop",
        "Supply drop allowed on the network",
        "voltage",
        "1.5 V",
        (0.5, 4),
        bases.NETWORK_DROP,
        stricter="lower",
    ),
    _amount(
        "network_feed",
        "Lost between the network's supply and its power tee",
        "voltage",
        "1.0 V",
        (0.1, 4),
        bases.NETWORK_FEED,
        stricter="lower",
    ),
    _amount(
        "network_volts",
        "Least voltage at a network device",
        "voltage",
        "9.0 V",
        (6, 12),
        bases.NETWORK_VOLTS,
        stricter="higher",
    ),
    _amount(
        "terminator_tolerance",
        "Terminators may read off by",
        "share",
        "10 %",
        (1, 20),
        bases.practice("Room for the terminators' own tolerance and the backbone's resistance"),
        stricter="lower",
    ),
)


_BY_NAME = {setting.key.partition(".")[2]: setting for setting in SETTINGS}


def charge_basis(percent: float) -> Basis:
    """Where the charge wanted at hand over comes from [%]."""
    return basis_used(
        f"A battery is handed over at {in_full(percent)} % of its charge or more", (_BY_NAME["charge_least"], percent)
    )


def usable_basis(name: str, percent: float) -> Basis:
    """Where the usable part of a battery comes from; `name` of its setting [%]."""
    return basis_used(f"{in_full(percent)} % of a battery of this kind is usable", (_BY_NAME[name], percent))


@frozen
class Rules:
    """The shop's rules on this job.

    settings : by key; each is looked up when a rule needs it, so that a finding names what it used
    """

    settings: Mapping[str, JsonValue]

    def chosen(self, name: str) -> str:
        """A setting that is a choice."""
        return str(self.settings[f"wiring_audit.{name}"])

    def amount(self, name: str, unit: str) -> float:
        """A setting that is an amount [unit]."""
        return setting_number(self.settings, f"wiring_audit.{name}", unit)

    def share(self, name: str) -> float:
        """A setting that is a share, 1 for 100 %."""
        return self.amount(name, "%") / 100


def rules_of(view: JobView) -> Rules:
    """The rules in force on a job."""
    return view.once(_rules_of)


def _rules_of(view: JobView) -> Rules:
    return Rules(view.settings)
