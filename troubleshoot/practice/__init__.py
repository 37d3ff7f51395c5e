"""Practice: the job's own screens over a simulated panel with a hidden fault.

Belongs here: the panel as hands, eyes and a meter meet it, what is unsafe on it, the course, the choice of a fault by
seed, predictions, the debrief, what is remembered of a person; a lesson (`course` over `sitting`) and a whole job
(`session`). Not here: the disk (cli), drawing (tui).
Knows: job, whose `decide` and `view` it runs unchanged, and every room below. Pure but for the log that is handed in; the
dice are thrown by seed.
"""
