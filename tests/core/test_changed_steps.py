"""What a check file changes of the program's own steps and settings: never looser, never in silence, gone with it."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import attrs
import pytest
from click.testing import CliRunner

from changed_steps import ADD, CHECK, DROP, HEAD, LEAVE, LEFT_OUT, SAID, STRICTER
from garboard.commands.cli import program
from garboard.disk.hullfile import HullFolder
from garboard.faults import ValueRefused
from garboard.findings import Lack, Verdict
from garboard.history.authoring import signed_under
from garboard.history.exchange import stated_settings
from garboard.hosting.amended import is_left_out
from garboard.hosting.host import PluginHost, make_host
from garboard.hosting.unused import waiting_for
from garboard.job_view import Disagreement, JobView
from garboard.records import JsonValue, Measurement, SignOff, StepState
from garboard.report.outline import by_phase, cautions, hand_over, nothing_to_put_right
from garboard.settings import SHOP, SettingSet, refuse_looser
from garboard.steps import LEFT_OUT as STATE
from garboard.testing import job_from
from setting_jobs import sign, take_in, view_in

BOAT: dict[str, JsonValue] = {
    "vessel": {
        "hull_number": "QQZ01209A626",
        "engines": [{"position": one} for one in ("port", "centre", "starboard")],
    },
    "job": {"id": "one"},
}
LIGHTS = "handover.lights_and_horn"


@cache
def plain() -> PluginHost:
    return make_host(entry_points=False)


def host_of(folder: Path, text: str = CHECK, name: str = "rail") -> PluginHost:
    file = folder / f"{name}.toml"
    file.write_text(text)
    host = make_host(entry_points=False, files=[file])
    assert host.problems == []
    return host


@pytest.fixture(scope="module")
def host(tmp_path_factory: pytest.TempPathFactory) -> PluginHost:
    return host_of(tmp_path_factory.mktemp("rail"))


@pytest.fixture
def view() -> JobView:
    return job_from(BOAT, plain())


def with_value(view: JobView, step: str, field: str, value: object, row: str = "") -> JobView:
    one = Measurement(step=step, field=field, value=value, row=row)  # type: ignore[arg-type]
    return attrs.evolve(view, measurements=(*view.measurements, one))


def codes(host: PluginHost, view: JobView, step: str) -> list[tuple[str, Verdict]]:
    return [(one.finding.code, one.finding.verdict) for one in host.assess(view, [step])]


# ---- left out


def test_a_step_left_out_is_told_once_and_never_passes(host: PluginHost, view: JobView) -> None:
    (found,) = host.assess(view, [LEFT_OUT])
    assert (found.finding.code, found.finding.verdict) == (f"{LEFT_OUT}.left_out", Verdict.NOT_ENOUGH_DATA)
    assert found.finding.sentence == SAID
    assert [one.lack for one in found.finding.missing] == [Lack.LEFT_OUT]
    assert found.finding.code in host.codes()
    everything = host.assess(view)
    (step,) = (
        one
        for phase in by_phase(view, host, everything)
        for one in phase.steps
        if one.step and one.step.key == LEFT_OUT
    )
    assert (step.state, [one.finding for one in step.found]) == (STATE, [found.finding])
    assert "1 left out by the shop" in hand_over(view, everything, ()).lacking
    assert "the shop left out 1 step" in nothing_to_put_right(everything)


def test_everything_else_of_the_job_is_judged_as_before(host: PluginHost, view: JobView) -> None:
    def others(found: PluginHost) -> list[object]:
        return [one.finding for one in found.assess(view) if one.step != LEFT_OUT and one.plugin != "rail"]

    assert others(host) == others(plain())


def test_its_cautions_stay(host: PluginHost, view: JobView) -> None:
    assert cautions(view, host) == cautions(view, plain())
    step, before = host.step(LEFT_OUT), plain().step(LEFT_OUT)
    assert step is not None
    assert before is not None
    assert step.cautions == before.cautions != ()


@pytest.mark.parametrize("what", ["another kind of job", "nobody has said which engines"])
def test_where_the_condition_does_not_surely_hold_the_step_is_done(host: PluginHost, view: JobView, what: str) -> None:
    yearly = attrs.evolve(view, job=attrs.evolve(view.job, kind="yearly check"))
    unknown = attrs.evolve(view, vessel=attrs.evolve(view.vessel, engines=()))
    other = yearly if what == "another kind of job" else unknown
    assert not any(map(is_left_out, host.assess(other)))
    assert host.assess(other, [LEFT_OUT]) == plain().assess(other, [LEFT_OUT])


def test_a_fail_stays_a_fail_and_what_was_entered_is_still_judged(host: PluginHost, view: JobView) -> None:
    begun = with_value(view, LEFT_OUT, "no_alarm", False, "")
    before = [one.finding for one in plain().assess(begun, [LEFT_OUT])]
    said, *found = (one.finding for one in host.assess(begun, [LEFT_OUT]))
    assert found == before
    assert said.sentence == f"{SAID} What was entered all the same is judged."


def test_what_is_not_fitted_stays_not_fitted(host: PluginHost, view: JobView) -> None:
    absent = attrs.evolve(view, steps=(StepState(step=LEFT_OUT, state="not fitted"),))
    assert host.assess(absent, [LEFT_OUT]) == plain().assess(absent, [LEFT_OUT])


def test_a_job_keeps_what_it_was_signed_under(tmp_path: Path) -> None:
    """Signed with the check it stays left out without it; signed without, the check changes nothing of it."""
    with_check = host_of(tmp_path, CHECK.replace("engines == 3", "engines == 1"))
    with HullFolder(tmp_path / "with") as hulls:
        hull = take_in(hulls, signed=False)
        sign(hulls, hull, with_check)
        later = view_in(hulls, hull, plain())
        (told,) = (one.finding for one in plain().assess(later) if is_left_out(one))
        assert told.sentence.startswith(f"{SAID} The job was signed so.")
        assert (later.settings[DROP], later.settings_used[DROP].set[0].reason) == ("2 %", "our boats are long")
        assert [key for key in stated_settings(later, plain().settings) if key.startswith("left_out")] == []
    with HullFolder(tmp_path / "without") as hulls:
        hull = take_in(hulls, signed=False)
        sign(hulls, hull, plain())
        now = view_in(hulls, hull, with_check)
        assert not any(map(is_left_out, with_check.assess(now)))
        assert (now.settings[DROP], [one.value for one in now.settings_used[DROP].shop_now]) == ("3 %", ["2 %"])


def test_of_two_signatures_both_must_have_left_it_out(host: PluginHost, view: JobView) -> None:
    stated = signed_under(host.with_defaults(view))
    one, other = (SignOff(role="technician", name=name, settings=stated) for name in ("R. Vane", "N. Sorrel"))
    both = attrs.evolve(view, sign_offs=(one, other))
    assert [*plain().with_defaults(both).left_out] == [LEFT_OUT]
    first = attrs.evolve(view, sign_offs=(one, attrs.evolve(other, settings={})))
    assert plain().with_defaults(first).left_out == {}


# ---- stricter


def set_by_shop(view: JobView, value: str) -> JobView:
    return attrs.evolve(view, settings_set=(SettingSet(key=DROP, value=value, source=SHOP, by="Kim"),))


@pytest.mark.parametrize(("shops", "holds"), [("", "2 %"), ("5 %", "2 %"), ("1 %", "1 %"), ("2.0 %", "2.0 %")])
def test_the_stricter_of_the_checks_and_the_shops_limit_holds(
    host: PluginHost, view: JobView, shops: str, holds: str
) -> None:
    ready = host.with_defaults(set_by_shop(view, shops) if shops else view)
    assert ready.settings[DROP] == holds
    used = ready.settings_used[DROP]
    assert used.set[0].by == ("Kim" if shops == holds else "R. Vane in the check Rail 2")
    assert plain().with_defaults(view).settings[DROP] == "3 %"


def test_what_is_looser_is_refused_where_it_is_set(host: PluginHost, tmp_path: Path) -> None:
    refuse_looser(host.settings, "2 %", DROP)
    refuse_looser(host.settings, "1 %", DROP)
    refuse_looser(plain().settings, "5 %", DROP)
    with pytest.raises(ValueRefused, match=r"at most 2 %, asked for by R. Vane in the check Rail 2"):
        refuse_looser(host.settings, "2.5 %", DROP)
    with HullFolder(tmp_path):
        pass
    (tmp_path / "rail.toml").write_text(CHECK)
    args = ["--plugin", str(tmp_path / "rail.toml"), "settings", "set", str(tmp_path), DROP, "2.5 %"]
    result = CliRunner().invoke(program, [*args, "--by", "Kim", "--reason", "ours"])
    assert (result.exit_code, "at most 2 %" in result.stderr) == (2, True), result.output


def test_of_two_checks_the_stricter_one_holds(tmp_path: Path, view: JobView) -> None:
    files = []
    for name, value in (("aaa", "1 %"), ("zzz", "2 %")):
        files.append(tmp_path / f"{name}.toml")
        files[-1].write_text((HEAD + STRICTER).replace('"rail"', f'"{name}"').replace("2 %", value))
    for order in (files, files[::-1]):
        assert make_host(entry_points=False, files=order).with_defaults(view).settings[DROP] == "1 %"


# ---- asked besides


def test_a_field_besides_is_stored_under_the_checks_name_and_judged_with_the_steps_own(
    host: PluginHost, view: JobView
) -> None:
    step, before = host.step(LIGHTS), plain().step(LIGHTS)
    assert step is not None
    assert before is not None
    assert step.fields == (*before.fields, step.fields[-1])
    assert step.fields[-1].name == "rail.whistle"
    own = [one for one in codes(host, view, LIGHTS) if one[0].startswith("rail")]
    assert own == [("rail.whistle.not_enough_data", Verdict.NOT_ENOUGH_DATA)]
    heard = with_value(view, LIGHTS, "horn", True)
    assert ("rail.whistle.not_heard", Verdict.FAIL) in codes(
        host, with_value(heard, LIGHTS, "rail.whistle", False), LIGHTS
    )
    assert ("rail.whistle.heard", Verdict.PASS) in codes(host, with_value(heard, LIGHTS, "rail.whistle", True), LIGHTS)


def test_without_the_check_what_was_entered_for_it_is_kept_and_named(tmp_path: Path, view: JobView) -> None:
    kept = with_value(view, LIGHTS, "rail.whistle", False)
    assert plain().with_defaults(kept).measurements == kept.measurements
    assert waiting_for(kept, plain()) == {"the check rail": 1}
    assert waiting_for(kept, host_of(tmp_path)) == {}
    measurements: list[JsonValue] = [{"step": LIGHTS, "field": "rail.whistle", "value": False}]
    (tmp_path / "job.json").write_text(
        json.dumps({"format": "garboard job", "version": 1, **BOAT, "measurements": measurements})
    )
    result = CliRunner().invoke(program, ["assess", str(tmp_path / "job.json")])
    assert result.exit_code == 0, result.output
    assert "the check rail is not here; its rail.whistle is kept" in " ".join(result.stdout.split())


def test_a_column_of_a_built_in_table_is_judged_in_each_row(tmp_path: Path, view: JobView) -> None:
    text = f"""{HEAD}
