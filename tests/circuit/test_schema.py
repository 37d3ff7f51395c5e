"""The JSON Schema says what the loader says, as far as a schema can."""

from __future__ import annotations

import json
import re

import pytest
import yaml

from troubleshoot.circuit import written
from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.base import Rating
from troubleshoot.circuit.rows import TOP
from troubleshoot.circuit.schema import circuit_schema
from troubleshoot.text.problem import Position
from troubleshoot.text.yamlnodes import Text


def test_it_is_plain_json_and_says_which_draft():
    schema = circuit_schema()
    assert json.loads(json.dumps(schema)) == schema
    assert schema["$schema"] == "http://json-schema.org/draft-07/schema#"


def test_every_key_of_the_file_is_in_it_with_its_words():
    properties = circuit_schema()["properties"]
    assert {name: p["description"] for name, p in properties.items()} == {row.name: row.words for row in TOP}


def test_every_kind_and_every_rating_is_in_it(kinds):
    for table in (kinds, KINDS):
        device = circuit_schema(table)["definitions"]["device"]
        assert device["properties"]["kind"]["enum"] == list(table)
        for kind, branch in zip(table.values(), device["allOf"], strict=True):
            then = branch["then"]
            assert branch["if"]["properties"]["kind"]["const"] == kind.name
            assert {row.name for row in kind.ratings} <= set(then["properties"])
            assert set(then["required"]) == {"kind"} | {r.name for r in kind.ratings if r.default is None}


@pytest.mark.parametrize("of", list(written.UNITS))
@pytest.mark.parametrize(
    "said", ["120 V", "4.8A", "1.5 kW", "70 VA", "2 hp", "20 s", "5 min", "60 Hz", "2 m", "6 ft", "3 mohm", "12", "x V"]
)
def test_its_patterns_take_the_quantities_the_loader_takes(kinds, of, said):
    text = Text(said, Position("f", 1, 1))
    taken = written.rating(text, Rating("r", of, "a rating"), []) is not None
    from troubleshoot.circuit.schema import _written

    assert bool(re.search(_written(of, ())["pattern"], said)) == taken


def test_a_general_validator_agrees(kinds, sample):
    """Witness: the Python package jsonschema, which knows nothing of us; read with a YAML reader's own typing."""
    jsonschema = pytest.importorskip("jsonschema")
    schema = circuit_schema(kinds)
    jsonschema.Draft7Validator.check_schema(schema)
    judge = jsonschema.Draft7Validator(schema)
    read = yaml.load(sample, Loader=yaml.BaseLoader)
    read["priors"] = {name: float(weight) for name, weight in read["priors"].items()}
    assert [e.message for e in judge.iter_errors(read)] == []
    for old, new in [
        ("title:", "titel:"),
        ("kind: disconnect", "kind: disc"),
        ("coil: 24 V DC, ", ""),
        ("set: 4.8 A", "set: 4.8 V"),
        ("lang: ST", "lang: IL"),
        ("lang: ST", "lang: ST\n  file: belt.st"),
        ("mode: S3", "mood: S3"),
        ("[K1:14, FR1:95]", "[K1:14]"),
    ]:
        wrong = yaml.load(sample.replace(old, new), Loader=yaml.BaseLoader)
        wrong["priors"] = read["priors"]
        assert list(judge.iter_errors(wrong)), new


def test_every_machine_that_is_shipped_agrees_with_it(root):
    jsonschema = pytest.importorskip("jsonschema")
    judge = jsonschema.Draft7Validator(circuit_schema())
    machines = [path for name in ("machines", "circuits") for path in (root / "troubleshoot" / name).glob("*.yaml")]
    assert len(machines) > 10
    machines.append(root / "tests" / "against" / "press-3.yaml")  # the kinds that the shipped ones have not
    for path in machines:
        read = yaml.load(path.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
        assert [f"{path.name}: {e.json_path}: {e.message}" for e in judge.iter_errors(read)] == []
