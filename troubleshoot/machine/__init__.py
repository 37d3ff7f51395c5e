"""A described machine: its circuit, the network compiled from it, its program, and everything that may be wrong with it.

Belongs here: putting a circuit file and its program together into one checked thing that the rooms above work with
(`described`), what it is after somebody has said that it is wired otherwise (`amending`), its supply (`supply`).
Not here: what was seen (evidence), what is believed (diagnosis), where files lie (cli).
Knows: faults, solve, program, circuit, text. Pure: takes the text of the file, never the file.
"""

from troubleshoot.machine.described import Beside, CannotRead, Machine, describe, joined

__all__ = ["Beside", "CannotRead", "Machine", "describe", "joined"]
