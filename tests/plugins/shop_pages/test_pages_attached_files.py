"""A photo kept with a step that has no field for it stands among the step's values on the boat's page."""

from __future__ import annotations

from garboard.fold import Fold
from garboard.hullfile import CheckedEntries
from garboard.job_file import ATTACHED
from garboard.records import JsonValue
from garboard.writing import Author, measure
from pages_rig import NOON, SALTGRASS, Browser, Pages, words_of

JOB, STEP = "saltgrass-2026-05", "prop_check.full_throttle"


def test_an_attached_photo_is_listed_with_its_step_by_name_and_who_took_it(pages: Pages, manager: Browser) -> None:
    value: JsonValue = {"file": "ab" * 32, "name": "chafe.jpg"}
    author = Author("tablet 9", "A. Hand")
    entry = measure(author, Fold(SALTGRASS), JOB, STEP, ATTACHED, value, row="abababababab")
    pages.store.put_if_absent({SALTGRASS: CheckedEntries({entry.id: entry.raw})}, "000000000001", NOON, 0)
    words = words_of(manager.text(f"/boats/{SALTGRASS}"))
    assert "attached, abababababab chafe.jpg A. Hand" in words
    history = manager.text(f"/boats/{SALTGRASS}/jobs/{JOB}/history?of={STEP}/{ATTACHED}/abababababab")
    assert "chafe.jpg" in history
