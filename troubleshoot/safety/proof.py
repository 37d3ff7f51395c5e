"""The proof run: what must be seen before a machine is handed back, which fault each check would show, and what is left.

A machine that stops proves only that one channel stopped it. So every contact that must open is proved by a light or a
reading that would be otherwise if it had stayed closed; which reading that is, is computed.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.base import Switch
from troubleshoot.circuit.model import NamedSituation, Pin, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.diagnosis.tables import Table, shows
from troubleshoot.evidence.seen import Light, Look, Meter
from troubleshoot.faults.suspects import Suspect
from troubleshoot.machine import Machine
from troubleshoot.safety.dead_test import earth_pin
from troubleshoot.safety.doings import after, doings, turns_after
from troubleshoot.safety.metering import moved_by_meter
from troubleshoot.safety.plans import Plan, plans
from troubleshoot.safety.volts import pins_of
from troubleshoot.solve.stray import STIFF_S
from troubleshoot.text.showing import show

Observable = Meter | Light | Look
Bools = npt.NDArray[np.bool_]

SURE = 0.95
"""Least chance, given a suspect, that a check shows it."""
LEAST_VOLTS, LEAST_AMPS, LEAST_SHARE = 3.0, 0.3, 0.2
"""Least difference that a person at a meter calls different: volts, amperes, share of the larger. Common practice."""
MOST_READINGS: Final = 6
"""Readings that one check may ask for."""


@dataclass(frozen=True, slots=True)
class ProofCheck:
    """One thing to do and what must then be seen."""

    id: str
    words: str
    situation: NamedSituation
    expects: tuple[tuple[Observable, str], ...]
    """What to look at or read, and what must be seen, in words. Readings are live: the job asks their caution first."""
    proves: tuple[str, ...]
    """Ids of the suspects that this check would show."""
    channel: bool = False
    """It proves one stop button or emergency stop by itself."""
    stops: bool = False
    """What turns must stop in it."""

    @property
    def readings(self) -> tuple[Meter, ...]:
        """The live readings among what is expected."""
        return tuple(what for what, _ in self.expects if isinstance(what, Meter))

    @property
    def by_eye(self) -> ProofCheck:
        """The same without its readings. What is seen then goes for what is seen: the check is not proved by it."""
        return replace(self, expects=tuple((what, must) for what, must in self.expects if not isinstance(what, Meter)))


@dataclass(frozen=True, slots=True)
class Proof:
    """All checks, in the order in which they are done, and what they leave open."""

    checks: tuple[ProofCheck, ...]
    not_proved: tuple[str, ...]
    """In words: every fault that would pass all checks unseen."""

    def undone(self, out: Collection[str]) -> dict[str, ProofCheck]:
        """The checks that prove nothing where those named in `out` could not be done, by id, each with the one that it needs:
        these, each with itself, and each that goes on from one of them. Who never tripped an overload shows nothing by
        resetting it."""
        missing = [c for c in self.checks if c.id in out]
        found = {c.id: c for c in missing}
        for check in self.checks:
            acts = check.situation.situation.acts
            needs = (m for m in missing if (before := m.situation.situation.acts) and acts[: len(before)] == before)
            if check.id not in found and (needed := next(needs, None)) is not None:
                found[check.id] = needed
        return found

    def number(self, check_id: str) -> int:
        """Place of a check in the run, from 1."""
        return next(k for k, c in enumerate(self.checks, 1) if c.id == check_id)


def readings_of(check_id: str) -> str:
    """What is refused where the readings of a check cannot be taken and the rest of it can be seen."""
    return f"{check_id}: readings"


def proof_run(reasoner: Reasoner) -> Proof:
    """The checks that follow from the machine's roles. A machine without a role simply has fewer of them."""
    broken = _broken(reasoner)
    checks: list[ProofCheck] = []
    done = np.zeros(len(reasoner.machine.suspects), np.bool_)
    to_do = plans(reasoner.machine)
    clamped: frozenset[tuple[str, str]] = frozenset()
    for plan in to_do:
        at = NamedSituation(plan.id, plan.words, after(*plan.acts), plan.hands)
        whats: list[Observable] = [*_seen_by_eye(reasoner.machine), *_brought_to_rest(reasoner, plan)]
        if plan.currents:
            # Once for each motor each way: other poles, fuses and heaters may carry it.
            turning = turns_after(reasoner.machine, plan.acts)
            whats += _currents(reasoner.machine, frozenset(motor for motor, _ in turning - clamped))
            clamped |= turning
        checks.append(_check(reasoner, plan, at, whats))
        done |= _mask(reasoner, checks[-1].proves)
    for k, plan in enumerate(to_do):
        if not plan.stop:
            continue
        wanted = _stays_closed(reasoner, checks[k].situation.situation) & broken & ~done
        more = _hunt(reasoner, checks[k].situation.situation, wanted)
        if more:
            whats = [*(what for what, _ in checks[k].expects), *more]
            hands = (
                max(plan.hands, 2) if plan.acts and plan.acts[-1].verb == "press" and _springs(reasoner, plan) else 1
            )
            checks[k] = _check(reasoner, plan, replace(checks[k].situation, hands=hands), whats)
            done |= _mask(reasoner, checks[k].proves)
    left = [s for k, s in enumerate(reasoner.machine.suspects) if broken[k] and not done[k]]
    return Proof(tuple(checks), tuple(show(s.words) for s in left))


