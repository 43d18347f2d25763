"""What the renderer compiles its shaders with is given up once they are compiled."""

from __future__ import annotations

import ctypes
import os
from collections.abc import Sequence

LIBRARIES = ("libGLESv2.so", "libGLESv2.so.2", "libGL.so.1")
"""Where the call is, on a tablet and on a desktop."""


def release_compiler() -> bool:
    """Tell the renderer that nothing is compiled for now. Returns whether there was somebody to tell.

    OpenGL ES 2.0, section 2.10.2: what was released is there again when something is compiled. Kivy compiles its one
    shader with its window, and does not pass this call on.
    """
    for name in LIBRARIES if hasattr(os, "RTLD_NOLOAD") else ():
        try:
            release = ctypes.CDLL(name, mode=os.RTLD_NOLOAD).glReleaseShaderCompiler
        except (OSError, AttributeError):  # what draws has another name, or does not know it
            continue
        release.restype, release.argtypes = None, ()
        release()
        return True
    return False


__all__: Sequence[str] = ("release_compiler",)
