"""A machine as a copy of another one: of its sister next to it, or of a ready circuit."""

from __future__ import annotations

from dataclasses import replace

from troubleshoot.circuit.model import Circuit, Known
from troubleshoot.circuit.writing import write_circuit


def copy_of(circuit: Circuit, *, machine: str, title: str, known: Known) -> str:
    """The text of a circuit file: the same wiring under another name, nothing of it better known than `known`.

    What was measured on the sister was not measured here: every device, wire and the program become ``copied`` (or, from
    a ready circuit, ``assumed``), and how often something failed there says nothing about this one.
    """
    program = replace(circuit.program, known=known) if circuit.program is not None else None
    copy = replace(
        circuit,
        name=machine,
        title=title,
        devices={tag: replace(device, known=known) for tag, device in circuit.devices.items()},
        hops=tuple(replace(hop, known=known) for hop in circuit.hops),
        program=program,
        priors={},
    )
    return write_circuit(copy, f"Copied from {circuit.name}. Nobody has compared it with the panel yet.")
