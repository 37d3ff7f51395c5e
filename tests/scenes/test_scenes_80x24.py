"""The scenes of the night in a real terminal of 80 by 24."""

from __future__ import annotations

from scenes.lived import Lived


class TestTheNightAt80x24(Lived):
    size = (80, 24)
    sample = "agh"
