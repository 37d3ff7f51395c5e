"""The log of a real job, one a release, kept for ever: whatever the program becomes, it verifies and says the same.

Each file is named for the release that wrote it; `anchors.txt` holds the number and hash of its last event, so that not
even a file written anew with a good chain would pass.
"""

from __future__ import annotations

from pathlib import Path

import pytest

import troubleshoot
from troubleshoot.job.folding import fold
from troubleshoot.log.event import line_of
from troubleshoot.log.verify import read_events, verify
from troubleshoot.store.summary import summarise

FOLDER = Path(__file__).parent / "frozen"
ANCHORS = dict(line.split() for line in (FOLDER / "anchors.txt").read_text().splitlines())
LOGS = sorted(FOLDER.glob("*.jsonl"))


def test_this_release_has_its_log_and_every_log_its_anchor() -> None:
    assert troubleshoot.__version__ in {log.stem for log in LOGS}
    assert set(ANCHORS) == {log.stem for log in LOGS}


@pytest.mark.parametrize("log", LOGS, ids=lambda log: log.stem)
def test_the_log_of_a_release_verifies_for_ever(log: Path) -> None:
    number, digest = ANCHORS[log.stem].split(":")
    verdict = verify(log, head=(int(number), digest))
    assert verdict.whole, verdict.sentences
    assert (verdict.events, verdict.anchored, verdict.torn) == (int(number), int(number), None)
    events, _ = read_events(log)
    assert b"".join(map(line_of, events)) == log.read_bytes()


@pytest.mark.parametrize("log", LOGS, ids=lambda log: log.stem)
def test_what_a_release_wrote_is_read_as_it_was_meant(log: Path) -> None:
    events, _ = read_events(log)
    state, row = fold(events), summarise(events)
    assert row is not None
    assert (state.ended, row.how, row.who) == ("mended", "mended", ("Ana", "JS"))
    assert [f.group for f in row.found] == [r.group for r in state.repaired] == ["wire 12, K1:14 to FR1:95"]
    assert row.found[0].sure == "confirmed"
    assert {c.id: c.passed for c in row.proved} == dict(state.proof)
    assert all(c.passed for c in row.proved)
    assert (row.trips, row.clock_jumps, row.corrections, row.handovers) == (state.trips, 1, 1, 1)
    # It was written by a script that accepts every caution after two seconds: today that is a departure.
    assert [d.sort for d in row.departures] == ["caution unread"]
    assert (row.left_open, row.most_volts) == ((), 211)
    assert [t.what for t in row.temporary] == ["wire 12 lifted at K1:14"]
    assert [c.reason for c in row.cannot] == ["reach"]
    assert row.minutes_down is not None
    assert row.minutes_down > 20  # told as 2:30, begun at 2:50; the clock set back an hour does not make it shorter
