"""More situations in which a check is easily led astray: compasses, wiring, batteries, network, pilot.

Each was thought of from the trade's side, without looking at what the checks do, with what an expert would sign. About
a third are innocent twins: nothing of them may be accused.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, datetime
from functools import cache
from random import Random
from typing import Any

import attrs
import pytest

import garboard_handover
import garboard_heading_calibration
import garboard_wiring_audit
from builders import job_view
from garboard.findings import OF_VESSEL, Finding, Lack, Verdict
from garboard.hosting.host import make_host
from garboard.job_view import FieldKey
from garboard.records import Battery, Circuit, Engine, HeadingSensor, JsonValue, NetworkBus, NetworkDevice, Vessel
from garboard.samples import Recording, Sample, StreamKey, gather
from garboard.units import Amount

HOST = make_host(
    (),
    entry_points=False,
    modules={one.__name__: one for one in (garboard_heading_calibration, garboard_wiring_audit, garboard_handover)},
)
PASS, ADVISE, FAIL, LACKING = Verdict.PASS, Verdict.ADVISE, Verdict.FAIL, Verdict.NOT_ENOUGH_DATA
HEADING, WIRING, PILOT = "heading_calibration", "wiring_audit", "handover.autopilot"
PLACE, SWING, RUNS, TURN, COMPARED = (
    f"{HEADING}.{step}" for step in ("place", "swing", "straight_runs", "steady_turn", "comparison")
)
BANK, STANDING, CIRCUITS, LOADS, NETWORKS = (
    f"{WIRING}.{step}" for step in ("batteries", "standing_current", "circuits", "loads", "networks")
)
EAST = -14.1
"""Variation at 37.5 N 68 W in May 2026, WMM2025 to a tenth [deg]."""
Values = dict[FieldKey, JsonValue]
Told = set[tuple[str, Verdict, str]]


@attrs.frozen(kw_only=True)
class Trap:
    """A job, the steps that are judged, and what an expert says of it.

    told    : every finding that is no pass: about, verdict, last word of its code
    passed  : codes of passes that have to be there
    doubted : step and field of values that have to be in doubt, and no others
    """

    vessel: Vessel
    values: Values
    steps: Sequence[str]
    told: Told = attrs.field(factory=set)
    passed: Iterable[str] = ()
    doubted: Iterable[tuple[str, str]] = ()
    recordings: Mapping[str, Recording] = attrs.field(factory=dict)


def of(step: str, piece: str = "", in_row: str = "", /, **values: JsonValue) -> Values:
    return {(step, field, in_row, piece): value for field, value in values.items()}


def both(*values: Values) -> Values:
    return {place: value for each in values for place, value in each.items()}


# --- what a boat records


@attrs.frozen(kw_only=True)
class Compass:
    """What a sensor shows of the bow's true direction, its noise and last digit, and its rate of turn [deg, deg/s]."""

    shows: Callable[[float], float] = lambda true: true - EAST
    noise: float = 0.3
    digits: int = 1
    rate: Callable[[float], float] | None = lambda rate: rate


def deviating(constant: float = 0.0, sine: float = 0.0, cosine: float = 0.0) -> Callable[[float], float]:
    """What a compass shows on a magnetic heading: less its deviation on what it shows."""

    def shows(magnetic: float) -> float:
        compass = magnetic
        for _ in range(5):
            angle = math.radians(compass)
            compass = magnetic - constant - sine * math.sin(angle) - cosine * math.cos(angle)
        return compass

    return shows


def aboard(constant: float = 0.0, sine: float = 0.0, cosine: float = 0.0, **more: Any) -> Compass:
    shows = deviating(constant, sine, cosine)
    return Compass(shows=lambda true: shows(true - EAST), **more)


