"""What a temporary thing holds back until it is undone: power, the proof run, or only the hand-back. Worked out from its words.

A machine with a wire lifted is another machine: what it does with power on proves nothing of the one that is handed back.
"""

from __future__ import annotations

import re
from typing import Final, Literal

Holds = Literal["power", "proof", "hand-back"]

_MOTOR_LEADS: Final = re.compile(r"\bmotor (?:leads?|cable|wires?)\b")
_POWER: Final = re.compile(
    r"\b(?:wires?|lifted|jumper\w*|bridg\w*|strap\w*|link\w*|fuses?|disconnected|unplugged|loose|taken off its terminal"
    r"|meter|leads?|probes?|clips?)\b|\w:[\w%]"
)
_PROOF: Final = re.compile(
    r"\b(?:forc\w+|overrid\w+|simulat\w+|sensor\w*|switch\w*|pushed aside|tied|propped|held|setting|preset|timer|dial)\b"
)
_ORDER: Final[tuple[Holds, ...]] = ("power", "proof", "hand-back")


def holds(what: str) -> Holds:
    """What must wait for this to be put back. what: as it was noted; a terminal named in it is in the circuit.

    Motor leads may stay off while power comes back, that being what keeps it from running; no check of the proof run can
    then be made. What is forced can often be taken off only with power on.
    """
    said = what.casefold()
    rest, leads = _MOTOR_LEADS.subn(" ", said)
    if _POWER.search(rest):
        return "power"
    return "proof" if leads or _PROOF.search(rest) else "hand-back"


def motor_leads(what: str) -> bool:
    """Whether these were leads of a motor: put back the other way round, it turns backward."""
    return bool(_MOTOR_LEADS.search(what.casefold()))


def held_back(things: tuple[str, ...], step: Holds) -> tuple[str, ...]:
    """Those of `things` that must be put back before `step`."""
    return tuple(what for what in things if _ORDER.index(holds(what)) <= _ORDER.index(step))


__all__ = ["Holds", "held_back", "holds"]
