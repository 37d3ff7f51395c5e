"""A circuit file from a few answers: one motor, one contactor, wired as most are; what is not known is kept as variants.

Tags, terminal marks and wire numbers are the usual ones and marked as assumed: the true ones come with the hands. The
variants of an answer that is not known are not written by hand: the file is composed once more with the other answer, and
what differs between the two wirings is the variant.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit
from troubleshoot.describe.symptoms import complaints
from troubleshoot.describe.taps import (
    CONTROLLER,
    STRAIGHT,
    SYSTEMS,
    UNKNOWN,
    Answers,
    System,
    asked,
    counted_as,
    options_of,
)

Choice = dict[str, str]
"""Question id to option id, nothing unknown."""

LIKELIEST: Final[Choice] = {
    "buttons": CONTROLLER, "relay": "yes", "volts": "120 transformer", "overload": "before",
    "brake": "elsewhere", "selector": "run/jog",
}  # fmt: skip
"""What is written down where one does not know: the way with the most devices, so that the others are less of it; a
brake that may have a feed of its own counts as live with the disconnect open. Of the supply see `taps.counted_as`."""
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
    choice = {**LIKELIEST, "supply": counted_as(known), **known}
    either = "volts" in unknown and SYSTEMS[choice["supply"]].neutral == "120"
    base = _Frame(choice, either, "buttons" in unknown)
    text = _text(base, base.choice, known, machine, title)
    circuit = _loaded(text)
    variants = [v for q in unknown for v in _variants(q, base, known, circuit, machine, title)]
    return text.replace(_HERE, _section(variants) if variants else "")


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
    return known, tuple(unknown)


@dataclass(frozen=True, slots=True)
class _Frame:
    """What a file and all its variants have in common: the same devices and marks, so that they can be compared."""

    choice: Choice
    either_source: bool
    either_buttons: bool

    @property
    def system(self) -> System:
        return SYSTEMS[self.choice["supply"]]

    @property
    def neutral(self) -> bool:
        """Whether the neutral of the incoming supply is brought into the panel."""
        return self.either_source or (self.choice["volts"].split()[1] != "transformer" and bool(self.system.neutral))

    @property
    def controller(self) -> bool:
        return self.choice["buttons"] == CONTROLLER

    @property
    def straight(self) -> bool:
        return self.choice["buttons"] == STRAIGHT or self.either_buttons

    @property
    def stop_block(self) -> tuple[str, str]:
        """The emergency stop's contact in the coil's circuit; the first one goes to the controller."""
        return ("21", "22") if self.controller else ("11", "12")


# ------------------------------------------------------------------------------------------------------------ variants


@dataclass(frozen=True, slots=True)
class _Other:
    name: str
    words: str
    chance: float
    cut: tuple[str, ...]
    join: tuple[tuple[str, str], ...]
    stands: dict[str, str]


def _variants(question: str, base: _Frame, known: Choice, circuit: Circuit, machine: str, title: str) -> list[_Other]:
    """The other ways, for one answer that is not known, as what differs from the file."""
    found = []
    every = options_of(next(q for q in asked(base.choice) if q.id == question), base.choice)
    kept = [o for o in every if o.id in EXPRESSED.get(question, tuple(o.id for o in every))]
    total = sum(o.share for o in kept)
    for option in kept:
        if option.id == base.choice[question]:
            continue
        there = _loaded(_text(base, {**base.choice, question: option.id}, known, machine, title))
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
            lines.append(f"    cut: [{', '.join(_quoted(hop) for hop in v.cut)}]")
        if v.join:
            lines.append(f"    join: [{', '.join(f'[{_quoted(a)}, {_quoted(b)}]' for a, b in v.join)}]")
        if v.stands:
            lines.append(f"    stands: {{{', '.join(f'{_quoted(k)}: {_quoted(s)}' for k, s in v.stands.items())}}}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return f"'{text}'"


def _loaded(text: str) -> Circuit:
    found = load_circuit(text.replace(_HERE, ""), "pattern")
    assert isinstance(found, Circuit), f"a pattern does not load: {found[0]}"
    return found


# ------------------------------------------------------------------------------------------------------------ the file

_HERE: Final = "\n# variants\n"


@dataclass
class _Draft:
    """Devices and wires as they are put down."""

    devices: list[str] = field(default_factory=list)
    wires: list[str] = field(default_factory=list)

    def device(self, tag: str, text: str, known: str = "assumed") -> None:
        self.devices.append(f"  {tag}: {{{text}, known: {known}}}")

    def wire(self, number: str, *pins: str, length: str = "") -> None:
        run = ", ".join(_quoted(p) for p in pins)
        more = f", length: {length}" if length else ""
        self.wires.append(f"  - {{number: {_quoted(number)}, run: [{run}]{more}, known: assumed}}")

    def chain(self, numbers: Sequence[str], pins: Sequence[tuple[str, str]]) -> None:
        """Things in series: from the out of each to the in of the next, with a wire number between."""
        for number, (_, out), (into, _) in zip(numbers, pins[:-1], pins[1:], strict=True):
            self.wire(number, out, into)

    def note(self, words: str) -> None:
        self.wires.append(f"  # {words}")


def _text(frame: _Frame, choice: Choice, known: Choice, machine: str, title: str) -> str:
    """The file with these choices; devices and marks are those of the frame."""
    told = {q: "told" if q in known else "assumed" for q in (*LIKELIEST, "supply")}
    d = _Draft()
    supply = _power(d, frame, choice, told)
    hot, back = _control(d, frame, choice, told, supply)
    _rung(d, frame, choice, told, hot, back)
    places = ["  panel: {words: the panel, door: yes, walk: 20 s}", "  desk: {words: where it is operated, walk: 40 s}",
              "  motor: {words: the motor, walk: 60 s}"]  # fmt: skip
    if frame.choice["volts"].endswith("other"):
        places.append("  other panel: {words: the other panel that feeds the controls, door: yes, walk: 60 s}")
    if frame.choice["brake"] == "elsewhere":
        places.append("  brake feed: {words: the panel that the brake is fed from, door: yes, walk: 60 s}")
    return "\n".join([
        "# Written from a few answers, nobody has compared it with the panel yet: marks and numbers are assumed until read.",
        f"machine: {_quoted(machine)}", f"title: {_quoted((title or machine).replace(chr(39), ''))}", "",
        "places:", *places, "", "devices:", *d.devices, "", "wires:", *d.wires, _HERE.rstrip("\n"),
        *(_program(frame) if frame.controller else ()),
        "", "roles:", *_roles(frame), "", "situations:", *_situations(frame), "", *complaints(brake=frame.choice["brake"] != "none", jog=frame.choice["selector"] == "run/jog"), "",
    ])  # fmt: skip


def _power(d: _Draft, frame: _Frame, choice: Choice, told: Choice) -> str:
    """The way of the power to the motor, and its brake; gives the volts between lines."""
    line, amps = f"{frame.system.line:g} V", f"{6.4 * 208 / frame.system.line:.1f} A"
    d.device("G1", f"kind: supply, at: panel, words: incoming supply, {_supply(frame.system)}", told["supply"])
    d.device("Q1", "kind: disconnect, at: panel, words: main disconnect")
    for k in (1, 2, 3):
        d.device(f"F{k}", f"kind: fuse, at: panel, words: motor fuse line {k}, amps: 20 A")
    d.device("FR1", f"kind: overload, at: panel, words: overload relay, set: {amps}")
    d.device("M1", f"kind: motor, at: motor, words: motor, power: 1.5 kW, volts: {line}, amps: {amps}")
    if _returns(frame):
        d.device("NB", "kind: bar, at: panel, words: neutral or common bar, pins: ['1', '2', '3', '4', '5', '6']")
    d.device("PE", "kind: bar, at: panel, words: earth bar, pins: ['1', '2', '3', '4']")
    d.device("X2", "kind: terminals, at: panel, words: motor terminals, pins: ['1', '2', '3']")
    d.note("Power")
    for k, (line_in, pole, phase) in enumerate((("1", "1", "U"), ("3", "3", "V"), ("5", "5", "W")), 1):
        out = str(int(pole) + 1)
        d.wire(f"L{k}", f"G1:L{k}", f"Q1:{line_in}", length="4 m")
        d.wire(f"1L{k}", f"Q1:{int(line_in) + 1}", f"F{k}:1")
        d.wire(f"2L{k}", f"F{k}:2", f"KM1:{pole}")
        d.wire(f"3L{k}", f"KM1:{out}", f"FR1:{pole}")
        d.wire(phase, f"FR1:{out}", f"X2:{k}", f"M1:{phase}1")
    d.wire("PE", "G1:PE", "PE:1", length="4 m")
    d.wire("PE", "PE:2", "M1:PE")
    if frame.neutral:
        d.wire("N", "G1:N", "NB:1", length="4 m")
    _brake(d, frame, choice, told, line)
    return line


def _supply(system: System) -> str:
    return f"volts: {system.volts}, frequency: {system.frequency}, earthing: {system.earthing}"


def _returns(frame: _Frame) -> bool:
    """Whether anything at all comes back to the neutral or common bar."""
    return frame.neutral or frame.choice["volts"].split()[1] != "supply"


def _brake(d: _Draft, frame: _Frame, choice: Choice, told: Choice, line: str) -> None:
    sort = frame.choice["brake"]
    if sort == "none":
        return
    half = f"{0.45 * frame.system.line:.0f} V DC"
    coil = half if sort == "rectifier" else f"{line.split()[0]} V AC"
    # Its volts follow from the supply only on the motor's leads; behind a feed of its own nobody told them.
    known = told["brake"] if told["supply"] == "told" and sort in ("leads", "rectifier") else "assumed"
    d.device("YB1", f"kind: brake, at: motor, words: brake, coil: {coil}, holds: M1", known)
    if sort in ("own", "elsewhere"):
        at = "panel" if sort == "own" else "brake feed"
        d.device("F7", f"kind: fuse, at: {at}, words: brake fuse, amps: 4 A")
        d.device("F10", f"kind: fuse, at: {at}, words: second brake fuse, amps: 4 A")
    if sort == "elsewhere":
        d.device("G3", f"kind: supply, at: brake feed, words: feed of the brake, {_supply(frame.system)}")
    if choice["brake"] == "none":
        return
    d.note("Brake")
    match choice["brake"]:
        case "leads":
            d.wire("U", "X2:1", "YB1:1")
            d.wire("V", "X2:2", "YB1:2")
        case "rectifier":
            d.device(
                "TB1", f"kind: rectifier, at: motor, words: brake rectifier, in: {line}, form: half-wave", known,
            )  # fmt: skip
            d.wire("U", "X2:1", "TB1:1")
            d.wire("V", "X2:2", "TB1:2")
            d.wire("B+", "TB1:+", "YB1:1")
            d.wire("B-", "TB1:-", "YB1:2")
        case _:
            first, second = ("F1:1", "F2:1") if sort == "own" else ("G3:L1", "G3:L2")
            d.wire("1L1" if sort == "own" else "B3", first, "F7:1")
            d.wire("B1", "F7:2", "KM1:23")
            d.wire("B2", "KM1:24", "YB1:1")
            d.wire("1L2" if sort == "own" else "B4", second, "F10:1")
            d.wire("B5", "F10:2", "YB1:2")


def _control(d: _Draft, frame: _Frame, choice: Choice, told: Choice, line: str) -> tuple[str, str]:
    """Where the control voltage comes from: the point that feeds the coil's circuit, and its return."""
    volts, source = frame.choice["volts"].split()
    here = choice["volts"].split()[1]
    d.note("Where the control voltage comes from")
    low = source == "supply" or volts == "24"
    ac = frame.system.neutral or "120" if low else volts
    feed, number, back = "Q1:2", "1L1", ("N", "NB:4")
    if source == "other":
        d.device(
            "G2",
            f"kind: supply, at: other panel, words: feed from the other panel, volts: {ac}/{ac}, "
            f"phases: single-phase two-wire, frequency: {frame.system.frequency}",
            "assumed" if low else told["volts"],
        )
        d.wire("PE", "G2:PE", "PE:3")
        feed, number = "G2:L1", "8"
        if volts != "24":
            d.wire("N", "G2:N", "NB:2")
    if source == "transformer":
        d.device("F8", "kind: fuse, at: panel, words: transformer fuse, amps: 1 A")
        d.device("F9", "kind: fuse, at: panel, words: second transformer fuse, amps: 1 A")
        d.device("T1", f"kind: control transformer, at: panel, words: control transformer, in: {line}, out: {ac} V, power: 250 VA",
                 told["volts"] if told["supply"] == "told" else "assumed")  # fmt: skip
        d.wire("1L1", "Q1:2", "F8:1")
        d.wire("1L2", "Q1:4", "F9:1")
        d.wire("H1", "F8:2", "T1:H1")
        d.wire("H2", "F9:2", "T1:H2")
        d.wire("N", "NB:2", "PE:3")
        if here == "transformer":
            d.wire("N", "T1:X2", "NB:3")
            feed, number = "T1:X1", "8"
    if source == "supply" and not frame.neutral:
        # No line and neutral that such a supply takes: it hangs between two lines, both of them fused.
        ac = f"{frame.system.line:g}"
        d.device("F9", "kind: fuse, at: panel, words: second fuse of the DC supply, amps: 2 A")
        d.wire("1L2", "Q1:4", "F9:1")
        back = ("21", "F9:2")
    d.device("F4", "kind: fuse, at: panel, words: control fuse, amps: 3 A")
    at = "other panel" if low and source == "other" else "panel"
    out = volts if low else "24"
    needs_dc = low or frame.controller
    if needs_dc:
        d.device("F5", f"kind: fuse, at: {at}, words: fuse of the {out} V supply, amps: 2 A")
        d.device("PS1", f"kind: dc supply, at: {at}, words: {out} V supply, in: {ac} V, out: {out} V, limit: 5 A")
        d.device("MB", "kind: bar, at: panel, words: 0 V bar, pins: ['1', '2', '3', '4', '5', '6']")
        d.wire(number, feed, "F5:1")
        d.wire("20", "F5:2", "PS1:L")
        number_back, point = ("N", "G2:N") if low and source == "other" else back
        d.wire(number_back, point, "PS1:N")
        d.wire("0V", "PS1:-", "MB:1")
        d.wire("0V", "MB:2", "PE:4")
    if frame.controller:
        d.device("F6", "kind: fuse, at: panel, words: 24 V fuse of the controller, amps: 2 A")
    if not low:
        d.wire(number, feed, "F4:1")
        if frame.controller:
            d.wire("24", "PS1:+", "F6:1")
        return "F4:2", "NB:5"
    d.wire(out, "PS1:+", "F4:1")
    if frame.controller and out == "24":
        d.wire("24", "F4:1", "F6:1")
    elif frame.controller:
        d.device(
            "PS2",
            f"kind: dc supply, at: panel, words: 24 V supply of the controller, in: {ac} V, out: 24 V, limit: 5 A",
        )
        d.wire("20", "PS1:L", "PS2:L")
        d.wire(number_back, "PS1:N", "PS2:N")
        d.wire("24", "PS2:+", "F6:1")
        d.wire("0V", "PS2:-", "MB:6")
    return "F4:2", "MB:3"


