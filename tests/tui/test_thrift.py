"""What keeps the program small changes nothing that anybody else uses."""

from __future__ import annotations

import gc
import subprocess
import sys
import weakref

from troubleshoot.tui.thrift import give_back

ONCE = """
import sys
from troubleshoot.tui.thrift import without_encryption
without_encryption()
import asyncio.sslproto
assert asyncio.sslproto.ssl is None and "ssl" not in sys.modules
async def answer(): return 7
assert asyncio.run(answer()) == 7
import ssl
assert ssl.create_default_context() is not None
import hashlib
assert hashlib.sha256(b"").hexdigest().startswith("e3b0")
"""

LATE = """
import asyncio, ssl, sys
from troubleshoot.tui.thrift import without_encryption
without_encryption()
assert sys.modules["ssl"] is ssl and asyncio.sslproto.ssl is ssl
"""


def test_the_event_loop_runs_without_ssl_and_whoever_imports_it_later_gets_it() -> None:
    subprocess.run([sys.executable, "-c", ONCE], check=True)


def test_where_ssl_is_there_already_it_stays() -> None:
    subprocess.run([sys.executable, "-c", LATE], check=True)


def test_what_was_spared_the_collector_is_collected_once_nobody_holds_it() -> None:
    class Ring:
        pass

    ring = Ring()
    ring.itself = ring  # type: ignore[attr-defined]
    left = weakref.ref(ring)
    give_back()
    try:
        del ring
        gc.collect()
        assert left() is not None, "the collector does not walk it: that is what was asked for"
        give_back()
        assert left() is None
    finally:
        gc.unfreeze()
