"""One machine, ready to be asked: circuit, network, suspects."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.base import Spare
from troubleshoot.circuit.kinds.controller import inputs_of, outputs_of
from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit, Device, Pin
from troubleshoot.faults.doubt import doubted, spares_of
from troubleshoot.faults.history import with_history
from troubleshoot.faults.suspects import Suspect, suspects_of
from troubleshoot.faults.wiring import wiring_suspects
from troubleshoot.program import (
    Change,
    Memory,
    Program,
    ScanResult,
    changes,
    next_event_ms,
    parse_program,
    read_ladder,
    retained,
    scan,
    start,
    with_changes,
)
from troubleshoot.solve.compiled import Net, compile_circuit
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.settle import Outcome
from troubleshoot.text.problem import Position, Problem, nearest
from troubleshoot.text.yamlnodes import Map, compose


@dataclass(frozen=True)
class _Scanner:
    """The program of the controller, in the shape the solver asks for."""

    program: Program
    points: tuple[str, ...]
    """Direct addresses that the controller has wired."""
    first_scan_edges: bool = True
    known: Mapping[str, Change] | None = field(default=None, compare=False)
    """What may be wrong with the program, by id."""

    def start(self, before: Hashable = None) -> Hashable:
        kept = retained(self.program, before) if isinstance(before, Memory) else {}
        return start(self.program, cold=False, retained=kept, first_scan_edges=self.first_scan_edges)

    def scan(self, memory: Hashable, inputs: Mapping[str, bool], now_ms: int) -> tuple[Hashable, Mapping[str, bool]]:
        assert isinstance(memory, Memory)
        result = scan(self.program, memory, inputs, now_ms)
        return result.memory, result.outputs

    def next_event_ms(self, memory: Hashable, now_ms: int) -> int | None:
        assert isinstance(memory, Memory)
        return next_event_ms(self.program, memory, now_ms)

    def changed(self, changes: tuple[str, ...]) -> _Scanner:
        return replace(self, program=with_changes(self.program, changes, self.points, self.known), known=None)


@dataclass(frozen=True)
class Machine:
    """A circuit with all that follows from it. Immutable; the network and the suspects are made on first use."""

    circuit: Circuit
    program: Program | None
    content: str
    """SHA-256 of the circuit file's text and of its program's file: what a log and a stored table are tied to."""

    program_doubted: bool = True
    """Whether the program too may be other than it is described. False: only wiring and devices are suspected."""
    wiring: bool = False
    """Whether the suspects hold what somebody who worked on it may have left behind (`faults.wiring`)."""
    past: Mapping[str, int] = field(default_factory=dict)
    """Its own confirmed repairs by group; they move the priors (`faults.history`)."""

    @property
    def name(self) -> str:
        return self.circuit.name

    @cached_property
    def net(self) -> Net:
        """The compiled network."""
        net = compile_circuit(self.circuit, self._scanner)
        pairs = dict.fromkeys((*spares_of(self.circuit), *(self._left_behind[1] if self.wiring else ())))
        return net.with_spares(tuple(pairs)) if pairs else net

    @property
    def _scanner(self) -> _Scanner | None:
        source = self.circuit.program
        if self.program is None or source is None:
            return None
        return _Scanner(self.program, self.points, source.first_scan_edges, self.changes or None)

    @cached_property
    def points(self) -> tuple[str, ...]:
        """Direct addresses of the controllers' inputs and outputs."""
        devices = (d for d in self.circuit.devices.values() if d.kind == "plc")
        return tuple(p.address for d in devices for g in (*inputs_of(d), *outputs_of(d)) for p in g.points)

    @cached_property
    def suspects(self) -> tuple[Suspect, ...]:
        """Everything that may be wrong, conditions included; the last is "something not in this model"."""
        also = self._left_behind[0] if self.wiring else ()
        usual = doubted(self.circuit, suspects_of(self.circuit, changes=tuple(self.changes.values()), also=also))
        return with_history(usual, self.past)

    @cached_property
    def changes(self) -> Mapping[str, Change]:
        """What may be wrong with the program, by id, which is the slot of its edit; empty where it is not doubted."""
        doubted = changes(self.program, self.points) if self.program and self.program_doubted else ()
        return {change.id: change for change in doubted}

    def scanned(self, outcome: Outcome, edits: Sequence[Edit] = ()) -> tuple[Program, ScanResult] | None:
        """The program and one more scan of it where the machine came to rest; None where no controller runs it.

        edits: those with which it was settled. A timer that runs there shows no elapsed time.
        """
        scanner = self.net.scanner_under(edits)
        cpus = [cpu for cpu in self.net.cpus if outcome.state[cpu.var] == "running"]
        if not isinstance(scanner, _Scanner) or not isinstance(outcome.memory, Memory) or not cpus:
            return None
        inputs = {point: outcome.state[var] == "on" for cpu in cpus for point, var in cpu.inputs.items()}
        return scanner.program, scan(scanner.program, outcome.memory, inputs, 0)

    @cached_property
    def _left_behind(self) -> tuple[tuple[tuple[Suspect, float], ...], tuple[tuple[Pin, Pin], ...]]:
        return wiring_suspects(self.circuit)

    def with_wiring(self) -> Machine:
        """The same machine with the wiring suspects: for after somebody has worked on it."""
        return replace(self, wiring=True)

    def with_past(self, past: Mapping[str, int]) -> Machine:
        """The same machine with these confirmed repairs of its own behind it."""
        return self if dict(past) == dict(self.past) else replace(self, past=dict(past))

    def role(self, name: str) -> str | None:
        """Tag of the first device in a role, None where the machine has none."""
        tags = self.circuit.roles.get(name, ())
        return tags[0] if tags else None

    def having(self, role: str, *kinds: str) -> tuple[str, ...]:
        """Tags of what a hand can move in a role, and of every device of `kinds`, whether the file gave it the role or not."""
        devices = self.circuit.devices
        movable = [t for t in self.circuit.roles.get(role, ()) if KINDS[devices[t].kind].controls(devices[t])]
        return tuple(dict.fromkeys([*movable, *(t for t, d in devices.items() if d.kind in kinds)]))

    @cached_property
    def disconnects(self) -> tuple[str, ...]:
        """Everything that must be open for the machine to be off: its disconnects, then the supplies that have none here."""
        return (*self.own_disconnects, *self.feeds)

    @property
    def own_disconnects(self) -> tuple[str, ...]:
        """The disconnects that are described, by role or by kind."""
        return self.having("disconnect", "disconnect")

    @cached_property
    def feeds(self) -> tuple[str, ...]:
        """Supplies that come to the machine without a disconnect that is described: they are opened where they come from."""
        net, devices = self.net, self.circuit.devices
        through = {hop.id for hop in self.circuit.hops}
        wired = [e for e in net.elements if not isinstance(e.part, Spare)]
        joins = [(e.a, e.b) for e in wired if e.slot in through or _device_kind(devices, e.slot) in _AHEAD]
        ends = {net.node(Pin(t, p)) for t in self.own_disconnects for p in KINDS[devices[t].kind].pins(devices[t])}
        out = []
        for tag, device in devices.items():
            if device.kind == "supply":
                lines = {net.node(Pin(tag, p)) for p in KINDS["supply"].pins(device) if p not in ("N", "PE")}
                out += [] if joined(lines, joins) & ends else [tag]
        return tuple(out)


