"""What acts and faults do to people on a machine, played through the oracle alone.

Nothing of `safety` or `solve` is used: how a machine is made to run, which acts are tried, what counts as moving and when
it counts as a hazard are written here again, from the roles of the circuit file and the words of docs/safety.md. Volts and
settling are `against.dense`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import NamedTuple

from against.dense import EARTH, Answer, Branch, Panel, in_two
from against.from_text import FromText

from troubleshoot.circuit.model import Act, Circuit, Device, Situation
from troubleshoot.machine import Machine
from troubleshoot.program import changes
from troubleshoot.program.printing import program_text
from troubleshoot.solve.edits import Edit

NOTHING_WRONG = "nothing wrong"
POSSIBLE, LIKELY = 0.05, 0.5
"""Least chance, given a fault, at which what an act does is told; at which a state of rest is."""
IN_DOUBT = 0.02
"""Beside those: the oracle follows every threshold to the end, the program keeps the four likeliest ends."""
LIVE_V, DOUBTFUL_V = 50.0, 0.5
"""OSHA 29 CFR 1910.333(a)(1); so near to it that a microvolt must not decide."""
METER_OHMS, METER_FARADS = 3000.0, 100e-12
"""A low-impedance tester: 3 kilohm (common practice), and its leads."""
PROCESS = ("process switch", "two-wire sensor", "three-wire sensor")
TURNING = ("turning", "turning backward")


class Told(NamedTuple):
    """One hazard: its sort, the act (empty: none), in which situation, and with what wrong."""

    sort: str
    act: str
    at: str
    cause: str


@dataclass(frozen=True)
class Fault:
    """One thing wrong, as the oracle needs it."""

    id: str
    edits: tuple[Edit, ...]
    text: str = ""
    """The controller's program as it is loaded; empty where there is none."""
    mended: str = ""
    """As it is once nothing is forced any more."""


@dataclass(frozen=True)
class End:
    """What matters to people of one way in which it ends."""

    weight: float
    moves: frozenset[str]
    """``M1 turns``, ``M1 forward``, ``M1 hums``, ``YB1 free``, ``YB1 slides``, ``KM1 in``: at rest, or at some moment of a chatter."""
    live: frozenset[str]
    doubtful: frozenset[str]
    """Terminals above 50 V to earth; those too near to it to say."""
    hangs_on: str
    moment: tuple[int, int]
    """As of an `Answer`."""


Ends = Mapping[Situation, Sequence[End]]
Range = tuple[float, float]
"""The least and the most that a chance may be: they differ where an act came in the middle of a chatter."""


