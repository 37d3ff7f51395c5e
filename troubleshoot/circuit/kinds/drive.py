"""What turns and what holds it: three-phase motor, spring-applied brake."""

from __future__ import annotations

import math
from dataclasses import replace

from troubleshoot.circuit.kinds.base import (
    AnyLaw,
    Band,
    Branch,
    Given,
    Kind,
    Law,
    Mode,
    ModeEdit,
    MotorLaw,
    Part,
    Rating,
    Sign,
    Variable,
    When,
    coil_of,
    number,
)
from troubleshoot.circuit.kinds.induction import Cage, Typical, fitted, typical
from troubleshoot.circuit.kinds.magnets import PF_RATINGS, coil_flaws, coil_part
from troubleshoot.circuit.model import Device

WINDINGS = ("U", "V", "W")
COLD = 1 / 1.25
"""Resistance of a cold winding against the hot one of the equivalent circuit: 65 K of copper. Derived."""
CORE_DC_OHMS = 1e-3
"""Share of a winding's resistance that stands in its core part at direct current, so that the part is no short."""
HOT, LOAD = "hot", "load"
"""Questions (`evidence.told`) whose answers tell what no voltage does."""
LEAST_LOAD = 0.02
"""Share of rated torque that an idle motor still drives: its bearings and fan. Common practice."""
HEAVY, DRAG = 1.5, 0.5
"""Torque over rated torque of a load that is too heavy, and what a brake, bearing or gear that drags takes beside the load.
Enough that an overload relay set to the nameplate trips in minutes, not in seconds. Common practice, no published source."""


def _six(d: Device) -> bool:
    return str(d.ratings["leads"]) == "6"


def _closed(d: Device) -> bool:
    return _six(d) or str(d.ratings["windings"]) == "delta"


def _rated_winding(d: Device) -> tuple[float, float]:
    """Volts and amperes of one winding when the motor runs as its nameplate says."""
    root = math.sqrt(3)
    volts, amps = number(d, "volts"), number(d, "amps")
    return (volts, amps / root) if str(d.ratings["windings"]) == "delta" else (volts / root, amps)


def _nameplate(d: Device) -> Typical:
    """Typical values for the power, with what the circuit file itself gives in their place."""
    usual = typical(number(d, "power"))
    return Typical(
        number(d, "rated slip") or usual.slip, number(d, "pf") or usual.pf,
        number(d, "locked ratio") or usual.locked_ratio, usual.cage,
    )  # fmt: skip


def cage_of(d: Device) -> Cage:
    """Ohms of one winding: fitted to the nameplate, and where the file gives a value of the equivalent circuit, that."""
    volts, amps = _rated_winding(d)
    plate = _nameplate(d)
    cage = fitted(plate.cage, plate.slip, plate.pf, plate.locked_ratio).times(volts / amps)
    # The file's values are to the star point, as makers' sheets print them.
    winding = 3.0 if str(d.ratings["windings"]) == "delta" else 1.0
    given = {name: winding * number(d, name) for name in ("r1", "x1", "r2", "x2", "xm", "rc") if number(d, name)}
    if "x1" in given:
        given.setdefault("x2", given["x1"])
    return replace(cage, **given)


def _ends(d: Device, k: int) -> tuple[str, str]:
    """Begin and end of a winding. Three leads end in the inner star point or, in delta, at the next terminal."""
    name = WINDINGS[k]
    if _six(d):
        return f"{name}1", f"{name}2"
    return f"{name}1", f"{WINDINGS[(k + 1) % 3]}1" if _closed(d) else "@star"


def _motor_parts(d: Device) -> tuple[Part, ...]:
    cage, cold = cage_of(d), cage_of(d).r1 * COLD
    locked, run = cage.behind(1.0), cage.behind(_nameplate(d).slip)
    core = {"still": locked, "humming": locked, "turning": run, "turning backward": run}
    parts: list[Part] = []
    for k, name in enumerate(WINDINGS):
        begin, end = _ends(d, k)
        parts.append(Branch(name, begin, f"@{name}", cage.r1, max(cold - CORE_DC_OHMS, CORE_DC_OHMS)))
        parts.append(Variable(f"{name} core", f"@{name}", end, d.tag, core, dict.fromkeys(core, CORE_DC_OHMS)))
    return tuple(parts)


