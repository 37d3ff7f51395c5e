"""Where things lie on this disk: what was shipped with the program, and the plant of whoever uses it."""

from __future__ import annotations

import os
from importlib.resources import files
from pathlib import Path

APP = "troubleshoot"


class NotShipped(FileNotFoundError):
    """The installation lacks a part of itself."""


def data(name: str) -> Path:
    """The folder shipped as `name` (``trees``, ``machines``), from a wheel, an editable install or a clone.

    A wheel holds it as ``troubleshoot/data/NAME``, or beside the rooms; a clone may keep it beside the package, where
    people of the trade edit it. Raises NotShipped when it is nowhere.
    """
    package = Path(str(files(APP)))
    for folder in (package / "data" / name, package / name, package.parent / name):
        # A room of that name (there is one called trees) is code, not data.
        if folder.is_dir() and not (folder / "__init__.py").exists():
            return folder
    raise NotShipped(f"this installation has no {name!r} folder; install it again")


def plant_folder() -> Path:
    """The plant: machines, jobs and logs of whoever works here. ``TROUBLESHOOT_PLANT`` wins. It need not exist yet."""
    if chosen := os.environ.get("TROUBLESHOOT_PLANT"):
        return Path(chosen).expanduser()
    import platformdirs

    return platformdirs.user_data_path(APP, appauthor=False) / "plant"


def practice_folder() -> Path:
    """Logs of practice and what is remembered of whoever wants it, apart from the plant. ``TROUBLESHOOT_PRACTICE`` wins."""
    if chosen := os.environ.get("TROUBLESHOOT_PRACTICE"):
        return Path(chosen).expanduser()
    import platformdirs

    return platformdirs.user_data_path(APP, appauthor=False) / "practice"


def settings_file() -> Path:
    """What this person set once: theme, mouse, keys. ``TROUBLESHOOT_CONFIG`` wins. It need not exist."""
    if chosen := os.environ.get("TROUBLESHOOT_CONFIG"):
        return Path(chosen).expanduser()
    import platformdirs

    return platformdirs.user_config_path(APP, appauthor=False) / "settings.yaml"


def crash_folder() -> Path:
    """Where crash reports are written."""
    import platformdirs

    return platformdirs.user_log_path(APP, appauthor=False)
