"""A photo or a recording of any length is put, sent, merged, copied, packed and proved without being held in memory."""

from __future__ import annotations

import hashlib
import random
import tracemalloc
from collections.abc import Callable, Sequence
from io import BytesIO
from pathlib import Path
from typing import Any

import attrs
import pytest
from PIL import Image

from garboard.commands.book import photos_at
from garboard.commands.repair import _prove_attachments
from garboard.disk import attachments
from garboard.disk.hullfile import HullFolder
from garboard.history import backup
from garboard.history.authoring import Author, open_job
from garboard.history.boat import attach, open_hull
from garboard.history.exchange import export_job, import_job
from garboard.history.merge import merge
from garboard.history.replay import replay
from garboard.hosting.host import make_host
from garboard.job_files.job_file import read_job_file
from garboard.judging.verifying import files_lacking
from garboard.report import photo_files
from garboard.report.photo_files import PictureRefused, drawn
from garboard.report.photos import Photo, PhotoContent, photos_of
from garboard.shop_link import sync, wire
from garboard.shop_link.pairing import PairedShop
from garboard_shop import moving
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.moving import copy_shop
from garboard_shop.pages import views
from garboard_shop.pages.desk import ShopDesk
from garboard_tablet.models.photos import content_of
from garboard_tablet.models.tablet import no_plugins, open_tablet
from shop_rig import RunningShop, shop_and_tablets

HULL, STEP = "QQZ04417D626", "trial.run"
LONG, SHORT = 3 << 20, 1 << 10
"""Of a file [bytes]. Pieces are made as much shorter: the protocol's are a megabyte."""
PIECE = 1 << 17


@pytest.fixture(autouse=True)
def _short_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (attachments, backup):
        monkeypatch.setattr(module, "_CHUNK", PIECE)
    for one in (wire, views, moving):
        monkeypatch.setattr(one, "LARGEST_PIECE", PIECE)


