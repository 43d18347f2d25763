"""Findings on NMEA 2000 networks at and around every limit."""

from collections.abc import Mapping
from typing import Any

import pytest

from garboard.findings import Verdict
from garboard.job_view import JobView
from garboard.records import JsonValue, NetworkDevice
from garboard_wiring_audit.bus import BusDevice, device_drop, worst_device
from wiring_boats import Changes, Readings, device, network, said, sentence_on, verdict_on, wired_job

PASS, ADVISE, FAIL, LACKING = Verdict.PASS, Verdict.ADVISE, Verdict.FAIL, Verdict.NOT_ENOUGH_DATA


def with_network(
    read: Mapping[str, JsonValue] | None = None, settings: Mapping[str, JsonValue] | None = None, **changes: Any
) -> JobView:
    keyed: Readings = {("networks", field, "bridge"): value for field, value in (read or {}).items()}
    return wired_job(networks=[network(**changes)], read=keyed, settings=settings)


def loads(*numbers: int) -> tuple[NetworkDevice, ...]:
    return tuple(device(f"D{place}", load_equivalency=number) for place, number in enumerate(numbers))


@pytest.mark.parametrize(
    ("changes", "verdict", "words"),
    [
        ({"devices": loads(20, 20, 20)}, PASS, "Load number 60, 3.00 A on light cable."),
        ({"devices": loads(20, 20, 20, 1)}, FAIL, "light cable carries 3 A"),
        ({"devices": loads(20, 20, 20, 20), "cable": "mid", "protection_rating": "=4 A"}, PASS, "4.00 A"),
        ({"devices": loads(21)}, FAIL, "D0 draws more than 1 A"),
        ({"devices": loads(*[1] * 50)}, PASS, ""),
        ({"devices": loads(*[1] * 51)}, FAIL, "51 devices, 50 at most"),
        ({"protection_rating": "=5 A"}, FAIL, "5 A fuse on light cable: fit 3 A."),
        ({"protection_rating": "=0.3 A"}, FAIL, "0.3 A fuse opens at this load"),
        ({"protection_rating": None}, PASS, ""),
        ({"cable": ""}, LACKING, "cable (light, mid or heavy) is not entered"),
        ({"devices": ()}, LACKING, "no devices are entered"),
        ({"devices": (device("display", load_equivalency=None),)}, LACKING, "load number or current of display"),
        ({"devices": (device("display", load_equivalency=-1),)}, LACKING, "load number of display cannot be −1"),
        ({"devices": (device("display", load_equivalency=None, current="=151 mA"),)}, PASS, "Load number 4, 0.20 A"),
    ],
)
def test_network_load(changes: Changes, verdict: Verdict, words: str) -> None:
    """Cable, single device, number of devices and fuse."""
    (finding,) = said(with_network(**changes), "network_load")
    assert finding.verdict is verdict
    assert words in finding.sentence


@pytest.mark.parametrize(
    ("changes", "verdict", "words"),
    [
        ({"devices": (device("display", drop_length="=6 m"),)}, PASS, "drop cables 6.0 m together"),
        ({"devices": (device("display", drop_length="=6.1 m"),)}, FAIL, "display: drop cable 6.1 m, 6 m allowed"),
        ({"devices": tuple(device(f"D{n}", drop_length="=6 m") for n in range(13))}, PASS, "78.0 m"),
        ({"devices": tuple(device(f"D{n}", drop_length="=6 m") for n in range(14))}, FAIL, "78 m together allowed"),
        ({"backbone_length": "=100 m"}, PASS, "Backbone 100.0 m"),
        ({"backbone_length": "=101 m"}, FAIL, "Shorten the backbone to 100 m"),
        ({"backbone_length": "=101 m", "cable": "heavy"}, PASS, ""),
        ({"backbone_length": "=201 m", "cable": "heavy"}, ADVISE, "Shorten the backbone to 200 m"),
        ({"backbone_length": None}, LACKING, "backbone length is not entered"),
        ({"backbone_length": "=5 m"}, LACKING, "from the power tee on a backbone of 5 m; correct one"),
        ({"devices": (device("display", drop_length=None),)}, LACKING, "drop length of display is not entered"),
        ({"cable": ""}, LACKING, "cable (light, mid or heavy)"),
    ],
)
def test_network_lengths(changes: Changes, verdict: Verdict, words: str) -> None:
    """Single drops, all drops and backbone."""
    (finding,) = said(with_network(**changes), "network_lengths")
    assert finding.verdict is verdict
    assert words in finding.sentence


