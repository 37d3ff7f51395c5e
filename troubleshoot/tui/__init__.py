"""The full screen and the line mode: they draw a `Sheet` and hand back an `Input`, and decide nothing.

Belongs here: widgets, keys, colours, what a terminal can show, when a key counts. Not here: what a key does, what a line
says. May know `job/sheet.py`, `job/keys.py`, `job/runner.py` and `text/`; knows no circuit, no solver, no log. Importing the package
loads nothing, so that settings read at import by the screen library can be made first (`terminal.settings`).
"""
