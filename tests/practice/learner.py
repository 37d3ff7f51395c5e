"""A learner in a lesson: predicts by the drawing's own answer, reads the caution, works the panel, types what it shows."""

from __future__ import annotations

from practice.trainee import KNOB, Trainee, _display, _typed, memory_log

from troubleshoot.practice.course import Course
from troubleshoot.practice.exercise import choose
from troubleshoot.practice.panel import Panel
from troubleshoot.safety.doings import doings
from troubleshoot.solve.meters import VOLTS


class Learner(Trainee):
    """Plays one lesson to its end."""

    def __init__(self, desk: object, level: int, seed: int = 0) -> None:
        course = Course(choose(desk, level, seed), desk, memory_log, "RT")  # type: ignore[arg-type]
        super().__init__(course)  # type: ignore[arg-type]
        self.course = course

    @property
    def panel(self) -> Panel:
        return self.course._sitting.panel

    def step(self) -> None:
        course = self.course
        if self.page == "intro":
            self.press("enter")
            return
        task = course._sitting.task
        if task.predict and not course._sitting.said_first:
            value = self.desk.reasoner.expected(task.meters[0], task.situation.situation).value
            self.type(f"{abs(value):.0f}" if abs(value) >= 0.5 else "nothing")
        elif self.sheet.needs_caution:
            self.press("c")
        elif task.kind == "where":
            self.halve()
        elif task.kind == "fed":
            self.type("yes" if task.fed else "no")
        elif task.kind == "live":
            self.type(str(sorted(self.desk.live_when_dead)[0]))
        elif task.kind == "step":
            self.make_dead()
        else:
            self.bring(task.situation)
            self.tidy(task.meters[0].mode)
            self.type(self.once(task.meters[0]))

    def tidy(self, mode: str) -> None:
        """Set the meter as it must be, whoever had it."""
        self.at_panel("leads off", "jack v", "range auto", "knob ac", "prove", "change leads", f"knob {KNOB[mode]}")

    def once(self, meter: object) -> str:
        """One pair, as it stands."""
        red, black = meter.red, meter.black  # type: ignore[attr-defined]
        said = self.at_panel(*self.cover(red), *self.cover(black), f"leads {red} {black}")
        for _ in range(4):
            said = self.at_panel("read")
            if "moving" not in _display(said):
                break
        return _typed(_display(said))

    def halve(self) -> None:
        """By halves: the last point that has volts and the first that has none."""
        task = self.course._sitting.task
        self.bring(task.situation)
        self.tidy(task.meters[0].mode)
        low, high = 0, len(task.path) - 2
        while high - low > 1:
            middle = (low + high) // 2
            shown = self.once(task.meters[middle])
            live = shown != "unsteady" and float(shown.split()[0]) > 10
            low, high = (middle, high) if live else (low, middle)
        self.type(f"{task.path[low]} {task.path[low + 1]}")

    def make_dead(self) -> None:
        step = self.course._sitting.task.step
        assert step is not None
        verb, _, tag = step.id.partition(" ")
        has = doings(self.desk.machine)
        if step.ask == "done":
            match verb:
                case "stop":
                    self.at_panel(f"press {has.stops[0]}", f"release {has.stops[0]}")
                case "open" | "lock":
                    self.at_panel(f"{verb} {tag}")
                case "try":
                    self.at_panel(f"press {has.starts[0]}", f"release {has.starts[0]}")
                case "prove":
                    self.at_panel("leads off", "knob ac", "prove")
            self.press("y")
            return
        said = []
        for meter in step.readings:
            assert meter.mode in VOLTS
            self.at_panel("leads off", f"knob {KNOB[meter.mode]}")
            said.append(self.once(meter))
            if "unsteady" in said[-1] or (not all(step.expects) and float(said[-1].split()[0]) > 2):
                self.at_panel("leads off", "knob low")
                said[-1] = self.once(meter)
        self.type(" ".join(said))