@dataclass
class Played:
    """One machine with a set of faults, every act worth trying done to it under each of them."""

    machine: Machine
    ids: Sequence[str]
    """Of the faults to play; the machine with nothing wrong is always played."""
    whole: dict[Situation, Sequence[End]] = field(default_factory=dict)

    @property
    def circuit(self) -> Circuit:
        return self.machine.circuit

    @cached_property
    def faults(self) -> list[Fault]:
        made = {}
        if self.machine.program is not None:
            made = {c.id: c.made(self.machine.program) for c in changes(self.machine.program, self.machine.points)}
        as_drawn = self.circuit.program.text if self.circuit.program else ""
        wanted, found = set(self.ids), []
        for suspect in self.machine.suspects:
            if suspect.id in wanted:
                program = [(e.slot, e.value) for e in suspect.edits if e.does == "program"]
                text = program_text(made[program[0][0]]) if program else as_drawn
                forced = any(sort == "forced" for _, sort in program)
                found.append(Fault(suspect.id, suspect.edits, text, as_drawn if forced else text))
        return found

    # ------------------------------------------------------------------------------------ with nothing wrong, as it goes

    def sound(self, situation: Situation) -> Sequence[End]:
        """How it ends with nothing wrong."""
        if situation not in self.whole:
            text = self.circuit.program.text if self.circuit.program else ""
            self.whole |= ends_of(self.circuit, [situation], [Fault("", (), text, text)])[0]
        return self.whole[situation]

    def goes(self, *acts: Act) -> frozenset[str]:
        """Which motors turn after these acts, and which way."""
        return frozenset(
            m for end in self.sound(after(*acts)) for m in end.moves if m.endswith(("forward", "backward"))
        )

    def having(self, role: str, *kinds: str) -> list[str]:
        """Devices with this role that have something to move, and all of these kinds."""
        movable = {
            "push button", "emergency stop", "pull cord", "selector", "overload", "disconnect", "breaker", *PROCESS
        }  # fmt: skip
        named = [t for t in self.circuit.roles.get(role, ()) if self.circuit.devices[t].kind in movable]
        return [*dict.fromkeys(named + [d.tag for d in self.circuit.devices.values() if d.kind in kinds])]

    def elsewhere(self, tag: str) -> list[Act]:
        """Everything that a switch can be turned to and usually is not."""
        return [Act("put", tag, p) for p in self.circuit.devices[tag].ratings["positions"] if p != self.usual(tag)]

    def usual(self, tag: str) -> str:
        ratings = self.circuit.devices[tag].ratings
        return str(ratings["usual"] or ratings["positions"][0])

    @cached_property
    def starts(self) -> list[str]:
        return self.having("start")

    @cached_property
    def stops(self) -> list[str]:
        return self.having("stop")

    @cached_property
    def heads(self) -> list[str]:
        return self.having("emergency stop", "emergency stop", "pull cord")

    @cached_property
    def modes(self) -> list[str]:
        return [t for t in self.having("mode", "selector") if self.circuit.devices[t].kind == "selector"]

    @cached_property
    def process(self) -> list[Act]:
        return [a for d in self.circuit.devices.values() if d.kind in PROCESS for a in self.elsewhere(d.tag)]

    @cached_property
    def resetting(self) -> list[Act]:
        """What a safety circuit asks for first."""
        return [act for tag in self.having("reset") for act in pressed(tag)]

    @cached_property
    def runs(self) -> list[tuple[list[Act], list[Act]]]:
        """How it is made to run, and what is still held then: one way for every set of motors that turn which no other way
        has among its own. A start that may be let go is let go."""
        tried: list[tuple[list[Act], list[Act]]] = []
        for tag in self.starts:
            press, release = pressed(tag)
            tried += [([*self.resetting, press, release], []), ([*self.resetting, press], [release])]
        if len(self.starts) > 1:
            tried.append(([*self.resetting, *(a for tag in self.starts for a in pressed(tag))], []))
        if not self.starts:
            tried += [([act], []) for act in (*self.process, *(a for tag in self.modes for a in self.elsewhere(tag)))]
        moving = [(self.goes(*acts), acts, held) for acts, held in tried]
        moving.sort(key=lambda way: (-len(way[0]), len(way[2])))
        kept: list[tuple[frozenset[str], list[Act], list[Act]]] = []
        for goes, acts, held in moving:
            if goes and not any(goes <= other for other, _, _ in kept):
                kept.append((goes, acts, held))
        return [(acts, held) for _, acts, held in kept]

    @cached_property
    def tries(self) -> list[tuple[Situation, Act]]:
        """What may be done when: to what runs, to what stands, and after it was stopped."""
        found: list[tuple[Situation, Act]] = []
        offs = self.having("disconnect", "disconnect")
        found += [(after(Act("open", tag)), Act("close", tag)) for tag in offs]
        runs = self.runs or [([*self.resetting, *(a for tag in self.starts[:1] for a in pressed(tag))], [])]
        for run, held in runs:
            # Whatever stops it does so while it runs; what undoes that comes when nobody holds a button any more.
            stopping = [(Act("open", tag), Act("close", tag)) for tag in offs]
            stopping += [(Act("trip", tag), Act("reset", tag)) for tag in self.having("overload", "overload")]
            stopping += [self.there_and_back(tag) for tag in (*self.heads, *self.stops)]
            turned = [] if self.stops else [a for tag in self.modes for a in self.elsewhere(tag)]
            for act in (*self.process, *turned):
                if act not in run and self.goes(*run, act) < self.goes(*run):
                    if act.device in self.modes:
                        found.append((after(*run), act))
                    else:
                        stopping.append((act, Act("put", act.device, self.usual(act.device))))
            for stop, undo in stopping:
                found += [(after(*run), stop), (after(*run, stop, *held), undo)]
            found.append((after(*run, Act("lose power"), *held), Act("restore power")))
            found += [(after(*run), act) for act in held]
            for tag in self.heads:
                done = [*run, self.there_and_back(tag)[0], *held, self.there_and_back(tag)[1]]
                for k, act in enumerate(self.resetting):
                    found.append((after(*done, *self.resetting[:k]), act))
            for d in self.circuit.devices.values():
                if d.kind == "fuse":
                    blown = frozenset({(d.tag, "blown")})
                    found.append((Situation("rest", (*run, *held), blown), Act("refit", d.tag)))
            found.append((after(*run), Act("heal")))
        found.append((after(), Act("heal")))
        for act in (*(self.there_and_back(tag)[0] for tag in self.stops), *self.process):
            if self.goes(*self.resetting, act):
                found.append((after(*self.resetting), act))
        for tag in self.modes:
            for act in self.elsewhere(tag):
                found += [(after(), act), (after(act), Act("put", tag, self.usual(tag)))]
        return [*dict.fromkeys(found)]

    def there_and_back(self, tag: str) -> tuple[Act, Act]:
        return (
            (Act("pull", tag), Act("reset", tag))
            if self.circuit.devices[tag].kind == "pull cord"
            else (Act("press", tag), Act("release", tag))
        )

    @cached_property
    def jogs(self) -> list[tuple[Situation, Act]]:
        """A start held and let go with a mode switch in each of its positions."""
        return [
            (after(Act("put", tag, position), *self.resetting, press), release)
            for tag in self.modes for position in self.circuit.devices[tag].ratings["positions"]
            for press, release in map(pressed, self.starts[:1])
        ]  # fmt: skip

    @cached_property
    def all_off(self) -> Situation:
        return after(*(Act("open", tag) for tag in self.having("disconnect", "disconnect")))

    # --------------------------------------------------------------------------------------------------- what it may do

    @cached_property
    def played(self) -> list[tuple[str, Ends]]:
        """Every fault's id, nothing wrong first, with its ends in every situation that is asked about."""
        asked = {after(), self.all_off}
        for situation, act in (*self.tries, *self.jogs):
            asked |= {situation, then(situation, act)}
        text = self.circuit.program.text if self.circuit.program else ""
        every = [Fault(NOTHING_WRONG, (), text, text), *self.faults]
        found = ends_of(self.circuit, [*asked], every)
        return list(zip((fault.id for fault in every), found, strict=True))

    def told(self) -> tuple[set[Told], set[Told]]:
        """What is a hazard for sure; and that with all that lies too near a limit, or hangs on the moment of an act."""
        surely: set[Told] = set()
        perhaps: set[Told] = set()
        for (sort, act, at), what, least in self.questions():
            values = {cause: what(ends) for cause, ends in self.played}
            whole, most = values.pop(NOTHING_WRONG)
            assert whole == most, f"{sort} {act} {at}: nothing may be in doubt with nothing wrong"
            if whole:
                surely.add(Told(sort, act, at, NOTHING_WRONG))
                continue
            for cause, (low, high) in values.items():
                if low >= least + IN_DOUBT:
                    surely.add(Told(sort, act, at, cause))
                if high >= least - IN_DOUBT:
                    perhaps.add(Told(sort, act, at, cause))
        one, other = self.live()
        return surely | one, surely | one | perhaps | other

    def live(self) -> tuple[set[Told], set[Told]]:
        """What is live with everything off: with nothing wrong, and what more is under a fault."""
        surely: set[Told] = set()
        perhaps: set[Told] = set()
        (_, sound), *others = self.played
        if self.all_off.acts:
            known = frozenset().union(*(end.live | end.doubtful for end in sound[self.all_off]))
            told = partial(Told, "stays live", "", str(self.all_off))
            if live(self.all_off, frozenset(), sound)[0] >= LIKELY:
                surely.add(told(NOTHING_WRONG))
            for cause, ends in others:
                low, high = live(self.all_off, known, ends)
                if low >= LIKELY + IN_DOUBT:
                    surely.add(told(cause))
                if high >= LIKELY - IN_DOUBT:
                    perhaps.add(told(cause))
        return surely, perhaps

    def questions(self) -> Iterator[tuple[tuple[str, str, str], Callable[[Ends], Range], float]]:
        """Sort, act and situation; the chance of it; from which chance on it is told."""
        at_rest = after()
        for motor in self.of_kind("motor"):
            yield ("starts at rest", "", str(at_rest)), partial(chance, f"{motor} turns", at_rest), LIKELY
        for brake in self.brakes:
            yield ("brake free", "", str(at_rest)), partial(chance, f"{brake} free", at_rest), LIKELY
            yield ("brake free", "", str(at_rest)), partial(chance, f"{brake} slides", at_rest), LIKELY
        for situation, act in self.tries:
            at, behind = str(situation), then(situation, act)
            for motor in self.of_kind("motor"):
                what = f"{motor} turns"
                if self.is_to_stop(what, situation, behind):
                    yield ("does not stop", str(act), at), partial(both, what, situation, behind), POSSIBLE
                meant = act.verb == "press" and act.device not in (*self.heads, *self.stops)
                if not (meant and rise(what, situation, behind, dict(self.played)[NOTHING_WRONG])[0]):
                    sort = "restarts" if self.has_turned(motor, situation) else "starts by an act"
                    yield (sort, str(act), at), partial(rise, what, situation, behind), POSSIBLE
            for brake in self.brakes:
                yield ("brake free", str(act), at), partial(rise, f"{brake} free", situation, behind), POSSIBLE
        for held, act in self.jogs:
            let_go = then(held, act)
            for motor in self.of_kind("motor"):
                what = f"{motor} turns"
                if self.is_to_stop(what, held, let_go):
                    yield ("jog does not let go", str(act), str(let_go)), partial(both, what, held, let_go), LIKELY
        for tag in (*self.heads, *self.stops):
            stop, _ = self.there_and_back(tag)
            for motor in self.of_kind("motor"):
                what = f"{motor} turns"
                pairs = [(after(*run), after(*run, stop)) for run, _ in self.runs]
                pairs = [pair for pair in pairs if self.is_to_stop(what, *pair)]
                if pairs:
                    yield ("one channel", str(stop), str(pairs[0][1])), partial(worst_of, what, pairs), LIKELY

    @cached_property
    def brakes(self) -> list[str]:
        return self.of_kind("brake")

    def of_kind(self, kind: str) -> list[str]:
        return [d.tag for d in self.circuit.devices.values() if d.kind == kind]

    def is_to_stop(self, what: str, before: Situation, behind: Situation) -> bool:
        """With nothing wrong it turns before, and stands behind."""
        ends = dict(self.played)[NOTHING_WRONG]
        return chance(what, before, ends)[0] > 0 and both(what, before, behind, ends)[0] == 0

    def has_turned(self, motor: str, situation: Situation) -> bool:
        """With nothing wrong, at some moment since power came on."""
        return any(
            f"{motor} turns" in end.moves
            for k in range(len(situation.acts) + 1)
            for end in self.sound(replace(situation, acts=situation.acts[:k]))
        )

    # ------------------------------------------------------------------------------------------- a meter laid across it

    def meters(self) -> set[tuple[str, str]]:
        """Terminals of one device across which a low-impedance meter changes what moves, at rest, with nothing wrong."""
        text = self.circuit.program.text if self.circuit.program else ""
        plain, found = self.sound(after()), set()
        for a, b in self.across():
            s = 1 / METER_OHMS + 2j * math.pi * Panel(self.circuit, None).hertz() * METER_FARADS
            panel = Panel(self.circuit, FromText(text) if text else None, laid=(Branch("meter", a, b, s, s.real),))
            laid = [end_of(self.circuit, answer) for answer in panel.answers((), after())]
            if {end.moves for end in laid} != {end.moves for end in plain}:
                found.add((a, b))
        return found

    def across(self) -> list[tuple[str, str]]:
        """Both ends of everything inside a device that joins two of its terminals, or may."""
        panel = Panel(self.circuit, None)
        found = []
        for d in self.circuit.devices.values():
            if d.kind not in ("motor", "plc", "supply"):
                ends = [(a, b) for _, a, b, *_ in panel.of_device(d, panel.at_rest())]
                if d.kind == "safety relay":
                    ends += [("S11", "S12"), ("S21", "S22"), ("S33", "S34")]
                found += [(panel.at(d, a), panel.at(d, b)) for a, b in ends if EARTH not in (a, b) and "@" not in a + b]
        return [*dict.fromkeys(found)]


