"""``troubleshoot schema``: the JSON Schema of a circuit or a tree file, for editors."""

from __future__ import annotations

import json

import click

from troubleshoot.cli.say import say


@click.command()
@click.argument("what", type=click.Choice(["circuit", "tree"]))
def schema(what: str) -> None:
    """Print the JSON Schema (draft 07) of a circuit file or a tree file; an editor then completes and checks keys.

    Example: troubleshoot schema tree > tree.schema.json
    """
    if what == "circuit":
        from troubleshoot.circuit.schema import circuit_schema

        say(json.dumps(circuit_schema(), indent=1))
    else:
        from troubleshoot.trees.schema import tree_schema

        say(json.dumps(tree_schema(), indent=1))
