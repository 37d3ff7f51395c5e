"""The JSON Schema of a tree says what the loader says, as far as a schema can."""

from __future__ import annotations

import json

import pytest
import yaml

from troubleshoot.trees.rows import KEYS, SORTS
from troubleshoot.trees.schema import tree_schema


def test_it_is_plain_json_and_names_every_key_with_its_words():
    schema = tree_schema()
    assert json.loads(json.dumps(schema)) == schema
    assert {name: p["description"] for name, p in schema["properties"].items()} == dict(KEYS)
    sorts = [next(k for k in node["required"] if k != "id") for node in schema["properties"]["nodes"]["items"]["anyOf"]]
    assert sorts == list(SORTS)


def test_a_general_validator_takes_every_tree_of_the_library_and_refuses_what_the_loader_refuses(root):
    """Witness: the Python package jsonschema, which knows nothing of us; read with a YAML reader's own typing."""
    jsonschema = pytest.importorskip("jsonschema")
    jsonschema.Draft7Validator.check_schema(tree_schema())
    judge = jsonschema.Draft7Validator(tree_schema())
    paths = sorted((root / "trees").glob("*.yaml"))
    assert len(paths) >= 15
    for path in paths:
        assert not list(judge.iter_errors(yaml.safe_load(path.read_text(encoding="utf-8")))), path.name
    good = yaml.safe_load((root / "trees/wont-stop.yaml").read_text(encoding="utf-8"))
    for wrong in (
        {"nods": []}, {"nodes": []}, {"promises": {"speed": 3}}, {"needs": ["contctor"]},
        {"nodes": [{"id": "a", "look": ["contactor"], "mesure": []}]},
        {"nodes": [{"id": "a", "measure": ["contactor.coil.hot"] * 4, "next": "engine"}]},
        {"nodes": [{"id": "a", "confirm": "something"}]},
        {"nodes": [{"id": "a", "halve": ["source"], "next": "engine"}]},
    ):  # fmt: skip
        assert list(judge.iter_errors({**good, **wrong})), wrong
