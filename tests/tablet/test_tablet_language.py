"""The tablet's own words in another language: a catalogue made by Babel from the program's sources, and used."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from babel.messages.mofile import write_mo

from garboard_tablet.ui.language import Language, use_language
from messages import catalogue, of_source
from tablet.driver import Drive, new_job
from tablet.layout_lint import faults
from tablet.pseudo import longer


@pytest.fixture(autouse=True)
def as_it_was() -> Iterator[None]:
    yield
    use_language(())


@pytest.fixture(scope="module")
def catalogues(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder as gettext wants it, with one language, in which every message has longer words."""
    folder = tmp_path_factory.mktemp("locale")
    made = catalogue()
    for message in made:
        if message.id:
            message.string = longer(str(message.id))
    (folder / "xx" / "LC_MESSAGES").mkdir(parents=True)
    with (folder / "xx" / "LC_MESSAGES" / "garboard_tablet.mo").open("wb") as file:
        write_mo(file, made)
    return folder


def test_without_a_catalogue_words_are_the_programs(catalogues: Path, tmp_path: Path) -> None:
    """None at all, and none of the language asked for."""
    for names, folder in ((["xx"], tmp_path / "none"), (["yy"], catalogues)):
        use_language(names, folder)
        assert Language.translate("Settings") == "Settings"
        assert not Language.is_another


def test_pages_speak_the_language_that_has_a_catalogue(drive: Drive, tmp_path: Path, catalogues: Path) -> None:
    """The first of those a person reads; what is in no catalogue stays as it is, and every page fits."""
    d = drive(tmp_path / "t")
    use_language(["yy", "xx"], catalogues)
    d.app.screen.show()
    d.step()
    assert {longer("Vessels"), longer("New job"), longer("Settings")} <= set(d.words())
    assert faults(d.app.shell, d.window) == []
    new_job(d)
    assert longer("Back") in d.words()
    d.press("tab vessel")
    assert faults(d.app.shell, d.window) == []
    assert d.says("XYZ-AB123-F526") or d.says("XYZAB123F526")


def test_words_are_found_where_a_page_shows_them() -> None:
    """As a widget's text, chosen between two, by a constant's name, as a page's title; not what is made of values."""
    source = """
_CHOOSE = "Choose one."
class SomePage(Page):
    title = "Some page"
    name = "some"
    def body(self):
        rows = [heading("One" if self.is_one else "Two"), words(_CHOOSE, "quiet"), partial(Press, "Go", self.go)]
        return RowPress(f"{count} rows", do, small="Small print", name="rows")
"""
    assert sorted(words for words, _ in of_source(source)) == [
        "Choose one.", "Go", "One", "Small print", "Some page", "Two",
    ]  # fmt: skip


def test_the_template_has_the_tablets_words_with_their_places() -> None:
    made = catalogue()
    assert len(made) > 150
    settings = made.get("Settings")
    assert settings is not None
    assert any(file.startswith("pages/") for file, _line in settings.locations)
