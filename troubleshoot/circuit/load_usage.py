"""How a machine is used: its program, roles, situations, complaints, and what is known to fail."""

from __future__ import annotations

from typing import Final, cast

from troubleshoot.circuit import written
from troubleshoot.circuit.acts import Reach, held, read_acts
from troubleshoot.circuit.model import Act, Complaint, NamedSituation, Origin, Program, Situation
from troubleshoot.circuit.reading import Reading, is_device, joined_commas, keys_of, known_of, map_of
from troubleshoot.circuit.rows import BY_ROLE, COMPLAINT, ORIGINS, PROGRAM, ROLE_KINDS, ROLES, SITUATION
from troubleshoot.text.problem import Position, nearest
from troubleshoot.text.showing import a_or_an
from troubleshoot.text.yamlnodes import Node, Seq, Text

MOST_NAMED: Final = 8
"""Devices that are listed as fit for a role."""


def read_program(node: Node | None, to: Reading) -> Program | None:
    spec = map_of(node, "program", to)
    if spec is None:
        return None
    found = keys_of(spec, PROGRAM, "the program", to)
    lang = written.choice(found["lang"], "lang", PROGRAM[0].choices, to.problems) if "lang" in found else None
    text = written.scalar(found["text"], "text", to.problems) if "text" in found else None
    file = written.name(found["file"], "file", to.problems) if "file" in found else None
    if ("text" in found) is ("file" in found):
        what = "'text' and 'file' are both given" if "text" in found else "the program must have 'text' or 'file'"
        to.wrong(spec.at, f"{what}: the program itself, or the file beside this one that holds it")
    if file is not None and (flaw := _flaw_in_path(file)):
        to.wrong(found["file"].at, f"file {file!r} {flaw}")
    known = known_of(found, "told", to)
    edges = (
        written.yes_or_no(found["first scan edges"], "first scan edges", to.problems)
        if "first scan edges" in found
        else None
    )
    if lang is None or (text is None and file is None):
        return None
    value, line = (text.value, text.first_line) if text is not None else ("", 1)
    return Program(lang, value, line, known, file or "", edges is not False)


def _flaw_in_path(path: str) -> str | None:
    """Why a file may not be named so: a circuit file is copied from elsewhere and must not reach out of its own folder."""
    if "\\" in path or ":" in path:
        return "must be parted by /, with no \\ and no :"
    if path.startswith("/") or any(part in ("", ".", "..") for part in path.split("/")):
        return "must lie beside this file or in a folder below it"
    return None


def read_roles(node: Node | None, to: Reading) -> dict[str, tuple[str, ...]]:
    roles: dict[str, tuple[str, ...]] = {}
    for key, value in map_of(node, "roles", to) or ():
        if key.value not in ROLES:
            to.wrong(key.at, f"{key.value!r} is not a role", nearest(key.value, ROLES))
        tags = written.texts(value, key.value, to.problems, names=True)
        items = value.items if isinstance(value, Seq) else (value,)
        for item, tag in zip(items, tags or (), strict=False):
            if is_device(tag, item.at, to) and key.value in ROLES:
                _can_play(key.value, tag, item.at, to)
        if tags is not None:
            roles[key.value] = tags
    return roles


def _can_play(role: str, tag: str, at: Position, to: Reading) -> None:
    kind, fit = to.devices[tag].kind, ROLE_KINDS[role]
    if kind in fit or not set(fit) & set(to.kinds):  # a table of kinds that knows none of these cannot judge it
        return
    here = [other for other, device in to.devices.items() if device.kind in fit]
    has = f"here: {', '.join(here[:MOST_NAMED])}" if here else "this file has none"
    what = f"{tag} is {a_or_an(kind)} and cannot be the {role}, which is {' or '.join(map(a_or_an, fit))}; {has}"
    to.wrong(at, what, nearest(tag, here))