def _motor_laws(d: Device) -> tuple[AnyLaw, ...]:
    cage, (volts, amps), slip = cage_of(d), _rated_winding(d), _nameplate(d).slip
    rated = cage.torque_watts(volts / cage.at(slip), 0.0, slip)
    usual = max(number(d, "load torque"), LEAST_LOAD)
    cores = ("U core", "V core", "W core")
    shares = {
        "heavy": max(HEAVY, usual) / usual,
        "dragged": (usual + DRAG) / usual,
        "rubs": (usual + DRAG) / usual,
        "loose": LEAST_LOAD / usual,
    }
    return (MotorLaw(d.tag, ("U", "V", "W"), cores, cage, usual * rated, amps, _closed(d), shares),)


def _motor_faces(d: Device) -> dict[str, tuple[str, str]]:
    between = {"U-V": ("U1", "V1"), "V-W": ("V1", "W1"), "W-U": ("W1", "U1")}
    return between | ({f"winding {name}": (f"{name}1", f"{name}2") for name in WINDINGS} if _six(d) else {})


def _motor_signs(d: Device) -> tuple[Sign, ...]:
    shows = {
        "still": "still",
        "humming": "hums, does not turn",
        "turning": "turns",
        "turning backward": "turns backward",
    }
    by_hand = {
        "free": "turns by hand", "heavy": "turns by hand", "held": "stuck", "dragged": "stiff",
        "rubs": "rubs at the brake", "loose": "turns alone",
    }  # fmt: skip
    shaft = f"{d.tag} shaft"
    return (
        Sign(d.tag, d.words, "look", d.tag, shows),
        Sign(shaft, f"shaft of {d.words or d.tag} turned by hand, load secured, brake let go", "compare", shaft, by_hand,
             hands=True),
    )  # fmt: skip


MOTOR = Kind(
    name="motor",
    words="three-phase motor",
    ratings=(
        Rating("power", "watts", "rated shaft power"),
        Rating("volts", "volts", "rated line-to-line volts"),
        Rating("amps", "amps", "rated line current (nameplate)"),
        Rating("pf", "fraction", "power factor at rated load; 0: usual for the power", 0.0),
        Rating("locked ratio", "fraction", "locked-rotor current over rated current; 0: usual for the power", 0.0),
        Rating("rated slip", "fraction", "(synchronous less rated speed) over synchronous; 0: usual for the power", 0.0),
        Rating("windings", "choice", "how the windings are joined at rated volts", "star", ("star", "delta")),
        Rating("leads", "choice", "leads brought out: U1 V1 W1, or U2 V2 W2 as well", "3", ("3", "6")),
        Rating("load torque", "fraction", "torque of the load, over rated torque", 1.0),
        Rating("r1", "ohms", "stator resistance per phase, to the star point, hot; 0: from the nameplate", 0.0),
        Rating("x1", "ohms", "stator leakage reactance, to the star point; 0: from the nameplate", 0.0),
        Rating("r2", "ohms", "rotor resistance seen from the stator; 0: from the nameplate", 0.0),
        Rating("x2", "ohms", "rotor leakage reactance seen from the stator; 0: as x1", 0.0),
        Rating("xm", "ohms", "magnetising reactance; 0: from the nameplate", 0.0),
        Rating("rc", "ohms", "core loss resistance; 0: usual for the power", 0.0),
        Rating("load", "text", "what it drives, and whether the load can run by itself", ""),
    ),
    pins=lambda d: ("U1", "V1", "W1", *(("U2", "V2", "W2") if _six(d) else ()), "PE"),
    parts=_motor_parts,
    laws=_motor_laws,
    signs=_motor_signs,
    modes=lambda d: (
        # Bearings before windings in every large survey (EPRI 1983, IEEE 1985, from memory; none covers small motors).
        Mode("jammed", f"{d.tag} or its load is jammed", 0.35, (_shaft(d, "held"),), "free", f"{d.tag} shaft and load",
             signs=((LOAD, "jammed", 0.70), (HOT, "motor", 0.40))),
        Mode("drags", f"bearing or gear of {d.tag} drags", 0.20, (_shaft(d, "dragged"),), "mend",
             f"bearings and gear of {d.tag}", signs=((HOT, "gear", 0.65), (LOAD, "usual", 0.80))),
        Mode("coupling broken", f"coupling or belt of {d.tag} broken or slipping", 0.10, (_shaft(d, "loose"),), "mend",
             f"coupling or belt of {d.tag}", signs=((LOAD, "stands", 0.85), (HOT, "gear", 0.15))),
        *(
            Mode(f"winding {name} open", f"{d.tag} winding {name} open", 0.35 / 3, (ModeEdit("siemens", name, 0.0),),
                 "replace", d.tag, signs=((HOT, "motor", 0.50), (LOAD, "usual", 0.85)))
            for name in WINDINGS
        ),
        Mode("load too heavy", f"{d.tag} has too much to drive", 0.03, (_shaft(d, "heavy"),), "take off", f"load of {d.tag}",
             broken=False, signs=((LOAD, "much", 0.75), (HOT, "motor", 0.40))),
    ),
    rows=lambda d: (("U1", "V1", "W1"), *((("U2", "V2", "W2"),) if _six(d) else ())),
    faces=_motor_faces,
    weight=1.0,
)  # fmt: skip


