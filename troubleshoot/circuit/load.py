"""Turning the text of a circuit file into a `Circuit`, or into everything that is wrong with it."""

from __future__ import annotations

from collections.abc import Mapping

from troubleshoot.circuit import written
from troubleshoot.circuit.kinds.base import Kind
from troubleshoot.circuit.load_devices import read_devices, read_places
from troubleshoot.circuit.load_usage import read_complaints, read_priors, read_program, read_roles, read_situations
from troubleshoot.circuit.load_wires import read_runs, read_variants, read_wires, unread
from troubleshoot.circuit.model import Circuit
from troubleshoot.circuit.reading import Reading, keys_of, names_in
from troubleshoot.circuit.rows import LAST, TOP
from troubleshoot.text.problem import Problem, in_file_order
from troubleshoot.text.yamlnodes import Map, compose


def load_circuit(
    source: str | bytes, file: str, kinds: Mapping[str, Kind] | None = None
) -> Circuit | tuple[Problem, ...]:
    """The circuit that `source` describes, or all that is wrong with it, in file order, at most 50 and never none.

    file: its name, for messages; nothing is read from disk. kinds: the table of device kinds, by default the real one.
    Raises nothing whatever the text holds.
    """
    if kinds is None:
        from troubleshoot.circuit.kinds import KINDS

        kinds = KINDS
    composed = compose(source, file)
    if not isinstance(composed.root, Map):
        wrong = composed.problems
        if composed.root is not None:
            wrong += (Problem(composed.root.at, "a circuit file starts with a key, like machine: belt-7"),)
        return in_file_order(wrong)
    reading = Reading(kinds, list(composed.problems))
    circuit = _circuit(composed.root, file, reading)
    if reading.problems or circuit is None:
        return in_file_order(reading.problems)
    return circuit


def _circuit(root: Map, file: str, to: Reading) -> Circuit | None:
    parts = keys_of(root, TOP, "a circuit file", to)
    _order(root, to)
    name = written.name(parts["machine"], "machine", to.problems) if "machine" in parts else None
    if name is not None and ("/" in name or "\\" in name or name.startswith(".")):
        to.wrong(parts["machine"].at, f"the machine's name {name!r} is also a folder's: no / or \\, no leading dot")
    title = written.words(parts["title"], "title", to.problems) if "title" in parts else name
    read_places(parts.get("places"), to)
    read_devices(parts.get("devices"), to)
    hops = read_wires(parts.get("wires"), to)
    runs = read_runs(parts.get("runs"), hops, unread(parts.get("wires"), hops), to)
    variants = read_variants(parts.get("variants"), hops, to)
    program = read_program(parts.get("program"), to)
    roles = read_roles(parts.get("roles"), to)
    situations = read_situations(parts.get("situations"), to)
    complaints = read_complaints(parts.get("complaints"), names_in(parts.get("situations")), to)
    priors = read_priors(parts.get("priors"), to)
    if to.problems or name is None:
        return None
    # Plain dicts behind the read-only types: a circuit must pickle, so that many rehearsals can run in many processes.
    return Circuit(
        name=name,
        title=title or name,
        source=file,
        places=to.places,
        devices=to.devices,
        hops=hops,
        program=program,
        roles=roles,
        situations=situations,
        complaints=complaints,
        priors=priors,
        runs=runs,
        variants=variants,
    )


def _order(root: Map, to: Reading) -> None:
    last: str | None = None
    for key, _ in root:
        if key.value in LAST:
            last = last or key.value
        elif last is not None and any(key.value == row.name for row in TOP):
            to.wrong(key.at, f"'{key.value}' must come before '{last}', so that a file cut off half-way is noticed")