_AHEAD: Final = ("fuse", "breaker", "bar", "terminals")
"""Kinds that may lie between a supply and its disconnect."""


def _device_kind(devices: Mapping[str, Device], slot: str) -> str:
    tag = slot.split(" ")[0]
    return devices[tag].kind if tag in devices else ""


def joined(start: set[int], joins: Sequence[tuple[int, int]], stops: frozenset[int] = frozenset()) -> set[int]:
    """Nodes that can be reached from `start` over `joins`; those of `stops` are not entered."""
    near: dict[int, list[int]] = {}
    for a, b in joins:
        near.setdefault(a, []).append(b)
        near.setdefault(b, []).append(a)
    found, todo = set(start), list(start)
    while todo:
        for node in near.get(todo.pop(), ()):
            if node >= 0 and node not in found and node not in stops:
                found.add(node)
                todo.append(node)
    return found


@dataclass(frozen=True, slots=True)
class CannotRead:
    """Why a file beside the circuit file cannot be read, in words."""

    words: str


Beside = Callable[[str], bytes | CannotRead]
"""Fetches the file of that name beside the circuit file; handed in, since nothing here knows a disk."""


def _nothing_beside(_: str) -> CannotRead:
    return CannotRead("cannot be read from here")


def describe(
    source: str | bytes, file: str, beside: Beside = _nothing_beside, *, program_doubted: bool = True
) -> Machine | tuple[Problem, ...]:
    """Read a machine from the text of its circuit file; every problem at once where there are any.

    file: its name, for messages. beside: fetches the program where the circuit file names one. program_doubted: suspect
    the program as well. Raises nothing.
    """
    loaded = load_circuit(source, file)
    if isinstance(loaded, tuple):
        return loaded
    raw = source if isinstance(source, bytes) else source.encode()
    program: Program | tuple[Problem, ...] | None = None
    if loaded.program is not None and loaded.program.file:
        name = file[: max(file.rfind("/"), file.rfind("\\")) + 1] + loaded.program.file
        found = beside(loaded.program.file)
        if isinstance(found, CannotRead):
            return (Problem(Position(name, 1, 1), found.words),)
        raw += b"\0" + found
        program = _program(loaded.program.lang, found, name, 1)
    elif loaded.program is not None:
        program = _program(loaded.program.lang, loaded.program.text, file, loaded.program.line)
        if isinstance(program, tuple):
            return tuple(_indented(p, loaded.program.text, loaded.program.line, source) for p in program)
    if isinstance(program, tuple):
        return program
    found_machine = Machine(loaded, program, hashlib.sha256(raw).hexdigest(), program_doubted)
    return _priors_of_nothing(found_machine, source, file) or found_machine


