"""The tablet comes ashore: a real shop server on loopback, paired by touch, merged, a disagreement settled by touch."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import attrs
import pytest

from garboard.disk.entries import SHOP_RECORD
from garboard.disk.hullfile import HullFolder
from garboard.history.authoring import Author, measure
from garboard.history.merge import HullMerge
from garboard.history.registers import RegisterKey
from garboard.history.replay import HullState, replay
from garboard.records import JsonValue
from garboard.shop_link import pairing, sync
from garboard.shop_link.ashore import ASHORE, State
from garboard.shop_link.sync import SyncReport
from garboard_shop.store import MANAGER, MINUTES_A_CODE_WORKS, TECHNICIAN
from garboard_tablet.models.ashore import lines_of
from garboard_tablet.models.session import Route
from garboard_tablet.models.shop_worker import ShopWorker
from setting_jobs import DROP, OFFICE, set_for_job, set_for_shop, take_in
from shop_rig import RunningShop
from tablet.driver import Drive, Driver, new_job

HULL = "XYZAB123F526"


def another_measures_it(shop: RunningShop, folder: Path) -> str:
    """Another tablet brings another value for the horn ashore, without having seen the first; the job's id."""
    with HullFolder(folder) as other:
        paired = shop.paired("other")
        sync.bring_ashore(other, paired)
        held = [entry for entry in other.entries(HULL) if entry.subject[:2] != ("dock.horn", "heard")]
        job = replay(HULL, held).jobs[0]
        other.put_if_absent(
            HULL, [measure(Author("other", "Kim"), replay(HULL, held), job, "dock.horn", "heard", False)]
        )
        sync.bring_ashore(other, paired)
    return job


def is_at_rest(d: Driver) -> bool:
    """Whether no run is at work, nor asked for, that could take what another tablet brings before the next press."""
    coming = d.app.shop._coming
    return coming is not None and coming.state.word == ASHORE and not coming._wanted.is_set()


def bring_ashore_until(d: Driver, said: str) -> None:
    """Press as a person does: once."""
    d.press("bring ashore now")
    d.wait(lambda: d.says(said), 30)


def test_pair_bring_ashore_and_settle_by_touch(drive: Drive, tmp_path: Path) -> None:
    """Paired with a typed code; the list says so; what another tablet measured differently is offered for a choice."""
    with RunningShop(tmp_path / "shop") as shop:
        d = drive(tmp_path / "t", threads=True)
        new_job(d)
        d.press("step dock.horn", "choice Yes", "back", "back", "back")
        assert d.says("only on this tablet")

        d.press("ashore", "pair")
        d.write(shop.code(MANAGER).typed)
        d.press("save it")
        d.wait(lambda: d.says("Everything is ashore"), 30)
        assert d.says("Both hold the same")
        d.press("back")
        d.wait(lambda: d.says("ashore.") and not d.says("not ashore"), 30)

        d.press("ashore")
        d.wait(lambda: is_at_rest(d) and d.says("Everything is ashore"), 30)
        job = another_measures_it(shop, tmp_path / "other")
        bring_ashore_until(d, "two values for dock.horn heard")
        d.press(next(w.name for w in d.widgets() if getattr(w, "name", "").startswith("settle ")))
        d.press("value yes", "reason read again")
        view = d.app.tablet.view(HULL, job)
        assert view.value("dock.horn", "heard") is True
        assert view.disagreements == ()


def test_a_technicians_tablet_measures_again_and_a_manager_made_of_it_settles(drive: Drive, tmp_path: Path) -> None:
    """Choosing is not offered, and why is said; the role is learnt anew by coming ashore."""
    with RunningShop(tmp_path / "shop") as shop:
        d = drive(tmp_path / "t", threads=True)
        new_job(d)
        d.press("step dock.horn", "choice Yes", "back", "back", "back")
        d.press("ashore", "pair")
        d.write(shop.code().typed)
        d.press("save it")
        d.wait(lambda: d.says("Everything is ashore"), 30)
        assert d.says("as technician")
        (mine,) = shop.store.register.tablets()
        assert mine.writes_as == (d.app.tablet.settings.tablet,)

        d.wait(lambda: is_at_rest(d))
        job = another_measures_it(shop, tmp_path / "other")
        bring_ashore_until(d, "Press to measure again")
        d.press(next(w.name for w in d.widgets() if getattr(w, "name", "").startswith("settle ")))
        assert d.says("The values disagree. Measure again.")
        assert d.says("Leave it to the manager")
        assert not d.has("value yes")
        d.press("skip")
        assert len(d.app.tablet.view(HULL, job).disagreements) == 1

        shop.store.register.change_role(mine.id, MANAGER, "M. Office", shop.now())
        d.app.way.go(Route(page="ashore"))
        bring_ashore_until(d, "as manager")
        d.app.way.go(
            Route(page="entry", hull=HULL, job=job, step="dock.horn", subject=("measure", "dock.horn", "heard", "", ""))
        )
        assert d.has("value yes")

        shop.store.register.change_role(mine.id, TECHNICIAN, "M. Office", shop.now())
        d.app.way.go(Route(page="ashore"))
        bring_ashore_until(d, "as technician")
        d.app.way.go(
            Route(page="entry", hull=HULL, job=job, step="dock.horn", subject=("measure", "dock.horn", "heard", "", ""))
        )
        d.press("choice No")
        view = d.app.tablet.view(HULL, job)
        assert (view.value("dock.horn", "heard"), view.disagreements) == (False, ())
        d.app.way.go(Route(page="ashore"))
        d.press("bring ashore now")
        d.wait(lambda: replay(HULL, shop.hulls.entries(HULL)).disagreements(job) == (), 30)

        step, field = "dock.horn", "fuses"
        said = [measure(Author(who, who), HullState(HULL), job, step, field, n) for who, n in (("a", 11), ("b", 12))]
        d.app.tablet.save(*said)
        d.app.way.go(Route(page="entry", hull=HULL, job=job, step=step, subject=("measure", step, field, "", "")))
        for size in ((800, 1280), (1280, 800)):  # both stand first, whichever way the tablet is held
            d.resize(*size)
            (typed,) = (w for w in d.widgets() if type(w).__name__ == "Typed")
            values = [w for w in d.widgets() if getattr(w, "text", "") in ("11", "12")]
            assert len(values) == 2
            assert all(w.to_window(*w.pos)[1] > typed.to_window(*typed.pos)[1] for w in values)


