"""The simulated panel: one machine with what is wrong with it, as hands, eyes, ears and a meter meet it.

What it does is computed by the solver with the suspect's edits, every act of the trainee's own laid on the one before.
It knows nothing of a job, and says nothing that a person standing there could not see, hear or read.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Act, NamedSituation, Pin, Situation
from troubleshoot.diagnosis.tables import UNSTEADY, shows
from troubleshoot.evidence.seen import Light, Look
from troubleshoot.faults.suspects import Suspect
from troubleshoot.job.desk import Desk
from troubleshoot.job.rehearse import Bench
from troubleshoot.practice.meter import Setting, Shown, Truth, display
from troubleshoot.safety.motion import TURNS
from troubleshoot.solve.meter import Reading, bulk, read
from troubleshoot.solve.meters import VOLTS, Mode
from troubleshoot.solve.settle import Outcome
from troubleshoot.solve.stray import islands, span

COMES: Final = 0.6
"""How often what comes and goes is there, from one act to the next. Judgement."""
SURELY: Final = 2
"""Acts at the start during which it is surely there: the complaint is seen once."""


@dataclass(frozen=True, slots=True)
class Metered:
    """One look at the display, and what the panel really had there."""

    red: Pin
    black: Pin
    setting: Setting
    shown: Shown
    truth: Truth
    situation: str
    power: bool
    stood: Mapping[str, str] = field(default_factory=dict)
    """How everything stood then, by state variable."""


@dataclass
class Panel:
    """A machine under the trainee's hands. Everything that it does follows from its faults, its seed and the acts."""

    desk: Desk
    """Of the machine as it truly is."""
    faults: tuple[Suspect, ...]
    seed: int
    comes_and_goes: bool = False
    setting: Setting = field(default_factory=Setting)
    acts: tuple[Act, ...] = ()
    held: frozenset[tuple[str, str]] = frozenset()
    """Where its controls stood when its memory was last lost: after a repair."""
    fresh: bool = True
    """Nobody has touched it yet."""
    locks: frozenset[str] = frozenset()
    covers_off: frozenset[str] = frozenset()
    """Places whose cover or door is open."""
    red: Pin | None = None
    black: Pin | None = None
    heard: tuple[str, ...] = ()
    last: Metered | None = None
    proved: bool = False
    """The meter was tried on a proving unit as it stands now."""
    looked: int = 0
    """How often the display was read."""
    _benches: dict[bool, Bench] = field(default_factory=dict)
    _done: int = 0
    """Acts since the beginning, for the dice."""

    # ------------------------------------------------------------------------------------------------------ how it is

    @property
    def present(self) -> bool:
        """Whether what comes and goes is there now."""
        if not self.comes_and_goes or self._done <= SURELY:
            return True
        return random.Random(f"{self.seed} there {self._done}").random() < COMES

    @property
    def bench(self) -> Bench:
        """The machine as it is at this moment."""
        there = self.present
        if there not in self._benches:
            self._benches[there] = Bench(self.desk, self.faults if there else (), random.Random(self.seed))
        return self._benches[there]

    @property
    def situation(self) -> Situation:
        """What it has been through."""
        if self.fresh and not self.acts:
            return self.desk.as_found.situation
        rest = self.desk.at_rest.situation
        return replace(rest, acts=(*rest.acts, *self.acts), hold=rest.hold | self.held)

    def outcome(self) -> Outcome:
        """How it stands; where a band leaves it open, the seed says, always the same for the same acts."""
        situation, bench = self.situation, self.bench
        bench.dice = random.Random(f"{self.seed} {situation}")
        return bench.outcome(NamedSituation("bench", "", situation))

    def position(self, tag: str) -> str:
        """Where one control stands."""
        return self.outcome().state.get(tag, "")

    @property
    def dead(self) -> bool:
        """Every disconnect is open."""
        tags = self.desk.machine.disconnects
        return bool(tags) and all(self.position(tag) == "off" for tag in tags)

    def motors(self) -> tuple[str, ...]:
        """Motors that turn, hum or do not come to rest."""
        outcome = self.outcome()
        return tuple(m.var for m in self.desk.machine.net.motors if any(s[m.var] != "still" for s in outcome.states))

    def sees(self, item: Light | Look) -> str:
        """What a light or a look shows."""
        return shows(self.desk.machine.net.signs[item.name], self.outcome())

    def between(self, red: Pin, black: Pin) -> tuple[float, float]:
        """Largest volts AC and DC of two points, to each other and to earth, nothing laid there."""
        net, outcome = self.desk.machine.net, self.outcome()
        a, b = net.node(red), net.node(black)
        most = []
        for kind in ("ac", "dc"):
            volts = [n.volts(kind) for n in outcome.networks]
            most.append(max(max(abs(v[a]), abs(v[b]), abs(v[a] - v[b])) for v in volts))
        return float(most[0]), float(most[1])

    def inside(self, place: str) -> tuple[float, float]:
        """Largest volts AC and DC between any two points of one place, or of one of them to earth."""
        net, outcome = self.desk.machine.net, self.outcome()
        devices = self.desk.machine.circuit.devices
        nodes = sorted({net.node(p) for p in self.desk.pins.values() if devices[p.device].place == place})
        most = []
        for kind in ("ac", "dc"):
            at = [np.append(n.volts(kind)[nodes], 0.0) for n in outcome.networks]
            most.append(max((float(np.abs(v[:, None] - v[None, :]).max()) for v in at), default=0.0))
        return most[0], most[1]

    # ------------------------------------------------------------------------------------------------------ what is done

    def moved(self, act: Act) -> Panel:
        """As it will be after one more act, to look at before it is done."""
        after = replace(self, acts=self.acts, _benches=self._benches)
        after._do(act)
        return after

    def do(self, act: Act) -> None:
        """A hand moves something, or time goes by; what is heard is kept."""
        before = self.outcome().state
        self._do(act)
        self.heard = sounds(self.desk, before, self.outcome())
        self.last = None

    def _do(self, act: Act) -> None:
        if any(act.device == cpu.var for cpu in self.desk.machine.net.cpus) and self._set_right(act):
            return
        was = self.present
        self.acts, self.fresh = (*self.acts, act), False
        self._done += 1
        if was and not self.present:
            # What was dead comes right: it does not start from what was pressed while it was dead.
            self._forget()

    def _set_right(self, act: Act) -> bool:
        """A controller that was left stopped is set to run: nothing holds it any more, and its program begins afresh."""
        left = tuple(
            f
            for f in self.faults
            if not (not f.broken and any(e.slot == act.device and e.value == "stopped" for e in f.edits))
        )
        if act.value != "running" or left == self.faults:
            return False
        self._forget()
        self.faults, self._benches = left, {}
        self._done += 1
        return True

    def _forget(self) -> None:
        """It loses its memory; every control stays where it is."""
        state = self.outcome().state
        positions = {c.var for d in self.desk.machine.circuit.devices.values() for c in KINDS[d.kind].controls(d)}
        self.held = frozenset((var, state[var]) for var in positions if var in state and state[var] != "blown")
        self.acts, self.fresh = (), False

    def mend(self, group: str) -> None:
        """Whatever was wrong in this repair group is gone; power was off, so nothing is remembered.

        What was left wrong stands as it should, and what stuck springs back: the new button is nobody's finger.
        """
        self._forget()
        self.faults = tuple(f for f in self.faults if f.group != group)
        self._benches.clear()
        mended = {
            e.slot
            for s in self.desk.machine.suspects
            if s.group == group
            for e in s.edits
            if e.does in ("left", "stuck")
        }
        self.held = frozenset((var, at) for var, at in self.held if var not in mended)
        self.last = None

    # -------------------------------------------------------------------------------------------------------- the meter

    def truth(self, mode: Mode, red: Pin, black: Pin) -> Truth:
        """What one position of the knob meets there; the meter is part of the network."""
        net, networks = self.desk.machine.net, self.outcome().networks
        if mode == "low-impedance volts":
            values = [abs(r.value) for r in self._laid(mode, red, black)]
            return Truth(values[0], values[0])
        table = bulk(net, networks, mode, [(red, black)])
        value = table.value[0]
        if mode != "dc volts":
            value = np.abs(value)
        if mode in VOLTS and table.floating[0].any():
            low, high = span(net, networks, islands(net, networks), mode, [(red, black)], table.value)
            return Truth(float(low.min()), float(high.max()), floats=True)
        return Truth(float(value.min()), float(value.max()))

    def _laid(self, mode: Mode, red: Pin, black: Pin) -> tuple[Reading, ...]:
        found = read(self.desk.machine.net, self.bench.edits, self.situation, mode, red, black)
        return tuple(r for r, _ in found)

    def moves_by_meter(self, mode: Mode, red: Pin, black: Pin) -> tuple[str, ...]:
        """Motors that start because the meter is laid there."""
        if mode != "low-impedance volts":
            return ()
        found = read(self.desk.machine.net, self.bench.edits, self.situation, mode, red, black)
        still = set(self.motors())
        worst = max(found, key=lambda pair: pair[1].weight)[1]
        motors = [m.var for m in self.desk.machine.net.motors]
        return tuple(m for m in motors if worst.state[m] != "still" and m not in still)

    def meter(self, *, first: bool) -> Metered | None:
        """Read the display; None while a lead hangs free."""
        if self.red is None or self.black is None or self.red == self.black:
            return None
        self.looked += 1
        dice = random.Random(f"{self.seed} meter {self.looked}")
        truth = self.truth(self.setting.mode, self.red, self.black)
        shown = display(self.setting, truth, dice, first=first)
        self.last = Metered(
            self.red, self.black, self.setting, shown, truth, str(self.situation), not self.dead, self.outcome().state
        )
        return self.last


