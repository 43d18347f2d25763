"""The shop's own plugins on the page: a manager approves exactly what was shown, and only that runs."""

from __future__ import annotations

import hashlib
import time
from pathlib import Path
from types import ModuleType

import attrs
import pytest

from garboard.checks.file import check_of
from garboard.checks.refused import CheckRefused
from garboard.faults import in_number
from garboard.hosting.apart import MOST_CUTS, Apart
from garboard.hosting.failures import cure_of
from garboard.hosting.host import LoadedPlugin, make_host
from garboard.hosting.plugin_file import LARGEST
from garboard.hosting.sources import Source
from garboard.job_view import JobView
from garboard.records import Job, Measurement, Vessel
from garboard_shop.pages.check_form import asked, text_of_form
from garboard_shop.pages.plugins import files_to_run, passed_over, waiting
from garboard_shop.pages.summaries import jobs_of
from garboard_tablet.models.asks import asks_of_step
from hostile_checks import GOOD
from pages_rig import CHIEF, HAND, Browser, Form, Pages, form_to, words_of
from wrong_plugins import computing

SOURCE = '''
"""Our own check. <script>alert(1)</script>"""
from garboard import hookimpl
from garboard.steps import Phase, Step
__version__ = "7"

@hookimpl
def register_steps(register):
    register(Step(key="our_check.keel", title="Our own look at the keel", phase=Phase.ALONGSIDE, order=1))
'''
SHA256 = hashlib.sha256(SOURCE.encode()).hexdigest()


def put_file(pages: Pages, source: str = SOURCE, name: str = "our_check") -> None:
    pages.drop.mkdir(exist_ok=True)
    (pages.drop / f"{name}.py").write_text(source)


@pytest.fixture
def approved(pages: Pages, manager: Browser) -> Browser:
    put_file(pages)
    assert manager.send(form_to(manager.text("/plugins"), "/plugins/approve")).status_code == 303
    return manager


def test_a_file_that_waits_is_shown_with_its_hash_and_its_source_as_text(pages: Pages, manager: Browser) -> None:
    put_file(pages)
    source = manager.text("/plugins")
    assert SHA256 in source
    assert "def register_steps(register):" in source
    assert "<script>alert" not in source
    technician = pages.signed_in(HAND).text("/plugins")
    assert SHA256 in technician
    assert "/plugins/approve" not in technician


def test_the_heading_counts_what_runs_and_what_waits(pages: Pages, manager: Browser) -> None:
    assert "waiting for approval" not in words_of(manager.text("/plugins"))
    for name in ("our_check", "other"):
        put_file(pages, SOURCE.replace("our_check", name), name)
    assert "No plugin of the shop's own at work, 2 waiting for approval" in words_of(manager.text("/plugins"))
    form = form_to(manager.text("/plugins"), "/plugins/approve", name="other")
    assert manager.send(form).status_code == 303
    assert "1 plugin of the shop's own, 1 waiting for approval" in words_of(manager.text("/plugins"))


def test_an_approved_file_goes_to_the_tablets_and_says_who_approved_it(pages: Pages, approved: Browser) -> None:
    (plugin,) = pages.store.register.plugins()
    assert (plugin.name, plugin.sha256, plugin.approved_by) == ("our_check", SHA256, CHIEF)
    assert pages.store.hulls.attachments.get(SHA256) == SOURCE.encode()
    words = words_of(approved.text("/plugins"))
    assert f"by {CHIEF}" in words
    assert "waits for approval" not in words


def test_the_server_runs_what_is_approved_so_that_it_judges_as_the_tablets_do(pages: Pages, approved: Browser) -> None:
    files = files_to_run(pages.store, pages.drop.parent / "shop")
    host = make_host(files=files, entry_points=False)
    assert ("our_check", "7") in [(plugin.name, plugin.version) for plugin in host.plugins]
    assert host.step("our_check.keel") is not None


