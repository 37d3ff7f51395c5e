"""What the keys of the review do, for `troubleshoot keys` and the manual page; its sheets offer them under the same labels.

Its letters stand for other things than those of a job: nothing is asked here, and nothing is measured.
"""

from __future__ import annotations

from typing import Final

from troubleshoot.job.sheet import LiveKey

WHERE: Final = "in the review"
REVIEW_KEYS: Final = (
    LiveKey("y", "yours", "what is left for you to do, what repeats, what is worth a word"),
    LiveKey("0", "older", "shows the jobs before these; after the oldest the newest again"),
    LiveKey("h", "what happened", "everything, in order, beside what should have been"),
    LiveKey(
        "w", "stands out", "only what is marked with !: cautions, clocks, what was refused or is not as it should be"
    ),
    LiveKey("m", "comment", "writes a comment back to this job"),
    LiveKey("k", "close", "closes something that was left open"),
    LiveKey("g", "sign", "countersigns with your own key, up to the newest event"),
)
