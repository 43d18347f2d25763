"""Equipment of a plugin's own kind: merged by name, kept without the plugin, asked, printed, exported."""

from __future__ import annotations

import json
from pathlib import Path

import attrs
import pytest
from click.testing import CliRunner

from garboard.commands.cli import program
from garboard.disk.entries import Entry
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.findings import OF_VESSEL
from garboard.history.authoring import measure, settle
from garboard.history.boat import open_hull
from garboard.history.exchange import import_job, job_file_of
from garboard.history.like import begin_like, keep_template, shared_facts, templates_in
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard.hosting.failures import PluginFault
from garboard.hosting.host import PluginHost, make_host
from garboard.hosting.titles import name_in_words
from garboard.hosting.unused import not_used, waiting_for
from garboard.hosting.watching import watched
from garboard.job_files.job_file import JOB_FILE, check, job_file_text, parse_job_file
from garboard.job_files.unrecognised import unrecognised
from garboard.job_view import Disagreement
from garboard.judging.assessing import questions
from garboard.records import JsonValue, Vessel
from garboard.report.data_tables import _facts
from garboard.report.equipment import equipment_tables
from garboard.report.outline import by_phase, cautions
from garboard.steps import is_open, state_shown
from garboard.testing import as_data, job_from, judge, load
from histories import HULL, JOB, Tablet, tablet

TRAILERS, REELS = "trailer.trailers", "reels.downriggers"
FILE = Path(__file__).parent / "own_checks" / "trailer" / "trailer.toml"
WITHOUT = make_host((), entry_points=False)


@pytest.fixture(scope="module")
def host() -> PluginHost:
    return load(FILE, FILE.parents[1] / "reels" / "reels.toml", built_in=False)


def says(one: Tablet, name: str, **facts: JsonValue) -> list[Entry]:
    """What a tablet writes where a trailer is entered on it."""
    return [
        one.write(one.author.write(one.state, "field", (TRAILERS, name, field), value))
        for field, value in {"name": name, **facts}.items()
    ]


def both(*tablets: Tablet) -> HullState:
    return replay(HULL, [entry for one in tablets for entry in one.held.values()])


def aboard(state: HullState, kind: str = TRAILERS) -> dict[str, object]:
    return {name: dict(piece.more) for name, piece in state.vessel()[0].of_kind(kind).items()}


def test_two_tablets_that_add_one_of_a_name_have_one_and_what_differs_is_settled(
    host: PluginHost, tmp_path: Path
) -> None:
    """No program here has the plugin while it merges: the key alone says that it is equipment."""
    a, b = tablet("a"), tablet("b")
    a.write(measure(a.author, a.state, JOB, "trailer.weights", "on_axles", "4000 lb", of="road"))
    says(a, "road", gvwr="5000 lb", tyres=4)
    says(b, "road", gvwr="5000.0 lb", gawr="4000 lb", tyres=6)
    says(b, "yard", gvwr="2 t")
    state = both(a, b)
    assert aboard(state) == {"road": {"gvwr": "5000.0 lb", "gawr": "4000 lb"}, "yard": {"gvwr": "2 t"}}
    assert aboard(both(b, a)) == aboard(state), "in any order"
    with HullFolder(tmp_path) as folder:
        for entry in (*a.held.values(), *b.held.values()):
            folder.save(entry)
        view = open_hull(folder, HULL).view(JOB)
    assert name_in_words(f"{TRAILERS}/road/tyres", host) == "trailer road: Tyres on the road"
    (told,) = [one.text for one in questions(view, host) if "Neither is used" in one.text]
    assert told.startswith("trailer road: Tyres on the road: 4")
    assert view.in_dispute(OF_VESSEL, f"{TRAILERS}.tyres", of="road")
    lacking = as_data(judge(view, host, "trailer.axles"))[0]["missing"]
    assert ("values disagree", "road") in {(one["lack"], one["of"]) for one in lacking}
    key = RegisterKey("field", "", (TRAILERS, "road", "tyres"))
    a.held = {entry.id: entry for entry in (*a.held.values(), *b.held.values())}
    a.write(settle(a.author, a.state, key, 4, "counted"))
    assert aboard(both(a, b))["road"] == {"gvwr": "5000.0 lb", "gawr": "4000 lb", "tyres": 4}