def _rung(d: _Draft, frame: _Frame, choice: Choice, told: Choice, hot: str, back: str) -> None:
    """From the control fuse through everything to the coil and back; and the controller's side where there is one."""
    volts, source = frame.choice["volts"].split()
    low = source == "supply" or volts == "24"
    coil = f"{volts} V DC" if low else f"{volts} V AC"
    blocks = [
        *(["'13-14': no"] if frame.straight else []),
        *(["'23-24': no"] if frame.choice["brake"] in ("own", "elsewhere") else []),
    ]
    watts = ", coil watts: 5 W" if low else ""
    more = f", blocks: {{{', '.join(blocks)}}}" if blocks else ""
    d.device("KM1", f"kind: contactor, at: panel, words: motor contactor, coil: {coil}{watts}{more}", told["volts"])
    stops = "'11-12': nc, '21-22': nc" if frame.controller else "'11-12': nc"
    d.device("ES1", f"kind: emergency stop, at: desk, words: emergency stop, blocks: {{{stops}}}")
    d.device("S1", "kind: push button, at: desk, words: start button, blocks: {'13-14': no}", told["buttons"])
    d.device("S2", "kind: push button, at: desk, words: stop button, blocks: {'11-12': nc}", told["buttons"])
    if frame.choice["selector"] == "run/jog":
        d.device("S3", "kind: selector, at: desk, words: run/jog switch, positions: [jog, run], usual: run, blocks: {'13-14': [run]}",
                 told["selector"])  # fmt: skip
    d.device("X1", "kind: terminals, at: panel, words: control terminals, pins: ['1', '2', '3', '4', '5']")
    # Black box: only the emergency stop of a stop chain is certain, and only what falls under suspicion is opened up.
    d.device("CH1", "kind: unknown chain, at: panel, words: rest of the stop chain")
    if frame.controller:
        _controller_devices(d, frame, told)
    d.note("The coil's circuit")
    a, b = frame.stop_block
    d.wire("10", hot, "X1:1", "CH1:1")
    d.wire("16", "CH1:2", "X1:5", f"ES1:{a}")
    if choice["buttons"] == STRAIGHT:
        _buttons(d, choice, f"ES1:{b}")
        last, number = "KM1:14", "14"
    elif choice["relay"] == "yes":
        d.wire("11", f"ES1:{b}", "X1:2", "K1:13")
        last, number = "K1:14", "12"
    else:
        d.wire("11", f"ES1:{b}", "X1:2", "A1:1L")
        last, number = "A1:%QX0.0", "12"
    if choice["overload"] == "before":
        d.wire(number, last, "FR1:95")
        d.wire("13", "FR1:96", "KM1:A1")
        d.wire("0V" if low else "N", back, "KM1:A2")
    elif choice["overload"] == "after":
        d.wire(number, last, "KM1:A1")
        d.wire("18", "KM1:A2", "FR1:95")
        d.wire("0V" if low else "N", back, "FR1:96")
    else:
        d.wire(number, last, "KM1:A1")
        d.wire("0V" if low else "N", back, "KM1:A2")
    if frame.controller:
        _controller_wires(d, frame, choice)