def _shaft(d: Device, state: str) -> ModeEdit:
    return ModeEdit("stuck", f"{d.tag} shaft", state)


DC_RELEASE, DC_HOLD = Band(0.67, 0.83), Band(0.20, 0.40)
"""DC brake, normal gap: releases at 0.75 +- 0.08 of rated volts, holds down to 0.30 +- 0.10. Common practice."""


def _brake_laws(d: Device) -> tuple[AnyLaw, ...]:
    volts, current = coil_of(d)
    # AC solenoid brake: releases at 0.85, holds to 0.50 of rated volts. Common practice.
    release, hold = (DC_RELEASE, DC_HOLD) if current == "dc" else (Band(0.70, 0.85), Band(0.40, 0.60))
    return (
        Law(
            d.tag, "1", "2", current, "set", "released",
            Band(release.low * volts, release.high * volts), Band(hold.low * volts, hold.high * volts),
        ),
        Given(hand_release(d), "let go"),
    )  # fmt: skip


def _brake_modes(d: Device) -> tuple[Mode, ...]:
    """Gap, lining, dirt, hand release, spring, then coil: in about the order in which a trade finds them.

    With a rectifier of its own, the rectifier's share of what breaks (0.30) is a device beside this one. That a brake
    wears before anything else of it breaks: MIL-HDBK-338B, from memory (wear 0.56); the shares here are common practice,
    no published source.
    """
    held = str(d.ratings["holds"])
    drum = (HOT, "drum", 0.70)
    return (
        # Volts across a coil that carries no current lift nothing.
        Mode("coil open", f"{d.tag} coil open", 0.22,
             (ModeEdit("siemens", "coil", 0.0), ModeEdit("stuck", d.tag, "set")), "replace", f"{d.tag} coil", signs=(drum,)),
        Mode("coil short", f"{d.tag} coil shorted", 0.08,
             (ModeEdit("siemens", "coil", 2.0), ModeEdit("stuck", d.tag, "set")), "replace", f"{d.tag} coil", signs=(drum,)),
        Mode("gap worn", f"{d.tag} air gap worn, does not release", 0.28,
             (ModeEdit("threshold", d.tag, 1.6), ModeEdit("stuck", gap(d), "worn")), "set", f"{d.tag} air gap", signs=(drum,)),
        Mode("drags", f"{d.tag} lets go but drags: dirt, rust or a seized guide", 0.12,
             (ModeEdit("stuck", f"{held} shaft", "rubs"),), "clean and free", f"{d.tag} mechanism",
             signs=(drum, (LOAD, "usual", 0.85))),
        Mode("does not set", f"{d.tag} does not set: spring or guide", 0.10, (ModeEdit("stuck", d.tag, "released"),), "mend",
             f"{d.tag} mechanism"),
        Mode("lining worn", f"{d.tag} lining worn, does not hold", 0.12, (ModeEdit("stuck", lining(d), "worn"),), "replace",
             f"{d.tag} lining", signs=((HOT, "drum", 0.45),)),
        Mode("lining oily", f"{d.tag} lining oily or glazed, does not hold", 0.08,
             (ModeEdit("stuck", lining(d), "oily"),), "replace", f"{d.tag} lining", signs=((HOT, "drum", 0.60),)),
        # It runs and does not brake: a condition, nothing is broken.
        Mode("hand release on", f"hand release of {d.tag} left on", 0.03,
             (ModeEdit("stuck", d.tag, "released"), ModeEdit("stuck", hand_release(d), "on")), "let go",
             f"hand release of {d.tag}", broken=False),
    )  # fmt: skip


