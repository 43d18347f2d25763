"""Backups from the tablet: one touch writes all boats as one zip to a folder the person chose; and the way back."""

from __future__ import annotations

import logging
from collections.abc import Callable, Container, Sequence
from functools import partial
from pathlib import Path
from shutil import rmtree
from typing import TYPE_CHECKING

import attrs

from garboard.disk.clock import moment_in_words
from garboard.disk.storage import make_folder, remove_unfinished
from garboard.faults import GarboardError, in_number, in_words
from garboard.verdict import Verdict
from garboard_tablet.language import phrase
from garboard_tablet.models.coming import RECORDER, coming_folder, drop_copy
from garboard_tablet.system.files import Got, How, Place, Put, free_name

if TYPE_CHECKING:
    from garboard.history.backup import Backup
    from garboard.history.merge import MergeReport
    from garboard_tablet.models.background import Background
    from garboard_tablet.models.tablet import Tablet
    from garboard_tablet.system.files import Files

log = logging.getLogger("garboard.tablet")

FOLDER = "backups"
"""Where a backup is made before it is copied out; where a system has no way to choose a folder, it stays there."""
GOING = "going"
"""The folder in it for one that is copied out. What is left there, the app was ended meanwhile: the next one clears it.
"""
MAKING, COPYING, READING = "Making the backup", "Copying it to the folder", "Taking the backup back"
_CANCELLED = "Nothing was chosen. Nothing was changed."
_PART_OF_IT = "Some boats of it may be here. What was here stays. Take it back again."
"""Of one that was not taken back to its end: each boat is merged whole or not at all."""
MOST_SAID = 3
"""So many reasons are said, so that the page holds them."""
_HERE = Place(key="", title="the app's own folder")


@attrs.frozen
class Said:
    """How it went.

    word : stands beside the verdict's mark
    """

    verdict: Verdict
    word: str
    text: str


def _first(left: Sequence[str]) -> str:
    """The first of some reasons, and how many more there are."""
    more = phrase(" And {count} more.", count=len(left) - MOST_SAID) if len(left) > MOST_SAID else ""
    return " ".join(left[:MOST_SAID]) + more


def said_of(taken: MergeReport, hull_files: Container[str], left_out: Sequence[str] = ()) -> Said:
    """How a backup was taken back. What is damaged on this tablet is no fault of the backup, and may be healed by it.

    taken      : what the merge did
    hull_files : names of those in the backup; what this tablet cannot read of other boats is not told here
    left_out   : what could not be read when the backup was made, with the reason
    """
    if taken.received or taken.attachments:
        entries = in_number(taken.received, "new entry", "new entries")
        files = in_number(taken.attachments, "photo or recording", "photos and recordings")
        came = phrase("{entries} and {files} came.", entries=entries, files=files)
    else:
        came = "All that could be read of it was here already." if taken.lost else "All that is in it was here already."
    lacking = _first([phrase("Was not in it, or damaged: {one}.", one=one) for one in left_out])
    left = [
        *(phrase("Damaged in the backup: {loss}.", loss=loss) for loss in taken.lost),
        *(phrase("Not kept: {reason}.", reason=reason) for _, reason in taken.refused),
        *(
            phrase("Not read: {name}: {why}.", name=name, why=why)
            for file, why in taken.not_read
            if (name := Path(file).name) in hull_files
        ),
    ]
    if left or not (taken.complete or taken.missing or taken.not_read):
        what = " ".join(filter(None, (_first(left) or "Take it back again.", lacking)))
        return Said(Verdict.FAIL, "not all", phrase("{came} {what} What is here stays.", came=came, what=what))
    if taken.missing or lacking:
        files = in_number(len(taken.missing), "photo or recording is", "photos or recordings are")
        missing = phrase("{files} neither in it nor here: ask the shop.", files=files) if taken.missing else ""
        return Said(Verdict.ADVISE, "taken back", " ".join(filter(None, (came, lacking, missing))))
    return Said(Verdict.PASS, "taken back", came)


def waits(tablet: Tablet) -> str:
    """What was taken or recorded and no backup holds, since it belongs to no boat yet; "" where there is nothing."""
    from garboard_tablet.models.photos import pictures_in  # here: the app's first frame waits for it otherwise

    pictures, runs = len(pictures_in(coming_folder(tablet))), len([*tablet.folder.glob(f"{RECORDER}*")])
    found = [
        in_number(pictures, "photo that is attached to nothing", "photos that are attached to nothing"),
        in_number(runs, "run that nobody has decided on", "runs that nobody has decided on"),
    ]
    return " and ".join(words for words, count in zip(found, (pictures, runs), strict=True) if count)


