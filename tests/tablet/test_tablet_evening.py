"""An evening at the shop with the app as one of three tablets: real server process, real TLS, real browser.

Two tablets come ashore by command, each in a process of its own; the third is the app, brought ashore by touch.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from test_tablet_commissioning import new_job

from campaigns.sync_campaign import Server
from garboard.demo_day import make_day
from garboard.fold import SlotKey
from garboard.hullfile import HullFolder
from garboard.samples_folder import sample_job_files
from pages_rig import CHIEF, LONG_REACH, SALTGRASS, make_first_manager, sign_in

NEW_BOAT = "XYZAB123F526"
SPEED = SlotKey("measure", "saltgrass-2026-05", ("prop_check.full_throttle", "speed", "2", ""))
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")

Held = dict[str, dict[str, bytes]]


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    running = Server(tmp_path / "office")
    running.first_code = running.start()
    yield running
    if running.is_running:
        running.kill()


def by_command(folder: Path, *pairing: str) -> None:
    """A tablet's own process brings its folder ashore."""
    command = [sys.executable, "-m", "garboard", "ashore", "--folder", str(folder), *pairing]
    subprocess.run(command, check=True, capture_output=True, text=True)


def held_in(folder: Path) -> Held:
    with HullFolder(folder, read_only=True) as hulls:
        return {hull: dict(hulls.get(hull)) for hull in hulls.hulls()}


def attachments_in(folder: Path) -> set[str]:
    with HullFolder(folder, read_only=True) as hulls:
        return set(hulls.attachments.names())


def everything(*parts: Held) -> Held:
    """The plain union, made without any of the merging code."""
    return {
        hull: {name: raw for part in parts for name, raw in part.get(hull, {}).items()} for hull in set().union(*parts)
    }


def settle_on_the_page(port: int) -> None:
    """The manager chooses between the two speeds, in a real browser."""
    sync_api: Any = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        make_first_manager(browser, port)
        page = browser.new_context(ignore_https_errors=True).new_page()
        sign_in(page, port)
        boat = page.locator(f"#boat-{SALTGRASS}")
        boat.get_by_label("31.9 kn").check()
        boat.get_by_label("Why").first.fill("read at the plotter during the run")
        boat.get_by_role("button", name="Use the chosen value").click()
        assert page.get_by_role("status").text_content().startswith("Settled.")
        browser.close()


@pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed: apt-get install chromium")
def test_the_app_and_two_other_tablets_end_the_evening_equal_to_the_shop(drive, server, tmp_path):
    """A boat made by touch reaches every tablet, what the manager settles on the page reaches the app."""
    day = make_day({file.parent.name: file for file in sample_job_files()}, tmp_path)
    one, two, three = day.tablets
    before = everything(*map(held_in, day.tablets))
    photos = set().union(*map(attachments_in, day.tablets))
    codes = server.first_code, server.new_code(), server.new_code()

    d = drive(three, threads=True)
    new_job(d, NEW_BOAT)
    d.press("step dock.horn", "choice Yes", "back", "back", "back")
    by_touch = held_in(three)[NEW_BOAT]
    by_command(one, "--pair", codes[0], "--name", "Tablet 1")
    by_command(two, "--pair", codes[1], "--name", "Tablet 2")
    d.press("ashore", "pair")
    d.write(codes[2])
    d.press("save it")
    d.wait(lambda: d.says("Everything is ashore"), 60)
    assert d.says("Both hold the same")
    assert d.app.tablet.files.ids(SALTGRASS) >= before[SALTGRASS].keys()

    settle_on_the_page(server.port)
    by_command(one)
    by_command(two)
    d.press("bring ashore now")
    d.wait(lambda: held_in(three) == held_in(one), 60)
    d.wait(lambda: d.says("Everything is ashore"), 60)
    (entry,) = d.app.tablet.fold(SALTGRASS).standing(SPEED)
    assert (entry.by, entry.value) == (CHIEF, "31.9 kn")

    server.kill()
    shop = held_in(tmp_path / "office")
    assert held_in(one) == held_in(two) == held_in(three) == shop
    assert everything(before, {NEW_BOAT: by_touch}, {SALTGRASS: {entry.id: entry.raw}}) == shop
    assert len(by_touch) > 1
    assert LONG_REACH in shop
    for folder in (one, two, three, tmp_path / "office"):
        assert attachments_in(folder) == photos