class Work:
    """What is done with one file after another, at one shop; and the most that each work held at once [bytes]."""

    def __init__(self, where: Path, shop: RunningShop, tablets: Sequence[tuple[HullFolder, PairedShop]]) -> None:
        self.where, self.shop = where, shop
        (self.tablet, self.pairing), (self.other, self.others) = tablets
        self.author, self.host = Author("a", "A. Hand"), make_host((), entry_points=False)
        entries = open_job(self.author, replay(HULL, ()), HULL, "commissioning")
        self.tablet.put_if_absent(HULL, entries)
        self.job = entries[0].job
        self.held: dict[str, int] = {}

    def do(self, what: str, work: Callable[[], Any]) -> Any:
        tracemalloc.start()
        done = work()
        self.held[what] = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return done

    def peaks(self, number: int, size: int) -> dict[str, int]:
        """Of all work with a file of some length."""
        where, tablet, shop, author = self.where / str(number), self.tablet, self.shop, self.author
        where.mkdir()
        file = where / "run.jpg"
        file.write_bytes(b"%d kn\n" % number * (size // 5))
        entry = self.do("attach", lambda: attach(tablet, author, open_hull(tablet, HULL).state, self.job, STEP, file))
        tablet.save(entry)
        name = hashlib.sha256(file.read_bytes()).hexdigest()
        self.do("ashore", lambda: sync.bring_ashore(tablet, self.pairing))
        self.do("fetched", lambda: sync.bring_ashore(self.other, self.others))
        assert name in self.other.attachments
        self.do("backup", lambda: backup.write_backup(tablet, where / "b.zip", "2026-05-14T12:00:00+02:00"))
        boat = open_hull(tablet, HULL)
        path = self.do("export", lambda: export_job(tablet, boat, self.job, where / "out"))
        self.do("verify", lambda: files_lacking(tablet, boat))
        self.do("repair", lambda: _prove_attachments(tablet))
        photo = next(one for one in photos_of(boat.view(self.job), self.host) if one.file == name)
        self.do("book", lambda: photos_at(tablet.folder)(photo))
        self.do("book of a job file", lambda: photos_at(path)(photo))
        with HullFolder(where / "merged") as merged:
            self.do("merge", lambda: merge([tablet], merged))
        with HullFolder(where / "back") as back:
            self.do("take back", lambda: backup.take_back(where / "b.zip", back))
        with HullFolder(where / "imported") as imported:
            self.do("import", lambda: import_job(imported, read_job_file(path), path.parent, author))
            assert name in imported.attachments
        copy = EmbeddedStore(where / "copy")
        self.do("copy of the shop", lambda: copy_shop(shop.store, copy))
        copy.close()
        self.do("page", lambda: ShopDesk(shop.store, self.host).load_photo(photo))
        app = open_tablet(where / "merged", no_plugins)
        self.do("tablet", lambda: content_of(app, photo))
        app.close()
        return dict(self.held)


def test_nothing_done_with_a_file_holds_all_of_it(tmp_path: Path) -> None:
    """It is a recording, and called a photo; a page and a book look whether it is one."""
    with shop_and_tablets(tmp_path, 2) as (shop, tablets):
        work = Work(tmp_path, shop, tablets)
        work.peaks(1, SHORT)  # loads what is loaded once
        short, long = work.peaks(2, SHORT), work.peaks(3, LONG)
    more = {what: (long[what] - short[what]) / LONG for what in long}
    assert {what: share for what, share in more.items() if share > 0.25} == {}


def unasked() -> bytes:
    raise AssertionError("nothing of it is to be loaded")


def test_of_a_picture_all_is_loaded_unless_it_is_larger_than_any(monkeypatch: pytest.MonkeyPatch) -> None:
    jpeg = b"\xff\xd8\xff\xe0 and more"
    assert photo_files.to_draw(len(jpeg), jpeg[:16], lambda: jpeg, unasked) == jpeg
    assert photo_files.to_draw(2 << 20, jpeg[:16], unasked, lambda: b"in pieces") == b"in pieces"
    assert photo_files.to_draw(2 << 20, b"$GPRMC,12", unasked, unasked) == b"$GPRMC,12"
    monkeypatch.setattr(photo_files, "LARGEST_FILE", 5)
    with pytest.raises(PictureRefused, match="too large"):
        photo_files.to_draw(len(jpeg), jpeg[:16], unasked, unasked)


@pytest.fixture(scope="module")
def pictures() -> dict[str, bytes]:
    """The largest there is of each form, as far as a test has time: dots of chance, which no form makes shorter."""
    image = Image.frombytes("RGB", (1100, 1100), random.Random(7).randbytes(3 * 1100 * 1100))
    return {form: saved(image, form, **how) for form, how in FORMS.items()}


FORMS: dict[str, dict[str, Any]] = {"JPEG": {"quality": 100, "subsampling": 0}, "PNG": {"compress_level": 0}}


def saved(image: Image.Image, form: str, **how: Any) -> bytes:
    out = BytesIO()
    image.save(out, form, **how)
    return out.getvalue()


@pytest.mark.parametrize("form", FORMS)
def test_no_large_picture_is_held_whole_to_draw_it(tmp_path: Path, pictures: dict[str, bytes], form: str) -> None:
    content = pictures[form]
    assert len(content) > LONG
    store, folder = EmbeddedStore(tmp_path / "shop"), tmp_path / "boats"
    with HullFolder(folder) as hulls:
        name = hulls.attachments.put(content)
    assert store.hulls.attachments.put(content) == name
    (tmp_path / "beside.jpg").write_bytes(content)
    nowhere = ("", "", "", "")
    photo = Photo(place=nowhere, shows=nowhere, file=name, name="a.jpg", taken="", by="A. Hand", arrows=())
    beside = attrs.evolve(photo, file="beside.jpg")
    app, desk = open_tablet(folder, no_plugins), ShopDesk(store, make_host((), entry_points=False))
    expected = drawn(content, ()).content
    loaders: dict[str, Callable[[], PhotoContent]] = {
        "book": lambda: photos_at(folder)(photo),
        "book of a job file": lambda: photos_at(tmp_path / "job.json")(beside),
        "page": lambda: desk.load_photo(photo),
        "tablet": lambda: content_of(app, photo),
    }
    del content
    for what, load in loaders.items():
        tracemalloc.start()
        loaded = load()
        picture = drawn(loaded, ())
        held = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert picture.content == expected, what
        assert not isinstance(loaded, bytes)
        assert loaded.closed, what
        assert held < len(expected) * 3 + LONG / 4, what
    path = tmp_path / "shop" / "attachments" / name
    for place in (path, folder / "attachments" / name):
        place.write_bytes(place.read_bytes()[:-1] + b"?")
    assert [loaders[what]() for what in ("page", "book", "tablet")] == [b"", b"", b""], "one that is damaged"
    app.close()
    store.close()
