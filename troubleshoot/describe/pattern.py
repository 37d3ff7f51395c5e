"""A circuit file from a few answers: one motor, one contactor, wired as most are; what is not known is kept as variants.

Tags, terminal marks and wire numbers are the usual ones and marked as assumed: the true ones come with the hands. The
variants of an answer that is not known are not written by hand: the file is composed once more with the other answer, and
what differs between the two wirings is the variant.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit
from troubleshoot.circuit.writing import write_circuit
from troubleshoot.describe.draft import LIKELIEST, Choice, Frame, quoted
from troubleshoot.describe.stops import stood, stops_kept
from troubleshoot.describe.taps import (
    CONTROLLER,
    HOA,
    STRAIGHT,
    SYSTEMS,
    UNKNOWN,
    Answers,
    asked,
    counted_as,
    feedback_in,
    options_of,
)
from troubleshoot.describe.writing import FIRST_LINE, HERE, text_of

EXPRESSED: Final[dict[str, tuple[str, ...]]] = {
    "supply": (), "volts": ("120 transformer", "120 line"), "brake": ("elsewhere", "leads", "none"),
    "selector": ("run/jog", "stop only"),
}  # fmt: skip
"""Of these questions only some options can be kept alive side by side: another voltage is another coil, another supply
another motor. The others are said when they are seen: *it's not wired like that*, and a reading that only another supply
gives asks for it (`job.supply`)."""
STANDS: Final[dict[tuple[str, str], dict[str, str]]] = {
    ("brake", "none"): {"YB1": "released"}, ("selector", "stop only"): {"A1 %IX0.3": "on"},
}  # fmt: skip
"""What never changes on a machine that lacks the thing."""
VARIANT_WORDS: Final[dict[tuple[str, str], str]] = {
    ("buttons", STRAIGHT): "the buttons switch the contactor without a controller",
    ("relay", "no"): "the controller switches the contactor without a relay",
    ("volts", "120 line"): "the control voltage comes from one line and neutral",
    ("overload", "after"): "the overload contact sits after the coil",
    ("overload", CONTROLLER): "the overload contact sits at an input of the controller",
    ("brake", "leads"): "the brake is fed from the motor's leads",
    ("brake", "none"): "there is no brake",
    ("selector", "stop only"): "there is no run/jog switch",
}  # fmt: skip


def compose(answers: Answers, *, machine: str, title: str = "") -> str:
    """The text of a circuit file that passes the check.

    answers: by question; what is missing or `UNKNOWN` is kept as variants. machine: short name, also the folder's.
    Raises ValueError on an answer that no question has.
    """
    known, unknown = _split(answers)
    if known.get("selector") == HOA:
        # Where a float starts it there are no buttons to reach the contactor by any way.
        known = {q: o for q, o in known.items() if q not in ("buttons", "relay") and (q, o) != ("overload", CONTROLLER)}
        known |= {"buttons": STRAIGHT}
        unknown = tuple(q for q in unknown if q not in ("buttons", "relay"))
    choice = {**LIKELIEST, "supply": counted_as(known), **known}
    either = "volts" in unknown and SYSTEMS[choice["supply"]].neutral == "120"
    base = Frame(choice, either, "buttons" in unknown)
    text = text_of(base, base.choice, known, machine, title)
    circuit = _loaded(text)
    variants = [v for q in unknown for v in _variants(q, base, known, circuit, machine, title)]
    whole = text.replace(HERE, _section(variants) if variants else "")
    said = stops_kept(known)
    return write_circuit(stood(_loaded(whole), said), FIRST_LINE) if said else whole


def variant_name(question: str, option: str) -> str:
    """What the variant that stands for an answer is called in the file."""
    return f"{question} {option}".replace("/", " ")


def _split(answers: Answers) -> tuple[Choice, tuple[str, ...]]:
    known, unknown = {}, []
    for question in asked(answers):
        said = answers.get(question.id, UNKNOWN)
        if said == UNKNOWN:
            unknown.append(question.id)
        elif said in [o.id for o in options_of(question, answers)]:
            known[question.id] = said
        else:
            raise ValueError(f"{said!r} is no answer to {question.id!r}")
    return known | feedback_in(answers) | stops_kept(answers), tuple(unknown)


@dataclass(frozen=True, slots=True)
class _Other:
    name: str
    words: str
    chance: float
    cut: tuple[str, ...]
    join: tuple[tuple[str, str], ...]
    stands: dict[str, str]


def _variants(question: str, base: Frame, known: Choice, circuit: Circuit, machine: str, title: str) -> list[_Other]:
    """The other ways, for one answer that is not known, as what differs from the file."""
    found = []
    every = options_of(next(q for q in asked(base.choice) if q.id == question), base.choice)
    kept = [o for o in every if o.id in EXPRESSED.get(question, tuple(o.id for o in every))]
    total = sum(o.share for o in kept)
    for option in kept:
        if option.id == base.choice[question]:
            continue
        there = _loaded(text_of(base, {**base.choice, question: option.id}, known, machine, title))
        here = {frozenset((h.a, h.b)): h for h in circuit.hops}
        other = {frozenset((h.a, h.b)): h for h in there.hops}
        cut = tuple(h.id for pair, h in here.items() if pair not in other)
        join = tuple((str(h.a), str(h.b)) for pair, h in other.items() if pair not in here)
        stands = dict(STANDS.get((question, option.id), {})) if base.controller or question != "selector" else {}
        found.append(
            _Other(variant_name(question, option.id), VARIANT_WORDS[question, option.id],
                   option.share / total, cut, join, stands)
        )  # fmt: skip
    return found


def _section(variants: Sequence[_Other]) -> str:
    # Several questions not answered: the variants are thought of one at a time, so their chances share one whole.
    total = sum(v.chance for v in variants)
    lines = ["", "# Not known yet. Each of these stays possible until a reading or a look tells.", "variants:"]
    for v in variants:
        lines += [f"  {v.name}:", f"    words: {v.words}", f"    chance: {v.chance / max(1.0, total / 0.6):.3f}"]
        if v.cut:
            lines.append(f"    cut: [{', '.join(quoted(hop) for hop in v.cut)}]")
        if v.join:
            lines.append(f"    join: [{', '.join(f'[{quoted(a)}, {quoted(b)}]' for a, b in v.join)}]")
        if v.stands:
            lines.append(f"    stands: {{{', '.join(f'{quoted(k)}: {quoted(s)}' for k, s in v.stands.items())}}}")
    return "\n".join(lines) + "\n"


def _loaded(text: str) -> Circuit:
    found = load_circuit(text.replace(HERE, ""), "pattern")
    assert isinstance(found, Circuit), f"a pattern does not load: {found[0]}"
    return found