def suspect_ids(machine: Machine) -> frozenset[str]:
    """Ids of all that can ever be suspected of a machine: its program and what is left behind by people included."""
    widest = replace(machine, program_doubted=True, wiring=True, past={})
    return frozenset(s.id for s in widest.suspects)


def _priors_of_nothing(machine: Machine, source: str | bytes, file: str) -> tuple[Problem, ...]:
    """The priors of a file that name no suspect of its machine: a slip there would move no chance, unnoticed."""
    if not machine.circuit.priors:
        return ()
    known = suspect_ids(machine)
    if known.issuperset(machine.circuit.priors):
        return ()
    root = compose(source, file).root
    section = root.get("priors") if isinstance(root, Map) else None
    assert isinstance(section, Map)  # it was read
    return tuple(
        Problem(key.at, f"no suspect {key.value!r}: troubleshoot faults prints their ids", nearest(key.value, known))
        for key in (entry for entry, _ in section) if key.value not in known
    )  # fmt: skip


def _program(lang: str, text: str | bytes, file: str, line: int) -> Program | tuple[Problem, ...]:
    if lang == "LD":
        return read_ladder(text, file, line)
    if isinstance(text, str):
        return parse_program(text, file, line)
    try:
        return parse_program(text.decode("utf-8"), file, line)
    except UnicodeDecodeError as error:
        before = text[: error.start].decode("utf-8")
        at = Position(file, before.count("\n") + 1, len(before) - before.rfind("\n"))
        return (Problem(at, f"byte {text[error.start]:#04x} is not UTF-8"),)


def _indented(problem: Problem, text: str, first_line: int, source: str | bytes) -> Problem:
    """The column in the circuit file, where the text of the program stands indented."""
    whole = source if isinstance(source, str) else source.decode("utf-8", "replace")
    here, there = text.split("\n"), whole.split("\n")
    row = problem.at.line - first_line
    if not (0 <= row < len(here) and problem.at.line <= len(there)) or not here[row].strip():
        return problem
    indent = max(0, there[problem.at.line - 1].find(here[row]))
    return replace(problem, at=replace(problem.at, column=problem.at.column + indent))