[[add_to]]
name = "steps"
step = "fuel_curve.steps"
[[add_to.read]]
name = "knots"
field = "speed_out"
[[result]]
name = "knots"
title = "Speed"
step = "steps"
rows = "steps"
about = "row {{row}}"
numbers = ["knots"]
[[result.limit]]
number = "knots"
high = 30
[[result.case]]
verdict = "fail"
code = "fast"
when = "knots > '30 kn'"
sentence = "Row {{row}} makes {{knots}}."
[[result.case]]
verdict = "pass"
code = "slow"
sentence = "Row {{row}} makes {{knots}}."
"""
    host = host_of(tmp_path, text)
    run = with_value(
        with_value(view, "fuel_curve.steps", "speed_out", "20 kn", "1"),
        "fuel_curve.steps",
        "speed_out",
        "31 kn",
        "2",
    )
    found = [one.finding for one in host.assess(run, ["fuel_curve.steps"]) if one.plugin == "rail"]
    assert [(one.code, one.sentence) for one in found] == [
        ("rail.knots.slow", "Row 1 makes 20 kn."),
        ("rail.knots.fast", "Row 2 makes 31 kn."),
    ]
    assert found[1].places == (("fuel_curve.steps", "speed_out", "2", ""),)


OF_EACH = f"""{HEAD}
[[add_to]]
name = "rigged"
step = "engine_trial.as_rigged"
[[add_to.field]]
name = "over"
title = "Height our yard wants"
kind = "amount"
unit = "in"
each = "engines"
[[add_to.read]]
name = "height"
field = "height"
[[add_to]]
name = "trim"
step = "handover.trim_and_tabs"
[[add_to.read]]
name = "stays"
field = "stays_up"
[[result]]
name = "height"
title = "Height"
step = "rigged"
rows = "engines"
about = "{{row}}"
[[result.case]]
verdict = "fail"
code = "low"
when = "height < over and stays"
sentence = "The {{row}} engine hangs at {{height}}. Lift it to {{over}}."
[[result.case]]
verdict = "pass"
code = "right"
sentence = "It hangs at {{height}}."
"""


def test_what_a_built_in_step_asks_of_each_engine_is_judged_of_each(tmp_path: Path, view: JobView) -> None:
    """A column of a table whose rows are engines, a field asked of each, and one that the check asks of each."""
    host = host_of(tmp_path, OF_EACH)
    entered: list[tuple[str, str, JsonValue]] = [
        ("engine_trial.as_rigged", "height", "1 in"),
        ("engine_trial.as_rigged", "rail.over", "2 in"),
        ("handover.trim_and_tabs", "stays_up", True),
    ]
    given = [Measurement(step=step, field=field, value=value, of="port") for step, field, value in entered]
    run = attrs.evolve(view, measurements=(*view.measurements, *given))
    found = {
        one.finding.of: one.finding for one in host.assess(run, ["engine_trial.as_rigged"]) if one.plugin == "rail"
    }
    assert found["port"].sentence == "The port engine hangs at 1 in. Lift it to 2 in."
    assert found["port"].places == tuple((step, field, "", "port") for step, field, _ in entered)
    assert {lack.field for lack in found["starboard"].missing} == {"height", "rail.over", "stays_up"}


# ---- refused


WRONG = {
    "no such step": (LEAVE, LEFT_OUT, "handover.mast", "handover"),
    "no reason": (LEAVE, 'reason = "the engines are run in at the maker\'s"\n', "", "reason"),
    "nobody": (LEAVE, 'by = "R. Vane"\n', "", "by"),
    "no day": (LEAVE, "2026-05-14", "yesterday", "on"),
    "no condition": (LEAVE, "when = ", "# when = ", "when"),
    "no fact": (LEAVE, "engines == 3", "masts == 3", "when"),
    "no comparison": (LEAVE, "job_kind == 'commissioning' and engines == 3", "engines + 1", "when"),
    "wrong unit": (LEAVE, "engines == 3", "length < '3 kg'", "when"),
    "no such setting": (STRICTER, DROP, "wiring_audit.drop", "setting"),
    "neither way stricter": (STRICTER, f'{DROP}"\nvalue = "2 %"', 'wiring_audit.capacity"\nvalue = "2 %"', "setting"),
    "looser": (STRICTER, "2 %", "4 %", "value"),
    "as it is": (STRICTER, "2 %", "3.0 %", "value"),
    "out of range": (STRICTER, "2 %", "0 %", "value"),
    "another unit": (STRICTER, "2 %", "2 kg", "value"),
    "twice": (STRICTER + STRICTER, "", "", "setting"),
    "no field of it": (ADD, 'field = "horn"', 'field = "bell"', "field"),
    "asked of each": (ADD.replace(LIGHTS, "engine_trial.as_rigged"), 'field = "horn"', 'field = "rigged"', "field"),
    "asked of each in each row": (
        ADD.replace(LIGHTS, "prop_check.full_throttle"),
        'field = "horn"',
        'field = "engine_speed"',
        "field",
    ),
    "a kind's name twice": (
        ADD.replace(LIGHTS, "handover.trim_and_tabs").replace('name = "whistle"\ntitle', 'name = "engines"\ntitle', 1),
        'field = "horn"',
        'field = "full_trim"',
        "field",
    ),
    "a table's name twice": (
        ADD.replace(LIGHTS, "fuel_curve.steps").replace('name = "whistle"\ntitle', 'name = "steps"\ntitle', 1),
        'field = "horn"',
        'field = "speed_out"',
        "field",
    ),
    "a name twice": (ADD, 'name = "horn"', 'name = "whistle"', "name"),
}


@pytest.mark.parametrize(("part", "what", "instead", "place"), WRONG.values(), ids=[*WRONG])
def test_a_wrong_change_is_told_with_its_line_and_changes_nothing(
    tmp_path: Path, part: str, what: str, instead: str, place: str
) -> None:
    assert what in part
    file = tmp_path / "rail.toml"
    file.write_text(HEAD + (part.replace(what, instead) if what else part))
    host = make_host(entry_points=False, files=[file])
    assert host.problems
    assert all(problem.line > 1 and problem.reason for problem in host.problems)
    assert any(place in problem.reason for problem in host.problems), host.problems
    assert (host.steps, host.settings) == (plain().steps, plain().settings)


def test_the_example_in_the_manual_works(tmp_path: Path, view: JobView) -> None:
    manual = (Path(__file__).parents[2] / "plugins" / "CHECKS.md").read_text(encoding="utf-8")
    example = manual.partition("<!-- change example -->\n```toml\n")[2].partition("```")[0]
    host = host_of(tmp_path, example, "yearly")
    vessel = attrs.evolve(view.vessel, engines=view.vessel.engines[:1])
    yearly = attrs.evolve(view, job=attrs.evolve(view.job, kind="yearly check"), vessel=vessel)
    quiet = with_value(with_value(yearly, LIGHTS, "horn", True), LIGHTS, "yearly.whistle", False)
    found = {one.finding.code for one in host.assess(quiet)}
    assert {"handover.thruster.left_out", "yearly.whistle.not_heard"} <= found
    assert host.with_defaults(quiet).settings[DROP] == "2 %"


def test_a_step_of_the_shops_own_stands_between_two_built_in_ones(tmp_path: Path) -> None:
    step = (
        '[[step]]\nname = "mast"\ntitle = "Mast"\nphase = "alongside"\norder = 345\n'
        '[[step.field]]\nname = "up"\ntitle = "Mast up"\nkind = "yes or no"\n'
    )
    keys = [one.key for one in host_of(tmp_path, f"{HEAD}{step}{STRICTER}").steps]
    place = keys.index("rail.mast")
    assert keys[place - 1 : place + 2] == ["handover.bilge_pumps", "rail.mast", LIGHTS]


def test_fields_of_one_title_are_told_to_the_author_by_their_names(tmp_path: Path) -> None:
    """In a step of its own, in a table, and beside a field of a built-in step: a person sees two lines alike."""
    beside = f"""