# ------------------------------------------------------------------------------------------------------------ the oracle


def ends_of(
    circuit: Circuit, situations: Sequence[Situation], faults: Sequence[Fault]
) -> list[dict[Situation, list[End]]]:
    """For every fault its ends in every situation; many faults in two processes."""
    answer = partial(_ends, circuit, situations)
    return answer([*faults]) if len(faults) == 1 else in_two(answer, faults)


def _ends(circuit: Circuit, situations: Sequence[Situation], faults: list[Fault]) -> list[dict[Situation, list[End]]]:
    out = []
    for fault in faults:
        panel = Panel(
            circuit, FromText(fault.text) if fault.text else None, FromText(fault.mended) if fault.mended else None,
            any_moment=True,
        )  # fmt: skip
        out.append({
            situation: [end_of(circuit, answer) for answer in panel.answers(fault.edits, situation)]
            for situation in situations
        })  # fmt: skip
    return out


def end_of(circuit: Circuit, answer: Answer) -> End:
    moves: set[str] = set()
    for state in answer.states:
        for d in circuit.devices.values():
            moves |= set(_moves(d, state))
    live: set[str] = set()
    doubtful: set[str] = set()
    for name, at in answer.volts.nodes.items():
        high = max(abs(answer.volts.ac[at]), abs(answer.volts.dc[at]))
        if "@" not in name and abs(high - LIVE_V) < DOUBTFUL_V:
            doubtful.add(name)
        elif "@" not in name and high > LIVE_V:
            live.add(name)
    return End(answer.weight, frozenset(moves), frozenset(live), frozenset(doubtful), answer.hangs_on, answer.moment)


