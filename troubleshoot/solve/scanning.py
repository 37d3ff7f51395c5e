"""The controller's program for many runs at once: a scan of equal memory and equal inputs is made once."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field

import numpy as np

from troubleshoot.circuit.kinds.base import Cpu
from troubleshoot.solve.codes import Bools, Codes, book_of
from troubleshoot.solve.columns import Indices
from troubleshoot.solve.compiled import Net, Scanner

_MOST_KEPT = 50_000


@dataclass(frozen=True, slots=True)
class Remembered:
    """A memory of the program with a number of its own: equal memories have equal numbers."""

    memory: Hashable
    number: int


@dataclass(frozen=True, slots=True)
class _Wired:
    cpu: Cpu
    column: int
    running: int
    inputs: Indices
    outputs: Indices


@dataclass
class Scans:
    """Scans made for one net."""

    wired: tuple[_Wired, ...]
    on: int
    off: int
    _numbers: dict[Hashable, Remembered] = field(default_factory=dict)
    _next: int = 0
    _begun: dict[int, Remembered] = field(default_factory=dict)
    """By the scanner's identity: the net keeps every one that it made."""
    _made: dict[object, tuple[Remembered, list[int]]] = field(default_factory=dict)

    def begin(self, scanner: Scanner | None) -> Remembered:
        """What a program has in its memory as it starts; nothing where there is none."""
        if scanner is None:
            return self.remember(None)
        if id(scanner) not in self._begun:
            self._begun[id(scanner)] = self.remember(scanner.start())
        return self._begun[id(scanner)]

    def remember(self, memory: Hashable) -> Remembered:
        """The memory with its number."""
        found = self._numbers.get(memory)
        if found is None:
            found = self._numbers[memory] = Remembered(memory, self._next)
            self._next += 1
        return found

    def scan(
        self,
        scanners: Sequence[Scanner | None],
        memories: Sequence[Remembered],
        codes: Codes,
        fixed: Bools,
        now_ms: Sequence[int],
    ) -> tuple[list[Remembered], Codes]:
        """One scan of every run: memory afterwards, and its state with the output bits written.

        codes, fixed: (runs, variables); what is fixed does not follow its output. A run without a scanner stays.
        """
        after, moved = list(memories), codes.copy()
        for wired in self.wired:
            running = (moved[:, wired.column] == wired.running).tolist()
            bits = np.packbits(moved[:, wired.inputs] == self.on, axis=1)
            content, width = bits.tobytes(), bits.shape[1]
            written = []
            for k, scanner in enumerate(scanners):
                if scanner is None:
                    written.append(moved[k, wired.outputs].tolist())
                    continue
                inputs = content[k * width : (k + 1) * width] if running[k] else None
                key = (id(scanner), wired.column, after[k].number, inputs, now_ms[k])
                found = self._made.get(key)
                if found is None:
                    found = self._made[key] = self._one(
                        scanner, wired, after[k].memory, moved[k], running[k], now_ms[k]
                    )
                after[k] = found[0]
                written.append(found[1])
            outputs = np.array(written, dtype=np.int16).reshape(len(scanners), len(wired.outputs))
            moved[:, wired.outputs] = np.where(fixed[:, wired.outputs], moved[:, wired.outputs], outputs)
        if len(self._made) > _MOST_KEPT:
            self._made.clear()
            self._numbers.clear()
        return after, moved

    def one(
        self, scanner: Scanner | None, memory: Remembered, codes: Codes, fixed: Bools, now_ms: int
    ) -> tuple[Remembered, bool]:
        """One scan of one run: memory afterwards; whether an output moved. Its codes, (variables,), are written in place."""
        moved = False
        if scanner is None:
            return memory, moved
        for wired in self.wired:
            running = codes.item(wired.column) == wired.running
            inputs = np.packbits(codes[wired.inputs] == self.on).tobytes() if running else None
            key = (id(scanner), wired.column, memory.number, inputs, now_ms)
            found = self._made.get(key)
            if found is None:
                found = self._keep(key, self._one(scanner, wired, memory.memory, codes, running, now_ms))
            memory = found[0]
            for column, code in zip(wired.outputs.tolist(), found[1], strict=True):
                if codes.item(column) != code and not fixed.item(column):
                    codes[column] = code
                    moved = True
        return memory, moved

    def _keep(self, key: object, made: tuple[Remembered, list[int]]) -> tuple[Remembered, list[int]]:
        if len(self._made) > _MOST_KEPT:
            self._made.clear()
            self._numbers.clear()
        self._made[key] = made
        return made

    def _one(
        self, scanner: Scanner, wired: _Wired, memory: Hashable, codes: Codes, running: bool, now_ms: int
    ) -> tuple[Remembered, list[int]]:
        if running:
            inputs = dict(zip(wired.cpu.inputs, (codes[wired.inputs] == self.on).tolist(), strict=True))
            memory, outputs = scanner.scan(memory, inputs, now_ms)
        else:
            memory, outputs = scanner.start(memory), {}
        bits = [self.on if outputs.get(point, False) else self.off for point in wired.cpu.outputs]
        return self.remember(memory), bits


def scans_of(net: Net) -> Scans:
    """The scans of a net; kept on it."""
    return net.kept("scans", Scans, _scans)


def _scans(net: Net) -> Scans:
    book = book_of(net)
    return Scans(
        tuple(
            _Wired(
                cpu, book.column(cpu.var), book.code("running"),
                np.array([book.column(var) for var in cpu.inputs.values()], dtype=np.intp),
                np.array([book.column(var) for var in cpu.outputs.values()], dtype=np.intp),
            )
            for cpu in net.cpus
        ),
        book.code("on"), book.code("off"),
    )  # fmt: skip
