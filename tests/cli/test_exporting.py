"""A report goes into a new file that nobody else can read, whole or not at all, and never through a link."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from troubleshoot.cli import exporting
from troubleshoot.cli.exporting import NotWritten, write_new


@pytest.mark.parametrize("umask", [0o000, 0o022, 0o077, 0o777])
def test_nobody_else_can_read_it_whatever_the_umask(tmp_path: Path, umask: int) -> None:
    before = os.umask(umask)
    try:
        write_new(tmp_path / "r.html", b"x")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "r.html").stat().st_mode) == 0o600
    assert os.listdir(tmp_path) == ["r.html"]


def test_a_file_that_is_there_is_not_replaced_unless_it_is_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "r.html"
    path.write_text("before")
    with pytest.raises(NotWritten, match="--force"):
        write_new(path, b"after")
    assert path.read_text() == "before"
    write_new(path, b"after", force=True)
    assert path.read_text() == "after"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


@pytest.mark.parametrize("force", [False, True])
@pytest.mark.parametrize("there", [True, False], ids=["to a file", "to nothing"])
def test_a_link_is_never_followed_and_never_replaced(tmp_path: Path, force: bool, there: bool) -> None:
    elsewhere = tmp_path / "elsewhere"
    if there:
        elsewhere.write_text("mine")
    (tmp_path / "r.html").symlink_to(elsewhere)
    with pytest.raises(NotWritten, match="is a link"):
        write_new(tmp_path / "r.html", b"x", force=force)
    assert (tmp_path / "r.html").is_symlink()
    assert elsewhere.exists() is there
    assert not there or elsewhere.read_text() == "mine"


def test_a_link_put_there_at_the_last_moment_is_not_followed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.write_text("mine")
    looked = exporting._may

    def then_a_link(*args: object, **kwargs: object) -> None:
        looked(*args, **kwargs)  # type: ignore[arg-type]
        if not (tmp_path / "r.html").is_symlink():
            (tmp_path / "r.html").symlink_to(elsewhere)

    monkeypatch.setattr(exporting, "_may", then_a_link)
    with pytest.raises(NotWritten):
        write_new(tmp_path / "r.html", b"x")
    write_new_forced = tmp_path / "s.html"
    write_new_forced.symlink_to(elsewhere)
    monkeypatch.setattr(exporting, "_may", lambda *a, **k: None)
    write_new(write_new_forced, b"x", force=True)
    assert elsewhere.read_text() == "mine"


@pytest.mark.parametrize("kind", ["folder", "pipe"])
def test_what_is_no_ordinary_file_is_left_alone(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "r.html"
    path.mkdir() if kind == "folder" else os.mkfifo(path)
    with pytest.raises(NotWritten, match="no ordinary file"):
        write_new(path, b"x", force=True)


@pytest.mark.parametrize("name", ["..", ".", "", "none/r.html", "r.txt/x.html"])
def test_a_name_that_is_none_and_a_folder_that_is_none_are_said(tmp_path: Path, name: str) -> None:
    (tmp_path / "r.txt").write_text("x")
    before = sorted(os.listdir(tmp_path))
    with pytest.raises(NotWritten):
        write_new(tmp_path / name if name not in ("..", ".", "") else Path(name), b"x")
    assert sorted(os.listdir(tmp_path)) == before


@pytest.mark.parametrize("call", ["write", "fsync", "link", "fchmod"])
def test_when_the_disk_fails_nothing_half_written_has_the_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    def fails(*args: object, **kwargs: object) -> None:
        raise OSError(5, "Input/output error")

    if call == "write":
        monkeypatch.setattr(os, "fdopen", fails)
    else:
        monkeypatch.setattr(os, call, fails)
    with pytest.raises(NotWritten, match="was not written"):
        write_new(tmp_path / "r.html", b"x")
    monkeypatch.undo()
    assert os.listdir(tmp_path) == []


def test_a_drive_without_hard_links_gets_the_file_too_and_keeps_what_is_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(*args: object, **kwargs: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", none)
    write_new(tmp_path / "r.html", b"x")
    assert (tmp_path / "r.html").read_bytes() == b"x"
    with pytest.raises(NotWritten, match="--force"):
        write_new(tmp_path / "r.html", b"y")
