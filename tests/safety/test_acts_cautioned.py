"""No act that may start a motor or let go a brake is offered without saying so, on any ready circuit.

What an act does is asked of the solver here, position by position and with a second fault drawn beside the condition; what is
said is read from the page with the row that says "done". Fifty cases as usual, many more with ``TROUBLESHOOT_TESTS=all``.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from against import ready
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from troubleshoot.circuit.model import Act
from troubleshoot.faults.suspects import Suspect
from troubleshoot.job.desk import Desk
from troubleshoot.job.draw_mending import draw_repair
from troubleshoot.job.folding import fold
from troubleshoot.job.handing import draw_putting_back
from troubleshoot.job.pen import Pen
from troubleshoot.job.sheet import Role
from troubleshoot.job.stage import Stage
from troubleshoot.job.state import Temporary
from troubleshoot.safety.doings import after, doings, mode_moves, process_moves
from troubleshoot.safety.putting_right import NOTHING_KNOWN, POWER_OFF
from troubleshoot.solve.settle import settle

TURNS = ("turning", "turning backward")
MANY = 2000 if ready.ALL else 50


@cache
def desk(name: str) -> Desk:
    return Desk(ready.machine(name), {})


@cache
def acts_of(name: str) -> tuple[Suspect, ...]:
    """Everything that is put right with a hand and no part: conditions, forces, programs."""
    return tuple(s for s in ready.machine(name).suspects[:-1] if not s.broken)


def at_the_drive(suspect: Suspect) -> bool:
    """What is only reached at the motor or its brake is put right locked off."""
    return any(e.does == "stuck" and e.slot.endswith((" shaft", " hand release")) for e in suspect.edits)


@cache
def page(name: str, suspect: str, *, power: bool = True) -> list[str]:
    """The page that asks for the act, line by line."""
    found = next(s for s in acts_of(name) if s.id == suspect)
    state = replace(fold([]), power=power)
    pen = Pen(80)
    draw_repair(pen, desk(name), state, Stage("repair", group=found.group, suspect=found, chance=0.99))
    assert all(len(line.text) <= 80 for line in pen.lines)
    return [line.text for line in pen.lines]


def said(name: str, suspect: str) -> str:
    """The caution alone, in one line; it stands above what is to be done."""
    lines = page(name, suspect)
    at = lines.index("CAUTION  Before it is done:")
    done = next(k for k, line in enumerate(lines) if line.startswith("Do: "))
    assert at < done
    return " ".join(" ".join(lines[at:done]).split())


def positions(name: str) -> list[tuple[Act, ...]]:
    """Nobody at it; each process switch and mode switch moved; each start held, and pressed and let go."""
    machine = ready.machine(name)
    has = doings(machine)
    started = [has.started(tag) for tag in has.starts]
    return [
        (),
        *((act,) for act in (*process_moves(machine), *mode_moves(machine, has))),
        *started,
        *((*acts, Act("release", acts[-1].device)) for acts in started),
    ]


def right(suspect: Suspect) -> tuple[Act, ...]:
    """The hand's act that undoes a condition, by the tag that it is done to."""
    return tuple(
        Act("put", e.slot, "running" if e.does == "stuck" else "")
        for e in suspect.edits
        if e.does in ("left", "stuck") and " " not in e.slot
    )


def begins(name: str, wrong: tuple, before: tuple[Act, ...], suspect: Suspect) -> tuple[set[str], set[str]]:  # type: ignore[type-arg]
    """Motors that surely turn, and brakes that are surely off with nothing driving, after the act and not before it."""
    machine = ready.machine(name)
    acts = tuple(Act("put", a.device, a.value or machine.net.initial[a.device]) for a in right(suspect))
    if any(e.does == "stuck" for e in suspect.edits):
        held = (*before, *(Act("put", a.device, "stopped") for a in acts))
        edits = tuple(e for e in wrong if e not in suspect.edits)
    else:
        held, edits = before, wrong
    was, now = (settle(machine.net, edits, after(*a)) for a in (held, (*held, *acts)))

    def turn(outcomes: object, motor: str) -> float:
        return sum(o.weight for o in outcomes if any(s[motor] in TURNS for s in o.states))  # type: ignore[attr-defined]

    def loose(outcomes: object, motor: str, brake: str) -> float:
        return sum(
            o.weight
            for o in outcomes  # type: ignore[attr-defined]
            if any(s[brake] == "released" and s[motor] not in TURNS for s in o.states)
        )

    motors = {m.var for m in machine.net.motors if turn(now, m.var) > 0.5 > turn(was, m.var)}
    brakes = {
        b
        for m in machine.net.motors
        for b in machine.net.brakes.get(m.var, ())
        if loose(now, m.var, b) > 0.5 > loose(was, m.var, b)
    }
    return motors, brakes