def _moves(d: Device, state: Mapping[str, str]) -> Iterator[str]:
    here = state.get(d.tag, "")
    if d.kind == "motor" and here in TURNING:
        yield f"{d.tag} turns"
        yield f"{d.tag} backward" if here == "turning backward" else f"{d.tag} forward"
    if d.kind == "motor" and here == "humming":
        yield f"{d.tag} hums"
    if d.kind == "contactor" and here == "in":
        yield f"{d.tag} in"
    if d.kind == "brake" and here == "released" and state[str(d.ratings["holds"])] not in TURNING:
        yield f"{d.tag} free"
    if d.kind == "brake" and here == "set" and state[f"{d.tag} lining"] in ("worn", "oily"):
        yield f"{d.tag} slides"


# ---------------------------------------------------------------------------------------------------------- small words


def after(*acts: Act) -> Situation:
    return Situation("rest", acts)


def then(situation: Situation, act: Act) -> Situation:
    return replace(situation, acts=(*situation.acts, act))


def pressed(tag: str) -> tuple[Act, Act]:
    return Act("press", tag), Act("release", tag)


def chance(what: str, at: Situation, ends: Ends) -> Range:
    """Chance of a move in a situation, at the worst and at the best moment of a chatter for an act to come."""
    return share_of(ends[at], [what in end.moves for end in ends[at]])


