"""The parts of a circuit file of the pattern: power, brake, control circuit, controller, program, roles, situations."""

from __future__ import annotations

from typing import Final

from troubleshoot.describe import two_wire
from troubleshoot.describe.draft import LIKELIEST, Choice, Draft, Frame, quoted, source_of
from troubleshoot.describe.symptoms import complaints
from troubleshoot.describe.taps import CONTROLLER, LINES, STRAIGHT, System

WATCHES: Final = "%IX0.5"
"""Input that an auxiliary contact of the contactor switches, where there is one."""
FIRST_LINE: Final = (
    "Written from a few answers, nobody has compared it with the panel yet: marks and numbers are assumed until read."
)
HERE: Final = "\n# variants\n"


def text_of(frame: Frame, choice: Choice, known: Choice, machine: str, title: str) -> str:
    """The file with these choices; devices and marks are those of the frame."""
    told = {q: "told" if q in known else "assumed" for q in (*LIKELIEST, "supply")}
    d = Draft()
    supply = _power(d, frame, choice, told)
    hot, back = _control(d, frame, choice, told, supply)
    _rung(d, frame, choice, told, hot, back)
    places = ["  panel: {words: the panel, door: yes, walk: 20 s}", "  desk: {words: where it is operated, walk: 40 s}",
              "  motor: {words: the motor, walk: 60 s}"]  # fmt: skip
    if frame.two_wire:
        del places[1]  # there is no desk, and a float has no terminals of its own: its cable ends in the panel
    if frame.choice["volts"].endswith("other"):
        places.append("  other panel: {words: the other panel that feeds the controls, door: yes, walk: 60 s}")
    if frame.choice["brake"] == "elsewhere":
        places.append("  brake feed: {words: the panel that the brake is fed from, door: yes, walk: 60 s}")
    return "\n".join([
        f"# {FIRST_LINE}",
        f"machine: {quoted(machine)}", f"title: {quoted((title or machine).replace(chr(39), ''))}", "",
        "places:", *places, "", "devices:", *d.devices, "", "wires:", *d.wires, HERE.rstrip("\n"),
        *(_program(frame) if frame.controller else ()),
        "", "roles:", *_roles(frame), "", "situations:", *_situations(frame), "", *complaints(brake=frame.choice["brake"] != "none", jog=frame.choice["selector"] == "run/jog", two_wire=frame.two_wire), "",
    ])  # fmt: skip


def _power(d: Draft, frame: Frame, choice: Choice, told: Choice) -> str:
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


def _returns(frame: Frame) -> bool:
    """Whether anything at all comes back to the neutral or common bar."""
    return frame.neutral or frame.control[1] not in ("supply", LINES)


def _brake(d: Draft, frame: Frame, choice: Choice, told: Choice, line: str) -> None:
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


def _control(d: Draft, frame: Frame, choice: Choice, told: Choice, line: str) -> tuple[str, str]:
    """Where the control voltage comes from: the point that feeds the coil's circuit, and its return."""
    volts, source = frame.control
    here = source_of(choice["volts"], frame.system)[1]
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
    if source == LINES or (source == "supply" and not frame.neutral):
        # No line and neutral that it takes: it hangs between two lines, both of them fused.
        ac = f"{frame.system.line:g}"
        of = "control fuse" if source == LINES else "fuse of the DC supply"
        d.device("F9", f"kind: fuse, at: panel, words: second {of}, amps: 2 A")
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
        return "F4:2", "F9:2" if source == LINES else "NB:5"
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


def _rung(d: Draft, frame: Frame, choice: Choice, told: Choice, hot: str, back: str) -> None:
    """From the control fuse through everything to the coil and back; and the controller's side where there is one."""
    volts, source = frame.control
    low = source == "supply" or volts == "24"
    coil = f"{volts} V DC" if low else f"{volts} V AC"
    blocks = [
        *(["'13-14': no"] if frame.straight and not frame.two_wire else []),
        *(["'23-24': no"] if frame.choice["brake"] in ("own", "elsewhere") else []),
        *(["'33-34': no"] if frame.watched else []),
    ]
    watts = ", coil watts: 5 W" if low else ""
    more = f", blocks: {{{', '.join(blocks)}}}" if blocks else ""
    d.device("KM1", f"kind: contactor, at: panel, words: motor contactor, coil: {coil}{watts}{more}", told["volts"])
    if frame.two_wire:
        two_wire.devices(d, told["selector"])
        if frame.stopped:
            d.device("ES1", "kind: emergency stop, at: panel, words: emergency stop mushroom, blocks: {'11-12': nc}")
    else:
        _buttons_there(d, frame, told)
    d.device("X1", "kind: terminals, at: panel, words: control terminals, pins: ['1', '2', '3', '4', '5']")
    # Black box: only the emergency stop of a stop chain is certain, and only what falls under suspicion is opened up.
    d.device("CH1", "kind: unknown chain, at: panel, words: rest of the stop chain")
    if frame.controller:
        _controller_devices(d, frame, told)
    d.note("The coil's circuit")
    a, b = frame.stop_block
    zero = "0V" if low else "21" if source == LINES else "N"
    d.wire("10", hot, "X1:1", "CH1:1")
    if frame.stopped:
        d.wire("16", "CH1:2", "X1:5", f"ES1:{a}")
    if frame.two_wire:
        last, number = two_wire.wires(d, *((f"ES1:{b}", "11") if frame.stopped else ("CH1:2", "16")))
    elif choice["buttons"] == STRAIGHT:
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
        d.wire(zero, back, "KM1:A2")
    elif choice["overload"] == "after":
        d.wire(number, last, "KM1:A1")
        d.wire("18", "KM1:A2", "FR1:95")
        d.wire(zero, back, "FR1:96")
    else:
        d.wire(number, last, "KM1:A1")
        d.wire(zero, back, "KM1:A2")
    if frame.controller:
        _controller_wires(d, frame, choice)


