"""What somebody is asked to accept reads the same on every machine and every morning."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import troubleshoot

BELT = Path(troubleshoot.__file__).parent / "machines" / "belt-7.yaml"
SAYS = f"""
from pathlib import Path
import numpy as np
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.machine import describe
from troubleshoot.safety.hazards import before_power, in_short
reasoner = Reasoner(describe(Path({str(BELT)!r}).read_bytes(), "belt-7.yaml"))
alike = np.full(len(reasoner.machine.suspects), 1 / len(reasoner.machine.suspects))
print(*in_short(reasoner, alike, before_power(reasoner, alike)), sep="\\n")
"""


def test_equally_likely_causes_are_named_in_one_order_whatever_order_python_keeps_its_sets_in() -> None:
    said = [
        subprocess.run(
            [sys.executable, "-c", SAYS], env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, text=True,
            check=True, stdin=subprocess.DEVNULL,
        ).stdout
        for seed in ("1", "2")
    ]  # fmt: skip
    assert said[0].strip()
    assert said[0] == said[1]
