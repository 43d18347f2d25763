"""A boat begun like another: what its model shares comes along, what is one boat's own does not."""

from __future__ import annotations

from collections.abc import Sequence

import attrs
import pytest

from builders import job_view
from garboard.demo.samples_folder import sample_jobs_folder
from garboard.disk.entries import SHOP_RECORD, TEMPLATE, Entry
from garboard.faults import InputError
from garboard.history.authoring import Author
from garboard.history.like import (
    ASKED_OF_EACH,
    Facts,
    begin_like,
    drop_template,
    is_one_boats,
    keep_template,
    left_out,
    shared_entries,
    shared_facts,
    template_named,
    templates_in,
)
from garboard.history.replay import HullState, replay
from garboard.job_files.job_file import read_job_file
from garboard.records import EQUIPMENT, Circuit, Engine, JsonValue, NetworkBus, NetworkDevice, Vessel
from garboard.steps import Field, Kind, Phase, Step

HULL = "XYZAB123F526"


def sample(name: str) -> Vessel:
    return read_job_file(sample_jobs_folder() / name / "job.json").vessel


def begun(facts: Facts, *before: Entry) -> Vessel:
    state = replay(HULL, before)
    return replay(HULL, [*before, *begin_like(Author("tablet", "N. Sorrel"), state, facts)]).vessel()[0]


def shop(*entries: Entry) -> HullState:
    return replay(SHOP_RECORD, entries)


def kept(name: str, vessel: Vessel, *before: Entry, by: str = "M. Office") -> list[Entry]:
    return [*before, *keep_template(Author("office", by), shop(*before), name, shared_facts(vessel))]


@pytest.mark.parametrize("name", ["kittiwake", "saltgrass", "long_reach"])
def test_a_new_boat_has_what_the_model_shares_in_the_same_order_and_nothing_of_the_others_own(name: str) -> None:
    """Compared with the record itself, field by field, without the code that copies."""
    model, new = sample(name), begun(shared_facts(sample(name)))
    assert new.hull_number == HULL
    for kind, key in EQUIPMENT.items():
        assert [getattr(one, key) for one in getattr(new, kind)] == [getattr(one, key) for one in getattr(model, kind)]
    for mine, its in zip(new.engines, model.engines, strict=True):
        assert mine == attrs.evolve(its, serial_number="", hours=None, network_instance=None)
    for one, other in zip(new.circuits, model.circuits, strict=True):
        assert one == attrs.evolve(other, length=None, protection_distance=None, label="")
    assert (new.maker, new.model, new.length) == (model.maker, model.model, model.length)
    assert (new.name, new.displacement_as_run) == ("", None)
    assert "network_sources" not in new.more


def test_what_was_read_on_one_boat_is_nobody_elses() -> None:
    device = NetworkDevice(name="plotter", load_equivalency=4, drop_length=None)
    network = NetworkBus(name="main", cable="light", terminators=2, devices=(device,))
    engine = Engine(position="single", network_instance=0, model="X")
    vessel = Vessel(
        hull_number="QQZ01234A626",
        networks=(network,),
        engines=(engine,),
        circuits=(Circuit(name="Horn", label="1 | Horn"),),
    )
    new = begun(shared_facts(vessel))
    assert new.networks == (attrs.evolve(network, terminators=None),)
    assert new.engines == (attrs.evolve(engine, network_instance=None),)
    assert new.circuits == (Circuit(name="Horn"),)


def test_what_is_entered_already_stays_and_what_was_removed_stays_removed() -> None:
    author, state = Author("tablet", "N. Sorrel"), replay(HULL, [])
    first = author.write(state, "field", ("circuits", "VHF radio", "protection_rating"), "20 A")
    gone = author.write(state, "field", ("circuits", "Bilge pump", "removed"), True)
    new = begun(shared_facts(sample("saltgrass")), first, gone)
    circuits = {one.name: one for one in new.circuits}
    assert str(circuits["VHF radio"].protection_rating) == "20 A"
    assert circuits["VHF radio"].conductor_awg == "14"
    assert "Bilge pump" not in circuits


