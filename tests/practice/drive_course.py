"""A lesson or a hidden fault lived through to its debrief on a real terminal, every screen kept, beside what the sheet owed.

First somebody plays it in this process, from the panel alone; then the same keys and words go to the program in tmux. By hand:

    python tests/practice/drive_course.py three-wire 3 --seed 1 --size 80x24 -o lesson-3.txt
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from practice.desks import desk
from practice.learner import Learner
from practice.trainee import Trainee, begin
from scenes.drive_scene import Terminal

from troubleshoot.job.sheet import Sheet
from troubleshoot.practice.exercise import choose
from troubleshoot.tui.answering import acts_while_typing, takes_typing

LESSONS = 5
STILL_S = 0.3
SAME_S = 12.0
"""After so long a key that changed nothing to be seen is taken for done; a busy machine is slower than that only at reading."""
WAIT_S = 90.0
READ_S = 0.45
MOST_PAGES = 30


@dataclass(frozen=True, slots=True)
class Step:
    """One key or one line, and what the sheet before it says."""

    said: str
    key: bool
    page: str
    owed: tuple[str, ...]
    sent: bool = False
    """The key begins an answer on this sheet, so that Enter sends it."""


@dataclass(frozen=True, slots=True)
class Seen:
    """A screen and what was done to get there."""

    said: str
    rows: tuple[str, ...]
    owed: tuple[str, ...]

    @property
    def missing(self) -> list[str]:
        """Lines of the sheet that do not show; a sheet that is longer than the screen scrolls, and the screen says so."""
        flat = "\n".join(self.rows)
        if "more" in flat and ("PgDn" in flat or "-- " in flat):
            return []
        return [line for line in self.owed if line.strip() and line.strip() not in flat]


def played(machine: str, level: int, seed: int, width: int) -> list[Step]:
    """How somebody with care comes through it: each key and line with its page."""
    its = desk(machine)
    who = Learner(its, level, seed) if level <= LESSONS else Trainee(begin(choose(its, level, seed), its))
    steps: list[Step] = []

    def owed() -> tuple[str, ...]:
        return tuple(line.text.rstrip() for line in who.practice.sheet(width, 24 if width < 100 else 40).lines)

    press, type_ = who.press, who.type

    def pressed(key: str) -> None:
        sheet = who.practice.sheet(width, 24)
        steps.append(Step(key, True, who.page, owed(), sent_with_enter(sheet, key)))
        press(key)

    def typed(words: str) -> None:
        steps.append(Step(words, False, who.page, owed()))
        type_(words)

    who.press, who.type = pressed, typed  # type: ignore[method-assign]
    who.play(600)
    for _ in range(MOST_PAGES):
        steps.append(Step("enter", True, "debrief", owed()))
        if who.practice.sheet(width, 24).done:
            break
        press("enter")
    return steps


def drive(machine: str, level: int, seed: int, width: int, height: int, folder: Path) -> list[Seen]:
    """The same on a terminal. AssertionError with the screen where the program does not go along."""
    steps = played(machine, level, seed, width)
    terminal = Terminal(
        width, height, folder, {"TROUBLESHOOT_PRACTICE": str(folder / "practice")},
        ("practice", machine, "--level", str(level), "--seed", str(seed)),
    )  # fmt: skip
    seen: list[Seen] = []
    typing, said = False, f"practice {machine} --level {level} --seed {seed}"
    try:
        rows: tuple[str, ...] = ()
        for step in steps:
            rows = _still(terminal, rows, step, said.removesuffix(", Enter") if said.endswith(", Enter") else "")
            seen.append(Seen(said, rows, step.owed))
            if step is steps[-1]:
                break
            if step.page == "panel" and not step.key and not typing:
                terminal.press("t")
                rows = _still(terminal, rows, step)
                typing = True
            if step.key:
                if step.said == "c":
                    time.sleep(READ_S)
                    while any("-- caution:" in row for row in terminal.rows()):
                        terminal.press("NPage")
                        time.sleep(READ_S)
                        seen.append(Seen("PgDn", terminal.rows(), ()))
                terminal.press({"enter": "Enter", "escape": "Escape"}.get(step.said, step.said))
                if step.sent or (step.page == "panel" and typing and step.said != "."):
                    terminal.press("Enter")
            else:
                terminal.type(step.said)
            said = f"key {step.said}" if step.key else f"{step.said}, Enter"
        return seen
    except AssertionError as stuck:
        text = "\n\n".join(f"== {s.said}\n" + "\n".join(s.rows) for s in seen[-3:])
        raise AssertionError(f"{stuck}\nafter {said}; before it:\n{text}\nscreen {len(seen)} of {len(steps)}") from None
    finally:
        terminal.close()


def sent_with_enter(sheet: Sheet, key: str) -> bool:
    """Whether the entry has the first hand on this key, so that it is sent like any word."""
    has = takes_typing(sheet) and sheet.entry is not None and not sheet.entry.rows_first
    return has and len(key) == 1 and not acts_while_typing(sheet, key)


def _still(terminal: Terminal, before: tuple[str, ...], step: Step, typed: str = "") -> tuple[str, ...]:
    """The screen once it stands and is the page of this step: another than before, or the same for so long that nothing new
    was to be shown. typed: is not to stand in the entry any more."""
    begun, last, since = time.monotonic(), (), time.monotonic()
    owed = [line.strip() for line in step.owed if line.strip()]
    while time.monotonic() < begun + WAIT_S:
        now = terminal.rows()
        if now != last:
            last, since = now, time.monotonic()
        flat = "\n".join(now)
        there = "saved" in now[0] and (step.page == "panel") == now[0].startswith("PANEL")
        there = there and sum(line in flat for line in owed) >= min(len(owed), height_share(len(owed)))
        there = there and not (typed and any(f": {typed}" in row for row in now[-5:]))
        working = {"saving", "working"} & set(" ".join(now[-3:]).split())
        stood = time.monotonic() - since
        if there and not working and stood > (STILL_S if now != before else SAME_S):
            return now
        time.sleep(STILL_S / 2)
    missing = [line for line in owed if line not in "\n".join(terminal.rows())]
    raise AssertionError(f"the page never came; missing {missing}:\n" + "\n".join(terminal.rows()))


def height_share(lines: int) -> int:
    """So many lines of a page must show for it to be that page; a long one scrolls."""
    return max(1, min(lines - 2, 8))


def main() -> None:
    """Drive it by hand; what the sheets owe and the screens do not show goes to stderr."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("machine")
    parser.add_argument("level", type=int)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--size", default="80x24")
    parser.add_argument("-o", "--output", type=Path)
    given = parser.parse_args()
    width, height = map(int, given.size.split("x"))
    with tempfile.TemporaryDirectory() as folder:
        seen = drive(given.machine, given.level, given.seed, width, height, Path(folder))
    text = "\n\n".join(f"== {s.said}\n" + "\n".join(s.rows) for s in seen)
    missing = [f"{s.said}: {line!r}" for s in seen for line in s.missing]
    sys.stderr.write(f"{len(seen)} screens, {len(missing)} lines that do not show\n" + "\n".join(missing[:40]) + "\n")
    if given.output:
        given.output.write_text(text + "\n", encoding="utf-8")
    else:
        sys.stdout.write(text + "\n")


if __name__ == "__main__":
    main()
