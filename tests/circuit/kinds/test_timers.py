"""Timer relays: what their delayed contacts do, and which of two times is up first."""

from __future__ import annotations

import pytest
from against.small import end, fault, machine_of

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.machine import Machine
from troubleshoot.solve.settle import settle

PRESS, RELEASE = Act("press", "S1"), Act("release", "S1")


def timed(devices: str, wires: str) -> Machine:
    return machine_of(f"""
machine: timed
devices:
  G1: {{kind: supply, volts: 208Y/120}}
  PS1: {{kind: dc supply, in: 120 V, out: 24 V, limit: 5 A}}
  S1: {{kind: push button, blocks: {{'13-14': no}}}}
{devices}
wires:
  - {{number: L, run: ['G1:L1', 'PS1:L']}}
  - {{number: N, run: ['G1:N', 'PS1:N']}}
{wires}
roles: {{}}
complaints: {{}}
""")


def one(delay: str) -> Machine:
    """A button feeds a timer of 5 s; its contact 15-18 a lamp, 15-16 another, 23-24 (at once) a third."""
    return timed(
        f"""  KT1: {{kind: timer relay, coil: 24 V DC, delay: '{delay}', time: 5 s, blocks: {{'15-18': no, '15-16': nc}}, at once: {{'23-24': no}}}}
  H1: {{kind: lamp, lamp: 24 V DC}}
  H2: {{kind: lamp, lamp: 24 V DC}}
  H3: {{kind: lamp, lamp: 24 V DC}}
""",
        """  - {number: '24', run: ['PS1:+', 'S1:13', 'KT1:15', 'KT1:23']}
  - {number: '1', run: ['S1:14', 'KT1:A1']}
  - {number: '2', run: ['KT1:18', 'H1:X1']}
  - {number: '3', run: ['KT1:16', 'H2:X1']}
  - {number: '4', run: ['KT1:24', 'H3:X1']}
  - {number: 0V, run: ['PS1:-', 'KT1:A2', 'H1:X2', 'H2:X2', 'H3:X2']}
""",
    )


def lamps(state: dict[str, str]) -> tuple[str, ...]:
    return tuple(state[tag] for tag in ("H1", "H2", "H3"))


@pytest.mark.parametrize("delay", ["on", "off"])
def test_once_the_time_is_up_the_delayed_contacts_stand_where_the_coil_is(delay):
    net = one(delay).net
    assert lamps(end(net)) == ("off", "on", "off")
    assert lamps(end(net, (), PRESS)) == ("on", "off", "on")
    assert lamps(end(net, (), PRESS, RELEASE)) == ("off", "on", "off")


@pytest.mark.parametrize(
    ("suspect", "pressed"), [("KT1 does not time out", ("off", "on", "on")), ("KT1 dead", ("off", "on", "off")),
                             ("KT1 stays timed out", ("on", "off", "on"))]
)  # fmt: skip
def test_a_timer_that_is_fed_and_never_times_out_is_told_from_a_dead_one_by_its_instant_contact(suspect, pressed):
    machine = one("on")
    assert lamps(end(machine.net, fault(machine, suspect), PRESS)) == pressed


def latched(first: str, second: str) -> Machine:
    """A button starts two on-delay timers. Whichever is done first opens the feed of the other by its contact 15-16."""
    return timed(
        f"""  KT1: {{kind: timer relay, coil: 24 V DC, delay: 'on', time: {first}, blocks: {{'15-16': nc}}}}
  KT2: {{kind: timer relay, coil: 24 V DC, delay: 'on', time: {second}, blocks: {{'15-16': nc}}}}
""",
        """  - {number: '24', run: ['PS1:+', 'S1:13']}
  - {number: '1', run: ['S1:14', 'KT1:15', 'KT2:15']}
  - {number: '2', run: ['KT2:16', 'KT1:A1']}
  - {number: '3', run: ['KT1:16', 'KT2:A1']}
  - {number: 0V, run: ['PS1:-', 'KT1:A2', 'KT2:A2']}
""",
    )


@pytest.mark.parametrize(
    ("first", "second", "wins"), [("2 s", "5 s", "KT1"), ("5 s", "2 s", "KT2"), ("2 min", "90 s", "KT2")]
)
def test_of_two_timers_that_cut_each_other_off_the_shorter_wins(first, second, wins):
    state = end(latched(first, second).net, (), PRESS)
    assert [tag for tag in ("KT1", "KT2") if state[f"{tag} timer"] == "in"] == [wins]


def test_a_timer_through_its_own_delayed_break_contact_flashes_for_ever():
    """The usual flasher: it times out, cuts itself off, falls back at once and begins again."""
    machine = timed(
        "  KT1: {kind: timer relay, coil: 24 V DC, delay: 'on', time: 1 s, blocks: {'15-16': nc}}",
        """  - {number: '24', run: ['PS1:+', 'S1:13']}
  - {number: '1', run: ['S1:14', 'KT1:15']}
  - {number: '2', run: ['KT1:16', 'KT1:A1']}
  - {number: 0V, run: ['PS1:-', 'KT1:A2']}
""",
    )
    assert not any(o.settled for o in settle(machine.net, (), Situation(acts=(PRESS,))))


def test_an_off_delay_keeps_a_fan_running_after_its_motor_only_for_its_time():
    """The contactor of the fan is out in the end; with contacts that stay it runs on."""
    machine = one("off")
    assert end(machine.net, (), PRESS, RELEASE)["H1"] == "off"
    assert end(machine.net, fault(machine, "KT1 stays timed out"), PRESS, RELEASE)["H1"] == "on"