def _buttons(d: _Draft, choice: Choice, fed: str) -> None:
    d.wire("11", fed, "S2:11")
    d.wire("12", "S2:12", "S1:13")
    if choice["selector"] == "run/jog":
        d.wire("12", "S1:13", "S3:13")
        d.wire("15", "S3:14", "X1:2", "KM1:13")
    else:
        d.wire("12", "S1:13", "X1:2", "KM1:13")
    d.wire("14", "S1:14", "X1:3", "KM1:14")


def _overload_input(frame: _Frame) -> bool:
    return frame.choice["overload"] == CONTROLLER


def _controller_devices(d: _Draft, frame: _Frame, told: Choice) -> None:
    inputs = ["'%IX0.0': emergency stop", "'%IX0.1': start", "'%IX0.2': stop"]
    if frame.choice["selector"] == "run/jog":
        inputs.append("'%IX0.3': run mode")
    if _overload_input(frame):
        inputs.append("'%IX0.4': overload")
    # A relay output takes any coil; a relay's own small coil is more often on a transistor.
    sort = "sourcing outputs" if frame.choice["relay"] == "yes" else "relay outputs"
    drives = "relay K1" if frame.choice["relay"] == "yes" else "contactor KM1"
    d.device("A1", f"kind: plc, at: panel, words: controller, inputs: {{{', '.join(inputs)}}}, "
                   f"groups: {{1L: {{what: {sort}, points: {{'%QX0.0': {drives}}}}}}}")  # fmt: skip
    if frame.choice["relay"] == "yes":
        d.device(
            "K1",
            "kind: relay, at: panel, words: 'relay, controller to contactor', coil: 24 V DC, blocks: {'13-14': no}",
        )


