"""A runner that follows a script of sheets: enough of a job to press, type and accept things, and no rule of the trade.

Every input is appended, with the time, to `said` and, when a file is given, to that file before `give` returns.
Run by itself (``python scripted.py [--plain]``) it is a program for tests with a real terminal.
"""

from __future__ import annotations

import os
import sys
import time
import traceback
from dataclasses import dataclass, field, replace
from pathlib import Path

from troubleshoot.job.sheet import Entry, Input, Line, LiveKey, Pressed, Role, Sheet, Typed

UNDO = LiveKey("u", "undo", "takes the last answer back; it stays in the record")
WHY = LiveKey("w", "why", "says why this test is the next one")

WELCOME = Sheet(
    id="who",
    title=" CONVEYOR 3   power ON  doors: closed   black lead: free",
    lines=(
        Line("Before anything else: is anyone in it, on it or under it?", Role.TASK),
        Line("  1  nobody, I looked", Role.ROW, "1"),
        Line("  2  somebody: wait for them", Role.ROW, "2"),
        Line("", Role.BLANK),
        Line("What the operator remembers helps more than a reading.", Role.NOTE),
    ),
    keys=(WHY, UNDO),
    entry=None,
    saved=1,
)
CAUTION = Sheet(
    id="trip-1",
    title=" CONVEYOR 3   power ON  doors: panel OPEN   black lead: NB:1 (parked)",
    lines=(
        Line(" CAUTION  NEW: can START if a bad joint makes. 120 V at the points, 208 V 4 cm", Role.DANGER),
        Line(" left of them. CAT III 600 V meter. PPE per site assessment. One hand.", Role.CAUTION),
        Line(" [c] I have read this                                (typing unlocks after it)", Role.CAUTION, "c"),
        Line(" Trip 2 of about 2: Start held by helper, red lead on", Role.TASK),
        Line("   1  K1:14   relay out, to overload        should be 116-124", Role.ROW),
        Line("   2  FR1:96  overload out, to coil         should be 116-124", Role.ROW),
        Line("   3  KM1:A1  coil                          should be 116-124", Role.ROW),
        Line("   --11--| K1 13-14 |-1--12--| FR1 95-96 |-2--13--3( KM1 A1-A2 )-- NB", Role.RUNG),
        Line(" all right: coil or its return.  3 dead: wire 13.  2, 3 dead: FR1 or wire 12", Role.NOTE),
        Line(" 11 left: K1 contact, wire 12, wire 13, overload contact, coil ...   (was 67)", Role.LEFT),
    ),
    keys=(
        LiveKey("c", "read", "says that you have read the caution"),
        WHY,
        LiveKey("n", "can't", "asks why the test cannot be done, and plans again"),
        LiveKey("x", "other test", "offers the two next best tests"),
        LiveKey("t", "tree", "follows the decision tree instead"),
        UNDO,
    ),
    entry=Entry("readings", locked=True, example="120 120 0"),
    saved=2,
    needs_caution=True,
)
END = Sheet(
    id="end",
    title=" CONVEYOR 3   handed back",
    lines=(Line("Nothing is left to do here.", Role.TASK),),
    keys=(),
    entry=None,
    saved=9,
    done=True,
)


def open_for_typing(locked: Sheet, echo: str = "") -> Sheet:
    """The same sheet once its caution was accepted."""
    entry = replace(locked.entry, locked=False) if locked.entry else None
    keys = tuple(key for key in locked.keys if key.key != "c")
    lines = tuple(line for line in locked.lines if line.key != "c")
    more = (Line(f" taken: {echo}", Role.ECHO),) if echo else ()
    return replace(locked, lines=lines + more, keys=keys, entry=entry, needs_caution=False)


@dataclass
class Scripted:
    """Who, then a caution, then readings; `who` and `caution` can be replaced to try other sheets."""

    who: Sheet = WELCOME
    caution: Sheet = CAUTION
    slow_s: float = 0.0
    refuse: OSError | Exception | None = None
    record: Path | None = None
    slices: int = 0
    at: str = "who"
    said: list[Input] = field(default_factory=list)
    sizes: list[tuple[int, int]] = field(default_factory=list)
    closed: bool = False
    working: str = ""
    echo: str = ""
    explained: bool = False

    def sheet(self, width: int, height: int) -> Sheet:
        self.sizes.append((width, height))
        if self.at == "who":
            drawn = self.who
        elif self.at == "locked":
            drawn = self.caution
        elif self.at == "open":
            drawn = open_for_typing(self.caution, self.echo)
        else:
            drawn = END
        if self.explained:
            drawn = replace(drawn, lines=(*drawn.lines, Line(" because it splits what is left in halves", Role.NOTE)))
        return replace(drawn, saved=1 + len(self.said))

    def give(self, said: Input) -> None:
        if said.sheet != self.sheet(80, 24).id:
            return
        if self.refuse is not None:
            raise self.refuse
        self.working = "computing what each fault would show" if self.slow_s else ""
        time.sleep(self.slow_s)
        self.working = ""
        self.said.append(said)
        if self.record:
            with self.record.open("a") as file:
                file.write(f"{said!r}\n")
        match said:
            case Pressed("1" | "2") if self.at == "who":
                self.at = "locked"
            case Pressed("c", drawn_ms=ms) if self.at == "locked" and ms >= 300:
                self.at = "open"
            case Pressed("w"):
                self.explained = not self.explained
            case Typed("done"):
                self.at = "end"
            case Typed(text):
                self.echo = text

    def busy(self) -> str:
        return self.working

    def pump(self) -> bool:
        if not self.slices:
            return False
        self.slices -= 1
        return True

    def close(self) -> None:
        self.closed = True
        if self.record:
            with self.record.open("a") as file:
                file.write("closed\n")


def main() -> int:
    from troubleshoot.tui.start import run

    record = os.environ.get("SCRIPTED_RECORD")
    runner = Scripted(record=Path(record) if record else None, slow_s=float(os.environ.get("SCRIPTED_SLOW", "0")))
    if os.environ.get("SCRIPTED_AT"):
        runner.at = os.environ["SCRIPTED_AT"]
    if os.environ.get("SCRIPTED_BUG"):
        runner.refuse = ZeroDivisionError("on purpose")
    return run(runner, plain="--plain" in sys.argv, broke=traceback.print_exception)


if __name__ == "__main__":
    raise SystemExit(main())
