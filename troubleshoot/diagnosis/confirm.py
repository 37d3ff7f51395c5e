"""The test that must agree before anything is replaced: de-energised where one exists, otherwise live and said so."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Act, NamedSituation, Pin, Situation
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.diagnosis.step import Step
from troubleshoot.diagnosis.tables import Floats
from troubleshoot.evidence.likelihood import Predicted
from troubleshoot.evidence.seen import Meter, Mode
from troubleshoot.faults.suspects import Suspect

SURE = 0.3
"""Share of the group's chance that a test must be able to show before it counts as a confirming test."""
VOLTS: tuple[Mode, ...] = ("ac volts", "dc volts")
RATIO = 2.0
"""Ohms that differ by more than this factor (leads included) are told apart by anybody."""


def isolated(reasoner: Reasoner) -> list[NamedSituation]:
    """Dead situations to test in: disconnect open, and the same with one hand-moved device moved."""
    circuit = reasoner.machine.circuit
    disconnects = circuit.roles.get("disconnect", ())
    opened = tuple(Act("open", tag) for tag in disconnects)
    base = [NamedSituation("isolated", "locked off and proved dead", Situation("rest", opened))]
    for tag, control in reasoner.machine.net.controls.items():
        kind = circuit.devices[tag].kind
        words = circuit.devices[tag].words
        if kind in ("push button", "emergency stop"):
            act = Act("press", tag)
            base.append(
                NamedSituation(f"isolated, {act}", f"locked off, {words} held in", Situation("rest", (*opened, act)))
            )
        elif kind == "selector":
            for position in control.positions:
                if position != control.usual:
                    act = Act("put", tag, position)
                    base.append(
                        NamedSituation(
                            f"isolated, {act}", f"locked off, {words} in {position}", Situation("rest", (*opened, act))
                        )
                    )
    return base if opened else []


def ends(reasoner: Reasoner, suspect: Suspect) -> Iterator[tuple[Pin, Pin]]:
    """Pairs of pins across what a suspect changes: the hop, the contact, or every face of the device."""
    net, circuit = reasoner.machine.net, reasoner.machine.circuit
    for edit in suspect.edits:
        if edit.does == "siemens" and edit.slot in net.element_index:
            element = net.elements[net.element_index[edit.slot]]
            names = [net.nodes[k] for k in (element.a, element.b) if k >= 0]
            if len(names) == 2 and not any("@" in n for n in names):
                yield _pin(names[0]), _pin(names[1])
                continue
        if edit.does == "earth":
            earth = next(
                (
                    Pin(d.tag, KINDS[d.kind].pins(d)[0])
                    for d in circuit.devices.values()
                    if d.kind == "bar" and d.tag.startswith("PE")
                ),
                None,
            )
            supply = next((Pin(d.tag, "PE") for d in circuit.devices.values() if d.kind == "supply"), None)
            back = earth or supply
            if back is not None:
                yield _pin(edit.slot), back
            continue
        tag = edit.slot.split(" ")[0]
        if tag in circuit.devices:
            device = circuit.devices[tag]
            for a, b in KINDS[device.kind].faces(device).values():
                yield Pin(tag, a), Pin(tag, b)


LIVE_VOLTS = 3.0
"""Volts to earth above which a point is not dead."""


def stays_live(reasoner: Reasoner, dead: NamedSituation, pins: Iterable[Pin]) -> tuple[Pin, ...]:
    """Which of these points are live on the healthy machine although every disconnect is open."""
    table = reasoner.table(dead.situation)
    column = table.inverse[table.healthy]
    net = reasoner.machine.net
    return tuple(
        p for p in pins
        if max(abs(complex(table.volts[kind][net.node(p), column])) for kind in ("ac", "dc")) > LIVE_VOLTS
    )  # fmt: skip


def _pin(name: str) -> Pin:
    device, _, pin = name.partition(":")
    return Pin(device, pin)


