"""How the wired thing behaves: from a circuit, its edits and a situation to every voltage, current, light and motion.

Belongs here: compiling a circuit to networks, solving them exactly, moving coils, fuses, timers and the program until
nothing changes, and what a meter laid between two pins reads, its own burden included.
Not here: which edits are worth trying (faults), what a reading says about them (evidence, diagnosis).
Knows: circuit, text; the program only as something handed in that turns inputs into outputs. Pure: virtual time
only, no clock, no disk, no terminal.
"""
