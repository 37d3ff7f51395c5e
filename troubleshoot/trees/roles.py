"""Whom a tree means: a role, the second or third device in a role, what makes the current of a role.

Where a role has several devices the plain word means the first. Nothing here knows a machine.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from troubleshoot.circuit.rows import ROLES

ORDINALS: Final = ("second", "third")
"""Before a role: which of its devices, in the order of the circuit file."""
SUPPLY: Final = "supply of "
"""Before a role: the rectifier, transformer or supply that makes the current of the device in it."""


def parted(text: str) -> tuple[bool, int, str]:
    """``supply of second brake`` as (what makes its current, place in the role from 0, role). Any text is taken."""
    supply = text.startswith(SUPPLY)
    rest = text.removeprefix(SUPPLY) if supply else text
    first, _, role = rest.partition(" ")
    place = 1 + ORDINALS.index(first) if first in ORDINALS and role else 0
    return supply, place, role if place else rest


def is_known(text: str) -> bool:
    """Whether it names a role in one of these ways."""
    return parted(text)[2] in ROLES


def tags_of(text: str, roles: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    """Tags that a role means, the first one first, or the one that its ordinal picks. What makes their current is not looked up."""
    _, place, role = parted(text)
    tags = roles.get(role, ())
    return tags[place : place + 1] if place else tags


def shifted(text: str, ordinal: str, roles: Mapping[str, tuple[str, ...]]) -> str:
    """A role as one says it of the second set of devices: ``second motor`` where there is one, else the same."""
    supply, place, role = parted(text)
    if place or len(roles.get(role, ())) <= 1 + ORDINALS.index(ordinal):
        return text
    return f"{SUPPLY if supply else ''}{ordinal} {role}"