def test_an_approved_plugin_whose_file_is_damaged_is_no_matter_of_a_restart(pages: Pages, approved: Browser) -> None:
    assert "Restart the server: our_check was approved" in words_of(approved.text("/plugins"))
    file = pages.store.hulls.folder / "attachments" / SHA256
    file.chmod(0o600)
    file.write_bytes(SOURCE.replace("7", "8").encode())
    words = words_of(approved.text("/plugins"))
    assert "our_check: approved, but its file is not here whole." in words
    assert "Restart the server" not in words


def test_a_file_changed_after_it_was_shown_is_not_approved(pages: Pages, manager: Browser) -> None:
    put_file(pages)
    form = form_to(manager.text("/plugins"), "/plugins/approve")
    put_file(pages, SOURCE + "\n# something else\n")
    answer = manager.send(form)
    assert answer.status_code == 400
    assert "read it again" in words_of(answer.text)
    assert pages.store.register.plugins() == ()


def test_another_version_is_shown_with_what_differs_from_the_last_one(pages: Pages, approved: Browser) -> None:
    assert "Changes since" not in words_of(approved.text("/plugins"))
    put_file(pages, SOURCE.replace('"7"', '"8"'))
    words = words_of(approved.text("/plugins"))
    assert "Changes since the last approved version" in words
    assert "Changed: 1 line new, 1 line gone." in words
    assert '-__version__ = "7" +__version__ = "8"' in words
    put_file(pages, SOURCE, "other")
    assert words_of(approved.text("/plugins")).count("Changes since") == 1, "of a first version there are none"


def test_a_dry_run_says_what_it_adds_and_finds_and_approves_nothing(pages: Pages, manager: Browser) -> None:
    put_file(pages, computing("our_check", "yield found()"))
    page = manager.text("/plugins")
    assert "Dry run of our_check" in words_of(page)
    tried = manager.send(form_to(page, "/plugins/try"))
    words = words_of(tried.text)
    jobs = in_number(len([*jobs_of(pages.store)]), "job")
    assert f"It was tried on {jobs} of the shop's own and failed in none." in words
    assert "It adds 1 judgement: Check." in words
    boats = in_number(len({view.vessel.hull_number for view in jobs_of(pages.store)}), "boat gets", "boats get")
    assert f"{boats} 'fail'. It changes no verdict of other checks." in words
    assert pages.store.register.plugins() == ()
    put_file(pages, "raise RuntimeError('not today')")
    again = manager.send(form_to(manager.text("/plugins"), "/plugins/try"))
    assert "cannot be approved RuntimeError: not today [our_check.py, line 1]" in words_of(again.text)
    assert manager.send(form_to(page, "/plugins/try")).status_code == 400, "the file shown then is not there any more"


@pytest.mark.parametrize("name", ["../our_check", "none", "", "our_check.py"])
def test_only_a_file_that_waits_can_be_approved(pages: Pages, manager: Browser, name: str) -> None:
    put_file(pages)
    form = form_to(manager.text("/plugins"), "/plugins/approve")
    assert manager.send(form, name=name).status_code == 400
    assert pages.store.register.plugins() == ()


def test_a_file_that_does_not_load_goes_nowhere_and_says_why(pages: Pages, manager: Browser) -> None:
    put_file(pages, "raise RuntimeError('not today')")
    page = manager.text("/plugins")
    assert "No plugin of the shop's own at work, 1 waiting for approval" in words_of(page)
    answer = manager.send(form_to(page, "/plugins/approve"))
    assert answer.status_code == 400
    words = words_of(answer.text)
    assert "got one that does not: RuntimeError: not today [our_check.py, line 1]" in words
    assert "garboard-" not in words, "the copy it was tried as is gone"
    assert pages.store.register.plugins() == ()