def recorded(
    legs: Iterable[tuple[float, float | Callable[[float], float]]],
    compasses: Mapping[str, Compass],
    *,
    every: float = 0.5,
    start: str = "2026-05-15T15:00:00",
    bow: float = 30.0,
    speed: float = 6.0,
    wander: float = 0.6,
    weave: Callable[[float], float] = lambda time: 0.0,
    at: tuple[float, float] | None = None,
    sent: float | None = None,
) -> Recording:
    """Legs of seconds and a rate of turn [deg/s], a number or by the time of the leg, as the instruments send them."""
    draw, made = Random(11), []
    time = datetime.fromisoformat(start).replace(tzinfo=UTC).timestamp()
    begun = time
    for seconds, rate in legs:
        for number in range(round(seconds / every)):
            turning = rate(number * every) if callable(rate) else rate
            true = bow + weave(time - begun)
            for source, one in compasses.items():
                shown = round((one.shows(true) + draw.gauss(0, one.noise)) % 360, one.digits) % 360
                made.append(Sample(time, "heading", shown, source, "", "magnetic"))
                if one.rate is not None:
                    made.append(Sample(time, "rate_of_turn", one.rate(turning) + draw.gauss(0, 0.03), source))
            made.append(Sample(time, "course_over_ground", (true + draw.gauss(0, wander)) % 360, "II", "", "true"))
            made.append(Sample(time, "speed_over_ground", max(0.0, speed + draw.gauss(0, 0.05)), "II"))
            if at is not None:
                made += [Sample(time, "latitude", at[0], "GP"), Sample(time, "longitude", at[1], "GP")]
            if sent is not None:
                made.append(Sample(time, "variation", sent, "GP"))
            bow, time = bow + turning * every, time + every
    return gather(f"recorded {start}", made)


CIRCLE = ((20.0, 0.0), (190.0, 2.5))
EIGHT_RUNS = ((40.0, 0.0), (15.0, 3.0)) * 9
SLIGHT = aboard(sine=2.4, cosine=0.5, rate=None)
HOLD = ((150.0, 0.0),)
TO_PORT, TO_STARBOARD = (((30.0, 0.0), (10.0, rate), (60.0, 0.0)) for rate in (-4.0, 4.0))


@cache
def slight_runs() -> Recording:
    return recorded(EIGHT_RUNS, {"HC": SLIGHT}, every=1.0)


def heard_twice() -> Recording:
    once = recorded(((200.0, 0.0),), {"HC": Compass(noise=0.4)})
    heading = once.streams[StreamKey("heading", "HC", "", "magnetic")]
    key = heading.key._replace(source="SC")
    return Recording("twice", {**once.streams, key: attrs.evolve(heading, key=key)})


# --- jobs about compasses and the pilot

HELM = HeadingSensor(name="helm compass", source="HC")
TWO = (HeadingSensor(name="pilot compass", source="HC"), HeadingSensor(name="satellite compass", source="SC"))
HERE = of(PLACE, latitude="37.5 deg", longitude="-68.0 deg", date="2026-05-15")
KNOWN = f"{HEADING}.variation.known"


def swung(shows: Callable[[float], float], sensor: str = HELM.name) -> Values:
    rows = [
        both(
            of(SWING, "", str(row), reference_direction=f"{bow} deg"),
            of(SWING, sensor, str(row), compass_heading=f"{shows(bow) % 360:.1f} deg"),
        )
        for row, bow in enumerate(range(0, 360, 45), start=1)
    ]
    return both(of(SWING, reference="magnetic"), *rows)


def by_compass(
    values: Values,
    *steps: str,
    sensors: Sequence[HeadingSensor] = (HELM,),
    told: Told | None = None,
    passed: Iterable[str] = (),
    doubted: Iterable[tuple[str, str]] = (),
    **recordings: Recording,
) -> Trap:
    """A job about heading. Recordings are attached under the name of what they are of."""
    places = {"runs": (RUNS, "runs_recording"), "turn": (TURN, "turn_recording")}
    places |= {"compared": (COMPARED, "comparison_recording"), "hold": (PILOT, "hold_recording")}
    places |= {"change": (PILOT, "change_recording")}
    attached: Values = {(*places[name], "", ""): {"file": name} for name in recordings}
    more = of(RUNS, current_speed="0 kn", boat_speed="6 kn") if "runs" in recordings else {}
    more |= of(TURN, calm_water=True) if "turn" in recordings else {}
    more |= of(PILOT, stand_by=True) if {"hold", "change"} & set(recordings) else {}
    return Trap(
        vessel=Vessel(hull_number="XYZ00001A626", heading_sensors=tuple(sensors)),
        values=both(HERE, attached, more, values),
        steps=steps,
        told=told or set(),
        passed=passed,
        doubted=doubted,
        recordings=recordings,
    )


