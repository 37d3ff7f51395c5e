"""What begins alike ends alike, whatever was done before; what was met before is not worked out again."""

from __future__ import annotations

import os
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import numpy as np
import pytest

import troubleshoot
from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.model import Act, Pin, Situation
from troubleshoot.machine import Machine, describe
from troubleshoot.solve import glimpsing
from troubleshoot.solve.developing import Run
from troubleshoot.solve.lockstep import known_of
from troubleshoot.solve.meter import metered, settle_metered
from troubleshoot.solve.settle import Outcome, settle, settle_many, standing_many

SHIPPED = Path(troubleshoot.__file__).parent
MACHINES = [
    "machines/belt-7.yaml", "circuits/hoist.yaml", "circuits/safety-relay-conveyor.yaml", "circuits/star-delta-fan.yaml",
]  # fmt: skip
EVERY = 1 if os.environ.get("TROUBLESHOOT_TESTS") == "all" else 5
"""Of how many suspects one is asked about, but for the first machine: there it is every one."""
VOLTS = 1e-9


def machine(file: str) -> Machine:
    path = SHIPPED / file
    found = describe(path.read_bytes(), path.name)
    assert isinstance(found, Machine)
    return found


def situations(of: Machine) -> Iterator[Situation]:
    """Ways to the same few standings: started, stopped and started again, power gone in between, a part that heals."""
    starts, stops = of.circuit.roles["start"], of.circuit.roles.get("stop", ())
    ready = [Act(verb, tag) for tag in of.circuit.roles.get("reset", ()) for verb in ("press", "release")]
    press, release = Act("press", starts[0]), Act("release", starts[0])
    off = [Act(verb, tag) for tag in stops[:1] for verb in ("press", "release")]
    power = [Act("lose power"), Act("restore power")]
    for acts in (
        [press], [press, release], [press, release, *off, press], [press, release, *power, *ready, press],
        [press, Act("wait", "", "1"), release, Act("heal")], [Act("heal"), *ready, press], [*off, Act("heal"), press],
    ):  # fmt: skip
        yield Situation("rest", (*ready, *acts))
    yield from (named.situation for named in list(of.circuit.situations.values())[:3])


def same(one: tuple[Outcome, ...], other: tuple[Outcome, ...]) -> bool:
    def of(outcome: Outcome) -> object:
        moments = [moment.state for moment in outcome.moments]
        return outcome.state, outcome.memory, outcome.settled, moments, outcome.period_s

    return [of(o) for o in one] == [of(o) for o in other] and all(
        abs(a.weight - b.weight) < VOLTS
        and all(
            np.allclose(m.volts(kind), n.volts(kind), rtol=0, atol=VOLTS)
            for m, n in zip(a.networks, b.networks, strict=True)
            for kind in ("ac", "dc")
        )
        for a, b in zip(one, other, strict=True)
    )


@pytest.mark.parametrize("file", MACHINES)
def test_every_suspect_ends_as_it_does_when_every_history_is_worked_out_by_itself(
    file: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    sharing, alone = machine(file), machine(file)
    suspects = sharing.suspects if file == MACHINES[0] else sharing.suspects[::EVERY]
    cases = [(s.edits, at) for s in suspects for at in situations(sharing)]
    found = settle_many(sharing.net, cases)
    known = known_of(sharing.net)
    assert len(known.looks) < 0.95 * len(known.ends), "nothing began alike: this proves nothing"
    never = count()
    monkeypatch.setattr(Run, "look", lambda run: b"%16d" % next(never))
    for case, one, other in zip(cases, found, settle_many(alone.net, cases), strict=True):
        assert same(one, other), case


@pytest.mark.parametrize("file", MACHINES[:2])
def test_asked_one_by_one_with_what_was_met_before_at_hand_is_as_asked_all_at_once(file: str) -> None:
    once, again = machine(file), machine(file)
    cases = [(s.edits, at) for s in once.suspects[::20] for at in situations(once)]
    for case, one in zip(cases, settle_many(once.net, cases), strict=True):
        assert same(one, settle(again.net, *case)), case


def test_a_stuck_button_that_comes_free_goes_to_where_the_hand_has_it_not_to_where_another_history_left_it() -> None:
    belt = machine("machines/belt-7.yaml")
    (button,) = belt.circuit.roles["start"][:1]
    stuck = next(s for s in belt.suspects if any(e.does == "stuck" and e.slot == button for e in s.edits))
    held, let_go = Act("press", button), Act("release", button)
    histories = [(held,), (held, let_go)]
    found = settle_many(belt.net, [(stuck.edits, Situation("rest", (*acts, Act("heal")))) for acts in histories])
    assert [one[0].state[button] for one in found] == ["pressed", belt.net.initial[button]]


def test_a_press_that_was_met_in_another_history_is_looked_up(monkeypatch: pytest.MonkeyPatch) -> None:
    belt = machine("machines/belt-7.yaml")
    ways = list(situations(belt))
    first = settle(belt.net, (), ways[0])
    rounds = []
    for name in ("build", "beside"):
        monkeypatch.setattr(glimpsing, name, lambda *_: rounds.append(1))
    known = known_of(belt.net)
    known.ends = {key: ends for key, ends in known.ends.items() if not key[1].acts}
    assert same(settle(belt.net, (), ways[0]), first)
    assert not rounds


def test_what_many_questions_leave_behind_is_let_go_where_it_is_not_little(monkeypatch: pytest.MonkeyPatch) -> None:
    belt = machine("machines/belt-7.yaml")
    ways = list(situations(belt))
    before = settle(belt.net, (), ways[2])
    assert "glimpses" in belt.net.scratch
    monkeypatch.setattr(glimpsing, "MOST_LEFT_BYTES", 0)
    assert same(settle(belt.net, (), ways[3]), settle(machine("machines/belt-7.yaml").net, (), ways[3]))
    assert "glimpses" not in belt.net.scratch
    assert same(settle(belt.net, (), ways[2]), before)


@pytest.mark.parametrize("file", MACHINES[:2])
def test_meters_laid_side_by_side_leave_the_machine_as_each_does_in_a_network_of_its_own(file: str) -> None:
    made = machine(file)
    pairs = [
        (Pin(device.tag, a), Pin(device.tag, b))
        for device in made.circuit.devices.values()
        if device.kind not in ("motor", "plc", "supply")
        for a, b in KINDS[device.kind].faces(device).values()
    ]
    at, moved = Situation(), 0
    (plain,) = standing_many(made.net, [((), at)])
    found = settle_metered(made.net, at, [("low-impedance volts", red, black) for red, black in pairs])
    for (red, black), some in zip(pairs, found, strict=True):
        (alone,) = standing_many(metered(made.net, "low-impedance volts", red, black), [((), at)])
        states = [[{var: s[var] for var in made.net.initial} for s in one.states] for one in some]
        assert states == [list(one.states) for one in alone], (red, black)
        assert [one.weight for one in some] == pytest.approx([one.weight for one in alone])
        moved += [one.states for one in alone] != [one.states for one in plain]
    assert moved, "no meter moved anything: this proves nothing"


def test_a_network_is_let_go_where_it_was_one_of_many_and_kept_where_it_was_solved_by_itself() -> None:
    belt = machine("machines/belt-7.yaml")
    at = Situation()
    settle(belt.net, (), at)
    assert len(belt.net.scratch["networks"]) == 1  # type: ignore[arg-type]
    settle_many(belt.net, [(s.edits, at) for s in belt.suspects])
    assert len(belt.net.scratch["networks"]) < 5  # type: ignore[arg-type]
