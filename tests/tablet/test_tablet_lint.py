"""The layout lint finds what it is there to find."""

from __future__ import annotations

from typing import Any

import pytest

from tablet.layout_lint import faults


@pytest.fixture
def bench(kivy_window: Any) -> tuple[Any, Any]:
    """An empty ground to put widgets on, and the window."""
    from kivy.core.window import Window

    from garboard_tablet.ui.theme import theme
    from garboard_tablet.ui.widgets import Ground

    Window.size = (1280, 800)
    ground = Ground(pos=(0, 0), size=(1280, 800))
    ground.ground = theme.ground
    return ground, Window


def press(text: str, x: float, y: float, width: float, height: float, **more: Any) -> Any:
    from garboard_tablet.ui.widgets import Press

    made = Press(text, lambda: None, **more)
    made.size, made.pos = (width, height), (x, y)
    made.texture_update()
    return made


def test_a_sound_page_has_no_fault(bench: tuple[Any, Any]) -> None:
    """Two large presses well apart."""
    ground, window = bench
    ground.add_widget(press("One", 100, 100, 200, 120))
    ground.add_widget(press("Two", 320, 100, 200, 120))
    assert faults(ground, window) == []


@pytest.mark.parametrize(
    ("boxes", "fault"),
    [
        ([("Small", 100, 100, 90, 120)], "target 'Small' is 90 x 120 dp"),
        ([("One", 100, 100, 200, 120), ("Two", 303, 100, 200, 120)], "gap of 3 dp"),
        ([("Edge", 2, 100, 200, 120)], "reaches into the outer 8 dp"),
        ([("A long sentence that no press of this size has room for, not at all", 100, 100, 120, 100)], "needs"),
        ([("Unbreakableword", 100, 100, 100, 200)], "is broken"),
        ([("Outside", 1200, 100, 200, 120)], "lies outside the window"),
    ],
)
def test_each_fault_is_found(bench: tuple[Any, Any], boxes: list[tuple[str, int, int, int, int]], fault: str) -> None:
    """One fault of each kind, made on purpose."""
    ground, window = bench
    for box in boxes:
        ground.add_widget(press(*box))
    assert any(fault in found for found in faults(ground, window)), faults(ground, window)


def test_faint_small_and_overlapping_words_are_found(bench: tuple[Any, Any]) -> None:
    """Grey on paper, small print, and one text over another."""
    from garboard_tablet.ui.widgets import Txt

    ground, window = bench
    faint, small = Txt("Faint"), Txt("Small", 14)
    faint.color = [0.6, 0.6, 0.6, 1]
    for text in (faint, small):
        text.fit(200)
        text.pos = (300, 300)
        ground.add_widget(text)
    found = " ".join(faults(ground, window))
    assert "'Faint' has contrast" in found
    assert "'Small' is set in 14 sp" in found
    assert "lies over" in found
