"""Entries that wait for a plugin or a newer version are told in every book, in the report and in nobody else's."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import attrs
import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from garboard.commands.cli import program
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import measure
from garboard.history.boat import open_hull
from garboard.history.replay import HullState
from garboard.hosting.host import PluginHost, make_host
from garboard.hosting.unused import waiting_for, waiting_in_words
from garboard.report.book import handover_book
from histories import HULL, JOB, tablet

OTHER_JOB, OTHER_HULL = "job-2", "QQZ04418D626"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A boat with two jobs, and another: of the first job two entries are of a kind not known, one of a step."""
    path, author = tmp_path_factory.mktemp("waiting") / "shop", tablet("a").author
    with HullFolder(path) as hulls:
        for hull, job in ((HULL, JOB), (HULL, OTHER_JOB), (OTHER_HULL, JOB)):
            hulls.save(measure(author, HullState(hull), job, "prop_check.full_throttle", "speed", "30 kn", row="1"))
        for what in ("bow", "stern"):
            hulls.save(author.write(HullState(HULL), "gadget", (what,), "fine", job=JOB))
        hulls.save(measure(author, HullState(HULL), JOB, "gadget.fit", "gap", "2 mm"))
    return path


@pytest.fixture(scope="module")
def host() -> PluginHost:
    return make_host(entry_points=False)


def test_what_waits_is_counted_for_its_own_job(folder: Path, host: PluginHost) -> None:
    with HullFolder(folder, read_only=True) as hulls:
        boat = open_hull(hulls, HULL)
        found = {job: waiting_for(boat.view(job), host) for job in boat.jobs}
        other = open_hull(hulls, OTHER_HULL).view(JOB)
    assert found == {JOB: {"the plugin gadget": 1, "what reads 'gadget'": 2}, OTHER_JOB: {}}
    assert waiting_in_words(other, host) == ""


def test_a_plugin_that_wrote_it_and_is_not_at_work_is_named(host: PluginHost) -> None:
    state, here = HullState(HULL), {host.plugins[0].name: "1"}
    for plugins in ({**here, "gadget": "3"}, here):
        author = attrs.evolve(tablet("a").author, plugins=plugins)
        state.add(author.write(state, "gadget", ("bow",), str(plugins), job=JOB))
    assert waiting_for(state.view(JOB), host) == {"the plugin gadget": 1, "what reads 'gadget'": 1}


def test_the_book_says_on_its_first_page_what_waits_and_says_nothing_where_nothing_does(
    folder: Path, host: PluginHost
) -> None:
    with HullFolder(folder, read_only=True) as hulls:
        boat = open_hull(hulls, HULL)
        books = [handover_book(boat.view(job), host, ()) for job in (JOB, OTHER_JOB)]
    covers = [" ".join(PdfReader(BytesIO(book)).pages[0].extract_text().split()) for book in books]
    assert ["3 entries wait for" in cover for cover in covers] == [True, False]
    assert "what reads 'gadget', not at work here" in covers[0]


def test_assess_asks_about_what_waits(folder: Path) -> None:
    said = CliRunner().invoke(program, ["assess", str(folder), "--json"]).stdout
    assert said.count("2 entries wait for what reads 'gadget', not at work here") == 1
