"""Where live samples come from: the boat's network, a recording played back, or a simulated boat."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import attrs

from garboard.faults import InputError, in_words
from garboard.history.runs import LIVE, REPLAY
from garboard.samples import MOST_OUT_OF_ORDER, SIMULATED, Sample, marked
from garboard_tablet.language import phrase

if TYPE_CHECKING:
    from garboard.recordings.boat_network import BoatNetwork


class SampleSource(Protocol):
    """Gives samples as they come. `read` never waits."""

    @property
    def title(self) -> str:
        """What a person calls it."""

    @property
    def is_simulated(self) -> bool:
        """Whether nobody measures what it gives: a run of it is never kept."""

    @property
    def origin(self) -> str:
        """Where what it gives comes from: LIVE from the boat as it runs, or REPLAY."""

    @property
    def over(self) -> bool:
        """Whether no more will come."""

    @property
    def trouble(self) -> str:
        """Why nothing comes, and what to do; "" where nothing is known to be wrong."""

    def start(self, now: float) -> None:
        """Begin; `now` is the time of the caller's clock [s]."""

    def read(self, now: float) -> Sequence[Sample]:
        """The samples since the last call."""

    def stop(self) -> None:
        """No more samples are wanted."""


LONGEST_SILENCE = 5.0
"""A longer silence of a recording is played as so long [s]: the guide shows that nothing comes, and goes on."""


@attrs.define
class Replay:
    """Plays a recording at the speed it was made, or faster; a silence is cut short, and so is a clock set back.

    samples : in the order of time
    speed   : 1 for the speed it was made
    """

    title: str
    samples: Iterable[Sample]
    speed: float = 1.0
    is_simulated: bool = False
    origin: str = REPLAY
    _rest: Iterator[Sample] = attrs.field(factory=lambda: iter(()))
    _waiting: Sample | None = None
    _began: float = 0.0
    _first: float = 0.0

    @property
    def over(self) -> bool:
        return self._waiting is None

    @property
    def trouble(self) -> str:
        return ""

    def start(self, now: float) -> None:
        self._rest = iter(self.samples)
        self._waiting = next(self._rest, None)
        self._began = now
        self._first = self._waiting.time if self._waiting else 0.0

    def read(self, now: float) -> Sequence[Sample]:
        until = self._first + (now - self._began) * self.speed
        due: list[Sample] = []
        while self._waiting is not None and self._waiting.time <= until:
            due.append(self._waiting)
            self._waiting = next(self._rest, None)
            later = self._waiting.time - due[-1].time if self._waiting is not None else 0.0
            if later > LONGEST_SILENCE or later < -MOST_OUT_OF_ORDER:  # nobody waits for it, and nothing is hurried
                shift = later - LONGEST_SILENCE if later > 0 else later
                self._first, until = self._first + shift, until + shift
        return due

    def stop(self) -> None:
        self._rest, self._waiting = iter(()), None


@attrs.define
class Heard:
    """What the boat's network says from the start of a run on. The network is listened to before and after as well."""

    network: BoatNetwork
    over: bool = attrs.field(default=False, init=False)
    origin: str = attrs.field(default=LIVE, init=False)

    @property
    def title(self) -> str:
        return f"the boat's network, {self.network.where.title}"

    @property
    def is_simulated(self) -> bool:
        return self.network.is_simulated

    @property
    def trouble(self) -> str:
        return self.network.trouble()

    def start(self, now: float) -> None:
        self.network.take()  # what was said before the run does not belong to it

    def read(self, now: float) -> Sequence[Sample]:
        return self.network.take()

    def stop(self) -> None:
        """The network goes on: the next run may begin at once."""


RECORDINGS = frozenset({".log", ".txt", ".csv", ".nmea", ".gz", ".jsonl", ".pcap", ".bin", ".trc", ".raw"})
"""Endings of files that may be recordings."""
LOOKED_THROUGH = 5000
"""So many samples from the beginning of a recording tell what is in it."""


@attrs.frozen
class RecordingFile:
    """The samples of a recording, read anew each time, a little at a time: it may be hours long."""

    path: Path

    def __iter__(self) -> Iterator[Sample]:
        from garboard.recordings import read_samples

        return read_samples(self.path)

    @property
    def is_simulated(self) -> bool:
        """Whether it carries the simulator's mark."""
        try:
            return any(sample.source.startswith(SIMULATED) for sample in islice(self, LOOKED_THROUGH))
        except (InputError, OSError):
            return False


def recordings_in(folder: Path) -> list[Path]:
    """Files in a folder that may be recordings, by name."""
    return [path for path in sorted(folder.glob("*")) if path.suffix.lower() in RECORDINGS] if folder.is_dir() else []


def why_not(path: Path, quantities: Iterable[str]) -> str:
    """Why a recording cannot be played to a guide that follows these quantities; "" when it can."""
    from garboard.recordings import ReadingNotes, read_samples

    notes = ReadingNotes()
    try:
        first = tuple(islice(read_samples(path, notes), LOOKED_THROUGH))
    except (InputError, OSError) as failure:
        return in_words(failure)
    found = {sample.quantity for sample in first}
    if any(sample.source.startswith(SIMULATED) for sample in first):
        return phrase(
            "{name} is a simulated run, not a measurement. To try a guide, choose the simulated boat.", name=path.name
        )
    if first and not notes.timed:
        return phrase(
            "{name} tells no times, so nothing can play it as it was. Record again in a form that does.", name=path.name
        )
    wanted = set(quantities)
    if found & wanted:
        return ""
    names = [", ".join(sorted(some)).replace("_", " ") or "nothing" for some in (found, wanted)]
    return phrase("{name} contains {has}. This guide follows {wants}.", name=path.name, has=names[0], wants=names[1])


def simulated_for(quantities: Iterable[str], *, start: float = 0.0) -> Replay:
    """The simulated boat doing what suits a live guide, by what the guide wants to see. It shows how a guide works.

    Each sample carries the simulator's mark.
    """
    from garboard.recordings.simulated_network import TWIN, full_throttle, slow_circles, throttle_steps
    from garboard.recordings.simulator import simulate

    wanted = set(quantities)
    if "fuel_flow" in wanted:
        title, orders = "simulated boat, throttle in steps", throttle_steps()
    elif "engine_speed" in wanted:
        title, orders = "simulated boat, full throttle", full_throttle()
    else:
        title, orders = "simulated boat, slow circles", slow_circles()
    run = marked(simulate(TWIN, orders, start=start, heading=80.0))
    return Replay(title, run, is_simulated=True)
