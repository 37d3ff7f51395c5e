"""The test that must agree before anything is replaced: de-energised where one exists, otherwise live and said so."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Act, NamedSituation, Pin, Situation
from troubleshoot.diagnosis.candidates import JUMPS, between_lines, stray_shares, sure_of
from troubleshoot.diagnosis.doubted import Doubts, doubts, round_about
from troubleshoot.diagnosis.information import View, alike, batched, narrowed
from troubleshoot.diagnosis.reasoner import Reasoner, Repaired
from troubleshoot.diagnosis.step import Step
from troubleshoot.diagnosis.tables import Floats
from troubleshoot.evidence import ways_round
from troubleshoot.evidence.likelihood import (
    JUMPS_FROM,
    NO_OHMS,
    NOTHING_BELOW,
    OHM_DECADES,
    Predicted,
    classes,
    nominal_of,
)
from troubleshoot.evidence.seen import Meter, Mode, Seen
from troubleshoot.faults.suspects import OUTSIDE, Suspect
from troubleshoot.machine import Machine
from troubleshoot.solve.meters import NEEDS_DEAD

RULE_OUT = 0.15
"""Bits by which ruling out the rivals must beat showing the fault to come before it."""
WORTH_BITS = 0.12
"""Information below which a reading confirms nothing."""
FURTHER_BITS = 0.02
"""Information that each further reading of a confirming test must add."""
DEAD_BONUS = 0.60
"""Bits that a live test must tell more than a dead one before it is preferred."""
SHOWS = 0.3
"""Share of the group's chance that a confirming test must make visible, where any test can."""
MOST_READINGS = 3
RIVALS = 12
"""How many of the next likely repair groups a confirming test is asked to rule out."""
LEAD, OTHERS, HEALTHY = 0.50, 0.35, 0.15
"""Weights in which a confirming test is judged: it must tell the repair from its rivals and from a whole machine."""
VOLTS: tuple[Mode, ...] = ("ac volts", "dc volts")
OHM_EDGES = (0.4, 2.0, 20.0, 200.0, 2000.0, 1e6)
"""Ohms at which a person changes the word: contact, coil short, winding, coil, film, OL."""
LEADS_OHM = 0.3
"""Ohms of the leads: as in `evidence.likelihood`."""
HELD_BITS = 0.15
"""Bits that a dead test with a button held in must tell more than the one that needs nobody to hold it. Common practice."""
NOISE = 0.02


DEAD_NAME = "isolated"
"""How the name of a dead situation begins."""


def is_dead(machine: Machine, named: NamedSituation) -> bool:
    """A situation in which everything is off: it is named so, and every disconnect stands open at its end.

    The name alone does not do, for a circuit file may give any name to any situation; nor do one of two disconnects.
    """
    stands = dict.fromkeys(machine.disconnects, "on") | dict(named.situation.hold)
    for act in named.situation.acts:
        stands[act.device] = {"open": "off", "close": "on"}.get(act.verb, stands.get(act.device, ""))
    off = [stands[tag] == "off" for tag in machine.disconnects]
    return named.name.startswith(DEAD_NAME) and bool(off) and all(off)


def isolated(reasoner: Reasoner) -> list[NamedSituation]:
    """Dead situations to test in: disconnect open, and the same with one hand-moved device moved."""
    circuit = reasoner.machine.circuit
    opened = tuple(Act("open", tag) for tag in reasoner.machine.disconnects)
    base = [NamedSituation(DEAD_NAME, "locked off and proved dead", Situation("rest", opened))]
    for tag, control in reasoner.machine.net.controls.items():
        kind = circuit.devices[tag].kind
        words = circuit.devices[tag].words
        if kind in ("push button", "emergency stop"):
            act = Act("press", tag)
            base.append(
                NamedSituation(f"{DEAD_NAME}, {act}", f"locked off, {words} held in", Situation("rest", (*opened, act)))
            )
        elif kind == "pull cord":
            act = Act("pull", tag)
            base.append(
                NamedSituation(f"{DEAD_NAME}, {act}", f"locked off, {words} pulled", Situation("rest", (*opened, act)))
            )
        elif kind == "overload":
            act = Act("test", tag)
            base.append(
                NamedSituation(
                    f"{DEAD_NAME}, {act}", f"locked off, test button of {tag} held", Situation("rest", (*opened, act))
                )
            )
        elif kind == "selector":
            for position in control.positions:
                if position != control.usual:
                    act = Act("put", tag, position)
                    base.append(
                        NamedSituation(
                            f"{DEAD_NAME}, {act}",
                            f"locked off, {words} in {position}",
                            Situation("rest", (*opened, act)),
                        )
                    )
    return base if opened else []


