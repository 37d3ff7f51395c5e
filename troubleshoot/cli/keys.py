"""``troubleshoot keys``: the table of keys, and where this person has moved them."""

from __future__ import annotations

import json

import click

from troubleshoot.cli.say import say


@click.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON list.")
def keys(as_json: bool) -> None:
    """Print every key: where it is, its name for the settings file, what it does.

    A key that can be moved has its name in front. Letters go under `keys:` in the settings file, whose place
    `troubleshoot paths` tells: `keys: {why: h}`.

    Example: troubleshoot keys --json
    """
    from troubleshoot.cli.my_settings import my_settings
    from troubleshoot.job.keys import KEYS
    from troubleshoot.review.keys import REVIEW_KEYS, WHERE
    from troubleshoot.tui.answering import named
    from troubleshoot.tui.keymap import keymap

    moved = keymap(my_settings().keys)
    assert not isinstance(moved, tuple), "the settings were read without a problem"
    rows = [
        {
            "name": key.name,
            "key": moved.pressed(key.usual) if key.movable else key.usual,
            "usual": key.usual,
            "movable": key.movable,
            "where": key.where,
            "does": key.does,
        }
        for key in KEYS.values()
    ]
    rows += [
        {
            "name": f"review {key.label}",
            "key": key.key,
            "usual": key.key,
            "movable": False,
            "where": WHERE,
            "does": key.does,
        }
        for key in REVIEW_KEYS
    ]
    if as_json:
        say(json.dumps(rows, indent=1, ensure_ascii=False))
        return
    for where in dict.fromkeys(row["where"] for row in rows):
        say(f"{str(where).capitalize()}:")
        for row in rows:
            if row["where"] == where:
                name = f"{row['name']}:" if row["movable"] else ""
                was = f" (usually {row['usual']})" if row["key"] != row["usual"] else ""
                say(f"  {named(str(row['key'])):<14} {name:<14} {row['does']}{was}")
    say("Digits and letters of rows choose those rows.")