def _buttons_there(d: Draft, frame: Frame, told: Choice) -> None:
    stops = "'11-12': nc, '21-22': nc" if frame.controller else "'11-12': nc"
    d.device("ES1", f"kind: emergency stop, at: desk, words: emergency stop mushroom, blocks: {{{stops}}}")
    d.device("S1", "kind: push button, at: desk, words: start button, blocks: {'13-14': no}", told["buttons"])
    d.device("S2", "kind: push button, at: desk, words: stop button, blocks: {'11-12': nc}", told["buttons"])
    if frame.choice["selector"] == "run/jog":
        d.device("S3", "kind: selector, at: desk, words: run/jog switch, positions: [jog, run], usual: run, blocks: {'13-14': [run]}",
                 told["selector"])  # fmt: skip


def _buttons(d: Draft, choice: Choice, fed: str) -> None:
    d.wire("11", fed, "S2:11")
    d.wire("12", "S2:12", "S1:13")
    if choice["selector"] == "run/jog":
        d.wire("12", "S1:13", "S3:13")
        d.wire("15", "S3:14", "X1:2", "KM1:13")
    else:
        d.wire("12", "S1:13", "X1:2", "KM1:13")
    d.wire("14", "S1:14", "X1:3", "KM1:14")


def _overload_input(frame: Frame) -> bool:
    return frame.choice["overload"] == CONTROLLER


def _controller_devices(d: Draft, frame: Frame, told: Choice) -> None:
    inputs = ["'%IX0.0': emergency stop", "'%IX0.1': start", "'%IX0.2': stop"]
    if frame.choice["selector"] == "run/jog":
        inputs.append("'%IX0.3': run mode")
    if _overload_input(frame):
        inputs.append("'%IX0.4': overload")
    if frame.watched:
        inputs.append(f"'{WATCHES}': contactor in")
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


def _controller_wires(d: Draft, frame: Frame, choice: Choice) -> None:
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
    if frame.watched:
        d.wire("25", "X1:4", "KM1:33")
        d.wire("35", "KM1:34", f"A1:{WATCHES}")
    if choice["overload"] == CONTROLLER:
        d.wire("25", "X1:4", "FR1:95")
        if _overload_input(frame):
            d.wire("34", "FR1:96", "A1:%IX0.4")


def _program(frame: Frame) -> list[str]:
    """What nearly every such controller holds: a stop chain and a latch."""
    mode, trip = frame.choice["selector"] == "run/jog", _overload_input(frame)
    lines = ["PROGRAM motor_control", "VAR", "  estop_ok AT %IX0.0 : BOOL;", "  start AT %IX0.1 : BOOL;",
             "  stop_ok AT %IX0.2 : BOOL;"]  # fmt: skip
    lines += ["  run_mode AT %IX0.3 : BOOL;"] if mode else []
    lines += ["  overload_ok AT %IX0.4 : BOOL;"] if trip else []
    lines += [f"  contactor_in AT {WATCHES} : BOOL;"] if frame.watched else []
    chain = "estop_ok AND stop_ok" + (" AND overload_ok" if trip else "")
    # Where it is told that the contactor is in, nearly every program holds itself by that and not by its own output.
    holds = "contactor_in" if frame.watched else "motor"
    latch = f"({holds} AND run_mode)" if mode else holds
    lines += ["  motor AT %QX0.0 : BOOL;", "END_VAR", f"  motor := {chain} AND (start OR {latch});", "END_PROGRAM"]
    return ["", "program:", "  lang: ST", "  known: assumed", "  text: |", *(f"    {line}" for line in lines)]


def _roles(frame: Frame) -> list[str]:
    roles = two_wire.roles(stopped=frame.stopped) if frame.two_wire else {
        "disconnect": "Q1", "start": "S1", "stop": "S2", "emergency stop": "ES1", "contactor": "KM1",
             "overload": "FR1", "motor": "M1", "control fuse": "F4",
    }  # fmt: skip
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


def _situations(frame: Frame) -> list[str]:
    if frame.two_wire:
        return two_wire.situations()
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
