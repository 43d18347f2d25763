"""What a network says of itself, from what was heard: the true fault is told, the innocent network is not accused."""

from __future__ import annotations

import pytest

from garboard.recordings.boat_network import BoatNetwork
from garboard.recordings.bus import READ
from garboard.recordings.bus_audit import LISTENED_LONG_ENOUGH, BusAudit, audit, in_words, kind_in_words, name_in_words
from garboard.recordings.encode import nmea2000_data
from garboard.recordings.simulated_network import (
    CLAIM,
    DEVICES,
    TWIN,
    can_frame,
    can_frames,
    introductions,
    slow,
)
from garboard.recordings.simulator import Order, simulate
from garboard.recordings.where import Where
from garboard.samples import Sample

LONG = LISTENED_LONG_ENOUGH
NAMES = tuple(device.name for device in DEVICES)


def heard(*lines: str, seconds: float = LONG, engines: int = 0) -> BusAudit:
    network = BoatNetwork(Where())
    network.hear("".join(f"{line}\r\n" for line in lines).encode(), "gateway")
    return audit(network.senders(), seconds, engines)


def codes(found: BusAudit) -> list[str]:
    return [code for code, _ in in_words(found)]


@pytest.fixture(scope="module")
def under_way() -> list[str]:
    """Everything a twin's network sends in a second."""
    samples = [*simulate(TWIN, [Order(seconds=1, engine_speed=3000)], start=0.0, rate=2.0), *slow(TWIN, 1.0)]
    return list(can_frames(samples))


def test_a_whole_network_that_names_itself_is_in_order(under_way: list[str]) -> None:
    found = heard(*introductions(DEVICES, 0.0), *under_way)
    assert in_words(found) == [("in order", "All that a commissioning needs is sent.")]
    engines = next(device for device in found.devices if device.source == "10")
    assert engines.says[0] == "Simulated engines"
    assert engines.names == ("number 102, maker 2047, class 50, function 160",)
    assert {kind for kind, _ in engines.sends} >= {"127488 engine, rapid", "127489 engine, dynamic"}
    assert (found.share_damaged, found.broken, found.clashes) == (0.0, 0, ())


def test_who_named_itself_before_is_told_by_its_address_and_what_to_do(under_way: list[str]) -> None:
    found = heard(*under_way)
    assert codes(found) == ["unnamed"]
    assert {device.source for device in found.unnamed} == {str(device.address) for device in DEVICES}
    assert "Switch the network off and on" in in_words(found)[0][1]


def test_two_devices_of_one_address_clash() -> None:
    found = heard(can_frame(0.0, CLAIM, 35, NAMES[2]), can_frame(0.1, CLAIM, 35, NAMES[3]))
    assert [source for source, _ in found.clashes] == ["35"]
    assert "number 103" in in_words(found)[0][1]
    assert "number 104" in in_words(found)[0][1]
    assert codes(found)[0] == "clash"


@pytest.mark.parametrize(
    "claims",
    [
        [(35, 0), (35, 0)],  # the same device twice
        [(35, 0), (35, 1), (36, 0)],  # one gave way, as it should
        [(35, 0), (36, 1)],
    ],
)
def test_a_device_that_gave_way_is_not_accused(claims: list[tuple[int, int]]) -> None:
    found = heard(*(can_frame(number, CLAIM, source, NAMES[name]) for number, (source, name) in enumerate(claims)))
    assert found.clashes == ()


MEASURED = can_frame(0.0, 127250, 35, bytes.fromhex("ffbe87ff7fff7ffc"))
OTHER_INSTANCE = NAMES[0][:4] + b"\1" + NAMES[0][5:]


@pytest.mark.parametrize(
    ("told", "is_clash"),
    [
        ([NAMES[0], OTHER_INSTANCE], False),  # what the audit asks for: give it another instance
        ([NAMES[0], MEASURED, OTHER_INSTANCE, MEASURED, NAMES[0], MEASURED], False),
        ([NAMES[0], MEASURED, NAMES[1], MEASURED], False),  # taken out, and another put in
        ([NAMES[0], MEASURED, NAMES[1], MEASURED, NAMES[0], MEASURED], True),  # both are there
        ([NAMES[0], MEASURED, NAMES[1], MEASURED, NAMES[0], NAMES[1]], True),  # switched off and on
        ([MEASURED, NAMES[0], NAMES[1], MEASURED], True),
    ],
)
def test_a_device_changed_while_listening_is_no_clash(told: list[bytes | str], is_clash: bool) -> None:
    found = heard(*(one if isinstance(one, str) else can_frame(0.0, CLAIM, 35, one) for one in told))
    assert bool(found.clashes) is is_clash


