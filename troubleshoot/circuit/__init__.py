"""What is wired: devices and their kinds, pins, hops, places, the acts a hand can do, named situations.

Belongs here: whatever is printed on the panel or its drawing, what each kind of device is made of, and turning the
text of a circuit file into these values or into problems with line and column.
Not here: volts (solve), what a suspect does to them (faults), how a screen draws it (tui).
Knows: text. Pure: no clock, no disk, no terminal; a loader is given the text, not the file.
"""
