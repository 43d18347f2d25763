"""One folder gives the same verdicts on the pages, by `assess`, in the book and on a tablet: approved plugins run."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import attrs
from click.testing import CliRunner

from garboard.commands.cli import program
from garboard.disk.hullfile import CheckedEntries
from garboard.history.authoring import measure
from garboard.hosting.host import make_host
from garboard.hosting.unused import waiting_for
from garboard.shop_link import shop_plugins
from garboard.shop_link.shop_plugins import kept
from garboard_shop.own_plugins import withdraw
from garboard_shop.pages import views
from garboard_shop.pages.plugins import files_to_run
from garboard_shop.pages.summaries import Summaries
from garboard_tablet.models.tablet import open_tablet
from histories import tablet
from pages_rig import KITTIWAKE, NOON, SALTGRASS, Browser, Pages, form_to, words_of

DAY = "/days/2026-11-25"
SOURCE = """
from garboard import hookimpl
from garboard.findings import Basis, BasisKind, Finding, Verdict
from garboard.steps import Calculator, Field, Kind, Phase, Step

__version__ = "7"
BASIS = (Basis(BasisKind.SHOP_RULE, "our list"),)

@hookimpl
def register_steps(register):
    field = Field(name="wedge", title="Wedge in place", kind=Kind.YES_NO)
    register(Step(key="our_check.keel", title="Keel", phase=Phase.ALONGSIDE, order=1, fields=(field,)))

def compute(view):
    return [Finding(verdict=Verdict.FAIL, about="keel", sentence="No wedge.", basis=BASIS, code="our_check.keel.wedge")]

@hookimpl
def register_calculators(register):
    step = "our_check.keel"
    register(Calculator(key=step, title="Keel", step=step, order=1, basis=BASIS, compute=compute))