def test_a_device_without_an_address_is_told_and_is_no_device_of_the_list() -> None:
    found = heard(can_frame(0.0, CLAIM, 254, NAMES[0]))
    assert found.without_address == (name_in_words(NAMES[0][::-1].hex()),)
    assert found.devices == ()
    assert codes(found)[0] == "no address"


def test_what_is_damaged_and_what_is_broken_is_counted(under_way: list[str]) -> None:
    cut = [line for line in under_way if "#" in line]
    second = next(n for n, line in enumerate(cut) if "F2010A#" in line and int(line.split("#")[1][:2], 16) & 31 == 1)
    found = heard(*introductions(DEVICES, 0.0), *cut[:second], *cut[second + 1 :], "(9.9) can0 09F2#x", "noise")
    assert found.broken >= 1
    assert found.damaged >= 2
    assert {"damaged", "broken"} <= set(codes(found))


def test_what_nobody_sends_is_named_with_what_usually_brings_it(under_way: list[str]) -> None:
    """Without the engines' adapter; and before long enough was listened nothing is missing."""
    without = [line for line in under_way if not line.split("#")[0].endswith("0A")]
    named = introductions(DEVICES[:1] + DEVICES[2:], 0.0)
    found = heard(*named, *without)
    assert {one.what for one in found.missing} == {"engine speed", "fuel flow", "trim", "engine hours"}
    assert all("usually comes from: the" in said for code, said in in_words(found) if code == "missing")
    assert codes(heard(*without, seconds=3.0)) == ["unnamed", "listen on"]


@pytest.mark.parametrize(
    ("entered", "is_accused"),
    [("Long Reach", False), ("LONGREACH", False), ("", False), ("Kittiwake", True), ("Long Reach II", True)],
)
def test_the_name_that_ais_sends_is_held_against_the_one_entered(entered: str, is_accused: bool) -> None:
    """Capitals and blanks are no difference; nor is anything where no name is entered."""
    found = BusAudit(devices=(), own_ship={"name": "LONG REACH"})
    assert ("other name" in [code for code, _ in in_words(found, entered)]) is is_accused


def test_talkers_of_sentences_are_no_unnamed_devices() -> None:
    found = heard("$HEHDT,341.8,T*21", "$GPVTG,80.0,T,,M,12.0,N,,K,A")
    assert [device.source for device in found.devices] == ["GP", "HE"]
    assert "unnamed" not in codes(found)


def test_the_simulated_boat_is_audited_as_any_other() -> None:
    network = BoatNetwork(Where())
    frames = list(can_frames([Sample(0.0, "engine_speed", 700.0, "10", "0")]))
    network.hear(("# PGBDSIM\n" + "\n".join(frames) + "\n").encode(), "a")
    assert [device.source for device in audit(network.senders()).devices] == ["10"]


def test_waiting_for_a_link_is_not_listening(under_way: list[str]) -> None:
    """A minute of trying, then one frame: what else is sent may come at any moment, and nobody is said not to send."""
    at = [0.0]
    network = BoatNetwork(Where(), now=lambda: at[0])
    assert network.listened == 0.0
    for at[0] in (60.0, 63.0):
        network.hear(f"{under_way[0]}\r\n".encode(), "gateway")
    assert network.listened == 3.0
    at[0] = 600.0
    assert network.listened == 3.0, "a silence says nothing either"
    assert audit(network.senders(), network.listened).missing == ()


def engine_frame(source: int, number: int, speed: float = 700.0) -> str:
    """A frame that tells the speed of an engine."""
    return can_frame(0.0, 127488, source, nmea2000_data(127488, {"engine_speed": speed}, str(number)))


def tank_frame(kind: int) -> str:
    """A tank half full; 0 is fuel, 1 fresh water."""
    return can_frame(
        0.0, 127505, 13, bytes([kind << 4, *(12500).to_bytes(2, "little"), *(4000).to_bytes(4, "little"), 255])
    )


