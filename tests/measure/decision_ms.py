"""Milliseconds of this process for one decision of a job: belief after an answer, then the next trip; tables are warm.

    python tests/measure/decision_ms.py belt-7 wont-start 12       jobs

Not a test. Cautions and confirming tests are left out; they have their own benchmark.
"""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from troubleshoot.cli.machines_on_disk import open_desk
from troubleshoot.job.desk import Desk
from troubleshoot.job.erring import Errors
from troubleshoot.job.state import State
from troubleshoot.job.trial import faults_of, play


def main() -> None:
    desk, complaint = open_desk(sys.argv[1]), sys.argv[2]
    suspects, chance = faults_of(desk, complaint)
    real, spent = Desk.trips, []

    def timed(self: Desk, state: State) -> object:
        self._trips.clear()
        self._beliefs.clear()
        began = time.process_time()
        found = real(self, state)
        spent.append(1000 * (time.process_time() - began))
        return found

    for warm in (True, False):
        if not warm:
            Desk.trips = timed  # type: ignore[method-assign,assignment]
        for k in range(int(sys.argv[3])):
            dice = random.Random(f"{warm} {k}")
            play(desk, complaint, dice.choices(suspects, chance)[0], seed=str(k), errors=Errors(0.05, 0.02))
    print(f"{sys.argv[1]} {complaint}: {len(spent)} decisions, ms of this process: "
          f"median {np.median(spent):.1f}, 95 % {np.percentile(spent, 95):.1f}, most {max(spent):.1f}")  # fmt: skip


if __name__ == "__main__":
    main()
