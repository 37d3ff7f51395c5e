"""Trials of every machine and complaint under every sort of error, one JSON line each; print the tables of them.

    python tests/measure/trial_all.py run OUT.jsonl 40 [MACHINE[:COMPLAINT]...]       jobs a complaint and sort of error
    python tests/measure/trial_all.py table OUT.jsonl                     Markdown, as in docs/measurements-trials.md

Not a test: an hour on two cores for all machines. A line that is there already is not computed again.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from troubleshoot.cli.machines_on_disk import find, machine_files, ready_files
from troubleshoot.cli.trial import Plan, _desk, _faults, play_share
from troubleshoot.job.stage import SURE
from troubleshoot.job.tally import tally

SORTS: dict[str, dict[str, Any]] = {
    "none": {},
    "5 % lights, 2 % readings": {"lights": 0.05, "readings": 0.02},
    "10 % lights, 2 % readings": {"lights": 0.10, "readings": 0.02},
    "one wrong point": {"points": 1},
    "second fault": {"second": True},
    "wrong drawing": {"misdrawn": True},
    "5 % lights, 2 % readings, uniform priors": {"lights": 0.05, "readings": 0.02, "uniform": True},
}

UNIFORM = ("wont-start", "wont-hold", "hums", "blows-fuse")
"""Complaints that are also tried with every fault as likely as the other."""


def run(out: Path, count: int, machines: list[str]) -> None:
    done = {tuple(row["key"]) for row in rows(out)} if out.is_file() else set()
    names = list(dict.fromkeys(where.partition(":")[0] for where in machines))
    paths = {m: str(find(m).path) for m in names or [*machine_files(), *ready_files()]}
    complaints = {m: list(_desk(path, uniform=False).machine.circuit.complaints) for m, path in paths.items()}
    _desk.cache_clear()
    only = {where.partition(":")[0]: where.partition(":")[2] for where in machines if ":" in where}
    # The commonest complaint of every machine first: what is cut short is then the rest.
    for place in range(max(map(len, complaints.values()))):
        for machine, named in complaints.items():
            if place >= len(named) or only.get(machine, named[place]) != named[place]:
                continue
            for sort, wrong in SORTS.items():
                if wrong.get("uniform") and named[place] not in UNIFORM:
                    continue
                if (machine, named[place], sort) not in done:
                    with out.open("a") as file:
                        file.write(json.dumps(_row(machine, paths[machine], named[place], sort, count, wrong)) + "\n")
            # A hundred megabytes a machine.
            _desk.cache_clear()
            _faults.cache_clear()


def _row(machine: str, path: str, complaint: str, sort: str, count: int, wrong: dict[str, Any]) -> dict[str, Any]:
    began = time.process_time()
    plan = replace(Plan(path, complaint, count, 0, 0.0, 0.0, 0, False, False, False, 0, count), **wrong)
    runs = play_share(plan)
    found = tally(runs, misdrawn=plan.misdrawn, second=plan.second)
    del found["by_complaint"]
    sure = [r.stopping for r in runs if r.stopping.chance >= SURE]
    return found | {
        "key": [machine, complaint, sort], "seconds": round(time.process_time() - began, 1), "sure": len(sure),
        "sure_wrong": [f"{r.truth}; {r.stopping.group} at {r.stopping.chance:.3f}" for r in runs if r.stopping.chance >= SURE and not r.stopping.right],
        "sure_right": sum(n.right for n in sure), "sure_stated": round(sum(n.chance for n in sure), 4),
    }  # fmt: skip


def rows(out: Path) -> Iterator[dict[str, Any]]:
    yield from (json.loads(line) for line in out.read_text().splitlines())


def table(out: Path) -> None:
    every = [r for r in rows(out) if r["runs"]]
    sorts = {sort: mine for sort in SORTS if (mine := [r for r in every if r["key"][2] == sort])}
    print(HEAD.format("| | rows", "| second found | noticed "))
    print("|" + " --- |" * 12)
    for sort, mine in sorts.items():
        one = _together(mine)
        print(
            f"| {sort} | {len(mine)} | {_cells(one)} | {_share(one.get('second_share'))} | {_share(one.get('noticed'))} |"
        )
    for sort, mine in sorts.items():
        last = {"second fault": "second_share", "wrong drawing": "noticed"}.get(sort, "")
        print(f"\n#### {sort}\n")
        print(HEAD.format("| machine | complaint", f"| {WORDS[last]} " if last else ""))
        print("|" + " --- |" * (11 if last else 10))
        for r in [*sorted(mine, key=lambda r: r["key"][0]), _together(mine)]:
            print(f"| {r['key'][0]} | {r['key'][1]} | {_cells(r)} |" + (f" {_share(r[last])} |" if last else ""))


HEAD = "{} | jobs | sure | right then | stated - achieved | named first | or beside | stated - achieved | cost s {}|"
WORDS = {"second_share": "second found", "noticed": "noticed"}


def _share(share: float | None) -> str:
    return "" if share is None else f"{share:.1%}"


def _cells(r: dict[str, Any]) -> str:
    """Jobs; those that stopped sure, how many of them were right there, what was stated less that; then what was named."""
    right, stated = (r[name] / max(r["sure"], 1) for name in ("sure_right", "sure_stated"))
    then = f"{right:.1%} | {stated - right:+.3f}" if r["sure"] else "|"
    return (
        f"{r['runs']} | {r['sure'] / r['runs']:.0%} | {then} | {r['found_share']:.1%} | {r['together_share']:.1%} | "
        f"{r['calibration']:+.3f} | {r['mean_cost']:.0f}"
    )


def _together(some: list[dict[str, Any]]) -> dict[str, Any]:
    jobs = sum(r["runs"] for r in some)
    out: dict[str, Any] = {"key": ["**all**", f"{len(some)}", ""], "runs": jobs}
    for name in ("sure", "sure_right", "sure_stated"):
        out[name] = sum(r[name] for r in some)
    for name in ("found_share", "together_share", "calibration", "mean_cost", "second_share", "noticed"):
        if name in some[0]:
            out[name] = sum(r[name] * r["runs"] for r in some) / jobs
    return out


if __name__ == "__main__":
    if sys.argv[1] == "run":
        run(Path(sys.argv[2]), int(sys.argv[3]), sys.argv[4:])
    else:
        table(Path(sys.argv[2]))
