"""Putting a machine into the plant folder: whole or not at all, and on the disk before anybody is told that it is."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from troubleshoot.cli.data import plant_folder
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.circuit.model import Circuit
    from troubleshoot.evidence.baseline import Good

_FOLDER, _FILE = 0o750, 0o640
"""As the logs of jobs: whoever works here, and their group."""


def folders() -> frozenset[str]:
    """Names in the plant folder, in small letters: some disks do not tell them from capitals."""
    folder = plant_folder()
    return frozenset(path.name.casefold() for path in folder.iterdir()) if folder.is_dir() else frozenset()


def save_machine(machine: str, text: str, made_from: str = "") -> Circuit:
    """Write the circuit file of a machine and give it as it reads back. Raises OSError with words.

    made_from: the machine or ready circuit it was copied from; a program that lies beside that one's file is copied too.
    A circuit file that was there before stays beside the new one as ``circuit-before-N.yaml``.
    """
    from troubleshoot.circuit.load import load_circuit
    from troubleshoot.cli.machines_on_disk import CIRCUIT

    loaded = load_circuit(text, f"{machine}/{CIRCUIT}")
    if isinstance(loaded, tuple):
        raise OSError(f"The description of {show(machine)} does not read back and was not saved: {loaded[0]}")
    folder = plant_folder() / machine
    folder.mkdir(parents=True, exist_ok=True, mode=_FOLDER)
    if loaded.program is not None and loaded.program.file and not (folder / loaded.program.file).is_file():
        _copy_program(folder, loaded.program.file, made_from)
    path = folder / CIRCUIT
    if path.is_file():
        kept = next(p for n in range(1, 1_000_000) if not (p := folder / f"circuit-before-{n}.yaml").exists())
        put(kept, path.read_bytes())
    put(path, text.encode("utf-8"))
    _lasting(folder.parent)
    return loaded


def _copy_program(folder: Path, file: str, made_from: str) -> None:
    from troubleshoot.cli.machines_on_disk import machine_files, read_text, ready_files

    source = {**ready_files(), **machine_files()}.get(made_from)
    if source is None:
        raise OSError(f"The program {show(file)} is not there.")
    there = folder / file
    there.parent.mkdir(parents=True, exist_ok=True, mode=_FOLDER)
    put(there, read_text(source.path.parent / file))


def keep_baseline(machine: str, goods: tuple[Good, ...]) -> None:
    """Add good readings to those of a machine. Raises OSError."""
    from troubleshoot.cli.machines_on_disk import BASELINE
    from troubleshoot.evidence.baseline import line

    folder = plant_folder() / machine
    folder.mkdir(parents=True, exist_ok=True, mode=_FOLDER)
    path = folder / BASELINE
    before = path.read_text(encoding="utf-8") if path.is_file() else ""
    put(path, (before + "".join(f"{line(good)}\n" for good in goods)).encode("utf-8"))


def put(path: Path, content: bytes) -> None:
    """Replace a file by another content in one step: a power cut leaves the old one or the new one, never half of it."""
    fd, beside = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(fd, "wb") as file:
            file.write(content)
            file.flush()
            os.fchmod(file.fileno(), _FILE)
            os.fsync(file.fileno())
        os.replace(beside, path)
    except BaseException:
        Path(beside).unlink(missing_ok=True)
        raise
    _lasting(path.parent)


def _lasting(folder: Path) -> None:
    """Make the names in a folder last through a power cut."""
    fd = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)
