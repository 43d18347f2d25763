"""The language of the tablet's own words: as they stand in the program, or as a catalogue has them.

Widgets look their words up here, so that no page has to. A sentence with values in it is looked up before the values
are put in, by `phrase`. What the core and the plugins say has no entry in a catalogue and is shown as it stands.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

CATALOGUES = Path(__file__).parent / "locale"
"""Where catalogues would lie, as gettext lays them out; none has been made yet."""
DOMAIN = "garboard_tablet"


class Language:
    """The one in use.

    translate  : gives the words to show for those of the program
    is_another : whether these are other words, for which no page was measured
    """

    translate: Callable[[str], str] = staticmethod(str)
    is_another = False


def shown(words: str) -> str:
    """The words as they are to be shown."""
    return Language.translate(words) if words else words


def phrase(words: str, **values: object) -> str:
    """A sentence with values in it, as it is to be shown. Each value has a name, so that a translation may move it.

    A translation that asks for a value there is not is passed over: the person reads the program's own words.

    >>> phrase("Only {free} MB are free.", free=12)
    'Only 12 MB are free.'
    """
    try:
        return shown(words).format(**values)
    except (LookupError, ValueError, AttributeError):
        return words.format(**values)


def use_language(names: Sequence[str], catalogues: Path = CATALOGUES) -> None:
    """Show the tablet's words in the first of these languages that has a catalogue, else as the program has them.

    names : as gettext takes them: "de_CH", "fi"
    """
    Language.translate, Language.is_another = staticmethod(str), False
    if not catalogues.is_dir():
        return
    import gettext

    file = gettext.find(DOMAIN, str(catalogues), list(names))
    if file is not None:
        with Path(file).open("rb") as compiled:
            Language.translate = staticmethod(gettext.GNUTranslations(compiled).gettext)
        Language.is_another = True
