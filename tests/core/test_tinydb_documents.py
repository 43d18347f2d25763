"""Documents: old or new after any fault, nothing unknown dropped, no newer version written down, damage kept apart.

`former_documents` holds files that the program before documents wrote, byte for byte, for an invented shop.
"""

from __future__ import annotations

import errno
import json
import os
import shutil
import signal
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

import attrs
import pytest
from tinydb import where

from garboard.disk import storage
from garboard.disk.documents import Document, DocumentDamaged, Kind, numbered
from garboard.disk.formats import Format
from garboard.disk.shop_document import FILE as SHOP_FILE
from garboard.disk.storage import NewerFormat, NotSaved
from garboard.shop_link import pairing, shop_plugins
from garboard.shop_link.pairing import PairedShop
from garboard_shop.embedded import REGISTER_FILE, SHOP_FOLDER, FileRegister
from garboard_shop.store import Tablet as ListedTablet

FORMER = Path(__file__).with_name("former_documents")
NOON = 1_778_752_800_000


def _from_list(plain: dict[str, Any]) -> dict[str, Any]:
    return {"boats": numbered(plain["boats.json"])}


BOATS = Kind(Format("garboard test", (_from_list,)), cure="Write it again.", former=("boats.json",))
PRIVATE = attrs.evolve(BOATS, private=True)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "documents" / "test.json"


def test_rows_are_kept_and_found_again(path: Path) -> None:
    boats = Document(path, BOATS)
    boats.put_rows("boats", "hull", [{"hull": "A", "length": 20}, {"hull": "B", "length": 30}])
    boats.put_row("last", {"hull": "A"})
    again = Document(path, BOATS)
    assert again.row("last") == {"hull": "A"}
    assert [row["hull"] for row in again.table("boats").search(where("length") > 25)] == ["B"]
    assert json.loads(path.read_bytes())["version"] == 2


def test_keys_rows_and_tables_this_version_does_not_know_are_kept(path: Path) -> None:
    boats = Document(path, BOATS)
    boats.put_rows("boats", "hull", [{"hull": "A", "length": 20}, {"hull": "B", "length": 30}])
    boats.put_row("last", {"hull": "A"})
    plain = json.loads(path.read_bytes())
    plain["boats"]["1"]["colour"], plain["last"]["1"]["page"] = "red", 3
    plain["tides"], plain["remark"] = {"1": {"high": 7}}, "by a later program"
    path.write_text(json.dumps(plain))
    boats.put_rows("boats", "hull", [{"hull": "A", "length": 21}])
    boats.put_row("last", {"hull": "B"})
    after = json.loads(path.read_bytes())
    assert after["boats"] == {"1": {"hull": "A", "length": 21, "colour": "red"}}
    assert after["last"] == {"1": {"hull": "B", "page": 3}}
    assert (after["tides"], after["remark"]) == ({"1": {"high": 7}}, "by a later program")


def test_a_newer_version_is_refused_in_words_and_never_written_down(path: Path) -> None:
    path.parent.mkdir()
    newer = b'{"format": "garboard test", "version": 3, "boats": {"1": {"hull": "A"}}}'
    path.write_bytes(newer)
    boats = Document(path, BOATS)
    uses: list[Callable[[], object]] = [
        lambda: boats.rows("boats"),
        lambda: boats.put_row("last", {}),
        lambda: boats.put_rows("boats", "hull", []),
        lambda: boats.table("boats").insert({}),
        lambda: boats.read_or_begin_anew(lambda: boats.row("last"), []),
    ]
    for use in uses:
        with pytest.raises(NewerFormat, match=r"test\.json has version 3 .* Install the newer version"):
            use()
    assert path.read_bytes() == newer
    assert [file.name for file in path.parent.iterdir()] == ["test.json"]


def _stated(rest: bytes) -> bytes:
    return b'{"format": "garboard test"%b}' % rest


DAMAGE = [
    b"", b"{", b"[]", b"\xff", b"[" * 100_000, b'{"format": "garboard other", "version": 2}', _stated(b""),
    _stated(b', "version": 1'), _stated(b', "version": 2, "boats": 1'), _stated(b', "version": 2, "boats": {"x": {}}'),
]  # fmt: skip


@pytest.mark.parametrize("content", DAMAGE)
def test_a_damaged_file_is_named_with_what_to_do_and_kept_whole(path: Path, content: bytes) -> None:
    """Nothing is written over it until its owner begins anew; then it stands beside under another name."""
    path.parent.mkdir()
    path.write_bytes(content)
    other = Document(path.with_name("other.json"), BOATS)
    other.put_row("last", {"hull": "A"})
    boats = Document(path, BOATS)
    for use in (lambda: boats.rows("boats"), lambda: boats.put_rows("boats", "hull", [{"hull": "A"}])):
        with pytest.raises(DocumentDamaged, match=r"test\.json cannot be read: .+ else is lost\. Write it again\."):
            use()
    assert path.read_bytes() == content
    damaged: list[DocumentDamaged] = []
    assert boats.read_or_begin_anew(lambda: boats.rows("boats"), damaged) == []
    assert [one.path for one in damaged] == [path]
    assert (path.parent / "test.json.damaged-1").read_bytes() == content
    boats.put_rows("boats", "hull", [{"hull": "A"}])
    assert Document(path, BOATS).rows("boats") == [{"hull": "A"}]
    assert other.row("last") == {"hull": "A"}


