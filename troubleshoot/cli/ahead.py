"""The proof run of a machine worked out in a process of its own, so that no answer waits for it.

Choosing the readings of a proof run takes seconds and hundreds of megabytes, and its result is small. ``python -m
troubleshoot.cli.ahead MACHINE`` writes it to stdout, pickled, for the program that started it; that is its only reader.
It ends when its stdin does, so it never outlives whoever wanted it.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import subprocess
import sys
import threading
from dataclasses import dataclass, field

from troubleshoot.safety.proof import Proof


@dataclass
class ProofAhead:
    """Implements `job.session.ProofAhead`: a child process that is working, or has ended."""

    machine: str
    wiring: bool
    _found: list[bytes] = field(default_factory=list)
    _child: subprocess.Popen[bytes] | None = None

    def __post_init__(self) -> None:
        args = [sys.executable, "-m", "troubleshoot.cli.ahead", self.machine, "wiring" if self.wiring else "drawn"]
        env = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
        with contextlib.suppress(OSError):
            # A session of its own: Ctrl-C and Ctrl-Z are meant for the screen.
            self._child = subprocess.Popen(
                args, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=env,
                start_new_session=True,
            )  # fmt: skip
            threading.Thread(target=self._read, args=(self._child,), name="proof ahead", daemon=True).start()

    def _read(self, child: subprocess.Popen[bytes]) -> None:
        assert child.stdout is not None
        with child.stdout as out:
            found = out.read()
        self._found.append(found if child.wait() == 0 else b"")

    def ready(self) -> bool:
        """Whether `take` has something to say."""
        return self._child is None or bool(self._found)

    def take(self, content: str) -> Proof | None:
        """The proof run of the machine whose file has that hash; None where the child failed or read another file."""
        self.close()
        if not self._found or not self._found[0]:
            return None
        of, proof = pickle.loads(self._found[0])
        return proof if of == content and isinstance(proof, Proof) else None

    def close(self) -> None:
        """Let go of it, finished or not."""
        if self._child is not None:
            self._child.kill()
            if self._child.stdin is not None:
                with contextlib.suppress(OSError):
                    self._child.stdin.close()


def _end_with_stdin() -> None:
    # By descriptor: a buffered stdin that is being read aborts an interpreter that ends (tried in 3.11).
    while os.read(0, 4096):
        pass
    os._exit(0)


def main(machine: str, wiring: str) -> int:
    """Write (hash of the file, proof run) to stdout."""
    from troubleshoot.cli.machines_on_disk import open_machine
    from troubleshoot.diagnosis.reasoner import Reasoner
    from troubleshoot.safety.proof import proof_run

    threading.Thread(target=_end_with_stdin, daemon=True).start()
    with contextlib.suppress(OSError, AttributeError):
        os.nice(5)  # the screen comes first
    found = open_machine(machine)
    if wiring == "wiring":
        found = found.with_wiring()
    sys.stdout.buffer.write(pickle.dumps((found.content, proof_run(Reasoner(found)))))
    sys.stdout.buffer.flush()
    return 0


if __name__ == "__main__":
    raise SystemExit(main(*sys.argv[1:]))
