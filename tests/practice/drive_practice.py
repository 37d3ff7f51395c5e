"""A hidden fault practised on a real terminal: every screen kept, the person answering from what the screen shows.

By hand: python tests/practice/drive_practice.py --size 80x24 -o practice.txt
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

from scenes.drive_scene import Answer, Screen, Terminal, written

COMMAND = ("practice", "three-wire", "--level", "opens", "--seed", "3")
LINES: tuple[Answer, ...] = tuple(
    Answer(said, key)
    for said, key in (
        ("Enter", True), ("y", True), ("8", True), ("5", True), ("6", True), ("Enter", True), ("Enter", True), ("Enter", True), (".", True),
        ("k", True), ("k", True), ("p", True), ("k", True), ("t", True), ("open panel; press S1", False), (".", False),
    )
)  # fmt: skip
"""Begin, people, last, the load, the smell, walk round; two lists predicted or looked at; to the panel and its meter."""
STILL_S = 0.25
WAIT_S = 90.0


def _shown(terminal: Terminal, before: tuple[str, ...]) -> tuple[str, ...]:
    """The screen once it has changed and stands."""
    until, last = time.monotonic() + WAIT_S, ()
    while time.monotonic() < until:
        now = terminal.rows()
        if now != before and now == last and "saved" in now[0] and "..." not in now[-2]:
            return now
        last = now
        time.sleep(STILL_S)
    raise AssertionError("nothing came of it:\n" + "\n".join(terminal.rows()))


def drive(width: int, height: int, folder: Path, lines: tuple[Answer, ...] = LINES) -> list[Screen]:
    """Play the lines; every screen with what was typed to get there."""
    environment = {"TROUBLESHOOT_PRACTICE": str(folder / "practice")}
    terminal = Terminal(width, height, folder, environment, COMMAND)
    try:
        rows = _shown(terminal, ())
        screens = [Screen("troubleshoot " + " ".join(COMMAND), "front", rows, False)]
        for line in lines:
            if line.key:
                terminal.press(line.said)
            else:
                terminal.type(line.said)
            rows = _shown(terminal, rows)
            screens.append(Screen(str(line), "", rows, False))
        return screens
    finally:
        terminal.close()


def main() -> None:
    """Drive it by hand."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--size", default="80x24")
    parser.add_argument("-o", "--output", type=Path)
    given = parser.parse_args()
    width, height = map(int, given.size.split("x"))
    with tempfile.TemporaryDirectory() as folder:
        text = written(drive(width, height, Path(folder)), f"Practice at {given.size}: {' '.join(COMMAND)}")
    if given.output:
        given.output.write_text(text, encoding="utf-8")
    else:
        sys.stdout.write(text)


if __name__ == "__main__":
    main()