@pytest.mark.parametrize(
    ("ohms", "verdict", "words"),
    [
        ("60 ohm", PASS, "Two terminators"),
        ("54 ohm", PASS, ""),
        ("66 ohm", PASS, ""),
        ("67 ohm", ADVISE, "60 ohm expected"),
        ("120 ohm", FAIL, "One terminator is missing"),
        ("40 ohm", FAIL, "3 terminators: take out all but the two at the ends"),
        ("30 ohm", FAIL, "4 terminators"),
        ("0.4 ohm", FAIL, "The signal lines touch"),
        ("5 ohm", FAIL, "The signal lines touch"),
        ("6 ohm", ADVISE, "60 ohm expected"),
        ("999 ohm", ADVISE, "60 ohm expected"),
        ("1000 ohm", FAIL, "No terminator, or a line is open"),
        ("2000000 ohm", FAIL, "No terminator, or a line is open"),
        (None, LACKING, "“Between the signal lines, powered down” is not entered"),
    ],
)
def test_terminators(ohms: str | None, verdict: Verdict, words: str) -> None:
    """What the resistance between the signal lines tells."""
    (finding,) = said(with_network(read={"signal_resistance": ohms}), "network_terminators")
    assert finding.verdict is verdict
    assert words in finding.sentence


def test_terminators_counted_otherwise_are_looked_at_again() -> None:
    """60 ohm with three terminators counted do not fit together."""
    assert "but 3 were counted" in sentence_on(with_network(terminators=3), "network_terminators")


def test_terminator_tolerance_is_the_shops() -> None:
    """A shop with a tighter tolerance is told sooner."""
    view = with_network(read={"signal_resistance": "64 ohm"}, settings={"terminator_tolerance": "5 %"})
    assert verdict_on(view, "network_terminators") is ADVISE


def far(amperes_number: int, metres: float, **more: Any) -> NetworkDevice:
    return device("sounder", load_equivalency=amperes_number, distance_from_power=f"={metres} m", **more)


@pytest.mark.parametrize(
    ("changes", "verdict", "words"),
    [
        # By hand: 2 x 0.053 ohm/m x 1 A x 14 m = 1.484 V; 14.2 m gives 1.505 V.
        ({"devices": (far(20, 14, drop_length="=0 m"),)}, PASS, "1.48 V lost at sounder"),
        ({"devices": (far(20, 14.2, drop_length="=0 m"),)}, FAIL, "Feed the backbone in its middle"),
        ({"devices": (far(20, 14, drop_length="=1 m"),)}, FAIL, "1.59 V lost"),
        # All load at the far end: 0.1 x 8 x 20 m x 0.053 = 0.848 V.
        ({"devices": (device("a", distance_from_power=None), device("b"))}, PASS, "0.85 V lost with all load at"),
        ({"devices": (far(20, 1), device("b", distance_from_power=None))}, ADVISE, "the true drop is less"),
        ({"cable": "mid"}, LACKING, "resistance of one metre of cable is not entered"),
        ({"cable": "mid", "cable_resistance_per_metre": "=20 mohm"}, PASS, ""),
        ({"cable": "mid", "cable_resistance_per_metre": "=2 mohm"}, LACKING, "than that of the heaviest network cable"),
        ({"cable": "mid", "cable_resistance_per_metre": "=53 ohm"}, LACKING, "that of the lightest network cable"),
        ({"backbone_length": "=5 m"}, LACKING, "on a backbone of 5 m; correct one"),
        ({"backbone_length": None, "devices": (device("a", distance_from_power=None),)}, LACKING, "backbone length"),
    ],
)
def test_calculated_voltage(changes: Changes, verdict: Verdict, words: str) -> None:
    """Drop to the worst device, by place or with all load at the far end."""
    (finding,) = said(with_network(**changes), "network_voltage_calculated")
    assert finding.verdict is verdict
    assert words in finding.sentence


def test_calculated_voltage_tells_what_is_left() -> None:
    """12.6 V less 2 x 0.053 x (0.2 A x 10 m x 2 + 0.2 A x 2 m) = 12.1 V."""
    (finding,) = said(with_network(), "network_voltage_calculated")
    assert finding.numbers[1].value == pytest.approx(12.6 - 0.4664)
    (finding,) = said(with_network(supply_voltage=None), "network_voltage_calculated")
    assert finding.numbers[1].value == pytest.approx(12.6 - 0.4664)


def test_calculated_voltage_draws_the_drop_along_each_leg() -> None:
    """One line a leg, nearest device first, and the allowed drop as a band."""
    devices = (
        device("far", distance_from_power="=10 m", leg="forward"),
        device("near", distance_from_power="=2 m", leg="forward"),
        device("stern", distance_from_power="=3 m", leg="aft"),
    )
    (finding,) = said(with_network(devices=devices), "network_voltage_calculated")
    forward, aft = finding.figures[0].series
    assert (forward.name, forward.x, aft.name, aft.x) == ("forward", (2.0, 10.0), "aft", (3.0,))
    assert forward.y[0] < forward.y[1]
    assert (finding.figures[0].bands[0].low, finding.figures[0].bands[0].high) == (0.0, 1.5)


