"""A scene of the night on a real terminal: a machine has hidden faults, a person with the program in front of them finds them.

The program itself runs in tmux; what the person answers is computed by the model with the fault in it, never by what the
program believes. Every screen is kept, with one line saying what was typed to get there. By hand:

    python tests/scenes/drive_scene.py b --size 80x24 -o scene-b-80x24.txt
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shlex
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from troubleshoot.circuit.model import NamedSituation
from troubleshoot.cli.machines_on_disk import open_desk
from troubleshoot.evidence.seen import Light, Look, Meter
from troubleshoot.job.asking import answers_of, due_question
from troubleshoot.job.decided import Ui
from troubleshoot.job.due import caution_of
from troubleshoot.job.folding import fold
from troubleshoot.job.lists import DARK, item_keys, lights_of, listed, marked
from troubleshoot.job.rehearse import Bench
from troubleshoot.job.stage import Stage, stage_of
from troubleshoot.job.state import State
from troubleshoot.job.view import view
from troubleshoot.log.verify import read_events
from troubleshoot.safety.doings import UNBIDDEN

MACHINE = "belt-7"


@dataclass(frozen=True, slots=True)
class Scene:
    """What happens on one night, beside what a careful person answers."""

    name: str
    complaint: str
    faults: tuple[str, ...]
    breaks: tuple[tuple[Callable[[State, Stage], bool], tuple[str, ...]], ...] = ()
    """When something else is done once, and its keys; words with a blank or of more than one letter are typed."""
    ends: str = "mended"
    door: tuple[str, ...] = ()
    """What is pressed at the door of a machine that nobody described."""
    machine: str = MACHINE
    told: Mapping[str, str] = field(default_factory=dict)
    """Keys of the answers to the questions that somebody here knows."""


def _metering(state: State, stage: Stage) -> bool:
    return stage.step is not None and stage.name == "search" and any(isinstance(i, Meter) for i in stage.step.items)


def _looks_into_the_panel(state: State, stage: Stage) -> bool:
    tags = [
        i.name.split(" ")[0]
        for i in (stage.step.items if stage.step is not None else ())
        if isinstance(i, Light | Look)
    ]
    return bool({"KM1", "K1", "FR1", "PS1", "A1"} & set(tags))


def _needs_the_panel(state: State, stage: Stage) -> bool:
    return (
        _looks_into_the_panel(state, stage)
        or _metering(state, stage)
        or (stage.name in ("confirm", "isolate") and stage.step is not None)
    )


def _locked(state: State, stage: Stage) -> bool:
    return "lock Q1" in state.isolation and stage.name == "isolate"


def _watched(state: State, stage: Stage) -> bool:
    return stage.name == "watch"


CANNOT_BY_PERMIT = ("n", "2", "1")
SEVEN_ANSWERS = ("1", "2", "1", "4", "0", "1", "2")
"""208 V between lines, controller, relay, 120 V from line and neutral, overload contact not known, no brake, no switch."""
SCENES = {
    "a": Scene(
        "nobody described it; where its overload contact sits is not known", "belt 12 dead",
        ("FR1 95-96 open | overload after",), (), "mended", ("1", *SEVEN_ANSWERS), "belt-12",
    ),
    "b": Scene("it does not start, a wire is open", "conv dead", ("12:K1:14>FR1:95 open",)),
    "c": Scene(
        "it stops about twice a shift, runs when he arrives, and stops while he stands there", "belt 7 stops now and then",
        ("12:K1:14>FR1:95 open",), ((_watched, ("f\n",)),), told={"last": "1", "now": "2", "going": "2"},
    ),
    "d": Scene(
        "it trips its overload within half a minute, the gap of the brake is worn", "belt 7 trips the overload",
        ("YB1 gap worn",), told={"last": "3", "tripped after": "2", "going": "3", "load": "1", "hot": "2"},
    ),
    "e": Scene("it does not stop, the interposing relay is welded", "belt 7 wont stop", ("K1 13-14 welded",)),
    "f": Scene("two faults: a fuse and a contact", "conv dead", ("F6 open", "K1 13-14 open")),
    "g": Scene(
        "nobody may open the panel before the permit is there", "conv dead", ("KM1 coil open",),
        tuple((_needs_the_panel, CANNOT_BY_PERMIT) for _ in range(20)), "waiting: permit",
    ),
    "h": Scene(
        "handed over at six, a wire lifted", "conv dead", ("12:K1:14>FR1:95 open",),
        ((_locked, ("e", "8", "k", "wire 13 lifted at KM1:A1", "Escape", "e", "7", "JS; told the shift lead", "y", "JS")),),
    ),
}  # fmt: skip

NOTHING: Mapping[str, str] = {}
MOST_SCREENS = 150
WAIT_S = 120.0
STILL_S = 0.06
READ_S = 0.4
"""A caution is given its moment before it is accepted."""
AGAIN_S = 10.0
"""A key that did nothing for so long was not taken."""


@dataclass(frozen=True, slots=True)
class Screen:
    """One capture and what was typed to get to it."""

    typed: str
    stage: str
    rows: tuple[str, ...]
    unread: bool
    """A caution on it waits to be accepted."""
    owed: tuple[str, ...] = ()
    """The lines that the job has to show here; each must be on the screen whole."""

    @property
    def saved(self) -> int:
        """The number the title row claims to be on disk."""
        found = re.search(r"saved (\d+)\s*$", self.rows[0])
        return int(found.group(1)) if found else -1

    @property
    def text(self) -> str:
        return "\n".join(row.rstrip() for row in self.rows)


class Terminal:
    """The program in a tmux of its own."""

    def __init__(
        self, width: int, height: int, plant: Path, environment: dict[str, str], words: Sequence[str] = ()
    ) -> None:
        self._socket = f"scene-{os.getpid()}-{time.monotonic_ns()}"
        variables = {
            "TERM": "xterm-256color",
            "TROUBLESHOOT_PLANT": str(plant),
            "TROUBLESHOOT_WHO": "RT",
            **environment,
        }
        # A test run puts sizes into the environment, and the screen library believes them more than the terminal.
        command = " ".join(["env", "-u", "COLUMNS", "-u", "LINES", *(f"{k}={shlex.quote(v)}" for k, v in variables.items()),
                            shlex.quote(sys.executable), "-m", "troubleshoot", *map(shlex.quote, words)])  # fmt: skip
        self._tmux("-f", "/dev/null", "new-session", "-d", "-s", "b", "-x", str(width), "-y", str(height),
                   "-c", str(plant), f"{command}; echo EXIT $?; sleep 600")  # fmt: skip
        self._tmux("set", "-g", "status", "off")
        self._tmux("resize-window", "-t", "b", "-x", str(width), "-y", str(height))

    def _tmux(self, *words: str) -> str:
        return subprocess.run(
            ["tmux", "-L", self._socket, *words], check=True, capture_output=True, text=True, timeout=20
        ).stdout

    def press(self, key: str) -> None:
        """One key: a character, or tmux's name of it."""
        self._tmux("send-keys", "-t", "b", *(("-l", key) if len(key) == 1 else (key,)))

    def type(self, words: str) -> None:
        """Words and Enter."""
        self._tmux("send-keys", "-t", "b", "-l", words)
        self._tmux("send-keys", "-t", "b", "Enter")

    def rows(self) -> tuple[str, ...]:
        """What shows now."""
        return tuple(self._tmux("capture-pane", "-p", "-t", "b").split("\n")[:-1])

    def settled(self, words: str) -> tuple[str, ...]:
        """The screen once it shows `words` and has stopped changing."""
        until, before = time.monotonic() + WAIT_S, ()
        while time.monotonic() < until:
            now = self.rows()
            if words in now[0] and now == before and not {"saving", "working"} & set(now[-2].split()):
                return now
            before = now
            time.sleep(STILL_S)
        raise AssertionError(f"{words!r} never showed:\n" + "\n".join(self.rows()))

    def changed(self, words: str = "", *, other: tuple[str, ...] = ()) -> tuple[str, ...]:
        """The screen once it is another than that, shows these words anywhere, and has stopped changing."""
        until, before = time.monotonic() + WAIT_S, ()
        while time.monotonic() < until:
            now = self.rows()
            if now == before and now != other and words in "\n".join(now):
                return now
            before = now
            time.sleep(STILL_S)
        raise AssertionError(f"{words!r} never showed:\n" + "\n".join(self.rows()))

    def close(self) -> None:
        """End this tmux and everything in it."""
        subprocess.run(["tmux", "-L", self._socket, "kill-server"], capture_output=True, timeout=20)