def undetected(reasoner: Reasoner, proof: Proof, behaviour_only: bool = False) -> tuple[Suspect, ...]:
    """The broken suspects that pass every check unseen. behaviour_only: as if only what moves were watched."""
    moving = {m.var for m in reasoner.machine.net.motors} | {
        b for brakes in reasoner.machine.net.brakes.values() for b in brakes
    }
    moving |= {name for name, sign in reasoner.machine.net.signs.items() if sign.kind == "stop"}
    seen = np.zeros(len(reasoner.machine.suspects), np.bool_)
    for check in proof.checks:
        for what, _ in check.expects:
            if not behaviour_only or (isinstance(what, Look) and what.name in moving):
                seen |= _shows_up(reasoner, what, check.situation.situation)
    left = _broken(reasoner) & ~seen
    return tuple(s for s, open_ in zip(reasoner.machine.suspects, left, strict=True) if open_)


# ---------------------------------------------------------------------------------------------------- what to look at


def _springs(reasoner: Reasoner, plan: Plan) -> bool:
    return reasoner.machine.net.controls[plan.acts[-1].device].springs_back


def _seen_by_eye(machine: Machine) -> tuple[Look | Light, ...]:
    """Motors, brakes, contactors and lamps: what shows without opening a module."""
    out: list[Look | Light] = []
    for tag, device in machine.circuit.devices.items():
        if device.kind in ("motor", "brake", "contactor") and tag in machine.net.signs:
            out.append(Look(tag))
        elif device.kind == "lamp" and tag in machine.net.signs:
            out.append(Light(tag))
    return tuple(out)


def _brought_to_rest(reasoner: Reasoner, plan: Plan) -> tuple[Look, ...]:
    """Of every brake whose motor the last act of a plan stops: whether the load stops with it and stays.

    Not where the last act is the test of an overload relay: who does that stands at the panel, not at the load.
    """
    if not plan.acts or plan.acts[-1].verb == "test":
        return ()
    net = reasoner.machine.net
    stopped = {m for m, _ in turns_after(reasoner.machine, plan.acts[:-1])} - {
        m for m, _ in turns_after(reasoner.machine, plan.acts)
    }
    brakes = {brake for motor in stopped for brake in net.brakes.get(motor, ())}
    return tuple(
        Look(name) for name, sign in net.signs.items()
        if sign.kind == "stop" and sign.needs is not None and sign.needs.var in brakes
    )  # fmt: skip


def _currents(machine: Machine, motors: Collection[str]) -> tuple[Meter, ...]:
    """Clamp readings on the three conductors that feed these motors; of six leads, those of the windings' beginnings."""
    out: list[Meter] = []
    for tag, device in machine.circuit.devices.items():
        if device.kind != "motor" or tag not in motors:
            continue
        for name in KINDS[device.kind].rows(device)[0]:
            pin = Pin(tag, name)
            hop = next((h for h in machine.circuit.hops if pin in (h.a, h.b)), None)
            if hop is not None:
                far = hop.b if hop.a == pin else hop.a
                out.append(Meter("amps", far, pin))
    return tuple(out)


def _check(reasoner: Reasoner, plan: Plan, at: NamedSituation, whats: Sequence[Observable]) -> ProofCheck:
    seen = np.zeros(len(reasoner.machine.suspects), np.bool_)
    for what in whats:
        seen |= _shows_up(reasoner, what, at.situation)
    seen &= _broken(reasoner)
    ids = tuple(s.id for s, on in zip(reasoner.machine.suspects, seen, strict=True) if on)
    expects = tuple((what, _must(reasoner, what, at.situation)) for what in whats)
    last = plan.acts[-1] if plan.acts else None
    has = doings(reasoner.machine)
    channel = plan.stop and last is not None and last.verb in ("press", "pull") and last.device in (*has.stops, *has.emergency_stops)  # fmt: skip
    stops = bool(turns_after(reasoner.machine, plan.acts[:-1]) - turns_after(reasoner.machine, plan.acts))
    return ProofCheck(plan.id, plan.words, at, expects, ids, channel, stops)


def _must(reasoner: Reasoner, what: Observable, situation: Situation) -> str:
    if isinstance(what, Meter):
        expected = reasoner.expected(what, situation)
        if what.mode == "low-impedance volts":
            expected = replace(expected, floating=False)
        plain = expected.words[:1].isdigit() and not expected.floating
        return f"{expected.words} V" if plain else expected.words
    table = reasoner.table(situation)
    return shows(reasoner.machine.net.signs[what.name], table.outcomes[table.healthy])


# ------------------------------------------------------------------------------------------------- what would show it


