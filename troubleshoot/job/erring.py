"""A person who errs, at a machine with a hidden fault: lights called wrongly, readings slipped, a point mistaken for another.

What is wrong is drawn with dice of its own, so that a person without errors says what the careful person of a rehearsal
says. The rates are the trial's, not those that belief reckons with: that the two differ is what a trial finds out.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import NamedSituation, Pin
from troubleshoot.evidence.likelihood import jumps
from troubleshoot.evidence.seen import Light, Look, Meter, Word
from troubleshoot.job.rehearse import Bench, written
from troubleshoot.machine import Machine
from troubleshoot.solve.meter import bulk
from troubleshoot.solve.meters import unit_of
from troubleshoot.solve.settle import Outcome, settle

FIRST_POINTS: Final = 4
"""A whole wrong point is one of the first so many points that a job asks for, so that nearly every job meets it."""


@dataclass(frozen=True, slots=True)
class Errors:
    """What a person does wrong.

    lights: chance that one light or look is called otherwise than it is; readings: chance that one reading is slipped (half
    of them a tip or a lead without contact, half the point beside); points: how many whole points of a job are mistaken for
    the one beside them, every time that they are asked.
    """

    lights: float = 0.0
    readings: float = 0.0
    points: int = 0


@dataclass
class Erring(Bench):
    """A bench at which the person errs; `truth` is the machine as it is, where it is not the one that is described."""

    errors: Errors = field(default_factory=Errors)
    slips: random.Random = field(default_factory=lambda: random.Random(0))
    truth: Machine | None = None
    made: int = 0
    """Errors made so far."""
    _beside: dict[Pin, Pin] = field(default_factory=dict)
    _asked: list[Pin] = field(default_factory=list)
    _wrong: frozenset[int] | None = None

    def outcome(self, named: NamedSituation) -> Outcome:
        """As at a bench; of a single fault that is known, from the table that belief has computed already."""
        if named.situation in self._outcomes:
            return self._outcomes[named.situation]
        if self.truth is None and len(self.faults) == 1:
            table = self.desk.reasoner.table(named.situation)
            owner = self._number
            found = tuple(table.outcomes[k] for k in np.flatnonzero(table.owner == owner))
        else:
            found = settle((self.truth or self.desk.machine).net, self.edits, named.situation)
        self._outcomes[named.situation] = self.pick(found, named)
        return self._outcomes[named.situation]

    @property
    def _number(self) -> int:
        return next(k for k, s in enumerate(self.desk.machine.suspects) if s.id == self.faults[0].id)

    def _column(self, outcome: Outcome, named: NamedSituation) -> int | None:
        """Number of an outcome in the table of a situation; None where it is from elsewhere."""
        if self.truth is not None or len(self.faults) != 1:
            return None
        table = self.desk.reasoner.table(named.situation)
        mine = np.flatnonzero(table.owner == self._number)
        return next((int(k) for k in mine if table.outcomes[k] is outcome), None)

    def called(self, item: Light | Look, named: NamedSituation) -> str:
        """What the person says that a light or a look shows."""
        right = self.shown(item, named)
        if self.slips.random() >= self.errors.lights:
            return right
        sign = self.desk.machine.net.signs[item.name]
        others = [s for s in dict.fromkeys(sign.shows.values()) if s != right]
        if not others:
            return right
        self.made += 1
        return self.slips.choice(others)

    def typed(self, meters: Sequence[Meter], named: NamedSituation) -> str:
        """What the person types for a batch of readings."""
        out = [self._read(meter, named) for meter in meters]
        return ("; " if Word.UNSTEADY.value in out else " ").join(out)

    def _read(self, meter: Meter, named: NamedSituation) -> str:
        held = self._held(meter)
        if self.slips.random() < self.errors.readings:
            self.made += 1
            if self.slips.random() < 0.5:
                return "OL" if unit_of(meter.mode) == "ohm" else written(0.0, meter.mode)
            held = replace(meter, red=self._next_to(meter.red))
        elif held != meter:
            self.made += 1
        if held != meter and not self._can(held):
            held = meter
        usual = self.desk.reasoner.predict(meter, named.situation)
        outcome = self.outcome(named)
        if held == meter and (column := self._column(outcome, named)) is not None and usual.swing[column] == 0.0:
            # What belief has computed is what the machine shows: that table was settled from this fault.
            return written(float(usual.value[column]), meter.mode)
        networks = outcome.networks
        table = bulk((self.truth or self.desk.machine).net, networks, held.mode, [(held.red, held.black)])
        shown = table.value[0] if meter.mode == "dc volts" else np.abs(table.value[0])
        if jumps(float(shown.min()), float(shown.max()), usual):
            return Word.UNSTEADY.value
        return written(float(shown[0]), meter.mode)

    def _can(self, meter: Meter) -> bool:
        return meter.red != meter.black and meter.mode != "amps"

    def _held(self, meter: Meter) -> Meter:
        """The reading as the leads really lie: a whole wrong point is taken for the one beside it, always."""
        if not self.errors.points:
            return meter
        if self._wrong is None:
            self._wrong = frozenset(self.slips.sample(range(FIRST_POINTS), min(self.errors.points, FIRST_POINTS)))
        if meter.red not in self._asked:
            self._asked.append(meter.red)
        if self._asked.index(meter.red) in self._wrong and meter.red not in self._beside:
            self._beside[meter.red] = self._next_to(meter.red)
        # Whichever lead goes there.
        return replace(
            meter, red=self._beside.get(meter.red, meter.red), black=self._beside.get(meter.black, meter.black)
        )

    def _next_to(self, pin: Pin) -> Pin:
        """A terminal beside this one: on the same device where it has another, else anywhere in the same place."""
        circuit = self.desk.machine.circuit
        device = circuit.devices[pin.device]
        pins = [Pin(pin.device, p) for p in KINDS[device.kind].pins(device) if p != pin.pin]
        if not pins:
            pins = [
                Pin(d.tag, p) for d in circuit.devices.values() if d.place == device.place
                for p in KINDS[d.kind].pins(d) if d.tag != pin.device
            ]  # fmt: skip
        return self.slips.choice(pins) if pins else pin
