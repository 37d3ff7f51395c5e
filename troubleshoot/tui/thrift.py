"""What keeps the program small: no encryption for a screen that talks to nobody, and freed memory given back."""

from __future__ import annotations

import gc
import sys


def without_encryption() -> None:
    """Import the event loop as on a Python that was built without SSL, which it foresees: 5 MB and 10 ms.

    Nothing here opens a connection. Whoever imports `ssl` later gets it.
    """
    if "asyncio" in sys.modules or "ssl" in sys.modules:
        return
    sys.modules["ssl"] = None  # type: ignore[assignment]
    try:
        import asyncio  # noqa: F401
    finally:
        del sys.modules["ssl"]


def give_back() -> None:
    """After long work: hand freed memory back to the system, and spare what is left the collector's walk.

    A table leaves a third of what it took in holes of the heap; and going through half a million objects that stay is felt at
    a key. Does nothing more where the C library has no such call.
    """
    gc.unfreeze()  # what was let go of since the last time is collected too
    gc.collect()
    gc.freeze()
    if sys.platform != "linux":
        return
    import ctypes  # not for the first paint

    trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
    if trim is not None:  # the C library of some distributions has none
        trim(0)