@pytest.mark.parametrize(("times", "is_begun_anew"), [(1, False), (99, True)])
def test_a_file_that_the_system_refused_once_is_asked_again_before_it_counts_as_damaged(
    path: Path, monkeypatch: pytest.MonkeyPatch, times: int, is_begun_anew: bool
) -> None:
    """Begun anew, a tablet's settings forget who works and which tablet it is."""
    boats, really, left = Document(path, BOATS), Path.read_bytes, [times]
    boats.put_row("last", {"hull": "A"})

    def refuses(file: Path) -> bytes:
        if file == path and left[0]:
            left[0] -= 1
            raise OSError(errno.EIO, os.strerror(errno.EIO), str(file))
        return really(file)

    damaged: list[DocumentDamaged] = []
    with monkeypatch.context() as patch:
        patch.setattr(Path, "read_bytes", refuses)
        if is_begun_anew:
            with pytest.raises(DocumentDamaged):
                boats.row("last")
            return
        found = boats.read_or_begin_anew(lambda: boats.row("last"), damaged)
    assert (found, damaged) == ({"hull": "A"}, [])
    assert not [*path.parent.glob("*.damaged-*")]


def test_a_former_file_is_taken_over_once_and_left_as_it_is(path: Path) -> None:
    """Once the document stands, what an older program writes into its own file is not taken for news."""
    former = path.parent.parent / "boats.json"
    former.write_text('[{"hull": "A", "colour": "red"}]')
    boats = Document(path, BOATS)
    assert boats.rows("boats") == [{"hull": "A", "colour": "red"}]
    assert not path.exists(), "reading writes nothing"
    boats.put_rows("boats", "hull", [{"hull": "A", "length": 20}])
    former.write_text('[{"hull": "B"}]')
    assert boats.rows("boats") == [{"hull": "A", "colour": "red", "length": 20}]
    assert former.read_text() == '[{"hull": "B"}]'


def test_a_damaged_former_file_is_told_and_not_read_again(path: Path) -> None:
    former = path.parent.parent / "boats.json"
    former.write_text("[{")
    boats, damaged = Document(path, BOATS), list[DocumentDamaged]()
    assert boats.read_or_begin_anew(lambda: boats.rows("boats"), damaged) == []
    assert [one.path for one in damaged] == [former]
    assert boats.rows("boats") == []
    assert former.read_text() == "[{"


def test_a_private_document_is_readable_by_its_owner_alone_from_its_first_byte(path: Path) -> None:
    """Also where a power cut left an unfinished one that everyone may read."""
    seen: list[int] = []
    path.parent.mkdir()
    storage.unfinished(path).write_text("left")
    boats = Document(path, PRIVATE)
    real = storage.append

    def looked_at(descriptor: int, data: bytes, size: int) -> None:
        seen.append(os.fstat(descriptor).st_mode & 0o777)
        real(descriptor, data, size)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(storage, "append", looked_at)
        boats.put_row("last", {"hull": "A"})
    assert seen == [0o600]
    assert path.stat().st_mode & 0o777 == 0o600