def test_a_file_that_fails_in_one_of_the_shops_jobs_goes_nowhere_and_says_why(pages: Pages, manager: Browser) -> None:
    put_file(pages, computing("our_check", "1 / 0"))
    answer = manager.send(form_to(manager.text("/plugins"), "/plugins/approve"))
    assert answer.status_code == 400
    assert "division by zero" in words_of(answer.text)
    assert pages.store.register.plugins() == ()


def test_a_withdrawn_plugin_runs_no_more_and_can_be_approved_again(pages: Pages, approved: Browser) -> None:
    stale = form_to(approved.text("/plugins"), "/plugins/withdraw")
    (plugin,) = pages.store.register.plugins()
    pages.store.register.put_plugin(attrs.evolve(plugin, sha256="1" * 64))
    assert approved.send(stale).status_code == 409, "another edition was approved after the page was opened"
    pages.store.register.put_plugin(plugin)
    assert approved.send(form_to(approved.text("/plugins"), "/plugins/withdraw")).status_code == 303
    (plugin,) = pages.store.register.plugins()
    assert (plugin.is_withdrawn, plugin.withdrawn_by) == (True, CHIEF)
    assert files_to_run(pages.store, pages.drop.parent / "shop") == ()
    assert "our_check waits for approval" in words_of(approved.text("/plugins"))
    for file in pages.drop.iterdir():  # the shop has kept what it approved
        file.unlink()
    back = approved.send(form_to(approved.text("/plugins"), "/plugins/put-back"))
    assert back.status_code == 303
    (plugin,) = pages.store.register.plugins()
    assert (plugin.is_withdrawn, plugin.sha256, plugin.approved_by) == (False, SHA256, CHIEF)
    assert "/plugins/put-back" not in approved.text("/plugins")


def test_a_plugin_whose_file_was_altered_does_not_run(pages: Pages, approved: Browser) -> None:
    held = pages.store.hulls.attachments.folder / SHA256
    held.chmod(0o600)
    held.write_text(SOURCE + "import os\n")
    assert files_to_run(pages.store, pages.drop.parent / "shop") == ()


def test_what_cannot_be_approved_for_its_name_or_kind_is_told_with_what_to_do(pages: Pages, manager: Browser) -> None:
    put_file(pages)
    for name in ("X.PY", "my-checks.py", "Upper.py", "1st.py", "garboard_shop.py", "notes.txt", ".hidden.py"):
        (pages.drop / name).write_text(SOURCE)
    (pages.drop / "big.py").write_bytes(b"#" * (LARGEST + 1))
    (pages.drop / "package").mkdir()
    (pages.drop / "package" / "__init__.py").touch()
    (pages.drop / "folder.py").mkdir()
    (pages.drop / "empty").mkdir()
    assert {one.name for one in waiting(pages.drop, pages.store)} == {"our_check"}
    told = {one.name: (one.code, one.cure) for one in passed_over(pages.drop)}
    assert told == {
        "X": ("wrong_name", "call it x.py"),
        "my-checks": ("wrong_name", "call it my_checks.py"),
        "Upper": ("wrong_name", "call it upper.py"),
        "1st": ("wrong_name", "call it own_1st.py"),
        "garboard_shop": ("name_taken", cure_of("name_taken")),
        "big": ("too_large", cure_of("too_large")),
        "package": ("not_one_file", cure_of("not_one_file")),
        "folder": ("not_one_file", cure_of("not_one_file")),
    }
    words = words_of(manager.text("/plugins"))
    assert "our_check waits for approval" in words
    assert "it is called 'X.PY'" in words
    assert "(wrong_name). To do: call it x.py." in words


