"""How far greedy, a one-step rollout and a search cut short are from the proved optimum, over random subsets of the suspects of a complaint.

    python tests/measure/optimum_all.py 12 10 [MACHINE:COMPLAINT...]      suspects a subset, subsets

Not a test: minutes. Costs are expected seconds of a careful person, by the trips of `trees.exact`.
"""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from troubleshoot.cli.machines_on_disk import open_desk
from troubleshoot.diagnosis.optimum import Search
from troubleshoot.trees.answers import Answers
from troubleshoot.trees.exact import problem_of
from troubleshoot.trees.order import Order

WHERE = ("three-wire:wont-start", "belt-7:wont-start", "float-pump:wont-start", "hoist:hums")


def main() -> None:
    size, count = int(sys.argv[1]), int(sys.argv[2])
    print(
        "| machine | complaint | suspects a subset | subsets | proved | optimum s | planner mean, worst | greedy mean, worst | rollout mean, worst | search of 40 sets mean, worst | s |"
    )
    print("|" + " --- |" * 11)
    for where in sys.argv[3:] or WHERE:
        name, complaint = where.split(":")
        desk, began = open_desk(name), time.monotonic()
        answers = Answers(desk.reasoner)
        places = list({n.situation: n for n in (desk.shows(complaint), desk.at_rest)}.values())
        scope = answers.scope(complaint, places[0].situation)
        chance = np.zeros(len(desk.machine.suspects))
        chance[scope.suspects] = scope.chance
        order = Order(answers, desk.planner, places, desk.as_found, chance)
        ratios: dict[str, list[float]] = {"planner": [], "greedy": [], "rollout": [], "cut short": []}
        proved, costs = 0, []
        for k in range(count):
            dice = random.Random(f"{where} {k}")
            cell = np.array(sorted(dice.sample(list(scope.suspects), min(size, len(scope.suspects)))), dtype=np.intp)
            search = Search(problem_of(order, cell))
            every = search.everything()
            found = search.exact()
            if not found.proved or found.cost <= 0:
                continue
            proved += 1
            costs.append(found.cost)
            ratios["planner"].append(order.cost(cell) / found.cost)
            ratios["greedy"].append(search.greedy(every) / found.cost)
            ratios["rollout"].append(search.rollout(every) / found.cost)
            ratios["cut short"].append(Search(search.problem).exact(most_sets=40).cost / found.cost)
        told = " | ".join(f"{np.mean(r):.4f}, {max(r):.4f}" for r in ratios.values()) if proved else "- | - | - | -"
        print(
            f"| {name} | {complaint} | {size} | {count} | {proved} | {np.mean(costs) if costs else 0:.0f} | {told} | "
            f"{time.monotonic() - began:.0f} |", flush=True,
        )  # fmt: skip


if __name__ == "__main__":
    main()