def line_side(reasoner: Reasoner) -> NamedSituation | None:
    """With every disconnect off, to be read where it is still live: a lost line is fed back no more; None without one.

    It is the machine of `isolated`, and no dead situation: its name does not begin so, and what is read there is live.
    """
    opened = tuple(Act("open", tag) for tag in reasoner.machine.disconnects)
    words = "at rest, then disconnect off: its line side is still live"
    return NamedSituation("line side", words, Situation("rest", opened)) if opened else None


def ends(reasoner: Reasoner, suspect: Suspect) -> Iterator[tuple[Pin, Pin]]:
    """Pairs of pins across what a suspect changes: the hop, the contact, or every face of the device."""
    net, circuit = reasoner.machine.net, reasoner.machine.circuit
    for edit in suspect.edits:
        if edit.does in ("siemens", "times") and edit.slot in net.element_index:
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
    reasoner: Reasoner,
    belief: Floats,
    group: str,
    live: list[NamedSituation],
    cannot: frozenset[str] = frozenset(),
    evidence: Sequence[Seen] = (),
    repaired: Sequence[Repaired] = (),
) -> Step | None:
    """The confirming test of one repair group, up to three readings; None where nothing to be replaced or nothing shows it.

    evidence, repaired: what was seen, and mended, so far; a reading that was taken is not taken again to rule something out,
    and a point that may have been mistaken tells so much less (`doubted`). Where ruling out the rivals tells much more than showing the fault, that
    comes first, as a ``measure`` step without a group.

    It must tell the group from a whole machine and from the repairs that come next in likelihood. A dead test wins over a
    live one that tells about as much. Step.kind is ``confirm``; its situation says whether it is dead (``isolated``).
    """
    suspects = reasoner.machine.suspects
    members = [k for k, s in enumerate(suspects) if s.group == group and s.broken]
    if not members:
        return None
    weights = _weights(reasoner, belief, members)
    ranked = [g for g, p in reasoner.groups(belief) if g not in (group, OUTSIDE) and p > 1e-7][:RIVALS]
    top = belief[members].max()
    near = [k for k in members if belief[k] > 0.02 * top]
    near += [k for k, s in enumerate(suspects) if s.group in ranked and s.broken and belief[k] > 1e-7]
    pairs = list(dict.fromkeys(p for k in near for p in ends(reasoner, suspects[k])))
    weak = doubts(reasoner, evidence, repaired, (pin for pair in pairs for pin in pair), _rivals(belief, members))
    pairs = list(dict.fromkeys((*pairs, *round_about(reasoner.machine.circuit, pairs, weak))))
    pairs = [p for p in pairs if not {str(p[0]), str(p[1])} & cannot]
    tags = {pin.device for pair in pairs for pin in pair}
    base = isolated(reasoner)
    # An ohmmeter never goes on a point that the disconnect leaves live.
    dead_pairs = [p for p in pairs if not base or not stays_live(reasoner, base[0], p)]
    # Clamps only on the group's own wires: what flows elsewhere is for the search.
    own = {pin for k in members if belief[k] > 0.02 * top for pair in ends(reasoner, suspects[k]) for pin in pair}
    wires = [h for h in reasoner.machine.circuit.hops if {h.a, h.b} & own and not {str(h.a), str(h.b)} & cannot]
    clamps = [Meter("amps", h.a, h.b) for h in wires]
    for one in _distinct(live):
        reasoner.predict_all([Meter(mode, *p) for p in pairs for mode in VOLTS], one.situation)
    volts = [m for pair in pairs for m in _volts(reasoner, live, pair)]
    ohms = [Meter("ohms", *p) for p in dead_pairs]
    options = [(n, ohms) for n in base if n is base[0] or any(act.device in tags for act in n.situation.acts[1:])]
    options += [(n, [*volts, *_readable(reasoner, n, clamps)]) for n in _distinct(live)]
    upstream = line_side(reasoner)
    if upstream is not None and upstream.name not in cannot and stays_live(reasoner, upstream, own):
        across = between_lines(reasoner.machine.circuit)
        pins = stays_live(reasoner, upstream, dict.fromkeys(pin for pair in across for pin in pair))
        lines = [Meter("ac volts", *p) for p in across if set(p) <= set(pins) and not {str(p[0]), str(p[1])} & cannot]
        options.append((upstream, lines))
    chosen = _choose(reasoner, options, weights, members, weak, shows=True)
    done = {(one.what, one.at) for one in evidence if one.epoch == len(repaired)}
    fresh = [(n, [m for m in meters if (m, n.situation) not in done]) for n, meters in options]
    ruling = _choose(reasoner, fresh, weights, members, weak, shows=False)
    rules_out = ruling is not None and chosen is not None and ruling[2] > chosen[2] + RULE_OUT
    if chosen is None or rules_out:
        chosen = ruling
    if chosen is None:
        return None
    named, meters, _ = chosen
    dead = is_dead(reasoner.machine, named)
    why = (
        "A de-energised test before anything is replaced."
        if dead
        else "No de-energised test shows this as well; measured live, and proved again after the repair."
    )
    ahead = _ahead(reasoner, group, meters, named, members, belief)
    if rules_out:
        return Step(
            "measure", f"rule out beside {group} " + " ".join(f"{m.red}>{m.black}" for m in meters) + f" {named.name}",
            meters, named, f"{named.words[:1].upper()}{named.words[1:]}", "This rules out what looks the same so far.", ahead,
            cost=(60.0 if dead else 90.0) + 12.0 * len(meters),
        )  # fmt: skip
    return Step(
        "confirm", f"confirm {group} " + " ".join(f"{m.red}>{m.black}" for m in meters) + f" {named.name}", meters, named,
        f"Confirm {group} before touching it", why, ahead, group, cost=(60.0 if dead else 90.0) + 12.0 * len(meters),
    )  # fmt: skip


