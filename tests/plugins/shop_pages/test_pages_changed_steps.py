"""What a shop's check changes of built-in steps is the same in the report, the book, on the page and on a tablet."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from changed_steps import ADDED, CHECK, LEFT_OUT, SAID
from garboard.commands.cli import program
from garboard.hosting.host import make_host
from garboard.report.book import handover_book
from garboard.shop_link import shop_plugins
from garboard.shop_link.shop_plugins import kept
from garboard.steps import LEFT_OUT as STATE
from garboard.steps import is_open, state_shown
from garboard_shop.own_plugins import withdraw
from garboard_shop.pages.plugins import files_to_run
from garboard_tablet.models.tablet import open_tablet
from pages_rig import LONG_REACH, NOON, Browser, Pages, form_to, words_of
from printed import printed_words

SENTENCES = (SAID, ADDED)


def assessed(folder: Path, *options: str) -> str:
    result = CliRunner().invoke(program, ["assess", *options, str(folder)], env={"COLUMNS": "400"})
    assert result.exit_code in (0, 1), result.output
    return result.stdout


def book_text(pages: Pages) -> str:
    boat = pages.desk.summaries.of(LONG_REACH)
    assert boat is not None
    (job,) = (one for one in boat.jobs if one.view.vessel.engines)
    return printed_words(handover_book(job.view, pages.desk.host, job.assessed))


@pytest.mark.long
def test_every_account_says_what_is_left_out_and_asked_besides_and_forgets_it_with_the_check(
    pages: Pages, manager: Browser, tmp_path: Path
) -> None:
    office = pages.store.hulls.folder
    before = assessed(office, "--json")
    pages.drop.mkdir(exist_ok=True)
    (pages.drop / "rail.toml").write_text(CHECK)
    assert manager.send(form_to(manager.text("/plugins"), "/plugins/approve")).status_code == 303

    pages.desk.host = make_host(entry_points=False, files=files_to_run(pages.store, tmp_path / "run"))
    pages.desk.summaries._host = pages.desk.host
    page, book, report = words_of(manager.text(f"/boats/{LONG_REACH}")), book_text(pages), assessed(office)
    for sentence in SENTENCES:
        assert [sentence in " ".join(account.split()) for account in (page, book, report)] == [True] * 3, sentence
    assert "1 left out by the shop" in book

    folder = tmp_path / "tablet"
    shutil.copytree(office / "hulls", folder / "hulls")
    shutil.copytree(office / "attachments", folder / "attachments")
    shop_plugins.keep(folder, kept(office))
    opened = open_tablet(folder)
    job = next(one for one in opened.boat(LONG_REACH).jobs if opened.view(LONG_REACH, one).vessel.engines)
    view, step = opened.view(LONG_REACH, job), opened.step(LEFT_OUT)
    assert step is not None
    assert (state_shown(view, step), is_open(view, step), len(step.cautions)) == (STATE, False, 4)
    shown = [one.finding for one in opened.assess(LONG_REACH, job, [LEFT_OUT])]
    assert [SAID in one.sentence for one in shown] == [True]
    asked = opened.step("handover.lights_and_horn")
    assert asked is not None
    assert (asked.fields[-1].name, asked.fields[-1].help) == ("rail.whistle", "The shop's check Rail asks this.")
    opened.close()

    withdraw(pages.store.register, "rail", "M. Office", NOON)
    assert assessed(office, "--json") == before
