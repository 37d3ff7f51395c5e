"""``troubleshoot doctor``: what this terminal and this installation can do, with the reasons."""

from __future__ import annotations

import json
import os
import platform
import shutil
import sys
from datetime import datetime
from importlib import metadata
from pathlib import Path

import click

from troubleshoot import __version__
from troubleshoot.cli.say import say

LIBRARIES = (
    "textual",
    "rich",
    "click",
    "pyyaml",
    "rapidfuzz",
    "lark",
    "defusedxml",
    "numpy",
    "platformdirs",
    "jinja2",
    "cryptography",
    "orjson",
    "sqlalchemy",
)
EXTRAS = {
    "typst": "charts and reports as PDF: pip install 'troubleshoot[pdf]'",
    "psycopg": "the index in PostgreSQL: pip install 'troubleshoot[postgres]'",
}
_BEFORE = 2024
"""No clock that is right says an earlier year than that of the first release."""
GLYPHS = "lines -| corners + blocks # lamps (*) ( )   \u2500\u2502\u250c\u2510\u2514\u2518\u253c \u2588 \u25a0 \u25cf \u2190\u2192\u2191\u2193 \u00d7 \u00b1 \u2264 \u2265 \u00b0 \u00b5 \u03a9"


@click.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def doctor(as_json: bool) -> None:
    """Print what this terminal and this installation can do: screen and why, encoding, folders, index, clock, versions, and what will be missing.

    Example: troubleshoot doctor --json
    """
    found = examine()
    if as_json:
        say(json.dumps(found, indent=1))
        return
    from troubleshoot.text.showing import show

    for heading, rows in found.items():
        say(f"{heading}:")
        for name, value in rows.items():
            if isinstance(value, list):
                say("".join(f"  - {show(line)}\n" for line in value), nl=False)
            else:
                say(f"  {name:<16} {show(str(value))}")
    say(f"characters: {GLYPHS}")


def examine() -> dict[str, dict[str, object]]:
    """What was found, as data: a heading, and below it names and what was found of each."""
    from troubleshoot.tui.start import this_terminal

    theme, settings = _settings()
    terminal = this_terminal(theme)
    size = shutil.get_terminal_size()
    return {
        "terminal": {
            "class": "line mode" if terminal.plain else "full screen",
            "theme": terminal.look.value,
            "characters": terminal.glyphs.value,
            "TERM": os.environ.get("TERM", "not set"),
            "size": f"{size.columns}x{size.lines}",
            "why": list(terminal.why),
        },
        "encoding": {
            name: str(getattr(stream, "encoding", None))
            for name, stream in (("stdin", sys.stdin), ("stdout", sys.stdout), ("stderr", sys.__stderr__))
        },
        "installation": {"YAML reader": _yaml_reader(), "plant": _plant(), "settings": settings},
        "folders": _folders(),
        "extras": {name: _version(name) for name in EXTRAS},
        "clock": {"now": datetime.now().astimezone().isoformat(timespec="seconds")},
        "will be missing": {"list": _missing(terminal.plain)},
        "versions": {
            "troubleshoot": __version__,
            "Python": platform.python_version(),
            "system": platform.platform(),
            **{name: _version(name) for name in LIBRARIES},
        },
    }


def _folders() -> dict[str, object]:
    """Where things are shipped and kept, and whether that works here."""
    from troubleshoot.cli.data import NotShipped, crash_folder, data, practice_folder
    from troubleshoot.cli.paths import index_shown

    found: dict[str, object] = {}
    for name in ("machines", "circuits", "trees"):
        try:
            found[name] = f"{sum(1 for _ in data(name).glob('*.yaml'))} files"
        except NotShipped as why:
            found[name] = f"MISSING: {why}"
    for name, folder in (("practice", practice_folder()), ("crash reports", crash_folder())):
        found[name] = _writable(folder)
    found["index"] = index_shown()
    return found


def _missing(plain: bool) -> list[str]:
    """Sentences on what will not work here, and what would help; one that says so where nothing is missing."""
    from troubleshoot.cli.data import NotShipped, data, plant_folder

    out = [f"{what} ({name} is not installed)" for name, what in EXTRAS.items() if _version(name) == "missing"]
    out += [f"{name}: install it again" for name in LIBRARIES if _version(name) == "missing"]
    for name in ("machines", "circuits", "trees"):
        try:
            data(name)
        except NotShipped as why:
            out.append(str(why))
    if plain:
        out.append("the full screen: here it is lines (why stands under terminal)")
    if "CANNOT" in _writable(plant_folder()):
        out.append("records: the plant folder cannot be written; TROUBLESHOOT_PLANT names another")
    if "utf" not in str(getattr(sys.stdout, "encoding", "")).lower():
        out.append(
            "lines and arrows as one character: the output is not UTF-8; PYTHONIOENCODING=utf-8 if the font has them"
        )
    if datetime.now().year < _BEFORE:
        out.append("times in records: the clock of this machine is wrong")
    return out or ["nothing"]


def _yaml_reader() -> str:
    import yaml

    return "fast (libyaml)" if getattr(yaml, "__with_libyaml__", False) else "slow (no libyaml): 7 times slower"


def _settings() -> tuple[str, str]:
    """The theme that is set, and the settings file in words; here a mistake in it is told and ends nothing."""
    from troubleshoot.cli.data import settings_file
    from troubleshoot.cli.machines_on_disk import read_text
    from troubleshoot.cli.settings import Settings, read_settings

    path = settings_file()
    if not path.exists():
        return "", f"{path}: not there, all as usual"
    found = read_settings(read_text(path), str(path))
    if isinstance(found, Settings):
        return found.theme, f"{path}: read"
    return "", "; ".join(str(problem) for problem in found)


def _plant() -> str:
    from troubleshoot.cli.data import plant_folder

    return _writable(plant_folder())


def _writable(folder: Path) -> str:
    nearest = next((path for path in (folder, *folder.parents) if path.exists()), None)
    if nearest is None or not nearest.is_dir() or not os.access(nearest, os.W_OK):
        return f"{folder}: CANNOT BE WRITTEN"
    return f"{folder}: can be written"


def _version(name: str) -> str:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return "missing"