def test_what_was_left_out_in_mid_run_is_shown_with_code_and_cure(pages: Pages, manager: Browser) -> None:
    own = Apart(loaded={"slow": Source("slow.py"), "loops": Source("loops.py")})
    own._ran_out["slow"] = MOST_CUTS
    own._cuts["loops", "loops.check"] = ["took_too_long"] * MOST_CUTS
    plugins = [LoadedPlugin(name, "1", ModuleType(name)) for name in ("slow", "loops")]
    pages.desk.host = attrs.evolve(make_host((), entry_points=False), apart=own, plugins=plugins)
    words = words_of(manager.text("/plugins"))
    assert "does not run slow: took too long in 3 jobs" in words
    assert "[slow.py] (took_too_long). To do: end the loop, or compute less; it runs again at the next start." in words
    assert "runs Loops 1" in words
    assert "runs, but loops: its check loops.check was ended in 3 jobs" in words
    assert "runs Slow" not in words


def test_a_link_out_of_the_folder_is_not_followed(pages: Pages) -> None:
    pages.drop.mkdir()
    (pages.drop.parent / "outside.py").write_text(SOURCE)
    (pages.drop / "outside.py").symlink_to(pages.drop.parent / "outside.py")
    assert waiting(pages.drop, pages.store) == ()
    assert [one.code for one in passed_over(pages.drop)] == ["not_one_file"]


def test_a_check_file_is_approved_runs_and_its_next_version_says_what_it_changes(
    pages: Pages, manager: Browser, tmp_path: Path
) -> None:
    pages.drop.mkdir(exist_ok=True)
    (pages.drop / "rail.toml").write_text(GOOD)
    page = manager.text("/plugins")
    assert "It holds no code" in words_of(page)
    assert manager.send(form_to(page, "/plugins/approve")).status_code == 303
    (file,) = files_to_run(pages.store, tmp_path)
    assert file.name == "rail.toml"
    assert [plugin.version for plugin in make_host((), entry_points=False, files=[file]).plugins] == ["1"]
    later = GOOD.replace("default = 24", "default = 26").replace('edition = "1"', 'edition = "2"')
    (pages.drop / "rail.toml").write_text(later)
    page = manager.text("/plugins")
    words = words_of(page)
    assert "setting Least height (least), default was 24 and is 26" in words
    assert "-default = 24 +default = 26" in words
    tried = words_of(manager.send(form_to(page, "/plugins/try")).text)
    assert "It adds 1 step: Look at the rail." in tried, "this server does not run the first edition yet"
    assert manager.send(form_to(page, "/plugins/approve")).status_code == 303
    (file,) = files_to_run(pages.store, tmp_path)
    assert file.read_text() == later
    assert [one.approved_by for one in pages.store.register.plugins()] == [CHIEF]


def test_a_check_file_under_a_plugins_name_is_refused(pages: Pages, manager: Browser) -> None:
    put_file(pages, GOOD, "rail")
    (pages.drop / "code.toml").write_text(SOURCE)
    words = words_of(manager.text("/plugins"))
    assert "rail.py is a check file by its first line [rail.py] (wrong_name). To do: call it rail.toml." in words
    assert "code.toml is no check file by its first line [code.toml] (wrong_value). To do: begin it with" in words
    assert waiting(pages.drop, pages.store) == ()


TYPED = {
    "name": "rail", "title": "Rail", "edition": "1", "basis_kind": "shop rule", "basis_text": "a rail to lean on",
    "step_title": "Measure the rail", "step_phase": "alongside", "step_order": "397", "shared": "look_out",
    "table_name": "posts", "table_title": "Posts",
    "field0_name": "wood", "field0_title": "Made of", "field0_kind": "choice", "field0_choices": "teak, steel",
    "field1_name": "height", "field1_title": "Height above deck", "field1_kind": "amount", "field1_unit": "in",
    "field1_low": "10", "field1_high": "60", "field1_rows": "yes",
    "limit0_name": "least", "limit0_title": "Least height", "limit0_unit": "in", "limit0_low": "10",
    "limit0_high": "40", "limit0_default": "24", "limit0_stricter": "higher",
    "value0_name": "lowest", "value0_title": "Lowest post", "value0_formula": "min(height)", "value0_unit": "in",
    "result0_name": "height", "result0_title": "Height of the rail", "result0_about": "rail",
    "result0_number": "lowest", "result0_low": "least",
    "result0_case0_verdict": "fail", "result0_case0_code": "low", "result0_case0_when": "lowest < least",
    "result0_case0_sentence": "The lowest post is {lowest} high. Raise it to {least}.",
    "result0_case1_verdict": "pass", "result0_case1_code": "high", "result0_case1_sentence": "It is {lowest} high.",
}  # fmt: skip


