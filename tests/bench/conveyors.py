"""A circuit of any size for the clock: N conveyors on one supply, one 24 V supply and one controller."""

from __future__ import annotations

from troubleshoot.machine import Machine, describe


def text(count: int) -> str:
    """The circuit file of `count` conveyors, each with fuses, contactor, overload relay, motor, buttons and lamp."""
    every = range(1, count + 1)
    devices = [
        "G1: {kind: supply, at: panel, words: supply, volts: 208Y/120, frequency: 60 Hz}",
        "Q1: {kind: disconnect, at: panel, words: main disconnect}",
        f"F4: {{kind: fuse, at: panel, words: control fuse, amps: {2 * count + 1} A}}",
        "F5: {kind: fuse, at: panel, words: fuse of the 24 V supply, amps: 10 A}",
        f"PS1: {{kind: dc supply, at: panel, words: 24 V supply, in: 120 V, out: 24 V, limit: {count + 4} A}}",
        _bar("NB", "neutral bar", count + 2),
        _bar("PE", "earth bar", count + 2),
        _bar("MB", "0 V bar", 3 * count + 4),
        _bar("PB", "24 V bar", count + 3),
        _plc(count),
    ]
    wires = [
        _wire("L1", "G1:L1", "Q1:1"), _wire("L2", "G1:L2", "Q1:3"), _wire("L3", "G1:L3", "Q1:5"),
        _wire("1L1", "Q1:2", *(f"F{k}1:1" for k in every), "F4:1"),
        _wire("1L2", "Q1:4", *(f"F{k}2:1" for k in every), "F5:1"),
        _wire("1L3", "Q1:6", *(f"F{k}3:1" for k in every)),
        _wire("N", "G1:N", f"NB:{count + 1}"), _wire("PE", "G1:PE", f"PE:{count + 1}"),
        _wire("20", "F5:2", "PS1:L"), _wire("N", f"NB:{count + 2}", "PS1:N"),
        _wire("24", "PS1:+", f"PB:{count + 1}"), _wire("25", f"PB:{count + 2}", "A1:L+", "A1:Q+"),
        _wire("0V", "PS1:-", f"MB:{3 * count + 1}"), _wire("0V", f"MB:{3 * count + 2}", "A1:M", "A1:COM"),
        _wire("PE", f"MB:{3 * count + 3}", f"PE:{count + 2}"),
        _wire("10", "F4:2", *(f"K{k}:13" for k in every)),
    ]  # fmt: skip
    program = []
    for k in every:
        devices += _devices(k)
        wires += _wires(k)
        program.append(
            f"  {_output(2 * k - 2)} := {_input(2 * k - 1)} AND ({_input(2 * k - 2)} OR {_output(2 * k - 2)});"
        )
        program.append(f"  {_output(2 * k - 1)} := {_output(2 * k - 2)};")
    return "\n".join(
        [
            f"machine: conveyors-{count}", "title: conveyors on one supply", "places:", "  panel: {words: panel, door: yes}",
            "devices:", *(f"  {line}" for line in devices), "wires:", *(f"  - {line}" for line in wires),
            "program:", "  lang: ST", "  text: |", "    PROGRAM all", *(f"    {line}" for line in program),
            "    END_PROGRAM", "roles: {start: S11, stop: S12, contactor: KM1, motor: M1, disconnect: Q1, plc: A1}",
            "situations:", "  at rest: {words: nobody at the buttons}",
            "  running: {words: the first one started, after: press S11; release S11}", "complaints: {}", "",
        ]
    )  # fmt: skip


def machine(count: int) -> Machine:
    """The machine, or an error that says why not."""
    found = describe(text(count).encode(), f"conveyors-{count}.yaml")
    assert isinstance(found, Machine), "\n".join(str(p) for p in found[:5])
    return found


def _input(number: int) -> str:
    return f"%IX{number // 8}.{number % 8}"


def _output(number: int) -> str:
    return f"%QX{number // 8}.{number % 8}"


def _bar(tag: str, words: str, pins: int) -> str:
    numbers = ", ".join(f"'{pin}'" for pin in range(1, pins + 1))
    return f"{tag}: {{kind: bar, at: panel, words: {words}, pins: [{numbers}]}}"


def _wire(number: str, *run: str) -> str:
    return f"{{number: '{number}', run: [{', '.join(repr(pin) for pin in run)}]}}"


def _plc(count: int) -> str:
    inputs = ", ".join(f"'{_input(n)}': input" for n in range(2 * count))
    outputs = ", ".join(f"'{_output(n)}': output" for n in range(2 * count))
    return f"A1: {{kind: plc, at: panel, words: controller, inputs: {{{inputs}}}, outputs: {{{outputs}}}}}"


def _devices(k: int) -> list[str]:
    fuses = [f"F{k}{n}: {{kind: fuse, at: panel, words: fuse, amps: 20 A}}" for n in (1, 2, 3)]
    return [
        *fuses,
        f"KM{k}: {{kind: contactor, at: panel, words: contactor, coil: 120 V AC, inrush va: 70 VA, sealed va: 8 VA}}",
        f"FR{k}: {{kind: overload, at: panel, words: overload relay, set: 6.4 A, class: '10', reset: manual}}",
        f"M{k}: {{kind: motor, at: panel, words: motor, power: 1.5 kW, volts: 208 V, amps: 6.4 A, load: incline}}",
        f"K{k}: {{kind: relay, at: panel, words: interposing relay, coil: 24 V DC, blocks: {{'13-14': no}}}}",
        f"S{k}1: {{kind: push button, at: panel, words: start, blocks: {{'13-14': no}}}}",
        f"S{k}2: {{kind: push button, at: panel, words: stop, blocks: {{'11-12': nc}}}}",
        f"H{k}: {{kind: lamp, at: panel, words: lamp, lamp: 24 V DC, colour: green}}",
    ]


def _wires(k: int) -> list[str]:
    power = [
        _wire(f"{k}U{n}", f"F{k}{n}:2", f"KM{k}:{2 * n - 1}") for n in (1, 2, 3)
    ] + [_wire(f"{k}V{n}", f"KM{k}:{2 * n}", f"FR{k}:{2 * n - 1}") for n in (1, 2, 3)]  # fmt: skip
    return [
        *power,
        *(_wire(f"{k}W{n}", f"FR{k}:{2 * n}", f"M{k}:{pin}") for n, pin in ((1, "U1"), (2, "V1"), (3, "W1"))),
        _wire("PE", f"PE:{k}", f"M{k}:PE"),
        _wire(f"{k}12", f"K{k}:14", f"FR{k}:95"), _wire(f"{k}13", f"FR{k}:96", f"KM{k}:A1"),
        _wire("N", f"KM{k}:A2", f"NB:{k}"),
        _wire("25", f"PB:{k}", f"S{k}1:13", f"S{k}2:11"),
        _wire(f"{k}30", f"S{k}1:14", f"A1:{_input(2 * k - 2)}"), _wire(f"{k}31", f"S{k}2:12", f"A1:{_input(2 * k - 1)}"),
        _wire(f"{k}40", f"A1:{_output(2 * k - 2)}", f"K{k}:A1"), _wire("0V", f"K{k}:A2", f"MB:{2 * k - 1}"),
        _wire(f"{k}41", f"A1:{_output(2 * k - 1)}", f"H{k}:X1"), _wire("0V", f"H{k}:X2", f"MB:{2 * k}"),
    ]  # fmt: skip
