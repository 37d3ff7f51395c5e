"""What is right of a lesson's answers, what its rules are at the panel, and what is told at its end. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Act, NamedSituation, Pin
from troubleshoot.evidence.seen import Interval, Meter, Word
from troubleshoot.job.desk import Desk
from troubleshoot.job.sheet import Role
from troubleshoot.practice.answered import reads_as
from troubleshoot.practice.debrief import Debrief, Result
from troubleshoot.practice.exercise import Exercise
from troubleshoot.practice.pages import Section
from troubleshoot.practice.panel import Metered, Panel
from troubleshoot.practice.tasks import Lesson, Task, fewest, why
from troubleshoot.practice.unsafe import (
    SHORTS_FROM,
    Record,
    Stopped,
    can_hurt,
    metering_anywhere,
    power_back,
    starts_by,
    unread,
)
from troubleshoot.safety.hazards import either
from troubleshoot.safety.isolation import IsolationStep
from troubleshoot.safety.levels import DEAD_VOLTS
from troubleshoot.solve.meters import NEEDS_DEAD, RANGES

WEAK_OF = {1: "predicting", 2: "halving", 3: "stray", 4: "meter", 5: "isolation"}
"""What a lesson that was not passed shows as weak."""
PASSES = 0.8
"""Share of the tasks right at once with which a lesson is passed. Judgement."""
Score = tuple[Task, str, bool, str]
"""Task, what was asked with the answer, right, and what is told of it."""


@dataclass
class LessonGuard:
    """A lesson's rules: the caution of its own card first, no ohms on what nobody proved dead."""

    accepted: bool
    card: tuple[Meter, ...]
    laid: frozenset[Pin] = frozenset()
    """Where the leads still lie from the card before, whose caution was read, nothing moved since."""

    def metering(self, panel: Panel) -> Stopped | None:
        """See `Guard.metering`."""
        if wrong := metering_anywhere(panel):
            return wrong
        assert panel.red is not None
        assert panel.black is not None
        if panel.setting.mode in NEEDS_DEAD:
            return Stopped("not proved dead", f"Ohms on {panel.red} to {panel.black}: nothing here was proved dead.")
        if {panel.red, panel.black} == self.laid:
            return None
        ac, dc = panel.between(panel.red, panel.black)
        on_card = {panel.red, panel.black} <= {p for m in self.card for p in (m.red, m.black)}
        if max(ac, dc) > DEAD_VOLTS and not (self.accepted and on_card) and (on_card or can_hurt(ac, dc)):
            return Stopped(
                "reading before the caution",
                unread(f"{panel.red} to {panel.black}", ac, dc),
            )
        return None

    def acting(self, panel: Panel, act: Act) -> Stopped | None:
        """See `Guard.acting`."""
        return power_back(panel, act, told=True) or starts_by(panel, act, clear=True)


@dataclass(frozen=True, slots=True)
class Judged:
    """One answer, judged."""

    what: str
    said: str
    right: bool
    words: str = ""


def reading_wrong(panel: Panel, meter: Meter, taken: Metered | None, understood: Interval | Word) -> str:
    """What is wrong with a reading of a lesson; empty where nothing is."""
    if taken is None:
        return "no meter was laid there"
    if not reads_as(taken.shown, understood, True):
        return f"the display stood at {taken.shown.text}"
    truth = panel.truth(meter.mode, meter.red, meter.black)
    if truth.floats:
        return "" if understood is Word.UNSTEADY or isinstance(understood, Interval) else "it wandered"
    value = taken.shown.value
    if value is None or abs(abs(value) - abs(truth.high)) > 0.05 * abs(truth.high) + 1:
        short = (
            "; in that jack the meter is a piece of wire: its fuse had blown before, a good one makes a short circuit here"
            if taken.setting.amps_jack and abs(truth.high) > SHORTS_FROM
            else ""
        )
        return f"the meter stood on {taken.setting.words}; truly there: {abs(truth.high):.1f} {RANGES[meter.mode].words}{short}"
    return ""


def not_as_asked(desk: Desk, taken: Metered, asked: NamedSituation) -> str:
    """What stood otherwise than the card asks for when the display was read, on a machine without a fault; empty: nothing did."""
    table = desk.reasoner.table(asked.situation)
    should = table.outcomes[table.healthy].state
    devices = desk.machine.circuit.devices
    controls = {c.var: tag for tag, d in devices.items() for c in KINDS[d.kind].controls(d)}
    motors = {m.var: m.var for m in desk.machine.net.motors}
    for of in (controls, motors):  # a hand first: what the machine does follows from it
        for var, tag in of.items():
            if var in should and taken.stood.get(var, should[var]) != should[var]:
                now, word = taken.stood[var], devices[tag].words or KINDS[devices[tag].kind].words
                return f"{tag} ({word}) was {now} when you read it; the card asks for it {should[var]}"
    return ""