[[add_to]]
name = "lights"
step = "{LIGHTS}"
[[add_to.field]]
name = "second_horn"
title = "Horn sounds"
kind = "yes or no"
"""
    step = """
[[step]]
name = "mast"
title = "Mast"
phase = "alongside"
order = 5
[[step.field]]
name = "up"
title = "Mast up"
kind = "yes or no"
[[step.field]]
name = "upright"
title = "Mast up"
kind = "yes or no"
[[step.field]]
name = "stays"
title = "Stays"
kind = "table"
[[step.field.column]]
name = "pull"
title = "Pull"
kind = "amount"
unit = "lb"
[[step.field.column]]
name = "pull_aft"
title = "pull"
kind = "amount"
unit = "lb"
"""
    (horn,) = [one.title for each in plain().steps if each.key == LIGHTS for one in each.fields if one.name == "horn"]
    host = host_of(tmp_path, f"{HEAD}{step}{beside.replace('Horn sounds', horn)}{STRICTER}")
    told = {one.reason.partition(" are both")[0] for one in host.faults if one.code == "same_title" and one.at_work}
    assert told == {
        "fields 'up' and 'upright' of step 'rail.mast'",
        "fields 'pull' and 'pull_aft' of table 'stays' in step 'rail.mast'",
        f"fields 'horn' and 'rail.second_horn' of step '{LIGHTS}'",
    }


def test_what_a_check_changes_is_listed_with_what_it_offers(tmp_path: Path) -> None:
    (tmp_path / "rail.toml").write_text(CHECK)
    result = CliRunner().invoke(program, ["--plugin", str(tmp_path / "rail.toml"), "plugins"])
    for line in (
        f"  steps left out: {LEFT_OUT}",
        f"  settings made stricter: {DROP} (2 %)",
        f"  fields of built-in steps: {LIGHTS}/rail.whistle",
    ):
        assert line in result.stdout.splitlines()


def test_no_setting_that_can_be_made_stricter_has_another_it_must_not_lie_above() -> None:
    """A check would have to mind the pair, too: `check_pairs` does so where a person sets one."""
    settings = plain().settings
    paired = {key for one in settings if one.at_most for key in (one.key, *one.at_most)}
    assert [one.key for one in settings if one.stricter and one.key in paired] == []


def test_a_step_is_done_while_what_decides_it_is_in_dispute(tmp_path: Path, view: JobView) -> None:
    """Left out where nobody said how long the boat is; two tablets did."""
    text = HEAD + LEAVE.replace("job_kind == 'commissioning' and engines == 3", "not given(length)")
    host = host_of(tmp_path, text)
    both = tuple(Measurement(step="vessel", field="length", value=length) for length in ("18 ft", "30 ft"))
    disputed = attrs.evolve(view, disagreements=(Disagreement(place=("vessel", "length", "", ""), values=both),))
    for job, is_out in ((view, True), (disputed, False)):
        assert any(is_left_out(one) for one in host.assess(job, [LEFT_OUT])) is is_out
