"""``troubleshoot paths``: where everything lies."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path

import click

from troubleshoot.cli.data import NotShipped, crash_folder, data, plant_folder, practice_folder, settings_file
from troubleshoot.cli.say import say


@click.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def paths(as_json: bool) -> None:
    """Print where plant, shipped data, crash reports and settings lie.

    TROUBLESHOOT_PLANT chooses another plant folder, TROUBLESHOOT_CONFIG another settings file.

    Example: troubleshoot paths --json
    """
    found = {"plant": str(plant_folder()), **{name: _shipped(name) for name in ("machines", "circuits", "trees")}}
    found["practice"] = str(practice_folder())
    found["crash reports"] = str(crash_folder())
    found["settings"] = str(settings_file())
    found["index"] = index_shown()
    if as_json:
        say(json.dumps(found, indent=1))
        return
    from troubleshoot.text.showing import show

    for name, path in found.items():
        there = (
            ""
            if path and (Path(path).exists() or "://" in path or path == "off")
            else "  (not there yet)"
            if path
            else "missing: install it again"
        )
        by = "  (TROUBLESHOOT_PLANT)" if name == "plant" and os.environ.get("TROUBLESHOOT_PLANT") else ""
        say(f"{name:<14} {show(path or '')}{there}{by}")


def index_shown() -> str:
    """Where the index lies, without a password; ``off`` where none is kept."""
    from troubleshoot.cli.index_on_disk import index_place

    place = index_place()
    # A password in the address is nobody's business here.
    return re.sub(r"(://[^:/@]*):[^@]*@", r"\1:***@", place) if place else "off"


def _shipped(name: str) -> str | None:
    try:
        return str(data(name))
    except NotShipped:
        return None