def _controller_wires(d: _Draft, frame: _Frame, choice: Choice) -> None:
    d.note("The controller's side, 24 V DC")
    straight = choice["buttons"] == STRAIGHT
    d.wire("25", "F6:2", "A1:L+")
    d.wire("0V", "MB:4", "A1:M", "A1:COM")
    if straight:
        return
    fed = ["ES1:11", "S1:13", "S2:11"]
    if choice["relay"] == "yes":
        d.wire("25", "A1:L+", "A1:1L")
        d.wire("40", "A1:%QX0.0", "K1:A1")
        d.wire("0V", "MB:5", "K1:A2")
    if choice["selector"] == "run/jog":
        fed.append("S3:13")
        d.wire("33", "S3:14", "A1:%IX0.3")
    d.wire("25", "A1:L+", "X1:4", *fed)
    d.wire("30", "ES1:12", "A1:%IX0.0")
    d.wire("31", "S1:14", "A1:%IX0.1")
    d.wire("32", "S2:12", "A1:%IX0.2")
    if choice["overload"] == CONTROLLER:
        d.wire("25", "X1:4", "FR1:95")
        if _overload_input(frame):
            d.wire("34", "FR1:96", "A1:%IX0.4")


def _program(frame: _Frame) -> list[str]:
    """What nearly every such controller holds: a stop chain and a latch."""
    mode, trip = frame.choice["selector"] == "run/jog", _overload_input(frame)
    lines = ["PROGRAM motor_control", "VAR", "  estop_ok AT %IX0.0 : BOOL;", "  start AT %IX0.1 : BOOL;",
             "  stop_ok AT %IX0.2 : BOOL;"]  # fmt: skip
    lines += ["  run_mode AT %IX0.3 : BOOL;"] if mode else []
    lines += ["  overload_ok AT %IX0.4 : BOOL;"] if trip else []
    chain = "estop_ok AND stop_ok" + (" AND overload_ok" if trip else "")
    latch = "(motor AND run_mode)" if mode else "motor"
    lines += ["  motor AT %QX0.0 : BOOL;", "END_VAR", f"  motor := {chain} AND (start OR {latch});", "END_PROGRAM"]
    return ["", "program:", "  lang: ST", "  known: assumed", "  text: |", *(f"    {line}" for line in lines)]


