"""The rows of a tree file: sorts of node, their keys, what a tree may promise. Read by the loader and by the schema."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

MOST_PROBES: Final = 3
"""Readings of one trip; more are forgotten on the way back (common practice)."""
KEYS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "tree": "name of the complaint it answers",
        "title": "what it is for, in a sentence",
        "needs": "roles without which it makes no sense",
        "situation": "situation at the root",
        "promises": "what a proof holds it to",
        "nodes": "the nodes, the first one is the root",
    }
)
"""Keys at the top of a tree file."""
PROMISES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "named": "share of the faults, by chance, for which the right repair leads at a confirm node, at least",
        "handed over": "share that ends at the engine, at most",
        "cost": "expected seconds as a multiple of the best order found, at most",
    }
)
"""What a tree may promise."""
SORTS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "look": "roles to look at or listen to, on one screen",
        "lights": "all, or roles and points of the controller whose lights are read",
        "operate": "situation that holds from here on",
        "measure": "up to three points",
        "halve": "the two ends of a path",
        "confirm": "the leading repair",
        "ask": "question that the job has asked",
        "go": "name of another tree",
        "engine": "why the engine takes over",
        "end": "why nothing is left to do",
    }
)
"""The key that says what a node is."""
COMMON: Final[Mapping[str, str]] = MappingProxyType(
    {
        "id": "name of the node",
        "words": "what to do",
        "why": "why, for whoever wants to know",
        "next": "node that follows when no branch is taken",
        "branches": "label to node",
        "absent": "node that follows where the machine lacks what is asked for; otherwise that of next",
        "situation": "situation of this node alone",
    }
)
EXTRA: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {"measure": ("against", "meter"), "halve": ("against",), "go": ("devices",)}
)
LAST: Final = frozenset({"confirm", "engine", "end", "go"})
"""Sorts of node after which nothing follows."""