def read_situations(node: Node | None, to: Reading) -> dict[str, NamedSituation]:
    situations: dict[str, NamedSituation] = {}
    # A device with a mistake in it may have any position.
    can: Reach = to.can if not to.doubtful else {**to.can, **dict.fromkeys(to.doubtful, _ANY)}
    for key, value in map_of(node, "situations", to) or ():
        spec = map_of(value, key.value, to)
        if spec is None:
            continue
        found = keys_of(spec, SITUATION, f"situation {key.value!r}", to)
        out = to.problems
        words = written.words(found["words"], "words", out) if "words" in found else None
        origin = written.choice(found["from"], "from", ORIGINS, out) if "from" in found else None
        hands = written.integer(found["hands"], "hands", out, least=1) if "hands" in found else None
        acts = _after(found["after"], can, to) if "after" in found else ()
        hold = _hold(found["hold"], can, to) if "hold" in found else frozenset()
        situation = Situation(cast("Origin | None", origin) or "rest", acts, hold)
        situations[key.value] = NamedSituation(key.value, words or key.value, situation, hands or 1)
    return situations


class _AnyPosition(tuple[str, ...]):
    """Stands for the unknown positions of a device that could not be read: holds every one."""

    __slots__ = ()

    def __contains__(self, position: object) -> bool:
        return True


_ANY = _AnyPosition(("free", "pressed", "pulled", "on", "off", "set", "tripped", "whole", "blown"))


def _after(node: Node, can: Reach, to: Reading) -> tuple[Act, ...]:
    if isinstance(node, Text) and node.value == "":
        return ()
    text = written.scalar(node, "after", to.problems)
    if text is None:
        return ()
    at = Position(text.at.file, text.first_line, text.at.column + (text.style == "quoted"))
    acts, problems = read_acts(text.value, can, at)
    to.problems.extend(problems)
    return acts


def _hold(node: Node, can: Reach, to: Reading) -> frozenset[tuple[str, str]]:
    hold: set[tuple[str, str]] = set()
    for key, value in map_of(node, "hold", to) or ():
        position = written.name(value, f"position of {key.value}", to.problems)
        if key.value not in can:
            to.wrong(key.at, f"no device {key.value!r} in this file", nearest(key.value, can))
        elif position is not None:
            if wrong := held(key.value, position, can, value.at):
                to.problems.append(wrong)
            hold.add((key.value, position))
    return frozenset(hold)


def read_complaints(node: Node | None, situations: tuple[str, ...], to: Reading) -> dict[str, Complaint]:
    complaints: dict[str, Complaint] = {}
    for key, value in map_of(node, "complaints", to) or ():
        spec = map_of(value, key.value, to)
        if spec is None:
            continue
        found = keys_of(spec, COMPLAINT, f"complaint {key.value!r}", to)
        words = written.texts(found["words"], "words", to.problems) if "words" in found else None
        shows = written.name(found["shows"], "shows", to.problems) if "shows" in found else None
        if shows is not None and shows not in situations and shows not in BY_ROLE:
            to.wrong(found["shows"].at, f"no situation {shows!r} in this file", nearest(shows, situations))
        about = written.texts(found["about"], "about", to.problems) if "about" in found else None
        for item in about or ():
            if not any(item == role or item.startswith(f"{role} ") for role in ROLES):
                to.wrong(found["about"].at, f"{item!r} begins with no role", nearest(item, ROLES))
        complaints[key.value] = Complaint(key.value, words or (), shows or "", about or ())
    return complaints


def read_priors(node: Node | None, to: Reading) -> dict[str, float]:
    # Which suspects there are is known further up (faults); here only the numbers are read.
    priors: dict[str, float] = {}
    section = map_of(node, "priors", to)
    for key, value in () if section is None else joined_commas(section):
        weight = written.number(value, f"the weight of {key.value!r}", to.problems)
        if weight is not None:
            priors[key.value] = weight
    return priors
