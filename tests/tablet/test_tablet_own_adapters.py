"""Who sends what: two engines with an adapter each are no rivals, nor are two messages of one instrument."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import attrs
import pytest

from garboard.fields import Field, Kind
from garboard.history.registers import RegisterKey
from garboard.recordings.boat_network import BoatNetwork
from garboard.recordings.encode import nmea2000_lines
from garboard.recordings.simulated_network import can_frame
from garboard.recordings.where import Way, Where
from garboard.records import NETWORK_SOURCES, Battery, Engine, Vessel
from garboard.samples import Sample
from garboard_tablet.models.asks import Ask
from garboard_tablet.models.heard import Offer, choice_key, chosen_among, may_choose_again, offers, rivals, unheard
from garboard_tablet.models.one_source import OneSource, choices_of
from garboard_tablet.pages.network import heard_lines

GATEWAY, SECOND = "192.168.4.1", "192.168.4.2"
SPEED = Field(name="engine_speed", title="Engine speed", kind=Kind.AMOUNT, quantity="engine speed", unit="rev/min",
              heard="engine_speed")  # fmt: skip
NUMBER = Field(name="network_instance", title="Network instance", kind=Kind.COUNT, heard="engine_speed")


def twin(chosen: Mapping[str, str] | None = None) -> Vessel:
    engines = (Engine(position="port"), Engine(position="starboard"))
    return Vessel(hull_number="XYZAB123F526", engines=engines, more={NETWORK_SOURCES: dict(chosen)} if chosen else {})


def network(*heard: tuple[str, str, float], also: Sequence[tuple[str, str, float]] = ()) -> BoatNetwork:
    """Hears the speed of engines: source, the engine's number, speed. What is heard also comes from another gateway."""
    made = BoatNetwork(Where(10110, "", Way.BROADCAST), now=lambda: 100.0)
    for address, rows in ((GATEWAY, heard), (SECOND, also)):
        samples = [Sample(1.7e9, "engine_speed", speed, source, number) for source, number, speed in rows]
        made.hear("".join(f"{line}\n" for line in nmea2000_lines(samples)).encode(), address)
    return made


def asked(of: str, field: Field = SPEED) -> Ask:
    return Ask(key=RegisterKey("measure", "job", ("prop_check.full_throttle", field.name, "1", of)), field=field)


def offered(heard: BoatNetwork, vessel: Vessel, of: str, field: Field = SPEED) -> tuple[Offer, ...]:
    return offers(asked(of, field), field.unit, vessel, heard)


OWN_ADAPTERS = (("11", "0", 5800.0), ("12", "1", 5850.0))


def test_two_adapters_of_two_engines_are_no_rivals_and_each_engine_is_offered_its_own() -> None:
    heard, vessel = network(*OWN_ADAPTERS), twin()
    assert rivals(("engine_speed",), vessel, heard) == {}
    told = [[(one.text, one.choice) for one in offered(heard, vessel, of)] for of in ("port", "starboard", "")]
    assert told == [[("5800 rev/min", "11")], [("5850 rev/min", "12")], [("5825 rev/min", "11 and 12")]]
    numbers = [[one.value for one in offered(heard, vessel, of, NUMBER)] for of in ("port", "starboard")]
    assert numbers == [[0], [1]]


def test_one_of_two_that_send_one_engine_is_chosen_for_that_engine_alone() -> None:
    """The other engine, which its own adapter sends, is heard as before."""
    heard = network(*OWN_ADAPTERS, ("20", "0", 5000.0))
    assert rivals(("engine_speed",), twin(), heard) == {"engine_speed 0": ("11", "20")}
    assert [one.choice for one in offered(heard, twin(), "port")] == ["11", "20"]
    assert offered(heard, twin(), "") == (), "no mean of a number nobody has chosen"
    chosen = twin({choice_key(asked("port"), twin()): "20"})
    assert choices_of(chosen) == {"engine_speed 0": "20"}
    assert rivals(("engine_speed",), chosen, heard) == {}
    assert [one.text for one in offered(heard, chosen, "port")] == ["5000 rev/min"]
    assert [one.text for one in offered(heard, chosen, "starboard")] == ["5850 rev/min"]
    guide = OneSource(choices_of(chosen))
    samples = [Sample(0.0, "engine_speed", speed, source, number) for source, number, speed in OWN_ADAPTERS]
    assert [guide.takes(one) for one in samples] == [False, True]


def test_two_gateways_that_each_send_both_engines_are_chosen_between_once() -> None:
    """One choice stands for both engines, as it did."""
    both = (("10", "0", 5800.0), ("10", "1", 5850.0))
    heard, second = network(*both, also=both), f"10 {SECOND}"
    assert rivals(("engine_speed",), twin(), heard) == {"engine_speed": ("10", second)}
    chosen = twin({"engine_speed": second})
    assert rivals(("engine_speed",), chosen, heard) == {}
    assert [[one.choice for one in offered(heard, chosen, of)] for of in ("port", "starboard", "")] == [[second]] * 3


