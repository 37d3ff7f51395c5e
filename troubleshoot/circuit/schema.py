"""The JSON Schema of a circuit file, for editors that complete keys while somebody types.

Made from the same rows that the loader reads. An editor's YAML may read ``12`` as a number where we read text, so
every text is allowed as a number or a boolean too; the loader stays the judge of what a file means.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, Final

from troubleshoot.circuit import written
from troubleshoot.circuit.kinds.base import Kind, Rating
from troubleshoot.circuit.rows import COMPLAINT, DEVICE, PLACE, PROGRAM, ROLES, RUN, SITUATION, TOP, VARIANT, WIRE, Row

Schema = dict[str, Any]

_TEXT: Final = {"type": ["string", "number", "boolean"]}
_TEXTS: Final = {"anyOf": [_TEXT, {"type": "array", "items": _TEXT, "minItems": 1}]}
_NUMBER: Final = r"[0-9]+(\.[0-9]+)?"


def circuit_schema(kinds: Mapping[str, Kind] | None = None) -> Schema:
    """A JSON Schema, draft 07, that every file `load_circuit` takes agrees with.

    kinds: the table of device kinds, by default the real one. It cannot see what only the loader checks: terminals,
    places and devices that are named and not there.
    """
    if kinds is None:
        from troubleshoot.circuit.kinds import KINDS

        kinds = KINDS
    top = _object(TOP)
    top["properties"] |= {
        "places": _each(_object(PLACE), least=1),
        "devices": _each({"$ref": "#/definitions/device"}, least=1),
        "wires": {"type": "array", "minItems": 1, "items": _object(WIRE)},
        "runs": {"type": "array", "items": _object(RUN)},
        "variants": _each(_object(VARIANT)),
        "program": _object(PROGRAM) | {"oneOf": [{"required": ["text"]}, {"required": ["file"]}]},
        "roles": {
            "type": "object",
            "properties": {role: {"description": words, **_TEXTS} for role, words in ROLES.items()},
            "additionalProperties": False,
        },
        "situations": _each(_object(SITUATION)),
        "complaints": _each(_object(COMPLAINT)),
        "priors": _each({"type": "number", "exclusiveMinimum": 0}),
    }
    for row in TOP:
        top["properties"][row.name]["description"] = row.words
    return {
        "$schema": "http://json-schema.org/draft-07/schema#",
        "title": "circuit file of troubleshoot",
        **top,
        "definitions": {"device": _device(kinds)},
    }


def _device(kinds: Mapping[str, Kind]) -> Schema:
    return {
        "type": "object",
        "required": ["kind"],
        "properties": {"kind": {"enum": list(kinds), "description": "what it is"}},
        "allOf": [
            {
                "if": {"properties": {"kind": {"const": kind.name}}, "required": ["kind"]},
                "then": _of_kind(kind),
            }
            for kind in kinds.values()
        ],
    }


def _of_kind(kind: Kind) -> Schema:
    schema = _object(DEVICE)
    schema["properties"]["kind"] = {"const": kind.name, "description": kind.words}
    schema["properties"] |= {row.name: _rating(row) for row in kind.ratings}
    schema["required"] += [row.name for row in kind.ratings if row.default is None]
    return schema


def _object(rows: Iterable[Row]) -> Schema:
    rows = tuple(rows)
    return {
        "type": "object",
        "properties": {row.name: {"description": row.words, **_written(row.type, row.choices)} for row in rows},
        "required": [row.name for row in rows if row.must],
        "additionalProperties": False,
    }


def _each(value: Schema, *, least: int = 0) -> Schema:
    return {"type": "object", "additionalProperties": value} | ({"minProperties": least} if least else {})


def _rating(row: Rating) -> Schema:
    schema = {"description": row.words, **_written(row.type, row.choices)}
    if row.type != "choice":
        schema["examples"] = [written.EXAMPLES[row.type]]
    # A default of text or number is shown as it is held, in the base unit of its quantity.
    if isinstance(row.default, str | int | float):
        schema["description"] += f" (otherwise {row.default})" if row.default not in ("", 0.0) else ""
    return schema


def _written(how: str, choices: tuple[str, ...]) -> Schema:
    """The schema of one way of writing: a `RowType` or a `RatingType`."""
    match how:
        case "choice":
            # A choice that looks like a number (`class: 10`) may be read as one.
            numbers = [int(c) for c in choices if c.isdecimal()]
            return {"enum": [*choices, *numbers]} if choices else dict(_TEXT)
        case "yes or no":
            return {"enum": ["yes", "no", "true", "false", True, False]}
        case "texts" | "list":
            return dict(_TEXTS)
        case "pins":
            return {"type": "array", "items": {"type": "string", "pattern": ".:."}, "minItems": 2}
        case "pairs":
            pair = {"type": "array", "items": {"type": "string", "pattern": ".:."}, "minItems": 2, "maxItems": 2}
            return {"type": "array", "items": pair}
        case "positions" | "points":
            return _each(dict(_TEXT))
        case "blocks":
            return _each({"anyOf": [{"enum": ["no", "nc", "NO", "NC", False]}, {"type": "array", "items": _TEXT}]})
        case "groups":
            group = {
                "type": "object",
                "properties": {"what": {"enum": list(choices)}, "points": _each(dict(_TEXT))},
                "required": ["what", "points"],
                "additionalProperties": False,
            }
            return _each(group)
        case "integer":
            return {"type": ["integer", "string"], "pattern": "^[0-9]+$", "minimum": 0}
        case "fraction":
            return {"type": ["number", "string"], "pattern": f"^{_NUMBER}\\s*%?$"}
        case "coil":
            return {"type": "string", "pattern": f"^{_NUMBER}\\s*[Vv]\\s*([Aa]|[Dd])[Cc]$"}
        case "system":
            return {"type": "string", "pattern": f"^{_NUMBER}Y?/{_NUMBER}(\\s*V)?$"}
        case "program text" | "acts":
            return {"type": "string"}
        case "section":
            return {}
        case _ if how in written.UNITS:
            return {"type": "string", "pattern": _quantity(how)}
        case _:
            return dict(_TEXT)


def _quantity(of: str) -> str:
    units = "|".join(re.escape(unit) for unit in written.UNITS[of])
    others = "".join(f"|{re.escape(unit)}" for quantity, unit in written.OTHER_UNITS if quantity == of)
    prefixes = "".join(written.PREFIXES)
    return f"^{_NUMBER}\\s*([{prefixes}]?({units}){others})$"
