"""What a merge does is counted, not timed: it must not grow with what it need not look at."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from campaigns.writers import entry_number
from counted import calls_of
from garboard.disk import hullfile, journal
from garboard.disk.entries import Entry
from garboard.disk.hullfile import HullFolder
from garboard.disk.journal import file_name
from garboard.history import registers, signature_scope, worth_telling
from garboard.history.authoring import measure, sign_off
from garboard.history.merge import HullMerge, boat_by_boat, merge
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


def test_what_comes_is_held_against_the_shape_of_an_entry_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When it is checked. The report takes what was seen then, and looks at those alone that were here before."""
    again = Counter(monkeypatch, worth_telling, "plain_parts")
    tablets = signed_day(tmp_path, ["30 kn", "31 kn", "30 kn", "30 kn", "30 kn"])
    with HullFolder(tmp_path / "shop") as shop:
        (hull,) = merge(tablets[:2], shop).hulls
        assert (len(hull.disagreeing), again.calls) == (FIELDS, 0)
        (hull,) = merge(tablets[2:], shop).hulls
    assert again.calls == 2 * (FIELDS + 1)


@pytest.fixture
def hashed(monkeypatch: pytest.MonkeyPatch) -> list[bytes]:
    """The entries whose hash was asked for, as it was."""
    entries: list[bytes] = []
    really = hashlib.sha256

    def noted(data: bytes = b"", **options: Any) -> Any:
        if data.startswith(b"{"):
            entries.append(data)
        return really(data, **options)

    monkeypatch.setattr(hashlib, "sha256", noted)
    return entries


def test_each_entry_is_hashed_and_held_against_the_shape_once_on_however_many_tablets_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, hashed: list[bytes]
) -> None:
    """Of lines that a tablet's file begins with as another's does, none is looked at by itself."""
    shared = [entry_number(number, HULL) for number in range(50)]
    later = entry_number(900, HULL)
    for place, name in enumerate(TABLETS):
        own = [entry_number(1000 + 10 * place + number, HULL) for number in range(3)]
        with HullFolder(tmp_path / name) as hulls:
            hulls.put_if_absent(HULL, [*shared, *([later, *own] if place else [*own, later])])
    searches = Counter(monkeypatch, hullfile, "parts_of_lines")
    one_by_one = Counter(monkeypatch, hullfile, "hull_key_and_parts")
    found_by_id: list[str] = []

    class Known(dict[str, bytes]):
        def get(self, name: str, default: Any = None) -> Any:
            found_by_id.extend([name] if name in self else [])
            return super().get(name, default)

    really = journal.read
    monkeypatch.setattr(hullfile, "read", lambda data, known, beginning: really(data, Known(known), beginning))
    hashed.clear()
    with HullFolder(tmp_path / "shop") as shop:
        report = merge([HullFolder(tmp_path / name, read_only=True) for name in TABLETS], shop)
        kept = [*shop.get(HULL).values()]
    assert (report.complete, report.received, len(kept)) == (True, 66, 66)
    assert sorted(hashed) == sorted(kept)
    assert (searches.calls, one_by_one.calls) == (len(TABLETS), 0)
    assert found_by_id == [later.id] * (len(TABLETS) - 1)


def test_a_number_is_held_only_against_those_it_may_be_a_slip_of() -> None:
    """Ten times as many known numbers take ten times as long to lay out, once, and no longer to ask of."""
    calls = []
    for many in (100, 1000):
        known = KnownNumbers(f"ABC{number:05d}A526" for number in range(many))
        assert "ABC00051A526" in known.look_alikes("ABC00050A526")
        calls.append(calls_of(partial(known.look_alikes, "ABC00050A526")))
    assert calls[0] < calls[1] < 1.2 * calls[0]  # of the thousand a few more are one slip away


OTHERS = [f"QQZ{number:05d}D626" for number in range(30)]


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the hull files opened, as they are opened."""
    names: list[str] = []
    really = Path.open

    def noted(path: Path, *arguments: Any, **options: Any) -> Any:
        if path.suffix == ".hull":
            names.append(path.name)
        return really(path, *arguments, **options)

    monkeypatch.setattr(Path, "open", noted)
    return names


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A shop's folder of many hulls, listed once since they were written."""
    with HullFolder(tmp_path / "shop") as folder:
        author = tablet("shop").author
        with folder.batch():
            for hull in OTHERS:
                folder.put_if_absent(hull, [measure(author, replay(hull, ()), JOB, "prop_check", "field", "30 kn")])
        assert list(folder.hulls()) == OTHERS
    return tmp_path / "shop"