_HEARD: Final[Mapping[str, Mapping[str, str]]] = {
    "contactor": {"in": "a heavy clack: {what} pulls in", "out": "a clack: {what} drops out"},
    "relay": {"in": "a small click: {what} pulls in", "out": "a small click: {what} lets go"},
    "timer": {"in": "a small click: {what}", "out": "a small click: {what}"},
    "brake": {"released": "a clunk: {what} lets go", "set": "a thud: {what} falls in"},
    "horn": {"on": "{what} sounds", "off": "{what} falls silent"},
    "fuse": {"blown": "a dull pop from the panel"},
    "motor": {"humming": "{what} hums and strains, and does not turn", "turning": "{what} runs up",
              "turning backward": "{what} runs up", "still": "{what} runs down and is quiet"},
}  # fmt: skip


def sounds(desk: Desk, before: Mapping[str, str], after: Outcome) -> tuple[str, ...]:
    """What is heard while a machine goes from one state to another, in words."""
    out: list[str] = []
    for tag, device in desk.machine.circuit.devices.items():
        kind = "relay" if "relay" in device.kind or "delay" in device.kind else device.kind
        words = _HEARD.get(kind)
        if words is None:
            continue
        seen = {state.get(tag, "") for state in after.states}
        what = f"{device.words or KINDS[device.kind].words} {tag}"
        if len(seen) > 1 and kind in ("contactor", "relay"):
            out.append(f"a rattle that does not end: {what}")
        elif (now := after.state.get(tag, "")) != before.get(tag, "") and now in words:
            out.append(words[now].format(what=what))
    return tuple(dict.fromkeys(out))


def turning(outcome: Outcome, motors: Sequence[str]) -> frozenset[str]:
    """Motors that turn."""
    return frozenset(m for m in motors if outcome.state.get(m) in TURNS)


__all__ = ["UNSTEADY", "Metered", "Panel", "sounds", "turning"]
