"""What can break or stand wrong, how likely it is beforehand, and what would mend it.

Belongs here: suspects (faults and conditions are one type), the edits each makes to the compiled network, their
weights, and the repair groups: suspects that the same act on the same item puts right.
Not here: how likely a suspect is after something was seen (diagnosis), whether it is dangerous (safety).
Knows: solve, circuit, text. Pure: no clock, no disk, no terminal.
"""
