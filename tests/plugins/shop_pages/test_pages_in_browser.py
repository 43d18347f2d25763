"""A whole evening in a real browser: real server process, real TLS, three tablets ashore, decisions, the book.

The accessibility rules are those of axe-core, run inside the page; W3C WCAG 2.2, levels A and AA.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import attrs
import pytest
from click.testing import CliRunner

from campaigns.sync_campaign import Server
from examples import anew
from garboard.commands.cli import program
from garboard.demo.demo_day import make_day
from garboard.demo.samples_folder import sample_job_files
from garboard.disk.hullfile import HullFolder
from garboard.history.registers import RegisterKey
from garboard.history.replay import replay
from pages_rig import (
    CHIEF,
    KITTIWAKE,
    LONG_REACH,
    MISTYPED,
    SALTGRASS,
    make_first_manager,
    sign_in,
)
from printed import page_texts, printed_words

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed: pip install -e '.[dev]'")
axe = pytest.importorskip("axe_playwright_python.base", reason="axe-playwright-python is not installed")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed: apt-get install chromium")

DESK, PHONE = {"width": 1280, "height": 800}, {"width": 390, "height": 844}
SPEED = RegisterKey("measure", "saltgrass-2026-05", ("prop_check.full_throttle", "speed", "2", ""))
RULES = "axe.run(document, {runOnly: {type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa',\
 'best-practice']}}).then(found => found.violations.map(one => [one.id, one.nodes.map(node => node.html)]))"
LONG_CELLS = """
document.querySelectorAll('.who').forEach(one => {
  one.innerHTML = '<span class="has">Bartholomew Sedge-Hollis</span> <span class="heard">20 d</span>'
})
document.querySelectorAll('.open > span').forEach(one => {
  one.innerHTML = `<span class="what">${"35.3 kn or 34.6 kn: ".repeat(9)}</span> <b>and 12 more</b> <b>Stale</b>`
})
document.querySelectorAll('.waits').forEach(one => {
  one.innerHTML = '<span class="unseen for">waiting for </span><span>manager</span>'
})
"""
PAST_ITS_CELL = (
    "[...document.querySelectorAll('tbody {}')]"
    ".map(one => one.getBoundingClientRect().right - one.closest('td').getBoundingClientRect().right)"
)


TOUCHING = """[...document.querySelectorAll('main > *')].filter(one => {
    const notice = document.createElement('p');
    notice.className = 'notice';
    notice.textContent = 'Restart the server.';
    one.after(notice);
    const gap = notice.getBoundingClientRect().top - one.getBoundingClientRect().bottom;
    notice.remove();
    return one.offsetHeight && gap < 8;
}).map(one => one.outerHTML.slice(0, 80))"""
"""What of a page a notice right after it would touch: "restart due" touched the line of an empty day."""

PATIENCE = 120_000
"""A page may take so long on a busy machine [ms]."""
LEFT = "net::ERR_ABORTED"
"""The browser went on to the next page while it fetched the icon of the last."""


@attrs.frozen
class Evening:
    """A shop with three tablets ashore and its first manager."""

    server: Server
    tablets: tuple[Path, ...]
    browser: Any

    @property
    def address(self) -> str:
        return f"https://127.0.0.1:{self.server.port}"

    def window(self, size: dict[str, int], *, script: bool = True) -> Any:
        """A window in which the manager is signed in."""
        context = self.browser.new_context(ignore_https_errors=True, viewport=size, java_script_enabled=script)
        page = context.new_page()
        page.set_default_timeout(PATIENCE)
        sign_in(page, self.server.port)
        return page


def bring_ashore(folder: Path, code: str = "", name: str = "") -> None:
    """The command brings a tablet's folder ashore, over the network to the server's process."""
    pairing = ["--pair", code, "--name", name] if code else []
    done = CliRunner().invoke(program, ["ashore", "--folder", str(folder), *pairing])
    assert done.exit_code == 0, done.output


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with sync_api.sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield opened
        opened.close()


@contextmanager
def an_evening(base: Path, browser: Any) -> Iterator[Evening]:
    day = make_day({file.parent.name: file for file in sample_job_files()}, base)
    server = Server(base / "office")
    codes = [server.start(), server.new_code(), server.new_code()]
    try:
        for number, (folder, code) in enumerate(zip(day.tablets, codes, strict=True), start=1):
            bring_ashore(folder, code, f"Tablet {number}")
        make_first_manager(browser, server.port)
        yield Evening(server, day.tablets, browser)
    finally:
        server.kill()


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory, browser: Any) -> Iterator[Evening]:
    """One for all who only look."""
    with an_evening(tmp_path_factory.mktemp("evening"), browser) as found:
        yield found


@pytest.fixture
def own_evening(tmp_path: Path, browser: Any) -> Iterator[Evening]:
    """For who changes what the others look at: nobody knows the order in which two workers take them."""
    with an_evening(tmp_path, browser) as found:
        yield found


PLACES = (
    "/",
    "/days/2026-05-15?by=entered",
    "/days/2026-01-01",
    f"/boats/{SALTGRASS}",
    f"/boats/{KITTIWAKE}",
    f"/boats/{SALTGRASS}/jobs/saltgrass-2026-05/history?of=prop_check.full_throttle/speed/2",
    f"/boats/{SALTGRASS}/move?job=saltgrass-2026-05&q=long",
    "/boats?q=saltgrass",
    "/board",
    "/board?change=1&view=all#filter",
    f"/boats/{SALTGRASS}/plan?job=saltgrass-2026-05",
    "/tablets",
    "/people",
    "/changes",
    "/plugins",
    "/plugins/new-check",
    "/settings",
    "/settings/wiring_audit.drop_other",
    "/settings/prop_check.shelf",
    "/memory",
    "/insight",
    "/data",
    "/nowhere",
)


@pytest.mark.parametrize("size", [pytest.param(DESK, marks=pytest.mark.long), PHONE], ids=["desk", "phone"])
def test_every_page_is_usable_without_sight_and_fits_its_window(evening: Evening, size: dict[str, int]) -> None:
    page = evening.window(size)
    script = (Path(axe.__file__).parent / "axe.min.js").read_text()
    for place in [place for begin in anew(3) for place in PLACES[begin::3]]:
        page.goto(evening.address + place)
        page.evaluate("document.querySelectorAll('details').forEach(details => details.open = true)")
        page.evaluate(script)
        assert page.evaluate(RULES) == [], place
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"], place
        assert page.evaluate(TOUCHING) == [], place
    page.context.close()


def test_the_board_is_walked_by_arrow_keys_and_fits_desk_tablet_and_phone(evening: Evening) -> None:
    page = evening.window({"width": 1440, "height": 900})
    script = (Path(axe.__file__).parent / "axe.min.js").read_text()
    focused = "[...document.querySelectorAll('[data-row]')].indexOf(document.activeElement)"
    for _ in range(600):  # the server makes the rows beside its other work
        page.goto(f"{evening.address}/board?view=all")
        if page.locator("[data-row]").count() > 2 and not page.get_by_text("judged anew").count():
            break
        page.wait_for_timeout(100)
    page.locator("[data-row]").first.focus()
    walked = []
    for key in ("ArrowDown", "ArrowDown", "ArrowUp", "ArrowUp", "ArrowUp"):
        page.keyboard.press(key)
        walked.append(page.evaluate(focused))
    assert walked == [1, 2, 1, 0, 0]
    heights = page.evaluate("[...document.querySelectorAll('tbody tr')].map(row => row.offsetHeight)")
    assert max(heights) <= 40, "one line a row at a desk"
    page.evaluate(LONG_CELLS)
    assert max(page.evaluate(PAST_ITS_CELL.format(".heard"))) <= 0, "a long name is cut, never how long ago"
    assert max(page.evaluate(PAST_ITS_CELL.format(".open b"))) <= 0, "what is open is cut, never how much more is"
    page.set_viewport_size({"width": 1280, "height": 800})
    page.evaluate(
        "document.querySelectorAll('.what').forEach(one => { one.textContent = 'Labels: 6 of 7. '.repeat(6) })"
    )
    cut = "[...document.querySelectorAll('.what')].map(one => one.scrollWidth - one.clientWidth)"
    assert max(page.evaluate(cut)) <= 0, "96 letters of what is open are not cut"
    assert page.locator("th a").first.is_visible(), "its rows are sorted by their heads"
    page.set_viewport_size({"width": 820, "height": 1180})
    assert max(page.evaluate(PAST_ITS_CELL.format(".waits > *"))) <= 0, "whom it waits for does not run into the day"
    for width, height in ((1440, 900), (820, 1180), (390, 844)):
        page.set_viewport_size({"width": width, "height": height})
        page.evaluate(script)
        assert page.evaluate(RULES) == [], width
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.context.close()


@pytest.mark.long
def test_nothing_on_a_page_is_blocked_or_fails(evening: Evening) -> None:
    page = evening.window(DESK)
    told: list[str] = []
    page.on("console", lambda message: told.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: told.append(str(error)))
    page.on("requestfailed", lambda request: None if request.failure == LEFT else told.append(request.url))
    for place in PLACES[:-1]:
        page.goto(evening.address + place, wait_until="networkidle")
    assert told == []
    page.goto(f"{evening.address}/boats/{KITTIWAKE}")
    picture = page.locator("img.figure").first
    picture.scroll_into_view_if_needed()
    assert picture.evaluate("picture => picture.decode().then(() => picture.naturalWidth)") > 0
    page.context.close()


def test_the_keyboard_reaches_the_content_first_and_then_every_choice(evening: Evening) -> None:
    page = evening.window(DESK)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    reached = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.name || document.activeElement.textContent.trim()"))
    assert {"value", "reason", "Use the chosen value", "Sign as manager …"} <= reached
    page.context.close()


def test_on_paper_the_sheet_has_what_matters_and_nothing_to_click(evening: Evening) -> None:
    page = evening.window(DESK)
    text = printed_words(page.pdf(format="Letter"))
    for words in ("Saltgrass", "31.9 kn", "31.4 kn", "Punch list", "Kittiwake", "Stale signatures"):
        assert words in text, words
    for words in ("Sign out", "Use the chosen value", "Sign as manager", "Full report"):
        assert words not in text, words
    page.context.close()


def test_the_manager_settles_joins_and_takes_the_book_and_the_tablets_learn_of_it(own_evening: Evening) -> None:
    """Without any script: the forms are plain forms."""
    page = own_evening.window(DESK, script=False)
    boat = page.locator(f"#boat-{SALTGRASS}")
    boat.get_by_label("31.9 kn").check()
    boat.get_by_label("Why").first.fill("read at the plotter during the run")
    boat.get_by_role("button", name="Use the chosen value").click()
    assert page.get_by_role("status").text_content().startswith("Settled.")
    assert page.get_by_text("To settle", exact=True).count() == 0

    alike = page.locator(f"#boat-{MISTYPED}")
    alike.get_by_text("Same boat …").click()
    form = alike.locator("form[action$='/same-boat']")
    form.get_by_label("Why").fill("letter for a digit")
    form.get_by_role("button", name="Mark as one boat").click()
    assert page.locator(f"#boat-{LONG_REACH}").or_(page.locator(f"#boat-{MISTYPED}")).count() == 1

    with page.expect_download() as download:
        page.locator(f"#boat-{SALTGRASS}").get_by_role("link", name="Handover book, PDF").click()
    book = Path(download.value.path()).read_bytes()
    assert "Saltgrass" in page_texts(book)[0]
    assert "choose the right one" not in printed_words(book)
    page.context.close()

    bring_ashore(own_evening.tablets[1])
    with HullFolder(own_evening.tablets[1], read_only=True) as tablet:
        (entry,) = replay(SALTGRASS, tablet.entries(SALTGRASS)).current(SPEED)
    assert (entry.by, entry.value, entry.more["reason"]) == (CHIEF, "31.9 kn", "read at the plotter during the run")


LAID_OUT = {"width": 1440, "height": 900}
TAB_STOPS = """[...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary,\
 [tabindex="0"]')].filter(one => one.checkVisibility()).length"""


def test_a_finished_boat_fits_two_screens_and_a_half_sixty_tab_stops_and_seven_printed_pages(evening: Evening) -> None:
    page = evening.window(LAID_OUT)
    page.goto(f"{evening.address}/boats/{KITTIWAKE}")
    assert page.evaluate("document.documentElement.scrollHeight") < 2.5 * LAID_OUT["height"]
    assert 0 < page.evaluate(TAB_STOPS) <= 60
    for paper in ("Letter", "A4"):
        printed = page.pdf(format=paper)
        text = printed_words(printed)
        assert len(page_texts(printed)) < 8, paper
        for words in ("Full speed", "Stale signatures", "Alongside, passed:", "15.3 x 19 in, 3 blades, left"):
            assert words in " ".join(text.split()), words
    page.get_by_role("link", name="Under way").click()
    assert page.locator("#phase-1-2 .finding").first.is_visible()  # a link into a fold opens it
    page.context.close()


THUMB = 44
"""The least side of what a thumb presses [CSS px]: W3C WCAG 2.2, success criterion 2.5.5."""


def test_a_lost_tablet_is_shut_out_with_one_thumb(evening: Evening) -> None:
    """On a phone: whatever is pressed lies in the window, as wide as a thumb needs, and nothing is moved sideways."""
    page = evening.window(PHONE)
    page.goto(f"{evening.address}/tablets")
    assert page.evaluate("[...document.querySelectorAll('.wide')].every(one => one.scrollWidth <= one.clientWidth)")
    for press in (page.get_by_text("Remove Tablet 3 …"), page.get_by_role("button", name="Remove Tablet 3")):
        press.scroll_into_view_if_needed()
        box = press.bounding_box()
        assert min(box["width"], box["height"]) >= THUMB
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= PHONE["width"]
        press.click()
    assert page.get_by_role("status").text_content() == "The tablet is removed. It can no longer read or write."
    card = page.locator("tr.gone")
    assert card.count() == 1
    assert "Tablet 3" in card.text_content()
    page.context.close()
