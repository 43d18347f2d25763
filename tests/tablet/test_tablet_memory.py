"""What a page keeps is counted: pieces of its curves, pictures of its words, the renderer's compiler, modules."""

from __future__ import annotations

import asyncio
import ctypes
import math
import sys
from collections.abc import Iterator, Sequence
from typing import Any

import pytest

from garboard_tablet.ui.curves import NEAR, filled, pieces, rounded
from tablet.driver import Drive, new_job

SEEN = 60
"""Of more pieces no curve of the app is: a circle of a radius of 60 pixels has 56."""


@pytest.mark.parametrize("radius", [0.05, 1.0, 8.0, 10.0, 16.0, 33.3, 250.0])
def test_no_straight_piece_leaves_its_circle_by_more_than_is_seen(radius: float) -> None:
    """A chord is furthest from its circle in its middle."""
    count = pieces(radius)
    assert count % 4 == 0
    assert radius * (1 - math.cos(math.pi / count)) <= NEAR + 1e-9
    assert count == 4 or radius * (1 - math.cos(math.pi / (count - 4))) > NEAR


@pytest.mark.parametrize(("wide", "high", "radius"), [(300.0, 60.0, 10.0), (40.0, 40.0, 33.0), (24.0, 200.0, 8.0)])
def test_a_rounded_edge_lies_on_its_corners_and_its_sides(wide: float, high: float, radius: float) -> None:
    flat = rounded(5.0, 7.0, wide, high, radius)
    points = [*zip(flat[::2], flat[1::2], strict=True)]
    corner = min(radius, wide / 2, high / 2)
    for x, y in points:
        across = max(5 + corner - x, x - (5 + wide - corner), 0.0)
        up = max(7 + corner - y, y - (7 + high - corner), 0.0)
        assert math.hypot(across, up) == pytest.approx(corner)
    assert {round(x, 6) for x, _ in points} == {round(10 + wide - x, 6) for x, _ in points}
    assert {round(y, 6) for _, y in points} == {round(14 + high - y, 6) for _, y in points}
    assert (min(points)[0], max(points)[0]) == pytest.approx((5.0, 5.0 + wide))
    turns = sum((bx - ax) * (by + ay) for (ax, ay), (bx, by) in zip(points, points[1:] + points[:1], strict=True))
    assert turns > 0, "its points go round in one direction"


@pytest.mark.parametrize(("wide", "high", "radius"), [(300.0, 60.0, 10.0), (40.0, 40.0, 33.0), (24.0, 200.0, 8.0)])
def test_what_is_within_a_rounded_edge_is_filled_once(wide: float, high: float, radius: float) -> None:
    """Its triangles have the area within its edge together, reach no further, and make three rectangles and corners."""
    flat = rounded(5.0, 7.0, wide, high, radius)
    edge = [*zip(flat[::2], flat[1::2], strict=True)]
    numbers, order = filled(flat)
    points = [*zip(numbers[::4], numbers[1::4], strict=True)]

    def area_of(shape: Sequence[tuple[float, float]]) -> float:
        around = zip(shape, [*shape[1:], shape[0]], strict=True)
        return abs(sum(ax * by - bx * ay for (ax, ay), (bx, by) in around)) / 2

    triangles = [[points[one] for one in order[at : at + 3]] for at in range(0, len(order), 3)]
    assert sum(map(area_of, triangles)) == pytest.approx(area_of(edge))
    assert {*edge} < {*points}
    for x, y in points:
        assert 5 - 1e-9 <= x <= 5 + wide + 1e-9
        assert 7 - 1e-9 <= y <= 7 + high + 1e-9
    in_rectangles = sum(map(area_of, triangles[:6]))
    corner = min(radius, wide / 2, high / 2)
    assert in_rectangles == pytest.approx(wide * high - 4 * corner * corner)
    assert filled([]) == ([], [])


def drawn(canvas: Any) -> Iterator[Any]:
    for one in canvas.children:
        yield one
        if hasattr(one, "children"):
            yield from drawn(one)


