"""A shop with an invented day in it and its pages, asked without a socket."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import attrs
import httpx2
import pytest
from argon2 import PasswordHasher
from jinja2 import BytecodeCache
from jinja2.bccache import Bucket
from starlette.testclient import TestClient

from garboard.demo.demo_day import make_day
from garboard.demo.samples_folder import sample_job_files
from garboard.disk.hullfile import HullFolder
from garboard.hosting.host import PluginHost
from garboard_shop.app import make_app
from garboard_shop.embedded import SHOP_FOLDER, EmbeddedStore
from garboard_shop.pages import people
from garboard_shop.pages.desk import ShopDesk
from garboard_shop.pages.index import Index
from garboard_shop.pages.plugins import WAITING_FOLDER
from garboard_shop.pages.views import routes_of
from garboard_shop.pages.visits import lost_in
from garboard_shop.store import MANAGER, TECHNICIAN, Tablet, WebUser

NOON = 1_795_608_000_000
"""2026-11-25 12:00 UTC [ms]; the day's tablets came ashore in the hour before."""
MINUTE = 60_000
PASSWORD = "a short sentence"
CHIEF, HAND = "M. Office", "R. Vane"
SALTGRASS, KITTIWAKE, LONG_REACH = "QQZ04417D626", "QQZ08832B626", "QQZ01209A626"
MISTYPED = "QQZO1209A626"
OFFSETS = {1: 0, 2: 300, 3: -24 * 60 * MINUTE}
"""How far the shop's clock was ahead of each tablet's [ms]."""


def make_shop(base: Path) -> Path:
    """The demo day brought ashore by three tablets; returns the shop's folder."""
    make_day({file.parent.name: file for file in sample_job_files()}, base)
    folder = base / "office"
    store = EmbeddedStore(folder)
    for number, offset in OFFSETS.items():
        at = NOON - (4 - number) * 10 * MINUTE
        tablet = Tablet(
            id=f"00000000000{number}",
            name=f"Tablet {number}",
            role=TECHNICIAN,
            token_hash=f"{number}" * 64,
            paired_at=NOON - 9_000 * MINUTE,
        )
        store.register.add_tablet(tablet)
        store.register.note_contact(tablet.id, at, offset)
        with HullFolder(base / "tablets" / str(number), read_only=True) as source:
            for hull in source.hulls():
                store.put_if_absent({hull: source.get(hull)}, tablet.id, at, offset)
            for name in source.attachments.names():
                store.hulls.attachments.put(source.attachments.get(name))
    hashed = people.make_user(CHIEF, MANAGER, PASSWORD).password_hash
    for name, role in ((CHIEF, MANAGER), (HAND, TECHNICIAN)):
        store.register.put_user(WebUser(name=name, role=role, password_hash=hashed), "Ines", NOON)
    store.close()
    return folder


@contextmanager
def light_passwords() -> Iterator[None]:
    """Argon2id at its cheapest: what guards a real shop's passwords is the cost, what these tests look at is not."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(people, "_hasher", PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
        people._nobody.cache_clear()
        yield
    people._nobody.cache_clear()


class _Compiled(BytecodeCache):
    """Each desk has templates of its own; what they are compiled to is the same for all desks of the tests."""

    def __init__(self) -> None:
        self._kept: dict[tuple[str, str], Any] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        bucket.code = self._kept.get((bucket.key, bucket.checksum))

    def dump_bytecode(self, bucket: Bucket) -> None:
        self._kept[bucket.key, bucket.checksum] = bucket.code


COMPILED = _Compiled()


class Pages:
    """The pages over a shop's folder. The clock stands at noon until it is moved."""

    def __init__(self, folder: Path, host: PluginHost) -> None:
        self.store = EmbeddedStore(folder)
        self.at = NOON
        self.drop = folder / WAITING_FOLDER
        self.desk = ShopDesk(self.store, host, folder / SHOP_FOLDER, drop=self.drop, now=lambda: self.at)
        self.desk.index = Index(self.store, now=lambda: self.at)  # assesses nothing ahead, so that a test stays short
        self.desk.index.refresh()
        self.desk.templates.bytecode_cache = COMPILED
        self.app = make_app(self.store, now=lambda: self.at, routes=routes_of(self.desk), lost=lost_in(self.desk))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.store.close()

    def browser(self, address: str = "192.0.2.7", host: str = "shop.test") -> Browser:
        """A browser nobody is signed in with."""
        client = TestClient(self.app, base_url=f"https://{host}", client=(address, 50000), follow_redirects=False)
        return Browser(client)

    def signed_in(self, name: str = CHIEF) -> Browser:
        browser = self.browser()
        assert browser.sign_in(name).status_code == 303
        return browser

    def entries(self) -> int:
        """How many entries the shop holds."""
        return sum(holding.entries for holding in self.store.digests().values())


