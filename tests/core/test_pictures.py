"""The pictures in the READMEs show what the program draws today."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from make_pictures import COMMAND, DIGESTS, FOLDER, PICTURES, ROOT, Picture, digest_of_sources, line_of, main

NAMES = [picture.name for picture in PICTURES]


@pytest.mark.parametrize("picture", PICTURES, ids=NAMES)
def test_a_picture_was_made_from_the_drawing_sources_of_today(picture: Picture) -> None:
    noted = (ROOT / DIGESTS).read_text(encoding="utf-8").splitlines()
    assert line_of(picture) in noted, (
        f"{picture.file} is not the picture that {', '.join(picture.sources)} draw. "
        f"Make it again with `{COMMAND} {picture.name}`, look at it, and commit it with {DIGESTS}."
    )


@pytest.mark.parametrize("picture", PICTURES, ids=NAMES)
def test_any_change_of_a_drawing_source_asks_for_a_new_picture(picture: Picture, tmp_path: Path) -> None:
    sources = [file for pattern in picture.sources for file in ROOT.glob(pattern) if file.is_file()]
    for file in sources:
        copy = tmp_path / file.relative_to(ROOT)
        copy.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(file, copy)
    before = digest_of_sources(picture, tmp_path)
    assert before == digest_of_sources(picture)
    for file in sources:
        copy = tmp_path / file.relative_to(ROOT)
        content = copy.read_bytes()
        copy.write_bytes(content + b"\n")
        assert digest_of_sources(picture, tmp_path) != before, file
        copy.write_bytes(content)


def test_a_source_that_is_gone_is_named(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match=r"day_sheet: no file is called core/garboard/demo/demo_day\.py"):
        digest_of_sources(next(picture for picture in PICTURES if picture.name == "day_sheet"), tmp_path)


def test_every_picture_of_the_readmes_is_made_by_the_script_and_every_one_made_is_shown() -> None:
    shown: set[Path] = set()
    for document in ("README.md", "tablet_app/README.md"):
        text = (ROOT / document).read_text(encoding="utf-8")
        shown |= {(ROOT / document).parent.joinpath(name).resolve() for name in re.findall(r'<img src="([^"]+)"', text)}
    assert shown == {ROOT / picture.file for picture in PICTURES} == set((ROOT / FOLDER).glob("*.png"))


def test_a_name_that_is_no_picture_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    before = (ROOT / DIGESTS).read_bytes()
    assert main(["days_sheet"]) == 2
    assert capsys.readouterr().out.startswith("No picture is called days_sheet. There are steady_turn, ")
    assert (ROOT / DIGESTS).read_bytes() == before
