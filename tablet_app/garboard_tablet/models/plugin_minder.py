"""A shop's own plugin at work in the app: a loop is interrupted, what cannot be is passed over, and what ends the app
is left out at its next start.

While a plugin's code runs its name stands in a file. An app that ends meanwhile, however it ends, leaves it there.
"""

from __future__ import annotations

import faulthandler
import os
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from types import FrameType, TracebackType
from typing import IO

import attrs

from garboard.hosting.failures import NotJudgedHere, PluginProblem, cure_of
from garboard.hosting.plugin_code import end_at_once
from garboard_tablet.models.left_out import AT_WORK, LEFT_OUT, SLOT, SLOTS, hash_of

HELD = "plugin-held.txt"
"""Where a plugin held the app, in the tablet's folder."""
MOST_CUTS = 3
"""A calculator that was cut so often does not run again until the next start."""
_TICK = 0.1


@attrs.frozen(kw_only=True)
class Patience:
    """How long a plugin may take.

    processor : of the processor's time, then it is interrupted [s]
    wall      : however it passes the time, then it is interrupted [s]
    more      : after that, what goes on is passed over [s]
    held      : what keeps the whole app from doing anything is ended, with the app [s]
    """

    processor: float = 2.0
    wall: float = 10.0
    more: float = 0.5
    held: float = 10.0


class Overtime(BaseException):
    """Put into a thread whose plugin takes too long. Not an Exception: a plugin may catch those."""


@attrs.define(eq=False)
class _Call:
    plugin: str
    file: str
    key: str
    thread: int
    began: float
    clock: int | None
    began_processor: float
    slot: int | None
    cut_at: float | None = None

    def processor(self) -> float:
        """Time of the processor it took; where the system does not count that for a thread, a part of what passed."""
        if self.clock is None:
            return (time.monotonic() - self.began) / 2
        return time.clock_gettime(self.clock) - self.began_processor


class PluginMinder:
    """Minds every call of a shop's own plugin. Give it to `make_host`.

    passed_over : called from another thread with the plugin's name when one could not be interrupted
    """

    def __init__(
        self, folder: Path, passed_over: Callable[[str], object] = str, patience: Patience | None = None
    ) -> None:
        self.passed_over = passed_over
        self._patience = patience or Patience()
        self._folder = folder
        self._lock = threading.Lock()
        self._calls: list[_Call] = []
        self._cuts: dict[tuple[str, str], int] = {}
        self._stuck: set[str] = set()
        self._watching: threading.Thread | None = None
        self._note: IO[bytes] | None = None
        self._held: IO[str] | None = None
        self._hashes: dict[str, str] = {}

    @property
    def is_stuck(self) -> bool:
        """Whether a plugin still runs that cannot be interrupted: the app then ends without waiting for it."""
        return any(call.plugin in self._stuck for call in self._calls)

    def of(self, plugin: str, file: str, key: str) -> _Minded:
        """Mind what is done inside. Raises NotJudgedHere for what took too long."""
        return _Minded(self, plugin, file, key)

    def begin(self, plugin: str, file: str, key: str) -> _Call:
        if plugin in self._stuck or self._cuts.get((plugin, key), 0) >= MOST_CUTS:
            raise NotJudgedHere("took too long before, so it did not run again", "took_too_long")
        thread = threading.get_ident()
        clock = time.pthread_getcpuclockid(thread) if hasattr(time, "pthread_getcpuclockid") else None
        with self._lock:
            slot = self._write_slot(f"{plugin} {self._hash(file)}")
            now = 0.0 if clock is None else time.clock_gettime(clock)
            call = _Call(plugin, file, key, thread, time.monotonic(), clock, now, slot)
            self._calls.append(call)
            self._put_off_the_end()
            if self._watching is None or not self._watching.is_alive():
                self._watching = threading.Thread(target=self._watch, name="minding plugins", daemon=True)
                self._watching.start()
        return call

    def end(self, call: _Call) -> bool:
        """It is over. Whether it was cut. May be called again, where an interruption came in between."""
        with self._lock:
            if call in self._calls:
                self._calls.remove(call)
                if not self._calls:
                    faulthandler.cancel_dump_traceback_later()
            if call.cut_at is not None:
                _take_back(call.thread)
            if call.slot is not None:
                self._clear_slot(call.slot)
                call.slot = None
            if call.cut_at is not None:
                self._cuts[call.plugin, call.key] = self._cuts.get((call.plugin, call.key), 0) + 1
        return call.cut_at is not None

    # Beside it

    def _watch(self) -> None:
        while True:
            time.sleep(_TICK)
            with self._lock:
                if not self._calls:
                    self._watching = None
                    return
                if all(call.thread != threading.main_thread().ident for call in self._calls):
                    self._put_off_the_end()  # that this runs shows that nothing holds the app
                passed_over = [call.plugin for call in self._calls if self._is_passed_over(call)]
            for plugin in passed_over:
                self.passed_over(plugin)

    def _is_passed_over(self, call: _Call) -> bool:
        """Interrupt a call that takes too long; whether it goes on all the same, and that is news."""
        now = time.monotonic()
        if (
            call.cut_at is None
            and call.processor() < self._patience.processor
            and now - call.began < self._patience.wall
        ):
            return False
        if _is_in(sys._current_frames().get(call.thread), call.file):
            call.cut_at = call.cut_at or now
            _interrupt(call.thread)  # again and again: it may catch one
        is_news = call.cut_at is not None and now - call.cut_at > self._patience.more and call.plugin not in self._stuck
        if is_news:
            self._stuck.add(call.plugin)
        return is_news

    def _put_off_the_end(self) -> None:
        """End the app in so many seconds, unless this is called again: a timer that needs no interpreter."""
        if self._held is None:
            with suppress(OSError):
                self._held = (self._folder / HELD).open("w", encoding="utf-8")
        if self._held is not None:
            faulthandler.dump_traceback_later(self._patience.held, exit=True, file=self._held)

    # Who is at work

    def _write_slot(self, text: str) -> int | None:
        if self._note is None:
            try:
                self._note = self._empty_note()
            except OSError:
                return None  # a disk that takes nothing: it is minded all the same
        taken = {call.slot for call in self._calls}
        slot = next((number for number in range(SLOTS) if number not in taken), None)
        if slot is not None:
            self._put(slot, text)
        return slot

    def _empty_note(self) -> IO[bytes]:
        note = (self._folder / AT_WORK).open("w+b", buffering=0)
        try:
            note.write(b" " * SLOTS * SLOT)
        except OSError:
            note.close()
            raise
        return note

    def _clear_slot(self, slot: int) -> None:
        self._put(slot, "")

    def _put(self, slot: int, text: str) -> None:
        if self._note is not None:
            with suppress(OSError):
                self._note.seek(slot * SLOT)
                self._note.write(text.encode()[: SLOT - 1].ljust(SLOT))

    def _hash(self, file: str) -> str:
        if file not in self._hashes:
            self._hashes[file] = hash_of(Path(file))
        return self._hashes[file]

    def close(self) -> None:
        """The app ends. What cannot be interrupted stays noted, so that it is left out at the next start."""
        for kept in (self._note, self._held):
            if kept is not None and not self.is_stuck:
                kept.close()

    def leave(self) -> None:
        """End the program now where a plugin does not come back: Python would wait for it. All is saved and closed."""
        if self.is_stuck:
            end_at_once(0)


