"""The command that lists what one fault or one act can do to people."""

from __future__ import annotations

import json

import click

from troubleshoot.cli import complete
from troubleshoot.cli.machines_on_disk import open_machine
from troubleshoot.cli.say import say


@click.command()
@click.argument("machine", shell_complete=complete.machines)
@click.option(
    "--json", "as_json", is_flag=True,
    help="A JSON list of objects: sort, words, healthy, faults (ids), after (acts), act, remedy.",
)  # fmt: skip
def hazards(machine: str, as_json: bool) -> None:
    """List what a single fault, an act or a joint that heals can do to people on MACHINE, found from its circuit.

    It starts by itself, it restarts, a stop or a jog does not stop it, its brake is free, a lead stays live, a meter
    moves it. Each with the class of remedy that the standards name; the remedy itself is for whoever answers for the
    machine. Example: troubleshoot hazards belt-7
    """
    from troubleshoot.diagnosis.reasoner import Reasoner
    from troubleshoot.safety.hazard_list import hazard_list

    found = hazard_list(Reasoner(open_machine(machine)))
    if as_json:
        say(json.dumps([
            {
                "sort": one.sort, "words": one.words, "healthy": one.healthy, "faults": list(one.suspects),
                "hold": dict(sorted(one.situation.hold)), "after": [str(act) for act in one.situation.acts],
                "act": str(one.act) if one.act else None, "remedy": one.remedy,
            }
            for one in found
        ]))  # fmt: skip
        return
    sort = ""
    for one in found:
        if one.sort != sort:
            say(f"{'' if not sort else chr(10)}{one.sort.upper()}  (remedy: {one.remedy})")
            sort = one.sort
        say(f"- {one.words}")
