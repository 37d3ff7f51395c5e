"""Moves of a state that conditions make, at once or after a time: timer relays, the sequence inside a safety relay."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from troubleshoot.circuit.kinds.base import DelayLaw
from troubleshoot.solve.network import holds


def moved(
    laws: Sequence[DelayLaw], state: Mapping[str, str], since: dict[int, int], now_ms: int, stuck: Mapping[str, str]
) -> dict[str, str]:
    """What moves now, by state variable. One move a variable: a sequence takes a round for each.

    since: by number of the law, since when its conditions have held; kept up here. stuck: what cannot move.
    """
    changes: dict[str, str] = {}
    for k, law in enumerate(laws):
        if law.var in stuck or state[law.var] != law.before or not all(holds(when, state) for when in law.when):
            since.pop(k, None)
        elif now_ms - since.setdefault(k, now_ms) >= _ms(law):
            changes.setdefault(law.var, law.after)
    return changes


def in_doubt(
    laws: Sequence[DelayLaw], since: Mapping[int, int], not_by: Mapping[int, int], now_ms: int
) -> tuple[int, float] | None:
    """The first law, by its number, that may have moved by now or not yet, with the chance that it has; None: there is none.

    not_by: until when a law is known not to have moved.
    """
    for k, start in since.items():
        first, last = max(start + round(laws[k].seconds * 1000), not_by.get(k, 0)), start + _ms(laws[k])
        if first < now_ms < last:
            return k, (now_ms - first) / (last - first)
    return None


def next_due_ms(laws: Sequence[DelayLaw], since: Mapping[int, int]) -> int | None:
    """When the next law that waits has waited long enough, in virtual milliseconds; None where none waits."""
    return min((start + _ms(laws[k]) for k, start in since.items()), default=None)


def _ms(law: DelayLaw) -> int:
    """When it has surely moved."""
    return round(max(law.seconds, law.upto) * 1000)
