"""What a confirming test says beside its readings: good and faulty are never the same number, and "can't" holds for clamps too."""

from __future__ import annotations

from safety.machines import belt

from troubleshoot.diagnosis.confirm import confirm_step
from troubleshoot.diagnosis.reasoner import Reasoner
from troubleshoot.evidence.seen import Meter
from troubleshoot.job.desk import AT_REST
from troubleshoot.safety.doings import by_role


def _step(reasoner: Reasoner, group: str, cannot: frozenset[str] = frozenset()):  # type: ignore[no-untyped-def]
    belief = reasoner.belief(())
    for k, suspect in enumerate(reasoner.machine.suspects):
        if suspect.group == group:
            belief[k] *= 1000
    live = [AT_REST, by_role(reasoner.machine)["running"]]
    return confirm_step(reasoner, belief / belief.sum(), group, live, cannot)


def test_no_confirming_test_calls_good_and_faulty_by_the_same_number() -> None:
    reasoner = belt()
    for group in ("KM1", "K1", "YB1", "S2 block 11-12", "F6", "PS1"):
        step = _step(reasoner, group)
        if step is not None and len(step.items) > 1:
            told = [line.partition(": ")[2] for line in step.ahead]
            assert len(set(told)) == len(told), step.ahead
            continue
        for line in step.ahead if step is not None else ():
            good, _, faulty = line.partition("; faulty: ")
            number = faulty.removeprefix("about ").split(" ")[0]
            assert faulty == "the same" or number not in good.partition("good: ")[2].replace("-", " ").split(), line
            assert "e+" not in line


def test_readings_of_one_card_are_told_together_each_way_it_can_be() -> None:
    """120 V over the contact of the relay and 24 V at its coil: the relay. 120 V and nothing: what feeds the coil."""
    reasoner = belt()
    cards = [s for g in ("K1", "F6", "KM1", "YB1", "PS1") if (s := _step(reasoner, g)) is not None and len(s.items) > 1]
    assert cards
    for step in cards:
        good, faulty, *other = step.ahead
        assert good.startswith(f"{step.group or step.id.split(' ')[3]} good: 1 "), step.ahead
        assert " faulty, like: 1 " in faulty
        assert all(" instead: 1 " in line for line in other)
        assert "the same" not in faulty


def test_what_cannot_be_reached_is_not_asked_with_a_clamp_either() -> None:
    reasoner = belt()
    panel = frozenset(
        str(pin) for hop in reasoner.machine.circuit.hops for pin in (hop.a, hop.b)
        if reasoner.machine.circuit.devices[pin.device].place == "panel"
    )  # fmt: skip
    step = _step(reasoner, "KM1", panel)
    if step is not None:
        assert not [m for m in step.items if isinstance(m, Meter) and {str(m.red), str(m.black)} & panel]
