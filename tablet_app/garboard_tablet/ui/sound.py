"""A beep for each change of what to do, since eyes are on the water: high when on target, low when not.

What is urgent has a beep of its own, longer and higher than all else.
"""

from __future__ import annotations

import math
import struct
import wave
from functools import lru_cache
from pathlib import Path
from typing import Any

from garboard.disk.scratch import ScratchFolder
from garboard.steps import Guidance

RATE = 22050


def beep_samples(pitch: float, seconds: float) -> bytes:
    """A beep that fades in and out, as 16-bit samples.

    pitch   : above 0 [Hz]
    seconds : above 0 [s]
    """
    count = int(RATE * seconds)
    fade = max(1, count // 10)
    return b"".join(
        struct.pack(
            "<h", int(20000 * min(1.0, n / fade, (count - n) / fade) * math.sin(2 * math.pi * pitch * n / RATE))
        )
        for n in range(count)
    )


@lru_cache(maxsize=1)
def _folder() -> ScratchFolder:
    """Removed when the program ends: some players read a sound from its file each time."""
    return ScratchFolder("sound")


@lru_cache(maxsize=4)
def _sound(pitch: float, seconds: float) -> Any:
    from kivy.core.audio import SoundLoader

    path = Path(_folder().name) / f"{pitch:.0f}.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(beep_samples(pitch, seconds))
    return SoundLoader.load(str(path))


def play(guidance: Guidance) -> None:
    """Sound what to do; silent on a tablet without sound."""
    sound = _sound(*beep_for(guidance))
    if sound is not None:
        sound.play()


LOST = (330.0, 0.25)
"""Pitch [Hz] and length [s] of each of the three low tones when nothing fresh comes."""


def play_lost() -> None:
    """Three low tones, a moment apart."""
    from kivy.clock import Clock

    sound = _sound(*LOST)
    if sound is not None:
        for number in range(3):
            Clock.schedule_once(lambda _dt: sound.play(), number * 2 * LOST[1])


def beep_for(guidance: Guidance) -> tuple[float, float]:
    """Pitch [Hz] and length [s] of the beep for what there is to do."""
    if guidance.urgent:
        return 1760.0, 0.7
    if guidance.done:
        return 1320.0, 0.35
    return (880.0, 0.12) if guidance.on_target else (440.0, 0.25)