def test_a_merge_opens_no_hull_file_it_has_nothing_for(tmp_path: Path, shop: Path, opened: list[str]) -> None:
    bringing = signed_tablet(tmp_path / "a", "a", "30 kn")
    opened.clear()
    with HullFolder(shop) as folder:
        report = merge([bringing], folder)
        assert (report.complete, len(folder.hulls())) == (True, len(OTHERS) + 1)
    assert set(opened) <= {file_name(HULL)}


def test_a_tablet_that_is_as_it_was_saved_is_opened_for_its_entries_only(tmp_path: Path, opened: list[str]) -> None:
    signed_tablet(tmp_path / "a", "a", "30 kn").close()
    with HullFolder(tmp_path / "a", read_only=True) as folder:
        assert folder.hulls() == (HULL,)
        assert opened == []


@pytest.mark.parametrize(
    "change",
    [
        lambda path: path.write_bytes(path.read_bytes().replace(b"hull 1", b"hull 2", 1)),
        lambda path: path.write_bytes(b"no hull file\n"),
    ],
    ids=["its heading", "all of it"],
)
def test_a_hull_file_that_changed_since_is_opened(
    shop: Path, opened: list[str], change: Callable[[Path], object]
) -> None:
    changed = shop / "hulls" / file_name(OTHERS[0])
    change(changed)
    opened.clear()
    with HullFolder(shop, read_only=True) as folder:
        folder.hulls()
        assert set(opened) == {changed.name}


def test_a_hull_file_of_a_newer_version_is_named_by_a_merge_that_has_something_for_it(
    tmp_path: Path, shop: Path
) -> None:
    newer = shop / "hulls" / file_name(OTHERS[0])
    text = b"garboard hull 2 " + OTHERS[0].encode()
    old = newer.read_bytes()
    newer.write_bytes(text + b" " + hashlib.sha256(text).hexdigest()[:8].encode() + b"\n" + old.split(b"\n", 1)[1])
    assert newer.stat().st_size == len(old)
    with HullFolder(tmp_path / "b") as bringing, HullFolder(shop) as folder:
        author = tablet("b").author
        bringing.put_if_absent(OTHERS[0], [measure(author, replay(OTHERS[0], ()), JOB, "prop_check", "field", "31 kn")])
        other = merge([signed_tablet(tmp_path / "a", "a", "30 kn")], folder)
        its_own = merge([bringing], folder)
    assert (other.complete, other.not_read) == (True, ())
    assert (its_own.complete, {Path(name).name for name, _ in its_own.not_read}) == (False, {newer.name})


def test_in_a_folder_that_was_copied_every_hull_file_is_opened(tmp_path: Path, shop: Path, opened: list[str]) -> None:
    shutil.copytree(shop, tmp_path / "copy")
    opened.clear()
    with HullFolder(tmp_path / "copy", read_only=True) as folder:
        assert list(folder.hulls()) == OTHERS
    assert len(opened) == len(OTHERS)


def test_a_report_puts_the_numbers_of_many_boats_together_with_work_for_each_of_them() -> None:
    """Each was compared with all before it: of 10 000 boats it took as long as nine merges."""

    def report(boats: int) -> list[HullMerge]:
        pairs = [(f"QQZ{number:05d}A626", f"QQZ{number:05d}B626") for number in range(boats)]
        parts = [HullMerge(hull=one, received=1, existing=0, also=(other,)) for one, other in pairs]
        return [*parts, *(HullMerge(hull=other, received=2, existing=0) for _, other in pairs)]

    few, many = (calls_of(lambda boats=boats: boat_by_boat(report(boats))) for boats in (50, 200))  # type: ignore[misc]
    assert many < 4.2 * few
    found = boat_by_boat(report(3))
    assert [(one.hull, one.also, one.received) for one in found] == [
        (f"QQZ{number:05d}A626", (f"QQZ{number:05d}B626",), 3) for number in range(3)
    ]