@dataclass(frozen=True, slots=True)
class Answer:
    """What a person does next: a key, or words."""

    said: str
    key: bool

    def __str__(self) -> str:
        return f"key {self.said}" if self.key else f"{self.said}, Enter"


def _read(bench: Bench, meters: Sequence[Meter], named: NamedSituation) -> str:
    """The figures alone, as one types them with gloves on."""
    return re.sub(r" (V|A|ohm)\b", "", bench.typed(meters, named))


def answer(bench: Bench, state: State, stage: Stage, told: Mapping[str, str] = NOTHING) -> Answer:
    """A careful person who reads the card and looks at the faulty machine; told: what somebody knows to say."""
    desk = bench.desk
    waiting = caution_of(desk, state, stage)
    if waiting is not None and state.accepted != waiting[1]:
        return Answer("c", True)
    match stage.name:
        case "putback":
            return Answer("1", True)
        case "handback" if state.temporary:
            return Answer("1", True)
        case "handback" if desk.stop_failed(state):
            return Answer("Jo Smit", False)
        case "people" | "handback" | "stop" | "waiting" | "reset":
            return Answer("y", True)
        case "tried":
            return Answer(bench.stops_tried(state) or "Enter", True)
        case "last":
            question = due_question(state)
            assert question is not None
            if question.id in told:
                return Answer(told[question.id], True)
            return Answer("2" if state.complaint not in UNBIDDEN else str(len(answers_of(question, state)) + 1), True)
        case "power":
            return Answer("c", True)
        case "repair":
            return Answer("terminal was loose" if stage.suspect and stage.suspect.broken else "y", False)
        case "isolate":
            assert stage.isolation is not None
            step = next(s for s in stage.isolation.steps if s.id == stage.next)
            if step.ask == "done":
                return Answer("y", True)
            off = NamedSituation("off", "", stage.isolation.situation)
            return Answer(_read(bench, step.readings, desk.at_rest if all(step.expects) else off), False)
    assert stage.check is not None or stage.step is not None, stage.name
    named = stage.check.situation if stage.check else stage.step.situation  # type: ignore[union-attr]
    items = [i for i, _ in stage.check.expects] if stage.check else list(stage.step.items)  # type: ignore[union-attr]
    lights = lights_of(desk, stage)
    if lights and all(bench.shown(Light(n), named) == "off" for n in lights):
        if any(marked(desk, state, stage, Light(n))[0] != "off" for n in lights):
            return Answer(DARK, True)
    for key, item in zip(item_keys(stage), listed(stage), strict=False):
        if marked(desk, state, stage, item)[0] != bench.shown(item, named):
            return Answer(key, True)
    meters = [i for i in items if isinstance(i, Meter)]
    return Answer(_read(bench, meters, named), False) if meters else Answer("Enter", True)


