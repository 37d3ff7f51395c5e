"""Plays very many rows of answers over `decide` (`tests/job/sequences.py`) and counts them; ends at the first that breaks a law.

    python tests/measure/many_sequences.py MACHINE COUNT SEED            drawn by seeds, from SEED on; a row is its seed
    python tests/measure/many_sequences.py MACHINE COUNT SEED --any      the same by a desk that suspects anything: a look-up
    python tests/measure/many_sequences.py MACHINE COUNT SEED --machine  drawn by Hypothesis, which also makes them small

Prints a line of counts now and then. MACHINE: belt-7 or fan-2. OPENBLAS_NUM_THREADS=1 beside others.
"""

from __future__ import annotations

import json
import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis.stateful import run_state_machine_as_test
from job.sequences import play, sequences

BATCH = 500


def main() -> None:
    name, count, first = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    by_machine, honest = "--machine" in sys.argv, "--any" not in sys.argv
    tally: Counter[str] = Counter()
    machine = sequences(name, tally)
    settled = settings(
        max_examples=BATCH, database=None, deadline=None, phases=(Phase.generate, Phase.shrink), stateful_step_count=12,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    different: set[int] = set()
    batch = 0
    while tally["sequences"] < count:
        if by_machine:
            run_state_machine_as_test(seed(first + batch)(machine), settings=settled)
        else:
            for k in range(first + batch * BATCH, first + (batch + 1) * BATCH):
                try:
                    different.add(hash(tuple(play(name, tally, k, honest=honest).said)))
                except BaseException:
                    print(f"{name}, seed {k}", flush=True)
                    raise
        batch += 1
        told = {"machine": name, "seconds of processor": round(time.process_time()), "different": len(different)}
        print(json.dumps(told | dict(sorted(tally.items()))), flush=True)


main()
