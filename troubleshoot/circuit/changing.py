"""A circuit with some of its hops or terminals called otherwise, and everything that names them with it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from troubleshoot.circuit.model import Circuit, Hop, Pin


def renumbered(circuit: Circuit, hops: tuple[Hop, ...]) -> Circuit:
    """With these hops in place of the old ones, one for one; what names a hop names the new one."""
    ids = {old.id: new.id for old, new in zip(circuit.hops, hops, strict=True)}
    runs = tuple(replace(r, hops=tuple(ids[h] for h in r.hops)) for r in circuit.runs)
    variants = {name: replace(v, cut=tuple(ids[h] for h in v.cut)) for name, v in circuit.variants.items()}
    priors = {_of_hop(name, ids): weight for name, weight in circuit.priors.items()}
    return replace(circuit, hops=hops, runs=runs, variants=variants, priors=priors)


def moved(circuit: Circuit, to: Callable[[Pin], Pin]) -> Circuit:
    """With every wire's end, and every end of a variant's wire, at the terminal that `to` gives for it."""
    there = renumbered(circuit, tuple(replace(h, a=to(h.a), b=to(h.b)) for h in circuit.hops))
    variants = {name: replace(v, join=tuple((to(a), to(b)) for a, b in v.join)) for name, v in there.variants.items()}
    return replace(there, variants=variants)


def _of_hop(name: str, ids: Mapping[str, str]) -> str:
    """A suspect of an old hop (its id, a blank, what is wrong with it) under the hop's new id; any other as it is."""
    hop, blank, rest = name.partition(" ")
    return f"{ids.get(hop, hop)}{blank}{rest}"
