"""Who gets in: nobody without a password, no guesser, no form from elsewhere, and a technician only to read."""

from __future__ import annotations

import re
import threading
from http.cookies import SimpleCookie
from pathlib import Path
from typing import Any

import attrs
import httpx2
import pytest
from starlette.routing import Route

from garboard.disk.storage import NotSaved
from garboard.faults import InputError
from garboard.hosting.host import PluginHost
from garboard_shop.brake import InMemory
from garboard_shop.embedded import SHOP_FOLDER, FileRegister
from garboard_shop.naming import keep_name, kept_name
from garboard_shop.pages import people
from garboard_shop.pages.desk import FOLDER
from garboard_shop.pages.views import routes_of
from garboard_shop.pages.visits import COOKIE, KNOWN_COOKIE, MOST_FIELDS
from garboard_shop.store import MANAGER, TECHNICIAN, WebUser
from pages_rig import CHIEF, HAND, KITTIWAKE, MINUTE, NOON, PASSWORD, SALTGRASS, Browser, Pages, words_of

FULL_COST = people._hasher
"""As a shop hashes; the other tests hash at the lowest cost."""
FOR_EVERYONE = {"/sign-in", "/first", "/static/{name}"}
FILLED = {
    "day": "2026-11-25",
    "hull": SALTGRASS,
    "job": "saltgrass-2026-05",
    "name": "x",
    "tablet": "000000000001",
    "key": "wiring_audit.drop_other",
    "form": "sheet",
}


def routes(pages: Pages, method: str) -> list[str]:
    """Addresses of the pages, filled in with what is there."""
    found = [route for route in routes_of(pages.desk) if isinstance(route, Route) and method in (route.methods or ())]
    return [
        route.path.replace(":path", "").replace(":text", "").format(**FILLED)
        for route in found
        if route.path not in FOR_EVERYONE
    ]


def cookies_of(answer: httpx2.Response) -> SimpleCookie:
    return SimpleCookie("\r\n".join(answer.headers.get_list("set-cookie")))


def test_without_a_sign_in_no_page_shows_anything_and_no_form_is_taken(pages: Pages) -> None:
    stranger = pages.browser()
    asked = routes(pages, "GET")
    assert len(asked) > 10
    for path in asked:
        answer = stranger.get(path)
        assert answer.status_code == 303, path
        assert answer.headers["location"].startswith("/sign-in"), path
        assert not answer.content, path
    before = pages.entries()
    for path in routes(pages, "POST"):
        assert stranger.post(path, {"reason": "x"}).status_code == 403, path
    assert pages.entries() == before


def test_a_wrong_password_and_an_unknown_name_are_told_alike(pages: Pages) -> None:
    wrong = pages.browser().sign_in(CHIEF, "not the password")
    nobody = pages.browser().sign_in("Nobody", "not the password")
    assert (wrong.status_code, nobody.status_code) == (403, 403)
    assert words_of(wrong.text) == words_of(nobody.text)
    assert "set-cookie" not in wrong.headers


def test_the_cookies_are_for_this_server_alone_and_no_script_reads_them(pages: Pages) -> None:
    cookies = cookies_of(pages.browser().sign_in())
    assert set(cookies) == {COOKIE, KNOWN_COOKIE}
    for name, cookie in cookies.items():
        assert name.startswith("__Host-")
        assert (cookie["httponly"], cookie["secure"], cookie["samesite"], cookie["path"]) == (True, True, "strict", "/")
        assert not cookie["domain"]
    assert not cookies[COOKIE]["max-age"]  # the session's ends with the browser


def test_guessing_one_name_from_one_address_is_braked_and_let_go_after_a_quarter_of_an_hour(pages: Pages) -> None:
    for _ in range(people.MOST_TRIES_OF_ONE):
        assert pages.browser().sign_in(CHIEF, "a guess").status_code == 403
    braked = pages.browser().sign_in(CHIEF)
    assert braked.status_code == 429
    assert 0 < int(braked.headers["retry-after"]) <= 15 * 60
    assert pages.browser("192.0.2.99").sign_in(CHIEF).status_code == 303
    pages.at += 15 * MINUTE
    assert pages.browser().sign_in(CHIEF).status_code == 303


def test_one_address_cannot_try_name_after_name(pages: Pages) -> None:
    for number in range(people.MOST_TRIES_AN_ADDRESS):
        assert pages.browser().sign_in(f"name {number}", "a guess").status_code == 403
    assert pages.browser().sign_in(CHIEF).status_code == 429
    assert pages.browser("192.0.2.99").sign_in(CHIEF).status_code == 303