def test_a_piece_that_was_removed_is_gone_and_a_piece_elsewhere_with_its_values_stays() -> None:
    a = tablet("a")
    says(a, "road", gvwr="5000 lb")
    says(a, "yard", gvwr="900 lb")
    a.write(a.author.write(a.state, "field", (TRAILERS, "road", "removed"), True))
    assert aboard(a.state) == {"yard": {"gvwr": "900 lb"}}


JOB_WITH: dict[str, JsonValue] = {
    "vessel": {
        "hull_number": HULL,
        TRAILERS: [{"name": "road", "gvwr": "5000 lb", "gawr": "4400 pounds", "tyres": 4, "tyre_load": None}],
        REELS: [{"name": "port", "boom": "4 ft", "mount_load": "30 lb"}],
    },
    "job": {"id": JOB},
    "measurements": [
        {"step": "trailer.weights", "field": "on_axles", "of": "road", "value": "4000 lb"},
        {"step": "trailer.weights", "field": "tongue", "of": "road", "value": "450 lb"},
    ],
}


def text_of(job: dict[str, JsonValue]) -> str:
    return json.dumps({"format": JOB_FILE.name, "version": JOB_FILE.version, **job})


def test_a_job_file_goes_through_a_program_without_the_plugin_and_nothing_is_lost(
    host: PluginHost, tmp_path: Path
) -> None:
    read = parse_job_file(text_of(JOB_WITH), "job.json", WITHOUT)
    with HullFolder(tmp_path) as folder:
        import_job(folder, read, tmp_path, tablet("a").author)
        boat = open_hull(folder, HULL)
        exported = job_file_of(boat.view(JOB))
    again = parse_job_file(job_file_text(exported), "again.json", host)
    assert again.vessel.more[REELS] == [{"name": "port", "boom": "4 ft", "mount_load": "30 lb"}]
    trailer = {
        "name": "road",
        "gvwr": "5000 lb",
        "gawr": "4400 lb",
        "tyres": 4,
    }  # "pounds" is spelled as the program does
    assert again.vessel.more[TRAILERS] == [trailer]
    codes = {one["code"] for one in as_data(judge(boat.view(JOB), host)) if one["verdict"] == "pass"}
    assert {"trailer.plate.within", "trailer.tongue.balanced"} <= codes
    assert waiting_for(boat.view(JOB), WITHOUT)["the plugin trailer"] == 5  # three facts, two values of its step
    assert ("vessel.trailer.trailers", True) in {
        (path, "needs the plugin trailer" in said) for path, said in unrecognised(exported, WITHOUT)
    }
    assert not [path for path, _ in unrecognised(exported, host) if "trailer" in path]


