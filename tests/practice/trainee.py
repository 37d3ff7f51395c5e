"""A trainee at the keys: reads the sheet, works the panel with typed words, and types what the display shows.

He knows what the sheets say and what the panel shows, never what is hidden.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from troubleshoot.circuit.model import Act, NamedSituation, Pin
from troubleshoot.evidence.seen import Light, Look, Meter
from troubleshoot.job.asking import answers_of, due_question
from troubleshoot.job.lists import item_keys, listed, marked
from troubleshoot.job.sheet import Pressed, Sheet, Typed
from troubleshoot.job.stage import on_dead_parts
from troubleshoot.job.stopping import STOPPED, TRIED_KEYS, tried
from troubleshoot.log.clock import SystemClock
from troubleshoot.log.memory import MemoryLog
from troubleshoot.practice.bench import rows
from troubleshoot.practice.exercise import Exercise
from troubleshoot.practice.panel import Panel
from troubleshoot.practice.session import Practice
from troubleshoot.safety.doings import doings

KNOB = {
    "ac volts": "ac", "dc volts": "dc", "ohms": "ohms", "continuity": "beep", "amps": "clamp", "insulation": "insulation",
    "low-impedance volts": "low", "ac+dc volts": "both",
}  # fmt: skip
MOST = 300


def memory_log(name: str = "practice") -> MemoryLog:
    return MemoryLog(session=name, version="0", who="RT", clock=SystemClock())


def begin(exercise: Exercise, desk: object, **more: object) -> Practice:
    return Practice(exercise, desk, memory_log(), "RT", **more)  # type: ignore[arg-type]


class Trainee:
    """Plays one exercise to its end, or until something stops it."""

    def __init__(self, practice: Practice) -> None:
        self.practice = practice
        self.desk = practice._desk
        self.seen: list[Sheet] = []
        self.at: NamedSituation | None = None

    # --------------------------------------------------------------------------------------------------------- keys

    @property
    def sheet(self) -> Sheet:
        sheet = self.practice.sheet(80, 24)
        self.seen.append(sheet)
        return sheet

    @property
    def text(self) -> str:
        return "\n".join(line.text for line in self.sheet.lines)

    def press(self, key: str) -> None:
        self.practice.give(Pressed(key, self.sheet.id, 400))

    def type(self, words: str) -> None:
        self.practice.give(Typed(words, self.sheet.id))

    @property
    def panel(self) -> Panel:
        """What is in front of them."""
        return self.practice._panel

    @property
    def page(self) -> str:
        return self.practice._page

    @property
    def over(self) -> bool:
        return self.page == "debrief"

    def at_panel(self, *words: str) -> str:
        """Go to the panel, do these, come back; what it then said."""
        if self.page != "panel":
            self.press(".")
        for one in words:
            if self.over:
                return ""
            self.type(one)
        said = self.text
        if not self.over:
            self.press(".")
        return said

    # --------------------------------------------------------------------------------------------------------- panel

    def bring(self, named: NamedSituation) -> None:
        """The panel into the situation that is asked for."""
        situation = named.situation
        if situation.origin == "as-found":
            return
        if self.at is not None and self.at.situation == situation:
            return
        acts = [
            *self.rest(),
            *(f"put {tag} in {position}" for tag, position in sorted(situation.hold)),
            *(w for a in situation.acts for w in self.words(a)),
        ]
        if acts:
            self.at_panel(*acts)
        self.at = named

    def hold(self, named: NamedSituation) -> None:
        """On dead parts only what the card wants held or turned meanwhile, what the last one wanted let go."""
        if self.at is not None and self.at.situation == named.situation:
            return
        acts = [a for a in named.situation.acts if a.verb in ("press", "put", "release")]
        words = [*self.rest(), *(w for a in acts for w in self.words(a))]
        if words:
            self.at_panel("leads off", *words)
        self.at = replace(named, situation=replace(named.situation, acts=tuple(acts)))

    def words(self, act: Act) -> list[str]:
        """What a hand does for it: power is lost and given back at the disconnect, leads off and covers on."""
        tags = self.desk.machine.disconnects
        match act.verb:
            case "lose power":
                return [f"open {t}" for t in tags]
            case "restore power":
                places = [p.name for p in self.desk.machine.circuit.places.values() if p.door]
                return ["leads off", *(f"close {p}" for p in places), *(f"close {t}" for t in tags)]
            case "trip":
                return [f"test {act.device}"]
            case _:
                return [str(act)]

    def rest(self) -> list[str]:
        """Every hand off, stopped."""
        state = self.panel.outcome().state
        has = doings(self.desk.machine)
        circuit = self.desk.machine.circuit
        out = []
        touched = self.at.situation.acts if self.at else ()
        for act in touched:
            if act.verb == "put":
                first = next((p for t, p in self.desk.at_rest.situation.hold if t == act.device), None)
                usual = first or self.usual(act.device)
                out.append(f"put {act.device} in {usual}")
        # A reset comes after whatever could start by it.
        for tag, device in circuit.devices.items():
            if device.kind == "overload" and state.get(tag) in ("tripped", "tested") and self.at is not None:
                out.append(f"reset {tag}")
        pressed = [t for t in circuit.devices if state.get(t) == "pressed" and any(a.device == t for a in touched)]
        stops = [t for t in has.stops[:1] if touched]
        out = [f"press {t}" for t in stops if t not in pressed] + out
        out += [f"release {t}" for t in dict.fromkeys((*pressed, *stops))]
        return out

    def usual(self, tag: str) -> str:
        from troubleshoot.circuit.kinds import KINDS

        device = self.desk.machine.circuit.devices[tag]
        return next(c.usual for c in KINDS[device.kind].controls(device) if c.var == tag)

    def read(self, meters: Sequence[Meter], *, dead: bool = False) -> str:
        """Lay the meter on each pair and write down what it shows."""
        out = []
        for meter in meters:
            words = []
            for pin in (meter.red, meter.black):
                words += self.cover(pin)
            knob = KNOB[meter.mode]
            if self.panel.setting.mode != meter.mode:
                words += ["leads off", f"knob {knob}"]
            said = self.at_panel(*words, f"leads {meter.red} {meter.black}")
            for _ in range(4):
                if self.over:
                    return ""
                shown = _display(said)
                if "moving" not in shown and not self.doubts(shown, meter):
                    break
                said = self.at_panel("read")
            if "wandering" in shown or (dead and meter.mode == "ac volts" and "mV" not in shown):
                said = self.at_panel("leads off", "knob low", f"leads {meter.red} {meter.black}")
                said = self.at_panel("read")
                shown = _display(said)
            out.append(_typed(shown))
        if "unsteady" in out:
            return "; ".join(out)
        return " ".join(out)

    def doubts(self, shown: str, meter: Meter) -> bool:
        """A nothing is looked at twice: a tip may not have touched."""
        last = self.panel.looked
        again = ("mV" in shown or shown == "OL") and getattr(self, "_doubted", None) != (meter, last - 1)
        self._doubted = (meter, last)
        return again

    def cover(self, pin: Pin) -> list[str]:
        place = self.desk.machine.circuit.places[self.desk.machine.circuit.devices[pin.device].place]
        return [f"open {place.name}"] if place.door and place.name not in self.panel.covers_off else []

    # ---------------------------------------------------------------------------------------------------------- answers

    def play(self, most: int = MOST) -> Trainee:
        """To the end."""
        for _ in range(most):
            if self.over:
                return self
            self.step()
        raise AssertionError("going in circles:\n" + self.text)

    def prove_meter(self) -> None:
        """Out of the bag: set it, try it on the proving unit."""
        said = self.at_panel("jack v", "knob ac", "prove")
        if "NOTHING" in said:
            self.at_panel("change leads", "prove")

    def step(self) -> None:
        """One answer."""
        practice = self.practice
        if self.page == "intro":
            self.press("enter")
            self.prove_meter()
            return
        if practice._asks_first():
            stage = practice._stage()
            meters = [i for i in stage.step.items if isinstance(i, Meter)] if stage.step else []
            if meters:
                self.type(" ".join("0" for _ in meters))
            else:
                self.press("enter")
            return
        sheet = self.sheet
        if sheet.needs_caution:
            power = practice._stage().name == "power"
            self.press("c")
            if power:
                self.power_on()
            return
        self.answer()

    def put_right(self, suspect: object) -> None:
        """What was left wrong is set right by hand, covers on and leads off first."""
        panel = self.panel
        if suspect.repair[0] == "set to run":  # type: ignore[attr-defined]
            self.at_panel(f"set {suspect.repair[1]} to run")  # type: ignore[attr-defined]
        for edit in suspect.edits:  # type: ignore[attr-defined]
            if edit.does != "left" or suspect.broken:  # type: ignore[attr-defined]
                continue
            for _ in range(4):
                if panel.position(edit.slot) != edit.value:
                    break
                row = next(r for r in rows(panel) if r.says.startswith(f"{edit.slot} ") and "lock" not in r.does)
                places = [p.name for p in self.desk.machine.circuit.places.values() if p.door]
                self.at_panel("leads off", *(f"close {p}" for p in places), row.does)

    def power_on(self) -> None:
        tags = self.desk.machine.disconnects
        places = [p.name for p in self.desk.machine.circuit.places.values() if p.door]
        words = [
            "leads off",
            *self.rest(),
            *(f"close {p}" for p in places),
            *(f"unlock {t}" for t in tags),
            *(f"close {t}" for t in tags),
        ]
        self.at_panel(*words)
        self.at = None

    def answer(self) -> None:
        practice, desk = self.practice, self.practice._fitting()
        state, stage = practice._now(), practice._stage()
        match stage.name:
            case "stop":
                self.at_panel(*(f"open {t}" for t in desk.machine.disconnects))
                return self.press("y")
            case "people":
                return self.press("y")
            case "tried":
                for key, channel in zip(TRIED_KEYS, desk.channels, strict=False):
                    if tried(state, channel, desk.stops) != STOPPED:
                        return self.press(key)
                return self.press("enter")
            case "last":
                question = due_question(state)
                assert question is not None
                told = next((ln.key for ln in self.sheet.lines if "somebody worked on it" in ln.text), "")
                if told and self.practice._exercise.worked_on:  # the page before the exercise said so
                    return self.press(told)
                return self.press(str(len(answers_of(question, state)) + 1))
            case "isolate":
                return self.isolate()
            case "reset":
                self.at_panel("wait 300", f"reset {stage.next}")
                if self.over:
                    return None
                live = {k.key for k in self.sheet.keys}
                return self.press("y" if "y" in live and self.panel.position(stage.next) != "tripped" else "d")
            case "putback":
                return self.press(next(k.key for k in self.sheet.keys if k.key.isdigit()))
            case "watch":
                return self.type("2 per shift")
            case "repair":
                self.put_right(stage.suspect)
                return None if self.over else self.type("as found on the panel")
            case "handback":
                return self.type("Jo Smit") if desk.stop_failed(state) else self.press("y")
            case "waiting" | "stuck" | "handed":
                if practice._ui.panel != "end":
                    return self.press("e")
                return self.press("5")
        named = stage.check.situation if stage.check else stage.step.situation if stage.step else desk.at_rest
        items = [i for i, _ in stage.check.expects] if stage.check else list(stage.step.items) if stage.step else []
        meters = [i for i in items if isinstance(i, Meter)]
        if on_dead_parts(desk, items, named):
            self.hold(named)
        else:
            self.bring(named)
        if self.over:
            return None
        for key, item in zip(item_keys(stage), listed(stage), strict=False):
            if marked(desk, state, stage, item)[0] != self.sees(item):
                return self.press(key)
        if self.sheet.entry is None and any("OPEN" in line.text and "NOW" in line.text for line in self.sheet.lines):
            # What must stand moves: the page asks for no reading, but for the disconnect, at once.
            self.at_panel(*(f"open {t}" for t in desk.machine.disconnects))
            return None if self.over else self.press("enter")
        if not meters:
            return self.press("enter")
        said = self.read(meters)
        return None if self.over else self.type(said)

    def sees(self, item: Light | Look) -> str:
        return self.panel.sees(item)

    def isolate(self) -> None:
        stage = self.practice._stage()
        assert stage.isolation is not None
        step = next(s for s in stage.isolation.steps if s.id == stage.next)
        verb, _, tag = step.id.partition(" ")
        has = doings(self.desk.machine)
        if step.ask == "done":
            match verb:
                case "stop":
                    self.at_panel(*self.rest(), f"press {has.stops[0]}", f"release {has.stops[0]}")
                case "open" | "lock":
                    self.at_panel("leads off", f"{verb} {tag}")
                case "try":
                    self.at_panel(f"press {has.starts[0]}", f"release {has.starts[0]}")
                case "prove":
                    self.at_panel("leads off", "knob ac", "prove")
            if not self.over:
                self.press("y")
            return
        said = self.read(step.readings, dead=not all(step.expects))
        if self.over:
            return
        self.type(said)
        if step.id.startswith("prove") and "the tester is not proved" in " ".join(self.text.split()):
            self.at_panel("leads off", "knob ac", "prove")
            self.press("p")


def _display(text: str) -> str:
    found = re.search(r"^DISPLAY  (.*)$", text, re.M)
    return found.group(1) if found else ""


def _typed(shown: str) -> str:
    """As one writes it down."""
    if shown.startswith("OL"):
        return "OL"
    if "jumps" in shown or "wandering" in shown or "moving" in shown:
        return "unsteady"
    figure = shown.partition(",")[0]
    millivolts = re.fullmatch(r"(-?[\d.]+) mV", figure)
    if millivolts:
        return f"{abs(float(millivolts.group(1))) / 1000:.3f} V" if abs(float(millivolts.group(1))) >= 50 else "0 V"
    return figure.removeprefix("-")
