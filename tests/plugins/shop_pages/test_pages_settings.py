"""The shop's settings on the pages: what holds, who set it and why, what a change would do, and changing it."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import attrs
import pytest
from PIL import Image

from garboard.disk.entries import SHOP_RECORD
from garboard.history.authority import ON_THE_PAGE
from garboard.judging.assessing import assess_hulls
from garboard.report.settings_used import memory_in_words
from garboard.report.unit_signs import with_signs
from garboard.settings import Setting
from garboard_shop.pages.settings import effect_of, record_of, shown_setting
from garboard_shop.pages.summaries import make_summary
from garboard_shop.pages.visits import LARGEST_FORM
from pages_rig import CHIEF, HAND, LONG_REACH, SALTGRASS, Browser, Pages, fields_of, form_to, tags_in, words_of
from setting_jobs import DROP, OFFICE, set_for_shop

PAGE = f"/settings/{DROP}"
WHY = "our own rule for lights"


def settings_by_key(pages: Pages) -> dict[str, Setting]:
    return {setting.key: setting for setting in pages.desk.host.settings}


def look(browser: Browser, value: str = "0.5 %", why: str = WHY, page: str = PAGE) -> str:
    answer = browser.send(form_to(browser.text(page), f"{page}/look", reset=""), value=value, reason=why)
    assert answer.status_code == 200, answer.text
    return answer.text


def change(browser: Browser, value: str = "0.5 %", why: str = WHY) -> None:
    assert browser.send(form_to(look(browser, value, why), f"{PAGE}/set")).status_code == 303


def verdicts(pages: Pages, hull: str) -> list[tuple[str, str]]:
    account = make_summary(pages.store, pages.desk.host, hull)
    return [(one.finding.code, one.finding.verdict.value) for job in account.jobs for one in job.assessed]


def test_the_list_shows_every_setting_with_default_range_and_basis(pages: Pages) -> None:
    page = words_of(pages.signed_in(HAND).text("/settings"))
    for setting in pages.desk.host.settings:
        assert with_signs(" ".join(setting.field.title.split())) in page
        assert with_signs(" ".join(memory_in_words(setting.allowed).split())) in page
        assert with_signs(" ".join(str(setting.basis).split())) in page
    assert "0 settings not at the default" in page
    assert "ISO 10133 by area (not compared with the printed text)" in page
    assert "from memory" not in page, "nobody at a shop knows whose memory"


def test_before_anything_is_saved_the_open_jobs_it_changes_are_shown(pages: Pages, manager: Browser) -> None:
    before = pages.entries()
    page = words_of(look(manager))
    assert "Not saved yet" in page
    assert "It changes" in page
    assert "Signed jobs keep what they were signed under" in page
    assert "no finding of its own" in page, "a circuit that passes among others and would fail"
    assert "judged" not in page, "it was, and is"
    assert pages.entries() == before
    was = {hull: verdicts(pages, hull) for hull in (SALTGRASS, LONG_REACH)}
    named = {hull for hull in was if f'href="/boats/{hull}"' in look(manager)}
    change(manager)
    assert {hull for hull in was if verdicts(pages, hull) != was[hull]} == named != set()


def test_advice_that_changes_within_its_verdict_is_a_change(pages: Pages, manager: Browser) -> None:
    """The largest change of pitch in one go: 3 in less was advised, and 2 in less would be."""
    desk, setting = pages.desk, settings_by_key(pages)["prop_check.largest_pitch_change"]
    ((job, findings),) = ((one.hull, one.findings) for one in effect_of(desk, setting, "2 in").jobs)
    assert job == SALTGRASS
    ((before, after),) = ((one.before, one.after) for one in findings)
    assert [line[:18] for line in (*before, *after)] == ["advise: Try 16 in ", "advise: Try 17 in "]
    page = words_of(look(manager, "2 in", "small steps", f"/settings/{setting.key}"))
    assert "It changes 1 open job" in page
    assert "Try 16 in first: 3 in less pitch" in page
    assert "Try 17 in first: 2 in less pitch" in page


def test_the_value_that_holds_already_changes_no_open_job(pages: Pages) -> None:
    setting = settings_by_key(pages)["prop_check.largest_pitch_change"]
    assert effect_of(pages.desk, setting, setting.default).jobs == ()
    assert effect_of(pages.desk, setting, "3 in").jobs == (), "what is advised lies within it"


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("prop_check.largest_pitch_change", "2 in", ("It changes 1 open job", "Try 16 in first", "Try 17 in first")),
        ("prop_check.speed_uncertainty", "0.3 kn", ("open job", "only figures change: no verdict and no advice")),
        ("fuel_curve.diesel_density", "7.1 lb/gal", ("It changes no open job",)),
        (
            "prop_check.shelf",
            "14.5 x 17, 3 blades\r\n14 x 16, A-12",
            ("It changes 1 open job", "first, on the shop's shelf: 2 in less"),
        ),
    ],
)
def test_other_advice_with_the_same_verdict_is_a_change(
    manager: Browser, key: str, value: str, said: tuple[str, ...]
) -> None:
    """Of a pass only the figures change, which is said; what no job uses changes none."""
    page = f"/settings/{key}"
    answer = manager.send(form_to(manager.text(page), f"{page}/look", reset=""), value=value, reason=WHY)
    shown = words_of(answer.text)
    assert [words for words in said if words not in shown] == []
    assert ("It changes no open job" in shown) == (len(said) == 1)


def test_what_is_saved_says_who_when_why_and_what_it_was(pages: Pages, manager: Browser) -> None:
    change(manager, "7 %", "first try")
    change(manager, "5", "stricter")
    page = words_of(manager.text(PAGE))
    assert f"5 %, our limit, set by {CHIEF} on" in page
    assert "the default is 10 %" in page
    assert f"7 % , replaced, by {CHIEF}" in page
    assert "first try" in page
    assert "stricter" in page
    listed = words_of(manager.text("/settings"))
    assert "1 setting not at the default" in listed
    assert "stricter" in listed
    ((entry,),) = (one.current for one in record_of(pages.store).registers.values())
    assert (entry.by, entry.tablet, entry.value) == (CHIEF, ON_THE_PAGE, "5 %")


def test_what_is_set_is_named_beside_the_findings_of_a_boat_that_used_it(pages: Pages, manager: Browser) -> None:
    change(manager, "7 %")
    page = words_of(manager.text(f"/boats/{SALTGRASS}"))
    assert f"7 %, our limit, set by {CHIEF} on" in page
    assert "Used for:" in page


def test_taken_back_the_default_holds_again(pages: Pages, manager: Browser) -> None:
    was = verdicts(pages, SALTGRASS)
    change(manager)
    assert verdicts(pages, SALTGRASS) != was
    answer = manager.send(form_to(manager.text(PAGE), f"{PAGE}/look", reset="1"), reason="no more")
    assert "the default" in words_of(answer.text)
    assert manager.send(form_to(answer.text, f"{PAGE}/set")).status_code == 303
    assert verdicts(pages, SALTGRASS) == was
    assert "Taken back" in words_of(manager.text(PAGE))


@pytest.mark.parametrize("value", ["50 %", "0 %", "5 V", "", "soon"])
@pytest.mark.parametrize("way", ["look", "set"])
def test_out_of_range_is_refused_in_words(pages: Pages, manager: Browser, value: str, way: str) -> None:
    before = pages.entries()
    form = (
        form_to(manager.text(PAGE), f"{PAGE}/look", reset="")
        if way == "look"
        else form_to(look(manager), f"{PAGE}/set")
    )
    answer = manager.send(form, value=value, reason=WHY)
    assert answer.status_code == 400
    assert "expected" in words_of(answer.text).lower()
    assert pages.entries() == before


def test_without_a_reason_nothing_is_saved(pages: Pages, manager: Browser) -> None:
    before = pages.entries()
    answer = manager.send(form_to(look(manager), f"{PAGE}/set"), reason=" ")
    assert answer.status_code == 400
    assert pages.entries() == before


def test_only_a_manager_changes_them(pages: Pages, manager: Browser) -> None:
    hand = pages.signed_in(HAND)
    assert f"{PAGE}/look" not in hand.text(PAGE)
    form = form_to(look(manager), f"{PAGE}/set")
    before = pages.entries()
    for action in (f"{PAGE}/look", f"{PAGE}/set"):
        fields = {**{one["name"]: one.get("value", "") for one in form.inputs}, "csrf": hand.csrf(), "value": "5 %"}
        assert hand.post(action, fields).status_code == 403
    assert pages.browser().get("/settings").status_code == 303
    assert pages.entries() == before


def test_two_managers_at_once_do_not_pass_each_other_over(pages: Pages, manager: Browser) -> None:
    late = form_to(look(manager, "7 %"), f"{PAGE}/set")
    change(manager, "5 %")
    answer = manager.send(late)
    assert answer.status_code == 409
    assert "This setting was changed after you opened the form" in words_of(answer.text)


def test_a_setting_nobody_declares_is_not_found(manager: Browser) -> None:
    assert manager.get("/settings/wiring_audit.no_such").status_code == 404


def test_a_value_by_stick_is_shown_as_not_used(pages: Pages, manager: Browser) -> None:
    set_for_shop(pages.store.hulls, {DROP: "5 %"}, attrs.evolve(OFFICE, tablet="a stick", by="K. Lind"))
    shown = shown_setting(pages.desk, DROP)
    assert shown is not None
    assert shown.value == "10 %"
    page = words_of(manager.text(PAGE))
    assert "Not used: 5 %, set by K. Lind" in page
    listed = words_of(manager.text("/settings"))
    assert "0 settings not at the default; 1 setting at the default with a value not used" in listed
    assert "At the default, a value set is not used" in listed
    change(manager, "6 %")
    assert "Not used" not in words_of(manager.text(PAGE)), "the manager's value replaced it"


def test_the_shops_record_is_on_no_list_of_boats(pages: Pages, manager: Browser) -> None:
    change(manager)
    pages.desk.index.refresh()
    pages.at += 60_000
    pages.desk.index.refresh()
    assert SHOP_RECORD not in {card.hull for card in pages.desk.index.search("")}
    assert manager.get(f"/boats/{SHOP_RECORD}").status_code == 404
    for path in ("/boats", f"/boats?q={SHOP_RECORD}", "/days/2026-11-25", "/measurements.csv"):
        assert SHOP_RECORD not in manager.text(path).replace(f'value="{SHOP_RECORD}"', "")
    page = manager.text(f"/boats/{SALTGRASS}/move?job=saltgrass-2026-05&q=long")
    form = form_to(page, f"/boats/{SALTGRASS}/move", job="saltgrass-2026-05", csrf=manager.csrf())
    answer = manager.send(form, other=SHOP_RECORD, reason="why")
    assert answer.status_code == 400
    assert "no boat has it" in words_of(answer.text)


def test_the_command_on_the_shops_folder_says_what_the_page_says(pages: Pages, manager: Browser) -> None:
    change(manager)
    by_command = {
        one.view.vessel.hull_number: [(found.finding.code, found.finding.verdict.value) for found in one.assessed]
        for one in assess_hulls(pages.store.hulls.folder, pages.desk.host)
    }
    assert by_command[SALTGRASS] == verdicts(pages, SALTGRASS)


def test_the_ends_of_a_range_cannot_be_set_the_wrong_way_round_on_the_page(pages: Pages, manager: Browser) -> None:
    low, high = "prop_check.slip_low_planing", "prop_check.slip_high_planing"
    form = form_to(manager.text(f"/settings/{low}"), f"/settings/{low}/look", reset="")
    refused = manager.send(form, value="40 %", reason=WHY)
    assert refused.status_code == 400
    assert high in refused.text
    changing = form_to(manager.send(form, value="10 %", reason=WHY).text, f"/settings/{low}/set")
    before = pages.entries()
    refused = manager.send(changing, value="40 %")
    assert refused.status_code == 400
    assert pages.entries() == before


LOGO = "/settings/handover.shop_logo"
DRAWING = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 20"><rect width="60" height="20"/></svg>'


def send_file(browser: Browser, content: bytes, page: str = LOGO, why: str = WHY, **fields: str) -> Any:
    """The form with a file as a browser sends it (RFC 7578, by the client's own writer)."""
    told = {**fields_of(form_to(browser.text(page), f"{LOGO}/picture")), "reason": why, **fields}
    told.pop("file", None)
    return browser.client.post(f"{page}/picture", data=told, files={"file": ("logo.svg", content, "image/svg+xml")})


def test_a_manager_sets_the_logo_on_the_page_and_sees_it(pages: Pages, manager: Browser) -> None:
    assert send_file(manager, DRAWING).status_code == 303
    page = manager.text(LOGO)
    assert f'src="{LOGO}/picture"' in page
    assert WHY in page
    shown = manager.get(f"{LOGO}/picture")
    assert (shown.status_code, shown.headers["content-type"]) == (200, "image/svg+xml")
    assert b"<rect" in shown.content
    assert "default-src 'none'" in shown.headers["content-security-policy"]
    png = BytesIO()
    Image.effect_noise((900, 300), 90).save(png, "PNG")
    assert len(png.getvalue()) > LARGEST_FORM, "larger than any other form"
    assert send_file(manager, png.getvalue()).status_code == 303
    assert manager.get(f"{LOGO}/picture").headers["content-type"] == "image/png"


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "The file is empty"),
        (b"GIF89a", "no picture that can be read here"),
        (DRAWING.replace(b"<rect", b"<script>alert(1)</script><rect"), "&lt;script&gt;"),
        (DRAWING.replace(b"<rect", b'<rect onclick="x()"'), "onclick"),
        (b"\x89PNG\r\n\x1a\n" + b"0" * 5_000_000, "larger than 5 MB"),
        (b"0" * 5_200_000, "too large"),
    ],
)
def test_what_cannot_be_a_logo_is_refused_in_words_and_nothing_is_saved(
    pages: Pages, manager: Browser, content: bytes, says: str
) -> None:
    before = pages.entries()
    answer = send_file(manager, content)
    assert answer.status_code in (400, 413)
    assert says in answer.text
    assert pages.entries() == before