class _Minded:
    def __init__(self, minder: PluginMinder, plugin: str, file: str, key: str) -> None:
        self._minder, self._about = minder, (plugin, file, key)
        self._call: _Call | None = None

    def __enter__(self) -> None:
        self._call = self._minder.begin(*self._about)

    def __exit__(
        self, kind: type[BaseException] | None, failure: BaseException | None, trace: TracebackType | None
    ) -> None:
        was_cut = False
        while self._call is not None:
            try:  # the interruption may come as late as here: what is to be put right is put right all the same
                was_cut = self._minder.end(self._call)
                self._call = None
            except Overtime:
                continue
        if was_cut and failure is not None:
            raise NotJudgedHere("took too long", "took_too_long") from None


def _interrupt(thread: int) -> bool:
    """Raise Overtime in a thread at its next step; whether that can be done here."""
    try:
        import ctypes
    except ImportError:  # a tablet's Python may come without: it is passed over instead
        return False
    return bool(ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(thread), ctypes.py_object(Overtime)))


def _take_back(thread: int) -> None:
    """Let an interruption of this thread that has not come yet come here, where it ends nothing.

    To ask for none instead would leave Python 3.11 looking for one at every step: traced code then never ends.
    """
    if thread != threading.get_ident():
        return
    try:
        if _interrupt(thread):  # in the place of one that is on its way
            while True:  # it comes at the next step
                pass
    except Overtime:
        return


def _is_in(frame: FrameType | None, file: str) -> bool:
    """Whether a thread is inside a plugin's code, or in what that calls. Nothing else is interrupted."""
    own = os.path.dirname(file) if os.path.basename(file) == "__init__.py" else file  # noqa: PTH119, PTH120  # quick
    while frame is not None:
        name = frame.f_code.co_filename
        if name == own or name.startswith(own + os.sep):
            return True
        frame = frame.f_back
    return False


def problem_of_left_out(plugin: str, file: Path) -> PluginProblem:
    """What is said of a plugin that was left out."""
    return PluginProblem(
        name=plugin,
        reason="the app ended while it ran, so it is left out and its checks are not judged here",
        code=LEFT_OUT,
        file=str(file),
        cure=cure_of(LEFT_OUT),
    )
