"""What a job works with besides its events: one machine's reasoner, planner, trees, cautions, proof. Caches, no state."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.controller import inputs_of
from troubleshoot.circuit.kinds.points import INPUTS
from troubleshoot.circuit.model import Act, NamedSituation, Pin, Situation
from troubleshoot.diagnosis.confirm import CLAMP_AMPS, confirm_step, ends, isolated, stays_live
from troubleshoot.diagnosis.plan import Planner
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.diagnosis.step import Step
from troubleshoot.diagnosis.tables import Floats
from troubleshoot.evidence.baseline import Good
from troubleshoot.evidence.seen import Interval, Light, Look, Meter, Mode, Seen, Told, Word
from troubleshoot.faults.suspects import OUTSIDE, Suspect
from troubleshoot.job.state import State
from troubleshoot.machine import Machine
from troubleshoot.machine.amending import amended, get_change
from troubleshoot.program import WIDTH, draw
from troubleshoot.safety.caution import Caution, caution, prepare
from troubleshoot.safety.dead_test import earthed_nodes
from troubleshoot.safety.doings import UNBIDDEN, Channel, by_role, channels, doings, turns_after
from troubleshoot.safety.hazards import before_power, in_short
from troubleshoot.safety.isolation import Isolation, isolation, open_all
from troubleshoot.safety.proof import Proof, proof_run
from troubleshoot.safety.putting_right import POWER_OFF, letting_go, putting_right
from troubleshoot.trees.bind import Bound, bind
from troubleshoot.trees.faces import Faces
from troubleshoot.trees.model import Tree
from troubleshoot.trees.walk import Walk, walk

AS_FOUND = NamedSituation("as found", "as you found it", Situation("as-found"))
AT_REST = NamedSituation("at rest", "nobody at the buttons", Situation("rest"))


@dataclass
class Desk:
    """Everything computed for one machine; shared by every job, rehearsal and proof on it."""

    machine: Machine
    trees: Mapping[str, Tree]
    """By symptom. A tree that does not fit this machine is left out when it is bound; the engine then leads."""
    baseline: Mapping[tuple[Meter, str], Good] = field(default_factory=dict)
    """What it read when it was known to be good, by meter and name of the situation."""
    reasoner: Reasoner = field(init=False)
    planner: Planner = field(init=False)
    most_kept: int = 64
    """Answers of each sort that are kept, of those that change with every reading."""
    _cautions: dict[object, Caution] = field(default_factory=dict)
    _beliefs: dict[object, Floats] = field(default_factory=dict)
    _numbers: dict[tuple[Seen, ...], int] = field(default_factory=dict)
    _numbered: tuple[tuple[Seen, ...] | None, int] = (None, 0)
    _given: int = 0
    """Numbers given so far; none is given twice."""
    staged: tuple[object, Any] = (None, None)
    """The state that was asked about last and its stage (`stage_of`): a sheet and an answer ask about the same one."""
    _trips: dict[object, list[Step]] = field(default_factory=dict)
    _confirms: dict[object, Step | None] = field(default_factory=dict)
    _isolations: dict[tuple[Pin, ...], Isolation] = field(default_factory=dict)
    _bound: dict[str, Bound | None] = field(default_factory=dict)
    _walks: dict[object, Walk] = field(default_factory=dict)
    _put_right: dict[str, tuple[str, ...]] = field(default_factory=dict)
    _rungs: dict[Situation, tuple[tuple[Pin, ...], ...]] = field(default_factory=dict)
    _modes: dict[tuple[Pin, Pin], Mode] = field(default_factory=dict)
    _before_power: dict[object, tuple[str, ...]] = field(default_factory=dict)
    _turned: dict[tuple[Act, ...], dict[str, str]] = field(default_factory=dict)
    """By acts: the motors that turn on a whole machine before the last of them, and which way."""

    _amended: dict[tuple[str, ...], Desk] = field(default_factory=dict)
    _other_past: Desk | None = None

    def __post_init__(self) -> None:
        self.reasoner = Reasoner(self.machine)
        self.planner = Planner(self.reasoner)

    def beginning_with(self, beforehand: Floats) -> Desk:
        """A desk of its own whose belief begins with other chances. (suspects,), sums to 1. What is computed is shared."""
        other = Desk(self.machine, self.trees, self.baseline, most_kept=self.most_kept)
        other.reasoner = self.reasoner.with_prior(beforehand)
        other.planner = Planner(other.reasoner, self.planner.lists)
        return other

    @cached_property
    def after_work(self) -> Desk:
        """The same machine with what somebody who worked on it may have left behind among the suspects.

        A desk of its own, made when it is told: these suspects are many and unlikely, and every table with them takes
        half as long again.
        """
        return self if self.machine.wiring else Desk(self.machine.with_wiring(), self.trees, self.baseline)

    def with_past(self, past: Mapping[str, int]) -> Desk:
        """The same machine with this past (`State.past`); a desk of its own, kept, where it is another one."""
        machine = self.machine.with_past(past)
        if machine is self.machine:
            return self
        if self._other_past is None or self._other_past.machine.past != machine.past:
            self._other_past = Desk(machine, self.trees, self.baseline)
        return self._other_past

    def amended(self, changes: Sequence[Mapping[str, Any]]) -> Desk:
        """The same machine as it is described after these changes (`State.amended`); a desk of its own, kept."""
        if not changes:
            return self
        key = tuple(repr(sorted(change.items())) for change in changes)
        if key not in self._amended:
            if len(self._amended) > 8:
                self._amended.clear()
            said = [change for change in map(get_change, changes) if change is not None]
            machine = amended(self.machine, said)
            self._amended[key] = self if machine is self.machine else Desk(machine, self.trees, self.baseline)
        return self._amended[key]

    # ------------------------------------------------------------------------------------------------- situations

    def named(self, name: str, otherwise: NamedSituation) -> NamedSituation:
        """A situation of the circuit file, or the one that every machine has."""
        return self.machine.circuit.situations.get(name, otherwise)

    @cached_property
    def as_found(self) -> NamedSituation:
        return self.named("as found", AS_FOUND)

    @cached_property
    def at_rest(self) -> NamedSituation:
        return self.named("at rest", AT_REST)

    def shows(self, complaint: str) -> NamedSituation:
        """The situation in which a complaint is seen; at rest where the circuit file names none."""
        found = self.machine.circuit.complaints.get(complaint)
        return self.named(found.shows, by_role(self.machine).get(found.shows, self.at_rest)) if found else self.at_rest

    @cached_property
    def off(self) -> NamedSituation:
        """Every disconnect that is described open; what comes to it without one is opened only behind an isolation."""
        if self.machine.feeds and self.machine.own_disconnects:
            opened = Situation("rest", tuple(Act("open", tag) for tag in self.machine.own_disconnects))
            return NamedSituation("disconnect open", "disconnect off", opened)
        return self.named("isolated", by_role(self.machine).get("isolated", AT_REST))

    def places(self, state: State) -> list[NamedSituation]:
        """Situations in which a reading with power on may be asked for: where the complaint shows, and at rest.

        A machine that would not stop is not run again to be metered: with its stop held in and nobody at Start instead.
        """
        shows = self.shows(state.complaint)
        if state.complaint in UNBIDDEN:
            shows = by_role(self.machine).get("stop held at rest", self.at_rest)
        some = [shows, self.at_rest]
        if any(act.verb == "wait" for act in shows.situation.acts) and state.complaint not in UNBIDDEN:
            # What trips after a minute has dropped out by then: what the motor takes is read while it still runs.
            some[1:1] = [found for found in (by_role(self.machine).get("running"),) if found is not None]
        return list({n.situation: n for n in some}.values())

    @cached_property
    def channels(self) -> tuple[Channel, ...]:
        """Every stop button and emergency stop, tried on the running machine."""
        return channels(self.machine)

    @cached_property
    def stops(self) -> tuple[str, ...]:
        """Tags of the ordinary stop buttons."""
        return doings(self.machine).stops

    # ------------------------------------------------------------------------------------------------------ belief

    def belief(self, state: State) -> Floats:
        """Belief after all that this job has seen."""
        key = (self._number(state.evidence), state.repaired)
        if key not in self._beliefs:
            if len(self._beliefs) > self.most_kept:
                self._beliefs.clear()
            self._beliefs[key] = self.reasoner.belief(state.evidence, state.repaired)
        return self._beliefs[key]

    def _number(self, evidence: tuple[Seen, ...]) -> int:
        """A number that stands for all that was seen: asked for many times in one step, hashed once."""
        known, number = self._numbered
        if known is not evidence:
            if len(self._numbers) > self.most_kept:
                self._numbers.clear()
            self._given += evidence not in self._numbers
            number = self._numbers.setdefault(evidence, self._given)
            self._numbered = evidence, number
        return number

    def blown(self, state: State) -> float:
        """Chance that one and the same fuse has blown, whatever blew it: the highest of all fuses; 0 without any."""
        table = self.reasoner.table(self.at_rest.situation)
        chance = self.belief(state)[table.owner] * table.weight
        return max((float(chance[row].sum()) for row in self._blown_in), default=0.0)

    @cached_property
    def _blown_in(self) -> tuple[npt.NDArray[np.bool_], ...]:
        """Of each fuse: in which outcomes at rest it has blown."""
        fuses = [tag for tag, device in self.machine.circuit.devices.items() if device.kind == "fuse"]
        outcomes = self.reasoner.table(self.at_rest.situation).outcomes
        return tuple(np.array([o.state.get(tag) == "blown" for o in outcomes], np.bool_) for tag in fuses)

    def trips(self, state: State) -> list[Step]:
        """The engine's best trips from here, best first."""
        key = (self._number(state.evidence), state.repaired, state.out, state.complaint, state.phase)
        if key not in self._trips:
            if len(self._trips) > self.most_kept:
                self._trips.clear()
            done = frozenset(
                (s.what, s.at)
                for s in state.evidence
                if isinstance(s.what, Meter) and s.epoch == state.epoch and s.phase == state.phase
            )
            places = self.places(state)
            self._trips[key] = self.planner.trips(self.belief(state), places, done=done, cannot=state.out)
        return self._trips[key]

    def confirm(self, group: str, state: State) -> Step | None:
        """The test of one repair group before anything of it is replaced, from here; None where nothing shows it."""
        key = (group, self._number(state.evidence), state.repaired, state.out, state.complaint)
        if key not in self._confirms:
            if len(self._confirms) > self.most_kept:
                self._confirms.clear()
            places = [named for named in self.places(state) if named.name not in state.out]
            self._confirms[key] = confirm_step(
                self.reasoner, self.belief(state), group, places, state.out, state.evidence, state.repaired
            )
        return self._confirms[key]

    def isolation(self, points: tuple[Pin, ...]) -> Isolation:
        """The steps before work at some points.

        What stays live with the disconnect open cannot be proved dead here: its repair is for whoever isolates upstream.
        """
        if points not in self._isolations:
            here = tuple(p for p in points if p not in self.live_when_dead)
            self._isolations[points] = isolation(self.reasoner, here)
        return self._isolations[points]

    # -------------------------------------------------------------------------------------------------------- tree

    def bound(self, complaint: str) -> Bound | None:
        """The tree of a complaint bound to this machine; None where there is none or it does not fit."""
        if complaint not in self._bound:
            tree = self.trees.get(complaint)
            found = bind(tree, self.reasoner, self.trees) if tree else None
            self._bound[complaint] = None if isinstance(found, tuple) else found
        return self._bound[complaint]

    def walk(self, state: State) -> Walk | None:
        """Where the tree stands: a replay of it over the evidence."""
        bound = self.bound(state.complaint)
        if bound is None:
            return None
        key = (self._number(state.evidence), state.phase, state.complaint, state.repaired, state.out)
        if key not in self._walks:
            if len(self._walks) > self.most_kept:
                self._walks.clear()
            # What was seen while it worked is asked again now that it fails, and the other way round.
            now = tuple(s for s in state.evidence if s.phase == state.phase or isinstance(s.what, Told))
            self._walks[key] = walk(bound, now, cannot=state.out, epoch=state.epoch, repaired=state.repaired)
        return self._walks[key]

    # ----------------------------------------------------------------------------------------------------- look first

    def looks(self) -> tuple[Look, ...]:
        """Everything that can be looked at walking round."""
        return tuple(Look(s.name) for s in self.machine.net.signs.values() if s.kind == "look")

    def lights(self) -> tuple[Light, ...]:
        """Every lamp and indicator, in rack order."""
        return tuple(Light(s.name) for s in self.machine.net.signs.values() if s.kind == "light")

    def shown(self, item: Light | Look, named: NamedSituation) -> str:
        """What a healthy machine shows there."""
        predicted = self.reasoner.predict(item, named.situation)
        assert predicted.shown is not None
        return str(predicted.shown[self.reasoner.table(named.situation).healthy])

    def values(self, item: Light | Look, named: NamedSituation) -> tuple[str, ...]:
        """What can be seen there: first what should be, then the rest as its kind lists it, last that it comes and goes.

        So one tap on a motor that should turn says that it stands still, whichever way round it should turn; and one on a
        motor that should have stopped says that it turns on as it did.
        """
        sign = self.machine.net.signs[item.name]
        acts = named.situation.acts
        if acts not in self._turned:
            self._turned[acts] = dict(turns_after(self.machine, acts[:-1])) if acts else {}
        before = self._turned[acts].get(sign.var)
        first = (
            self.shown(item, named),
            *((sign.shows[before],) if before is not None and before in sign.shows else ()),
        )
        # A switch, a handle or a lever is set by a hand: it does not come and go.
        moves = () if sign.var in self.machine.net.controls else (Word.UNSTEADY.value,)
        return tuple(dict.fromkeys((*first, *sign.shows.values(), *moves)))

    # ------------------------------------------------------------------------------------------------------- points

    @cached_property
    def earthed(self) -> frozenset[Pin]:
        """Every terminal that conductors alone tie to earth: against it or against earth at hand is the same."""
        nodes = earthed_nodes(self.machine)
        return frozenset(p for p in self.pins.values() if self.machine.net.node(p) in nodes)

    def away(self, meter: Meter) -> bool:
        """Whether the black lead would have to lie at another place than the red one."""
        devices = self.machine.circuit.devices
        return devices[meter.red.device].place != devices[meter.black.device].place

    def rungs(self, situation: Situation) -> tuple[tuple[Pin, ...], ...]:
        """Paths worth drawing: from the source through every coil, and to every input, where they are closed."""
        if situation not in self._rungs:
            faces = Faces(self.reasoner)
            wiring = faces.wiring(situation)
            found = []
            for device in self.machine.circuit.devices.values():
                kind = KINDS[device.kind]
                pair = kind.faces(device).get("coil")
                if pair is not None:
                    hot, back = faces.sides((Pin(device.tag, pair[0]), Pin(device.tag, pair[1])), situation)
                    # What pulls it in, the held button; its own contact carries nothing before it is in.
                    kind_of = faces.net(hot, situation)
                    path = wiring.source_path(hot, kind_of, wiring.own(device.tag)) or wiring.source_path(hot, kind_of)
                    found.append((*path, back) if path else ())
            found += [
                wiring.source_path(Pin(device.tag, point.terminal), INPUTS[group.what].net)
                for device in self.machine.circuit.devices.values()
                if device.kind == "plc"
                for group in inputs_of(device)
                for point in group.points
            ]
            self._rungs[situation] = tuple(path for path in found if len(path) > 2)
        return self._rungs[situation]

    def act_hazards(self, state: State, suspect: Suspect) -> tuple[str, ...]:
        """What releasing, resetting or switching back a condition, or putting a program right, may move, in words.

        Said before it is done. With power off nothing moves by it: what starts with the power stands on the page before that.
        """
        if suspect.broken:
            return ()
        if not state.power:
            return (POWER_OFF,)
        if suspect.id not in self._put_right:
            self._put_right[suspect.id] = putting_right(self.reasoner, suspect)
        return self._put_right[suspect.id]

    @cached_property
    def let_go_hazards(self) -> tuple[str, ...]:
        """What putting back a forced value, a sensor or a switch pushed aside may start with power on, in words."""
        return letting_go(self.reasoner)

    def rung_to_compare(self, state: State, var: str, width: int) -> tuple[str, ...]:
        """The rung as it is described that the likeliest program suspect would have otherwise; empty where it is in none.

        var: state variable of what is compared.
        """
        belief = self.belief(state)
        suspects = self.machine.suspects
        doubted = [k for k, s in enumerate(suspects) if any(e.slot == var for e in s.edits)]
        if not doubted or self.machine.program is None:
            return ()
        likeliest = suspects[max(doubted, key=lambda k: belief[k])]
        change = next((self.machine.changes[e.slot] for e in likeliest.edits if e.does == "program"), None)
        return draw(self.machine.program, change.of, width=min(WIDTH, width)) if change is not None else ()

    @cached_property
    def pins(self) -> Mapping[str, Pin]:
        """Every terminal by its name in capitals: how a person types it."""
        return {name.upper(): Pin(*name.split(":", 1)) for name in self.machine.net.nodes if "@" not in name}

    def mode_between(self, red: Pin, black: Pin) -> Mode:
        """The volts mode that makes sense between two points: what any suspect can put there most of."""
        if (red, black) not in self._modes:
            table = self.reasoner.table(self.at_rest.situation)
            ac, dc = (float(table.open_volts(kind, [(red, black)]).max()) for kind in ("ac", "dc"))
            self._modes[red, black] = "dc volts" if dc > ac else "ac volts"
        return self._modes[red, black]

    def points_of(self, group: str) -> tuple[Pin, ...]:
        """Where the hands go to mend a repair group: both ends of what its suspects change, one point a conductor."""
        number = {p: h.number for h in self.machine.circuit.hops for p in (h.a, h.b)}
        found: dict[object, Pin] = {}
        earth_fault = group.startswith("earth fault")
        for suspect in self.machine.suspects:
            if suspect.group == group:
                for pin in (p for pair in ends(self.reasoner, suspect) for p in pair):
                    found.setdefault(number.get(pin, pin) if earth_fault else pin, pin)
        return tuple(found.values())

    @cached_property
    def live_when_dead(self) -> frozenset[Pin]:
        """Every terminal that stays live with the disconnect open."""
        dead = isolated(self.reasoner)
        return frozenset(stays_live(self.reasoner, dead[0], self.pins.values())) if dead else frozenset()

    def as_it_should(self, meter: Meter, named: NamedSituation, understood: Interval | Word | str) -> bool:
        """Whether a reading is what a healthy machine gives, with ordinary plant volts and meters."""
        predicted = self.reasoner.predict(meter, named.situation)
        right = abs(predicted.right)
        if isinstance(understood, Interval):
            value = abs(understood.middle)
            if understood.unit == "ohm":
                # Too few ohms are as wrong as too many: a shorted coil, a conductor on earth. The leads give or take 2.
                return value > 1e6 if right > 1e6 else right / 2 - 2 <= value <= 2 * right + 2
            if understood.unit == "A":
                return 0.5 * right <= value <= 1.3 * right + 0.3
            expected = self.reasoner.expected(meter, named.situation)
            if expected.floating:
                return value <= expected.high + 0.03 * predicted.scale
            return abs(value - right) <= 0.12 * right + 0.03 * predicted.scale
        if understood is Word.RIGHT:
            return True
        if understood is Word.NOTHING:
            return right < CLAMP_AMPS / 2 if meter.mode == "amps" else right <= 0.1 * predicted.scale
        return understood is Word.OL and right > 1e6

    # -------------------------------------------------------------------------------------------------- power, proof

    def before_power(self, state: State) -> tuple[str, ...]:
        """What to know before power is put on, over what is still likely, in words."""
        key = (self._number(state.evidence), state.repaired)
        if key not in self._before_power:
            if len(self._before_power) > self.most_kept:
                self._before_power.clear()
            belief = self.belief(state)
            self._before_power[key] = in_short(self.reasoner, belief, before_power(self.reasoner, belief))
        return self._before_power[key]

    def starting(self, state: State) -> tuple[int, int]:
        """Repairs still likely, and how many of them have a motor run as soon as power is back, nobody at the buttons."""
        belief = self.belief(state)
        likely = [group for group, chance in self.reasoner.groups(belief) if chance > 0.005 and group != OUTSIDE]
        moves = self.reasoner.moves_otherwise(self.at_rest.situation) > 0.5
        by_itself = {s.group for s, on, p in zip(self.machine.suspects, moves, belief, strict=True) if on and p > 0.001}
        return sum(group in by_itself for group in likely), len(likely)

    @cached_property
    def proof(self) -> Proof:
        """The proof run of this machine."""
        return proof_run(self.reasoner)

    def know_proof(self, proof: Proof) -> None:
        """Take the proof run as another process worked it out for this very machine."""
        self.__dict__["proof"] = proof

    def not_proved(self, state: State) -> tuple[str, ...]:
        """What hands over unproved: what was left out, and what no check can show."""
        return (*self.left_out(state), *self.proof.not_proved)

    def left_out(self, state: State) -> tuple[str, ...]:
        """The checks that were not passed: by their currents alone, or because they could not be done, stops first."""
        undone = self.proof.undone(state.out)
        skipped = []
        for check in sorted(self.proof.checks, key=lambda c: not c.stops):
            if (needed := undone.get(check.id)) is not None:
                own = needed.id == check.id
                why = "could not be done" if own else f"not offered: needs check {self.proof.number(needed.id)}"
                skipped.append(f"{check.words} ({why})")
            elif state.proof.get(check.id) is False and check.id not in state.uneven:
                skipped.append(f"{check.words.rstrip('.')}: its readings (could not be done)")
        words = {c.id: c.words for c in self.proof.checks}
        uneven = [
            f"{words.get(check, check)} (currents {percent:.0f} % uneven)" for check, percent in state.uneven.items()
        ]
        return (*uneven, *skipped)

    def stop_failed(self, state: State) -> bool:
        """The complaint was a stop that did not stop, or what was mended had a stop fail: hand back needs a second name."""
        if state.complaint in UNBIDDEN:
            return True
        ids = {r.suspect for r in state.repaired}
        stops = {tag for role in ("stop", "emergency stop") for tag in self.machine.circuit.roles.get(role, ())}
        mended = [k for k, s in enumerate(self.machine.suspects) if s.id in ids and s.broken]
        if any(self.machine.suspects[k].id.split(" ")[0] in stops for k in mended):
            return True
        if not mended or "wont-stop" not in self.machine.circuit.complaints:
            return False
        return bool((self.reasoner.moves_otherwise(self.shows("wont-stop").situation)[mended] > 0.5).any())

    def all_proved(self, state: State) -> bool:
        """Every check of the proof run was done and showed what it must."""
        return all(state.proof.get(c.id) for c in self.proof.checks)

    def stops_left(self, state: State) -> tuple[str, ...]:
        """The checks in which what turns must stop that are not proved, in words."""
        return tuple(c.words for c in self.proof.checks if c.stops and not state.proof.get(c.id))

    def unproved_stops(self, state: State) -> tuple[str, ...]:
        """After a stop had failed: the checks of single stop channels that were not done, in words."""
        if not self.stop_failed(state):
            return ()
        return tuple(c.words for c in self.proof.checks if c.channel and not state.proof.get(c.id))

    # ------------------------------------------------------------------------------------------------------ cautions

    def caution(
        self, readings: Sequence[Meter], named: NamedSituation, state: State, *, locked: bool = False
    ) -> Caution:
        """The caution of one trip, for this person, saying first what is new since the one accepted last.

        locked: it is for a dead test, with the disconnect open.
        """
        before = None
        if state.warned is not None and state.warned[0]:
            readings_before, then = state.warned
            before = self._caution(
                readings_before, then.situation, state.who, None, then.hands, (), locked=state.warned_locked
            )
        return self._caution(
            tuple(readings), named.situation, state.who, before, named.hands, self.humming(state), locked=locked,
            clipped=state.clip is not None and bool(state.clip.on) and not locked,
        )  # fmt: skip

    def humming(self, state: State) -> tuple[str, ...]:
        """Motors that were seen to hum since the last repair, and not to do otherwise after that."""
        last: dict[str, str] = {}
        for seen in state.evidence:
            if isinstance(seen.what, Look) and seen.epoch == state.epoch and isinstance(seen.understood, str):
                last[seen.what.name] = seen.understood
        signs, motors = self.machine.net.signs, {m.var for m in self.machine.net.motors}
        return tuple(
            signs[name].var
            for name, shown in last.items()
            if name in signs and signs[name].var in motors and shown == signs[name].shows.get("humming")
        )

    def _caution(
        self, readings: tuple[Meter, ...], situation: Situation, who: str, before: Caution | None, hands: int,
        stalled: tuple[str, ...], *, locked: bool, clipped: bool = False,
    ) -> Caution:  # fmt: skip
        key = (readings, situation, who, before.digest if before else "", hands, stalled, locked, clipped)
        if key not in self._cautions:
            self._cautions[key] = caution(
                self.reasoner, readings, situation, person=who, before=before, hands=hands, stalled=stalled,
                locked=open_all(self.machine) if locked and self.machine.disconnects else None, clipped=clipped,
            )  # fmt: skip
        return self._cautions[key]

    def prepare(self, named: NamedSituation) -> None:
        """Compute what the cautions of one situation need."""
        prepare(self.reasoner, named.situation)
