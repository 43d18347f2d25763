"""The owner's pages on wiring."""

from collections.abc import Sequence

from garboard.findings import Finding, Table, Verdict
from garboard.job_view import JobView
from garboard.records import Job, Vessel
from garboard.steps import RECORD, Block
from wiring_boats import HOST, battery, circuit, network, wired_job

(SECTION,) = [one for one in HOST.report_sections if one.part == RECORD]


def blocks(view: JobView) -> Sequence[Block]:
    return SECTION.build(view, HOST.assess(view))


def table(view: JobView, title: str) -> Table:
    return next(block for block in blocks(view) if isinstance(block, Table) and block.title == title)


def test_the_schedule_has_a_row_for_every_circuit() -> None:
    """Circuit, label, conductor, fuse, current, drop and verdict."""
    view = wired_job([circuit(), circuit("Horn", protection="none"), circuit("Radio", length=None)])
    assert table(view, "Circuits").rows == (
        ("Bilge pump", "yes", "14 AWG", "15 A fuse", "5.0 A", "0.25 V at 5.0 A", "pass"),
        ("Horn", "yes", "14 AWG", "none", "5.0 A", "0.25 V at 5.0 A", "fail"),
        ("Radio", "yes", "14 AWG", "15 A fuse", "5.0 A", "0.25 V at 5.0 A", "not enough data"),
    )


def test_a_drop_stands_beside_the_current_it_was_read_with() -> None:
    """The load is the larger of design and reading, and a drop read at less is not the drop at the load."""
    view = wired_job([circuit(design_current="=8.0 A")], read={("circuits", "current", "Bilge pump"): "5.0 A"})
    ((*_, load, drop, _verdict),) = table(view, "Circuits").rows
    assert (load, drop) == ("8.0 A", "0.25 V at 5.0 A")


def test_the_number_of_the_page_is_how_many_circuits_are_in_order() -> None:
    """Of three one has no fuse and one no length: one is in order."""
    view = wired_job([circuit(), circuit("Horn", protection="none"), circuit("Radio", length=None)])
    assert str(blocks(view)[0]) == "1 of 3 circuits"


def test_a_circuit_without_label_is_not_in_order() -> None:
    """What the labels' finding fails, the schedule and its count fail too; nobody having looked is no pass."""
    bare = wired_job([circuit(), circuit("Horn")], read={("circuits", "label_present", "Horn"): False})
    assert str(blocks(bare)[0]) == "1 of 2 circuits"
    assert [row[-1] for row in table(bare, "Circuits").rows] == ["pass", "fail"]
    unseen = wired_job([circuit()], read={("circuits", "label_present", "Bilge pump"): None})
    assert [row[-1] for row in table(unseen, "Circuits").rows] == ["not enough data"]


def test_a_label_the_shop_can_do_without_is_advice() -> None:
    """With half of the labels enough, the bare circuit is advised on and still not in order."""
    view = wired_job(
        [circuit(), circuit("Horn")],
        read={("circuits", "label_present", "Horn"): False},
        settings={"labelled": "50 %"},
    )
    assert [row[-1] for row in table(view, "Circuits").rows] == ["pass", "advise"]


def test_a_bare_circuit_leaves_blanks() -> None:
    """What is not known stays blank, never a guess."""
    bare = circuit("Horn", conductor_awg="", design_current=None, protection="", protection_rating=None)
    read = {("circuits", field, "Horn"): None for field in ("label_present", "drop", "current")}
    assert table(wired_job([bare], read=read), "Circuits").rows == (("Horn", "", "", "", "", "", "not enough data"),)


def test_the_battery_table_shows_charge_and_reserve() -> None:
    """Kind, capacity, rest voltage, and charge and reserve time as the findings give them."""
    view = wired_job(read={("batteries", "rest_voltage", "house"): "12.45 V"})
    assert table(view, "Batteries").rows == (("house", "flooded", "100 Ah", "12.45 V", "75 ± 13 %", "9.0 h or more"),)
    full = wired_job(read={("batteries", "rest_voltage", "house"): "12.66 V"})
    assert table(full, "Batteries").rows[0][4] == "87 % or more"


def test_a_battery_whose_charge_cannot_be_told_stays_blank() -> None:
    """No charge for a LiFePO4 battery."""
    assert table(wired_job(batteries=[battery(chemistry="LiFePO4")]), "Batteries").rows[0][4] == ""


def test_the_network_table_shows_load_and_voltage() -> None:
    """Backbone, load number, current, signal lines, worst device and spare tees."""
    assert table(wired_job(networks=[network()]), "Instrument networks").rows == (
        ("bridge", "20 m", "8", "0.40 A", "60 ohm", "12.2 V", "1"),
    )


def test_faults_come_last_the_worst_first() -> None:
    """Failing findings before advice, under their own sentence."""
    view = wired_job([circuit(protection="none")], read={("batteries", "rest_voltage", "house"): "12.30 V"})
    findings = [block for block in blocks(view) if isinstance(block, Finding)]
    assert [finding.verdict for finding in findings] == [Verdict.FAIL, Verdict.ADVISE]


def test_a_sound_boat_has_nothing_to_put_right() -> None:
    """No findings, no heading over nothing."""
    assert not any("put right" in block for block in blocks(wired_job()) if isinstance(block, str))


def test_a_vessel_without_wiring_gets_no_page() -> None:
    """No equipment, no section."""
    view = JobView(vessel=Vessel(hull_number="XYZ00001A626"), job=Job(id="J1"))
    assert SECTION.build(view, ()) == ()


def test_the_page_stands_without_settings() -> None:
    """A view that carries no settings is read with the defaults."""
    assert table(wired_job(settings=None), "Circuits").rows
