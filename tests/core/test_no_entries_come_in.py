"""Bytes that are no entry come in, from a stick or by the network: kept and named, and the rest comes in."""

from __future__ import annotations

from pathlib import Path

import pytest

from garboard.disk.entries import (
    LARGEST_ENTRY,
    STRAY,
    Entry,
    carried_by,
    entry_id,
    hull_key_of,
    make_entry,
    read_entry,
    stray_of,
)
from garboard.disk.hullfile import HULLS_FOLDER, HullFolder
from garboard.disk.journal import file_name, heading
from garboard.history.authoring import measure, sign_off
from garboard.history.boat import open_hull
from garboard.history.exchange import export_job
from garboard.history.merge import merge
from garboard.history.replay import HullState, replay
from garboard.shop_link.sync import bring_ashore
from histories import HULL, JOB, tablet
from hostile_entries import NO_ENTRIES
from run_program import run as _run
from shop_rig import shop_and_tablets

OTHER = "QQZ01209A626"
GOOD = measure(tablet("a").author, HullState(HULL), JOB, "steering.feel", "play", "fine")
SMALL = tuple(raw for raw in NO_ENTRIES if b"\n" not in raw and len(raw) < LARGEST_ENTRY // 2)
BYTES = (*SMALL, b"\xff\xfe invalid", b'{"v":1,"kind"', b"\x00" * 40, b'[{"v":1}]', b"\xc3\x28")


def _line(raw: bytes) -> bytes:
    return b"%b %b\n" % (entry_id(raw).encode(), raw)


def _stick(folder: Path, *lines: bytes) -> Path:
    """A folder that another program wrote, or one whose card has died a little."""
    (folder / HULLS_FOLDER).mkdir(parents=True)
    (folder / HULLS_FOLDER / file_name(HULL)).write_bytes(heading(HULL) + b"".join(lines))
    return folder


def _strays(folder: Path) -> list[bytes | None]:
    with HullFolder(folder, read_only=True) as files:
        return sorted((carried_by(one) for one in files.entries(HULL) if one.kind == STRAY), key=repr)


def test_bytes_that_are_no_entry_are_carried_by_one_which_is_the_same_for_all() -> None:
    for raw in BYTES:
        stray = stray_of(HULL, raw)
        assert stray is not None
        assert (read_entry(stray.raw), carried_by(stray), hull_key_of(stray.raw)) == (stray, raw, HULL)
        assert stray.id == (stray_of(HULL, raw) or GOOD).id != (stray_of(OTHER, raw) or GOOD).id
    assert stray_of(HULL, b"x" * LARGEST_ENTRY) is None


@pytest.mark.parametrize("value", [None, {}, {"bytes": 5}, {"bytes": "%%"}, {"bytes": "YWJj"}, {"bytes": "é"}])
def test_one_that_is_spoilt_itself_is_unreadable_too(value: dict[str, object] | None) -> None:
    spoilt = make_entry(
        STRAY, HULL, dev="x", by="y", clock=GOOD.clock, at=GOOD.at, subject=("ab" * 16,), value=value,  # type: ignore[arg-type]
    )  # fmt: skip
    state = replay(HULL, [GOOD, spoilt])
    assert carried_by(spoilt) is None
    assert (len(state.view(JOB).unreadable), state.view(JOB).measurements[0].value) == (1, "fine")


def test_a_merge_keeps_and_names_them_and_the_rest_comes_in(tmp_path: Path) -> None:
    stick = _stick(tmp_path / "stick", *map(_line, (*BYTES, GOOD.raw)))
    first, again = (_run("merge", stick, "--into", tmp_path / "shop") for _ in range(2))
    assert (first.exit_code, again.exit_code) == (0, 0), first.output
    assert first.stdout.count("no entry, kept, shown as unreadable") == len(BYTES)
    assert all(entry_id(raw) in first.stdout for raw in BYTES)
    assert "no entry" not in again.stdout
    assert _strays(tmp_path / "shop") == sorted(BYTES, key=repr)
    with HullFolder(tmp_path / "shop", read_only=True) as files:
        view = open_hull(files, HULL).view(JOB)
    assert (view.measurements[0].value, len(view.unreadable)) == ("fine", len(BYTES))
    shown = _run("show", tmp_path / "shop", HULL)
    assert (shown.exit_code, shown.stdout.count("CANNOT BE READ"), "(, )" in shown.stdout) == (0, len(BYTES), False)


def test_a_dry_run_says_it_and_keeps_nothing(tmp_path: Path) -> None:
    stick = _stick(tmp_path / "stick", _line(b"[]"), _line(GOOD.raw))
    said = _run("merge", stick, "--into", tmp_path / "shop", "--dry-run")
    assert said.stdout.count("no entry, would be kept") == 1
    assert not (tmp_path / "shop").exists()


def test_they_go_on_to_others_and_any_order_gives_the_same(tmp_path: Path) -> None:
    sticks = [_stick(tmp_path / name, *map(_line, lines)) for name, lines in (("a", BYTES), ("b", BYTES[::-1][:3]))]
    for target, order in (("one", sticks), ("two", sticks[::-1])):
        _run("merge", *order, "--into", tmp_path / target)
    with HullFolder(tmp_path / "one") as one, HullFolder(tmp_path / "two") as two:
        assert one.digests() == two.digests()
        assert merge([one], two).received == 0
        assert merge([two], one).complete


def test_what_is_too_large_for_an_entry_stays_where_it_is_and_is_named(tmp_path: Path) -> None:
    huge = b"x" * LARGEST_ENTRY
    said = _run("merge", _stick(tmp_path / "stick", _line(huge), _line(GOOD.raw)), "--into", tmp_path / "shop")
    assert (said.exit_code, f"refused, still in its source: {entry_id(huge)}" in said.stdout) == (1, True)
    with HullFolder(tmp_path / "shop", read_only=True) as files:
        assert files.ids(HULL) == {GOOD.id}


def test_they_make_no_signature_stale_and_an_export_takes_them_along(tmp_path: Path) -> None:
    author, state = tablet("a").author, replay(HULL, [GOOD])
    signed = sign_off(author, state, JOB, "technician", "R. Vane")
    _run("merge", _stick(tmp_path / "stick", *map(_line, (b"[]", GOOD.raw, signed.raw))), "--into", tmp_path / "shop")
    with HullFolder(tmp_path / "shop") as files:
        boat = open_hull(files, HULL)
        assert (boat.state.stale(JOB), len(boat.view(JOB).unreadable)) == ((), 1)
        file = export_job(files, boat, JOB, tmp_path / "out")
    assert _run("import", file, "--into", tmp_path / "elsewhere", "--by", "M. Office").exit_code == 0
    assert _strays(tmp_path / "elsewhere") == [b"[]"]


@pytest.mark.parametrize("piece", [GOOD.raw[:40], b"\xff\x00 half", b"[1, 2"])
def test_a_half_line_of_a_stick_is_kept_beside_and_named(tmp_path: Path, piece: bytes) -> None:
    other = measure(tablet("b").author, HullState(HULL), JOB, "steering.feel", "noise", "none")
    half = entry_id(b"what it was").encode() + b" " + piece
    stick = _stick(tmp_path / "stick", _line(GOOD.raw), half + b"\n", _line(other.raw))
    said, again = (_run("merge", stick, "--into", tmp_path / "shop") for _ in range(2))
    kept = [*(tmp_path / "shop" / HULLS_FOLDER).glob("*.damaged-*")]
    assert [one.read_bytes() for one in kept] == [(stick / HULLS_FOLDER / file_name(HULL)).read_bytes()]
    assert said.exit_code == again.exit_code == 1
    assert f"kept whole in the target, as it is damaged: {file_name(HULL)} as {kept[0]}" in said.stdout
    with HullFolder(tmp_path / "shop", read_only=True) as files:
        assert files.ids(HULL) == {GOOD.id, other.id}
    assert "missing: 1 entry, of a file found damaged before" in _run("repair", tmp_path / "shop").stdout


def test_a_damaged_line_whose_entry_comes_from_elsewhere_keeps_no_file(tmp_path: Path) -> None:
    spoilt = _line(GOOD.raw)[:60] + b"\xff" + _line(GOOD.raw)[61:]
    sticks = _stick(tmp_path / "one", spoilt), _stick(tmp_path / "other", _line(GOOD.raw))
    said = _run("merge", *sticks, "--into", tmp_path / "shop")
    assert ("damage:" in said.stdout, "kept whole" in said.stdout) == (True, False)
    assert [*(tmp_path / "shop" / HULLS_FOLDER).glob("*.damaged-*")] == []


def test_a_tablet_that_holds_such_bytes_comes_ashore_and_both_sides_are_equal(tmp_path: Path) -> None:
    with shop_and_tablets(tmp_path, 1) as (shop, ((folder, paired),)):
        path = folder.folder / HULLS_FOLDER / file_name(HULL)
        path.write_bytes(heading(HULL) + b"".join(map(_line, (*BYTES, GOOD.raw))))
        reports = [bring_ashore(folder, paired) for _ in range(2)]
        held: list[Entry] = [*shop.hulls.entries(HULL)]
        here = folder.entries(HULL)
    assert [(report.equal, report.refused, report.not_kept) for report in reports] == [(True, (), ())] * 2
    assert [report.sent for report in reports] == [len(BYTES) + 1, 0]
    assert sorted((carried_by(one) for one in held if one.kind == STRAY), key=repr) == sorted(BYTES, key=repr)
    assert len(replay(HULL, here).view(JOB).unreadable) == len(BYTES)
