"""Twelve questions a manager asks of a shop whose answers are known, each answered in at most two clicks.

Every walk begins at the board and follows links by what they say, as a person does; no address is written here. What
the pages show is compared with what `proving_shop` says is true.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime

import pytest

from garboard.hosting.host import PluginHost
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.pages import people
from garboard_shop.pages.index import Index
from garboard_shop.store import MANAGER as MANAGES
from garboard_shop.store import WebUser
from page_walks import Link, Walk
from pages_rig import CHIEF, PASSWORD, Browser, Pages, light_passwords, words_of
from proving_shop import (
    A_DAY,
    CARRIED,
    FATES,
    LEAST_USUAL_SLIP,
    NOW,
    SILENT_TABLETS,
    THIS_WEEK,
    TURNS_WITH_IT,
    Answer,
    ProvingShop,
    write_shop,
)

BOATS_KEPT = 16
"""A boat as full as these is 2 MB: all 200 at hand, as a shop server may keep them, are more than a test may have."""


@pytest.fixture(scope="module", params=[len(FATES), pytest.param(200, marks=pytest.mark.long)])
def shop(
    request: pytest.FixtureRequest, plugins: PluginHost, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[ProvingShop, Browser]]:
    folder = tmp_path_factory.mktemp("proving") / "office"
    store = EmbeddedStore(folder)
    with light_passwords():
        hashed = people.make_user(CHIEF, MANAGES, PASSWORD).password_hash
        store.register.put_user(WebUser(name=CHIEF, role=MANAGES, password_hash=hashed), "Ines", NOW)
        store.close()
        with Pages(folder, plugins) as pages:
            pages.desk.summaries._most = BOATS_KEPT

            def evening(at: int) -> None:
                pages.at = at
                pages.desk.remembering.bring_up_to_date()

            written = write_shop(pages.store, request.param, evening)
            pages.desk.index = Index(pages.store, now=lambda: NOW)
            pages.desk.index.refresh()
            yield written, pages.signed_in()


@pytest.fixture
def answers(shop: tuple[ProvingShop, Browser]) -> tuple[Answer, ...]:
    return shop[0].answers


@pytest.fixture
def walk(shop: tuple[ProvingShop, Browser]) -> Walk:
    return Walk(shop[1])


def told(answers: Iterable[Answer]) -> Counter[tuple[str, str]]:
    return Counter((one.hull, one.state) for one in answers)


def is_stuck(one: Answer) -> bool:
    return one.is_open and one.since < NOW - 14 * A_DAY


def test_which_boats_are_stuck_longest_and_why(walk: Walk, answers: tuple[Answer, ...]) -> None:
    stuck = sorted(filter(is_stuck, answers), key=lambda one: one.since)
    assert stuck
    walk.click("^Stuck over 14 days$")
    assert walk.jobs == [(one.hull, one.state) for one in stuck]
    for one in stuck[:50]:
        cells = walk.cells[one.hull]
        assert f" {(NOW - one.since) // A_DAY} d" in cells[1]
        assert cells[4], "why"
        assert one.waiting in cells[5]


def test_what_waits_for_parts(walk: Walk, answers: tuple[Answer, ...]) -> None:
    waiting = [one for one in answers if one.waiting == "parts"]
    assert waiting
    assert Counter(walk.click("^Waiting for parts$").jobs) == told(waiting)


@pytest.mark.parametrize("rigger", [one.rigger for one in CARRIED[:4]])
def test_what_each_technician_left_open(walk: Walk, answers: tuple[Answer, ...], rigger: str) -> None:
    left = [one for one in answers if one.is_open and one.technician == rigger]
    walk.click(rf"^{re.escape(rigger)} \d", heading="Technician")
    assert Counter(walk.jobs) == told(left)
    assert walk.count == len(left)


def test_what_fails_most_this_quarter_for_which_model(
    walk: Walk, answers: tuple[Answer, ...], plugins: PluginHost
) -> None:
    ever = Counter(code for one in answers for code in set(one.ever))
    heading = "What failed in jobs of the last three months"
    walk.click("^Insight$")
    bars = [link for link in dict.fromkeys(walk.links(heading)) if re.search(r"\d+, \d+ still$", link.words)]
    shown = [int(found[1]) for link in bars if (found := re.search(r"(\d+), \d+ still$", link.words))]
    assert shown == sorted(ever.values(), reverse=True)
    models = {one.model for one in answers}
    cells = [re.match(r"(\d+): (.*?), (.*)$", link.words) for link in walk.links(heading)]
    by_model = Counter({(found[2], found[3]): int(found[1]) for found in cells if found and found[2] in models})
    expected = Counter(one.model for one in answers for _ in set(one.ever))
    assert Counter({model: sum(n for (of, _), n in by_model.items() if of == model) for model in models}) == expected
    most, jobs = ever.most_common(1)[0]
    assert len(Counter(walk.click(re.escape(bars[0].words), heading).jobs)) == jobs
    assert most in {code for one in answers for code in one.ever if ever[code] == jobs}


def test_who_is_promised_this_week_and_not_ready(walk: Walk, answers: tuple[Answer, ...]) -> None:
    late = [one for one in answers if one.is_open and one.promised and one.promised <= THIS_WEEK]
    late = [one for one in late if one.state != "ready"]
    assert late
    assert Counter(walk.click(rf"^{len(late)} due by Sunday and not ready").jobs) == told(late)


@pytest.mark.parametrize("state", ["in work", "failing"])
def test_which_propeller_hulls_like_this_kept(walk: Walk, answers: tuple[Answer, ...], state: str) -> None:
    """Of a boat not run yet, and of one that labours with too much pitch."""
    kept = {one.hull: one.propeller for one in answers if one.propeller}
    wanted = "prop_check.window.below" if state == "failing" else ""
    here = next(
        one for one in answers if one.hull not in kept and one.state == state and (not wanted or wanted in one.failing)
    )
    walk.click(f"^{state} \\d", heading="State").click(f"^{re.escape(here.name)}$")
    words = words_of(walk.page)
    found = {size: int(boats) for size, boats in re.findall(r"([\d.]+ x [\d.]+) in: (\d+) boats?", words)}
    assert found == Counter(kept.values())


def test_what_disagrees_anywhere(walk: Walk, answers: tuple[Answer, ...]) -> None:
    disagree = [one for one in answers if one.state == "to settle"]
    walk.click(rf"^{len(disagree)} to settle")
    assert Counter(walk.jobs) == told(disagree)
    assert all("35.3 kn" in cells[4] and "34.6 kn" in cells[4] for cells in walk.cells.values())


def test_which_signatures_are_stale(walk: Walk, answers: tuple[Answer, ...]) -> None:
    stale = [one for one in answers if one.stale]
    walk.click("^Stale signatures$")
    assert Counter(walk.jobs) == told(stale)
    for one in stale[:50]:
        for role in ("technician", "owner"):
            assert (role in walk.cells[one.hull][4]) == (role in one.stale), one


def test_what_changed_since_yesterday(walk: Walk, answers: tuple[Answer, ...]) -> None:
    changed = [one for one in answers if one.changed > NOW - A_DAY]
    assert changed
    assert Counter(walk.click("^Changed since I last looked$").jobs) == told(changed)


def test_what_was_right_the_first_time_by_month(walk: Walk, answers: tuple[Answer, ...]) -> None:
    by_month: Counter[str] = Counter()
    right: Counter[str] = Counter()
    for one in answers:
        if one.handed:
            month = f"{datetime.fromtimestamp(one.handed / 1000, UTC):%B %Y}"
            by_month[month] += 1
            right[month] += one.is_right_first
    walk.click("^Insight$")
    shown = [
        re.match(r"(.*): (\d+) of (\d+) right the first time$", one.words) for one in walk.links("Right the first time")
    ]
    assert {found[1]: (int(found[2]), int(found[3])) for found in shown if found} == {
        month: (right[month], by_month[month]) for month in by_month
    }
    month = max(by_month)
    assert len(walk.click(rf"^{month}: \d+ of \d+ right", "Right the first time").jobs) == right[month]


def test_which_tablets_have_not_come_ashore_for_three_days(walk: Walk, answers: tuple[Answer, ...]) -> None:
    walk.click("^Tablets$")
    silent = [row[0] for row in walk.read().rows if any("not ashore" in cell for cell in row)]
    assert sorted(silent) == sorted(SILENT_TABLETS)


def test_whose_boats_wait_for_a_tablet_that_did_not_come_ashore(walk: Walk, answers: tuple[Answer, ...]) -> None:
    names = {one.device for one in CARRIED if one.name in SILENT_TABLETS}
    waiting = [one for one in answers if one.is_open and one.tablet in names]
    assert Counter(walk.click("^Tablet silent$").jobs) == told(waiting)


def test_what_was_handed_over_with_open_fails(walk: Walk, answers: tuple[Answer, ...]) -> None:
    with_fails = [one for one in answers if not one.is_open and one.failing]
    assert with_fails
    walk.click("^Handed over with points open$")
    assert Counter(walk.jobs) == told(with_fails)
    assert all(cells[4] for cells in walk.cells.values()), "what fails"


def test_what_a_job_in_work_lacks_is_all_said(walk: Walk, answers: tuple[Answer, ...]) -> None:
    """ "3 checks without enough data and 1 more" reads as four checks."""
    cells = walk.click(r"^in work \d", heading="State").cells
    compasses = next(one for one in answers if one.state == "in work" and one.deviation)
    assert cells[compasses.hull][4] == "3 checks without enough data, no technician has signed"
    assert not any(re.search(r"and \d+ more", row[4]) for row in cells.values())


CLOSE_TO = 0.03
"""A curve drawn through readings may differ from the largest of them by so much [-]."""


@pytest.mark.parametrize(
    ("heading", "what", "usual"),
    [
        ("Slip", "slip", (LEAST_USUAL_SLIP, 20.0)),
        ("Economy at best cruise", "economy", (0.0, 100.0)),
        ("Largest compass deviation", "deviation", (0.0, 5.0)),
    ],
)
def test_the_charts_of_numbers_show_what_was_reckoned_by_hand(
    walk: Walk, answers: tuple[Answer, ...], heading: str, what: str, usual: tuple[float, float]
) -> None:
    """Of every boat; and what lies outside the usual, of twin engines and of two compasses too, is told."""
    reckoned = {one.name: getattr(one, what) for one in answers}
    known = {name: value for name, value in reckoned.items() if value is not None}
    shown = numbers_of(walk.click("^Insight$").links(heading))
    assert shown.keys() <= known.keys()
    assert len(shown) == min(len(known), 80)
    for name, (value, is_outside) in shown.items():
        assert value == pytest.approx(known[name], rel=CLOSE_TO, abs=0.005)
        assert is_outside == (not usual[0] <= known[name] <= usual[1]), (name, value)
    outside = sum(not usual[0] <= value <= usual[1] for value in known.values())
    said = re.search(rf"{heading} .*?((\d+) lies? outside|as a list)", words_of(walk.page))
    assert said
    assert int(said[2] or 0) == outside


def numbers_of(links: Iterable[Link]) -> dict[str, tuple[float, bool]]:
    """Of each boat the number its mark tells, and whether that lies outside."""
    found = [re.match(r"(.*): (−?[\d.]+) ?\S+?(, outside)?$", link.words) for link in links]
    return {one[1]: (float(one[2].replace("−", "-")), bool(one[3])) for one in found if one}


def test_the_forecasts_of_propellers_are_scored_as_they_came_out(walk: Walk, answers: tuple[Answer, ...]) -> None:
    known = {one.name: one.forecast for one in answers if one.forecast is not None}
    assert {*known.values()} == {True, False}
    shown = numbers_of(walk.click("^Insight$").links("Propellers, foreseen and reached"))
    assert shown == {name: (TURNS_WITH_IT, not held) for name, held in known.items()}
    told = f"{sum(known.values())} of {len(known)} forecasts held; 19 of 20 should."
    assert told in words_of(walk.page)


def test_headline_facets_and_lists_count_alike(walk: Walk, answers: tuple[Answer, ...]) -> None:
    handed = [one for one in answers if one.handed]
    right = sum(one.is_right_first for one in handed)
    begins = datetime(2026, 10, 5, tzinfo=UTC).timestamp() * 1000
    lately = [one for one in handed if one.handed >= begins]
    right = sum(one.is_right_first for one in lately)
    head = {link.words for link in walk.links("Board")}
    share = f"{round(100 * right / len(lately))} %" if len(lately) >= 5 else f"{right} of {len(lately)}"
    assert any(words.startswith(f"{share} right the first time, of {len(lately)} jobs") for words in head), head
    facets: dict[str, Callable[[Answer], str]] = {
        "State": lambda one: one.state,
        "Waiting for": lambda one: one.waiting or "nobody",
        "Technician": lambda one: one.technician,
        "Model": lambda one: one.model,
    }
    for view, of in (("Everything open", [one for one in answers if one.is_open]), ("All jobs", [*answers])):
        here = Walk(walk.browser).click(f"^{view}$")
        assert here.count == len(of)
        for heading, value in facets.items():
            shown = {link.words.rpartition(" ")[0]: int(link.words.rpartition(" ")[2]) for link in here.links(heading)}
            assert shown == Counter(filter(None, map(value, of))), (view, heading)
    for words in ("to settle", "failing", "ready"):
        here = Walk(walk.browser).click(rf"^\d+ {words}$", heading="Board")
        assert here.count == len([one for one in answers if one.state == words])


def test_a_builders_next_boats_are_not_taken_for_the_same_boat(walk: Walk, answers: tuple[Answer, ...]) -> None:
    """Hull numbers in a row look alike, one numeral apart; the boats have names of their own."""
    hull = next(iter(walk.click("^All jobs$").cells))
    first = next(one for one in answers if one.hull == hull)
    walk.click(f"^{re.escape(first.name)}$")
    assert "Hull numbers that look alike" not in walk.page
    assert "with a number like this one, and another name or owner" in walk.page


def test_nothing_of_an_owner_stands_on_the_board(walk: Walk, answers: tuple[Answer, ...]) -> None:
    assert "O. Wner" not in walk.click("^All jobs$").page