class Backups:
    """Makes backups and takes them back, beside the drawing thread. What it knows belongs to the drawing thread.

    came    : called with what a backup brought, once it is in
    changed : called at each change of how it stands
    """

    def __init__(
        self,
        tablet: Tablet,
        background: Background,
        files: Files,
        came: Callable[[MergeReport], object],
        changed: Callable[[], object],
    ) -> None:
        self._tablet, self._background, self._files = tablet, background, files
        self._came, self._changed = came, changed
        self.busy = ""
        self.said: Said | None = None

    @property
    def place(self) -> Place | None:
        """The folder backups are written to; None until one is chosen."""
        if not self._files.has_picker:
            return _HERE
        kept = self._tablet.settings.backup_to
        return Place(key=kept[0], title=kept[1]) if len(kept) == 2 else None

    @property
    def last(self) -> str:
        """When the last backup was saved, and where; "" before the first."""
        return " ".join(self._tablet.settings.backed_up)

    def found(self, inbox: Path) -> list[Path]:
        """Backups that lie in the app's own folders, the newest name first."""
        places = (self._tablet.folder / FOLDER, inbox, coming_folder(self._tablet))
        found = [path for place in places if place.is_dir() for path in place.glob("[!.]*.zip")]
        return sorted(found, key=lambda path: path.name, reverse=True)

    # Out

    def back_up(self) -> None:
        """Write a backup; where no folder is chosen yet, that is asked first."""
        if self.busy:
            return
        if self.place is None:
            self.choose(then=self.back_up)
            return
        self._begin(MAKING)
        at = self._tablet.author().wall()
        name = f"garboard {at[:10]} {at[11:13]}{at[14:16]}.zip"
        own = self._tablet.folder / FOLDER
        path = free_name(own, name) if self.place is _HERE else own / GOING / name
        self._background.run("making a backup", partial(self._make, path, at), partial(self._made, path), self._failed)

    def choose(self, then: Callable[[], object] = lambda: None) -> None:
        """Choose the folder that backups are written to."""

        def chosen(place: Place | None) -> None:
            if place is None:
                self._say(Verdict.ADVISE, "no backup", "No folder was chosen. Nothing was written.")
                return
            settings = attrs.evolve(self._tablet.settings, backup_to=(place.key, place.title))
            self._tablet.change_settings(settings)
            self.said = None
            self._changed()
            then()

        self._files.choose_folder(chosen)

    def _make(self, path: Path, at: str) -> Backup | str:
        """The backup, or why there is none."""
        from garboard.history.backup import write_backup

        own = self._tablet.folder / FOLDER
        rmtree(own / GOING, ignore_errors=True)
        remove_unfinished(own)
        try:
            make_folder(path.parent)
            return write_backup(self._tablet.files, path, at)
        except (GarboardError, OSError) as failure:
            return in_words(failure)

    def _made(self, path: Path, made: Backup | str) -> None:
        place = self.place
        if isinstance(made, str):
            self._say(Verdict.FAIL, "not saved", made)
        elif place is None or place is _HERE:
            self._saved(made, Put(how=How.DONE, where=str(path)))
        else:
            self._begin(COPYING)
            self._files.put(path, path.name, place, partial(self._put, path, made))

    def _put(self, path: Path, made: Backup, put: Put) -> None:
        rmtree(path.parent, ignore_errors=True)  # the folder has it, or it is made anew
        if put.how is How.DONE:
            self._saved(made, put)
        else:
            self._say(
                Verdict.FAIL, "not saved", phrase("Nothing was saved in {where}. {why}", where=put.where, why=put.why)
            )

    def _saved(self, made: Backup, put: Put) -> None:
        boats, lacking = in_number(made.hulls, "boat"), made.left_out_in_words
        if made.hulls_left_out:
            boats = phrase(
                "{kept} of {boats}", kept=made.hulls, boats=in_number(made.hulls + made.hulls_left_out, "boat")
            )
        when = moment_in_words(made.at)
        kept = phrase("{boats}, not all of it", boats=boats) if lacking else boats
        self._tablet.change_settings(attrs.evolve(self._tablet.settings, backed_up=(f"{when},", kept)))
        saved = phrase("{boats} saved and read back: {where}", boats=f"{boats[:1].upper()}{boats[1:]}", where=put.where)
        if lacking:
            left_out = _first([phrase("Not in it, or damaged: {one}.", one=one) for one in lacking])
            text = f"{saved}. {left_out}"
            self._say(Verdict.FAIL, "not all", text)
        else:
            self._say(Verdict.PASS, "saved", saved)

    # Back

    def pick(self) -> None:
        """Choose a backup, and take it back."""
        if not self.busy:
            self._files.pick(coming_folder(self._tablet), self._picked, is_backup=True)

    def _picked(self, got: Got) -> None:
        if got.path is None:
            self._say(Verdict.ADVISE, "not taken back", got.why or _CANCELLED)
        else:
            self.take_back(got.path)

    def take_back(self, path: Path) -> None:
        """Take a backup back: what is here stays, what is new comes."""
        if self.busy:
            return
        self._begin(READING)
        self._background.run(
            "taking a backup back", partial(self._read, path), partial(self._taken, path), self._failed
        )

    def _read(self, path: Path) -> tuple[MergeReport, Said] | str:
        """What the merge did, and how to say it; or why there was none."""
        from garboard.history.backup import BackupRefused, list_of, take_back

        try:
            holds = list_of(path)  # before: the stick may be taken out once all of it is here
            taken = take_back(path, self._tablet.files)
            return taken, said_of(taken, holds.hull_files, holds.left_out_in_words)
        except BackupRefused as refused:
            return in_words(refused)
        except (GarboardError, OSError) as failure:
            return phrase("{why}. {what}", why=in_words(failure), what=_PART_OF_IT)

    def _taken(self, path: Path, taken: tuple[MergeReport, Said] | str) -> None:
        drop_copy(self._tablet, path)
        if isinstance(taken, str):
            self._say(Verdict.FAIL, "not taken back", taken)
            return
        report, said = taken
        self._came(report)
        self._say(said.verdict, said.word, said.text)

    def _begin(self, what: str) -> None:
        self.busy, self.said = what, None
        self._changed()

    def _say(self, verdict: Verdict, word: str, text: str) -> None:
        self.busy, self.said = "", Said(verdict, word, text)
        self._changed()

    def _failed(self, failure: Exception) -> None:
        log.error("a backup failed", exc_info=failure)
        what = _PART_OF_IT if self.busy == READING else "The boats here are as they were."
        self._say(
            Verdict.FAIL, "not done", phrase("The program failed: {why}. {what}", why=in_words(failure), what=what)
        )