OWN_CHECKS = Path(__file__).parents[2] / "core" / "own_checks"


def blank_check(manager: Browser) -> Form:
    """The form with no box ticked."""
    form = form_to(manager.text("/plugins/new-check"), "/plugins/new-check/look", name="")
    return attrs.evolve(form, inputs=[one for one in form.inputs if one.get("type") != "checkbox"])


def test_a_manager_writes_a_check_on_the_page_sees_what_the_tablet_asks_and_approves_it(
    pages: Pages, manager: Browser, tmp_path: Path
) -> None:
    empty = blank_check(manager)
    wrong = manager.send(empty, **{**TYPED, "field1_unit": "furlong"})
    assert "Field 2, Unit: expected one of" in words_of(wrong.text)
    assert "furlong" in wrong.text  # what was typed stays
    assert "/plugins/new-check/approve" not in wrong.text
    seen = manager.send(empty, **TYPED).text
    assert "It changes no verdict of other checks." in words_of(seen)
    assert "It adds 1 step: Measure the rail." in words_of(seen)
    assert pages.store.register.plugins() == ()
    assert manager.send(form_to(seen, "/plugins/new-check/approve")).status_code == 303
    (plugin,) = pages.store.register.plugins()
    assert (plugin.name, plugin.approved_by) == ("rail", CHIEF)
    (file,) = files_to_run(pages.store, tmp_path)
    host = make_host((), entry_points=False, files=[file])
    (step,) = host.steps
    row = Measurement(step="rail.rail", field="height", row="1", value="20 in")
    view = JobView(vessel=Vessel(hull_number="QQZ04417D626"), job=Job(id="J-1"), measurements=(row,))
    (found,) = host.assess(view)
    assert found.finding.sentence == "The lowest post is 20.0 in high. Raise it to 24 in."
    tablet = [(ask.field.title, ask.field.unit, ask.field.choices) for ask in asks_of_step(step, view)]
    page = asked(check_of(file.read_bytes()))["rail.rail"]
    assert [(one.title, one.unit, one.choices) for one in page] == tablet
    words = words_of(seen)
    places = [words.index(text) for text in (step.cautions[0].text, *(title for title, _, _ in tablet))]
    assert places == sorted(places)
    again = manager.text("/plugins/new-check?check=rail")
    assert "lowest &lt; least" in again


BESIDES = {
    "field2_name": "arm", "field2_title": "Distance from the bow", "field2_kind": "amount", "field2_unit": "ft",
    "field2_rows": "yes",
    "result0_figure_title": "Posts from the bow", "result0_figure_x": "arm", "result0_figure_x_label": "From the bow",
    "result0_figure_y": "height", "result0_figure_y_label": "Height",
    "section_title": "The rail", "section_order": "520", "section_text": "We lean on every rail.",
}  # fmt: skip
CHANGES = {
    "name": "yearly", "title": "Yearly check", "edition": "1", "basis_kind": "shop rule", "basis_text": "our own",
    "leave0_step": "engine_trial.under_load", "leave0_when": "engines == 3", "leave0_reason": "run in at the maker's",
    "stricter0_setting": "wiring_audit.drop_critical", "stricter0_value": "2 %", "stricter0_reason": "long boats",
}  # fmt: skip