"""


def approve(pages: Pages, manager: Browser, source: str = SOURCE) -> None:
    pages.drop.mkdir(exist_ok=True)
    (pages.drop / "our_check.py").write_text(source)
    assert manager.send(form_to(manager.text("/plugins"), "/plugins/approve")).status_code == 303


def assessed(folder: Path, *options: str) -> list[tuple[str, str, str]]:
    """Job, code and verdict of every finding of `garboard assess FOLDER --json`."""
    result = CliRunner().invoke(program, [*options, "assess", "--json", str(folder)])
    assert result.exit_code in (0, 1), result.output
    jobs = json.loads(result.stdout)["jobs"]
    return sorted((job["job"], one["code"], one["verdict"]) for job in jobs for one in job["findings"])


def on_the_pages(pages: Pages) -> list[tuple[str, str, str]]:
    boats = {
        one.boat.state.hull_keys: one
        for card in pages.desk.index.search("")
        if (one := pages.desk.summaries.of(card.hull))
    }
    found = [(job.id, one.finding) for boat in boats.values() for job in boat.jobs for one in job.assessed]
    return sorted((job, one.code, one.verdict.value) for job, one in found)


def test_a_shops_folder_is_judged_by_assess_as_on_its_pages(pages: Pages, manager: Browser, tmp_path: Path) -> None:
    folder = pages.store.hulls.folder
    before = assessed(folder)
    approve(pages, manager)
    after = assessed(folder)
    assert {code for _, code, _ in after} - {code for _, code, _ in before} == {"our_check.keel.wedge"}
    host = make_host(entry_points=False, files=files_to_run(pages.store, tmp_path / "run"))
    pages.desk.host = pages.desk.summaries._host = host
    assert on_the_pages(pages) == after
    assert assessed(folder, "--without", "our_check") == before
    book = ["book", str(folder), "--hull", SALTGRASS, "--no-entry", "-o", str(tmp_path / "book.pdf")]
    assert CliRunner().invoke(program, book).exit_code == 0
    withdraw(pages.store.register, "our_check", "M. Office", NOON)
    assert assessed(folder) == before


def test_a_tablets_folder_is_judged_by_assess_as_on_the_tablet(pages: Pages, manager: Browser, tmp_path: Path) -> None:
    approve(pages, manager)
    office, folder = pages.store.hulls.folder, tmp_path / "tablet"
    shutil.copytree(office / "hulls", folder / "hulls")
    shutil.copytree(office / "attachments", folder / "attachments")
    shop_plugins.keep(folder, kept(office))
    opened = open_tablet(folder)
    boat = opened.boat(KITTIWAKE)
    seen = {
        (job, one.finding.code, one.finding.verdict.value) for job in boat.jobs for one in opened.assess(KITTIWAKE, job)
    }
    opened.close()
    assert "our_check.keel.wedge" in {code for _, code, _ in seen}
    assert seen == {one for one in assessed(folder) if one[0] in boat.jobs}


def test_a_file_that_was_altered_does_not_run_and_is_named(pages: Pages, manager: Browser) -> None:
    approve(pages, manager)
    folder = pages.store.hulls.folder
    (plugin,) = kept(folder)
    (folder / "attachments" / plugin.sha256).write_text("raise SystemExit")
    result = CliRunner().invoke(program, ["assess", str(folder)])
    assert "our_check" in result.stderr
    assert "our_check.keel.wedge" not in result.stdout


def test_the_sheet_says_that_a_restart_is_due_until_the_server_runs_what_is_approved(
    pages: Pages, manager: Browser, tmp_path: Path
) -> None:
    assert "restart due" not in words_of(manager.text(DAY))
    approve(pages, manager)
    assert "Restart the server: our_check" in words_of(manager.text(DAY))
    pages.desk.host = make_host(entry_points=False, files=files_to_run(pages.store, tmp_path / "run"))
    assert "restart due" not in words_of(manager.text(DAY))
    approve(pages, manager, SOURCE.replace('"7"', '"8"'))
    assert "Restart the server: our_check" in words_of(manager.text(DAY))
    withdraw(pages.store.register, "our_check", "M. Office", NOON)
    assert "Restart the server: our_check" in words_of(manager.text(DAY))


def test_every_page_that_shows_verdicts_says_that_a_restart_is_due(pages: Pages, manager: Browser) -> None:
    def looked_at() -> list[str]:
        change = manager.text("/settings/wiring_audit.drop_other")
        look = manager.send(form_to(change, "/settings/wiring_audit.drop_other/look"), value="7 %", reason="ours")
        return [words_of(manager.text(page)) for page in (DAY, f"/boats/{KITTIWAKE}", "/plugins")] + [
            words_of(look.text)
        ]

    assert not any("restart due" in page for page in looked_at())
    approve(pages, manager)
    assert all("Restart the server: our_check was approved or withdrawn" in page for page in looked_at())
    assert "restart due" not in words_of(manager.text("/people"))


def test_a_template_that_shows_verdicts_says_so_too() -> None:
    templates = [*(Path(views.__file__).parent / "templates").glob("*.html")]
    showing = [one for one in templates if re.search(r"verdict_counts|readiness|\.findings", one.read_text())]
    assert {one.name for one in showing} >= {"boat.html", "day.html", "setting_change.html"}
    assert [one.name for one in showing if "restart()" not in one.read_text()] == []


def test_the_sheet_names_entries_that_wait_for_a_plugin(pages: Pages, manager: Browser, tmp_path: Path) -> None:
    """A value of a step that only the shop's plugin declares, entered on a tablet that runs it."""
    summary = pages.desk.summaries.of(KITTIWAKE)
    assert summary is not None
    author = attrs.evolve(tablet("a").author, plugins={"our_check": "7", "garboard_prop_check": "1"})
    value = measure(author, summary.boat.state, summary.jobs[0].id, "our_check.keel", "wedge", True)
    fact = author.write(summary.boat.state, "field", ("our_yard.wedges", "port", "width"), "3 in")
    both = CheckedEntries({one.id: one.raw for one in (value, fact)})
    pages.store.put_if_absent({KITTIWAKE: both}, "000000000001", NOON, 0)
    waits = "1 entry needs the plugin our_check , which is not at work here: our_check.keel: wedge."
    assert "1 entry needs the plugin our_yard , which is not at work here: our_yard.wedges: port" in words_of(
        manager.text(DAY)
    )
    summary = pages.desk.summaries.of(KITTIWAKE)
    assert summary is not None
    assert waiting_for(summary.jobs[0].view, pages.desk.host) == {
        "the plugin our_check": 1,
        "the plugin our_yard": 1,
    }  # as report and book say
    assert waits in words_of(manager.text(DAY))
    assert waits in words_of(manager.text(f"/boats/{KITTIWAKE}"))
    approve(pages, manager)
    pages.desk.host = make_host(entry_points=False, files=files_to_run(pages.store, tmp_path / "run"))
    pages.desk.summaries = Summaries(pages.store, pages.desk.host)
    assert "the plugin our_check ," not in words_of(manager.text(DAY))


def test_a_folder_that_others_may_change_runs_no_plugin_it_calls_approved(pages: Pages, manager: Browser) -> None:
    """It may have come from anyone, with a plugin that nobody here approved."""
    folder = pages.store.hulls.folder
    before = assessed(folder)
    approve(pages, manager)
    folder.chmod(0o777)
    result = CliRunner().invoke(program, ["assess", str(folder)])
    assert f"{folder} is not yours alone to change, so no plugin that it calls approved ran." in result.stderr
    assert assessed(folder) == before
