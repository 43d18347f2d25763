"""What is said aloud to a person at the helm: which word, and when. Who speaks it stands behind `Voice`.

A word is said when it changes, words stand three seconds apart, and what is urgent cuts in and is said again. The
newest word wins: one that is still being said is broken off, so that nobody hears what was true a moment ago.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import threading
from typing import Any, Protocol

import attrs

APART = 3.0
"""Words stand so far apart [s]; common practice, no source."""
URGENT_AGAIN = 3.0
"""What is urgent is said again after so long [s], until it is done."""
LOOK = 0.05
"""Whether a word has been said, and whether a newer one waits, is looked at so often [s]."""
PROGRAM = "espeak-ng"
WORDS_A_MINUTE = 150
"""Slower than in a quiet room, over an engine: common practice, no source."""


@attrs.define
class Spokesman:
    """Decides what is said. Pure but for what it remembers.

    said : the last word said, and when [s]
    """

    said: str = ""
    at: float = -1e9

    def word(self, now: float, word: str, *, urgent: bool = False) -> str:
        """The word to say now; "" for none."""
        since = now - self.at
        if not word or (word == self.said and not (urgent and since >= URGENT_AGAIN)):
            return ""
        if since < APART and not (urgent and word != self.said):
            return ""
        self.said, self.at = word, now
        return word


class Voice(Protocol):
    """Says one word at a time. Every call answers at once."""

    def begin(self, word: str) -> None:
        """Begin to say a word, and break off another."""

    @property
    def is_speaking(self) -> bool:
        """Whether a word is being said."""

    def hush(self) -> None:
        """Say no more."""


class ProgramVoice:
    """The program `espeak-ng`, which makes speech by itself, without a network."""

    def __init__(self, program: str) -> None:
        self._program = program
        self._speaking: subprocess.Popen[bytes] | None = None

    def begin(self, word: str) -> None:
        self.hush()
        order = [self._program, "-s", str(WORDS_A_MINUTE), "--", word]
        self._speaking = subprocess.Popen(order, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    @property
    def is_speaking(self) -> bool:
        return self._speaking is not None and self._speaking.poll() is None

    def hush(self) -> None:
        if self._speaking is not None:
            with contextlib.suppress(OSError):
                self._speaking.kill()
            self._speaking.wait()
            self._speaking = None


class TabletVoice:
    """The tablet's own speech, by plyer. What is said anew breaks off what was being said."""

    def __init__(self, speech: Any) -> None:
        self._speech = speech

    def begin(self, word: str) -> None:
        self._speech.speak(message=word)

    @property
    def is_speaking(self) -> bool:
        return False

    def hush(self) -> None:
        """A word takes a second; it is let go."""


def find_voice() -> Voice | None:
    """Who can speak on this machine; None where nobody can."""
    if "ANDROID_ARGUMENT" in os.environ:
        try:
            from plyer import tts
        except ImportError:
            return None
        return TabletVoice(tts)
    program = shutil.which(PROGRAM)
    return ProgramVoice(program) if program else None


class Speaker:
    """Has words said by a voice, in a thread of its own: nothing waits for it, and no word waits for another."""

    def __init__(self, voice: Voice | None) -> None:
        self._voice = voice
        self._changed = threading.Condition()
        self._next = ""
        self._is_over = False
        self._thread: threading.Thread | None = None

    @property
    def can_speak(self) -> bool:
        return self._voice is not None

    def say(self, word: str) -> None:
        """Say a word as soon as the thread gets to it; a word before it that was not begun is never said."""
        if self._voice is None or not word:
            return
        with self._changed:
            self._next = word
            self._changed.notify()
            if self._thread is None:
                self._thread = threading.Thread(target=self._speak, args=(self._voice,), name="voice", daemon=True)
                self._thread.start()

    def close(self) -> None:
        """Say no more, and end the thread."""
        with self._changed:
            self._is_over, self._next = True, ""
            self._changed.notify()
        if self._thread is not None:
            self._thread.join(1.0)
            self._thread = None
        self._is_over = False

    def _speak(self, voice: Voice) -> None:
        while True:
            with self._changed:
                while not self._next and not self._is_over:
                    self._changed.wait()
                word, self._next = self._next, ""
                if self._is_over:
                    break
            try:
                voice.begin(word)
                with self._changed:
                    while voice.is_speaking and not self._next and not self._is_over:
                        self._changed.wait(LOOK)
            except Exception:  # a voice that fails must not end the run it speaks of
                continue
        with contextlib.suppress(Exception):
            voice.hush()
