"""Rehearse every single fault that shows a complaint, by tree and by engine; print the table of docs/measurements.md.

    python tests/measure/rehearse_all.py belt-7 wont-start [tree|engine] [every nth]

Not a test: minutes, not seconds. Faults that no test of the machine separates are listed, never hidden.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from troubleshoot.cli.machines_on_disk import open_desk
from troubleshoot.job.rehearse import rehearse


def main() -> None:
    machine, complaint = sys.argv[1:3]
    leaders = sys.argv[3:4] or ["tree", "engine"]
    every = int(sys.argv[4]) if len(sys.argv) > 4 else 1
    desk = open_desk(machine)
    shows = desk.shows(complaint)
    chance = desk.reasoner.moves_otherwise(shows.situation)
    suspects = [s for s, p in zip(desk.machine.suspects, chance, strict=True) if p > 0.5][::every]
    for by in leaders:
        began = time.monotonic()
        rows = []
        for suspect in suspects:
            played = rehearse(desk, complaint, suspect, by=by)
            rows.append(
                {
                    "fault": suspect.id, "group": suspect.group, "prior": suspect.prior, "found": played.found,
                    "named": played.named, "confirmed": played.confirmed, "ended": played.ended, "cost": played.cost,
                    "trips": played.trips, "rank": next((k for k, (g, _) in enumerate(played.ranked) if g == suspect.group), -1),
                }
            )  # fmt: skip
            print(".", end="", file=sys.stderr, flush=True)
        print(file=sys.stderr)
        weight = sum(r["prior"] for r in rows)
        report = {
            "by": by, "faults": len(rows), "found": sum(r["found"] for r in rows),
            "found_share": sum(r["found"] for r in rows) / len(rows),
            "found_by_prior": sum(r["prior"] * r["found"] for r in rows) / weight,
            "mended": sum(r["ended"] == "mended" for r in rows),
            "confirmed": sum(r["confirmed"] for r in rows),
            "mean_cost_s": sum(r["cost"] for r in rows) / len(rows), "mean_trips": sum(r["trips"] for r in rows) / len(rows),
            "mean_cost_by_prior_s": sum(r["prior"] * r["cost"] for r in rows) / weight,
            "mean_trips_by_prior": sum(r["prior"] * r["trips"] for r in rows) / weight,
            "seconds": round(time.monotonic() - began, 1),
            "missed": [{k: r[k] for k in ("fault", "named", "rank", "ended")} for r in rows if not r["found"]],
            "not_mended": [r["fault"] for r in rows if r["ended"] != "mended"],
        }  # fmt: skip
        print(json.dumps(report, indent=1))


if __name__ == "__main__":
    main()