IN_ORDER = f"{HEADING}.swing.in_order"
GOOD = f"{HEADING}.steady_turn.good"
STEADY = "handover.heading_hold.steady"
AT_HELM = HELM.name

COMPASSES: Mapping[str, Callable[[], Trap]] = {
    "a swing of -20 beside straight runs of +2.4": lambda: by_compass(
        swung(deviating(-20, 2)), SWING, RUNS, runs=slight_runs(),
        told={(AT_HELM, ADVISE, "ways_differ")}, doubted=[(SWING, "compass_heading")],
    ),
    "innocent: a swing and straight runs of one compass": lambda: by_compass(
        swung(deviating(0.5, 2)), SWING, RUNS, runs=slight_runs(), passed=[IN_ORDER],
    ),
    "a swing far too large beside good straight runs": lambda: by_compass(
        swung(deviating(0, 26)), SWING, RUNS, runs=slight_runs(),
        told={(AT_HELM, FAIL, "too_large"), (AT_HELM, ADVISE, "ways_differ")},
        doubted=[(SWING, "compass_heading")],
    ),
    "longitude east for west: no offset is told": lambda: by_compass(
        of(PLACE, longitude="68.0 deg"), PLACE, RUNS,
        runs=recorded(EIGHT_RUNS, {"HC": SLIGHT}, every=1.0, at=(37.5, -68.0)),
        told={("variation", ADVISE, "recorded_elsewhere"), (AT_HELM, ADVISE, "place_in_doubt")},
        doubted=[(PLACE, "latitude"), (PLACE, "longitude")],
    ),
    "longitude east for west, and only the network's variation tells": lambda: by_compass(
        of(PLACE, longitude="68.0 deg"), PLACE, RUNS, runs=recorded(EIGHT_RUNS, {"HC": SLIGHT}, every=1.0, sent=EAST),
        told={("variation", ADVISE, "sent_otherwise"), (AT_HELM, ADVISE, "variation_in_doubt")},
    ),
    "innocent compass beside a plotter with an old variation": lambda: by_compass(
        {}, PLACE, RUNS, runs=recorded(EIGHT_RUNS, {"HC": SLIGHT}, every=1.0, sent=-9.0), passed=[IN_ORDER],
        told={("variation", ADVISE, "sent_otherwise")},
    ),
    "runs of another year": lambda: by_compass(
        {}, RUNS, TURN, told={(AT_HELM, ADVISE, "dated_apart")}, passed=[GOOD],
        runs=recorded(EIGHT_RUNS, {"HC": SLIGHT}, every=1.0, start="2023-05-15T15:00:00"),
        turn=recorded(CIRCLE, {"HC": aboard()}),
    ),
    "a turn of another year": lambda: by_compass(
        {}, RUNS, TURN, told={(AT_HELM, ADVISE, "dated_apart")}, passed=[IN_ORDER], runs=slight_runs(),
        turn=recorded(CIRCLE, {"HC": aboard()}, start="2023-05-15T15:00:00"),
    ),
    "a date no model covers": lambda: by_compass(
        of(PLACE, date="2006-05-15"), PLACE, RUNS, runs=slight_runs(),
        told={
            ("Magnetic variation", LACKING, "not_enough_data"),
            ("Swing from straight runs", LACKING, "not_enough_data"),
        },
    ),
    "a date years off the job and its recordings": lambda: by_compass(
        of(PLACE, date="2021-05-15"), PLACE, RUNS, runs=slight_runs(),
        told={("variation", ADVISE, "dated_otherwise"), (AT_HELM, ADVISE, "in_order")}, doubted=[(PLACE, "date")],
    ),
    "innocent: an evening that is tomorrow by UTC": lambda: by_compass(
        {}, PLACE, RUNS, passed=[KNOWN, IN_ORDER],
        runs=recorded(EIGHT_RUNS, {"HC": SLIGHT}, every=1.0, start="2026-05-16T00:40:00"),
    ),
    "innocent: a swing a season after the place was entered": lambda: by_compass(
        {}, PLACE, RUNS, passed=[KNOWN, IN_ORDER],
        runs=recorded(EIGHT_RUNS, {"HC": SLIGHT}, every=1.0, start="2026-09-20T15:00:00"),
    ),
    "rate of turn sixty times too small": lambda: by_compass(
        {}, TURN, turn=recorded(CIRCLE, {"HC": aboard(rate=lambda rate: rate / 60)}),
        told={("Steady turn", LACKING, "not_enough_data")},
    ),
    "one of two sensors stuck through a circle": lambda: by_compass(
        {}, TURN, COMPARED, sensors=TWO,
        turn=(stuck := recorded(CIRCLE, {"HC": Compass(shows=lambda _: 123.4, noise=0, rate=None), "SC": aboard()})),
        compared=stuck, passed=[GOOD],
        told={("pilot compass", LACKING, "not_enough_data"), ("satellite compass", LACKING, "not_enough_data")},
    ),
    "innocent: whole degrees, and a turn to port": lambda: by_compass(
        {}, TURN, RUNS, passed=[GOOD, IN_ORDER],
        turn=recorded(((20.0, 0.0), (190.0, -2.4)), {"HC": aboard(sine=1.5, noise=0, digits=0)}),
        runs=recorded(EIGHT_RUNS, {"HC": aboard(sine=1.5, cosine=1, noise=0, digits=0)}, every=1.0),
    ),
    "upside down": lambda: by_compass(
        {}, TURN, told={(AT_HELM, FAIL, "turns_the_other_way")},
        turn=recorded(CIRCLE, {"HC": Compass(shows=lambda true: EAST - true, rate=lambda rate: -rate)}),
    ),
    "a jerky turn of the right mean": lambda: by_compass(
        {}, TURN, told={(AT_HELM, FAIL, "uneven")},
        turn=recorded(((20.0, 0.0), (190.0, lambda time: 2.5 + 2.3 * math.sin(time * 0.45))), {"HC": aboard(sine=1)}),
    ),
    "a compass 20 degrees off, the turn itself steady": lambda: by_compass(
        swung(deviating(0, 18, 8)), SWING, TURN, turn=recorded(CIRCLE, {"HC": aboard(sine=18, cosine=8)}),
        told={(AT_HELM, ADVISE, "disturbed_without_card")}, passed=[GOOD],
    ),
    "one compass heard twice": lambda: by_compass(
        {}, COMPARED, sensors=TWO, compared=heard_twice(),
        told={("satellite compass", LACKING, "not_enough_data")},
    ),
    "innocent: two compasses that agree": lambda: by_compass(
        {}, COMPARED, sensors=TWO, passed=[f"{HEADING}.comparison.agree"],
        compared=recorded(((200.0, 0.0),), {"HC": Compass(noise=0.4), "SC": Compass(noise=0.1)}),
    ),
    "entered as HC, heard as II": lambda: by_compass(
        {}, RUNS, runs=recorded(EIGHT_RUNS, {"II": SLIGHT}, every=1.0), passed=[IN_ORDER],
        told={(AT_HELM, LACKING, "not_enough_data")},
    ),
    "innocent: heard is a sensor entered without its source": lambda: by_compass(
        {}, RUNS, sensors=(HELM, HeadingSensor(name="mast sensor")), passed=[IN_ORDER],
        runs=recorded(EIGHT_RUNS, {"II": SLIGHT}, every=1.0),
    ),
    "innocent: the second sensor was switched off": lambda: by_compass(
        {}, RUNS, sensors=TWO, runs=slight_runs(), passed=[IN_ORDER]
    ),
    "a hold by a compass that does not see the boat weave": lambda: by_compass(
        {}, PILOT, sensors=TWO, told={("Heading hold", ADVISE, "not_borne_out")}, hold=woven(),
    ),
    "the same, held against the other compass": lambda: by_compass(
        of(PILOT, steered_by="satellite compass"), PILOT, sensors=TWO, hold=woven(),
        told={("Heading hold", ADVISE, "unsteady")},
    ),
    "innocent pilot, listed after a noisy compass": lambda: by_compass(
        {}, PILOT, sensors=TWO[::-1], hold=noisy_other(), told={("Heading hold", ADVISE, "compass_unsteady")},
    ),
    "innocent: said by which it steers": lambda: by_compass(
        of(PILOT, steered_by="HC"), PILOT, sensors=TWO[::-1], hold=noisy_other(), passed=[STEADY],
    ),
    "innocent: a sea turns the course a little more than the bow": lambda: by_compass(
        {}, PILOT, passed=[STEADY],
        hold=recorded(HOLD, {"HC": Compass(rate=None)}, weave=lambda time: math.sin(time / 4), wander=7.0),
    ),
    "a hold at the mooring": lambda: by_compass(
        {}, PILOT, hold=recorded(HOLD, {"HC": Compass(noise=0.1, rate=None)}, speed=0.0, wander=90.0),
        told={("Autopilot: heading hold", LACKING, "not_enough_data")},
    ),
    "to port, starboard ordered": lambda: by_compass(
        of(PILOT, ordered_change="40 deg"), PILOT, told={("Course change", FAIL, "wrong_way")},
        change=recorded(TO_PORT, {"HC": Compass(rate=None)}),
    ),
    "innocent pilot, its compass upside down": lambda: by_compass(
        of(PILOT, ordered_change="40 deg"), PILOT, told={("Course change", ADVISE, "not_borne_out")},
        change=recorded(TO_STARBOARD, {"HC": Compass(shows=lambda true: EAST - true, rate=None)}),
    ),
    "innocent: 40 to starboard as ordered": lambda: by_compass(
        of(PILOT, ordered_change="40 deg"), PILOT, passed=["handover.course_change.in_order"],
        change=recorded(TO_STARBOARD, {"HC": Compass(rate=None)}),
    ),
}  # fmt: skip


