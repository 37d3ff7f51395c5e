"""What many jobs come to: one row a job made from its log, an index over the rows, and what they say together.

Belongs here: the row of a job (`row`, made by `summary`), what was written back to it (`written`), the time that people told (`told_time`), the index over all logs of a plant and its rebuilding
(`index`, `tables`, `scan`), and what is asked of it (`history`).
Not here: what an event means to a job that goes on (job), showing rows to a supervisor (review), the log itself (log).
Knows: log, and text to show names safely. Reads logs on a disk, writes an index, knows no clock.
The logs are the truth: whatever is here can be thrown away and made again from them.
"""