def drive(
    scene: Scene, width: int, height: int, screens: list[Screen], *, plant: Path,
    environment: dict[str, str] | None = None,
) -> None:  # fmt: skip
    """Live through one job to its end, adding to `screens`. AssertionError with the screen where it gets stuck."""
    todo = list(scene.breaks)
    terminal = Terminal(width, height, plant, environment or {})
    try:
        screens.append(Screen("troubleshoot", "front", terminal.settled("saved 0"), False))
        terminal.type(scene.complaint)
        typed, key = f"{scene.complaint}, Enter", ""
        for tap, one in enumerate(scene.door):
            first = tap == 0
            before = terminal.changed("I don't know" if first else "question ")
            screens.append(Screen(typed, "front", before, False))
            terminal.press(one)
            typed = str(Answer(one, True))
            terminal.changed(other=before)
        terminal.settled("saved 2" if scene.door else "saved 1")
        log = next(plant.glob(f"{scene.machine}/jobs/*.jsonl"))
        desk = open_desk(str(plant / scene.machine) if scene.door else scene.machine)
        truths = tuple(s for s in desk.machine.suspects if s.id in scene.faults)
        assert len(truths) == len(scene.faults)
        bench = Bench(desk, truths, random.Random(0))
        while len(screens) < MOST_SCREENS:
            events, _ = read_events(log)
            state = fold(events)
            stage = stage_of(desk, state)
            rows = terminal.settled(f"saved {events[-1].n}")
            waiting = caution_of(desk, state, stage)
            unread = stage.name == "power" or (waiting is not None and state.accepted != waiting[1])
            owed = tuple(line.text.rstrip() for line in view(desk, state, Ui(), width, events[-1].n).lines)
            screens.append(Screen(typed, stage.name, rows, unread, owed))
            if stage.name in ("ended", "stuck"):
                return
            mended = {str(e.data["group"]) for e in events if e.kind == "repaired"}
            truths = tuple(t for t in truths if t.group not in mended)
            due = next((k for k, (when, _) in enumerate(todo) if when(state, stage)), None)
            if due is not None:
                typed = _aside(terminal, log, todo.pop(due)[1], screens, typed)
                key = ""
                continue
            bench.there(truths if state.phase == "failing" else ())
            said = answer(bench, state, stage, scene.told)
            if said.key:
                if said.said in ("c", key):
                    time.sleep(READ_S)  # a key held down counts once, and a caution wants to be read
                if said.said == "c":
                    while any("-- caution:" in row for row in terminal.rows()):
                        terminal.press("NPage")
                        time.sleep(READ_S)
                terminal.press(said.said)
            else:
                terminal.type(said.said)
            typed, key = str(said), said.said
            _grown(terminal, log, len(events), said)
        raise AssertionError("going in circles:\n" + screens[-1].text)
    finally:
        terminal.close()


