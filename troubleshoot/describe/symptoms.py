"""What may be wrong with a machine that nobody described, in people's words, as its circuit file says it."""

from __future__ import annotations

from typing import Final


def complaints(*, brake: bool, jog: bool, two_wire: bool) -> list[str]:
    """The lines of the file: every symptom that has a tree and that a machine with or without these can have.

    two_wire: a float starts it, so there is nothing that it could not hold by itself.
    """
    always = _ALWAYS if not two_wire else tuple(
        line.replace("shows: start held", "shows: running") for line in (*_ALWAYS[:3], *_ALWAYS[6:])
    )  # fmt: skip
    return ["complaints:", *always, *(_WITH_BRAKE if brake else ()), *(_WITH_JOG if jog else ())]


_ALWAYS: Final = (
    "  wont-start:",
    "    words: [won't start, will not start, dead, does not run, does not move, nothing happens]",
    "    shows: start held",
    "  wont-hold:",
    "    words: [won't stay latched, stops when I let go, runs only while I hold start]",
    "    shows: running",
    "  wont-stop:",
    "    words: [won't stop, keeps running, stop does nothing]",
    "    shows: stop held",
    "  hums:",
    "    words: [hums, hums and does not turn, growls, buzzes and won't turn, motor noise but no movement]",
    "    shows: start held",
    "    about: ['motor hums, does not turn']",
    "  trips-overload:",
    "    words: [trips the overload, overload keeps tripping, overload trips, runs a bit and trips]",
    "    shows: running a minute",
    "    about: [overload tripped]",
    "  blows-fuse:",
    "    words: [blows a fuse, fuse blows again, keeps blowing fuses, control fuse gone]",
    "    shows: start held",
    "    about: [control fuse blown]",
    "  starts-itself:",
    "    words: [starts by itself, starts on its own, runs with nobody at the buttons, starts when power comes back]",
    "    shows: at rest",
    "  stops-itself:",
    "    words: [stops now and then, stops by itself, cuts out, quits about twice a shift]",
    "    shows: running",
    "  chatters:",
    "    words: [contactor chatters, chatters, contactor rattles, contactor buzzes and drops]",
    "    shows: start held",
    "    about: [contactor unsteady]",
)
_WITH_BRAKE: Final = (
    "  brake-drags:",
    "    words: [brake drags, brake does not let go, brake stays on, brake smells hot]",
    "    shows: start held",
    "    about: [brake set while contactor pulled in, motor stiff, motor rubs at the brake]",
    "  brake-slips:",
    "    words: [brake does not hold, brake slips, runs back, load creeps down]",
    "    shows: at rest",
    "    about: [brake released, brake worn thin, brake oily or glazed]",
)
_WITH_JOG: Final = (
    "  jog-latches:",
    "    words: [jog latches, jog stays on, jog does not stop when I let go, keeps running in jog]",
    "    shows: jog let go",
)
