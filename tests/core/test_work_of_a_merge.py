"""What a merge does is counted, not timed: it must not grow with what it need not look at."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

from garboard.disk.entries import Entry
from garboard.disk.hullfile import HullFolder
from garboard.history import registers, signature_scope
from garboard.history.authoring import measure, sign_off
from garboard.history.merge import merge
from garboard.history.replay import replay
from garboard.hull_number import KnownNumbers
from histories import HULL, JOB, tablet

FIELDS = 6
TABLETS = "abcde"


class Counter:
    """Counts the calls of a function, which goes on as before."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, place: object, name: str) -> None:
        self.calls = 0
        work: Callable[..., Any] = getattr(place, name)

        def counted(*arguments: Any) -> Any:
            self.calls += 1
            return work(*arguments)

        monkeypatch.setattr(place, name, counted)


def signed_day(folder: Path, values: Sequence[str]) -> list[HullFolder]:
    """Tablets that each typed the same fields of one boat, each with its own value in all of them, and signed."""
    return [signed_tablet(folder / name, name, value) for name, value in zip(TABLETS, values, strict=True)]


def signed_tablet(folder: Path, name: str, value: str) -> HullFolder:
    author = tablet(name).author
    typed: list[Entry] = []
    for number in range(FIELDS):
        typed.append(measure(author, replay(HULL, typed), JOB, "prop_check", f"field_{number}", value))
    hulls = HullFolder(folder)
    hulls.put_if_absent(HULL, [*typed, sign_off(author, replay(HULL, typed), JOB, "technician", author.by)])
    return hulls


def test_values_typed_alike_on_every_tablet_are_neither_ordered_nor_compared(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where all say the same, letter for letter, a signature over one of them stands for all."""
    ordered = Counter(monkeypatch, registers.Register, "order_keys")
    compared = Counter(monkeypatch, signature_scope, "say_the_same")
    tablets = signed_day(tmp_path, ["30 kn"] * len(TABLETS))
    with HullFolder(tmp_path / "shop") as shop:
        (hull,) = merge(tablets, shop).hulls
    assert (hull.stale, hull.disagreeing) == ((), ())
    assert (ordered.calls, compared.calls) == (0, 0)


def test_one_value_typed_otherwise_is_compared_and_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    compared = Counter(monkeypatch, signature_scope, "say_the_same")
    tablets = signed_day(tmp_path, ["30 kn", "30 kn", "30.0 kn", "30 kn", "31 kn"])
    with HullFolder(tmp_path / "shop") as shop:
        (hull,) = merge(tablets, shop).hulls
    assert len(hull.disagreeing) == FIELDS
    assert len(hull.stale) == len(TABLETS)
    assert compared.calls > 0


def calls_of(work: Callable[[], object]) -> int:
    """How many functions a piece of work calls, those written in C too."""
    count = 0

    def called(_frame: FrameType, event: str, _arg: object) -> None:
        nonlocal count
        count += event in ("call", "c_call")

    sys.setprofile(called)
    try:
        work()
    finally:
        sys.setprofile(None)
    return count


def test_a_number_is_held_only_against_those_it_may_be_a_slip_of() -> None:
    """Ten times as many known numbers take ten times as long to lay out, once, and no longer to ask of."""
    calls = []
    for many in (100, 1000):
        known = KnownNumbers(f"ABC{number:05d}A526" for number in range(many))
        assert "ABC00051A526" in known.look_alikes("ABC00050A526")
        calls.append(calls_of(partial(known.look_alikes, "ABC00050A526")))
    assert calls[0] < calls[1] < 1.2 * calls[0]  # of the thousand a few more are one slip away