def _aside(terminal: Terminal, log: Path, keys: Sequence[str], screens: list[Screen], typed: str) -> str:
    """Something that is done beside what the sheet asks: keys and words one after the other, every screen kept."""
    for one in keys:
        # Where words can be typed, one letter with Enter is the key of that letter.
        said = Answer(one.rstrip("\n"), len(one) == 1 or one == "Escape")
        before, events = terminal.rows(), log.read_bytes().count(b"\n")
        if said.key:
            terminal.press(said.said)
        else:
            terminal.type(said.said)
        until = time.monotonic() + WAIT_S
        while terminal.rows() == before and time.monotonic() < until:
            time.sleep(STILL_S)
        rows = terminal.settled("saved")
        typed = f"{typed}; {said}" if typed and one is keys[0] else str(said)
        if one is not keys[-1]:
            screens.append(Screen(typed, "aside", rows, False))
    while log.read_bytes().count(b"\n") <= events:  # the last of them is an answer
        time.sleep(STILL_S)
    return typed


def _grown(terminal: Terminal, log: Path, events: int, said: Answer) -> None:
    """Wait until the log has more than so many events; a key that did nothing is pressed again, as a person would."""
    began = again = time.monotonic()
    while log.read_bytes().count(b"\n") <= events:
        now = time.monotonic()
        if now > began + WAIT_S:
            raise AssertionError(f"{said} did nothing:\n" + "\n".join(terminal.rows()))
        if said.key and now > again + AGAIN_S:
            terminal.press(said.said)
            again = now
        time.sleep(0.02)


def written(screens: Sequence[Screen], title: str) -> str:
    """Every screen under the line that says what was typed."""
    out = [title]
    for number, screen in enumerate(screens, 1):
        out += ["", f"[{number}] typed: {screen.typed}", "-" * max(map(len, screen.rows), default=0), screen.text]
    return "\n".join(out) + "\n"


def main() -> None:
    """Drive it by hand."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scene", choices=SCENES)
    parser.add_argument("--size", default="80x24")
    parser.add_argument("--set", action="append", default=[], metavar="NAME=VALUE", help="environment of the program")
    parser.add_argument("-o", "--output", type=Path)
    given = parser.parse_args()
    width, height = map(int, given.size.split("x"))
    screens: list[Screen] = []
    try:
        with tempfile.TemporaryDirectory() as folder:
            drive(
                SCENES[given.scene], width, height, screens, plant=Path(folder),
                environment=dict(pair.split("=", 1) for pair in given.set),
            )  # fmt: skip
    finally:
        _write(screens, given)


def _write(screens: Sequence[Screen], given: argparse.Namespace) -> None:
    scene = SCENES[given.scene]
    hidden = f"hidden fault: {', '.join(scene.faults)}"
    text = written(screens, f"Scene ({given.scene}) at {given.size}: {scene.machine}, {scene.name}; {hidden}")
    if given.output:
        given.output.write_text(text, encoding="utf-8")
    else:
        sys.stdout.write(text)


if __name__ == "__main__":
    main()
