"""A settled network given to a general circuit simulator as a deck, and its volts beside ours."""

from __future__ import annotations

import subprocess
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from troubleshoot.solve.compiled import Net, frequency
from troubleshoot.solve.deck import DC_OFFSET, spice_deck
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.settle import Outcome, settle

ABSOLUTE_V, RELATIVE = 0.010, 0.001
"""10 mV or 0.1 %, whichever is larger. Ours to choose: a tenth of what the last digit of a multimeter shows."""


def volts_of(ngspice: str, deck: str, folder: Path, net: Net) -> tuple[dict[int, complex], dict[int, complex]]:
    """Node number to volts, from the AC analysis and from the operating point, in double precision."""
    (found,) = volts_of_all(ngspice, [deck], folder, net)
    return found


def volts_of_all(
    ngspice: str, decks: Sequence[str], folder: Path, net: Net
) -> list[tuple[dict[int, complex], dict[int, complex]]]:
    """The same for many decks by one run of the simulator: starting it takes longer than solving a panel."""
    hz = frequency(net.circuit)
    control = ["many decks", ".control", "set filetype=ascii"]
    for k, deck in enumerate(decks):
        (folder / f"deck{k}.cir").write_text(deck)
        control += [
            f"source deck{k}.cir", "op", f"write op{k}.raw", f"ac lin 1 {hz} {hz}", f"write ac{k}.raw", "destroy all",
            "remcirc",
        ]  # fmt: skip
        for kind in ("op", "ac"):
            (folder / f"{kind}{k}.raw").unlink(missing_ok=True)
    (folder / "all.cir").write_text("\n".join([*control, "quit", ".endc", ".end", ""]))
    done = subprocess.run(
        [ngspice, "-b", "all.cir"], cwd=folder, capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "singular" not in done.stdout + done.stderr
    return [(_raw(folder / f"ac{k}.raw"), _raw(folder / f"op{k}.raw")) for k in range(len(decks))]


def _raw(path: Path) -> dict[int, complex]:
    head, _, body = path.read_text().partition("Values:\n")
    names = [line.split()[1] for line in head.partition("Variables:\n")[2].splitlines() if line.strip()]
    values = [line.split()[-1].split(",") for line in body.splitlines() if line.strip()]
    assert len(names) == len(values)
    return {
        int(name[2:-1]): complex(*(float(part) for part in value))
        for name, value in zip(names, values, strict=True)
        if name.startswith("v(")
    }


def worst_of(outcome: Outcome, ac: dict[int, complex], dc: dict[int, complex]) -> float:
    """Largest difference at any terminal, as a share of what is allowed; 1 is the limit."""
    network = outcome.network
    assert network.ac_v is not None
    assert network.dc_v is not None
    count = len(network.ac_v)
    theirs_ac = np.array([ac.get(k + 1, 0) for k in range(count)])
    theirs_dc = np.array([dc.get(k + 1 + DC_OFFSET, 0).real for k in range(count)])
    assert {k + 1 for k in range(count)} <= ac.keys()
    worst = 0.0
    for ours, theirs in ((network.ac_v, theirs_ac), (network.dc_v, theirs_dc)):
        allowed = np.maximum(ABSOLUTE_V, RELATIVE * np.abs(ours))
        worst = max(worst, float(np.max(np.abs(ours - theirs) / allowed)))
    return worst


def compare(
    net: Net, edits: tuple[Edit, ...], suspect: str, ngspice: str, folder: Path, same: set[str] | None = None
) -> float:
    """Assert that it finds the same volts in every named situation; returns the largest difference, 1 being the limit.

    same: decks that were compared before, and need not be again.
    """
    asked: list[tuple[str, Outcome, str]] = []
    for name, named in net.circuit.situations.items():
        for outcome in settle(net, edits, named.situation):
            deck = spice_deck(net, outcome, title=suspect or "healthy")
            if same is None or deck.partition("\n")[2] not in same:
                asked.append((name, outcome, deck))
                if same is not None:
                    same.add(deck.partition("\n")[2])
    largest = 0.0
    found = volts_of_all(ngspice, [deck for _, _, deck in asked], folder, net) if asked else []
    for (name, outcome, _), (ac, dc) in zip(asked, found, strict=True):
        worst = worst_of(outcome, ac, dc)
        assert worst <= 1, f"{suspect or 'healthy'}, {name}: {worst:.3g} times what is allowed"
        largest = max(largest, worst)
    return largest
