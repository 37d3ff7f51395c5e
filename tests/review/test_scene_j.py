"""Monday morning, a week of jobs: what the supervisor types and what then stands on the screen, line by line.

One table first, half a minute a row; then two jobs are opened, a question is written back, one thing is closed, one job is
countersigned. The session is the real one over real logs on a disk; nobody scores anybody.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from job.nights import desk
from review.weeks import WEEK

from troubleshoot.cli import logs_on_disk
from troubleshoot.cli.reviewing import begin_review
from troubleshoot.cli.signers import keep_public
from troubleshoot.job.plant import Doorway, Plant
from troubleshoot.job.session import Session
from troubleshoot.job.sheet import Pressed, Role, Sheet, Typed
from troubleshoot.log.verify import read_events, verify
from troubleshoot.review import signing
from troubleshoot.review.session import ReviewSession

signing.COST = 1 << 8
ROOT = Path(__file__).resolve().parents[2]
PASS = "four words that nobody guesses"


class Monday:
    """The supervisor at the screen."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.session: ReviewSession | Session = begin_review(logs_on_disk.logs_of([str(folder)]), None)

    def sheet(self) -> Sheet:
        """The screen once the logs are read, as it is some moments after it was opened."""
        while self.session.sheet(80, 24).title == "REVIEW  reading":
            assert self.session.pump()
        return self.session.sheet(80, 24)

    @property
    def text(self) -> str:
        return " ".join(" ".join(line.text for line in self.sheet().lines).split())

    def lines(self) -> list[str]:
        return [line.text for line in self.sheet().lines]

    def press(self, key: str) -> None:
        sheet = self.sheet()
        assert key in {k.key for k in sheet.keys}, f"{key!r} is not offered:\n{self.text}"
        self.session.give(Pressed(key, sheet.id, 2000))

    def type(self, text: str) -> None:
        sheet = self.sheet()
        assert sheet.entry is not None, f"there is nothing to type into:\n{self.text}"
        self.session.give(Typed(text, sheet.id))

    def waits(self) -> None:
        while self.session.pump():
            pass

    def log(self, name: str) -> Path:
        return next(self.folder.glob(f"*/jobs/{name}.jsonl"))


@pytest.fixture
def monday(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Monday:
    folder = tmp_path / "plant"
    shutil.copytree(WEEK, folder)
    shutil.copy(ROOT / "tests/trees/machines/fan-2.yaml", folder / "fan-2/circuit.yaml")
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(folder))
    monkeypatch.setenv("TROUBLESHOOT_WHO", "Kim")
    monkeypatch.setattr(logs_on_disk, "open_desk", desk)
    return Monday(folder)


def test_the_week_is_one_table_with_a_row_a_job(monday: Monday) -> None:
    assert monday.lines() == [
        "Jobs read back, oldest first. Press the key of a row to open it.",
        "1  belt-7  ~23 Nov 03:10-03:35  wire 12 open between K1:14 and FR1:95",
        "   confirmed, no part; proved 12 of 12; open: nothing; departures: 1; unsigned",
        "2  fan-2  ~24 Nov 14:05, 18 min, clock set back  KM1 coil open",
        "   confirmed, part KM1; proved 8 of 8; open: nothing; departures: 1; unsigned",
        "3  belt-7  25 Nov 02:20-  waiting: permit",
        "   nothing mended, no part; not proved yet; open: 1; no departures; unsigned",
        "4  belt-7  ~26 Nov 22:15-22:41  K1 contact 13-14 does not close",
        "   not confirmed, part K1; proved 9 of 12; open: 2; departures: 3; unsigned",
        "~ when the job began: nobody said when it stopped.",
    ]


def test_it_begins_without_hashes_percentages_and_scores(monday: Monday) -> None:
    for unwanted in ("%", "sha", "score", "belief", "head "):
        assert unwanted not in monday.text.lower()