@attrs.define
class Browser:
    """Asks for pages and fills in their forms, as a person does."""

    client: TestClient

    def get(self, path: str) -> httpx2.Response:
        return self.client.get(path)

    def text(self, path: str) -> str:
        """A page's source. It must be there."""
        answer = self.get(path)
        assert answer.status_code == 200, answer.text
        return answer.text

    def sign_in(self, name: str = CHIEF, password: str = PASSWORD, **more: str) -> httpx2.Response:
        return self.post("/sign-in", {"name": name, "password": password, **more})

    def post(self, path: str, fields: dict[str, str], headers: dict[str, str] | None = None) -> httpx2.Response:
        return self.client.post(path, data=fields, headers=headers)

    def csrf(self) -> str:
        """What this session's forms carry."""
        return fields_of(forms_in(self.text("/tablets"))[0])["csrf"]

    def send(self, form: Form, **fields: str) -> httpx2.Response:
        """Send a form with some fields filled in."""
        return self.post(form.action, {**fields_of(form), **fields})


@attrs.define
class Form:
    """A form on a page: where it goes, and its inputs by name."""

    action: str
    inputs: list[dict[str, str]] = attrs.field(factory=list)


def fields_of(form: Form) -> dict[str, str]:
    """What a browser would send without anything filled in; of radio buttons, none."""
    return {one["name"]: one.get("value", "") for one in form.inputs if one.get("type") != "radio" and "name" in one}


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.forms: list[Form] = []
        self.tags: list[tuple[str, dict[str, str]]] = []

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attributes}
        self.tags.append((tag, found))
        if tag == "form":
            self.forms.append(Form(found.get("action", "")))
        elif tag in ("input", "select") and self.forms:
            self.forms[-1].inputs.append(found)


def tags_in(page: str) -> list[tuple[str, dict[str, str]]]:
    """Every tag of a page with its attributes, as a browser reads them."""
    reader = _Reader()
    reader.feed(page)
    return reader.tags


def forms_in(page: str) -> list[Form]:
    reader = _Reader()
    reader.feed(page)
    return reader.forms


def form_to(page: str, action: str, **fields: str) -> Form:
    """The one form of a page that goes somewhere, with some hidden fields as given."""
    found = [
        form
        for form in forms_in(page)
        if form.action == action and all(fields_of(form).get(name) == value for name, value in fields.items())
    ]
    assert len(found) == 1, f"{len(found)} forms go to {action}"
    return found[0]


_TAG = re.compile(r"""<!--.*?-->|</?[a-zA-Z!](?:[^"'>]|"[^"]*"|'[^']*')*>""", re.DOTALL)


def words_of(page: str) -> str:
    """What a person reads on a page. Not by Python's parser of HTML, which took a tenth of the time of these tests."""
    body = re.sub(r"(?s)<(script|style|head)\b.*?</\1>", " ", page)
    return " ".join(" ".join(map(unescape, _TAG.split(body))).split())


def make_first_manager(browser: Any, port: int) -> None:
    """The first person at the pages of a new shop, in a real browser."""
    page = browser.new_context(ignore_https_errors=True).new_page()
    page.set_default_timeout(120_000)  # [ms]: a busy machine
    page.goto(f"https://127.0.0.1:{port}/")
    page.get_by_label("Your name").fill(CHIEF)
    page.get_by_label("Password, at least").fill(PASSWORD)
    page.get_by_label("Repeat the password").fill(PASSWORD)
    page.get_by_role("button", name="Create").click()
    page.wait_for_url("**/days/**")


def sign_in(page: Any, port: int) -> None:
    """The manager signs in, in a real browser; the day sheet is shown."""
    page.goto(f"https://127.0.0.1:{port}/sign-in")
    page.get_by_label("Name").fill(CHIEF)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/days/**")
