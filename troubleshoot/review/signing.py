"""The countersignature: somebody who did not do the work says, with a key of their own, up to where they have read it.

Ed25519 (RFC 8032, by the `cryptography` library) over session, head number, head hash, time and name. It is an event of
the same log: the head it signs is the event before it, so that a signature put anywhere else, or into another log, shows.

What it proves: who held that key file and its passphrase had this log before them, up to that event. What it does not:
that this person is who they say. A login or a key file that several people share proves nothing, and is said so.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from troubleshoot.log.event import canonical
from troubleshoot.log.redaction import is_mark
from troubleshoot.review.expecting import Happened
from troubleshoot.store.written import NOT_WORK, SIGNED, Gatherer, Signed, Written

KIND: Final = SIGNED
SAYS: Final = "troubleshoot countersignature 1"
"""Goes into what is signed: a signature made for anything else is none here."""
LATE: Final = timedelta(minutes=5)
"""Longest between the time that was signed and the time at which the log took it."""
SHARED: Final = (
    "A countersignature shows who held that key. A key file or a login that several people share proves nothing."
)
COST = 1 << 16
"""Of scrypt (RFC 7914) with r = 8 and p = 1, for new keys: 64 MiB and some tenths of a second a try."""
_COSTS: Final = range(1 << 8, (1 << 20) + 1)
"""What a key file may ask for: more would take all memory."""


class WrongPassphrase(ValueError):
    """The passphrase does not open the key, or the file was changed."""


@dataclass(frozen=True, slots=True)
class Key:
    """A key as its file holds it: the secret half is sealed with the passphrase."""

    name: str
    public: str
    """64 hexadecimal digits."""
    salt: str
    nonce: str
    sealed: str
    cost: int
    """Of the stretching of its passphrase."""

    def text(self) -> str:
        """The file."""
        return json.dumps(
            {"is": "a key to countersign with", "name": self.name, "public": self.public, "salt": self.salt,
             "nonce": self.nonce, "sealed": self.sealed, "cost": self.cost}, indent=1,
        ) + "\n"  # fmt: skip


def make_key(name: str, passphrase: str, dice: Callable[[int], bytes]) -> Key:
    """A new key of that person. dice: gives so many random bytes (`secrets.token_bytes`)."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    secret = dice(32)
    public = Ed25519PrivateKey.from_private_bytes(secret).public_key().public_bytes_raw().hex()
    salt, nonce = dice(16), dice(12)
    sealed = ChaCha20Poly1305(_stretched(passphrase, salt, COST)).encrypt(nonce, secret, _bound(name, public))
    return Key(name, public, salt.hex(), nonce.hex(), sealed.hex(), COST)


def read_key(text: str) -> Key:
    """The key in a file. Raises ValueError with words where it is none."""
    try:
        found = json.loads(text)
        key = Key(*(found[k] for k in ("name", "public", "salt", "nonce", "sealed", "cost")))
        if type(key.cost) is not int or key.cost not in _COSTS or key.cost & (key.cost - 1):
            raise ValueError
        if not all(isinstance(v, str) for v in (key.name, key.public, key.salt, key.nonce, key.sealed)):
            raise TypeError
        for digits in (key.public, key.salt, key.nonce, key.sealed):
            bytes.fromhex(digits)
    except (ValueError, KeyError, TypeError, RecursionError):
        raise ValueError("that file is no key to countersign with (troubleshoot review key makes one)") from None
    return key


def sign(key: Key, passphrase: str, session: str, head: tuple[int, str], at: str) -> dict[str, Any]:
    """Data of the `signed` event over a head. Raises WrongPassphrase."""
    from cryptography.exceptions import InvalidTag
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    try:
        secret = ChaCha20Poly1305(_stretched(passphrase, bytes.fromhex(key.salt), key.cost)).decrypt(
            bytes.fromhex(key.nonce), bytes.fromhex(key.sealed), _bound(key.name, key.public)
        )
    except (InvalidTag, ValueError):
        raise WrongPassphrase(
            "the passphrase does not open this key, or the key file was changed; nothing is signed"
        ) from None
    data = {"session": session, "head": head[0], "head_hash": head[1], "signed_at": at, "by": key.name}
    made = Ed25519PrivateKey.from_private_bytes(secret).sign(_message(data))
    return {**data, "public": key.public, "signature": made.hex()}


def _stretched(passphrase: str, salt: bytes, cost: int) -> bytes:
    from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

    return Scrypt(salt=salt, length=32, n=cost, r=8, p=1).derive(passphrase.encode("utf-8", "surrogatepass"))


def _bound(name: str, public: str) -> bytes:
    """What the seal also covers: a name written into the file of another's key opens nothing."""
    return canonical([SAYS, name, public]).encode()


def _message(data: Mapping[str, Any]) -> bytes:
    return canonical([SAYS, *(data[k] for k in ("session", "head", "head_hash", "signed_at", "by"))]).encode()


# ------------------------------------------------------------------------------------------------------------- checking


