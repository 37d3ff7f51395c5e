"""What can hurt somebody at this step, and in which words to say so before it is done.

Belongs here: cautions computed from the same voltages as the readings (meter in the network, each suspect present and
each one healed), hazards of acts, the sequence that makes a machine dead and proves it, what the proof run proves of
each stop channel and what it leaves unproved.
Not here: whether a caution was accepted (job), how it is drawn (tui). Never here: a way round an interlock.
Knows: diagnosis, evidence, faults, solve, circuit, text. Pure: no clock, no disk, no terminal.
"""