def gap(d: Device) -> str:
    """State variable, and name, of a brake's air gap: measured by a feeler gauge against its plate."""
    return f"{d.tag} gap"


def lining(d: Device) -> str:
    """State variable, and name, of a brake's lining: seen with the cover off."""
    return f"{d.tag} lining"


def hand_release(d: Device) -> str:
    """State variable, and name, of a brake's hand release."""
    return f"{d.tag} hand release"


RUNS_ON = "runs on"
"""What a load does behind a brake that does not hold: it takes longer to stop, or creeps on when it has."""


def _brake_signs(d: Device) -> tuple[Sign, ...]:
    name = d.words or d.tag
    return (
        Sign(d.tag, d.words, "look", d.tag, {"set": "set", "released": "released"}),
        Sign(hand_release(d), f"hand release of {name}", "look", hand_release(d), {"let go": "let go", "on": "on"}),
        Sign(gap(d), f"air gap of {name}, by feeler gauge against its plate", "compare", gap(d),
             {"same": "within its plate", "worn": "over its plate"}, hands=True),
        Sign(lining(d), f"lining of {name}, cover off", "compare", lining(d),
             {"same": "sound", "worn": "worn thin", "oily": "oily or glazed"}, hands=True),
        # Not a state of its own: a lining that slides and a brake that never set look the same from where one stands.
        Sign(f"{d.tag} holds", f"load as {name} sets", "stop", lining(d),
             {"same": "stops and stays", "worn": RUNS_ON, "oily": RUNS_ON}, needs=When(d.tag, ("set",)), without=RUNS_ON),
    )  # fmt: skip


BRAKE = Kind(
    name="brake",
    words="spring-applied brake",
    ratings=(
        Rating("coil", "coil", "coil volts and kind of current: 208 V AC; 205 V DC behind a rectifier"),
        Rating("holds", "text", "tag of the motor whose shaft it holds"),
        Rating("coil watts", "watts", "power of a DC coil", 50.0),
        Rating("inrush va", "watts", "volt-amperes with the armature open", 300.0),
        Rating("sealed va", "watts", "volt-amperes with the armature closed", 50.0),
        *PF_RATINGS,
    ),
    flaws=coil_flaws,
    pins=lambda _: ("1", "2"),
    # On AC a DC coil is mostly reactance; nothing but a wrong connection puts AC on it.
    parts=lambda d: (coil_part(d, d.tag, "set", "released", "1", "2"),),
    laws=_brake_laws,
    signs=_brake_signs,
    modes=_brake_modes,
    faces=lambda _: {"coil": ("1", "2")},
    weight=1.0,
)
