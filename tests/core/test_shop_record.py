"""The shop's own record merges like a hull's and is nowhere taken for a boat."""

from pathlib import Path

import pytest

from garboard import hull_number
from garboard.disk.entries import SHOP_RECORD
from garboard.disk.hullfile import HullFolder
from garboard.faults import InputError
from garboard.history.boat import open_hull
from garboard.history.merge import merge
from garboard.hosting.host import make_host
from garboard.judging.assessing import assess_hulls
from run_program import outcome as run
from setting_jobs import DROP, SALTGRASS, set_for_shop, take_in

HOST = make_host(entry_points=False)


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    with HullFolder(tmp_path / "shop") as hulls:
        take_in(hulls)
        set_for_shop(hulls, {DROP: "7 %"})
    return tmp_path / "shop"


def test_it_is_merged_and_counted_like_a_hull_and_listed_with_no_boats(shop: Path, tmp_path: Path) -> None:
    with HullFolder(shop, read_only=True) as there, HullFolder(tmp_path / "here") as here:
        report = merge([there], here)
        assert report.complete
        assert SHOP_RECORD in here.hulls()
        assert here.ids(SHOP_RECORD) == there.ids(SHOP_RECORD)
        assert here.boats() == tuple(key for key in here.hulls() if key != SHOP_RECORD)
        assert len(here.boats()) == 1
    assert len([*assess_hulls(shop, HOST)]) == 1


def test_a_merges_report_calls_it_what_it_is_and_nothing_looks_like_it(shop: Path, tmp_path: Path) -> None:
    ended, said = run("merge", shop, "--into", tmp_path / "here")
    assert ended == 0
    assert "the shop's settings: 1 new" in said
    assert SHOP_RECORD not in said
    almost = SHOP_RECORD.replace("O", "0", 1)
    assert hull_number.look_alikes(almost, [SHOP_RECORD]) == ()
    assert hull_number.look_alikes(SHOP_RECORD, [almost]) == ()


@pytest.mark.parametrize("typed", [SHOP_RECORD, "shop-settings no boat"])
def test_typed_as_a_hull_number_it_is_refused_in_words(shop: Path, typed: str, tmp_path: Path) -> None:
    with HullFolder(shop, read_only=True) as hulls:
        (hull,) = hulls.boats()
        with pytest.raises(InputError, match="the shop's own settings are kept; no boat has it"):
            open_hull(hulls, typed)
    who = ("--by", "Office", "--reason", "why")
    job = "saltgrass-2026-05"
    stated = SALTGRASS.read_text(encoding="utf-8").replace("QQZ04417D626", typed)
    (tmp_path / "job.json").write_text(stated, encoding="utf-8")
    for words in (
        ("hull", typed),
        ("show", shop, typed),
        ("same-boat", shop, hull, typed, *who),
        ("same-boat", shop, typed, hull, *who),
        ("move-job", shop, hull, job, "--to", typed, *who),
        ("settle", shop, typed, f"setting {DROP}", "--value", "7 %", *who),
        ("export", shop, typed, "--out", tmp_path / "out"),
        ("import", tmp_path / "job.json", "--into", shop, "--by", "Office", "--anyway"),
        ("settings", "list", shop, "--hull", typed),
    ):
        ended, said = run(*words)
        assert (ended, "no boat has it" in said) == (2, True), f"{words[0]}: {said}"
