"""The table of commands. A row is enough to list a command and to find it; its module is imported when it is run."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final


@dataclass(frozen=True, slots=True)
class Row:
    """One command."""

    name: str
    where: str
    """``module:attribute`` of the click command."""
    does: str
    """Half a sentence for the list of commands."""


OPENS: Final = "plant"
"""The command that runs when none is named."""

_ROWS: Final = (
    Row("plant", "troubleshoot.cli.job:plant", "open the plant: say what is wrong, go on with a job"),
    Row("job", "troubleshoot.cli.job:job", "find a fault and prove it repaired"),
    Row(
        "describe",
        "troubleshoot.cli.job:describe",
        "a machine that nobody described yet: a few questions, then the job",
    ),
    Row("practice", "troubleshoot.cli.practice:practice", "practise on a simulated panel: lessons, then hidden faults"),
    Row(
        "exercise", "troubleshoot.cli.practice:exercise", "set somebody a fault to find, as a file that keeps it hidden"
    ),
    Row("start", "troubleshoot.cli.start:start", "begin a machine or a tree from a file that already works"),
    Row("machines", "troubleshoot.cli.ask:machines", "what can be worked on"),
    Row("check", "troubleshoot.cli.ask:check", "every error of circuits and trees"),
    Row("expect", "troubleshoot.cli.ask:expect", "one computed reading, or all lights"),
    Row("faults", "troubleshoot.cli.ask:faults", "everything that can be wrong with a machine"),
    Row("hazards", "troubleshoot.cli.hazards:hazards", "what one fault or one act can do to people"),
    Row("rehearse", "troubleshoot.cli.rehearse:rehearse", "a careful person against a simulated fault"),
    Row("trial", "troubleshoot.cli.trial:trial", "many jobs with a person who errs, and what came of them"),
    Row("prove", "troubleshoot.cli.prove:prove", "walk decision trees under every fault of their complaint"),
    Row("grow", "troubleshoot.cli.grow:grow", "a decision tree made from the model, with its proof"),
    Row("chart", "troubleshoot.cli.chart:chart", "a decision tree for one machine on paper, for the panel door"),
    Row("ladder", "troubleshoot.cli.ladder:ladder", "the controller's program drawn, and what holds an output off"),
    Row("schema", "troubleshoot.cli.schema:schema", "the JSON Schema of a circuit or a tree file, for editors"),
    Row("netlist", "troubleshoot.cli.ask:netlist", "the settled network as a SPICE deck"),
    Row("review", "troubleshoot.cli.review:review", "jobs read back, and what a supervisor writes to them"),
    Row("log", "troubleshoot.cli.log:log", "verify, show or export the record of a job"),
    Row("history", "troubleshoot.cli.history:history", "what failed, how it showed, how long it took, what came back"),
    Row("index", "troubleshoot.cli.history:index", "the index over all logs: whether it agrees with them, made anew"),
    Row("keys", "troubleshoot.cli.keys:keys", "every key, what it does, and where it was moved"),
    Row("completion", "troubleshoot.cli.completion:completion", "what a shell reads to complete commands and names"),
    Row("manual", "troubleshoot.cli.manual:manual", "the manual page, as man reads it"),
    Row("paths", "troubleshoot.cli.paths:paths", "where plant, data, settings and crash reports lie"),
    Row("doctor", "troubleshoot.cli.doctor:doctor", "what this terminal and this installation can do"),
)

VARIABLES: Final = MappingProxyType(
    {
        "TROUBLESHOOT_PLANT": "folder of the plant: machines and their jobs",
        "TROUBLESHOOT_PRACTICE": "folder of practice: its logs, and your progress where you want it kept",
        "TROUBLESHOOT_WHO": "name that goes into the record; otherwise the login name",
        "TROUBLESHOOT_INDEX": "index over all jobs: a path, postgresql://..., or off",
        "TROUBLESHOOT_OWN_PAST": "no: what a machine's own past says does not move what is suspected",
        "TROUBLESHOOT_CONFIG": "settings file; otherwise settings.yaml in this person's own settings folder",
        "TROUBLESHOOT_THEME": "a theme by name; wins over the settings file",
        "TROUBLESHOOT_UNRECORDED": "yes: work without a record where none can be written; every screen then says so",
        "NO_COLOR": "when not empty: no colour at all",
    }
)
"""What the environment can say."""

COMMANDS: Final = MappingProxyType({row.name: row for row in _ROWS})
