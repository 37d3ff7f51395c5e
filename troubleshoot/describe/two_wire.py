"""The coil's circuit of a machine that a float or another contact starts and stops, behind a hand/off/auto switch.

Two-wire control: nobody presses anything. The float is described as it is met: two wires of a cable that end in the panel. What such a circuit usually looks like is common practice, no published source.
"""

from __future__ import annotations

from troubleshoot.describe.draft import Draft


def devices(d: Draft, known: str) -> None:
    """The switch and the float; known: how well it is known that there is a switch."""
    d.device(
        "S3",
        "kind: selector, at: panel, words: hand-off-auto switch, positions: [hand, 'off', auto], usual: auto, "
        "blocks: {'13-14': [hand], '23-24': [auto]}",
        known,
    )
    d.device(
        "B1",
        "kind: process switch, at: panel, words: 'float, where its cable ends (in the pit: gas)', positions: [low, high], "
        "blocks: {'13-14': no}",
    )


def wires(d: Draft, fed: str, number: str) -> tuple[str, str]:
    """Both ways from the point that feeds the switch to where they come together: that point, and its wire number.

    number: of the wire at the point that feeds it.
    """
    d.wire(number, fed, "S3:13", "S3:23")
    d.wire("17", "S3:24", "B1:13")
    d.wire("14", "B1:14", "S3:14")
    return "S3:14", "14"


def situations() -> list[str]:
    """Nobody is sent to a float: it is up or down as the level is, and the switch does the rest."""
    return [
        "  as found: {words: 'as you found it, the level up', from: as-found, hold: {B1: high}}",
        "  at rest: {words: 'switch in off, whatever the level', hold: {B1: high}, after: put S3 in off}",
        "  start held: {words: 'switch in auto, the level up', hold: {B1: high}}",
        "  running: {words: 'automatic, the level up', hold: {B1: high}}",
        "  hand: {words: switch in hand, after: put S3 in hand}",
        "  stop held: {words: 'running, then the switch turned off', hold: {B1: high}, after: put S3 in off}",
        "  stopped: {words: 'pumped until the float came down', after: put B1 in high; put B1 in low}",
        "  isolated: {words: disconnect off and locked, after: open Q1}",
    ]


def roles(*, stopped: bool) -> dict[str, str]:
    """Who does what: no buttons. stopped: somebody said that it has an emergency stop."""
    return {
        "disconnect": "Q1", "contactor": "KM1", "overload": "FR1", "motor": "M1", "control fuse": "F4", "mode": "S3",
        **({"emergency stop": "ES1"} if stopped else {}),
    }  # fmt: skip
