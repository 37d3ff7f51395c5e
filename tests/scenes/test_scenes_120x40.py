"""The scenes of the night in a real terminal of 120 by 40."""

from __future__ import annotations

from scenes.lived import Lived


class TestTheNightAt120x40(Lived):
    size = (120, 40)
    sample = "e"
