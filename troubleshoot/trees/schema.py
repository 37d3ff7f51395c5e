"""The JSON Schema of a tree file, for editors that complete keys while somebody types.

Made from the tables that the loader reads. It cannot see what only the loader and the machine know: nodes that are named and
not there, loops, faces, situations, what a label means.
"""

from __future__ import annotations

import re
from typing import Any, get_args

from troubleshoot.circuit.rows import BY_ROLE, ROLES
from troubleshoot.evidence.seen import Mode
from troubleshoot.evidence.told import QUESTIONS
from troubleshoot.trees.model import ALL_RIGHT, CANNOT, FOUND, LEADING, NONE_RIGHT, OTHERWISE, SIDES, WHICH
from troubleshoot.trees.roles import ORDINALS, SUPPLY
from troubleshoot.trees.rows import COMMON, EXTRA, KEYS, LAST, MOST_PROBES, PROMISES, SORTS

Schema = dict[str, Any]

_TEXT: Schema = {"type": ["string", "number", "boolean"]}
_ROLE = f"({SUPPLY})?(({'|'.join(ORDINALS)}) )?({'|'.join(re.escape(role) for role in ROLES)})"


def tree_schema() -> Schema:
    """A JSON Schema, draft 07, that every file `load_tree` takes agrees with."""
    share = {"type": ["string", "number"], "pattern": r"^[0-9]+(\.[0-9]+)? ?%$"}
    promised = {name: {"description": words, **share} for name, words in PROMISES.items()}
    promised["cost"] = {
        "description": PROMISES["cost"],
        "type": ["number", "string"],
        "pattern": r"^[0-9]+(\.[0-9]+)?$",
    }
    properties: Schema = {
        "tree": dict(_TEXT),
        "title": dict(_TEXT),
        "needs": _one_or_more({"enum": list(ROLES)}),
        "situation": {"anyOf": [{"enum": ["as found", "at rest", *BY_ROLE]}, _TEXT]},
        "promises": {"type": "object", "properties": promised, "additionalProperties": False},
        "nodes": {"type": "array", "minItems": 1, "items": {"anyOf": [_node(sort) for sort in SORTS]}},
    }
    for name, words in KEYS.items():
        properties[name] = {"description": words, **properties[name]}
    return {
        "$schema": "http://json-schema.org/draft-07/schema#",
        "title": "tree file of troubleshoot",
        "type": "object",
        "properties": properties,
        "required": ["tree", "nodes"],
        "additionalProperties": False,
    }


def _node(sort: str) -> Schema:
    """A node of one sort."""
    common = [key for key in COMMON if sort not in LAST or key not in ("next", "branches", "absent")]
    properties: Schema = {key: {"description": COMMON[key], **_TEXT} for key in common}
    properties[sort] = {"description": SORTS[sort], **_value(sort)}
    for key in EXTRA.get(sort, ()):
        properties[key] = _more(key)
    if "branches" in properties:
        properties["branches"] = {"description": COMMON["branches"], **_branches(sort)}
    return {
        "type": "object", "properties": properties, "required": ["id", sort], "additionalProperties": False,
    }  # fmt: skip


def _value(sort: str) -> Schema:
    match sort:
        case "look":
            by_hand = "|".join(which for which in WHICH if which not in ("input", "output"))
            return _one_or_more({"type": "string", "pattern": f"^(({by_hand}) of )?({_ROLE})$"})
        case "lights":
            return _one_or_more({"type": "string", "pattern": f"^(all|(input of |output of )?({_ROLE}))$"})
        case "measure":
            return _one_or_more(_point(), most=MOST_PROBES)
        case "halve":
            begins = {"anyOf": [_point(), {"type": "string", "pattern": f"^{_ROLE}$"}]}
            return {"type": "array", "items": [begins, _point()], "minItems": 2, "maxItems": 2}
        case "confirm":
            return {"const": LEADING}
        case "ask":
            return {"enum": list(QUESTIONS)}
        case "operate":
            return {"anyOf": [{"enum": ["at rest", "start held", *BY_ROLE]}, _TEXT]}
        case _:
            return dict(_TEXT)


def _more(key: str) -> Schema:
    """The value of a key that only some sorts of node have."""
    match key:
        case "meter":
            return {"enum": list(get_args(Mode))}
        case "devices":
            return {"enum": list(ORDINALS)}
        case _:
            return _point()


def _point() -> Schema:
    sides = "|".join(side for side in SIDES if side)
    one = rf"(source|(input|output) of ({_ROLE})|[^:]+:.+|({_ROLE})\.[^.]+(\.({sides}))?)"
    return {"type": "string", "pattern": f"^{one}( to {one})?$"}


def _branches(sort: str) -> Schema:
    known = {
        "halve": (FOUND, ALL_RIGHT, NONE_RIGHT, OTHERWISE, CANNOT),
        "operate": (OTHERWISE, CANNOT),
        "ask": (*(a.id for q in QUESTIONS.values() for a in q.answers), OTHERWISE, CANNOT),
    }.get(sort)
    if known is None:
        return {"type": "object", "additionalProperties": dict(_TEXT)}
    return {"type": "object", "properties": {label: dict(_TEXT) for label in known}, "additionalProperties": False}


def _one_or_more(item: Schema, *, most: int | None = None) -> Schema:
    many: Schema = {"type": "array", "items": item, "minItems": 1}
    if most is not None:
        many["maxItems"] = most
    return {"anyOf": [item, many]}