def test_without_its_plugin_a_table_shows_all_that_was_entered_and_names_what_it_needs(host: PluginHost) -> None:
    vessel = job_from(JOB_WITH, host).vessel
    titles = [table.title for table in equipment_tables(vessel, host.equipment)]
    assert titles == ["Downriggers", "Trailer"]
    at_work = {table.title: table for table in equipment_tables(vessel, host.equipment)}
    assert at_work["Trailer"].headings[0] == "Trailer"
    assert at_work["Trailer"].rows == (("road", "5000 lb", "4400 lb", "4"),), "a column nobody filled in is left out"
    bare = {table.title: table for table in equipment_tables(vessel, {})}
    assert bare["Trailers (needs the plugin trailer)"].rows == (("road", "5000 lb", "4400 lb", "4"),)
    facts = {row[:3]: row[3:] for row in _facts(vessel)}
    assert facts[TRAILERS, "road", "gvwr"] == ("5000 lb", 5000.0, "lb")
    assert facts[TRAILERS, "road", "tyres"] == ("4", None, "")
    assert facts[REELS, "port", "boom"] == ("4 ft", 4.0, "ft")


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"gvwr": "5000 kn"}, "vessel.trailer.trailers[0].gvwr"),
        ({"gvwr": "900000 lb"}, "vessel.trailer.trailers[0].gvwr"),
        ({"tyres": "4"}, "vessel.trailer.trailers[0].tyres"),
        ({"colour": "red"}, "vessel.trailer.trailers[0].colour"),
    ],
)
def test_a_fact_that_its_kind_does_not_take_is_told_with_its_place(
    host: PluginHost, change: dict[str, JsonValue], where: str
) -> None:
    job = parse_job_file(
        text_of({**JOB_WITH, "vessel": {"hull_number": HULL, TRAILERS: [{"name": "a", **change}]}}), ""
    )
    assert [fault.where for fault in check(job, host)] == [where]
    assert check(job, WITHOUT) == ()
    if "colour" not in change:  # what came by a merge is kept, and asked about
        view = attrs.evolve(job_from(JOB_WITH, host), vessel=job.vessel)
        assert any("Kept as it is" in one.text for one in questions(view, host))


@pytest.mark.parametrize("pieces", [[{"gvwr": "1 lb"}], [{"name": "a"}, {"name": "a"}], ["a"]])
def test_a_piece_without_a_name_of_its_own_is_refused(pieces: list[JsonValue]) -> None:
    with pytest.raises(InputError, match=r"trailer\.trailers"):
        parse_job_file(text_of({**JOB_WITH, "vessel": {"hull_number": HULL, TRAILERS: pieces}}), "job.json")


def test_what_is_of_the_model_comes_along_by_a_template_and_the_rest_does_not(host: PluginHost) -> None:
    """A downrigger's boom is of the model; a trailer is one boat's own."""
    facts = shared_facts(job_from(JOB_WITH, host).vessel, host.equipment)
    own = {path: value for path, value in facts.items() if "." in path[0]}
    assert own == {
        (REELS, "port", "name"): "port",
        (REELS, "port", "boom"): "4 ft",
        (REELS, "port", "mount_load"): "30 lb",
    }
    author, shop = tablet("a").author, replay("shop", [])
    (template,) = templates_in(replay("shop", keep_template(author, shop, "Bay boat", facts)))
    entries = begin_like(author, replay(HULL, []), template.facts)
    assert aboard(replay(HULL, entries), REELS) == {"port": {"boom": "4 ft", "mount_load": "30 lb"}}
    assert not any("." in path[0] for path in shared_facts(job_from(JOB_WITH, host).vessel))


def test_a_blank_job_explains_the_kind_and_has_the_pieces_that_are_asked_for(tmp_path: Path) -> None:
    run = CliRunner()
    words = ["--plugin", str(FILE), "new-job", str(tmp_path / "job.json"), HULL]
    assert run.invoke(program, [*words, "--piece", f"{TRAILERS}=road"]).exit_code == 0
    blank = json.loads((tmp_path / "job.json").read_text())
    (piece,) = blank["vessel"][TRAILERS]
    assert piece == {"name": "road", "gvwr": None, "gawr": None, "tyres": None, "tyre_load": None}
    assert "a weight in" in blank["explained"][f"{TRAILERS}.gvwr"]
    asked = [one for one in blank["measurements"] if one["step"] == "trailer.weights"]
    assert [(one["field"], one["of"]) for one in asked] == [("on_axles", "road"), ("tongue", "road")]
    read = parse_job_file(json.dumps(blank), "job.json", make_host((), entry_points=False, files=[FILE]))
    assert read.vessel.more == {TRAILERS: [{"name": "road"}]}, "null counts as not entered"
    words[3] = str(tmp_path / "other.json")
    told = run.invoke(program, [*words, "--piece", "trailer.sledges=a"])
    assert (told.exit_code, TRAILERS in told.output) == (2, True)