def woven() -> Recording:
    """The pilot compass damped to nothing, while boat, satellite compass and course weave."""
    sensors = {"HC": Compass(shows=lambda _: 104.1, rate=None), "SC": Compass(noise=0.2, rate=None)}
    return recorded(HOLD, sensors, bow=90, weave=lambda time: 8 * math.sin(time * 0.157))


def noisy_other() -> Recording:
    sensors = {"SC": Compass(noise=6.0, rate=None), "HC": Compass(rate=None)}
    return recorded(HOLD, sensors, bow=90, weave=lambda time: 0.6 * math.sin(time / 6))


# --- jobs about wiring, batteries and the network


def circuit(name: str, gauge: str, length: str, amperes: str, fuse: str, **facts: Any) -> Circuit:
    plain: dict[str, Any] = {
        "fed_from": "panel",
        "conductor_awg": gauge,
        "insulation_temperature": Amount("105", "degC"),
        "in_engine_space": False,
        "in_sheath": True,
        "bundled_conductors": 2,
        "length": Amount.parse(length),
        "nominal_voltage": Amount("12", "V"),
        "design_current": Amount.parse(amperes),
        "protection": "breaker",
        "protection_rating": Amount.parse(fuse),
        "protection_distance": Amount("4", "in"),
        "runs_with_others": True,
        "critical": False,
        "battery": "house",
    }
    return Circuit(name=name, **{**plain, **facts})


