"""The programmable controller: its supply, its groups of inputs and outputs, the part that runs the program."""

from __future__ import annotations

import dataclasses

from troubleshoot.circuit.kinds.base import (
    AnyLaw,
    Band,
    Branch,
    Cpu,
    DelayLaw,
    GroupPoint,
    Kind,
    Law,
    Mode,
    ModeEdit,
    Part,
    PointGroup,
    Rating,
    Sign,
    When,
    groups_of,
    number,
    points_of,
)
from troubleshoot.circuit.kinds.points import (
    INPUT_WEIGHT,
    INPUTS,
    OUTPUT_WEIGHT,
    OUTPUTS,
    bit,
    input_laws,
    input_modes,
    input_parts,
    output_laws,
    output_modes,
    output_parts,
)
from troubleshoot.circuit.model import Device

POWERED = ("running", "stopped")
MODULE_WEIGHT = 0.7
"""Weight of the module itself, beside 0.1 an input point and 0.3 an output point. Common practice."""


def _usual(d: Device, rating: str, common: str, what: str) -> PointGroup | None:
    """The group that a controller without groups has of each: inputs to COM, transistors from Q+."""
    points = points_of(d, rating)
    if not points and groups_of(d):
        return None
    return PointGroup(common, what, tuple(GroupPoint(p, p, words) for p, words in points.items()))


def inputs_of(d: Device) -> tuple[PointGroup, ...]:
    """Every group of inputs."""
    usual = _usual(d, "inputs", "COM", "DC inputs")
    return (*((usual,) if usual else ()), *(g for g in groups_of(d) if g.what in INPUTS))


def outputs_of(d: Device) -> tuple[PointGroup, ...]:
    """Every group of outputs."""
    usual = _usual(d, "outputs", "Q+", "sourcing outputs")
    return (*((usual,) if usual else ()), *(g for g in groups_of(d) if g.what in OUTPUTS))


def _listed(groups: tuple[PointGroup, ...]) -> tuple[GroupPoint, ...]:
    return tuple(p for group in groups for p in group.points)


def terminals_of(d: Device, which: str) -> tuple[str, ...]:
    """Terminals of all points that are ``input``, or ``output``."""
    return tuple(p.terminal for p in _listed(inputs_of(d) if which == "input" else outputs_of(d)))


def _pins(d: Device) -> tuple[str, ...]:
    groups = (*inputs_of(d), *outputs_of(d))
    return ("L+", "M", *(g.common for g in groups), *(p.terminal for p in _listed(groups)))


def _flaws(d: Device) -> tuple[str, ...]:
    groups = (*inputs_of(d), *outputs_of(d))
    pins, addresses = _pins(d), tuple(p.address for p in _listed(groups))
    twice = {mark: None for listed in (pins, addresses) for mark in listed if listed.count(mark) > 1}
    return tuple(f"{mark!r} is there twice, among inputs, outputs and groups" for mark in twice)


def program(d: Device) -> str:
    """State variable of what is loaded: ``same`` as the copy that the circuit file holds, or ``differs``."""
    return f"{d.tag} program"


def forces(d: Device) -> str:
    """State variable of the forced points: ``same`` as nobody left any, or ``forced``."""
    return f"{d.tag} forces"


def _parts(d: Device) -> tuple[Part, ...]:
    supply = 24.0 / number(d, "amps")
    return (
        Branch("supply", "L+", "M", complex(supply), supply),
        *(part for group in inputs_of(d) for part in input_parts(group)),
        *(part for group in outputs_of(d) for part in output_parts(d, group)),
    )


def _laws(d: Device) -> tuple[AnyLaw, ...]:
    inputs, outputs = inputs_of(d), outputs_of(d)
    read, written = _listed(inputs), _listed(outputs)
    return (
        # 24 V DC -15 % must work (IEC 61131-2); how far below it still runs is common practice.
        Law(d.tag, "L+", "M", "dc", "off", "running", Band(16.0, 20.4), Band(14.0, 18.0)),
        *(law for group in inputs for law in _read_laws(d, group)),
        *(law for group in outputs for law in output_laws(d, group)),
        Cpu(d.tag, {p.address: bit(d, p.address) for p in read}, {p.address: bit(d, p.address) for p in written}),
    )