def share_of(found: Sequence[End], hit: Sequence[bool]) -> Range:
    sure = unknown = 0.0
    by_moment: dict[int, float] = {}
    for end, does in zip(found, hit, strict=True):
        moment, count = end.moment
        if end.hangs_on == "history":
            unknown += end.weight
        elif end.hangs_on == "moment":
            by_moment[moment] = by_moment.get(moment, 0.0) + does * count * end.weight
        elif does:
            sure += end.weight
    total = sum(end.weight for end in found)
    moments = by_moment.values() or [0.0]
    return (sure + min(moments)) / total, (sure + max(moments) + unknown) / total


def both(what: str, before: Situation, behind: Situation, ends: Ends) -> Range:
    (p, most_p), (q, most_q) = chance(what, before, ends), chance(what, behind, ends)
    return min(p, q), min(most_p, most_q)


def rise(what: str, before: Situation, behind: Situation, ends: Ends) -> Range:
    (p, most_p), (q, most_q) = chance(what, before, ends), chance(what, behind, ends)
    return tuple(d if d > 1e-6 else 0.0 for d in (q - most_p, most_q - p))  # type: ignore[return-value]


def worst_of(what: str, pairs: Iterable[tuple[Situation, Situation]], ends: Ends) -> Range:
    found = [both(what, before, behind, ends) for before, behind in pairs]
    return max(low for low, _ in found), max(high for _, high in found)


def live(at: Situation, known: frozenset[str], ends: Ends) -> Range:
    """The likeliest terminal that is live, those that are known to be left out."""
    found = ends[at]
    pins = frozenset().union(*(end.live | end.doubtful for end in found)) - known
    low = [share_of(found, [pin in end.live for end in found])[0] for pin in pins]
    high = [share_of(found, [pin in end.live | end.doubtful for end in found])[1] for pin in pins]
    return max(low, default=0.0), max(high, default=0.0)
