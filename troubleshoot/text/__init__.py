"""Text that comes from outside: reading YAML, naming the nearest, showing it safely.

Belongs here: where something stands in a file, what is wrong with it, YAML as text with line and column, and what a
terminal may show of words that somebody else wrote.
Not here: what the words mean in a circuit (circuit), in a tree (trees) or as a reading (evidence).
Knows: no other room. Pure: no clock, no disk, no terminal.
"""