def test_no_engine_or_conductor_is_made_of_two() -> None:
    """A small engine with the range and the ratio of a large one would be judged against that."""
    author, state = Author("tablet", "N. Sorrel"), replay(HULL, [])
    model = sample("long_reach")
    before = [
        author.write(state, "field", ("engines", "centre", "model"), "WW150"),
        author.write(state, "field", ("batteries", "house", "chemistry"), "LiFePO4"),
        author.write(state, "field", ("circuits", "Radar", "conductor_area"), "2.5 mm2"),
        author.write(state, "field", ("circuits", "VHF radio", "protection"), "none"),
    ]
    new, facts = begun(shared_facts(model), *before), shared_facts(model)
    engine = new.pieces["engines"]["centre"]
    assert (engine.model, engine.full_throttle_high, engine.gear_ratio, engine.propeller) == ("WW150", None, None, None)
    assert new.pieces["batteries"]["house"].capacity is None
    radar, vhf = new.pieces["circuits"]["Radar"], new.pieces["circuits"]["VHF radio"]
    assert (radar.conductor_awg, vhf.protection_rating) == ("", None)
    assert radar.design_current == model.pieces["circuits"]["Radar"].design_current, "the rest of it is filled in"
    told = left_out(replay(HULL, before), facts)
    assert told == ("engine centre", "battery house", "circuit Radar", "circuit VHF radio")


def test_the_same_engine_in_other_words_is_filled_in_and_a_piece_that_came_back_too() -> None:
    author, state = Author("tablet", "N. Sorrel"), replay(HULL, [])
    model, facts = sample("long_reach"), shared_facts(sample("long_reach"))
    its = model.pieces["engines"]["centre"]
    before = [
        author.write(state, "field", ("engines", "centre", "maker"), its.maker.upper()),
        author.write(state, "field", ("engines", "centre", "serial_number"), "S 1"),
        author.write(state, "field", ("circuits", "Radar", "removed"), False),
    ]
    new = begun(facts, *before)
    assert new.pieces["engines"]["centre"].full_throttle_high == its.full_throttle_high
    assert new.pieces["circuits"]["Radar"].conductor_awg == model.pieces["circuits"]["Radar"].conductor_awg
    assert left_out(replay(HULL, before), facts) == ()


def test_a_boat_whose_engines_stand_elsewhere_gets_no_engine_more() -> None:
    author, state = Author("tablet", "N. Sorrel"), replay(HULL, [])
    twins = [author.write(state, "field", ("engines", side, "position"), side) for side in ("port", "starboard")]
    facts = shared_facts(sample("saltgrass"))
    assert [one.position for one in begun(facts, *twins).engines] == ["port", "starboard"]
    one = author.write(state, "field", ("engines", "port", "serial_number"), "S 1")
    assert len(begun(shared_facts(sample("kittiwake")), one).engines) == 2, "the first of twins is scanned before"
    gone = author.write(state, "field", ("engines", "port", "removed"), True)
    assert [engine.position for engine in begun(facts, one, gone).engines] == ["centre"]


def test_every_fact_that_is_one_boats_own_is_a_field_of_its_record() -> None:
    """A list of names goes stale quietly: each must be a field that exists."""
    records = {"": Vessel, "engines": Engine, "circuits": Circuit}
    for kind, record in records.items():
        assert ASKED_OF_EACH[kind] <= {field.name for field in attrs.fields(record)}
    of_networks = {field.name for record in (NetworkBus, NetworkDevice) for field in attrs.fields(record)}
    assert ASKED_OF_EACH["networks"] <= of_networks
    assert not is_one_boats(("tanks", "main", "capacity"))


# What was entered in steps

LIMITS = Step(
    key="trial.limits",
    title="Limits",
    phase=Phase.ALONGSIDE,
    order=1,
    fields=(
        Field(
            name="window",
            title="Window",
            kind=Kind.TABLE,
            each="engines",
            columns=(
                Field(name="idle", title="Idle", kind=Kind.TEXT, of_model=True),
                Field(name="own", title="Read here", kind=Kind.TEXT),
                Field(name="of", title="Of", kind=Kind.TEXT, of_model=True, begins=("engines", "model")),
            ),
        ),
        Field(name="plan", title="Plan", kind=Kind.TEXT, of_model=True),
    ),
)
READ_ON_THE_MODEL = {
    ("trial.limits", "idle", "", "centre"): "700",
    ("trial.limits", "own", "", "centre"): "690",
    ("trial.limits", "plan", "", ""): "slow",
}


def of_the_model(name: str) -> Facts:
    vessel = sample(name)
    return {**shared_facts(vessel), **shared_entries(job_view(vessel, READ_ON_THE_MODEL), [LIMITS])}


