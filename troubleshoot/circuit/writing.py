"""A `Circuit` as the text of a circuit file: what `load_circuit` reads back as the same circuit.

For machines that the program wrote itself or changed: a copy of a sister, an amended description. Comments of a file that
a person wrote are not in a `Circuit` and so not in its text.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise
from typing import Final, cast

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.base import Blocks, PointGroup, Rating
from troubleshoot.circuit.model import Circuit, Complaint, Device, Hop, NamedSituation, Program, Run, Situation, Variant
from troubleshoot.circuit.runs import USUAL
from troubleshoot.circuit.written import UNITS

_PLAIN: Final = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-./+ ")


def write_circuit(circuit: Circuit, note: str = "") -> str:
    """The text of a circuit file. note: a comment for its first line."""
    parts = [
        [f"# {line}" for line in note.splitlines()],
        [f"machine: {_text(circuit.name)}", f"title: {_text(circuit.title)}"],
        ["places:", *(_place(circuit, name) for name in circuit.places)],
        ["devices:", *(f"  {_key(d.tag)}: {_device(circuit, d)}" for d in circuit.devices.values())],
        ["wires:", *_wires(circuit.hops)],
        _section("runs", [f"  - {_run(run)}" for run in circuit.runs]),
        _section("variants", [f"  {_key(v.name)}: {_variant(v)}" for v in circuit.variants.values()]),
        _program(circuit.program) if circuit.program else [],
        _section("roles", [f"  {_key(role)}: {_list(tags)}" for role, tags in circuit.roles.items()], empty="roles: {}"),
        _section("situations", [f"  {_key(n)}: {_situation(s)}" for n, s in circuit.situations.items()]),
        _section("complaints", [f"  {_key(c.name)}: {_complaint(c)}" for c in circuit.complaints.values()],
                 empty="complaints: {}"),
        _section("priors", [f"  {_key(name)}: {_number(weight)}" for name, weight in circuit.priors.items()]),
    ]  # fmt: skip
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def _section(name: str, lines: list[str], *, empty: str = "") -> list[str]:
    return [f"{name}:", *lines] if lines else [empty] if empty else []


def _text(value: str) -> str:
    if value and set(value) <= _PLAIN and value == value.strip() and value[0].isalnum():
        return value
    if any(ord(c) < 32 or c in "\x7f\x85\u2028\u2029\ufeff" for c in value):
        shown = "".join(
            c if ord(c) >= 32 and c not in '\\"\x7f\x85\u2028\u2029\ufeff' else f"\\u{ord(c):04x}" for c in value
        )
        return f'"{shown}"'
    return "'" + value.replace("'", "''") + "'"


_key = _text


def _number(value: float) -> str:
    # No exponents in a circuit file, and no more than twelve digits behind the point.
    return f"{value:.12f}".rstrip("0").rstrip(".")


def _list(items: Iterable[str]) -> str:
    return f"[{', '.join(_text(item) for item in items)}]"


def _map(entries: Mapping[str, str]) -> str:
    return "{" + ", ".join(f"{key}: {value}" for key, value in entries.items() if value) + "}"


def _place(circuit: Circuit, name: str) -> str:
    place = circuit.places[name]
    return f"  {_key(name)}: " + _map({
        "words": _text(place.words), "door": "yes" if place.door else "",
        "walk": f"{_number(place.walk_s)} s" if place.walk_s else "", "needs": _list(place.needs) if place.needs else "",
        "danger": _text(place.danger) if place.danger else "",
    })  # fmt: skip


def _device(circuit: Circuit, device: Device) -> str:
    kind = KINDS[device.kind]
    entries = {"kind": _text(device.kind), "at": _text(device.place), "words": _text(device.words)}
    for row in kind.ratings:
        value = device.ratings[row.name]
        if row.default is None or value != row.default:
            entries[row.name] = _rating(row, value)
    if device.known != "seen":
        entries["known"] = device.known
    return _map(entries)


def _rating(row: Rating, value: object) -> str:
    match row.type:
        case "text" | "device" | "choice":
            return _text(str(value))
        case "list":
            return _list(cast("tuple[str, ...]", value))
        case "blocks":
            return _map({_text(f"{a}-{b}"): _closed(how) for (a, b), how in cast("Blocks", value).items()}) or "{}"
        case "points":
            return _map({_text(p): _text(words) for p, words in cast("Mapping[str, str]", value).items()})
        case "groups":
            return _map({_text(group.common): _group(group) for group in cast("tuple[PointGroup, ...]", value)})
        case "coil":
            volts, current = cast("tuple[float, str]", value)
            return f"{_number(volts)} V {current.upper()}"
        case "system":
            line, phase = cast("tuple[float, float]", value)
            return f"{_number(line)}/{_number(phase)}"
        case "integer" | "fraction":
            return _number(float(cast("float", value)))
        case _:
            return f"{_number(float(cast('float', value)))} {UNITS[row.type][0]}"


def _closed(how: tuple[str, ...]) -> str:
    return how[0] if how in (("no",), ("nc",)) else _list(how)


def _group(group: PointGroup) -> str:
    points = {
        _text(p.terminal): _text(p.words if p.terminal == p.address else f"{p.address} {p.words}") for p in group.points
    }
    return _map({"what": _text(group.what), "points": _map(points) or "{}"})


def _wires(hops: tuple[Hop, ...]) -> list[str]:
    """One line a wire; hops that follow each other and are alike share one."""
    lines: list[list[Hop]] = []
    for before, hop in pairwise((None, *hops)):
        assert hop is not None
        follows = before is not None and (before.number, before.b, before.metres, before.known, before.field) == (
            hop.number, hop.a, hop.metres, hop.known, hop.field,
        )  # fmt: skip
        if follows:
            lines[-1].append(hop)
        else:
            lines.append([hop])
    return [
        "  - " + _map({
            "number": _text(line[0].number), "run": _list([str(line[0].a), *(str(h.b) for h in line)]),
            "length": f"{_number(line[0].metres)} m", "known": line[0].known if line[0].known != "seen" else "",
        })
        for line in lines
    ]  # fmt: skip


def _run(run: Run) -> str:
    inside = next(iter(USUAL))
    return _map({
        "conductors": _list(run.hops), "in": inside, "length": f"{_number(run.metres)} m",
        "to neighbour": f"{_number(run.to_neighbour * 1e12)} pF/m", "to earth": f"{_number(run.to_earth * 1e12)} pF/m",
    })  # fmt: skip


def _program(program: Program) -> list[str]:
    lines = ["program:", f"  lang: {program.lang}", f"  known: {program.known}"]
    lines += [] if program.first_scan_edges else ["  first scan edges: no"]
    if program.file:
        return [*lines, f"  file: {_text(program.file)}"]
    # A number says how far the text is indented, so that its own first line may be indented too.
    return [*lines, "  text: |2", *(f"    {line}".rstrip() for line in program.text.rstrip("\n").split("\n"))]


def _variant(variant: Variant) -> str:
    return _map({
        "words": _text(variant.words), "chance": _number(variant.chance),
        "cut": _list(variant.cut) if variant.cut else "",
        "join": "[" + ", ".join(_list((str(a), str(b))) for a, b in variant.join) + "]" if variant.join else "",
        "stands": _map({_key(var): _text(state) for var, state in variant.stands}),
    } | ({} if variant.stands else {"stands": ""}))  # fmt: skip


def _complaint(complaint: Complaint) -> str:
    shows = _text(complaint.shows) if complaint.shows else ""
    about = _list(complaint.about) if complaint.about else ""
    return _map({"words": _list(complaint.words), "shows": shows, "about": about})


def _situation(named: NamedSituation) -> str:
    s: Situation = named.situation
    return _map({
        "words": _text(named.words), "from": s.origin if s.origin != "rest" else "",
        "hold": _map({_key(d): _text(v) for d, v in sorted(s.hold)}) if s.hold else "",
        "after": _text("; ".join(str(act) for act in s.acts)) if s.acts else "",
        "hands": str(named.hands) if named.hands != 1 else "",
    })  # fmt: skip
