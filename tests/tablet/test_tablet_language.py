"""The tablet's own words in another language: a catalogue made by Babel from the program's sources, and used."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from string import Formatter

import pytest
from babel.messages.mofile import write_mo

from garboard_tablet.language import Language, phrase, use_language
from messages import APP, FOLDERS, catalogue, of_source, put_together
from tablet.driver import Drive, new_job
from tablet.layout_lint import faults
from tablet.pseudo import longer

WRONG = "The network is {word}."
"""Its translation asks for a value there is not."""


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
            message.string = "Wrong {name}" if message.id == WRONG else longer(str(message.id))
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
    """As a widget's text, chosen between two, by a constant's name, as a page's title, with named values."""
    source = """
_CHOOSE = "Choose one."
class SomePage(Page):
    title = "Some page"
    name = "some"
    def body(self):
        rows = [heading("One" if self.is_one else "Two"), words(_CHOOSE, "quiet"), partial(Press, "Go", self.go)]
        rows.append(Txt(phrase("{count} rows", count=3)))
        return RowPress(f"{count} rows", do, small="Small print", name="rows")
"""
    assert sorted(words for words, _ in of_source(source)) == [
        "Choose one.", "Go", "One", "Small print", "Some page", "Two", "{count} rows",
    ]  # fmt: skip
    assert [words for words, _ in put_together(source)] == ["f'{count} rows'"]


def test_the_template_has_the_tablets_words_with_their_places() -> None:
    made = catalogue()
    assert len(made) > 150
    settings = made.get("Settings")
    assert settings is not None
    assert any(file.startswith("pages/") for file, _line in settings.locations)


class _Value:
    """Stands for any value, in whichever form it is asked for."""

    def __init__(self, name: str) -> None:
        self.name = name

    def __format__(self, _form: str) -> str:
        return f"<{self.name}>"


def test_every_sentence_comes_out_translated_with_its_values_in_place(catalogues: Path) -> None:
    use_language(["xx"], catalogues)
    sentences = [str(message.id) for message in catalogue() if "{" in str(message.id) and message.id != WRONG]
    assert len(sentences) > 150
    for sentence in sentences:
        names = [name for _, name, _, _ in Formatter().parse(sentence) if name is not None]
        assert all(name.isidentifier() for name in names), f"each value has a name: {sentence}"
        said = phrase(sentence, **{name: _Value(name) for name in names})
        assert said == longer(sentence).format(**{name: _Value(name) for name in names})
        assert all(f"<{name}>" in said for name in names)


def test_a_translation_that_asks_for_a_value_there_is_not_gives_the_programs_own_words(catalogues: Path) -> None:
    use_language(["xx"], catalogues)
    assert phrase(WRONG, word="silent") == "The network is silent."


def test_a_page_says_a_sentence_with_its_value_in_another_language(
    drive: Drive, tmp_path: Path, catalogues: Path
) -> None:
    d = drive(tmp_path / "t")
    use_language(["xx"], catalogues)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(d.app.guest, "_free", lambda _folder: 123_000_000)
        d.app.sight.look_around()
    assert d.says(longer("Only {free} MB are free on this tablet.").format(free=123))
    assert faults(d.app.shell, d.window) == []


def test_no_page_shows_a_sentence_that_no_catalogue_can_have() -> None:
    """Words and values are put together by `phrase`, by name."""
    found = [
        f"{path.name}:{line}: {sentence}"
        for room in FOLDERS
        for path in sorted((APP / room).glob("*.py"))
        for sentence, line in put_together(path.read_text(encoding="utf-8"))
    ]
    assert found == []