@pytest.mark.parametrize(("source", "number", "later", "follows"), [
    ("12", "1", 0.0, True),  # the other engine's own adapter
    ("12", "0", 0.0, False),
    ("12", "0", 60.0, False),  # heard or not, the chosen one is kept to
    ("11", "0", 60.0, True),
])  # fmt: skip
def test_a_choice_for_all_engines_silences_no_engine_that_the_chosen_one_does_not_send(
    source: str, number: str, later: float, follows: bool
) -> None:
    """A choice kept by an earlier version, which took the adapters of two engines for rivals."""
    guide = OneSource({"engine_speed": "11"})
    assert guide.takes(Sample(0.0, "engine_speed", 5800.0, "11", "0"))
    assert guide.takes(Sample(later, "engine_speed", 5800.0, source, number)) is follows


@pytest.mark.parametrize(("heard", "silent"), [
    (OWN_ADAPTERS, ""),
    ((), ""),  # no engine runs yet
    ((("11", "0", 700.0),), "starboard"),
    ((("11", "0", 700.0), ("12", "0", 700.0)), "starboard"),
    ((("11", "1", 700.0), ("12", "2", 700.0)), "port"),
])  # fmt: skip
def test_an_engine_that_is_not_heard_is_said_before_the_run(
    heard: Sequence[tuple[str, str, float]], silent: str
) -> None:
    said = unheard(("speed_over_ground", "engine_speed"), twin(), network(*heard))
    assert [text.partition(" is not heard")[0] for text in said] == ([f"Engine speed of {silent}"] if silent else [])
    assert all("enter which network instance" in text for text in said)


@pytest.mark.parametrize(("talker", "numbers", "offered_for_port"), [
    ("II", (0, 1), [0]),
    ("II", (1, 2), []),  # of these the odd one is to starboard, or the first to port
])  # fmt: skip
def test_engines_that_sentences_number_from_the_middle_are_not_guessed_at(
    talker: str, numbers: tuple[int, int], offered_for_port: list[int]
) -> None:
    heard = BoatNetwork(Where(10110, "", Way.BROADCAST), now=lambda: 100.0)
    heard.hear("".join(f"${talker}RPM,E,{number},3000,,A\r\n" for number in numbers).encode(), GATEWAY)
    assert [one.value for one in offered(heard, twin(), "port", NUMBER)] == offered_for_port
    second = network(("11", "1", 3000.0), ("12", "2", 3000.0))
    assert [one.value for one in offered(second, twin(), "port", NUMBER)] == [1], "NMEA 2000 numbers from port"


@pytest.mark.parametrize(("age", "slow", "quick"), [(2.0, 1, 1), (11.0, 1, 0), (16.0, 0, 0)])
def test_what_is_sent_seldom_is_offered_until_the_next_comes(age: float, slow: int, quick: int) -> None:
    clock = [100.0]
    heard = BoatNetwork(Where(10110, "", Way.BROADCAST), now=lambda: clock[0])
    heard.hear(b"$WIMDA,,I,1.0132,B,22.0,C,,C,,,,,,,,,,,,\r\n$IIRPM,E,0,3000,,A\r\n", GATEWAY)
    clock[0] += age
    assert (len(offered(heard, twin(), "", AIR)), len(offered(heard, twin(), "port"))) == (slow, quick)


AIR = Field(name="air_pressure", title="Air pressure", kind=Kind.AMOUNT, quantity="pressure", unit="hPa",
            heard="air_pressure")  # fmt: skip
FUEL = Field(name="fuel_level", title="Fuel", kind=Kind.AMOUNT, quantity="share", unit="%", heard="tank_level")


def of_sentences(*frames: tuple[int, int, bytes]) -> BoatNetwork:
    made = BoatNetwork(Where(10110, "", Way.BROADCAST), now=lambda: 100.0)
    made.hear("".join(f"{can_frame(1.7e9, pgn, source, data)}\n" for pgn, source, data in frames).encode(), GATEWAY)
    return made


def pressure(source: int, number: int | None, hectopascals: float) -> tuple[int, int, bytes]:
    """By the older message, in whole hectopascals and without a number; or by the finer one."""
    if number is None:
        return 130310, source, bytes(5 * [255]) + int(hectopascals).to_bytes(2, "little") + b"\xff"
    return 130314, source, bytes([255, number, 0]) + round(hectopascals * 1000).to_bytes(4, "little") + b"\xff"