def test_changes_of_several_tables_are_one_write_or_none(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    boats, writes = Document(path, BOATS), list[Path]()
    real = storage.write_whole

    def counted(file: Path, chunks: Iterable[bytes], *, private: bool = False) -> None:
        writes.append(file)
        real(file, chunks, private=private)

    monkeypatch.setattr(storage, "write_whole", counted)
    with boats.file.one_write():
        boats.table("boats").insert({"hull": "A"})
        boats.put_row("last", {"hull": "A"})
    assert writes == [path]
    with pytest.raises(DocumentDamaged), boats.file.one_write():
        boats.put_rows("boats", "hull", [{"hull": "B"}, {"no hull": "C"}])
    assert (writes, boats.rows("boats")) == ([path], [{"hull": "A"}])
    with boats.file.one_write():
        assert boats.row("last") == {"hull": "A"}
    assert writes == [path], "what changes nothing writes nothing"


def test_a_full_disk_refuses_and_the_document_is_as_before(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    boats = Document(path, BOATS)
    boats.put_row("last", {"hull": "A"})

    def full(*_: object) -> None:
        raise NotSaved("the disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(storage, "append", full)
        with pytest.raises(NotSaved, match="full"):
            boats.put_row("last", {"hull": "B"})
    assert boats.row("last") == {"hull": "A"}
    assert [file.name for file in path.parent.iterdir()] == ["test.json"]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="a child process is killed on its way")
@pytest.mark.parametrize("at", ["append", "flush", "rename", "flush_folder"])
def test_killed_anywhere_in_a_write_a_document_is_the_old_one_or_the_new_one(path: Path, at: str) -> None:
    """Killed as the call named begins: before the rename the old one stands, after it the new one."""
    boats = Document(path, BOATS)
    boats.put_row("last", {"hull": "old"})
    child = os.fork()
    if child == 0:

        def die(*_: object) -> None:
            os.kill(os.getpid(), signal.SIGKILL)

        if at == "rename":
            Path.replace = die  # type: ignore[assignment, method-assign]
        else:
            setattr(storage, at, die)
        boats.put_row("last", {"hull": "new"})
        os._exit(0)
    _, status = os.waitpid(child, 0)
    assert os.WTERMSIG(status) == signal.SIGKILL
    assert boats.row("last") == {"hull": "new" if at == "flush_folder" else "old"}
    boats.put_row("last", {"hull": "later"})
    assert boats.row("last") == {"hull": "later"}
    assert [file.name for file in path.parent.iterdir()] == ["test.json"]


# Files of the program before documents


@pytest.fixture
def former(tmp_path: Path) -> Path:
    shutil.copytree(FORMER, tmp_path / "former")
    return tmp_path / "former"


def test_the_former_pairing_and_plugins_are_taken_over_into_one_private_file(former: Path) -> None:
    folder = former / "tablet"
    shop = pairing.kept(folder)
    written = json.loads((FORMER / "tablet" / "shop.json").read_bytes())
    assert shop == PairedShop(**{name: written[name] for name in attrs.fields_dict(PairedShop)})
    assert not pairing.may_decide(folder), "it is a technician's tablet"
    assert [str(plugin) for plugin in shop_plugins.kept(folder)] == ["ours cdcdcdcdcdcd, approved by M. Office"]
    assert shop is not None
    pairing.keep(folder, attrs.evolve(shop, port=9443))
    assert (folder / SHOP_FILE).stat().st_mode & 0o077 == 0
    (folder / "shop.json").write_text("{")
    (folder / "shop_plugins.json").write_text("{")
    assert pairing.kept(folder) == attrs.evolve(shop, port=9443)
    assert [plugin.name for plugin in shop_plugins.kept(folder)] == ["ours"]
    shop_plugins.keep(folder, ())
    assert (shop_plugins.kept(folder), pairing.kept(folder)) == ((), attrs.evolve(shop, port=9443))


def test_the_former_register_is_taken_over_row_for_row(former: Path) -> None:
    written = json.loads((FORMER / SHOP_FOLDER / REGISTER_FILE).read_bytes())
    register = FileRegister(former)
    found: dict[str, Sequence[attrs.AttrsInstance]] = {
        "tablets": register.tablets(), "pairings": register.pairings(), "users": register.users(),
        "plugins": register.plugins(), "changes": register.changes(),
    }  # fmt: skip
    assert {name: len(rows) for name, rows in found.items()} == {name: len(written[name]) for name in found}
    for name, rows in found.items():
        assert json.loads(json.dumps([attrs.asdict(row) for row in rows])) == written[name], name
    assert [tablet.id for tablet in register.tablets() if not tablet.is_removed] == ["t1"]
    assert register.remove_tablet("t1", "M. Office", NOON)
    after = json.loads((former / SHOP_FOLDER / REGISTER_FILE).read_bytes())
    assert (after["version"], len(after["changes"])) == (2, len(written["changes"]) + 1)
    assert after["askers"]["1"] == written["askers"][0]
    assert FileRegister(former).tablets() == register.tablets()


def test_a_register_keeps_what_a_later_program_of_the_same_version_wrote(former: Path) -> None:
    register, path = FileRegister(former), former / SHOP_FOLDER / REGISTER_FILE
    assert register.remove_tablet("t1", "M. Office", NOON)
    plain = json.loads(path.read_bytes())
    plain["tablets"]["1"]["colour"], plain["keys"] = "red", {"1": {"a": 1}}
    path.write_text(json.dumps(plain))
    register.add_tablet(ListedTablet(id="t3", name="loft", token_hash="h3", paired_at=NOON, role="technician"))
    after = json.loads(path.read_bytes())
    assert (after["tablets"]["1"]["colour"], after["keys"]) == ("red", {"1": {"a": 1}})
    assert [tablet.id for tablet in register.tablets()] == ["t1", "t2", "t3"]


def test_a_damaged_register_lets_nobody_in_and_says_what_to_do(former: Path) -> None:
    path = former / SHOP_FOLDER / REGISTER_FILE
    path.write_text(path.read_text()[:200])
    register = FileRegister(former)
    for use in (register.tablets, lambda: register.tablet_of("h1"), lambda: register.remove_tablet("t1", "x", NOON)):
        with pytest.raises(DocumentDamaged, match=r"register\.json cannot be read.* Put the copy from your backup"):
            use()
    assert len(path.read_bytes()) == 200