_Batch = tuple[NamedSituation, tuple[Meter, ...], float]


def _choose(
    reasoner: Reasoner, options: list[tuple[NamedSituation, list[Meter]]], weights: Floats, members: list[int],
    weak: Doubts, *, shows: bool,
) -> _Batch | None:  # fmt: skip
    """The best batch over all situations, a dead one preferred unless a live one tells clearly more."""
    batches = (_best(reasoner, named, meters, weights, members, weak, shows=shows) for named, meters in options)
    found = [batch for batch in batches if batch is not None]
    dead = _simplest([b for b in found if is_dead(reasoner.machine, b[0])])
    live = max((b for b in found if not is_dead(reasoner.machine, b[0])), key=lambda b: round(b[2], 9), default=None)
    if dead is None or (live is not None and live[2] > dead[2] + DEAD_BONUS):
        return live
    return dead


def _simplest(dead: list[_Batch]) -> _Batch | None:
    """The first, with nothing held, unless another tells so much more that it is worth a helper or a third hand."""
    best = max(dead, key=lambda b: round(b[2], 9), default=None)
    return dead[0] if best is not None and best[2] - dead[0][2] < HELD_BITS else best


CLAMP_AMPS = 0.2
"""Below this a hand-held clamp shows noise. Common practice, no published source."""


def _readable(reasoner: Reasoner, named: NamedSituation, clamps: list[Meter]) -> list[Meter]:
    """Clamp readings that show something at least under some suspect."""
    reasoner.predict_all(clamps, named.situation)
    return [m for m in clamps if reasoner.predict(m, named.situation).scale >= CLAMP_AMPS]


def _volts(reasoner: Reasoner, live: list[NamedSituation], pair: tuple[Pin, Pin]) -> list[Meter]:
    """Volts of the kinds that something stiff puts between two points, under any suspect: what merely couples across a DC
    contact is no reason to turn the knob to V AC."""
    found = []
    for mode in VOLTS:
        meter = Meter(mode, *pair)
        for one in _distinct(live):
            predicted = reasoner.predict(meter, one.situation)
            if (~predicted.floating & (np.abs(predicted.value) > NOTHING_BELOW * predicted.scale)).any():
                found.append(meter)
                break
    return found


