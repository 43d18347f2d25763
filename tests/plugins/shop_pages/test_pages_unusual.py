"""A number outside its usual range is asked about on the shop's pages too: beside it, and in a list of what is open."""

from __future__ import annotations

from garboard.disk.entries import entry_id
from garboard.disk.hullfile import CheckedEntries
from garboard.history.authoring import measure
from garboard.history.replay import replay
from histories import tablet
from pages_rig import NOON, Browser, Pages, words_of

HULL, STEP, FIELD = "QQZ05555A626", "prop_check.conditions", "air_temperature"


def test_an_unusual_value_is_asked_about_on_the_boats_page_and_the_day_sheet(pages: Pages, manager: Browser) -> None:
    for job, typed in (("job-1", "52 degC"), ("job-2", "21 degC")):
        entry = measure(tablet("a").author, replay(HULL, []), job, STEP, FIELD, typed)
        given = CheckedEntries([(entry_id(entry.raw), entry.raw)])
        pages.store.put_if_absent({HULL: given}, "000000000001", NOON, 0)
    pages.desk.index.refresh()
    boat = pages.desk.summaries.of(HULL)
    assert boat is not None
    unusual, usual = boat.jobs
    assert [*unusual.asked_at] == [(STEP, FIELD, "", "")]
    assert not usual.asked
    page = manager.text(f"/boats/{HULL}")
    asked = "52 °C is outside the usual 0 to 40 °C. Is it right?"
    beside = words_of(page.partition("Values entered")[2].partition("</tr>")[2].partition("</tr>")[0])
    for where in (words_of(page.partition("<h3>Unusual values</h3>")[2].partition("</ul>")[0]), beside):
        assert asked in where
    assert words_of(page).count(asked) == 2
    assert "1 value entered, 1 unusual" in words_of(page)
    day = words_of(manager.text("/days/2026-11-25").partition(f'id="boat-{HULL}"')[2].partition("</section>")[0])
    assert day.count(asked) == 1
