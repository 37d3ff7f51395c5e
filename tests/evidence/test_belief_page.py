"""The page that says how often people and meters err says what the code reckons with."""

from __future__ import annotations

import re
from pathlib import Path

from troubleshoot.diagnosis import people
from troubleshoot.evidence import likelihood as noise
from troubleshoot.evidence import ways_round
from troubleshoot.job.seeing import SEEN_ONCE
from troubleshoot.job.stage import LOST, STILL, SURE

PAGE = (Path(__file__).resolve().parents[2] / "docs/explanation/belief.md").read_text(encoding="utf-8")

RATES = {
    "a light or look asked one by one, called wrongly": noise.LIGHT_WRONG["asked"],
    'passed over in "the others are as they should be"': noise.LIGHT_WRONG["by-exception"],
    "from an operator's memory": noise.LIGHT_WRONG["operator"],
    "read by the controller itself": noise.LIGHT_WRONG["live"],
    "a flicker is noticed": noise.FLICKER_SEEN,
    "a live point read as nothing, tester unproved": noise.ZERO_UNPROVED,
    "the same, tester proved": noise.ZERO_PROVED,
    "one reading slipped": noise.SLIP,
    "a whole batch spoiled": noise.BATCH_SPOILED,
    "the same where one of its readings was live": noise.BATCH_SPOILED_LIVE,
    "nothing couples into a floating point, what runs beside it unknown": noise.UNCOUPLED,
    "the same, in a described run": noise.UNCOUPLED_IN_RUN,
    "floating points of one machine that do alike": noise.ALIKE,
    "a jumping reading called unsteady": noise.CALLED_UNSTEADY,
    "the way round a parted conductor reads otherwise than computed, through electronics, a lamp or a film": (
        ways_round.UNKNOWN_ELECTRONIC
    ),
    "the same, through coils and windings, or computed as none": ways_round.UNKNOWN_RATED,
    "that way round is none to the meter: OL": ways_round.NONE_ROUND,
    "lights and looks read in haste all through a job": people.HASTY,
    "a point read again and again taken for the one beside it": people.MISTAKEN,
    "there is nothing at that other point": people.NOTHING_THERE,
    "what is there is what should be at the point that was meant": people.USUAL_VOLTS,
    "it reads so again the next time": people.AGAIN,
    "plant volts, standard deviation": noise.SUPPLY_SPREAD,
}


def test_the_page_names_every_rate_with_its_reason_and_no_other() -> None:
    rows = re.findall(r"(?m)^\| ([^|]+) \| ([\d.]+) \| ([^|]+) \|$", PAGE)
    assert {name: float(rate) for name, rate, _ in rows} == RATES
    assert all(len(why) > 10 for _, _, why in rows)


def test_the_page_states_the_chances_at_which_a_job_stops_confirms_and_gives_up() -> None:
    assert (f"stops at {SURE:.0%}".replace("%", " %"), f"{STILL:.0%}".replace("%", " %")) == ("stops at 95 %", "90 %")
    for words in ("stops at 95 %", "90 % must be left", f"below {SEEN_ONCE * 100:.0f} %", "passes one half"):
        assert words in PAGE
    assert LOST == 0.5


def test_a_calm_machine_and_one_that_is_not_together_keep_each_points_own_chance() -> None:
    import numpy as np

    for low, chance in ((0.0, noise.UNCOUPLED), (20.0, noise.UNCOUPLED_IN_RUN)):
        span = (np.array([low]), np.array([60.0]))
        calm, not_calm = (float(noise._ghost(span, way)[0][0]) for way in (True, False))
        assert abs(noise.CALM * calm + (1 - noise.CALM) * not_calm - chance) < 1e-12
        assert 0 < not_calm < calm < 1
