"""``troubleshoot doctor``: what this terminal and this installation can do, with the reasons."""

from __future__ import annotations

import json
import os
import platform
import shutil
import sys
from importlib import metadata

import click

from troubleshoot import __version__
from troubleshoot.cli.say import say

LIBRARIES = ("textual", "rich", "click", "pyyaml", "rapidfuzz", "lark", "defusedxml", "numpy", "platformdirs")
GLYPHS = "lines -| corners + blocks # lamps (*) ( )   \u2500\u2502\u250c\u2510\u2514\u2518\u253c \u2588 \u25a0 \u25cf \u2190\u2192\u2191\u2193 \u00d7 \u00b1 \u2264 \u2265 \u00b0 \u00b5 \u03a9"


@click.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def doctor(as_json: bool) -> None:
    """Print the terminal class chosen and why, the encoding, the versions and whether the fast YAML reader is there."""
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
    """What was found, as data: ``terminal``, ``encoding``, ``installation``, ``versions``."""
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
        "versions": {
            "troubleshoot": __version__,
            "Python": platform.python_version(),
            "system": platform.platform(),
            **{name: _version(name) for name in LIBRARIES},
        },
    }


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

    folder = plant_folder()
    nearest = next((path for path in (folder, *folder.parents) if path.exists()), None)
    if nearest is None or not os.access(nearest, os.W_OK):
        return f"{folder}: CANNOT BE WRITTEN"
    return f"{folder}: can be written"


def _version(name: str) -> str:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return "missing"