def test_the_form_gives_a_figure_and_a_part_of_the_book(pages: Pages) -> None:
    check = check_of(text_of_form({**TYPED, **BESIDES}, CHIEF, "2026-11-25").encode())
    chart, (section,) = check.results[0].chart, check.sections
    assert chart is not None
    assert (chart.x.text, [one.text for one in chart.y], chart.units) == ("arm", ["height"], ("ft", "in"))
    assert (section.title, section.order, section.results) == ("The rail", 520, ("height",))


TRAILER = {
    "name": "trailer", "title": "Trailer", "edition": "1", "basis_kind": "shop rule", "basis_text": "our own",
    "kind_name": "trailers", "kind_title": "Trailers", "kind_one": "trailer", "kind_names": "road, yard",
    "kind_only": "yes",
    "fact0_name": "plate", "fact0_title": "Most weight, by its plate", "fact0_kind": "amount", "fact0_unit": "lb",
    "fact0_low": "500", "fact0_high": "20000", "fact0_model": "yes",
    "step_title": "Weigh the trailer", "step_phase": "hand over", "step_order": "601",
    "field0_name": "weight", "field0_title": "Weight with the boat on it", "field0_kind": "amount",
    "field0_unit": "lb", "field0_each": "piece of its own equipment",
    "field1_name": "label", "field1_title": "Label of the engine", "field1_kind": "text", "field1_each": "engines",
    "value0_name": "room", "value0_title": "Left of what it takes", "value0_formula": "plate - weight",
    "value0_unit": "lb", "value0_each": "piece of its own equipment",
    "result0_name": "load", "result0_title": "Load", "result0_about": "{row}",
    "result0_each": "piece of its own equipment", "result0_number": "room", "result0_low": "0",
    "result0_case0_verdict": "fail", "result0_case0_code": "over", "result0_case0_when": "room < 0",
    "result0_case0_sentence": "The {row} trailer weighs {weight}. It may weigh {plate}.",
    "result0_case1_verdict": "pass", "result0_case1_code": "within", "result0_case1_sentence": "It holds.",
}  # fmt: skip


def test_the_form_has_equipment_of_the_checks_own(manager: Browser) -> None:
    """What is wrong with it is told by the words of the form; right, it says what the boat's page asks."""
    empty = blank_check(manager)
    wrong = words_of(manager.send(empty, **{**TRAILER, "fact0_unit": "furlong", "kind_name": "Trailers!"}).text)
    assert "What is entered of each 1, Unit: expected one of " in wrong
    assert "Equipment of its own, Name: expected small letters" in wrong
    seen = words_of(manager.send(empty, **TRAILER).text)
    assert "Trailers, on the boat's page Most weight, by its plate [lb], amount" in seen
    assert "Trailers: Weight with the boat on it [lb], amount" in seen
    assert "Engines: Label of the engine, text" in seen
    (kind,) = check_of(text_of_form(TRAILER, CHIEF, "2026-11-25").encode()).equipment
    assert (kind.names, kind.only_one, kind.one) == (("road", "yard"), True, "trailer")
    assert [(one.plausible, one.of_model) for one in kind.fields] == [((500.0, 20000.0), True)]
    (field, _) = check_of(text_of_form(TRAILER, CHIEF, "2026-11-25").encode()).steps[0].fields
    assert field.each == kind.key


def test_equipment_without_a_name_is_a_fault_and_not_left_out() -> None:
    text = text_of_form({**TRAILER, "kind_name": ""}, CHIEF, "2026-11-25")
    with pytest.raises(CheckRefused) as refused:
        check_of(text.encode())
    places = {one.fault.where for one in refused.value.faults}
    assert {"equipment[1].name", "step[1].field[1].each", "value[1].rows"} <= places


