"""The layout lint finds what it is there to find."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest

from tablet.layout_lint import faults


@pytest.fixture
def bench(kivy_window: Any) -> tuple[Any, Any]:
    """An empty ground to put widgets on, and the window."""
    from kivy.core.window import Window
    from kivy.uix.widget import Widget

    from garboard_tablet.ui.theme import theme

    Window.size = (1280, 800)
    ground = Widget(pos=(0, 0), size=(1280, 800))
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


def test_a_value_parted_from_its_unit_is_found(bench: tuple[Any, Any]) -> None:
    """Every text joins them; one that was set past that is found where it has room for the whole."""
    from garboard_tablet.ui.widgets import Txt

    ground, window = bench
    value = Txt("Drop 14.3 ± 0.2 %")
    value.fit(400)
    value.pos = (300, 300)
    ground.add_widget(value)
    assert not faults(ground, window)
    value._label.text = "Drop 14.3 ± 0.2 %"
    assert any("can be broken within a value" in fault for fault in faults(ground, window))


@pytest.mark.parametrize(("gap", "is_found"), [(20, True), (40, False)])
def test_danger_beside_anything_else_is_found(bench: tuple[Any, Any], gap: int, is_found: bool) -> None:
    ground, window = bench
    ground.add_widget(press("Remove it", 100, 300, 200, 120, kind="away"))
    ground.add_widget(press("Continue", 300 + gap, 300, 200, 120))
    assert any("cannot be undone and is" in fault for fault in faults(ground, window)) is is_found


def test_danger_in_the_rail_is_found(bench: tuple[Any, Any]) -> None:
    ground, window = bench
    ground.add_widget(press("Remove it", 1060, 300, 200, 120, kind="away"))
    assert any("stands in the rail" in fault for fault in faults(ground, window))


@pytest.mark.parametrize(
    ("boxes", "fault"),
    [
        ([("Next", 1060, 20, 200, 126, "main"), ("Also", 800, 20, 200, 126, "main")], "are filled alike"),
        ([("Next", 800, 20, 200, 126, "main"), ("Other", 1060, 20, 200, 96, "plain")], "nearer to the thumb's corner"),
        ([("Next", 1060, 300, 200, 126, "main"), ("Other", 700, 20, 200, 96, "plain")], "nearer to the thumb's corner"),
        ([("Next", 1060, 20, 200, 126, "main"), ("Other", 1060, 200, 200, 96, "plain")], ""),
    ],
)
def test_next_stands_in_one_place_and_alone_is_filled(
    bench: tuple[Any, Any], boxes: list[tuple[str, int, int, int, int, str]], fault: str
) -> None:
    ground, window = bench
    for *box, kind in boxes:
        ground.add_widget(press(*box, kind=kind))  # type: ignore[arg-type]
    found = faults(ground, window)
    assert any(fault in one for one in found) if fault else not found, found


@pytest.mark.parametrize("most", [1, 2])
def test_a_bare_half_beside_a_list_that_has_more_is_found(bench: tuple[Any, Any], most: int) -> None:
    """The same rows in a narrow column leave the rest of the page bare, and in two columns do not."""
    from garboard_tablet.ui.widgets import Column, RowPress

    ground, window = bench
    column = Column(most=most)
    column.pos, column.size = (16, 16), (600 * most + 12, 660)
    column.show([partial(RowPress, f"Row {number}", list) for number in range(30)])
    ground.add_widget(column)
    found = any("is bare beside a list" in fault for fault in faults(ground, window))
    assert found is (most == 1)
    column.show([partial(RowPress, f"Row {number}", list) for number in range(2)])
    assert not any("is bare" in fault for fault in faults(ground, window)), "a list that is all in sight may be short"