def confirm_step(
    reasoner: Reasoner, belief: Floats, group: str, live: list[NamedSituation], cannot: frozenset[str] = frozenset()
) -> Step | None:
    """The best confirming test of one repair group; None where nothing to be replaced or nothing shows it.

    A dead test wins over a live one whenever it can show at least half of the group's chance. Step.kind is ``confirm``;
    its situation says whether it is dead (name starts with ``isolated``).
    """
    suspects = reasoner.machine.suspects
    members = [k for k, s in enumerate(suspects) if s.group == group and s.broken]
    if not members:
        return None
    chance = belief[members] / max(belief[members].sum(), 1e-300)
    pairs = list(
        dict.fromkeys(
            p for k in members if belief[k] > 0.02 * belief[members].sum() for p in ends(reasoner, suspects[k])
        )
    )
    pairs = [p for p in pairs if not {str(p[0]), str(p[1])} & cannot]
    # An ohmmeter never goes on a point that the disconnect leaves live.
    dead = [(n, Meter("ohms", *p)) for n in isolated(reasoner) for p in pairs if not stays_live(reasoner, n, p)]
    found = _best(reasoner, dead, members, chance)
    if found is None:
        volts = [(n, Meter(mode, *p)) for n in live for p in pairs for mode in VOLTS]
        found = _best(reasoner, volts, members, chance)
    if found is None:
        return None
    named, meter, _ = found
    is_dead = named.name.startswith("isolated")
    healthy = reasoner.expected(meter, named.situation).words
    why = (
        "A de-energised test before anything is replaced."
        if is_dead
        else "No de-energised test shows this; measured live, and proved again after the repair."
    )
    return Step(
        "confirm", f"confirm {group} {meter.red}>{meter.black} {named.name}", (meter,), named,
        f"Confirm {group} before touching it", why, (f"good: {healthy}", f"bad: {_bad(reasoner, meter, named, members, chance)}"),
        group, cost=60.0 if is_dead else 90.0,
    )  # fmt: skip


def _best(
    reasoner: Reasoner, options: list[tuple[NamedSituation, Meter]], members: list[int], chance: Floats
) -> tuple[NamedSituation, Meter, float] | None:
    best: tuple[NamedSituation, Meter, float] | None = None
    for named in {n.name: n for n, _ in options}.values():
        meters = [m for n, m in options if n.name == named.name]
        reasoner.predict_all(meters, named.situation)
        table = reasoner.table(named.situation)
        for meter in meters:
            predicted = reasoner.predict(meter, named.situation)
            differs = _differs(predicted, predicted.right, reasoner_scale=predicted.scale)
            per = np.bincount(table.owner, weights=table.weight * differs, minlength=len(reasoner.machine.suspects))
            share = float((per[members] * chance).sum())
            # The test must look right on a whole machine, and be spoilt by few others.
            others = np.delete(per, members).mean()
            score = share - 0.5 * float(others)
            if share >= SURE and (best is None or score > best[2] + 1e-9):
                best = (named, meter, score)
    return best


def _differs(predicted: Predicted, right: float, *, reasoner_scale: float) -> Floats:
    value = np.abs(predicted.value)
    if reasoner_scale == 0.0:
        ohms, whole = np.minimum(value, 1e9) + 0.3, min(abs(right), 1e9) + 0.3
        return (np.maximum(ohms / whole, whole / ohms) > RATIO).astype(float)
    clear = (np.abs(value - abs(right)) > 0.3 * reasoner_scale) & ~predicted.floating
    return clear.astype(float)


def _bad(reasoner: Reasoner, meter: Meter, named: NamedSituation, members: list[int], chance: Floats) -> str:
    """How the likeliest member of the group would read."""
    predicted = reasoner.predict(meter, named.situation)
    table = reasoner.table(named.situation)
    differs = _differs(predicted, predicted.right, reasoner_scale=predicted.scale)
    per = np.bincount(table.owner, weights=table.weight * differs, minlength=len(reasoner.machine.suspects))
    worst = members[int(np.argmax(chance * per[members]))]
    value = float(np.abs(predicted.value[np.flatnonzero(table.owner == worst)[0]]))
    if meter.mode == "ohms":
        return "OL" if value > 1e6 else f"about {value:.3g} ohm"
    return f"about {value:.0f} V" if value >= 0.5 else "nothing"