def test_values_of_a_piece_that_is_not_aboard_are_kept_and_named(host: PluginHost) -> None:
    measured: list[JsonValue] = [{"step": "trailer.weights", "field": "tongue", "of": "yard", "value": "300 lb"}]
    view = job_from({**JOB_WITH, "measurements": measured}, host)
    (told,) = not_used(view, host)
    assert (told.kind, told.why) == (TRAILERS, "not used: no trailer yard on this boat")
    (asked,) = (one.words for one in questions(view, host) if one.place and one.place[3] == "yard")
    assert asked == "Trailer aboard: road. 'yard' is not used. Is it right?"


def test_the_units_of_its_facts_count_for_what_the_boat_is_told_in() -> None:
    metric = Vessel(hull_number=HULL, more={TRAILERS: [{"name": "road", "gvwr": "2300 kg"}]})
    view = attrs.evolve(job_from({"vessel": {"hull_number": HULL}, "job": {"id": JOB}}), vessel=metric)
    assert view.unit_to_tell("lb") == "kg"


def test_a_misspelt_fact_is_told_to_the_author_and_not_taken_for_nothing_entered() -> None:
    """Facts of another plugin's kind may be asked for: nothing is entered where it is not at work."""
    host = load(FILE.parent / "trailer", built_in=False)
    view = watched(job_from(JOB_WITH, host), host.declared)
    assert view.value(OF_VESSEL, f"{TRAILERS}.gvwr", of="road") == "5000 lb"
    assert view.value(OF_VESSEL, f"{REELS}.load", of="port") is None
    with pytest.raises(PluginFault, match=r"has no such field; perhaps 'trailer\.trailers\.gvwr'"):
        view.value(OF_VESSEL, f"{TRAILERS}.gvrw", of="road")


def test_a_boat_without_the_equipment_is_not_judged_by_it_and_is_told_what_does_not_apply(host: PluginHost) -> None:
    """Of a shop's 200 boats 20 have a trailer: the other 180 are no boats with too little data."""
    view = job_from({"vessel": {"hull_number": HULL}, "job": {"id": JOB}}, host)
    step = host.step("trailer.weights")
    assert step is not None
    assert {one["code"] for one in as_data(host.assess(view))} == {
        "reels.base.not_enough_data",
        "reels.gaps.not_enough_data",
    }, "rods are rows of a step: nobody has looked at them yet"
    assert (state_shown(view, step), is_open(view, step)) == ("does not apply", False)
    (outlined,) = [one for phase in by_phase(view, host, ()) for one in phase.steps if one.step == step]
    assert outlined.lacks == "No trailer on this boat. If it has one, enter it."
    told = [one.text for one in cautions(view, host)]
    assert told == ["Keep hands off a downrigger's cable while the weight hangs on it."], "no wheels to chock"
    mixed = host.step("reels.fit")
    assert mixed is not None
    assert is_open(view, mixed), "it asks of rods, too"


@pytest.mark.parametrize("what", ["a piece", "a value of one", "two values of one"])
def test_a_boat_with_anything_entered_of_the_equipment_is_judged(host: PluginHost, what: str) -> None:
    job: dict[str, JsonValue] = {"vessel": {"hull_number": HULL}, "job": {"id": JOB}}
    if what == "a piece":
        job["vessel"] = {"hull_number": HULL, TRAILERS: [{"name": "road"}]}
    if what == "a value of one":
        job["measurements"] = [{"step": "trailer.weights", "field": "tongue", "of": "road", "value": "450 lb"}]
    view = job_from(job, host)
    if what == "two values of one":
        place = (OF_VESSEL, f"{TRAILERS}/road/tyres", "", "")
        view = attrs.evolve(view, disagreements=(Disagreement(place, ()),))
    step = host.step("trailer.weights")
    assert step is not None
    assert is_open(view, step)
    assert {one["verdict"] for one in as_data(judge(view, host, "trailer.plate"))} == {"not enough data"}
