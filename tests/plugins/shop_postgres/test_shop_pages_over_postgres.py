"""The day sheet and its pages say the same whether the shop is kept in its folder or in PostgreSQL."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from operator import attrgetter
from pathlib import Path
from typing import Any

import attrs
import psycopg
import pytest

from garboard.disk.clock import Stamp
from garboard.disk.entries import make_entry
from garboard.disk.hullfile import CheckedEntries
from garboard.hosting.host import PluginHost, make_host
from garboard_shop.app import make_app
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.moving import copy_shop
from garboard_shop.pages.desk import ShopDesk
from garboard_shop.pages.index import Index
from garboard_shop.pages.people import make_user
from garboard_shop.pages.remembering import Remembering
from garboard_shop.pages.views import routes_of
from garboard_shop.postgres import PostgresStore
from garboard_shop.store import MANAGER, ShopPlugin, Store
from pages_rig import (
    CHIEF,
    KITTIWAKE,
    LONG_REACH,
    NOON,
    PASSWORD,
    SALTGRASS,
    Browser,
    Pages,
    form_to,
    light_passwords,
    make_shop,
)
from setting_jobs import DROP
from shop_of_rows import fill_with_rows

OF_THE_SESSION = re.compile(r'name="csrf" value="[^"]*"')


class PagesOver(Pages):
    """The pages over any store."""

    def __init__(self, store: Store, folder: Path, host: PluginHost | None = None) -> None:
        self.store = store  # type: ignore[assignment]  # the tests of a folder look into it; these do not
        self.at = NOON
        self.drop = folder / "waiting"
        self.desk = ShopDesk(store, host or make_host(entry_points=False), drop=self.drop, now=lambda: self.at)
        self.desk.index = Index(store, now=lambda: self.at)
        self.desk.index.refresh()
        self.app = make_app(store, now=lambda: self.at, routes=routes_of(self.desk))


@pytest.fixture(scope="module")
def both(
    new_yard: Callable[[str], str], tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[PagesOver, PagesOver]]:
    """The same day, in its folder and in a database."""
    base = tmp_path_factory.mktemp("day")
    folder = make_shop(base)
    with closing(EmbeddedStore(folder)) as here, closing(PostgresStore(new_yard("spread"))) as there:
        assert copy_shop(here, there).is_whole
        yield PagesOver(here, base), PagesOver(there, base)


def said(browser: Browser, path: str) -> str:
    return OF_THE_SESSION.sub("", browser.text(path))


@pytest.mark.parametrize(
    "path",
    [
        "/days/2026-11-25",
        *(f"/boats/{hull}" for hull in (SALTGRASS, KITTIWAKE, LONG_REACH)),
        "/tablets",
        "/boats",
        "/boats?q=salt",
        f"/boats?q={SALTGRASS[3:8]}",
        "/boats?day=2026-11-25",
    ],
)
def test_a_page_over_the_database_says_what_the_page_over_the_folder_says(
    both: tuple[PagesOver, PagesOver], path: str
) -> None:
    folder, database = (said(pages.signed_in(), path) for pages in both)
    assert len(folder) > 1000
    assert database == folder


def test_a_view_saved_over_both_stands_above_the_board_and_is_there_after_a_start(
    both: tuple[PagesOver, PagesOver],
) -> None:
    for pages in both:
        manager = pages.signed_in()
        form = form_to(manager.text("/board/views?asked=state%3Dfailing"), "/board/views")
        assert manager.send(form, name="What fails").status_code == 303
        assert '<a href="/board?state=failing">What fails</a>' in manager.text("/board")
        (saved,) = Remembering(pages.store, pages.desk.summaries.of).views
        assert (saved.name, saved.asked, saved.by) == ("What fails", "state=failing", CHIEF)


OVER_ROWS = (
    "/board",
    "/board?view=all&sort=boat&page=2",
    "/board?q=northlight",
    "/board?q=northlihgt",
    "/board?view=all&handed=2026-10-05%2B56&sort=took",
    "/insight",
    "/memory",
    "/tablets",
    "/days/2026-11-25",
)


def test_pages_ask_the_database_as_often_and_for_as_much_however_many_boats_there_are(
    both: tuple[PagesOver, PagesOver],
    new_yard: Callable[[str], str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: dict[str, int] = {"queries": 0, "rows": 0}
    execute = psycopg.Cursor.execute

    def counted(cursor: psycopg.Cursor[Any], *query: Any, **more: Any) -> psycopg.Cursor[Any]:
        found = execute(cursor, *query, **more)
        asked["queries"], asked["rows"] = asked["queries"] + 1, asked["rows"] + max(0, found.rowcount)
        return found

    monkeypatch.setattr(psycopg.Cursor, "execute", counted)
    work: list[dict[str, tuple[int, int]]] = []
    for number in (60, 240):
        with light_passwords(), closing(PostgresStore(new_yard("spread"))) as store:
            store.register.put_user(make_user(CHIEF, MANAGER, PASSWORD), CHIEF, NOON)
            fill_with_rows(store, number)
            pages = PagesOver(store, tmp_path, both[0].desk.host)
            manager = pages.signed_in()
            assert len(pages.desk.remembering.memory.jobs()) == number
            here: dict[str, tuple[int, int]] = {}
            for path in OVER_ROWS:
                manager.text(path)
                asked.update(queries=0, rows=0)
                manager.text(path)
                here[path] = asked["queries"], asked["rows"]
            work.append(here)
    assert work[0] == work[1]
    assert max(queries for queries, _ in work[1].values()) <= 10
    assert min(queries for queries, _ in work[1].values()) >= 1, "what a page asks is counted"


def test_a_boat_that_comes_ashore_later_is_found_over_both(both: tuple[PagesOver, PagesOver]) -> None:
    """Entered twice, the name entered last is the one shown, whatever order the entries are kept in."""
    names = ("Gannet", "Sandpiper")
    made = [
        make_entry(
            "field",
            "XYZ00001A626",
            dev="tablet 1",
            by="R. Vane",
            clock=Stamp(NOON, number),
            at="2026-11-25T10:00:00+00:00",
            subject=("name",),
            value=name,
        )
        for number, name in enumerate(names)
    ]
    for pages in both:
        assert pages.desk.index.search("gannet") == ()
        offered = {one.hull_key: CheckedEntries((each.id, each.raw) for each in made) for one in made}
        pages.store.put_if_absent(offered, "000000000001", NOON, 0)
        pages.desk.index.refresh()
        assert [card.name for card in pages.desk.index.search("sandpiper")] == ["Sandpiper"]
        assert [card.name for card in pages.desk.index.search("xyz00001 a626", "2026-11-25")] == ["Sandpiper"]


SECOND = "K. Second"
Doing = Callable[[Browser], Callable[[], int]]


@pytest.fixture
def two_servers(new_yard: Callable[[str], str], tmp_path: Path) -> Iterator[tuple[PagesOver, PagesOver]]:
    """Of one shop, with a manager each."""
    url = new_yard("spread")
    with light_passwords(), closing(PostgresStore(url)) as one, closing(PostgresStore(url)) as other:
        for name in (CHIEF, SECOND):
            one.register.put_user(make_user(name, MANAGER, PASSWORD), name, NOON)
        one.register.put_plugin(CHECKS)
        yield PagesOver(one, tmp_path), PagesOver(other, tmp_path)


CHECKS = ShopPlugin(name="checks", sha256="0" * 64, approved_by="Ines", approved_at=NOON)


def _sets(value: str) -> Doing:
    def look(browser: Browser) -> Callable[[], int]:
        page = f"/settings/{DROP}"
        looked = browser.send(form_to(browser.text(page), f"{page}/look", reset=""), value=value, reason="ours")
        return lambda: browser.send(form_to(looked.text, f"{page}/set")).status_code

    return look


def _posts(path: str, **fields: str) -> Doing:
    def look(browser: Browser) -> Callable[[], int]:
        form = {"csrf": browser.csrf(), **fields}
        return lambda: browser.post(path, form).status_code

    return look


def _adds(name: str) -> Doing:
    return _posts("/people/add", name=name, role=MANAGER, password=PASSWORD, again=PASSWORD)


@pytest.mark.parametrize(
    ("saves", "does", "refused"),
    [
        ("store.put_if_absent", (_sets("5 %"), _sets("7 %")), 409),
        ("store.put_if_absent", (_posts("/boats/new", hull=KITTIWAKE), _posts("/boats/new", hull=KITTIWAKE)), 400),
        ("store.register.put_user", (_adds("T. Quill"), _adds("t.  QUILL")), 400),
        (
            "store.register.put_user",
            (_posts("/people/remove", name=SECOND), _posts("/people/remove", name=CHIEF)),
            409,
        ),
        (
            "store.register.put_plugin",
            (_posts("/plugins/withdraw", name="checks"), _posts("/plugins/withdraw", name="checks")),
            409,
        ),
    ],
)
def test_of_two_who_decide_at_once_over_two_servers_the_second_is_told(
    two_servers: tuple[PagesOver, PagesOver],
    monkeypatch: pytest.MonkeyPatch,
    saves: str,
    does: tuple[Doing, Doing],
    refused: int,
) -> None:
    """The second asks while the first is being saved."""
    first, second = (
        do(pages.signed_in(name)) for do, pages, name in zip(does, two_servers, (CHIEF, SECOND), strict=True)
    )
    statuses: list[int] = []
    other = threading.Thread(target=lambda: statuses.append(second()))
    where, _, call = saves.rpartition(".")
    holder = attrgetter(where)(two_servers[0])
    save = getattr(holder, call)

    def slow(*given: Any, **named: Any) -> Any:
        if not other.ident:
            other.start()
            other.join(0.2)
        return save(*given, **named)

    monkeypatch.setattr(holder, call, slow)
    statuses.append(first())
    other.join(60)
    assert sorted(statuses) in ([303, refused], [303, 403]), "who was removed meanwhile is not signed in any more"


def test_what_was_decided_of_a_plugin_meanwhile_stays(two_servers: tuple[PagesOver, PagesOver]) -> None:
    one, other = (pages.store.register for pages in two_servers)
    newer = attrs.evolve(CHECKS, sha256="1" * 64)
    assert other.put_plugin(newer, [CHECKS])
    assert not one.put_plugin(attrs.evolve(CHECKS, withdrawn_at=NOON, withdrawn_by="Bo"), [CHECKS])
    assert not one.put_plugin(CHECKS, [])
    assert one.plugins() == (newer,)