@pytest.mark.parametrize(("kinds", "is_missing"), [((1,), True), ((0,), False), ((1, 0), False)])
def test_fresh_water_is_no_fuel(kinds: tuple[int, ...], is_missing: bool) -> None:
    found = heard(*map(tank_frame, kinds))
    assert ("fuel level" in {one.what for one in found.missing}) is is_missing


@pytest.mark.parametrize(
    ("senders", "engines", "missing"),
    [
        (((11, 0),), 2, "engine speed of 1 of 2 engines"),
        (((11, 0), (12, 1)), 2, ""),
        (((11, 1),), 1, ""),
        (((11, 0),), 0, ""),  # how many engines the boat has is not known
        ((), 2, "engine speed"),
    ],
)
def test_an_engine_of_several_that_is_not_heard_is_missing(
    senders: tuple[tuple[int, int], ...], engines: int, missing: str
) -> None:
    found = heard(tank_frame(0), *(engine_frame(*one) for one in senders), engines=engines)
    assert [one.what for one in found.missing if one.what.startswith("engine speed")] == ([missing] if missing else [])


def test_two_devices_that_send_the_same_engine_are_told() -> None:
    """The usual fault of a twin: both adapters came with the number 0."""
    found = heard(engine_frame(12, 0), engine_frame(11, 0))
    assert found.one_engine == (("0", ("11", "12")),)
    assert "11 and 12 each send the speed of engine 0" in dict(in_words(found))["one engine"]
    assert heard(engine_frame(11, 0), engine_frame(12, 1)).one_engine == ()


@pytest.mark.parametrize(("speeds", "is_told"), [((700.0, 850.0), True), ((700.0, 712.0), False), ((700.0,), False)])
def test_two_engines_that_a_gateway_sends_as_one_are_told(speeds: tuple[float, ...], is_told: bool) -> None:
    found = heard(*(engine_frame(11, 0, speed) for _ in range(40) for speed in speeds))
    assert found.mixed == ((("0", "11", 700.0, 850.0),) if is_told else ())
    assert ("jumps between 700 and 850 rev/min" in dict(in_words(found)).get("one engine", "")) is is_told


def test_one_device_whose_address_changed_is_not_two_that_send_an_engine() -> None:
    clock = [0.0]
    network = BoatNetwork(Where(), now=lambda: clock[0])
    for source in (11, 14):
        network.hear(f"{engine_frame(source, 0)}\n".encode(), "gateway")
        clock[0] += 10.0
    assert audit(network.senders()).one_engine == ()


def test_two_gateways_that_pass_on_one_engine_are_no_two_devices() -> None:
    network = BoatNetwork(Where())
    for gateway in ("192.168.4.1", "192.168.4.2"):
        network.hear(f"{engine_frame(11, 0)}\n".encode(), gateway)
    assert audit(network.senders()).one_engine == ()


OTHER_SHIP = can_frame(0.0, 129038, 43, bytes(8))
UNREAD = can_frame(0.0, 130306, 43, bytes(8))


@pytest.mark.parametrize(
    ("lines", "code", "trouble"),
    [
        ((OTHER_SHIP, can_frame(0.0, CLAIM, 43, bytes(8))), "other ships", "Only what AIS hears of other ships"),
        (("!AIVDM,1,1,,A,H42O55i18tMET00000000000000,2*6D",), "other ships", "Only what AIS hears of other ships"),
        ((OTHER_SHIP, UNREAD, UNREAD), "missing", "none that this program reads: 130306 (2), 129038 (1)"),
        ((OTHER_SHIP, engine_frame(11, 0)), "missing", ""),
    ],
)
def test_a_gateway_that_passes_on_other_ships_only_is_told_from_a_network_without_instruments(
    lines: tuple[str, ...], code: str, trouble: str
) -> None:
    network = BoatNetwork(Where())
    network.hear("".join(f"{line}\r\n" for line in lines).encode(), "gateway")
    told = codes(audit(network.senders()))
    assert code in told
    assert ("missing" in told) is (code == "missing")
    assert trouble in network.trouble() if trouble else network.trouble() == ""


def test_every_message_that_is_read_has_a_name() -> None:
    assert [kind for kind in READ if kind_in_words(kind) == kind] == []


def test_what_usually_brings_it_is_said_without_the_sentence_before() -> None:
    said = [sentence for code, sentence in in_words(heard(engine_frame(11, 0))) if code == "missing"]
    assert len(said) > 5
    assert not any("same" in sentence for sentence in said)