def test_feeding_in_the_middle_cures_the_drop() -> None:
    """The same devices on two legs share less cable."""
    one_leg = [BusDevice("a", 1.0, 14.0, leg="fore"), BusDevice("b", 1.0, 14.0, leg="fore")]
    two_legs = [BusDevice("a", 1.0, 14.0, leg="fore"), BusDevice("b", 1.0, 14.0, leg="aft")]
    assert worst_device(one_leg, 0.053)[1] == pytest.approx(2 * worst_device(two_legs, 0.053)[1])


def test_a_device_shares_only_the_cable_both_use() -> None:
    """By hand at 0.053 ohm/m: near 0.106 x (0.5 x 10 + 0.5 x 10) V, far 0.106 x (0.5 x 10 + 0.5 x 30) V."""
    near, far_off = BusDevice("near", 0.5, 10.0), BusDevice("far", 0.5, 30.0)
    assert device_drop([near, far_off], near, 0.053) == pytest.approx(1.06)
    assert device_drop([near, far_off], far_off, 0.053) == pytest.approx(2.12)


def test_the_farthest_device_is_not_always_the_worst() -> None:
    """A heavy load on a long drop cable can be worse off than the end of the backbone."""
    end, heavy = BusDevice("end", 0.05, 20.0), BusDevice("heavy", 1.0, 19.0, drop=6.0)
    assert worst_device([end, heavy], 0.053)[0] is heavy
    assert device_drop([end, heavy], end, 0.053) < device_drop([end, heavy], heavy, 0.053)


@pytest.mark.parametrize(("allowed", "verdict"), [("1.5 V", FAIL), ("1.67 V", PASS), ("3.0 V", PASS)])
def test_the_shop_chooses_the_allowed_drop(allowed: str, verdict: Verdict) -> None:
    """Sheets disagree on the drop; the shop's choice decides."""
    view = with_network(devices=(far(20, 15, drop_length="=0 m"),), settings={"network_drop": allowed})
    assert verdict_on(view, "network_voltage_calculated") is verdict


@pytest.mark.parametrize(
    ("read", "verdict", "words"),
    [
        ({"worst_voltage": "11.50 V"}, PASS, "1.10 V below the power tee"),
        ({"worst_voltage": "11.10 V"}, ADVISE, "Too close to tell"),
        ({"worst_voltage": "10.90 V"}, FAIL, "Feed the backbone in its middle"),
        ({"tee_voltage": "9.50 V", "worst_voltage": "8.90 V"}, ADVISE, "below 9 V"),
        ({"tee_voltage": "9.50 V", "worst_voltage": "8.996 V"}, ADVISE, "8.996 V measured at the worst device"),
        ({"worst_voltage": "12.90 V"}, LACKING, "reads above the power tee"),
        ({"worst_voltage": "12.62 V"}, PASS, ""),
        (
            {"worst_voltage": None, "tee_voltage": None},
            LACKING,
            "“Voltage at the worst device, all on” is not entered; “Voltage at the power tee, all on”",
        ),
    ],
)
def test_measured_voltage(read: dict[str, JsonValue], verdict: Verdict, words: str) -> None:
    """Drop and least voltage by meter, the meter's spread counted in."""
    *of_the_feed, finding = said(with_network(read=read), "network_voltage_measured")
    assert finding.verdict is verdict
    assert words in finding.sentence
    loses = ["wiring_audit.network_voltage_measured.feed_loses"] if read.get("tee_voltage") == "9.50 V" else []
    assert [one.code for one in of_the_feed] == loses


@pytest.mark.parametrize(("tee", "told"), [("12.90 V", False), ("11.80 V", True)])
def test_nothing_less_than_nothing_is_lost_before_the_power_tee(tee: str, told: bool) -> None:
    """Most supplies are entered as 12 V, and stand above it: "lost before the power tee −0.90 V"."""
    view = with_network(read={"worst_voltage": "11.50 V", "tee_voltage": tee}, supply_voltage="=12 V")
    (finding,) = said(view, "network_voltage_measured")
    numbers = [one.name for one in finding.numbers]
    assert numbers == ["worst device", "supply drop", *(["lost before the power tee"] if told else [])]
    assert [one.number for one in finding.limits] == ["supply drop", "worst device", *numbers[2:]]


@pytest.mark.parametrize(("supply", "verdict"), [("=6 V", LACKING), ("=10 V", PASS), ("=12 V", PASS)])
def test_a_tee_far_above_its_supply_contradicts_it(supply: str, verdict: Verdict) -> None:
    """12.6 V at the tee: a charger lifts 10 V so far, and 6 V never."""
    view = with_network(read={"worst_voltage": "11.50 V", "tee_voltage": "12.60 V"}, supply_voltage=supply)
    assert verdict_on(view, "network_voltage_measured") is verdict


@pytest.mark.parametrize(("answer", "verdict"), [(False, PASS), (True, ADVISE), (None, LACKING)])
def test_supply_from_a_start_battery(answer: bool | None, verdict: Verdict) -> None:
    """An engine-start battery does not power the network."""
    assert verdict_on(with_network(read={"on_start_battery": answer}), "network_supply") is verdict