def test_what_is_theirs_repeats_and_wants_a_word_is_one_key_away(monday: Monday) -> None:
    monday.press("y")
    assert "belt-7, 25 Nov 02:20: waiting for a permit or another trade, 12 readings wanted then" in monday.text
    assert "belt-7, 26 Nov 22:15: Confirm K1 before touching it: K1:13, K1:A1: cannot reach it" in monday.text
    assert "belt-7: down 3 times in 7 days: 23 Nov 03:10 (wire 12 open" in monday.text
    assert "fan-2: the clock moved back 61 min during the job (24 Nov 14:05, Ben)" in monday.text
    assert "replace K1 without a confirming test" in monday.text
    monday.press("escape")
    assert monday.lines()[0].startswith("Jobs read back")


def test_the_first_job_is_opened_and_read_from_beginning_to_end(monday: Monday) -> None:
    monday.press("1")
    assert monday.lines()[0].startswith("departure    10 of 10 cautions on the screen too short to read")
    before = monday.text.partition("machine belt-7")[0]
    assert "events verified" not in before, "no hash and no record comes before the job"
    assert "56 events verified." in monday.text
    assert "Not anchored" in monday.text
    assert "found wire 12 open between K1:14 and FR1:95: re-make wire 12" in monday.text
    assert "1 taken back (normal work)" in monday.text
    assert monday.sheet().saved == 56
    monday.press("h")
    assert "What should have been is still being worked out." in monday.text
    assert "typed '48 V', taken as 47.5 to 48.5 V" in monday.text
    monday.waits()
    assert "still being worked out" not in monday.text
    assert "should be 115-124 V AC; typed '48 V', taken as 47.5 to 48.5 V" in monday.text
    assert "Readings, Start held by a helper (taken back)" in monday.text
    assert "then: 4 left: wire 12 (K1:14 to FR1:95)" in monday.text
    monday.press("escape")
    monday.press("escape")
    assert monday.lines()[0].startswith("Jobs read back")


def test_a_departure_is_questioned_and_what_was_done_about_it_is_closed(monday: Monday) -> None:
    monday.press("4")
    assert "departure replace K1 without a confirming test (event 39)" in monday.text
    monday.press("m")
    monday.type("39 why was it not confirmed?")
    assert "Saved as event 56." in monday.text
    assert "written Kim of event 39: why was it not confirmed?" in monday.text
    monday.press("k")
    assert monday.lines()[1].startswith("1  Confirm K1 before touching it")
    monday.type("1 guard refitted")
    assert "closed by Kim: guard refitted" in monday.text
    monday.press("k")
    monday.type("9 x")
    assert "Nothing is open under '9'." in monday.text
    monday.type("1")
    assert "Type what was done about it too" in monday.text
    monday.session.give(Pressed("1", monday.sheet().id, 2000))
    assert "1 guard refitted. A close says nothing by itself." in monday.text, "the key alone asks for the words"
    monday.type("1 stops tried with JS")
    assert "closed by Kim; still not proved" in monday.text
    assert "k" not in {k.key for k in monday.sheet().keys}, "nothing is left to close"
    monday.press("escape")
    assert "open: nothing; closed, still not proved; departures: 3" in monday.text
    events, verdict = read_events(monday.log("belt-7-thu"))
    assert verdict.whole
    assert [e.kind for e in events[55:]] == ["comment", "closed", "closed"]


def test_a_job_is_countersigned_with_a_key_whose_passphrase_is_not_shown(monday: Monday, tmp_path: Path) -> None:
    key = signing.make_key("Kim", PASS, os.urandom)
    file = tmp_path / "kim.key"
    file.write_text(key.text())
    file.chmod(0o600)
    keep_public(key)
    monday.press("1")
    monday.press("g")
    assert "A key file or a login that several people share proves nothing." in monday.text
    monday.type(str(file))
    entry = monday.sheet().entry
    assert entry is not None
    assert entry.secret
    monday.type("something else")
    assert "Not countersigned: the passphrase does not open this key" in monday.text
    monday.type(str(file))
    monday.type(PASS)
    assert "Countersigned by Kim up to event 56; it is event 57." in monday.text
    assert "countersigned by Kim up to event 56, with the key kept here under that name" in monday.text
    assert verify(monday.log("belt-7-mon")).events == 57


