"""The record of a job: one canonical JSON line an event, chained by hashes, on the disk before anything is shown.

Belongs here: what an event is and its one spelling (`event`), whether a line is one (`line`) and a file of them is whole
(`verify`), which events stand and which were taken back (`standing`), writing them
so that a kill, a full disk or a power cut costs nothing that was called saved (`opening`, `writer`, with `holder` and `privacy`), the same without a disk
(`memory`), and the two things outside that these need as arguments, the clock and the disk (`clock`, `disk`).
Not here: what the kinds of event mean (job), the index over many logs (store), reading a job back (review).
Knows: text, to name files safely. The only room below `job` that reads a clock, and with store the only one that reads a disk.

What a log proves, in one sentence: without an anchor (number and hash of an event, kept outside the file) it proves
only that nobody changed it carelessly, for whoever can write the file can cut its tail or write all of it anew.
"""
