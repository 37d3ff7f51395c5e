"""While a log is read: lines out of which texts were taken, each waiting for the later event that vouches for it."""

from __future__ import annotations

import json
from typing import Any, Final, cast

from troubleshoot.log.line import OTHER_HASH, Wrong
from troubleshoot.log.redaction import Texts, as_it_was, is_redacted, line_digest, vouched

NOT_VOUCHED: Final = (
    Wrong.EDITED,
    "edited: a text was taken out of it, and no later event vouches for it as it stands now",
)


class Unproved:
    """The redacted lines met so far. Memory: some hundred bytes for each that nothing has vouched for yet."""

    def __init__(self, texts: Texts | None) -> None:
        self._texts = texts
        self._waiting: dict[int, tuple[str, int, str]] = {}
        """Number of the event to the digest of its line, good lines before it, hash before it."""
        self._vouched: list[int] = []
        self.restored = 0
        """Lines that agree with their own hash once their texts are put back."""

    def redacted(self, line: bytes, good: int, prev: str) -> dict[str, Any] | tuple[Wrong, str]:
        """The object of a canonical line that does not agree with its own hash, if a text was taken out of it.

        good, prev: how many good lines stand before it, and the hash of the last of them.
        """
        found = json.loads(line)
        if not is_redacted(found):
            return OTHER_HASH
        if self._texts is not None and (whole := as_it_was(found, self._texts)) is not None:
            self.restored += 1
            return whole
        self._waiting[found["n"]] = (line_digest(line), good, prev)
        return cast("dict[str, Any]", found)

    def met(self, found: dict[str, Any]) -> None:
        """A good event: it may vouch for some of them."""
        for n, digest in vouched(found).items():
            if n in self._waiting and self._waiting[n][0] == digest:
                del self._waiting[n]
                self._vouched.append(n)

    def first(self) -> tuple[int, str] | None:
        """Good lines before the first that nothing vouches for, and the hash of the last of them; None where there is
        none."""
        if not self._waiting:
            return None
        _, good, prev = min(self._waiting.values(), key=lambda one: one[1])
        return good, prev

    def known(self, good: int) -> tuple[int, ...]:
        """Events up to a number that are vouched for, in order."""
        return tuple(sorted(n for n in self._vouched if n <= good))