def test_a_wrong_code_says_what_to_do(drive: Drive) -> None:
    """Nothing is paired, what was typed stays to be corrected."""
    d = drive()
    d.press("ashore", "pair")
    d.write("192.168.1.20 ABC")
    d.press("save it")
    d.wait(lambda: d.has("type again"))
    assert d.app.shop.paired is None
    d.press("type again")
    from kivy.uix.textinput import TextInput

    assert next(w for w in d.widgets() if isinstance(w, TextInput)).text == "192.168.1.20 ABC"


def test_the_reason_of_a_refusal_stays_until_the_next_try(drive: Drive) -> None:
    """Also when the page is left and opened again, and when the answer comes while another page is shown."""
    d = drive()
    d.press("ashore", "pair")
    d.write("192.168.1.20 ABC")
    d.press("save it")
    d.wait(lambda: d.has("type again"))
    reason = d.app.shop.refusal
    d.press("back")
    d.press("pair")
    assert d.says(reason)
    d.press("type again")
    d.press("back")
    d.press("pair")
    assert d.says(reason)
    d.press("type again", "save it")
    assert d.says(d.app.shop.refusal)


def test_an_answer_that_comes_while_another_page_is_shown_leaves_that_page_alone(drive: Drive) -> None:
    d = drive()
    asked: list[str] = []

    def pair(code: str) -> None:
        asked.append(code)
        d.app.shop.pairing = True

    d.app.shop.pair = pair
    d.press("ashore", "pair")
    d.write("192.168.1.20 ABC")
    d.press("save it")
    assert d.says("Looking for the shop")
    d.press("back")
    d.press("pair")
    assert d.says("Looking for the shop")
    d.press("back")
    here = d.app.tablet.session.here
    d.app.shop.pairing, d.app.shop.refusal = False, "The shop does not know this code."
    d.app.shop.answered(None)
    assert d.app.tablet.session.here == here
    d.press("pair")
    assert d.says("The shop does not know this code.")
    d.press("back")
    d.app.shop.refusal = ""
    d.app.shop.answered(object())  # paired
    assert d.app.tablet.session.here == here
    assert "192.168.1.20 ABC" not in d.app.tablet.session.typed.values()
    assert asked == ["192.168.1.20 ABC"]


