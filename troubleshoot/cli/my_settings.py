"""The settings file of whoever sits here, read from the disk; what is wrong with it ends the command."""

from __future__ import annotations

from troubleshoot.cli.data import settings_file
from troubleshoot.cli.machines_on_disk import read_text, shown_path, stop_with
from troubleshoot.cli.settings import Settings, read_settings


def my_settings() -> Settings:
    """The settings, the usual ones where there is no file. Every problem goes to stderr, exit code 2."""
    path = settings_file()
    if not path.exists():
        return Settings()
    found = read_settings(read_text(path), shown_path(path))
    if isinstance(found, tuple):
        stop_with(found)
        raise AssertionError
    return found
