"""What flickers together is noticed together: the lights of one sheet were read by one pair of eyes in one go."""

from __future__ import annotations

import numpy as np
import pytest

from troubleshoot.circuit.model import Situation
from troubleshoot.evidence.likelihood import FLICKER_SEEN, Predicted, group_likelihood, likelihood
from troubleshoot.evidence.seen import Light, Seen

COUNT = 9
AT = Situation("rest")


def predicted(flickering: str) -> Predicted:
    """Two outcomes: a machine at rest, every light off; and one that chatters, or what `flickering` says."""
    shown = np.array(["off", flickering])
    zeros = np.zeros(2)
    return Predicted(zeros, zeros > 1, shown, np.where(shown == "unsteady", np.inf, 0.0), 0.0, 0.0)


def seen(name: str, said: str) -> Seen:
    return Seen(Light(name), said, said, AT, "asked")


def log_chances(*said: str) -> np.ndarray:
    """Of the machine at rest, the one that chatters, and something outside the model."""
    batch = [seen(str(k), word) for k, word in enumerate(said)]
    per = [predicted("unsteady")] * len(said)
    return group_likelihood([batch], [per], np.array([0, 1]), np.ones(2), 3, 0, 2)


def test_nine_lights_that_chatter_caught_at_one_moment_speak_for_the_chatter_and_not_for_the_unknown() -> None:
    rest, chatters, outside = log_chances(*["on", "off"] * 4, "on")
    assert chatters > outside > rest


def test_nine_lights_seen_unsteady_speak_for_it_far_more() -> None:
    rest, chatters, outside = log_chances(*["unsteady"] * COUNT)
    assert chatters - outside > 5
    assert chatters > log_chances(*["on", "off"] * 4, "on")[1]
    assert outside > rest


def test_lights_that_are_all_off_still_speak_for_the_machine_at_rest() -> None:
    rest, chatters, outside = log_chances(*["off"] * COUNT)
    assert rest > outside > chatters


def test_one_light_alone_is_called_unsteady_about_as_often_as_its_flicker_is_noticed() -> None:
    (_, unsteady), (_, on), (_, off) = (
        likelihood(seen("1", word), predicted("unsteady")) for word in ("unsteady", "on", "off")
    )
    assert unsteady == pytest.approx(FLICKER_SEEN, abs=0.05)
    assert unsteady + on + off == pytest.approx(1)