def test_many_addresses_are_braked_together_and_let_go_after_an_hour(pages: Pages) -> None:
    for number in range(people.MOST_TRIES_OF_STRANGERS):
        assert pages.browser(f"192.0.2.{number}").sign_in(CHIEF, "a guess").status_code == 403
    assert pages.browser("192.0.2.99").sign_in(CHIEF).status_code == 429
    assert pages.browser("192.0.2.98").sign_in(HAND).status_code == 429
    pages.at += 60 * MINUTE
    assert pages.browser("192.0.2.99").sign_in(CHIEF).status_code == 303


def stated_guesses_a_day() -> int:
    """What the server's README tells the shop."""
    return int(re.findall(r"at most (\d+) guesses a day", (FOLDER.parent / "README.md").read_text())[0])


def test_an_attacker_with_many_addresses_and_names_gets_no_more_guesses_a_day_than_the_readme_says() -> None:
    """Counted over a day: every 2 min three tries, each from an address and for a name never used before."""
    attempts, guesses = people.Attempts(InMemory()), 0
    for second in range(0, 24 * 60 * 60, 120):
        for number in range(3):
            guesses += attempts.begin(f"name {second} {number}", f"{second}.{number}", second * 1000) == 0
    assert guesses == stated_guesses_a_day() == 720


def test_an_attacker_with_one_address_gets_no_more_either() -> None:
    attempts = people.Attempts(InMemory())
    tried = [attempts.begin("M. Office", "192.0.2.66", second * 1000) for second in range(0, 24 * 60 * 60, 60)]
    assert 0 < tried.count(0) <= stated_guesses_a_day()


def test_what_is_kept_of_failed_tries_does_not_grow_with_the_addresses() -> None:
    tally = InMemory()
    attempts = people.Attempts(tally)
    for number in range(500):
        attempts.begin(f"name {number}", f"address {number}", number * 100)
    assert len(tally.askers()) <= 3 * people.MOST_TRIES_OF_STRANGERS


def test_a_restart_of_the_server_lets_no_guesser_go(pages: Pages) -> None:
    for number in range(people.MOST_TRIES_OF_ONE):
        before = people.Attempts(FileRegister(pages.store.hulls.folder))  # each time another program
        assert before.begin(CHIEF, "192.0.2.7", pages.at + number) == 0
    assert pages.browser().sign_in(CHIEF).status_code == 429
    assert pages.browser("192.0.2.99").sign_in(CHIEF).status_code == 303
    pages.at += 16 * MINUTE
    assert pages.browser().sign_in(CHIEF).status_code == 303


def test_a_braked_guess_writes_nothing_and_no_name_can_be_read_in_what_is_kept(pages: Pages) -> None:
    attempts = people.Attempts(pages.store.register)
    while attempts.begin(CHIEF, "192.0.2.7", pages.at) == 0:
        pass
    register = pages.store.register._path
    written, kept = register.stat().st_mtime_ns, register.read_text(encoding="utf-8")
    for number in range(50):
        assert attempts.begin(CHIEF, "192.0.2.7", pages.at + number) > 0
    assert register.stat().st_mtime_ns == written
    assert "192.0.2.7" not in kept
    attempts.begin(HAND, "192.0.2.8", pages.at + 60 * MINUTE)
    assert len(pages.store.register.askers()) == 3  # of this try alone: the others count no more