def metered(name: str, current: str, drop: str, source: str = "12.60 V") -> Values:
    looked_at = dict.fromkeys(("label_present", "terminations_tight", "supported", "polarity_right"), True)
    return of(CIRCUITS, name, current=current, drop=drop, source_voltage=source, **looked_at)


def rested(volts: str = "12.66 V", hours: str = "14 h") -> Values:
    looked_at = ("held_down", "terminals_covered", "terminals_fixed", "vented", "clear_of_fuel")
    return of(
        BANK, "house", rest_voltage=volts, hours_at_rest=hours, temperature="20 degC", **dict.fromkeys(looked_at, True)
    )


def wired(
    circuits: Sequence[Circuit],
    *values: Values,
    steps: Sequence[str] = (BANK, CIRCUITS),
    volts: str = "12",
    capacity: str = "200",
    charging: str = "48",
    networks: Sequence[NetworkBus] = (),
    told: Told | None = None,
    doubted: Iterable[tuple[str, str]] = (),
) -> Trap:
    house = Battery(
        name="house", chemistry="flooded", nominal_voltage=Amount(volts, "V"), capacity=Amount(capacity, "Ah")
    )
    engine = Engine(position="centre", charging_current=Amount(charging, "A"))
    vessel = Vessel(
        hull_number="XYZ00001A626",
        engines=(engine,),
        batteries=(house,),
        circuits=tuple(circuits),
        networks=tuple(networks),
    )
    return Trap(vessel=vessel, values=both(rested(), *values), steps=steps, told=told or set(), doubted=doubted)


