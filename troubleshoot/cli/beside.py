"""A tree that a person has written beside the one that the model grows: what each node costs and tells, in lines."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

from troubleshoot.cli.say import complain
from troubleshoot.text.showing import show

WASTED_SHARE: Final = 0.25
"""A node that tells less than this share of what the whole tree tells for its seconds is marked. Judgement."""

Row = Mapping[str, Any]


def grown_row(machine: str, complaint: str) -> Row | None:
    """The proof of a tree grown for that complaint, as `prove` gives it; None where none is grown for it."""
    from troubleshoot.cli.grow import grown
    from troubleshoot.cli.machines_on_disk import open_desk
    from troubleshoot.safety.doings import UNBIDDEN

    if complaint in UNBIDDEN:
        return None
    complain(f"growing {show(complaint)} to set beside it")
    _, proof = grown(open_desk(machine), complaint)
    asked = [{"node": a.node, "comes": a.comes, "seconds": a.seconds, "bits": a.bits} for a in proof.asked]
    return {"cost": proof.cost, "named": proof.named, "handed_over": proof.handed_share, "asked": asked}


def beside_lines(written: Row, grown: Row | None) -> Iterator[str]:
    """Node by node, in the order in which one comes to them."""
    yield ""
    yield from _table("written", written)
    if grown is None:
        yield "no tree is grown for a machine that moves when it must not"
        return
    yield ""
    yield from _table("grown", grown)
    yield ""
    yield (
        f"written: {written['cost']:.0f} s to one repair, {written['named']:.1%} right; "
        f"grown: {grown['cost']:.0f} s, {grown['named']:.1%} right"
    )


def _table(name: str, row: Row) -> Iterator[str]:
    asked = row["asked"]
    wide = max((len(a["node"]) for a in asked), default=4)
    bits, seconds = sum(a["bits"] for a in asked), sum(a["seconds"] for a in asked)
    usual = bits / seconds if seconds else 0.0
    yield f"{name:<{wide}}   comes  s on average   bits"
    for a in asked:
        mark = ""
        if a["bits"] < 1e-9:
            mark = "  tells nothing here"
        elif a["bits"] < WASTED_SHARE * usual * a["seconds"]:
            mark = "  tells little for its time"
        yield f"{a['node']:<{wide}}  {a['comes']:6.1%}  {a['seconds']:12.1f}  {a['bits']:5.2f}{mark}"
    yield f"{'all':<{wide}}          {seconds:12.1f}  {bits:5.2f}"