def entered(facts: Facts, *before: Entry) -> dict[tuple[str, ...], JsonValue]:
    state = replay(HULL, before)
    written = begin_like(Author("tablet", "N. Sorrel"), state, facts, job="J-1")
    return {entry.subject: entry.value for entry in written if entry.kind == "measure"}


def test_limits_of_the_model_come_along_and_say_of_which_engine_and_no_reading_does() -> None:
    facts = of_the_model("saltgrass")
    assert entered(facts) == {
        ("trial.limits", "idle", "", "centre"): "700",
        ("trial.limits", "of", "", "centre"): "NL150",
        ("trial.limits", "plan", "", ""): "slow",
    }
    kept_so = keep_template(Author("office", "M. Office"), shop(), "Bay boat", facts)
    (template,) = templates_in(shop(*kept_so))
    assert entered(template.facts) == entered(facts)
    assert begun(template.facts) == begun(shared_facts(sample("saltgrass"))), "without a job the vessel alone"


def test_limits_stay_out_where_another_engine_hangs_there_and_it_is_said() -> None:
    author, state = Author("tablet", "N. Sorrel"), replay(HULL, [])
    larger = author.write(state, "field", ("engines", "centre", "rated_power"), "200 hp")
    facts = of_the_model("saltgrass")
    assert entered(facts, larger) == {}
    assert left_out(replay(HULL, [larger]), facts, "J-1")[0] == "engine centre"
    same = author.write(state, "field", ("engines", "centre", "rated_power"), "150 hp")
    assert len(entered(facts, same)) == 3


def test_what_the_boat_has_entered_in_a_step_stays() -> None:
    author, state = Author("tablet", "N. Sorrel"), replay(HULL, [])
    own = author.write(state, "measure", ("trial.limits", "idle", "", "centre"), "650", job="J-1")
    assert ("trial.limits", "idle", "", "centre") not in entered(of_the_model("saltgrass"), own)


# Templates


def test_a_template_is_kept_told_replaced_and_taken_back() -> None:
    saltgrass = sample("saltgrass")
    entries = kept("Bay boat 22", saltgrass)
    (template,) = templates_in(shop(*entries))
    assert (template.name, template.by, dict(template.facts)) == ("Bay boat 22", "M. Office", shared_facts(saltgrass))
    assert {entry.kind for entry in entries} == {TEMPLATE}
    assert len(entries) == 1 + sum(len(getattr(saltgrass, kind)) for kind in EQUIPMENT)

    assert kept("Bay boat 22", saltgrass, *entries) == entries, "the same again adds nothing"
    fewer = attrs.evolve(saltgrass, circuits=saltgrass.circuits[1:])
    again = kept("Bay boat 22", fewer, *entries, by="T. Quill")
    assert len(again) == 2 * len(entries), "each piece again, the circuit that is gone taken back"
    (template,) = templates_in(shop(*again))
    assert dict(template.facts) == shared_facts(fewer)

    dropped = [*again, *drop_template(Author("office", "M. Office"), shop(*again), "Bay boat 22", "sold no more")]
    assert templates_in(shop(*dropped)) == ()
    with pytest.raises(InputError, match="none is kept"):
        drop_template(Author("office", "M. Office"), shop(*dropped), "Bay boat 22", "again")


def test_a_boat_begun_from_a_template_is_as_one_begun_from_the_boat() -> None:
    kittiwake = sample("kittiwake")
    (template,) = templates_in(shop(*kept("Twin", kittiwake)))
    assert begun(template.facts) == begun(shared_facts(kittiwake))


def without_keep(entries: Sequence[Entry]) -> list[Entry]:
    """Templates as older programs wrote them: no entry says which keep it belongs to."""
    return [
        attrs.evolve(entry, fields={name: value for name, value in entry.fields.items() if name != "keep"})
        for entry in entries
    ]