def test_what_is_written_in_a_row_without_its_name_is_a_fault_and_not_left_out() -> None:
    """A field, case or limit with one box forgotten went missing without a word."""
    forgotten = ("field1_title", "limit0_default", "value0_formula", "result0_case0_when", "leave0_reason")
    text = text_of_form({**BESIDES, **dict.fromkeys(forgotten, "7")}, CHIEF, "2026-11-25")
    for listed in ("step.field", "setting", "value", "result.case", "leave_out"):
        assert f"[[{listed}]]" in text
    assert (
        text_of_form({"field3_kind": "amount", "field3_rows": "yes"}, CHIEF, "2026-11-25").count("[[step.field]]") == 0
    )


def test_the_form_changes_built_in_steps_and_the_look_says_on_how_many_boats(pages: Pages, manager: Browser) -> None:
    wrong = manager.send(blank_check(manager), **{**CHANGES, "stricter0_value": "4 %"}).text
    only_leaves = {name: "" if name.startswith("stricter0") else text for name, text in CHANGES.items()}
    only = manager.send(blank_check(manager), **only_leaves).text
    assert "It changes what other checks find on 1 boat." in words_of(only)
    assert "lower than 3 %, which the program itself asks" in words_of(wrong)
    seen = manager.send(blank_check(manager), **CHANGES).text
    words = words_of(seen)
    assert "It changes what other checks find on 3 boats." in words
    assert "It adds 1 built-in step left out: Under load: gauges at each throttle step." in words
    assert "Left out where engines == 3: " in words
    assert f"run in at the maker's ({CHIEF}, 2026-11-25)" in words
    assert "Stricter: Drop allowed, critical circuits 2 %." in words
    assert manager.send(form_to(seen, "/plugins/new-check/approve")).status_code == 303


def test_a_check_with_equipment_of_its_own_says_what_the_boats_page_asks(pages: Pages, manager: Browser) -> None:
    written = OWN_CHECKS / "trailer" / "trailer.toml"
    seen = words_of(manager.send(blank_check(manager), text=written.read_text(encoding="utf-8")).text)
    assert "Trailer, on the boat's page Most weight (GVWR) [lb], amount" in seen
    assert "Trailer: Weight on the tongue [lb], amount" in seen
    assert "It adds 1 kind of equipment: Trailer." in seen


def test_a_check_as_large_as_a_file_may_be_is_looked_at_and_approved_on_the_page(manager: Browser) -> None:
    """The box for text cut it, and the page refused what it had itself shown."""
    text = GOOD + "#" + "=" * 3900 + "\n"
    text += ("# " + "(=)" * 1000 + "\n") * ((60_000 - len(text)) // 3003)
    assert len(text) > 57_000
    seen = manager.send(blank_check(manager), text=text).text
    assert 'maxlength="65536"' in seen
    assert manager.send(form_to(seen, "/plugins/new-check/approve")).status_code == 303


def test_only_a_manager_writes_a_check_and_no_code_comes_in_this_way(pages: Pages, manager: Browser) -> None:
    technician = pages.signed_in(HAND)
    assert technician.get("/plugins/new-check").status_code == 403
    seen = manager.send(blank_check(manager), **TYPED).text
    form = form_to(seen, "/plugins/new-check/approve")
    answer = manager.send(form, text=SOURCE)
    assert answer.status_code >= 400
    assert pages.store.register.plugins() == ()
    assert manager.send(form).status_code == 303
    assert manager.send(form).status_code == 409, "another edition of it was approved after this one was looked at"


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the system has no such call")
@pytest.mark.parametrize(("zone", "day"), [("XXX+13", "2026-11-24"), ("XXX-13", "2026-11-26")])
def test_what_a_check_changes_is_dated_by_the_shops_own_day(
    pages: Pages, manager: Browser, monkeypatch: pytest.MonkeyPatch, zone: str, day: str
) -> None:
    """At noon UTC it is another day thirteen hours away, east or west."""
    with monkeypatch.context() as patch:
        patch.setenv("TZ", zone)
        time.tzset()
        seen = manager.send(blank_check(manager), leave0_step="of no plugin").text
    time.tzset()
    assert f"on = &#34;{day}&#34;" in seen
