"""What keeps the program small: no encryption for a screen that talks to nobody, and freed memory given back."""

from __future__ import annotations

import ctypes
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
    gc.collect()
    gc.freeze()
    trim = getattr(_library(), "malloc_trim", None)
    if trim is not None:
        trim(0)


def _library() -> ctypes.CDLL | None:
    if sys.platform != "linux":
        return None
    try:
        return ctypes.CDLL(None)
    except OSError:
        return None
