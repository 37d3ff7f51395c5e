"""What the controller does: a program in IEC 61131-3 Structured Text or ladder, read, scanned and drawn.

Belongs here: the text, or a ladder in XML, to statements with every error named (`reading`, `plcopen`), the standard's blocks
(`blocks`), start-up and scan as pure functions of memory, inputs and time (`running`), one network as a ladder and what holds it
off (`ladder`), the program read against the lights of its controller (`lights`).
Not here: volts, input filters and output stages (solve), how well the program is known (circuit, machine).
Knows: circuit and text. Pure: time is an argument; nothing reads a clock, a disk or a terminal.
"""

from troubleshoot.program.changes import Change, changes, with_changes
from troubleshoot.program.checking import address
from troubleshoot.program.ladder import WIDTH, draw
from troubleshoot.program.lights import Against, read_against, unsettled, values_by_lights
from troubleshoot.program.model import Program, Value
from troubleshoot.program.network import Held, why_off
from troubleshoot.program.plcopen import read_ladder
from troubleshoot.program.reading import parse_program
from troubleshoot.program.running import Memory, ScanResult, next_event_ms, retained, scan, start

__all__ = [
    "WIDTH",
    "Against",
    "Change",
    "Held",
    "Memory",
    "Program",
    "ScanResult",
    "Value",
    "address",
    "changes",
    "draw",
    "next_event_ms",
    "parse_program",
    "read_against",
    "read_ladder",
    "retained",
    "scan",
    "start",
    "unsettled",
    "values_by_lights",
    "why_off",
    "with_changes",
]
