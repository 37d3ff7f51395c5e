"""What an act does to a machine at once: a hand moves a control, power goes or comes back, a bad part comes right."""

from __future__ import annotations

from troubleshoot.circuit.model import Act
from troubleshoot.solve import heat
from troubleshoot.solve.codes import book_of
from troubleshoot.solve.compiled import Net
from troubleshoot.solve.developing import Run
from troubleshoot.solve.histories import faulty_of

_PUTS = {
    "press": "pressed", "pull": "pulled", "open": "off", "close": "on", "test": "tested", "trip": "tripped",
}  # fmt: skip
"""Where a hand puts a control; whatever else it does (release, reset, refit) puts it back to its usual place."""


def apply(net: Net, run: Run, act: Act) -> None:
    """Do one act, in place. What follows from it is left to the laws."""
    if act.verb == "heal":
        _heal(net, run)
        return
    if act.verb == "wait":
        run.until_ms = run.now_ms + round(float(act.value) * 1000)
        return
    book = book_of(net)
    if act.verb == "reset" and any(
        law.var == act.device
        and run.codes[book.columns[law.var]] == book.code(law.over)
        and not heat.is_cool(law, run.heat[law.var])
        for law in net.heats
        if law.var in run.heat
    ):
        return  # still hot: it does not latch
    if act.verb in ("lose power", "restore power"):
        book.put(run.codes, dict.fromkeys(net.supplies, "off" if act.verb == "lose power" else "on"))
        return
    column = book.columns[act.device]
    code = book.code(act.value if act.verb == "put" else _PUTS.get(act.verb, net.initial[act.device]))
    run.hands = run.hands.copy()
    run.hands[column] = code
    if not run.faulty.fixed[column]:
        run.codes[column] = code


def _heal(net: Net, run: Run) -> None:
    """The bad joint makes contact, the stuck part comes free: from here on the machine is whole.

    A part that was held or left somewhere goes to where the hand has it, or to its usual place; laws then move what they
    move. A program does not come right by itself, but a force is taken off in one moment.
    """
    book, faulty = book_of(net), run.faulty
    for edit in faulty.edits:
        if edit.does in ("stuck", "left"):
            column = book.columns.get(edit.slot)
            put = None if column is None else book.values[run.hands[column]]
            book.put(run.codes, {edit.slot: net.initial[edit.slot] if put is None else put})
    run.faulty = faulty_of(net, tuple(e for e in faulty.edits if e.does == "program" and e.value != "forced"))
    run.low, run.high = run.faulty.low, run.faulty.high