def _broken(reasoner: Reasoner) -> Bools:
    return np.array([s.broken and bool(s.edits) for s in reasoner.machine.suspects])


def _mask(reasoner: Reasoner, ids: Iterable[str]) -> Bools:
    wanted = set(ids)
    return np.array([s.id in wanted for s in reasoner.machine.suspects])


def _sure(table: Table, differs: Bools) -> Bools:
    """(suspects,) from (outcomes,): shown with a chance of at least `SURE`."""
    count = len(table.machine.suspects)
    chance = np.bincount(table.owner, weights=table.weight * differs, minlength=count)
    sure: Bools = np.greater_equal(chance, SURE)
    return sure


def _shows_up(reasoner: Reasoner, what: Observable, situation: Situation) -> Bools:
    """(suspects,) whether this observable would be seen to differ from a whole machine."""
    table = reasoner.table(situation)
    predicted = reasoner.predict(what, situation)
    healthy = table.owner == len(reasoner.machine.suspects) - 1
    if predicted.shown is not None:
        return _sure(table, ~np.isin(predicted.shown, predicted.shown[healthy]))
    least = LEAST_AMPS if isinstance(what, Meter) and what.mode == "amps" else LEAST_VOLTS
    differs = np.all(
        [_apart(predicted.value, float(usual), least) for usual in np.unique(predicted.value[healthy])], axis=0
    )
    if isinstance(what, Meter) and what.mode == "low-impedance volts":
        # This meter holds a point that nothing else holds: what floats reads nothing.
        return _sure(table, differs)
    return _sure(table, differs & ~predicted.floating & ~predicted.floating[healthy].any())


def _apart(value: npt.NDArray[np.float64], usual: float, least: float) -> Bools:
    apart: Bools = np.abs(value - usual) > np.maximum(least, LEAST_SHARE * np.maximum(np.abs(value), abs(usual)))
    return apart


def _stays_closed(reasoner: Reasoner, situation: Situation) -> Bools:
    """(suspects,) those under which a contact conducts that is open on a whole machine, or a state is stuck."""
    table = reasoner.table(situation)
    net = reasoner.machine.net
    contacts = np.array([isinstance(e.part, Switch) for e in net.elements])
    whole = np.abs(table.outcomes[table.healthy].network.ac_s) > STIFF_S
    closed = np.array([
        any(((np.abs(n.ac_s) > STIFF_S) & ~whole & contacts).any() for n in o.networks) for o in table.outcomes
    ])  # fmt: skip
    state = table.outcomes[table.healthy].state
    stuck = np.array([
        any(e.does == "stuck" and state.get(e.slot) != e.value for e in s.edits) for s in reasoner.machine.suspects
    ])  # fmt: skip
    found: Bools = np.greater(np.bincount(table.owner, weights=closed, minlength=len(stuck)), 0) | stuck
    return found


def _hunt(reasoner: Reasoner, situation: Situation, wanted: Bools) -> tuple[Observable, ...]:
    """Lights, else readings, that would show the wanted suspects; the one that shows most first."""
    chosen: list[Observable] = []
    if not wanted.any():
        return ()
    # Power is on: what is seen only with a cover off or a gauge in the hand is no part of it. Nor is how a load comes to
    # rest, which each check that stops it asks by itself.
    lights: list[Observable] = [
        Light(sign.name) if sign.kind == "light" else Look(sign.name)
        for sign in reasoner.machine.net.signs.values()
        if not sign.hands and sign.kind != "stop"
    ]
    plain, loading = _readings(reasoner.machine)
    reasoner.predict_all([*plain, *loading], situation)
    harmless: list[Observable] = []
    if wanted.any():
        useful = [m for m in loading if (_shows_up(reasoner, m, situation) & wanted).any()]
        harmless = [m for m in useful if not moved_by_meter(reasoner, m, situation)]
    for candidates in (lights, list(plain), harmless):
        shown = [(what, _shows_up(reasoner, what, situation)) for what in candidates]
        while wanted.any() and len(chosen) < MOST_READINGS:
            what, mask = max(shown, key=lambda pair: int((pair[1] & wanted).sum()), default=(None, wanted))
            if what is None or not (mask & wanted).any():
                break
            chosen.append(what)
            wanted = wanted & ~mask
    return tuple(chosen)


def _readings(machine: Machine) -> tuple[tuple[Meter, ...], tuple[Meter, ...]]:
    """Every terminal of what switches, to earth: in AC and DC, and with a low-impedance meter; enclosures first."""
    circuit = machine.circuit
    order = sorted(circuit.devices.values(), key=lambda d: not circuit.places[d.place].door)
    plain: list[Meter] = []
    loading: list[Meter] = []
    for device in order:
        earth = earth_pin(machine, device.place)
        if earth is None or device.kind in ("supply", "bar"):
            continue
        for pin in pins_of(machine, device.tag):
            if pin != earth:
                plain += [Meter("ac volts", pin, earth), Meter("dc volts", pin, earth)]
                loading.append(Meter("low-impedance volts", pin, earth))
    return tuple(plain), tuple(loading)
