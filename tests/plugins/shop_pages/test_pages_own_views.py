"""Views of the board that managers save under names of their own."""

from __future__ import annotations

from garboard.disk.clock import HybridClock
from garboard.disk.entries import SHOP_RECORD
from garboard.disk.hullfile import CheckedEntries
from garboard.history.authoring import Author
from garboard.history.authority import ON_THE_PAGE
from garboard.history.board_views import save_view
from garboard_shop.pages.own_views import OWN_VIEWS
from garboard_shop.pages.people import make_user
from garboard_shop.pages.settings import record_of
from garboard_shop.store import MANAGER
from pages_rig import CHIEF, HAND, NOON, PASSWORD, Browser, Pages, fields_of, form_to, tags_in, words_of

HERE = "/board?view=stuck&technician=R.+Vane&sort=days"
HOSTILE = "<b onclick=\"x\">&'Mine'"


def listed(page: str) -> dict[str, str]:
    """Addresses of the views above the board, each with whether it is the one that is shown."""
    nav = page[page.index('aria-label="Saved views"') :].partition("</nav>")[0]
    return {tag["href"]: tag.get("aria-current", "") for name, tag in tags_in(nav) if name == "a"}


def saving(page: str) -> str:
    """Where a board's page leads to be saved; "" where it does not."""
    return next((tag["href"] for _, tag in tags_in(page) if tag.get("href", "").startswith(OWN_VIEWS)), "")


def save(browser: Browser, name: str) -> int:
    return browser.send(form_to(browser.text(saving(browser.text(HERE))), OWN_VIEWS), name=name).status_code


def test_a_saved_view_stands_above_the_board_for_everybody_until_it_is_removed(pages: Pages, manager: Browser) -> None:
    assert save(manager, "Vane's, stuck") == 303
    hand = pages.signed_in(HAND)
    page = hand.text("/board")
    assert listed(page)[HERE] == ""
    assert listed(hand.text(f"{HERE}&page=2"))[HERE] == "page"
    assert f"Vane's, stuck {CHIEF}" in words_of(page)
    assert not saving(page)
    assert hand.post(OWN_VIEWS, {"csrf": hand.csrf(), "name": "mine", "asked": ""}).status_code == 403
    assert hand.get(OWN_VIEWS).status_code == 403

    pages.store.register.put_user(make_user("K. Second", MANAGER, PASSWORD), CHIEF, NOON)
    second = pages.signed_in("K. Second")
    form = form_to(second.text(OWN_VIEWS), f"{OWN_VIEWS}/rename")
    assert second.send(form, name=HOSTILE).status_code == 303
    page = manager.text("/board")
    assert f"{HOSTILE} K. Second" in words_of(page)
    assert "onclick" not in {name for _, tag in tags_in(page) for name in tag}

    assert manager.post(f"{OWN_VIEWS}/remove", {**fields_of(form), "csrf": manager.csrf()}).status_code == 303
    assert HERE not in listed(manager.text("/board"))
    assert "No view is saved." in words_of(manager.text(OWN_VIEWS))
    assert second.send(form, name="Back").status_code == 400


def test_no_two_views_above_the_board_are_called_the_same(pages: Pages, manager: Browser) -> None:
    assert [save(manager, name) for name in ("Zo\u00eb's", "Zoe\u0308's", "everything  open")] == [303, 400, 400]


def test_what_is_asked_leads_to_the_board_and_nowhere_else(pages: Pages, manager: Browser) -> None:
    form = form_to(manager.text(saving(manager.text(HERE))), OWN_VIEWS)
    sent = manager.send(form, name="Odd", asked="view=nowhere&next=//x.test&state=failing&page=7")
    assert sent.headers["location"] == "/board?state=failing"
    author = Author(ON_THE_PAGE, "Elsewhere", HybridClock())
    entry = save_view(author, record_of(pages.store), "Strange", "javascript:alert(1)&view=all")
    pages.store.put_if_absent({SHOP_RECORD: CheckedEntries({entry.id: entry.raw})}, ON_THE_PAGE, NOON, 0)
    assert "Strange" not in manager.text("/board")
    pages.desk.remembering.behind()  # the next look finds what another server saved
    page = manager.text("/board")
    assert "Strange" in page
    assert all(address.startswith("/board") for address in listed(page))
    assert "javascript" not in page
