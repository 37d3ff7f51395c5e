"""What the reference pages list is what there is: kinds, commands, kinds of events."""

from __future__ import annotations

import re
from pathlib import Path

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.cli.commands import COMMANDS
from troubleshoot.job.state import WRITTEN_BACK

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"


def page(name: str) -> str:
    return (DOCS / name).read_text(encoding="utf-8")


def test_the_page_of_limits_names_every_kind_of_device_there_is_and_no_other() -> None:
    (listed,) = re.findall(r"\*\*Kinds there are\*\*: ([^.]*)\.", page("explanation/what-is-not-modelled.md"))
    names = {"dc supply" if word == "DC supply" else word for word in listed.split(", ")}
    called = {"controller": "plc"}
    assert {called.get(name, name) for name in names} == set(KINDS)


def test_the_page_of_commands_names_every_command_and_no_other() -> None:
    rows = re.findall(r"(?m)^\| (`.*?) \|", page("reference/commands.md").partition("Meter modes")[0])
    named = {word for row in rows for word in re.findall(r"`(\w+)", row)} - {"troubleshoot"}
    assert named == set(COMMANDS)


def test_every_kind_of_event_that_a_job_writes_or_reads_is_on_its_page_and_no_other() -> None:
    job = "".join((ROOT / "troubleshoot/job" / name).read_text() for name in ("decide.py", "session.py"))
    written = set(re.findall(r'(?:\(\(\(|return \(|_write\()"(\w+)",', job))
    read = set(re.findall(r'case "(\w+)":', (ROOT / "troubleshoot/job/folding.py").read_text()))
    told = re.findall(
        r"(?m)^\| `(\w+)` \|", page("reference/log-events.md").partition("## Kinds")[2].partition("## ")[0]
    )
    assert len(written) > 10
    assert set(told) == written | read | {"clock"} | WRITTEN_BACK


def test_the_page_of_ready_circuits_names_every_one_with_the_trees_that_fit_and_no_other() -> None:
    from against import ready

    rows = dict(re.findall(r"(?m)^\| `([\w-]+)` \|.*\| ([\w, -]+) \|$", page("reference/ready-circuits.md")))
    trees = {path.stem for path in (ROOT / "trees").glob("*.yaml")}
    assert rows == {
        name: ", ".join(c for c in ready.machine(name).circuit.complaints if c in trees) for name in ready.NAMES
    }
    named = re.findall(r"\(`([\w-]+)`", page("reference/ready-circuits.md")) + re.findall(
        r", `([\w-]+)`\)", page("reference/ready-circuits.md")
    )
    complaints = {c for name in ready.NAMES for c in ready.machine(name).circuit.complaints}
    assert {"wont-reverse", "wont-lower", "feeder-wont-start", "wont-change-over"} <= set(named) & complaints


def test_every_test_that_the_page_of_trust_names_is_there() -> None:
    named = re.findall(r"`(\w+)/(\w+): (test_\w+)`", page("trust.md"))
    assert len(named) > 60
    for room, file, test in named:
        assert f"def {test}(" in (ROOT / "tests" / room / f"{file}.py").read_text(encoding="utf-8"), (file, test)


def test_every_row_of_the_page_of_trust_has_its_test_or_says_that_it_is_not_built() -> None:
    for row in re.findall(r"(?m)^\| (?!what happens|---).*$", page("trust.md")):
        shown_by = row.strip("| ").rpartition(" | ")[2]
        assert "test_" in shown_by or "not built yet" in row, row