def _distinct(live: list[NamedSituation]) -> list[NamedSituation]:
    return list({n.situation: n for n in live}.values())


def _weights(reasoner: Reasoner, belief: Floats, members: list[int]) -> Floats:
    """Chance of each suspect for judging a confirming test: half the group, the rest its rivals and a whole machine."""
    weights = np.array(belief, dtype=np.float64)
    outside = len(weights) - 1
    rivals = _rivals(belief, members)
    weights[members] *= LEAD / max(float(weights[members].sum()), 1e-300)
    weights[rivals > 0] *= OTHERS / max(float(rivals.sum()), 1e-300)
    weights[outside] = HEALTHY  # the suspect without edits stands for a whole machine
    return weights


def _rivals(belief: Floats, members: list[int]) -> Floats:
    """(suspects,) belief in what a repair group is to be told from: 0 for the group, and for what is not in the model."""
    found = np.array(belief, dtype=np.float64)
    found[members] = 0.0
    found[-1] = 0.0
    return found


def _best(
    reasoner: Reasoner, named: NamedSituation, meters: list[Meter], weights: Floats, members: list[int], weak: Doubts, *,
    shows: bool,
) -> _Batch | None:  # fmt: skip
    """The best batch of up to three readings in one situation, and its bits about "this group or not".

    shows: the first reading must look wrong under at least `SHOWS` of the group's chance.
    """
    if not meters:
        return None
    reasoner.predict_all(meters, named.situation)
    table = reasoner.table(named.situation)
    is_mine = np.isin(table.owner, members)
    weight = weights[table.owner] * table.weight
    chances = np.stack([_chances(reasoner.predict(m, named.situation), m.mode) for m in meters])
    first = [
        k for k in range(len(meters)) if not shows or _wrong_share(chances[k], table.healthy, weight, is_mine) >= SHOWS
    ]
    chances, split, source = weak.split(chances, meters, table.owner, weight)
    view = View(np.arange(len(split)), split / split.sum(), is_mine[source].astype(np.intp), ("not", "this"))
    cases = narrowed(view, alike(chances))
    batch, bits = batched(
        chances[:, cases.first, :], cases, first, list(range(len(meters))), MOST_READINGS, WORTH_BITS, FURTHER_BITS
    )
    return (named, tuple(meters[k] for k in batch), bits) if batch else None


def _wrong_share(chances: Floats, healthy: int, weight: Floats, mine: np.typing.NDArray[np.bool_]) -> float:
    """Share of the group's chance under which a reading is of another class than on a whole machine."""
    classes = chances.argmax(axis=1)
    return float(weight[mine & (classes != classes[healthy])].sum() / max(float(weight[mine].sum()), 1e-300))


def _chances(predicted: Predicted, mode: Mode) -> Floats:
    """(outcomes, classes) chance of each class of reading, as a person tells them apart: 7 of ohms, 5 of volts and amps."""
    value = np.abs(predicted.value)
    if mode in NEEDS_DEAD:
        sure: Floats = _ohm_classes(value) if mode == "insulation" else _with_ways_round(_ohm_classes(value), predicted)
    elif mode == "amps":
        # A winding that should carry a quarter ampere is judged by that, not by the short circuit of another fault.
        right = abs(predicted.right)
        nominal = right if right > CLAMP_AMPS / 2 else predicted.scale
        found = np.digitize(value / nominal, [0.25, 0.5, 2.0])
        sure = sure_of(np.where(2 * predicted.swing > JUMPS_FROM * nominal, JUMPS, found))
    else:
        stray = None if predicted.span is None else stray_shares(predicted.span, nominal_of(predicted), predicted.scale)
        sure = sure_of(classes(predicted), stray)
    mixed: Floats = (1 - NOISE) * sure + NOISE / sure.shape[1]
    return mixed


