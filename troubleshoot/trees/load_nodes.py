"""One node of a tree file: what it asks for, where the leads go, and where each answer leads."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import Final, Literal, cast, get_args

from troubleshoot.circuit import written
from troubleshoot.circuit.rows import ROLES
from troubleshoot.evidence.seen import Mode
from troubleshoot.evidence.told import QUESTIONS
from troubleshoot.text.problem import Position, Problem, nearest
from troubleshoot.text.yamlnodes import Map, Seq, Text
from troubleshoot.text.yamlnodes import Node as Yaml
from troubleshoot.trees.model import (
    ALL_RIGHT,
    CANNOT,
    ENGINE,
    FOUND,
    LEADING,
    NONE_RIGHT,
    OTHERWISE,
    READING_WORDS,
    SIDES,
    WHICH,
    Ask,
    Branch,
    Confirm,
    DevicePoint,
    End,
    Engine,
    FacePoint,
    Go,
    Halve,
    Lights,
    Look,
    Measure,
    Node,
    Operate,
    PinPoint,
    PointName,
    Probe,
    SignName,
    SourcePoint,
    Which,
    WiredPoint,
)
from troubleshoot.trees.roles import ORDINALS, is_known, parted
from troubleshoot.trees.rows import COMMON, EXTRA, LAST, MOST_PROBES, SORTS

_RANGE: Final = re.compile(r"(?:(under|over) )?(\d+(?:\.\d+)?)(?:-(\d+(?:\.\d+)?))?(?: ?(?:V|A|ohm))?")


@dataclass
class Reading:
    file: str
    problems: list[Problem] = field(default_factory=list)
    leads: dict[tuple[str, str], Position] = field(default_factory=dict)
    """Where it is written, by node and target, that `next` or `absent` leads there."""

    def wrong(self, at: Position, what: str, near: str | None = None) -> None:
        self.problems.append(Problem(at, what, near))


def read_node(item: Yaml, to: Reading, doubtful: set[str]) -> Node | None:
    if not isinstance(item, Map):
        to.wrong(item.at, "a node is a map of keys, like {id: coil, measure: [contactor.coil.hot], next: rung}")
        return None
    before = len(to.problems)
    node_id = name_of(item.get("id"), "id", to)
    if item.get("id") is None:
        to.wrong(item.at, "a node must have 'id': its name")
    elif node_id == ENGINE:
        to.wrong(item.at, f"{ENGINE!r} is the hand-over that every tree has; give this node another name")
    sorts = [key for key, _ in item if key.value in SORTS]
    if len(sorts) != 1:
        what = f"node {node_id!r} must be one thing: {', '.join(SORTS)}"
        keys = [key.value for key, _ in item if key.value not in COMMON]
        to.wrong(item.at, what, next((n for k in keys if (n := nearest(k, SORTS))), None) if not sorts else None)
    sort = sorts[0].value if sorts else ""
    allowed = (*COMMON, *SORTS, *EXTRA.get(sort, ()))
    for key, _ in item:
        if key.value not in allowed:
            to.wrong(key.at, f"node {node_id!r} ({sort or '?'}) has no key {key.value!r}", nearest(key.value, allowed))
    read = _sorted(item, sort, node_id or "?", to) if len(sorts) == 1 else None
    absent = name_of(item.get("absent"), "absent", to)
    for value in (item.get("absent"), item.get("next")):
        if isinstance(value, Text) and node_id is not None:
            to.leads[node_id, value.value] = value.at
    if read is not None and absent:
        read = replace(read, absent=absent)
    if read is None or len(to.problems) > before:
        doubtful.add(node_id or "?")
    return read if node_id is not None else None


def _sorted(item: Map, sort: str, node_id: str, to: Reading) -> Node | None:
    value = item.get(sort)
    assert value is not None
    at = item.at
    words, why = words_of(item.get("words"), "words", to) or "", words_of(item.get("why"), "why", to) or ""
    situation = name_of(item.get("situation"), "situation", to) or ""
    after = name_of(item.get("next"), "next", to) or ""
    if sort in LAST:
        for key in ("next", "branches", "absent"):
            if (found := item.key(key)) is not None:
                to.wrong(found.at, f"nothing follows a {sort} node")
        text = words_of(value, sort, to)
        if text is None:
            return None
        match sort:
            case "confirm":
                if text != LEADING:
                    to.wrong(value.at, f"'confirm' is followed by: {LEADING}", LEADING)
                return Confirm(node_id, at, words, why, "", (), situation)
            case "engine":
                return Engine(node_id, at, words or text, why, "", (), situation)
            case "end":
                return End(node_id, at, words or text, why, "", (), situation)
            case _:
                devices = name_of(item.get("devices"), "devices", to) or ""
                if devices and devices not in ORDINALS:
                    to.wrong(item.at, f"'devices' must be one of {', '.join(ORDINALS)}", nearest(devices, ORDINALS))
                return Go(node_id, at, words, why, "", (), situation, text, devices)
    match sort:
        case "look" | "lights":
            signs = _signs(value, sort, to)
            branches = _branches(item.get("branches"), "shown", tuple(map(str, signs)), to)
            make = Look if sort == "look" else Lights
            return make(node_id, at, words, why, after, branches, situation, signs)
        case "operate":
            name = name_of(value, "operate", to)
            branches = _branches(item.get("branches"), "none", (), to)
            return None if name is None else Operate(node_id, at, words, why, after, branches, situation, name)
        case "measure":
            probes = _probes(value, to)
            branches = _branches(item.get("branches"), "reading", tuple(map(str, probes)), to)
            against = _against(item.get("against"), to)
            mode: Mode | None = None
            if (meter := item.get("meter")) is not None:
                mode = cast("Mode | None", written.choice(meter, "meter", get_args(Mode), to.problems))
            return Measure(node_id, at, words, why, after, branches, situation, probes, against, mode)
        case "halve":
            if not isinstance(value, Seq) or len(value.items) != 2:
                to.wrong(value.at, "'halve' must list the two ends of a path: [source, contactor.coil.hot]")
                return None
            start, end = _beginning(value.items[0], to), _point_at(value.items[1], to)
            branches = _branches(item.get("branches"), "halve", (), to)
            against = _against(item.get("against"), to)
            if isinstance(end, SourcePoint):
                to.wrong(value.at, "a path ends at a point of the machine, 'source' is where it begins")
            if start is None or end is None:
                return None
            return Halve(node_id, at, words, why, after, branches, situation, start, end, against)
        case _:
            question = name_of(value, "ask", to)
            if question is not None and question not in QUESTIONS:
                to.wrong(value.at, f"no question {question!r}", nearest(question, QUESTIONS))
                return None
            answers = tuple(a.id for a in QUESTIONS[question].answers) if question else ()
            branches = _branches(item.get("branches"), "answer", answers, to)
            return None if question is None else Ask(node_id, at, words, why, after, branches, situation, question)


def _against(node: Yaml | None, to: Reading) -> PointName | None:
    return None if node is None else _point_at(node, to)


def _texts(node: Yaml, key: str, to: Reading) -> list[tuple[str, Position]]:
    items = node.items if isinstance(node, Seq) else (node,)
    out = []
    for item in items:
        if isinstance(item, Text) and not item.missing:
            out.append((" ".join(item.value.split()), item.at))
        else:
            to.wrong(item.at, f"'{key}' lists names")
    if not items:
        to.wrong(node.at, f"'{key}' lists nothing")
    return out


def _signs(node: Yaml, sort: str, to: Reading) -> tuple[SignName, ...]:
    out: list[SignName] = []
    for text, at in _texts(node, sort, to):
        which, role = _of(text)
        if sort == "lights" and text == "all":
            out.append(SignName(""))
            continue
        if which in ("input", "output") and sort == "look":
            to.wrong(at, f"{text!r} is a light; read it in a 'lights' node")
        if which not in ("", "input", "output") and sort == "lights":
            to.wrong(at, f"{text!r} is no light; look at it in a 'look' node")
        if is_role(role, at, to):
            sign = SignName(role, which)
            if sign in out:
                to.wrong(at, f"{text!r} is listed twice")
            out.append(sign)
    return tuple(out)


def _of(text: str) -> tuple[Which, str]:
    for which in WHICH:
        if text.startswith(f"{which} of "):
            return which, text.removeprefix(f"{which} of ")
    return "", text


def _probes(node: Yaml, to: Reading) -> tuple[Probe, ...]:
    out: list[Probe] = []
    for text, at in _texts(node, "measure", to):
        red_text, _, black_text = text.partition(" to ")
        red = _point(red_text, at, to)
        black = _point(black_text, at, to) if black_text else None
        if red is not None and (not black_text or black is not None):
            out.append(Probe(red, black))
    if len(out) > MOST_PROBES:
        to.wrong(node.at, f"{len(out)} readings in one trip; at most {MOST_PROBES}, then another node")
    return tuple(out)


def _point_at(node: Yaml, to: Reading) -> PointName | None:
    text = written.scalar(node, "point", to.problems)
    return None if text is None else _point(" ".join(text.value.split()), text.at, to)


def _beginning(node: Yaml, to: Reading) -> PointName | None:
    """Where a path begins: a point, or the device that it leaves."""
    text = written.scalar(node, "point", to.problems)
    if text is None:
        return None
    said = " ".join(text.value.split())
    return DevicePoint(said) if is_known(said) else _point(said, text.at, to)


def _point(text: str, at: Position, to: Reading) -> PointName | None:
    """``source``, ``input of start``, ``contactor.coil.hot``, ``contactor.coil``, ``motor:U1``, ``KM1:A1``."""
    if text == "source":
        return SourcePoint()
    which, role = _of(text)
    if which == "input" or which == "output":
        return WiredPoint(which, role) if is_role(role, at, to) else None
    if ":" in text:
        device, _, pin = text.partition(":")
        return PinPoint(device, pin)
    parts = text.split(".")
    if len(parts) not in (2, 3):
        to.wrong(
            at, f"{text!r} is not a point; write role.face.side, role:terminal or TAG:terminal", "contactor.coil.hot"
        )
        return None
    if not is_role(parts[0], at, to):
        return None
    side = parts[2] if len(parts) == 3 else ""
    if side and side not in SIDES:
        to.wrong(at, f"{text!r} has no side {side!r}: {', '.join(SIDES)}", nearest(side, SIDES))
        return None
    return FacePoint(parts[0], parts[1], side)


def is_role(role: str, at: Position, to: Reading) -> bool:
    if is_known(role):
        return True
    to.wrong(at, f"{role!r} is not a role", nearest(parted(role)[2], ROLES))
    return False


_Meaning = Literal["shown", "reading", "halve", "answer", "none"]


def _branches(node: Yaml | None, meaning: _Meaning, items: tuple[str, ...], to: Reading) -> tuple[Branch, ...]:
    if node is None:
        return ()
    if not isinstance(node, Map):
        to.wrong(node.at, "'branches' must be a map: label to node")
        return ()
    out: list[Branch] = []
    first: dict[str, Position] = {}
    for key, value in node:
        label = " ".join(key.value.split())
        target = name_of(value, label, to)
        if target is None:
            continue
        branch = _branch(label, key.at, target, meaning, items, to)
        if branch is None:
            continue
        folded = label.casefold()
        if folded in first:
            to.wrong(key.at, f"label {label!r} is already there on line {first[folded].line}")
            continue
        first[folded] = key.at
        out.append(branch)
    return tuple(out)


def _branch(
    label: str, at: Position, target: str, meaning: _Meaning, items: tuple[str, ...], to: Reading
) -> Branch | None:
    if label in (OTHERWISE, CANNOT):
        return Branch(label, "", label, None, None, target, at)
    match meaning:
        case "none":
            to.wrong(at, f"an operate node has no label {label!r}: it leads to 'next'")
            return None
        case "halve":
            known: tuple[str, ...] = (FOUND, ALL_RIGHT, NONE_RIGHT, OTHERWISE, CANNOT)
            if label not in known:
                to.wrong(at, f"a halve node has no label {label!r}: {', '.join(known)}", nearest(label, known))
                return None
            return Branch(label, "", label, None, None, target, at)
        case "answer":
            if label not in items:
                to.wrong(at, f"the question has no answer {label!r}", nearest(label, items))
                return None
            return Branch(label, "", label, None, None, target, at)
        case "shown":
            return _shown_branch(label, at, target, items, to)
        case "reading":
            return _reading_branch(label, at, target, items, to)


def _shown_branch(label: str, at: Position, target: str, items: tuple[str, ...], to: Reading) -> Branch | None:
    if label == "as expected":
        return Branch(label, "", label, None, None, target, at)
    # With `lights: all` any light of a role may be named.
    roles = (*ROLES, *(f"{o} {r}" for o in ORDINALS for r in ROLES)) if "all" in items else ()
    named = (*items, *roles, *(f"{w} of {r}" for w in ("input", "output") for r in roles))
    item = max((n for n in named if label.startswith(f"{n} ")), key=len, default="")
    if not item:
        to.wrong(at, f"label {label!r} begins with none of the things looked at", nearest(label, named))
        return None
    return Branch(label, item, label.removeprefix(f"{item} "), None, None, target, at)


def _reading_branch(label: str, at: Position, target: str, items: tuple[str, ...], to: Reading) -> Branch | None:
    item = max((n for n in items if label.startswith(f"{n} ")), key=len, default="")
    word = label.removeprefix(f"{item} ") if item else label
    if word in READING_WORDS:
        return Branch(label, item, word, None, None, target, at)
    found = _RANGE.fullmatch(word)
    if found is None or (found[1] and found[3]) or not (found[1] or found[3]):
        known = (*READING_WORDS, OTHERWISE, CANNOT)
        what = (
            f"label {label!r} is neither a word for a reading ({', '.join(known)}) nor a range like 90-130 or under 5"
        )
        to.wrong(at, what, nearest(word, known))
        return None
    number = float(found[2])
    low, high = (0.0, number) if found[1] == "under" else (number, float("inf"))
    if found[3]:
        high = float(found[3])
    if low > high:
        to.wrong(at, f"label {label!r} runs from more to less")
    return Branch(label, item, word, low, high, target, at)


def name_of(node: Yaml | None, what: str, to: Reading) -> str | None:
    return None if node is None else written.name(node, what, to.problems)


def words_of(node: Yaml | None, what: str, to: Reading) -> str | None:
    return None if node is None else written.words(node, what, to.problems)