def test_what_stands_out_is_all_that_is_marked_and_nothing_else(monday: Monday) -> None:
    monday.press("4")
    monday.press("h")
    monday.waits()
    heads = [
        line.text for line in monday.sheet().lines if line.text[:4].strip().rstrip("-").isdigit() or "  ! " in line.text
    ]
    marked = [text for text in heads if "! " in text[:20]]
    monday.press("w")
    shown = [line.text for line in monday.sheet().lines if "! " in line.text[:20]]
    assert shown == marked
    assert any("Could not be done" in text for text in shown)
    assert any("Ended: mended" in text for text in shown), "three checks were left out"
    assert any("Readings" in text for text in shown), "0 V where 120 should be"


def test_every_key_of_the_review_is_in_the_table_of_keys(monday: Monday) -> None:
    from troubleshoot.review.keys import REVIEW_KEYS
    from troubleshoot.review.session import ROWS

    listed = {(key.key, key.label.partition(":")[0]) for key in REVIEW_KEYS}
    seen = set()
    for keys in ((), ("4",), ("h",), ("w",)):
        for key in keys:
            monday.press(key)
        for live in monday.sheet().keys:
            if live.shown and live.key not in ("escape", *(ROWS if not keys else "")):
                seen.add((live.key, live.label.partition(":")[0]))
    monday.press("escape")
    assert seen - {("w", "all of it")} <= listed, "or it is not in `troubleshoot keys`"
    assert {key for key, _ in seen} >= set("yhwmkg")
    said = {(k.key, k.does) for k in monday.sheet().keys if k.key in "hmkg"}
    assert said <= {(k.key, k.does) for k in REVIEW_KEYS}


