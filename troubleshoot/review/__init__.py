"""Reading jobs back: the week in one table, one job as it was lived, and what a supervisor writes back.

Belongs here: events told in words beside what should have been (`telling`, `expecting`), what is still to do (`actions`),
the countersignature (`signing`), taking names out (`redacting`), a job or a week as blocks of a report (`page`, `week`),
the sheets of the screen (`table_page`, `job_pages`) and the runner behind it (`session`).
Not here: how blocks are drawn (report), the row of a job and its history (store), keys and files on this disk (cli).
Knows: job for machine and belief, store for the row, report for blocks, log, and every room below. Pure but for the log
that is handed in to be written to.

Wrong guesses and readings taken back are normal work here, and are told so: nobody shall perform for the record.
"""
