"""What a stranger's request meets at the pages: addresses that do not exist, hosts and origins that are none."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import httpx2
import pytest

from campaigns.strangers_campaign import Strangers, ask_everything
from garboard.hosting.host import PluginHost
from pages_rig import Browser, Pages, words_of
from shop_rig import server_log

BROWSER = {"accept": "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"}
NOWHERE = ("/nowhere", "/boats/", "/tablets/x/y", "/%2e%2e/%2e%2e/etc/passwd", "/\u202e", "/days/2026-11-25/")
HOSTS = ("[", "[::1", "a/../..#", "x?y", "ex\xe4mple", "a b", "xn--", "x:99999", "\u00b2", "")


@pytest.fixture(scope="module")
def pages(delivered_day: Path, plugins: PluginHost, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Pages]:
    """One shop for all of them: what a stranger asks changes nothing, which the last test shows."""
    folder = tmp_path_factory.mktemp("strangers") / "shop"
    shutil.copytree(delivered_day, folder)
    with Pages(folder, plugins) as found:
        yield found


def of_browser(browser: Browser, path: str, method: str = "GET") -> tuple[int, str, str]:
    answer = browser.client.request(method, path, headers=BROWSER)
    return answer.status_code, answer.headers["content-type"], answer.text


@pytest.mark.parametrize("path", NOWHERE)
def test_an_address_that_does_not_exist_is_a_page_for_a_browser_and_json_for_a_program(pages: Pages, path: str) -> None:
    status, kind, text = of_browser(pages.browser(), path)
    assert (status, kind) == (404, "text/html; charset=utf-8")
    assert "There is no page at this address." in words_of(text)
    assert '<a href="/sign-in">Sign in</a>' in text
    assert (
        "frame-ancestors 'none'" in pages.browser().client.get(path, headers=BROWSER).headers["content-security-policy"]
    )
    told = pages.browser().client.get(path, headers={"accept": "*/*"})
    assert (told.status_code, told.headers["content-type"]) == (404, "application/json")
    assert json.loads(told.content).keys() == {"refused"}


def test_the_page_for_a_lost_address_knows_who_is_signed_in(manager: Browser) -> None:
    status, _, text = of_browser(manager, "/nowhere")
    assert status == 404
    assert "Sign out" in text
    assert '<a href="/sign-in">' not in text


def test_a_method_no_page_takes_is_told_to_a_browser_too_and_the_protocol_speaks_json_to_all(pages: Pages) -> None:
    assert of_browser(pages.browser(), "/tablets", "DELETE")[:2] == (405, "text/html; charset=utf-8")
    assert of_browser(pages.browser(), "/v1/nowhere")[:2] == (404, "application/json")
    assert of_browser(pages.browser(), "/v1/digests", "PATCH")[:2] == (405, "application/json")


@pytest.mark.parametrize("host", HOSTS)
def test_a_host_that_is_none_breaks_no_page(pages: Pages, host: str) -> None:
    stranger = pages.browser()
    with server_log() as failures:
        for path in ("/tablets", "/nowhere", "/sign-in", "/days/2026-11-25"):
            answer = stranger.client.get(path, headers={b"host": host.encode(), b"accept": b"text/html"})
            assert answer.status_code in (200, 303, 404), path
            assert answer.headers.get("location", "/sign-in").startswith("/sign-in"), path
    assert failures == []


@pytest.mark.parametrize(
    "origin", ["https://[", "https://[::1", "null", "http://shop.test", "https://shop.test.x", "\xff"]
)
def test_an_origin_that_is_not_this_server_is_refused_and_breaks_nothing(
    pages: Pages, manager: Browser, origin: str
) -> None:
    with server_log() as failures:
        answer = manager.client.post(
            "/tablets/000000000001/remove",
            data={"csrf": manager.csrf()},
            headers={b"origin": origin.encode("latin-1")},
        )
    assert answer.status_code == 403
    assert failures == []
    assert not is_removed(pages, "000000000001")


def is_removed(pages: Pages, tablet: str) -> bool:
    (found,) = (one.is_removed for one in pages.store.register.tablets() if one.id == tablet)
    return found


def test_the_origin_of_this_server_is_its_own(pages: Pages, manager: Browser) -> None:
    """Of another tablet than strangers ask for: the order of these tests is not known."""
    form = {"csrf": manager.csrf()}
    answer = manager.post("/tablets/000000000002/remove", form, {"origin": "https://shop.test"})
    assert answer.status_code == 303
    assert is_removed(pages, "000000000002")


@pytest.mark.parametrize("name", ["x" * 300, "\x00", "../views.py", "page.css/", "look.css\x00", "PAGE.CSS"])
def test_a_static_file_is_asked_for_by_its_name_alone(pages: Pages, name: str) -> None:
    with server_log() as failures:
        answer = pages.browser().client.get(f"/static/{quote(name, safe='')}")
    assert (answer.status_code, failures) == (404, [])


def test_whatever_is_asked_of_any_route_is_answered_and_no_stranger_sees_or_changes_a_thing(
    plugins: PluginHost, tmp_path: Path
) -> None:
    """The campaign's first part, shortened; `python tests/campaigns/strangers_campaign.py` is the whole of it."""
    tally = ask_everything(tmp_path, plugins, 1)
    print(tally)
    assert tally.faults == []
    assert len(tally.routes) > 80
    assert tally.asked >= len(tally.routes)
    assert {200, 303, 400, 401, 403, 404, 405} <= set(tally.statuses)


def test_the_campaign_would_tell_what_must_not_be(pages: Pages) -> None:
    """So that its silence means something: each kind of wrong answer, as somebody unknown would hear it."""
    strangers = Strangers(pages)
    page = {"content-type": "text/html", "location": "//elsewhere.test"}
    told = set(strangers.faults_of(httpx2.Response(500, headers=page, text="Traceback"), "/boats", "nobody", ()))
    assert told == {
        "status 500",
        "tells 'Traceback'",
        "leads to '//elsewhere.test'",
        "may be framed",
        "changed by a stranger",
    }
    assert "shown to a stranger" in set(
        strangers.faults_of(httpx2.Response(200, text=""), "/boats", "nobody", strangers.kept())
    )