@st.composite
def cases(draw):  # type: ignore[no-untyped-def]
    """A circuit, a condition of it, where it stands, and a second fault or none."""
    name = draw(st.sampled_from(ready.NAMES))
    conditions = [s for s in acts_of(name) if s.sort != "program" and not at_the_drive(s)]
    suspect = draw(st.sampled_from(conditions))
    before = draw(st.sampled_from(positions(name)))
    others = [s for s in ready.machine(name).suspects[:-1] if s.sort != "program" and s.id != suspect.id]
    second = draw(st.none() | st.sampled_from(others))
    return name, suspect, before, second


@given(cases())
@settings(max_examples=MANY, deadline=None, suppress_health_check=list(HealthCheck))
def test_whatever_an_act_starts_or_lets_go_is_named_above_it(case) -> None:  # type: ignore[no-untyped-def]
    name, suspect, before, second = case
    if second is not None and {e.slot for e in second.edits} & {e.slot for e in suspect.edits}:
        return
    wrong = (*suspect.edits, *(second.edits if second else ()))
    motors, brakes = begins(name, wrong, before, suspect)
    if motors or brakes:
        text = said(name, suspect.id)
        assert all(f"start {tag}" in text for tag in motors), (suspect.id, before, second and second.id, text)
        assert all(f"leave {tag}" in text for tag in brakes), (suspect.id, before, second and second.id, text)
        assert all(tag in text.partition("Everybody clear of")[2] for tag in motors)


@pytest.mark.parametrize("name", ready.NAMES)
def test_every_act_with_power_on_has_a_caution_and_none_is_empty(name: str) -> None:
    ours = acts_of(name) if ready.ALL else [s for s in acts_of(name) if s.sort != "program"]
    assert ours
    for suspect in ours:
        text = said(name, suspect.id)
        assert "Everybody clear of" in text or NOTHING_KNOWN in text, suspect.id
        assert not ("WILL start" in text and "Everybody clear of" not in text)


@pytest.mark.parametrize("name", [n for n in ready.NAMES if ready.machine(n).net.cpus])
def test_a_controller_set_to_run_says_what_its_outputs_drive_and_that_the_machine_may_start(name: str) -> None:
    machine = ready.machine(name)
    suspect = next(s for s in acts_of(name) if s.repair[0] == "set to run")
    text = said(name, suspect.id)
    assert "its outputs may come on at once" in text
    assert "the machine may start" in text
    # Whatever stands otherwise once it runs with Start pressed is named: asked of the solver here.
    has = doings(machine)
    stop, held = Act("put", suspect.repair[1], "stopped"), has.started(has.starts[0])
    (was, *_), (now, *_) = (settle(machine.net, (), after(*acts)) for acts in ((*held, stop), held))
    driven = [t for t, d in machine.circuit.devices.items() if d.kind in ("contactor", "motor", "brake")]
    moved = [tag for tag in driven if was.state[tag] != now.state[tag]]
    assert any(machine.circuit.devices[tag].kind == "motor" for tag in moved)
    assert all(tag in text.partition("It drives")[2] for tag in moved)


def test_with_power_off_it_says_that_nothing_moves_by_it_now_and_where_it_is_told() -> None:
    lines = page("three-wire", "ES1 left in", power=False)
    assert POWER_OFF in " ".join(" ".join(lines).split())


def test_a_latched_program_starts_again_as_its_overload_is_reset_and_the_page_says_so() -> None:
    text = said("latched-jog", "FR1 tripped")
    assert "Resetting FR1 WILL start M1 (belt motor) at once with S1 pressed or once S1 has been pressed." in text


def test_a_pump_with_a_float_starts_as_its_switch_is_put_in_auto_and_the_page_says_so() -> None:
    assert "S1 put in auto WILL start M1 (pump motor) at once with B1 in high." in said("float-pump", "S1 in off")


def test_what_is_forced_is_put_back_below_what_it_may_start() -> None:
    state = replace(fold([]), temporary=(Temporary("value forced", "Ana", 3),))
    pen = Pen(80)
    draw_putting_back(pen, desk("latched-jog"), state)
    roles = [line.role for line in pen.lines]
    text = " ".join(" ".join(line.text for line in pen.lines).split())
    assert "letting go what is forced or pushed aside can start M1 (belt motor) at once" in text
    assert "Everybody clear of M1 (belt motor)" in text
    assert max(k for k, role in enumerate(roles) if role is Role.DANGER) < roles.index(Role.ROW)