@dataclass(frozen=True, slots=True)
class Signature:
    """One countersignature in a log, checked."""

    n: int
    by: str
    head: int
    at: str
    public: str
    wrong: str = ""
    """Why it proves nothing; empty where it holds."""
    known: bool = False
    """The key is the one that is kept here under this name."""
    after: int = 0
    """Events of the work that were written after it."""
    nameless: bool = False
    """The names of those who worked were taken out of the log."""

    @property
    def words(self) -> str:
        """One sentence."""
        if self.wrong:
            return f"Event {self.n}: the countersignature of {self.by} does not hold: {self.wrong}."
        key = "with the key kept here under that name" if self.known else (
            f"with key {self.public[:16]}, which is not kept here: ask that person whether it is theirs"
        )  # fmt: skip
        after = f" {self.after} events of the work came after it and are not signed." if self.after else ""
        who = (
            " That it was somebody who did not work on it is not proved: the names were taken out."
            if self.nameless
            else ""
        )
        return f"Event {self.n}: countersigned by {self.by} up to event {self.head}, {key}.{after}{who}"


def judge(written: Written, keys: Mapping[str, str]) -> tuple[Signature, ...]:
    """Every countersignature of a log, with what the whole log says about it. keys: public keys kept here, by name."""
    workers = {plain_name(name) for name in written.workers}
    nameless = any(is_mark(name) for name in workers)
    seen: dict[str, int] = {}
    out = []
    for one in written.signed:
        data = one.event.data
        by, public, head = str(data.get("by", "")), str(data.get("public", "")), data.get("head")
        wrong = _wrong(one, written.session, seen, keys)
        if not wrong and plain_name(by) in workers:
            wrong = f"{by} worked on it; somebody else has to countersign"
        seen.setdefault(str(data.get("signature", "")), one.event.n)
        out.append(Signature(
            one.event.n, by, head if isinstance(head, int) else 0, str(data.get("signed_at", "")), public, wrong,
            known=not wrong and keys.get(by) == public, after=written.work - one.work, nameless=nameless,
        ))  # fmt: skip
    return tuple(out)


def _wrong(one: Signed, session: str, seen: Mapping[str, int], keys: Mapping[str, str]) -> str:
    data, head = one.event.data, one.event.data.get("head")
    texts = [data.get(k) for k in ("by", "public", "signature", "session", "head_hash", "signed_at")]
    if not all(isinstance(t, str) for t in texts) or not isinstance(head, int):
        return "it lacks what every countersignature has"
    if not _holds(data):
        return "forged: the signature does not fit what it says"
    if data["session"] != session:
        return "re-used: it was made for another log"
    if (earlier := seen.get(str(data["signature"]))) is not None:
        return f"re-used: it is that of event {earlier} once more"
    if one.before is None or (head, data["head_hash"]) != (one.before[0], one.before[2]):
        return f"re-used: it was made over event {head}, and does not stand right behind it"
    by = str(data["by"])
    if by in keys and keys[by] != data["public"]:
        return f"another key than the one kept here for {by}"
    return _wrong_time(one, str(data["signed_at"]), one.before)


def _wrong_time(one: Signed, signed_at: str, before: tuple[int, str, str]) -> str:
    try:
        at = datetime.fromisoformat(signed_at)
        if at.tzinfo is None or abs(one.event.when - at) > LATE:
            return f"back-dated: it says {signed_at} and was written at {one.event.at}"
    except (ValueError, TypeError):
        return "the time it says is none"
    if one.back_ms > LATE.total_seconds() * 1000:
        return f"back-dated: the clock was set back {one.back_ms // 60_000} min right before it"
    if at < datetime.fromisoformat(before[1]) - LATE:
        return f"back-dated: it says {signed_at}, and event {before[0]} before it {before[1]}"
    return ""


def _holds(data: Mapping[str, Any]) -> bool:
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(data["public"])).verify(
            bytes.fromhex(data["signature"]), _message(data)
        )
    except (InvalidSignature, ValueError, KeyError):
        return False
    return True


def check(events: Iterable[Happened], keys: Mapping[str, str]) -> tuple[Signature, ...]:
    """Every countersignature of a log. keys: public keys kept here, by name."""
    return judge(gathered(events), keys)


def gathered(events: Iterable[Happened]) -> Written:
    """What was written back in these events."""
    gatherer = Gatherer()
    for event in events:
        gatherer.take({
            **event.data, "n": event.n, "kind": event.kind, "at": event.at, "elapsed_ms": event.elapsed_ms,
            "hash": event.hash,
        })  # fmt: skip
    return gatherer.done()


def refusal(events: Sequence[Happened], name: str, login: str) -> str:
    """Why this person may not countersign this log; empty where they may."""
    workers = {
        plain_name(v) for e in events if e.kind not in NOT_WORK for v in (e.data.get("who"), e.data.get("by"))
        if isinstance(v, str)
    }  # fmt: skip
    if plain_name(name) in workers:
        return f"{name} worked on this job; somebody else has to countersign it."
    if plain_name(login) in workers:
        return (
            f"You are here as {login}, who worked on this job. Countersign under a login of your own "
            "(TROUBLESHOOT_WHO says who is at the keys)."
        )
    return ""


def plain_name(name: str) -> str:
    """A name as it is compared: without its capitals and double blanks."""
    return " ".join(name.split()).casefold()
