"""One job from the complaint to the hand-back, as a fold over its events.

Belongs here: `decide` (an input becomes events or a refusal in words; a stage each in `lists`, `readings`, `mending`,
`proving`), the fold that turns events into where the job stands (`folding`, `state`, `stage`), `view` (what the screen shows, as a
value; its pages in the modules `draw_...` and `panels`), the locks that isolation and cautions open, the proof run.
Not here: drawing and keys (tui), writing events to disk (log); the one who calls `decide` does that and passes the time.
Knows: log for the shape of an event, and every room below. Pure: time is an argument, nothing is written.
"""
