"""What was seen: the observation, what typed words and numbers mean, and how likely a sighting is.

Belongs here: observations as values (`seen`), typed text to meaning (`words`, over the number grammar in `number`),
and the one place that knows noise, the likelihood of a sighting given a computed value.
Not here: what a reading should be (solve), which suspects are left (diagnosis), what the screen asks for (job).
Knows: machine and the rooms below it. Pure: no clock, no disk, no terminal.
"""