def _read_laws(d: Device, group: PointGroup) -> tuple[AnyLaw, ...]:
    """From the terminals of one group to what the program reads: at once, or after filter and scan where they are given."""
    laws = input_laws(d, group, _threshold(d, group))
    filter_s, scan_s = number(d, "filter"), number(d, "scan")
    if not filter_s and not scan_s:
        return laws
    out: list[AnyLaw] = []
    for law in laws:
        assert isinstance(law, Law)
        terminal = f"{law.var} terminal"
        out.append(dataclasses.replace(law, var=terminal))
        for before, after in ((law.off, law.on), (law.on, law.off)):
            when = (When(terminal, (after,)),)
            out.append(DelayLaw(law.var, before, after, when, filter_s, filter_s + scan_s))
    return tuple(out)


def _threshold(d: Device, group: PointGroup) -> str:
    """Name of the threshold that the inputs of one group have in common."""
    return f"{d.tag} inputs" if group.common == "COM" else f"{d.tag} {group.common} inputs"


def _signs(d: Device) -> tuple[Sign, ...]:
    powered = When(d.tag, POWERED)
    on_off = {"on": "on", "off": "off"}
    return (
        Sign(f"{d.tag} RUN", "RUN light", "light", d.tag, {"running": "on", "stopped": "off", "off": "off"}, d.tag),
        *(
            Sign(bit(d, p.address), f"{which} {p.words}", "light", bit(d, p.address), on_off, d.tag, powered)
            for which, groups in (("input", inputs_of(d)), ("output", outputs_of(d)))
            for p in _listed(groups)
        ),
        Sign(program(d), f"program of {d.tag} beside its copy", "compare", program(d),
             {"same": "the same", "differs": "differs"}, d.tag),
        Sign(forces(d), f"list of forced points in {d.tag}", "compare", forces(d),
             {"same": "empty", "forced": "not empty"}, d.tag),
    )  # fmt: skip


def _modes(d: Device) -> tuple[Mode, ...]:
    inputs, outputs = inputs_of(d), outputs_of(d)
    total = MODULE_WEIGHT + INPUT_WEIGHT * len(_listed(inputs)) + OUTPUT_WEIGHT * len(_listed(outputs))
    return (
        Mode("stopped", f"{d.tag} is not running its program", 0.03, (ModeEdit("stuck", d.tag, "stopped"),), "set to run",
             d.tag, broken=False),
        Mode("module dead", f"{d.tag} has no life in it", MODULE_WEIGHT / total, (ModeEdit("stuck", d.tag, "off"),),
             "replace", d.tag),
        *(mode for group in inputs for mode in input_modes(d, group, total)),
        *(mode for group in outputs for mode in output_modes(d, group, total)),
    )  # fmt: skip


PLC = Kind(
    name="plc",
    words="programmable controller",
    ratings=(
        Rating(
            "inputs", "points", "24 V DC input points to COM, and what is wired to them: '%IX0.0': emergency stop", {}
        ),
        Rating("outputs", "points", "transistor outputs from Q+, and what they drive: '%QX0.0': interposing relay", {}),
        Rating("groups", "groups", "points of any sort, by the common terminal they share", (), (*INPUTS, *OUTPUTS)),
        Rating("type", "choice", "input type (IEC 61131-2)", "1", ("1", "2", "3")),
        Rating("amps", "amps", "supply current", 0.2),
        Rating("filter", "seconds", "how long an input must stand before it counts; 0: no time", 0.0),
        Rating("scan", "seconds", "time from one reading of the inputs to the next; 0: no time", 0.0),
    ),
    pins=_pins,
    parts=_parts,
    laws=_laws,
    signs=_signs,
    modes=_modes,
    faces=lambda _: {"supply": ("L+", "M")},
    flaws=_flaws,
    rows=lambda d: (
        ("L+", "M"),
        *((g.common, *(p.terminal for p in g.points)) for g in (*inputs_of(d), *outputs_of(d))),
    ),
    weight=2.0,
)