@pytest.mark.parametrize(("heard", "choices"), [
    ((pressure(50, None, 1013), pressure(50, 0, 1012.8)), ["50#0"]),
    ((pressure(50, None, 1013),), ["50"]),
    ((pressure(50, None, 1013), pressure(60, 0, 1012.8)), ["50", "60#0"]),
])  # fmt: skip
def test_one_instrument_that_sends_one_value_in_two_messages_is_one(
    heard: Sequence[tuple[int, int, bytes]], choices: list[str]
) -> None:
    found = offered(of_sentences(*heard), twin(), "", AIR)
    assert [one.choice for one in found] == choices
    earlier = offered(of_sentences(*heard), twin({"air_pressure": "50"}), "", AIR)
    assert [one.choice for one in earlier] == choices[:1], "as chosen before, without its number"


def tank(number: int, level: float, litres: float) -> tuple[int, int, bytes]:
    capacity = round(litres * 10).to_bytes(4, "little") if litres else b"\xff" * 4
    return 127505, 11, bytes([number]) + round(level / 0.004).to_bytes(2, "little") + capacity + b"\xff"


def test_two_fuel_tanks_are_offered_as_what_they_hold_together() -> None:
    """By hand: 55 % of 400 L and 35 % of 100 L are 255 of 500 L; where a tank's size is not sent, nobody can say."""
    both = of_sentences(tank(0, 55, 400), tank(1, 35, 100))
    assert [(one.text, one.title) for one in offered(both, twin(), "", FUEL)] == [
        ("51 %", "11, all 2 tanks"), ("55 %", "11, fuel 0"), ("35 %", "11, fuel 1"),
    ]  # fmt: skip
    chosen = twin({"tank_level": "11#all 2 tanks"})
    assert [one.text for one in offered(both, chosen, "", FUEL)] == ["51 %"]
    unknown = of_sentences(tank(0, 55, 400), tank(1, 35, 0))
    assert [one.title for one in offered(unknown, twin(), "", FUEL)] == ["11, fuel 0", "11, fuel 1"]
    assert [one.text for one in offered(of_sentences(tank(0, 55, 400)), twin(), "", FUEL)] == ["55 %"]


REST = Field(name="rest_voltage", title="Rest voltage", kind=Kind.AMOUNT, quantity="voltage", unit="V",
             heard="battery_voltage")  # fmt: skip


def battery(number: int, volts: float) -> tuple[int, int, bytes]:
    return 127508, 40 + number, bytes([number]) + round(volts * 100).to_bytes(2, "little") + b"\xff\x7f\xff\xff\xff"


def test_an_instrument_chosen_of_one_battery_is_not_offered_for_another() -> None:
    heard = of_sentences(battery(0, 12.9), battery(1, 12.6))
    vessel = attrs.evolve(twin(), batteries=(Battery(name="house"), Battery(name="start")))
    assert [one.choice for one in offered(heard, vessel, "start", REST)] == ["40#0", "41#1"]
    chosen = attrs.evolve(vessel, more={NETWORK_SOURCES: {"battery_voltage house": "40#0"}})
    told = [[one.choice for one in offered(heard, chosen, of, REST)] for of in ("house", "start")]
    assert told == [["40#0"], ["41#1"]]
    gone = attrs.evolve(vessel, more={NETWORK_SOURCES: {"battery_voltage sold": "40#0"}})
    assert len(offered(heard, gone, "start", REST)) == 2, "of a battery that is no longer in the boat"
    assert offered(of_sentences(battery(0, 12.9)), chosen, "start", REST) == ()


def test_a_choice_can_be_made_again_where_others_are_heard() -> None:
    """A wrong touch is no fate: also where the chosen one is silent, and not where nothing else is heard."""
    both, one = network(*OWN_ADAPTERS, ("20", "0", 5000.0)), network(*OWN_ADAPTERS)
    chosen, port = twin({"engine_speed 0": "20"}), asked("port")
    asks = [(both, chosen), (one, chosen), (both, twin()), (network(("20", "0", 5000.0)), chosen)]
    assert [may_choose_again(port, "rev/min", vessel, heard) for heard, vessel in asks] == [True, True, False, False]
    assert chosen_among(("engine_speed",), chosen, both) == {"engine_speed": ("20",)}
    assert chosen_among(("engine_speed",), twin(), both) == {}
    taken_back = twin({"engine_speed 0": ""})
    assert choices_of(taken_back) == {}
    assert rivals(("engine_speed",), taken_back, both) == rivals(("engine_speed",), twin(), both) != {}


def test_the_network_page_writes_a_real_minus_and_rounds_as_people_do() -> None:
    heard = BoatNetwork(Where(10110, "", Way.BROADCAST), now=lambda: 100.0)
    heard.hear(b"$HCHDG,81.25,,,12.0,W\r\n", GATEWAY)
    said = heard_lines(heard, {}).values()
    assert "Variation: −12.0 deg, from HC" in said
    assert any(line.startswith("Heading magnetic: 81.3 deg") for line in said)