LIGHTS = circuit("Cabin lights", "14", "12 ft", "3 A", "7.5 A")
RADIO = circuit("Radio", "12", "8 ft", "5 A", "10 A")
LIT = both(metered("Cabin lights", "3.0 A", "0.19 V"), metered("Radio", "5.0 A", "0.13 V"))
ELECTRONICS = "navigation or communication electronics"
HOUSE, DROP = "house battery", (CIRCUITS, "drop")
THREE = (
    circuit("Plotter", "10", "8 ft", "12 A", "20 A"),
    circuit("Livewell", "8", "12 ft", "18 A", "25 A"),
    circuit("Lights", "8", "12 ft", "18 A", "25 A"),
)
NETWORK = NetworkBus(
    name="main",
    backbone_length=Amount("11", "m"),
    cable="mid",
    cable_resistance_per_metre=Amount("0.053", "ohm"),
    supply_voltage=Amount("12.6", "V"),
    protection_rating=Amount("3", "A"),
    terminators=2,
    devices=(
        NetworkDevice(
            name="plotter", load_equivalency=6, drop_length=Amount("2", "m"), distance_from_power=Amount("3", "m")
        ),
    ),
)


def networked(tee: str, worst: str, ohms: str = "60.2 ohm") -> Values:
    return of(
        NETWORKS, "main", signal_resistance=ohms, tee_voltage=tee, worst_voltage=worst, spare_drops=1,
        on_start_battery=False,
    )  # fmt: skip


def pump(fuse: str) -> Circuit:
    """Entered as 10 AWG; it loses what 1.0 mm2 loses."""
    return circuit("Livewell pump", "10", "15 ft", "5 A", fuse)