def test_on_a_full_disk_people_sign_in_and_guessing_is_braked(pages: Pages, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> int:
        raise NotSaved("no space left on the disk")

    monkeypatch.setattr(pages.store.register, "count_try", full)
    monkeypatch.setattr(pages.store.register, "forget", full)
    assert pages.browser("192.0.2.9").sign_in(CHIEF).status_code == 303
    tried = [pages.browser().sign_in(CHIEF, "a guess").status_code for _ in range(people.MOST_TRIES_OF_ONE + 1)]
    assert tried == [403] * people.MOST_TRIES_OF_ONE + [429]


def test_a_clock_that_ran_years_ahead_keeps_nobody_out(pages: Pages) -> None:
    attempts, ahead = people.Attempts(pages.store.register), pages.at + 5 * 365 * 24 * 60 * MINUTE
    while attempts.begin(CHIEF, "192.0.2.7", ahead) == 0:
        pass
    assert pages.browser().sign_in(CHIEF).status_code == 303


def test_a_stranger_does_not_keep_the_manager_out_of_a_browser_that_was_signed_in_before(pages: Pages) -> None:
    """Not from other addresses, not from the same one, not after a restart of the server, not after the session."""
    known = pages.signed_in()
    known.post("/sign-out", {"csrf": known.csrf()})
    for number in range(people.MOST_TRIES_OF_STRANGERS + people.MOST_TRIES_AN_ADDRESS):
        pages.browser().sign_in(CHIEF, "a guess")
        pages.browser(f"192.0.2.{number + 10}").sign_in(CHIEF, "a guess")
    assert pages.browser("192.0.2.200").sign_in().status_code == 429
    assert known.sign_in().status_code == 303
    pages.desk.sessions = people.Sessions()
    assert known.get("/tablets").status_code == 303
    assert known.sign_in().status_code == 303


def test_a_known_browser_is_braked_alone_and_known_for_that_person_only(pages: Pages) -> None:
    known = pages.signed_in(HAND)
    known.post("/sign-out", {"csrf": known.csrf()})
    for _ in range(people.MOST_TRIES_OF_ONE):
        assert known.sign_in(HAND, "a guess").status_code == 403
    assert known.sign_in(HAND).status_code == 429
    assert pages.browser("192.0.2.99").sign_in(HAND).status_code == 303
    for _ in range(people.MOST_TRIES_OF_ONE):
        assert known.sign_in(CHIEF, "a guess").status_code == 403
    assert known.sign_in(CHIEF).status_code == 429


def test_one_browser_is_known_for_several_people(pages: Pages) -> None:
    known = pages.signed_in()
    assert known.sign_in(HAND, csrf=known.csrf()).status_code == 303
    marks = known.client.cookies[KNOWN_COOKIE]
    users = {user.name: user for user in pages.store.register.users()}
    assert all(people.known_by(users[name], marks) for name in (CHIEF, HAND))
    assert known.sign_in(CHIEF, csrf=known.csrf()).status_code == 303
    assert known.client.cookies[KNOWN_COOKIE] == marks


def test_what_a_browser_is_known_by_is_made_for_one_password_and_cannot_be_made_up(pages: Pages) -> None:
    users = {user.name: user for user in pages.store.register.users()}
    mark = people.make_mark(users[CHIEF])
    assert people.known_by(users[CHIEF], mark)
    assert not people.known_by(users[HAND], mark)
    assert not people.known_by(None, mark)
    changed = people.make_user(CHIEF, MANAGER, "another short sentence")
    assert not people.known_by(changed, mark)
    nonce, _, proof = mark.partition(".")
    for other in (
        "",
        ".",
        "~",
        f"{nonce}x.{proof}",
        f"{nonce}.{proof[:-1]}",
        f"{nonce}.",
        "\u00e9.\u00e9",
        mark[:-1] + "g",
    ):
        assert not people.known_by(users[CHIEF], other), other
    assert people.known_by(users[CHIEF], f"{'x.y~' * (people.MOST_MARKS - 1)}{mark}")
    assert not people.known_by(users[CHIEF], f"{'x.y~' * people.MOST_MARKS}{mark}")


def test_nothing_that_a_browser_made_up_stands_in_the_cookie_it_gets(pages: Pages) -> None:
    browser = pages.browser()
    browser.client.cookies.set(KNOWN_COOKIE, '"x\\015\\012Set-Cookie: y=z~<script>~a.b"')
    answer = browser.sign_in()
    assert answer.status_code == 303
    (mark,) = re.findall(rf"{KNOWN_COOKIE}=([^;]*);", "; ".join(answer.headers.get_list("set-cookie")))
    assert re.fullmatch(r"[\w-]+\.[0-9a-f]{64}", mark)


def test_the_mark_of_a_known_browser_signs_nobody_in(pages: Pages) -> None:
    known = pages.signed_in()
    stranger = pages.browser()
    stranger.client.cookies[KNOWN_COOKIE] = known.client.cookies[KNOWN_COOKIE]
    assert stranger.get("/tablets").status_code == 303


def test_somebody_signed_in_does_not_guess_the_old_password_without_end(pages: Pages, manager: Browser) -> None:
    """A browser left signed in is no place to find out the password; the right one is taken later."""
    form = {"csrf": manager.csrf(), "password": "another short sentence", "again": "another short sentence"}
    for _ in range(people.MOST_TRIES_OF_ONE):
        assert manager.post("/people/password", {**form, "old": "a guess"}).status_code == 403
    assert manager.post("/people/password", {**form, "old": PASSWORD}).status_code == 429
    assert manager.get("/tablets").status_code == 200
    pages.at += 15 * MINUTE
    assert manager.post("/people/password", {**form, "old": PASSWORD}).status_code == 303
    known = manager.client.cookies[KNOWN_COOKIE]
    assert people.known_by(people.find(pages.store.register, CHIEF), known)


def test_signing_in_often_is_no_guessing(pages: Pages) -> None:
    for _ in range(people.MOST_TRIES_AN_ADDRESS + 5):
        assert pages.browser().sign_in().status_code == 303


def test_a_session_ends_where_the_shops_clock_is_set_back_far(pages: Pages, manager: Browser) -> None:
    """It was a year ahead: by it, nobody would be signed out for a year."""
    pages.at -= 10 * 60_000
    assert manager.get("/tablets").status_code == 200, "by a little it may be wrong"
    pages.at -= 365 * 24 * 60 * 60_000
    assert manager.get("/tablets").status_code == 303


@pytest.mark.parametrize("pause", [people.LONGEST_PAUSE, people.LONGEST_SESSION])
def test_a_session_ends_after_a_pause_and_after_a_working_day(pages: Pages, pause: int) -> None:
    browser = pages.signed_in()
    pages.at += people.LONGEST_PAUSE - 1
    assert browser.get("/tablets").status_code == 200
    ends = pages.at + pause
    while pages.at + people.LONGEST_PAUSE <= ends and pause != people.LONGEST_PAUSE:
        pages.at += people.LONGEST_PAUSE - 1
        if browser.get("/tablets").status_code == 303:
            return
    pages.at = ends
    assert browser.get("/tablets").status_code == 303


def test_signed_out_is_signed_out_even_with_the_old_cookie(pages: Pages, manager: Browser) -> None:
    old = dict(manager.client.cookies)
    assert manager.post("/sign-out", {"csrf": manager.csrf()}).status_code == 303
    manager.client.cookies.update(old)
    assert manager.get("/tablets").status_code == 303


def test_signing_in_again_ends_the_session_before(pages: Pages, manager: Browser) -> None:
    old = dict(manager.client.cookies)
    assert manager.sign_in(csrf=manager.csrf()).status_code == 303
    assert manager.get("/tablets").status_code == 200
    manager.client.cookies.clear()
    manager.client.cookies.update(old)
    assert manager.get("/tablets").status_code == 303


def test_every_form_without_the_secret_of_its_session_is_refused(pages: Pages, manager: Browser) -> None:
    before, register = pages.entries(), (pages.store.register.tablets(), pages.store.register.users())
    for path in routes(pages, "POST"):
        for fields in ({"reason": "x"}, {"csrf": "guessed"}):
            assert manager.post(path, fields).status_code == 403, path
    assert pages.entries() == before
    assert (pages.store.register.tablets(), pages.store.register.users()) == register


def test_every_form_that_another_site_sends_is_refused(pages: Pages, manager: Browser) -> None:
    csrf = manager.csrf()
    for path in [*routes(pages, "POST"), "/sign-in", "/first"]:
        for headers in ({"origin": "https://elsewhere.test"}, {"sec-fetch-site": "cross-site"}, {"origin": "null"}):
            assert manager.post(path, {"csrf": csrf}, headers).status_code == 403, path


def test_a_technician_reads_everything_and_changes_nothing(pages: Pages) -> None:
    technician = pages.signed_in(HAND)
    assert "31.9 kn" in technician.text("/days/2026-11-25")
    assert technician.get(f"/boats/{KITTIWAKE}").status_code == 200
    before, tablets, users = pages.entries(), pages.store.register.tablets(), pages.store.register.users()
    csrf = technician.csrf()
    own = ("/sign-out", "/people/password", "/board/looked")  # the last one changes what their own browser keeps
    asked = [path for path in routes(pages, "POST") if path not in own]
    assert len(asked) >= 9
    for path in asked:
        assert technician.post(path, {"csrf": csrf, "reason": "x"}).status_code == 403, path
    assert (pages.entries(), pages.store.register.tablets(), pages.store.register.users()) == (before, tablets, users)


def test_a_technicians_page_offers_nothing_he_may_not_do(pages: Pages) -> None:
    source = pages.signed_in(HAND).text("/days/2026-11-25")
    assert "/choose" in source
    assert "<button>Use the chosen value" not in source
    assert "Sign as manager" not in source


def test_a_form_too_large_or_of_another_kind_is_refused(pages: Pages, manager: Browser) -> None:
    assert manager.post("/people/add", {"csrf": manager.csrf(), "name": "x" * 40_000}).status_code == 413
    other = manager.client.post("/people/add", json={"name": "x"})
    assert other.status_code == 415
    many = manager.client.post(
        "/people/add",
        content="&".join(f"a{number}=1" for number in range(MOST_FIELDS + 1)),
        headers={"content-type": "application/x-www-form-urlencoded"},
    )
    assert many.status_code == 400


@pytest.mark.parametrize(
    "elsewhere", ["//elsewhere.test/", "https://elsewhere.test/", "/\\elsewhere.test", "javascript:1"]
)
def test_signing_in_leads_to_this_server_only(pages: Pages, elsewhere: str) -> None:
    assert pages.browser().sign_in(next=elsewhere).headers["location"] == "/"
    assert pages.browser().sign_in(next="/tablets").headers["location"] == "/tablets"


def test_the_first_manager_is_made_at_the_shop_machine_alone_and_once(tmp_path: Path, plugins: PluginHost) -> None:
    form = {"name": "First", "password": PASSWORD, "again": PASSWORD}
    with Pages(tmp_path, plugins) as empty:
        assert empty.browser().get("/sign-in").headers["location"] == "/first"
        for address, host in (("192.0.2.7", "localhost"), ("127.0.0.1", "elsewhere.test"), ("127.0.0.1", "192.0.2.1")):
            assert empty.browser(address, host).post("/first", form).status_code == 403
            assert empty.browser(address, host).get("/first").status_code == 403
        assert not empty.store.register.users()
        here = empty.browser("127.0.0.1", "localhost")
        assert here.post("/first", {**form, "again": "another"}).status_code == 400
        assert here.post("/first", form).status_code == 303
        assert here.get("/tablets").status_code == 200
        assert empty.browser("127.0.0.1", "localhost").post("/first", {**form, "name": "Second"}).status_code == 403
        assert [(user.name, user.role) for user in empty.store.register.users()] == [("First", MANAGER)]


def test_the_first_manager_names_the_shop_and_pages_and_tablets_call_it_so_from_then_on(
    tmp_path: Path, plugins: PluginHost
) -> None:
    form = {"name": "First", "password": PASSWORD, "again": PASSWORD}
    with Pages(tmp_path, plugins) as empty:
        here = empty.browser("127.0.0.1", "localhost")
        assert '<p class="shop">Shop</p>' in here.get("/first").text
        assert here.post("/first", {**form, "shop": "x" * 61}).status_code == 400
        assert not empty.store.register.users()
        assert here.post("/first", {**form, "shop": "  Åkes  <båtar> "}).status_code == 303
        assert '<p class="shop">Åkes &lt;båtar&gt;</p>' in here.get("/tablets").text
    assert kept_name(tmp_path / SHOP_FOLDER) == "Åkes <båtar>"


@pytest.mark.parametrize("said", ["", "   "])
def test_a_name_not_said_leaves_the_shop_called_as_before(tmp_path: Path, said: str) -> None:
    assert keep_name(tmp_path, said) == "Shop"
    keep_name(tmp_path, "Tern Harbour")
    assert keep_name(tmp_path, said) == "Tern Harbour"


def test_what_is_kept_of_a_password_is_an_argon2id_hash(pages: Pages, monkeypatch: pytest.MonkeyPatch) -> None:
    """RFC 9106 names the algorithm; the text form is that of the reference implementation."""
    monkeypatch.setattr(people, "_hasher", FULL_COST)
    user = people.make_user("Someone", TECHNICIAN, PASSWORD)
    assert user.password_hash.startswith("$argon2id$v=19$m=65536,t=3,")
    assert PASSWORD not in (pages.store.hulls.folder / "shop" / "register.json").read_text()
    assert PASSWORD not in repr(user)
    assert people.is_right(user, PASSWORD)
    assert not people.is_right(user, PASSWORD + " ")
    assert not people.is_right(None, PASSWORD)


def test_a_person_needs_a_name_a_role_and_a_long_password_and_is_told_all_at_once() -> None:
    with pytest.raises(InputError) as refused:
        people.make_user(" ", "owner", "short")
    assert [fault.where for fault in refused.value.faults] == ["name", "role", "password"]


def test_someone_removed_is_out_at_once_and_the_last_manager_stays(pages: Pages, manager: Browser) -> None:
    technician = pages.signed_in(HAND)
    csrf = manager.csrf()
    assert manager.post("/people/remove", {"csrf": csrf, "name": HAND}).status_code == 303
    assert technician.get("/tablets").status_code == 303
    assert pages.browser().sign_in(HAND).status_code == 403
    assert manager.post("/people/remove", {"csrf": csrf, "name": CHIEF}).status_code == 409
    assert manager.get("/tablets").status_code == 200


def test_two_managers_who_remove_each_other_at_once_leave_one(
    pages: Pages, manager: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second asks while the first is being saved; it must wait, and then finds itself the last."""
    form = {"csrf": manager.csrf(), "name": "Second", "role": MANAGER, "password": PASSWORD, "again": PASSWORD}
    assert manager.post("/people/add", form).status_code == 303
    second = pages.signed_in("Second")
    csrf, true, statuses = second.csrf(), pages.store.register.put_user, []

    def remove_first() -> None:
        statuses.append(second.post("/people/remove", {"csrf": csrf, "name": CHIEF}).status_code)

    other = threading.Thread(target=remove_first)

    def slow(user: WebUser, by: str, at: int) -> bool:
        if not other.ident:
            other.start()
            other.join(0.2)
        return true(user, by, at)

    monkeypatch.setattr(pages.store.register, "put_user", slow)
    statuses.append(manager.post("/people/remove", {"csrf": manager.csrf(), "name": "Second"}).status_code)
    other.join(60)
    assert sorted(statuses) in ([303, 409], [303, 403]), "who was removed by then is not signed in any more"
    assert [one.name for one in people.taking_part(pages.store.register) if one.role == MANAGER] == [CHIEF]


def test_someone_added_can_sign_in_and_no_name_is_given_twice(pages: Pages, manager: Browser) -> None:
    form = {"csrf": manager.csrf(), "name": "T. Quill", "role": TECHNICIAN, "password": PASSWORD, "again": PASSWORD}
    assert manager.post("/people/add", form).status_code == 303
    assert pages.browser().sign_in("t. quill").status_code == 303
    assert manager.post("/people/add", {**form, "name": "m.  OFFICE"}).status_code == 400


def test_a_new_password_signs_out_every_other_browser(pages: Pages, manager: Browser) -> None:
    other, new = pages.signed_in(), "another short sentence"
    form = {"csrf": manager.csrf(), "old": "wrong", "password": new, "again": new}
    assert manager.post("/people/password", form).status_code == 403
    assert manager.post("/people/password", {**form, "old": PASSWORD}).status_code == 303
    assert manager.get("/tablets").status_code == 200
    assert other.get("/tablets").status_code == 303
    assert pages.browser().sign_in().status_code == 403
    assert pages.browser().sign_in(CHIEF, new).status_code == 303


def test_a_password_set_elsewhere_ends_every_session(pages: Pages) -> None:
    """By a command on the shop machine, or by another server on the same database."""
    browser = pages.signed_in(HAND)
    pages.store.register.put_user(people.make_user(HAND, TECHNICIAN, PASSWORD), "Ines", NOON)
    assert browser.get("/tablets").status_code == 303


def test_who_was_removed_and_is_added_again_must_sign_in_again(pages: Pages, manager: Browser) -> None:
    browser, csrf = pages.signed_in(HAND), manager.csrf()
    assert manager.post("/people/remove", {"csrf": csrf, "name": HAND}).status_code == 303
    form = {"csrf": csrf, "name": HAND, "role": TECHNICIAN, "password": PASSWORD, "again": PASSWORD}
    assert manager.post("/people/add", form).status_code == 303
    assert browser.get("/tablets").status_code == 303


@pytest.mark.parametrize("change", [{"removed_at": NOON}, {"role": TECHNICIAN}])
def test_who_is_removed_or_demoted_while_changing_the_password_stays_so(
    pages: Pages, manager: Browser, monkeypatch: pytest.MonkeyPatch, change: dict[str, Any]
) -> None:
    register, make = pages.store.register, people.make_user
    before = people.find(register, CHIEF)
    assert before is not None

    def slow(name: str, role: str, password: str) -> WebUser:
        made = make(name, role, password)
        register.put_user(attrs.evolve(before, **change), "Ines", NOON)
        return made

    form = {"csrf": manager.csrf(), "old": PASSWORD, "password": PASSWORD, "again": PASSWORD}
    monkeypatch.setattr(people, "make_user", slow)
    assert manager.post("/people/password", form).status_code == 409
    assert [one for one in register.users() if one.name == CHIEF] == [attrs.evolve(before, **change)]
