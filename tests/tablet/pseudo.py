"""A language nobody speaks: every word a third longer and accented, so that a page without room for it is seen."""

from __future__ import annotations

import re

_ACCENTED = str.maketrans("AEIOUYaeiouycnsz", "ÅÉÎÖÛÝåéîöûýçñšž")
_LONGER = 0.3
"""German and Finnish take so much more room than English; common practice, no source."""
_WORD = re.compile(r"\[[^\]]*\]|&[a-z]+;|\{[^}]*\}|[^\s()“”,;:!?…]*[\d_./%°][^\s()“”,;:!?…]*\w|[^\W\d_]+")


def longer(words: str) -> str:
    """The same words, 30 % longer. Marks, numbers, units, names of files and what stands for a value stay.

    >>> longer("Save {count} runs to turn_2.csv [gal/h]"), longer("Settings.")
    ('Såvéå {count} rûñšû töö turn_2.csv [gal/h]', 'Séttîñgšét.')
    """
    return _WORD.sub(lambda found: _longer(found[0]), words)


def _longer(word: str) -> str:
    if not word.isalpha() or len(word) == 1:
        return word
    more = round(len(word) * _LONGER)
    accented = word.translate(_ACCENTED)
    return accented + (accented[1:].lower() * 2)[:more]