WIRES: Mapping[str, Callable[[], Trap]] = {
    "fuse above ampacity, fuse at the load, a rating between two columns, a thruster's drop": lambda: wired(
        [
            circuit("Washdown", "16", "10 ft", "8 A", "50 A"),
            circuit("Spreader light", "14", "20 ft", "4 A", "10 A", protection_distance=Amount("20", "ft")),
            circuit("Inverter", "8", "6 ft", "60 A", "80 A", insulation_temperature=Amount("70", "degC")),
            circuit("Thruster", "4", "25 ft", "150 A", "200 A", fed_from="battery terminal", runs_with_others=False),
        ],
        metered("Washdown", "7.9 A", "0.66 V"), metered("Spreader light", "3.9 A", "0.41 V"),
        metered("Inverter", "58 A", "0.45 V"), metered("Thruster", "149 A", "3.1 V", "12.2 V"),
        told={
            ("circuit Washdown", FAIL, "too_large"),
            ("circuit Spreader light", FAIL, "too_far"),
            ("circuit Inverter", FAIL, "overloaded"),
            ("circuit Thruster", FAIL, "too_much"),
            ("circuit Thruster", FAIL, "poor_joint"),
        },
    ),
    "innocent: 150 % of the table, a starter without fuse, 18 AWG in a sheath": lambda: wired(
        [
            circuit("Washdown", "16", "10 ft", "8 A", "30 A"),
            circuit("Starter", "2", "6 ft", "200 A", "1 A", use="cranking motor", protection="none"),
            circuit("Courtesy light", "18", "12 ft", "1 A", "3 A"),
        ],
        metered("Washdown", "7.8 A", "0.62 V"), metered("Starter", "180 A", "0.40 V", "11.2 V"),
        metered("Courtesy light", "1.0 A", "0.15 V"),
    ),
    "gauge mistyped, and the fuse is right for either": lambda: wired(
        [pump("30 A"), LIGHTS], metered("Livewell pump", "5.0 A", "0.79 V"), LIT,
        told={("circuit Livewell pump", ADVISE, "poor_joint")},
    ),
    "gauge mistyped, and the fuse is too large for the true one": lambda: wired(
        [pump("40 A"), LIGHTS], metered("Livewell pump", "5.0 A", "0.79 V"), LIT,
        told={
            ("circuit Livewell pump", ADVISE, "poor_joint"),
            ("circuit Livewell pump", ADVISE, "thinner_than_entered"),
        },
    ),
    "length typed there and back": lambda: wired(
        [circuit("Navigation lights", "16", "38 ft", "2.1 A", "5 A", critical=True), LIGHTS],
        metered("Navigation lights", "2.1 A", "0.32 V"), LIT,
        told={("circuit Navigation lights", ADVISE, "less_than_copper")}, doubted=[DROP],
    ),
    "a drop far below copper, and a poor joint within the limit": lambda: wired(
        [
            circuit("Washdown", "14", "20 ft", "10 A", "15 A"),
            circuit("Windlass relay", "12", "20 ft", "10 A", "15 A"),
            LIGHTS,
        ],
        metered("Washdown", "10.0 A", "0.02 V"), metered("Windlass relay", "10.0 A", "1.15 V"), LIT,
        told={("circuit Washdown", ADVISE, "less_than_copper"), ("circuit Windlass relay", ADVISE, "poor_joint")},
        doubted=[DROP],
    ),
    "innocent: a warm wire, and a meter's last digit": lambda: wired(
        [
            circuit("Livewell pump", "14", "18 ft", "6 A", "10 A", in_engine_space=True),
            circuit("Radio", "12", "8 ft", "5.5 A", "10 A", critical=True, use=ELECTRONICS),
        ],
        metered("Livewell pump", "5.9 A", "0.64 V"), metered("Radio", "5.2 A", "0.15 V"),
    ),
    "a power tee far below the supply": lambda: wired(
        [], networked("10.6 V", "10.4 V"), networks=[NETWORK], steps=[NETWORKS],
        told={
            ("main network", ADVISE, "feed_loses"),
            ("main network", ADVISE, "within_limit"),
        },
        doubted=[(NETWORKS, "tee_voltage"), (OF_VESSEL, "networks.supply_voltage")],
    ),
    "innocent: a battery sags, a device reads a digit above the tee": lambda: wired(
        [], networked("12.42 V", "12.43 V"), networks=[NETWORK], steps=[NETWORKS]
    ),
    "innocent: a charger is on": lambda: wired(
        [], networked("13.9 V", "13.7 V"), networks=[NETWORK], steps=[NETWORKS]
    ),
    "three terminators": lambda: wired(
        [], networked("12.5 V", "12.3 V", "40.1 ohm"), networks=[NETWORK], steps=[NETWORKS],
        told={("main network", FAIL, "too_many")},
    ),
    "450 mA with the switches off, 100 mA with all on": lambda: wired(
        [], of(STANDING, "house", standing_current="450 mA"), of(LOADS, "house", load_current="100 mA"),
        steps=[STANDING, LOADS],
        told={(HOUSE, ADVISE, "more_than_the_load"), (HOUSE, ADVISE, "enough")},
        doubted=[(STANDING, "standing_current"), (LOADS, "load_current")],
    ),
    "innocent: a little flows, and a meter of tenths shows none of it": lambda: wired(
        [], of(STANDING, "house", standing_current="22 mA"), of(LOADS, "house", load_current="0.0 A"),
        steps=[STANDING],
    ),
    "innocent: 20 mA off, 7.6 A on": lambda: wired(
        [LIGHTS, RADIO], LIT, of(STANDING, "house", standing_current="20 mA"), of(LOADS, "house", load_current="7.6 A"),
        steps=[BANK, STANDING, CIRCUITS, LOADS],
    ),
    "a 12 V bank entered as 24 V": lambda: wired(
        [LIGHTS, RADIO], LIT, of(STANDING, "house", standing_current="20 mA"), of(LOADS, "house", load_current="7.6 A"),
        steps=[BANK, STANDING, CIRCUITS, LOADS], volts="24",
        told={
            (HOUSE, LACKING, "not_enough_data"),
            (HOUSE, ADVISE, "small"),
            (HOUSE, ADVISE, "enough"),
            ("Voltage drop by calculation", LACKING, "not_enough_data"),
            ("Voltage drop by meter", LACKING, "not_enough_data"),
        },
        doubted=[(OF_VESSEL, "batteries.nominal_voltage"), (BANK, "rest_voltage")],
    ),
    "12.0 V while it is charged": lambda: wired(
        [LIGHTS], metered("Cabin lights", "3.0 A", "0.19 V", "14.1 V"), rested("12.0 V", "0 h"), steps=[BANK],
        told={(HOUSE, LACKING, "not_enough_data")},
    ),
    "a load measured with half of it off": lambda: wired(
        THREE, of(LOADS, "house", load_current="9 A"), steps=[LOADS], charging="96",
        told={
            (HOUSE, ADVISE, "less_than_listed"),
            (HOUSE, ADVISE, "short"),
            ("Charging", ADVISE, "charging_covers"),
        },
        doubted=[(LOADS, "load_current")],
    ),
    "charging at its limit": lambda: wired(
        THREE, of(LOADS, "house", load_current="47 A"), steps=[LOADS], capacity="800",
        told={("Charging", ADVISE, "charging_thin")},
    ),
    "innocent: a load a little below the list, a thruster within its drop": lambda: wired(
        [
            *THREE,
            circuit("Thruster", "4", "12 ft", "150 A", "200 A", fed_from="battery terminal", runs_with_others=False),
        ],
        metered("Plotter", "10.1 A", "0.17 V"), metered("Livewell", "15.6 A", "0.24 V"),
        metered("Lights", "15.5 A", "0.24 V"), metered("Thruster", "140 A", "0.90 V", "12.3 V"),
        of(LOADS, "house", load_current="40.5 A"),
        steps=[BANK, CIRCUITS, LOADS], capacity="800", charging="60",
    ),
}  # fmt: skip


