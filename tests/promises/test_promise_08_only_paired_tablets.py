"""Promise 8: no tablet that the shop has not paired, and none it has removed, can read or write."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import attrs
import pytest

from campaigns.writers import entry_number
from garboard.disk.hullfile import HullFolder
from garboard.shop_link import sync, wire
from garboard.shop_link.pairing import new_token
from garboard.shop_link.sync import NotPaired, NotTheShop, ShopAway, ShopRefused, bring_ashore
from garboard_shop.app import PROTOCOL_ROUTES
from garboard_shop.store import (
    MANAGER,
    MINUTES_A_CODE_WORKS,
    MINUTES_AN_ASKER_WAITS,
    TECHNICIAN,
    TRIES_A_CODE_HAS,
    TRIES_AN_ASKER_HAS,
)
from shop_rig import Heard, RunningShop, Wire, ask_raw, server_log

HULL = "ABC00001A526"
SECRET_ENTRY = entry_number(7, HULL)
NAME = "0" * 64
OPEN_TO_ALL = {("GET", "/versions"), ("POST", "/v1/pair")}
ROUTES = sorted(
    (method, route.path.replace("{name}", NAME).replace("{tablet}", "abc"))  # type: ignore[attr-defined]
    for route in PROTOCOL_ROUTES
    for method in route.methods or ()  # type: ignore[attr-defined]
)
CLOSED = [pair for pair in ROUTES if pair not in OPEN_TO_ALL and pair != ("HEAD", "/versions")]
ENTRY = wire.lines_of([entry_number(1, HULL).raw])


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningShop]:
    with RunningShop(tmp_path_factory.mktemp("shop")) as running, server_log() as failures:
        running.hulls.save(SECRET_ENTRY)
        yield running
        assert failures == []


def held(shop: RunningShop) -> tuple[object, object, object]:
    return shop.store.digests(), shop.store.attachments.sizes(), shop.store.attachments.held(NAME)


def test_p8_the_routes_tried_below_are_all_there_are() -> None:
    assert len(CLOSED) >= 9
    assert {path.split("/")[2] for _, path in CLOSED} == {
        "digests",
        "sixteenths",
        "diff",
        "entries",
        "attachments",
        "plugins",
        "tablets",
    }


@pytest.mark.parametrize(("method", "path"), CLOSED)
@pytest.mark.parametrize("token", ["", "short", "x" * 43, "x" * 5000, new_token()], ids=lambda token: str(len(token)))
def test_p8_without_a_pairing_nothing_is_told_and_nothing_kept(
    shop: RunningShop, method: str, path: str, token: str
) -> None:
    before = held(shop)
    body = b"" if method in ("GET", "HEAD") else ENTRY
    heard = ask_raw(shop.port, method, f"{path}?from=0&most=10&of=10", body, token=token)
    assert heard.status == 401
    assert HULL not in heard.text
    assert SECRET_ENTRY.id not in heard.text
    assert "etag" not in heard.fields
    assert wire.HELD.lower() not in heard.fields
    assert held(shop) == before


@pytest.mark.parametrize(("method", "path"), CLOSED)
def test_p8_a_removed_tablet_is_a_stranger(shop: RunningShop, method: str, path: str) -> None:
    """The same request with the same token is answered before the removal and refused after it."""
    paired = shop.paired(role=MANAGER)
    body = b"" if method in ("GET", "HEAD") else ENTRY
    asked = (shop.port, method, f"{path}?from=0&most=10&of=10", body)
    assert ask_raw(*asked, token=paired.token).status != 401
    assert shop.store.register.remove_tablet(paired.tablet, "the office", shop.now())
    before = held(shop)
    heard = ask_raw(*asked, token=paired.token)
    assert heard.status == 401
    assert HULL not in heard.text
    assert held(shop) == before


def test_p8_a_tablet_removed_in_the_middle_of_coming_ashore_stops_there(tmp_path: Path) -> None:
    with RunningShop(tmp_path / "shop") as shop, HullFolder(tmp_path / "tablet") as folder:
        paired = shop.paired()
        folder.put_if_absent(HULL, [entry_number(number, HULL) for number in range(10)])
        shop.hulls.save(entry_number(99, HULL))

        def remove(what: str, _done: int, _of: int) -> None:
            shop.store.register.remove_tablet(paired.tablet, "the office", shop.now())

        with pytest.raises(NotPaired, match="removed"):
            bring_ashore(folder, paired, remove)
        assert len(shop.store.ids(HULL)) == 1
        assert len(folder.ids(HULL)) == 10


def test_p8_a_removal_made_by_another_program_holds_at_once(shop: RunningShop) -> None:
    """`garboard shop-tablets remove` works on the folder while the server runs."""
    from garboard_shop.embedded import FileRegister

    paired = shop.paired()
    assert ask_raw(shop.port, "GET", "/v1/digests", token=paired.token).status == 200
    FileRegister(shop.folder).remove_tablet(paired.tablet, "the office", shop.now())
    assert ask_raw(shop.port, "GET", "/v1/digests", token=paired.token).status == 401


def test_p8_a_removed_tablet_is_not_let_in_by_its_old_code(shop: RunningShop) -> None:
    code = shop.code()
    token = new_token()
    question = wire.plain({"secret": code.secret, "token": token, "tablet": "t", "device": "d"})
    assert ask_raw(shop.port, "POST", "/v1/pair", question).status == 200
    (tablet,) = [one for one in shop.store.register.tablets() if one.name == "t"]
    shop.store.register.remove_tablet(tablet.id, "the office", shop.now())
    assert ask_raw(shop.port, "POST", "/v1/pair", question).status == 403


def test_p8_a_code_pairs_one_tablet(shop: RunningShop) -> None:
    code = shop.code().typed
    sync.pair(code, "first")
    with pytest.raises(ShopRefused, match="used or expired"):
        sync.pair(code, "second")


def test_p8_of_two_tablets_pairing_at_once_with_one_code_one_is_let_in(tmp_path: Path) -> None:
    with RunningShop(tmp_path / "shop") as shop:
        code = shop.code().typed
        outcomes: list[str] = []

        def try_it(name: str) -> None:
            try:
                outcomes.append(sync.pair(code, name).tablet)
            except ShopRefused:
                outcomes.append("")

        threads = [threading.Thread(target=try_it, args=(f"tablet {number}",)) for number in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(30)
        assert len(outcomes) == 8
        (admitted,) = [tablet for tablet in outcomes if tablet]
        assert [tablet.id for tablet in shop.store.register.tablets()] == [admitted]


def test_p8_two_codes_at_once_pair_two_tablets(tmp_path: Path) -> None:
    with RunningShop(tmp_path / "shop") as shop:
        codes = [shop.code().typed for _ in range(2)]
        paired = [sync.pair(code, f"tablet {number}") for number, code in enumerate(codes)]
        assert len({one.token for one in paired}) == len({one.tablet for one in paired}) == 2


def test_p8_an_answer_lost_on_the_way_lets_the_same_tablet_ask_again_and_no_other(shop: RunningShop) -> None:
    code = shop.code()
    question = wire.plain({"secret": code.secret, "token": new_token(), "tablet": "again", "device": "d"})
    first, second = (ask_raw(shop.port, "POST", "/v1/pair", question) for _ in range(2))
    assert first.status == second.status == 200
    assert first.body == second.body
    stranger = wire.plain({"secret": code.secret, "token": new_token(), "tablet": "again", "device": "d"})
    assert ask_raw(shop.port, "POST", "/v1/pair", stranger).status == 403


@pytest.mark.parametrize("cut", range(0, 2600, 100))
def test_p8_pairing_cut_anywhere_ends_with_one_tablet_in_or_the_code_still_good(tmp_path: Path, cut: int) -> None:
    """The wire is cut once after so many bytes: the tablet asks again by itself, and never leaves a second self."""
    with RunningShop(tmp_path / "shop") as shop:
        code = shop.code()
        with Wire(shop.port, cut, once=True) as wire:
            try:
                paired = sync.pair(attrs.evolve(code, port=wire.port).typed, "tablet")
            except ShopAway:
                paired = sync.pair(code.typed, "tablet")
        (tablet,) = shop.store.register.tablets()
        assert tablet.id == paired.tablet
        assert ask_raw(shop.port, "GET", "/v1/digests", token=paired.token).status == 200


def guess(shop: RunningShop, secret: str, source: str, token: str = "g" * 43) -> Heard:
    """One try at pairing from an address."""
    question = wire.plain({"secret": secret, "token": token, "tablet": "guesser", "device": "d"})
    return ask_raw(shop.port, "POST", "/v1/pair", question, source=source)


def test_p8_an_attacker_at_one_address_does_not_keep_a_tablet_at_another_from_pairing(tmp_path: Path) -> None:
    """He is told to wait, however long he goes on; his rightly guessed code is not looked at meanwhile either."""
    with RunningShop(tmp_path / "shop") as shop:
        code = shop.code()
        for number in range(3 * TRIES_A_CODE_HAS):
            expected = 403 if number < TRIES_AN_ASKER_HAS else 429
            assert guess(shop, f"{number:010x}", "127.0.0.66").status == expected
        told = guess(shop, code.secret, "127.0.0.66")
        assert told.status == 429
        assert 0 < int(told.fields["retry-after"]) <= MINUTES_AN_ASKER_WAITS * 60
        assert "wait 5 min" in told.text
        assert sync.pair(code.typed, "tablet").role == TECHNICIAN
        shop.clock_ahead += MINUTES_AN_ASKER_WAITS * 60_000 + 5_000
        assert guess(shop, shop.code().secret, "127.0.0.66").status == 200


def test_p8_one_address_has_too_few_tries_to_close_a_code_in_all_the_time_it_works(tmp_path: Path) -> None:
    with RunningShop(tmp_path / "shop") as shop:
        code = shop.code()
        tried = 0
        for _ in range(MINUTES_A_CODE_WORKS * 60 // 30 - 1):
            while guess(shop, f"{tried:010x}", "127.0.0.66").status == 403:
                tried += 1
            shop.clock_ahead += 30_000
        assert TRIES_AN_ASKER_HAS < tried < TRIES_A_CODE_HAS
        assert sync.pair(code.typed, "tablet").role == TECHNICIAN


def test_p8_guessing_from_many_addresses_closes_the_code(tmp_path: Path) -> None:
    """After so many wrong secrets the right one is refused too, wherever it comes from; the next code is good."""
    with RunningShop(tmp_path / "shop") as shop:
        code = shop.code()
        for number in range(TRIES_A_CODE_HAS):
            assert guess(shop, f"{number:010x}", f"127.0.1.{number // TRIES_AN_ASKER_HAS}").status == 403
        with pytest.raises(ShopRefused, match="used or expired"):
            sync.pair(code.typed, "late")
        assert shop.store.register.tablets() == ()
        assert sync.pair(shop.code().typed, "next").role == TECHNICIAN


def test_p8_a_code_runs_out(tmp_path: Path) -> None:
    with RunningShop(tmp_path / "shop") as shop:
        code = shop.code().typed
        shop.clock_ahead = MINUTES_A_CODE_WORKS * 60_000 - 5_000
        early = shop.code().typed
        sync.pair(code, "in time")
        shop.clock_ahead += MINUTES_A_CODE_WORKS * 60_000 + 5_000
        with pytest.raises(ShopRefused, match="used or expired"):
            sync.pair(early, "late")


def test_p8_neither_token_nor_secret_is_kept_in_the_shops_folder(tmp_path: Path) -> None:
    with RunningShop(tmp_path / "shop") as shop:
        code = shop.code()
        paired = sync.pair(code.typed, "tablet")
    files = [path for path in (tmp_path / "shop").rglob("*") if path.is_file()]
    assert any(b"token_hash" in path.read_bytes() for path in files)
    for path in files:
        assert paired.token.encode() not in path.read_bytes(), path
        assert code.secret.encode() not in path.read_bytes(), path
        if path.parent.name == "shop" and path.suffix in (".json", ".pem") and path.name != "address.json":
            assert path.stat().st_mode & 0o077 == 0, path


def test_p8_a_technicians_tablet_cannot_remove_another_and_a_managers_can(shop: RunningShop) -> None:
    technician, manager = shop.paired("technician"), shop.paired("manager", MANAGER)
    removal = f"/v1/tablets/{technician.tablet}/remove"
    assert ask_raw(shop.port, "GET", "/v1/tablets", token=technician.token).status == 403
    assert ask_raw(shop.port, "POST", f"/v1/tablets/{manager.tablet}/remove", token=technician.token).status == 403
    assert ask_raw(shop.port, "GET", "/v1/digests", token=manager.token).status == 200
    listing = ask_raw(shop.port, "GET", "/v1/tablets", token=manager.token)
    assert technician.tablet in listing.text
    assert "token_hash" not in listing.text
    assert ask_raw(shop.port, "POST", removal, token=manager.token).status == 200
    assert ask_raw(shop.port, "GET", "/v1/digests", token=technician.token).status == 401
    (gone,) = [one for one in shop.store.register.tablets() if one.id == technician.tablet]
    assert gone.removed_by == f"manager ({manager.tablet})"


def test_p8_a_wrong_fingerprint_ends_before_pairing(shop: RunningShop) -> None:
    code = shop.code()
    for place in range(0, len(code.fingerprint), 5):
        digit = "0" if code.fingerprint[place] != "0" else "1"
        wrong = code.fingerprint[:place] + digit + code.fingerprint[place + 1 :]
        with pytest.raises(NotTheShop):
            sync.pair(attrs.evolve(code, fingerprint=wrong).typed, "tablet")
    assert sync.pair(code.typed, "tablet").fingerprint.startswith(code.fingerprint)
