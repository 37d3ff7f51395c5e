"""From nothing to a machine that can be worked on: a few questions, a pattern, a copy of a sister.

Belongs here: what is asked about a machine that nobody described, and writing a circuit file from the answers, from a
ready circuit or from a sister machine, with how well each element is known.
Not here: reading circuit files (circuit), screens and keys (job), where the file lies (cli).
Knows: circuit, text. Pure: text comes out, no disk is touched.
"""