def thousandfold(taken: Metered, understood: Interval | Word) -> bool:
    """Whether millivolts were typed as volts."""
    value = taken.shown.value
    if value is None or not isinstance(understood, Interval):
        return False
    return (
        abs(abs(understood.middle) - 1000 * abs(value)) <= 0.06 * 1000 * abs(value) + 0.6
        and abs(understood.middle) > 0.6
    )


def where(desk: Desk, task: Task, text: str, taken: int) -> Judged | str:
    """Between which two points it is open; a question back as words. taken: readings so far."""
    pins = [desk.pins.get(word.strip(",").upper()) for word in text.split()]
    if len(pins) != 2 or None in pins:
        return "Two terminals, please, as they are printed: K1:14 FR1:95"
    right = set(pins) == {task.path[task.open_at], task.path[task.open_at + 1]}
    should = f"it was between {task.path[task.open_at]} and {task.path[task.open_at + 1]}"
    words = f"{taken} readings; by halves at most {fewest(task.path)} are needed" + ("" if right else f"; {should}")
    return Judged("the open place", text, right, words)


def fed(task: Task, text: str) -> Judged | str:
    """Whether a point is truly fed."""
    word = text.strip().casefold()
    if word not in ("yes", "no", "y", "n"):
        return "Yes or no."
    right = word.startswith("y") == task.fed
    words = "" if right else "what a low-impedance meter takes away is not fed; what stands under load is"
    return Judged(f"{task.meters[0].red} fed", text, right, words)


def live(desk: Desk, text: str) -> Judged | str:
    """A terminal that stays live."""
    pin = desk.pins.get(text.strip().upper())
    if pin is None:
        return "One terminal, as it is printed: Q1:1"
    right = pin in desk.live_when_dead
    some = ", ".join(sorted(map(str, desk.live_when_dead))[:4])
    return Judged("stays live", text, right, "" if right else f"{some} stay live")


def step_on_panel(panel: Panel, record: Record, step: IsolationStep) -> tuple[bool, str]:
    """Whether a step that was ticked off was done on the panel, as far as that shows it, and what it does show.

    What could have hurt somebody ends the lesson before this is asked (`unsafe.isolation_claimed`).
    """
    verb, _, tag = step.id.partition(" ")
    motors = [m.var for m in panel.desk.machine.net.motors]
    stands = f"{either(motors, 'and')} {'stands' if len(motors) == 1 else 'stand'} still" if motors else "nothing moves"
    match verb:
        case "stop" if not record.stop_pressed:
            return False, f"no stop button was pressed on the panel; that {stands} is luck, and no step done"
        case "stop":
            return True, f"the stop was pressed; {stands}"
        case "open":
            return True, f"{tag} stands off" if panel.position(tag) == "off" else ""
        case "lock":
            return True, f"your lock hangs on {tag}"
        case "try":
            return True, f"the start was pressed under your lock; {stands}"
        case "tell" | "stored" | "upstream" | "ahead":
            return True, "the panel shows nothing of this one; on a machine nobody ticks it for you"
    return True, ""


def told(
    exercise: Exercise, desk: Desk, lesson: Lesson, scores: Sequence[Score], readings: int, stopped: Stopped | None
) -> Debrief:
    """What is told at the end of a lesson: safety first, then what was right at once."""
    right, total = sum(ok for _, _, ok, _ in scores), len(lesson.tasks)
    wrong = [
        f"{what}. {words[:1].upper()}{words[1:]}.{f' {why(desk, task)}' if task.predict else ''}"
        for task, what, ok, words in scores
        if not ok
    ]
    notes = [f"{what}. {words[:1].upper()}{words[1:]}." for _, what, ok, words in scores if ok and words]
    safety = (
        Section("Safe all the way", ("Every caution was read before its reading.",)) if stopped is None else
        Section(f"Stopped for safety: {stopped.rule}", (stopped.why, "Nothing else counts before this."), Role.ROW)
    )  # fmt: skip
    sections = [safety, Section(f"{right} of {total} right", tuple(wrong or notes or ["All of it at once."]))]
    if lesson.teaches:
        sections.append(Section("What it was about", lesson.teaches))
    if lesson.faults:
        sections.append(Section("Hidden", tuple(f"{s.words}." for s in lesson.faults)))
    passed = stopped is None and right >= PASSES * total
    result = Result(
        exercise.machine, exercise.level, exercise.seed, stopped.rule if stopped else "", passed, (), readings, 0, right,
        total, weak=() if passed else (WEAK_OF[exercise.level],),
    )  # fmt: skip
    return Debrief(tuple(sections), result)
