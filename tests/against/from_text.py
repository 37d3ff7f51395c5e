"""A controller of the oracle's own: it reads its program from text and runs it."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass

from troubleshoot.program import Memory, Program, parse_program, retained, scan, start

READ: dict[str, Program] = {}


@dataclass(frozen=True)
class FromText:
    """A controller that runs what the text says."""

    text: str

    @property
    def program(self) -> Program:
        if self.text not in READ:
            read = parse_program(self.text, "printed")
            assert isinstance(read, Program), read
            READ[self.text] = read
        return READ[self.text]

    def start(self, before: Hashable = None) -> Memory:
        kept = retained(self.program, before) if isinstance(before, Memory) else {}
        return start(self.program, cold=not kept, retained=kept)

    def scan(self, memory: Memory, inputs: Mapping[str, bool], now_ms: int) -> tuple[Memory, Mapping[str, bool]]:
        result = scan(self.program, memory, inputs, now_ms)
        return result.memory, result.outputs

    def next_event_ms(self, memory: Memory, now_ms: int) -> int | None:
        return None