def test_only_a_manager_sends_a_file_and_only_for_a_picture(pages: Pages, manager: Browser) -> None:
    before = pages.entries()
    hand = pages.signed_in(HAND)
    told = {"csrf": hand.csrf(), "saw": "", "reason": WHY}
    for size in (10, 100_000):  # a stranger cannot make the server read more than any other form
        for browser in (hand, pages.browser()):
            answer = browser.client.post(f"{LOGO}/picture", data=told, files={"file": ("l", b"0" * size)})
            assert answer.status_code in (403, 413, 415), answer.status_code
    assert send_file(manager, DRAWING, csrf="wrong").status_code == 403
    typed = {**fields_of(form_to(manager.text(LOGO), f"{LOGO}/picture")), "value": "a logo", "reset": "", "reason": WHY}
    for page in ("look", "set"):
        answer = manager.post(f"{LOGO}/{page}", typed)
        assert answer.status_code == 400
    assert pages.entries() == before


def test_a_choice_that_is_shown_with_its_sign_is_sent_as_it_is_declared(pages: Pages) -> None:
    """ "15°" stands on the page; "15 deg" is what the setting takes."""
    source = pages.signed_in(CHIEF).text("/settings/heading_calibration.card_step")
    assert [one.get("value") for name, one in tags_in(source) if name == "option"] == ["10 deg", "15 deg"]
    assert "10° 15°" in words_of(source)