def test_what_a_page_draws_is_small_and_drawn_from_nothing_it_keeps(
    drive: Drive, settled_soon: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disc of 32 pixels had 180 pieces, and each word was held twice: as it was drawn and as it is shown."""
    from kivy.graphics import Ellipse, Line, Mesh, Rectangle

    from garboard_tablet.ui.run_row import RunRow
    from garboard_tablet.ui.widgets import _Text

    told: list[bool] = []
    monkeypatch.setattr("garboard_tablet.app.release_compiler", lambda: told.append(True))
    d = drive()
    d.step(3)
    assert told == [True], "once the first frame is drawn"
    pages = []
    for names in ([], ["back"], ["settings"]):
        if names:
            d.press(*names)
        else:
            new_job(d)
        d.step(2)
        pages += [*d.widgets()]
        areas = [one.size for one in drawn(d.window.canvas) if isinstance(one, Rectangle)]
        assert len(areas) > 10
        wide, high = d.window.size
        assert not [size for size in areas if size[0] >= wide and size[1] >= high], "the window is cleared already"
    row = RunRow("Run 1", print, trace=None, is_looked_at=True)
    row.size = (300, 80)
    d.step()
    shapes = [one for widget in (*pages, row) for one in drawn(widget.canvas)]
    curves = [len(one.points) // 2 for one in shapes if isinstance(one, Line)]
    curves += [one.segments or 180 for one in shapes if isinstance(one, Ellipse)]  # Kivy's own where none are given
    curves += [len(one.indices) // 3 - 6 for one in shapes if isinstance(one, Mesh)]  # a panel's corners
    assert len(curves) > 40
    assert max(curves) <= SEEN
    written = [vars(one._label) for one in pages if isinstance(one, _Text) and one.text]
    held = [one["_surface"] for one in written if "_surface" in one]
    assert len(held) > 20, "so many words were drawn"
    assert {*held} == {None}
    lines = [one for one in pages if isinstance(one, _Text) and len(one._label._cached_lines) == 1 and one.texture]
    assert len(lines) > 20
    assert [one.text for one in lines if one.texture_size[0] > one._wide(one._label.text) + 1] == [], "empty beside it"


@pytest.mark.parametrize("align", ["left", "center"])
@pytest.mark.parametrize("room", [300, 301, 110])
def test_a_picture_no_wider_than_its_words_has_all_of_them(
    kivy_window: object, monkeypatch: pytest.MonkeyPatch, align: str, room: int
) -> None:
    """Beside Kivy's own, as wide as the room: what it lacks is empty, on both sides alike where words are centred."""
    from kivy.core.text import Label

    from garboard_tablet.ui import widgets

    def rows(label: Any) -> list[bytes]:
        label.refresh()
        wide, high = label.texture.size
        dots = label.texture.pixels
        return [dots[4 * wide * row : 4 * wide * (row + 1)] for row in range(high)]

    style = {"text": "Full throttle, both ways", "text_size": (room, None), "halign": align, "font_size": 26}
    ours = rows(Label(**style))
    monkeypatch.setattr(Label, "render", widgets._room_for_words)
    whole = rows(Label(**style))
    spare = room - len(ours[0]) // 4
    before = spare // 2 if align == "center" else 0
    assert spare > 3
    assert len(ours) == len(whole)
    assert any(map(any, ours))
    for one, other in zip(ours, whole, strict=True):
        assert other == bytes(4 * before) + one + bytes(4 * (spare - before))


def test_a_shader_is_compiled_after_the_compiler_was_released(kivy_window: object) -> None:
    """Whoever draws something new later finds it back."""
    from kivy.graphics import RenderContext

    from garboard_tablet.ui.shaders import release_compiler

    assert release_compiler() in (True, False)  # no more can be asked: some systems have no such call
    with_shader = RenderContext(use_parent_projection=True)
    with_shader.shader.fs = "$HEADER$\nvoid main(void) { gl_FragColor = vec4(0.5); }"
    assert with_shader.shader.success


def test_the_renderer_is_told_by_the_first_library_that_is_loaded_and_knows_the_call(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from garboard_tablet.ui import shaders

    asked, called = list[str](), list[tuple[object, ...]]()

    class Knows:
        @staticmethod
        def glReleaseShaderCompiler(*arguments: object) -> None:  # noqa: N802
            called.append(arguments)

    def load(name: str, mode: int) -> object:
        asked.append(name)
        if name == shaders.LIBRARIES[0]:
            raise OSError("not loaded")
        return object() if name == shaders.LIBRARIES[1] else Knows()

    monkeypatch.setattr(ctypes, "CDLL", load)
    assert shaders.release_compiler()
    assert (tuple(asked), called) == (shaders.LIBRARIES, [()])
    monkeypatch.setattr(shaders, "LIBRARIES", shaders.LIBRARIES[:2])
    assert not shaders.release_compiler()


def test_what_stands_for_a_module_gives_what_is_in_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever runs Kivy in a loop finds all of it, and so does what is loaded while it stands there."""
    from garboard_tablet.ui.before_kivy import _Later

    meanwhile: Any = _Later("colorsys")
    monkeypatch.setitem(sys.modules, "colorsys", meanwhile)
    assert meanwhile.rgb_to_hsv(0.0, 0.0, 1.0) == (2 / 3, 1.0, 1.0)
    assert sys.modules["colorsys"] is not meanwhile
    later: Any = _Later("asyncio")
    assert later.sleep is asyncio.sleep

    async def soon() -> str:
        return str(await later.wait_for(asyncio.sleep(0, "there"), 10))

    assert asyncio.run(soon()) == "there"