def test_two_people_keep_one_name_at_once_and_each_stays_whole() -> None:
    """Both wrote without seeing the other: a boat with the engines of two would be no boat. The later has the name."""
    author = Author("office", "A")
    one = keep_template(author, shop(), "Twin", shared_facts(sample("kittiwake")))
    two = keep_template(attrs.evolve(author, tablet="yard", by="B"), shop(), "Twin", shared_facts(sample("long_reach")))
    later, earlier = templates_in(shop(*one, *two))
    assert templates_in(shop(*two, *one)) == (later, earlier)
    assert (later.name, later.by, dict(later.facts)) == ("Twin", "B", shared_facts(sample("long_reach")))
    assert dict(earlier.facts) == shared_facts(sample("kittiwake"))
    assert earlier.name.startswith("Twin (A, ")
    assert template_named([later, earlier], earlier.name) == earlier

    dropped = drop_template(author, shop(*one, *two), earlier.name, "B's it is")
    assert templates_in(shop(*one, *two, *dropped)) == (later,)
    assert templates_in(shop(*one, *two, *drop_template(author, shop(*one, *two), "twin", "neither"))) == ()
    (third,) = templates_in(shop(*kept("Twin", sample("saltgrass"), *one, *two)))
    assert dict(third.facts) == shared_facts(sample("saltgrass"))


def test_two_people_keep_the_same_boat_at_once_and_one_template_stands() -> None:
    one, two = kept("Twin", sample("kittiwake"), by="A"), kept("Twin", sample("kittiwake"), by="B")
    (there,) = templates_in(shop(*one, *two))
    assert dict(there.facts) == shared_facts(sample("kittiwake"))


def test_one_drops_a_template_while_another_keeps_it_and_no_half_of_it_is_left() -> None:
    saltgrass = sample("saltgrass")
    first = kept("Bay boat", saltgrass)
    dropped = drop_template(Author("office", "M. Office"), shop(*first), "Bay boat", "sold no more")
    more = attrs.evolve(saltgrass, circuits=(*saltgrass.circuits, Circuit(name="Horn")))
    (there,) = templates_in(shop(*kept("Bay boat", more, *first, by="B"), *dropped))
    assert dict(there.facts) == shared_facts(more)


def test_templates_of_older_programs_stand_as_before_until_one_is_kept_anew() -> None:
    one = without_keep(kept("Twin", sample("kittiwake"), by="A"))
    two = without_keep(kept("Twin", sample("long_reach"), by="B"))
    (there,), (back,) = templates_in(shop(*one, *two)), templates_in(shop(*two, *one))
    assert there == back
    assert {path[1] for path in there.facts if path[0] == "circuits"} == {
        circuit.name for name in ("kittiwake", "long_reach") for circuit in sample(name).circuits
    }
    (anew,) = templates_in(shop(*kept("Twin", sample("saltgrass"), *one, *two)))
    assert dict(anew.facts) == shared_facts(sample("saltgrass"))


def test_what_no_program_of_ours_wrote_under_a_template_hides_none() -> None:
    """Of a newer program, or damaged: no name, no piece, no lines."""
    author, first = Author("other", "B"), kept("Bay boat", sample("saltgrass"))
    strange: list[tuple[tuple[str, ...], JsonValue]] = [
        ((), [["maker", "Y"]]),
        (("Bay boat",), "no list"),
        (("Bay boat", "engines"), [["a", "b"]]),
        (("Bay boat", "engines", "centre", "more"), [["a", "b"]]),
        (("Other",), [[[1], "x"], [], [None, "y"]]),
    ]
    entries = [
        *first,
        *(author.write(shop(*first), TEMPLATE, subject, value, replaces=()) for subject, value in strange),
    ]
    (there,) = [one for one in templates_in(shop(*entries)) if one.by == "M. Office"]
    assert dict(there.facts) == shared_facts(sample("saltgrass"))
    assert keep_template(author, shop(*entries), "Bay boat", shared_facts(sample("kittiwake")))


def test_a_name_in_other_capitals_is_the_same_template() -> None:
    first = kept("Bay boat", sample("saltgrass"))
    assert [one.name for one in templates_in(shop(*kept("BAY  Boat", sample("kittiwake"), *first)))] == ["Bay boat"]
    assert kept("bay boat", sample("saltgrass"), *first) == first


@pytest.mark.parametrize("name", ["", "  ", "x" * 61])
def test_a_template_needs_a_name_of_some_letters(name: str) -> None:
    with pytest.raises(InputError, match="a name of 1 to 60 characters"):
        kept(name, sample("saltgrass"))


def test_a_boat_without_equipment_makes_no_template() -> None:
    with pytest.raises(InputError, match="one without"):
        kept("Empty", Vessel(hull_number=HULL))
