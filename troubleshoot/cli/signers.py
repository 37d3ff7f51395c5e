"""Keys to countersign with, on this disk: a person's own key file, and the public keys that the plant keeps by name.

Whoever can write into the plant's folder `signers` can put a key there under any name. What it shows is only that the key is
the one that was kept; who holds it is for people to know.
"""

from __future__ import annotations

import json
import os
import re
import stat
from collections.abc import Mapping
from pathlib import Path

import click

from troubleshoot.cli.data import plant_folder
from troubleshoot.cli.exporting import NotWritten, write_new
from troubleshoot.cli.machines_on_disk import read_text
from troubleshoot.review.signing import Key, plain_name, read_key
from troubleshoot.text.showing import show

_PUBLIC = re.compile(r"[0-9a-f]{64}")
LEAST = 8
"""Letters of a passphrase below which anybody guesses it."""


def signers_folder() -> Path:
    """Where the public keys lie."""
    return plant_folder() / "signers"


def keys_here() -> Mapping[str, str]:
    """Public keys by the name of their owner. A file that is none is passed over; of two of one name the older one counts."""
    found: dict[str, str] = {}
    folder = signers_folder()
    if not folder.is_dir():
        return found
    for path in sorted(folder.glob("*.json"), key=lambda p: (p.stat().st_mtime_ns, p.name)):
        try:
            row = json.loads(read_text(path))
            name, public = row["name"], row["public"]
        except (ValueError, KeyError, TypeError, click.UsageError, RecursionError):
            continue
        if isinstance(name, str) and isinstance(public, str) and _PUBLIC.fullmatch(public):
            found.setdefault(name, public)
    return found


def kept_under(name: str) -> str:
    """The public key that is kept here under a name, however it is spelled; empty where none is."""
    return next((public for kept, public in keys_here().items() if plain_name(kept) == plain_name(name)), "")


def other_key(key: Key) -> str:
    """Why this key is not the one of its owner; empty where nothing says so."""
    before = kept_under(key.name)
    if before in ("", key.public):
        return ""
    return f"another key is kept here for {show(key.name)} ({before[:16]}); both cannot be theirs."


def keep_public(key: Key) -> Path:
    """Put the public half where the plant keeps it. Raises NotWritten, also where another key is kept under that name."""
    if no := other_key(key):
        raise NotWritten(no)
    if kept_under(key.name) == key.public:
        return signers_folder()
    folder = signers_folder()
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    path = folder / f"{key.public[:16]}.json"
    write_new(path, (json.dumps({"name": key.name, "public": key.public}, indent=1) + "\n").encode())
    return path


def open_key(path: str) -> Key:
    """A person's key file. Raises click.UsageError, also where others can read it."""
    found = Path(path).expanduser()
    text = read_text(found).decode("utf-8", "replace")
    if stat.S_IMODE(found.stat().st_mode) & 0o077:
        raise click.UsageError(f"{show(path)} can be read by others; a key is for one person: chmod 600 {show(path)}")
    try:
        return read_key(text)
    except ValueError as no:
        raise click.UsageError(f"{show(path)}: {no}") from None


def passphrase(file: str | None, *, new: bool = False) -> str:
    """The passphrase: from the first line of a file, or asked without an echo. Raises click.UsageError."""
    if file is not None:
        said = read_text(Path(file)).decode("utf-8", "replace").splitlines()[:1]
        text = said[0] if said else ""
    elif os.isatty(0):
        text = click.prompt("Passphrase", hide_input=True, confirmation_prompt=new, err=True)
    else:
        raise click.UsageError(
            "nobody is here to be asked for the passphrase; --passphrase-file names a file that holds it"
        )
    if new and len(text) < LEAST:
        raise click.UsageError(f"a passphrase of under {LEAST} letters is no secret; a few words are better")
    return text