def assessed(trap: Trap) -> list[Finding]:
    view = job_view(trap.vessel, trap.values, recordings=trap.recordings)
    view = attrs.evolve(view, job=attrs.evolve(view.job, opened="2026-05-14"))
    return [one.finding for one in HOST.assess(view, trap.steps)]


def nothing_entered(finding: Finding) -> bool:
    """Whether a finding only says that a part of a step was left out."""
    return bool(finding.missing) and all(one.lack is Lack.NOT_ENTERED for one in finding.missing)


@pytest.mark.parametrize("name", [*COMPASSES, *WIRES])
def test_a_trap_is_judged_as_an_expert_would(name: str) -> None:
    trap = {**COMPASSES, **WIRES}[name]()
    found = assessed(trap)
    not_passed = [one for one in found if one.verdict is not PASS and not nothing_entered(one)]
    told = {(one.about, one.verdict, one.code.rpartition(".")[2]) for one in not_passed}
    assert told == trap.told, [one.sentence for one in found]
    assert set(trap.passed) <= {one.code for one in found if one.verdict is PASS}
    assert {(doubt.step, doubt.field) for one in found for doubt in one.doubts} == set(trap.doubted)


def test_no_card_and_no_offset_come_of_two_swings_that_contradict_each_other() -> None:
    found = assessed(COMPASSES["a swing of -20 beside straight runs of +2.4"]())
    assert [one.code for one in found] == [f"{HEADING}.swing.ways_differ"] * 2
    assert not any(table.card for one in found for table in one.tables)
    assert {doubt.row for one in found for doubt in one.doubts} == set("12345678")


def test_a_turn_counted_by_the_heading_says_that_it_leaves_the_card_alone() -> None:
    def told(values: Values, **more: Any) -> str:
        turn = recorded(CIRCLE, {"HC": aboard(sine=2, **more)})
        (finding,) = assessed(by_compass(values, TURN, turn=turn))
        return finding.sentence

    words = garboard_heading_calibration.turn_findings.WITHOUT_CARD
    card = swung(deviating(0, 2))
    assert [words in one for one in (told(card, rate=None), told({}, rate=None), told(card))] == [True, False, False]


def test_a_doubt_about_the_place_reaches_every_sensor() -> None:
    sensors = {"HC": SLIGHT, "SC": aboard(rate=None)}
    runs = recorded(EIGHT_RUNS, sensors, every=1.0)
    looked_at: dict[str, JsonValue] = dict.fromkeys(("steady_when_switched", "mounted_as_told"), True)
    clear: dict[str, JsonValue] = {
        f"distance_to_{what}": "2 m" for what in ("loudspeakers", "motors", "cables", "steel")
    }
    placed = [of(f"{HEADING}.location", one.name, **looked_at, **clear) for one in TWO]
    values = both(of(PLACE, date="2021-05-15"), *placed)
    found = assessed(by_compass(values, RUNS, sensors=TWO, runs=runs))
    assert {one.about for one in found} == {one.name for one in TWO}
    assert all({doubt.field for doubt in one.doubted} == {"date"} for one in found)