def _ohm_classes(value: Floats) -> Floats:
    """(outcomes, classes) chance of each class of ohms, as belief judges them: by ratio, and 0.3 ohm is the leads.

    0.38 and 0.43 ohm are two classes and one reading: with sharp edges a test was asked that told belief nothing.
    """
    x = np.log10(np.minimum(value, NO_OHMS) + LEADS_OHM)
    edges = np.log10(np.array(OHM_EDGES[:-1]) + LEADS_OHM)
    # Logistic stand-in for the normal integral (Bowling et al. 2009, from memory).
    below = 0.5 + 0.5 * np.tanh(0.851 * (edges[None, :] - x[:, None]) / OHM_DECADES)
    below = np.where(value[:, None] > NO_OHMS, 0.0, below)
    ends = np.where(value > NO_OHMS, 0.0, 1.0)
    found: Floats = np.diff(np.column_stack([np.zeros(len(value)), below, ends, np.ones(len(value))]), axis=1)
    return found


def _with_ways_round(sure: Floats, predicted: Predicted) -> Floats:
    """The same chances where the way round a parted conductor may read otherwise than computed, up to OL."""
    value = np.abs(predicted.value)
    edges = [np.zeros_like(value), *(ways_round.below(edge, value) for edge in OHM_EDGES), np.ones_like(value)]
    other = ways_round.unknown(value, abs(predicted.right))[:, None]
    found: Floats = (1 - other) * sure + other * np.diff(np.column_stack(edges), axis=1)
    return found


def _ahead(
    reasoner: Reasoner, group: str, meters: tuple[Meter, ...], named: NamedSituation, members: list[int], belief: Floats
) -> tuple[str, ...]:
    """What the readings would be together: if it is this repair, if it is sound, and if it is the likeliest one that reads
    otherwise than both. A row by itself says nothing where one reading shows the fault and the next one whose it is."""
    table = reasoner.table(named.situation)
    predicted = [reasoner.predict(m, named.situation) for m in meters]
    classes = np.stack([_chances(p, m.mode).argmax(axis=1) for p, m in zip(predicted, meters, strict=True)])
    sound = classes[:, table.healthy]

    def column(ids: Iterable[int], *others: np.typing.NDArray[np.intp]) -> int | None:
        """Of the likeliest suspect that reads otherwise than these."""
        for k in sorted(ids, key=lambda k: -belief[k]):
            found = int(np.flatnonzero(table.owner == k)[0])
            if all((classes[:, found] != other).any() for other in others):
                return found
        return None

    def words(found: int | None) -> str:
        texts = [
            reasoner.expected(m, named.situation).words if found is None else read_as(p, m, found)
            for m, p in zip(meters, predicted, strict=True)
        ]
        if found is not None:
            same = classes[:, found] == sound
            texts = [
                t if not s else reasoner.expected(m, named.situation).words
                for t, s, m in zip(texts, same, meters, strict=True)
            ]
        return texts[0] if len(texts) == 1 else ", ".join(f"{k} {text}" for k, text in enumerate(texts, 1))

    mine = column(members, sound)
    if len(meters) == 1:
        return (f"good: {words(None)}; faulty: {'the same' if mine is None else words(mine)}",)
    out = [f"{group} good: {words(None)}"] + ([] if mine is None else [f"{group} faulty, like: {words(mine)}"])
    mine_reads = sound if mine is None else classes[:, mine]
    others = [k for k, s in enumerate(reasoner.machine.suspects[:-1]) if k not in members and belief[k] > 1e-3]
    if (other := column(others, sound, mine_reads)) is not None:
        out.append(f"{reasoner.machine.suspects[int(table.owner[other])].group} instead: {words(other)}")
    return tuple(out)


def read_as(predicted: Predicted, meter: Meter, column: int) -> str:
    """A reading of one outcome in words."""
    value = float(np.abs(predicted.value[column]))
    if not predicted.steady[column]:
        return "unsteady"
    if meter.mode == "amps":
        return f"about {value:.2g} A" if value >= CLAMP_AMPS / 2 else "no current"
    if meter.mode in NEEDS_DEAD:
        if value > 1e6:
            return "OL"
        return (
            "under 1 ohm"
            if value < 1
            else f"about {value:.3g} ohm"
            if value < 1e3
            else f"about {value / 1e3:.{0 if value >= 1e4 else 1}f} kohm"
        )
    return f"about {value:.0f} V" if value >= 0.5 else "nothing"