def test_who_worked_on_it_is_told_so_before_a_key_is_asked_for(monday: Monday, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TROUBLESHOOT_WHO", "Ana")
    ana = Monday(monday.folder)
    ana.press("1")
    ana.press("g")
    assert "Ana worked on this job; somebody else has to countersign it." in ana.text
    assert "much like" not in ana.text
    assert ana.sheet().entry is None


def test_the_one_who_worked_on_it_is_refused(monday: Monday, tmp_path: Path) -> None:
    file = tmp_path / "ana.key"
    file.write_text(signing.make_key("Ana", PASS, os.urandom).text())
    file.chmod(0o600)
    monday.press("1")
    monday.press("g")
    monday.type(str(file))
    monday.type(PASS)
    assert "Ana worked on this job; somebody else has to countersign it." in monday.text
    assert verify(monday.log("belt-7-mon")).events == 56


def test_a_record_that_does_not_hold_says_so_in_the_table_and_opens_with_it(monday: Monday) -> None:
    path = monday.log("belt-7-mon")
    path.write_text(path.read_text().replace('"48 V"', '"0 V"', 1))
    monday = Monday(monday.folder)
    assert "1 NOT TO BE TRUSTED. belt-7" in monday.text
    monday.press("1")
    first = monday.sheet().lines[0]
    assert (first.text, first.role) == ("Line 17: edited: the text does not agree with its own hash.", Role.DANGER)
    live = {k.key for k in monday.sheet().keys}
    assert "h" in live
    assert not live & {"m", "k", "g"}, "nothing is written to it"


def test_a_log_that_somebody_has_open_is_not_written_to_and_says_who(monday: Monday) -> None:
    from troubleshoot.log.opening import open_log

    monday.press("4")
    monday.press("m")
    held = open_log(monday.log("belt-7-thu"), session="", version="0.1.0", who="Cy")
    with pytest.raises(OSError, match="already open: Cy has it since"):
        monday.type("well done")
    held.close()  # type: ignore[union-attr]
    monday.type("well done")
    assert "Saved as event 56." in monday.text


def test_it_is_entered_from_the_front_page_and_left_again(monday: Monday) -> None:
    review = Doorway(
        "r", "review", "read a job back", lambda back: begin_review(logs_on_disk.logs_of(()), None, back=back)
    )
    monday.session = Session(Plant({}, (), desk, lambda *a: None, "Kim", doors=(review,)))  # type: ignore[arg-type,return-value]
    assert "r  read a job back" in monday.lines()
    monday.press("r")
    assert monday.lines()[0].startswith("Jobs read back")
    monday.press("2")
    assert "fan wont start" in monday.text
    monday.press("escape")
    monday.press("escape")
    assert monday.lines()[0].startswith("What is wrong?")


def test_no_sheet_is_wider_than_the_screen_or_has_two_uses_for_a_key(monday: Monday) -> None:
    for way in ((), ("y",), ("1",), ("1", "h"), ("4", "m"), ("4", "k"), ("4", "g")):
        at = Monday(monday.folder)
        for key in way:
            at.press(key)
        sheet = at.sheet()
        keys = [k.key for k in sheet.keys]
        assert len(keys) == len(set(keys)), way
        assert not {"q", "?", "c"} & set(keys)
        assert all(len(line.text) <= 80 for line in sheet.lines), way


def test_of_many_jobs_the_newest_have_a_key_and_the_others_are_said(monday: Monday) -> None:
    first = monday.log("belt-7-mon").read_bytes()
    for number in range(30):
        (monday.folder / f"belt-7/jobs/again-{number}.jsonl").write_bytes(first)
    many = Monday(monday.folder)
    assert "Jobs 7 to 34 of 34; 0 shows older ones." in many.text
    rows = [line.key for line in many.sheet().lines if line.key and not line.text.startswith(" ")]
    assert len(rows) == len(set(rows)) == 28
    newest = many.text
    many.press("0")
    assert "Jobs 1 to 6 of 34" in many.text
    many.press("0")
    assert many.text == newest
    many.press(rows[-1])
    assert "conveyor 7 wont start" in many.text, "the newest"


def test_line_by_line_it_is_the_same(monday: Monday) -> None:
    said = ["y", "Esc", "4", "m", "39 why was it not confirmed?", "k", "1 guard refitted", "Esc", "q"]
    done = subprocess.run(
        [sys.executable, "-m", "troubleshoot", "review", "--plain"], input="\n".join(said) + "\n", capture_output=True,
        text=True, timeout=240, env=os.environ | {"PYTHONPATH": str(ROOT), "TROUBLESHOOT_CONFIG": "/nonexistent"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    text = " ".join(done.stdout.split())
    for words in (
        "Jobs read back, oldest first.", "Yours to do.", "why was it not confirmed?", "Saved as event 56.",
        "closed by Kim: guard refitted", "Left. Everything up to here is kept.",
    ):  # fmt: skip
        assert words in text, words
    last = json.loads(monday.log("belt-7-thu").read_text().splitlines()[-1])
    assert (last["kind"], last["note"], last["by"]) == ("closed", "guard refitted", "Kim")


def test_the_page_that_countersigns_lists_what_is_to_be_known_first(monday: Monday) -> None:
    monday.press("4")
    monday.press("g")
    assert "Departure: replace K1 without a confirming test" in monday.text
    assert "Open: Confirm K1 before touching it" in monday.text
    assert "Sign all the same?" in monday.text


def test_where_the_description_has_changed_both_pages_of_the_job_say_so(
    monday: Monday, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(logs_on_disk, "open_desk", lambda machine: desk("fan-2"))
    monday.press("1")
    monday.waits()
    assert "The description has changed since this job began" in monday.text
    monday.press("h")
    assert "The description has changed since this job began" in monday.text


def test_of_what_happened_only_what_stands_out_is_one_key_away(monday: Monday) -> None:
    monday.press("4")
    monday.press("h")
    assert "Everybody is clear" in monday.text
    monday.press("w")
    assert "Everybody is clear" not in monday.text
    assert "Caution read by Cy" in monday.text
    assert "Mended: K1 contact 13-14" in monday.text, "it was not confirmed"
    monday.press("w")
    assert "Everybody is clear" in monday.text
    monday.press("escape")
    assert "departure replace K1" in monday.text
