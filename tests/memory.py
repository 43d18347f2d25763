"""Memory given back to the system between tests."""

import ctypes
import gc


def give_back() -> None:
    """Collect what nobody holds, and return it: the allocator would keep some 50 MB of many a file for itself."""
    gc.collect()
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None)  # the GNU C library alone has it
    if trim:
        trim(0)
