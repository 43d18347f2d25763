"""A tablet's system for the tests: it remembers what it was asked for, and says what a test wants it to say."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import attrs

from garboard_tablet.system.services import Battery


@attrs.define
class FakeServices:
    """What an app may ask of a tablet's system.

    files   : the folder an update leaves alone; the program lies in `files / "app"`
    held    : what is asked for now and not yet given back
    refuses : every call fails, as where a permission was taken away
    """

    files: Path
    held: set[str] = attrs.field(factory=set)
    charge: Battery | None = None
    words: float = 1.0
    clipboard: str = ""
    is_in_sight: bool = True
    refuses: bool = False

    @property
    def program(self) -> Path:
        return self.files / "app"

    def data_folder(self) -> Path:
        return self.files

    def update(self) -> None:
        """An update of the app: the system empties the program's folder and fills it anew."""
        import shutil

        shutil.rmtree(self.program, ignore_errors=True)
        self.program.mkdir(parents=True)
        (self.program / "main.py").write_text("# the new version\n")

    def keep_screen_on(self, *, on: bool) -> None:
        self._hold("screen", on=on)

    def hear_groups(self, *, on: bool) -> None:
        self._hold("groups", on=on)

    def record_out_of_sight(self, *, on: bool) -> None:
        self._hold("service", on=on)

    def battery(self) -> Battery | None:
        self._refuse()
        return self.charge

    def font_scale(self) -> float:
        self._refuse()
        return self.words

    def languages(self) -> Sequence[str]:
        return ["xx"]

    def step_back(self) -> bool:
        self.is_in_sight = False
        return True

    def forget_copied(self, words: str) -> None:
        if self.clipboard == words:
            self.clipboard = ""

    def _hold(self, what: str, *, on: bool) -> None:
        self._refuse()
        assert (what in self.held) is not on, f"{what} is asked for twice, or given back twice"
        (self.held.add if on else self.held.discard)(what)

    def _refuse(self) -> None:
        if self.refuses:
            raise RuntimeError("JVM exception occurred: a permission is missing")