def test_a_shop_on_the_same_wifi_is_paired_with_by_its_24_characters(
    drive: Drive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The tablet finds the address by itself; where it hears nobody, it asks for it and keeps what was typed."""
    from garboard.shop_link import discovery

    with RunningShop(tmp_path / "shop") as shop:
        code = shop.code(TECHNICIAN)
        characters = code.typed.partition(" ")[2]
        d = drive(tmp_path / "t", threads=True)
        d.press("ashore", "pair")
        assert d.says("The 24 characters")
        d.press("back")
        assert d.says(f"valid for {MINUTES_A_CODE_WORKS} minutes")
        d.press("pair")
        monkeypatch.setattr(discovery, "find", lambda _fingerprint: None)
        d.write(characters)
        d.press("save it")
        d.wait(lambda: d.says("the shop's address before the 24 characters"), 30)
        monkeypatch.setattr(
            discovery, "find", lambda fingerprint: (code.host, code.port) if fingerprint == code.fingerprint else None
        )
        d.press("type again", "save it")
        d.wait(lambda: d.says("Everything is ashore"), 30)


def test_a_tablet_that_cannot_look_asks_for_the_address(drive: Drive, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is promised that this tablet cannot do."""
    from garboard.shop_link import discovery

    monkeypatch.setattr(discovery, "can_look", lambda: False)
    d = drive()
    d.press("ashore")
    assert d.find("pair").bold, "as what is next is on every page"
    d.press("pair")
    assert d.says("The shop's address, then the 24 characters")
    assert not d.says("scan")


def test_settings_of_another_shop_from_a_stick_keep_no_boat_from_being_ashore(drive: Drive, tmp_path: Path) -> None:
    elsewhere = attrs.evolve(OFFICE, tablet="other yard")
    with HullFolder(tmp_path / "t") as files, RunningShop(tmp_path / "shop") as shop:
        hull = take_in(files, signed=False)
        set_for_shop(files, {DROP: "7 %"}, elsewhere)
        set_for_job(files, hull, DROP, "8 %", elsewhere)
        pairing.keep(files.folder, paired := shop.paired("tablet 1", TECHNICIAN))
        report = sync.bring_ashore(files, paired)
    d = drive(tmp_path / "t")
    d.wait(lambda: bool(d.app.vessels.lines), 30)
    (line,) = d.app.vessels.lines.values()
    assert d.app.marks.word(line) == "not ashore yet"
    d.app._came_ashore(State(word=ASHORE, report=report))
    assert d.app.marks.word(line) == "ashore"
    said = lines_of(State(word=ASHORE, report=report))
    assert [one.urgent for one in said if "settings of another shop" in one.text] == [False]
    assert not any(SHOP_RECORD in one.text or one.urgent for one in said)


def _done(**found: Any) -> SyncReport:
    """What bringing ashore did, where nothing else was found."""
    nothing: dict[str, Any] = dict.fromkeys(
        (
            "sent",
            "received",
            "attachments_sent",
            "attachments_received",
            "clock_offset",
            "bytes_sent",
            "bytes_received",
        ),
        0,
    )
    nothing |= dict.fromkeys(("hulls", "refused", "not_kept", "approved", "withdrawn", "differing"), ())
    return SyncReport(**{**nothing, "role": "technician", "here": {}, "there": {}, **found})


@pytest.fixture
def paired(drive: Drive, monkeypatch: pytest.MonkeyPatch) -> Driver:
    """At the page of bringing ashore of a tablet that has a shop."""
    shop = pairing.PairedShop(name="Yard", host="10.0.0.2", port=1, fingerprint="", token="", tablet="1")
    monkeypatch.setattr(ShopWorker, "paired", property(lambda _self: shop))
    d = drive()
    new_job(d)
    return d


def _comes(d: Driver, at: int, report: SyncReport) -> None:
    """It is tried, and goes through: as the thread that brings ashore tells it."""
    d.app.shop._take(attrs.evolve(d.app.shop.state, word="under way"))
    d.app.shop._take(State(word=ASHORE, report=report, at=at))
    d.step(2)


def test_what_came_of_bringing_ashore_stays_until_somebody_has_looked(paired: Driver) -> None:
    """It is tried again every few minutes, and the next report is about what came then."""
    d = paired
    _comes(d, 36_000_000, _done(refused=(("photo 1", "larger than the shop takes"),)))
    _comes(d, 36_300_000, _done(not_read=(("hull.jnl", "no entry"),)))
    _comes(d, 36_600_000, _done(not_read=(("hull.jnl", "no entry"),), received=2))
    assert len(d.app.shop.unseen) == 2
    d.app.way.home()
    d.step()
    d.press("ashore")
    assert d.says("The shop would not take photo 1: larger than the shop takes")
    assert sum("hull.jnl" in text for text in d.words()) == 1, "what the last one says again is said once"
    (told,) = [text for text in d.words() if text.startswith("Not looked at yet, from ")]
    assert told.endswith(datetime.fromtimestamp(36_000).astimezone().strftime("%H:%M"))
    _comes(d, 36_900_000, _done())
    assert d.says("photo 1")
    assert d.says("hull.jnl"), "the page is open still"
    d.press("back", "ashore")
    assert not d.says("photo 1")
    assert not d.says("hull.jnl")
    assert d.says("Both held the same.")  # the last time: of the boat here these reports say nothing


def test_whoever_settles_one_thing_finds_the_others_again(paired: Driver) -> None:
    """And not what is settled."""
    d = paired
    here = d.app.tablet.session.here
    keys = [RegisterKey("measure", here.job, ("dock.horn", field, "", "")) for field in ("heard", "tone")]
    disagreeing: dict[str, tuple[JsonValue, ...]] = {"heard": (True, False), "tone": ("clear", "hoarse")}
    for field, values in disagreeing.items():
        state = HullState(here.hull)
        d.app.tablet.save(
            *(
                measure(Author(who, who), state, here.job, "dock.horn", field, value)
                for who, value in zip("ab", values, strict=True)
            )
        )
    _comes(d, 36_000_000, _done(hulls=(HullMerge(hull=here.hull, received=4, existing=0, disagreeing=tuple(keys)),)))
    _comes(d, 36_300_000, _done())
    d.app.way.home()
    d.step()
    d.press("ashore")
    first, second = [w.name for w in d.widgets() if getattr(w, "name", "").startswith("settle ")]
    d.press(first)
    d.press(next(w.name for w in d.widgets() if getattr(w, "name", "").startswith("value ")), "reason mistyped")
    assert d.app.shell.page.route.page == "ashore"
    assert not d.has(first)
    assert d.has(second)