def _roles(frame: _Frame) -> list[str]:
    roles = {"disconnect": "Q1", "start": "S1", "stop": "S2", "emergency stop": "ES1", "contactor": "KM1",
             "overload": "FR1", "motor": "M1", "control fuse": "F4"}  # fmt: skip
    if frame.choice["selector"] == "run/jog":
        roles["mode"] = "S3"
    if frame.controller:
        roles["plc"] = "A1"
        if frame.choice["relay"] == "yes":
            roles["interposing"] = "K1"
    if frame.controller or frame.choice["volts"].endswith("supply") or frame.choice["volts"].startswith("24"):
        roles["dc supply"] = "PS1"
    if frame.choice["brake"] != "none":
        roles["brake"] = "YB1"
    return [f"  {role}: {tag}" for role, tag in roles.items()]


def _situations(frame: _Frame) -> list[str]:
    jog = ["  jog held: {words: switch in jog and Start held, after: put S3 in jog; press S1, hands: 2}"]
    return [
        "  as found: {words: as you found it, from: as-found}",
        "  at rest: {words: nobody at the buttons}",
        "  start held: {words: Start held by a helper, after: press S1, hands: 2}",
        "  running: {words: after Start was pressed and let go, after: press S1; release S1}",
        "  stop held: {words: 'running, then Stop held', after: press S1; release S1; press S2, hands: 2}",
        "  stopped: {words: 'started, then stopped', after: press S1; release S1; press S2; release S2}",
        "  emergency stop in: {words: 'running, then the emergency stop pushed in', after: press S1; release S1; press ES1}",
        *(jog if frame.choice["selector"] == "run/jog" else ()),
        "  isolated: {words: disconnect off and locked, after: open Q1}",
    ]
