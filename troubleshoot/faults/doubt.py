"""How far the description itself may be wrong: per element by how well it is known, and as variants that are kept alive.

The chances are judgement: nobody has published how often a drawing is wrong. They are meant to be fitted from what
`amended` events say.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from troubleshoot.circuit.model import Circuit, Known, Pin, Variant
from troubleshoot.faults.suspects import NOT_MODELLED, OUTSIDE, Suspect
from troubleshoot.solve.compiled import spare_slot
from troubleshoot.solve.edits import Edit

WRONG: Final[Mapping[Known, float]] = {
    "assumed": 0.20, "copied": 0.10, "told": 0.05, "seen": 0.02, "measured": 0.01,
}  # fmt: skip
"""Chance that an element is not as it is described, by how well it is known. Judgement."""

JOINED_S: Final = 100.0
"""A wire that is there instead: ten milliohms."""
PAIRED: Final = 90
"""How many faults are thought of together with each variant, likeliest first; the rest counts as not in the model."""
_ROUNDING: Final = 1e-9


def not_described(circuit: Circuit, suspects: Sequence[Suspect]) -> float:
    """Chance that what is wrong is something the description does not hold, or holds wrongly.

    Each suspect's share counts with the chance that its element is described wrongly. Never under `NOT_MODELLED`: a
    machine of which all is seen or measured has that, as always.
    """
    known = _known(circuit)
    weighed = [(s.prior, WRONG[known(s)]) for s in suspects if s.id != OUTSIDE]
    total = sum(prior for prior, _ in weighed)
    mean = sum(prior * wrong for prior, wrong in weighed) / total if total else 0.0
    return max(mean, NOT_MODELLED)


class _Known:
    """How well the worst known element of a suspect is known."""

    def __init__(self, circuit: Circuit) -> None:
        self._circuit = circuit
        self._hops = {hop.id: hop.known for hop in circuit.hops}
        self._tags = sorted(circuit.devices, key=len, reverse=True)

    def __call__(self, suspect: Suspect) -> Known:
        found = [k for edit in suspect.edits if (k := self._of(edit)) is not None]
        return max(found, key=lambda k: WRONG[k], default="seen")

    def _of(self, edit: Edit) -> Known | None:
        if edit.does == "program":
            # Told is as well as a program is ever known: that it may be otherwise has suspects of its own.
            program = self._circuit.program
            return program.known if program is not None and program.known != "told" else None
        if edit.slot in self._hops:
            return self._hops[edit.slot]
        # Parts and states are named after their device: ``K1 13-14``, ``K1``; a terminal is ``K1:14``.
        tag = next((t for t in self._tags if edit.slot == t or edit.slot.startswith((f"{t} ", f"{t}:"))), None)
        return self._circuit.devices[tag].known if tag is not None else None


def _known(circuit: Circuit) -> _Known:
    return _Known(circuit)


def doubted(circuit: Circuit, suspects: tuple[Suspect, ...]) -> tuple[Suspect, ...]:
    """The suspects with the doubt about the description put in: `OUTSIDE` as large as it is, and every variant.

    suspects: those of the circuit as described, OUTSIDE last, summing to 1. Each of the `PAIRED` likeliest is there once
    more under every variant, with the variant's edits beside its own and in the same repair group: a machine that only
    is wired otherwise runs, so no variant explains a complaint by itself. Sums to 1 again, OUTSIDE last.
    """
    inside, outside = suspects[:-1], suspects[-1]
    unknown = not_described(circuit, suspects)
    if unknown > NOT_MODELLED + _ROUNDING:
        scale = (1 - unknown) / sum(s.prior for s in inside)
        inside = tuple(_with_prior(s, s.prior * scale) for s in inside)
        outside = _with_prior(outside, unknown)
    if not circuit.variants:
        return (*inside, outside)
    as_written = 1 - sum(v.chance for v in circuit.variants.values())
    likeliest = sorted(inside, key=lambda s: -s.prior)[:PAIRED]
    others = [s for v in circuit.variants.values() for s in _otherwise(v, likeliest)]
    inside = tuple(_with_prior(s, s.prior * as_written) for s in inside)
    rest = 1 - sum(s.prior for s in (*inside, *others))
    return (*inside, *others, _with_prior(outside, rest))


def _otherwise(variant: Variant, faults: Iterable[Suspect]) -> Iterable[Suspect]:
    edits = edits_of(variant)
    for fault in faults:
        if _in_the_way(fault, edits):
            continue
        yield Suspect(
            f"{fault.id} | {variant.name}", f"{fault.words}; and {variant.words}", fault.prior * variant.chance,
            fault.repair, (*edits, *fault.edits), fault.broken, fault.places, fault.course, fault.sort,
        )  # fmt: skip


def _in_the_way(fault: Suspect, edits: tuple[Edit, ...]) -> bool:
    """A wire that is not there cannot break, and a part that is not there cannot fail."""
    slots = {edit.slot for edit in edits}
    return any(edit.slot in slots for edit in fault.edits)


def edits_of(variant: Variant) -> tuple[Edit, ...]:
    """What a variant is to the solver."""
    return (
        *(Edit("siemens", hop, 0.0) for hop in variant.cut),
        *(Edit("siemens", spare_slot(a, b), JOINED_S) for a, b in variant.join),
        *(Edit("stuck", var, value) for var, value in variant.stands),
    )


def spares_of(circuit: Circuit) -> tuple[tuple[Pin, Pin], ...]:
    """The pairs of terminals whose open slots the network must have for the variants, each once."""
    return tuple(dict.fromkeys(pair for variant in circuit.variants.values() for pair in variant.join))


def variant_of(suspect: Suspect) -> str:
    """Name of the variant a suspect belongs to; empty where the machine is wired as described."""
    return suspect.id.rpartition(" | ")[2] if " | " in suspect.id else ""


def _with_prior(suspect: Suspect, prior: float) -> Suspect:
    return Suspect(
        suspect.id, suspect.words, prior, suspect.repair, suspect.edits, suspect.broken, suspect.places, suspect.course,
        suspect.sort,
    )  # fmt: skip
