"""Reading back, writing back, exporting and taking names out, from the command line."""

from __future__ import annotations

import json
import os
import re
import shutil
import stat
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from job.nights import desk
from review.weeks import NAMES, WEEK

from troubleshoot.cli import logs_on_disk, main
from troubleshoot.cli.machines_on_disk import open_jobs, open_plant
from troubleshoot.job.session import Session
from troubleshoot.report import pages
from troubleshoot.report.cells import read_csv
from troubleshoot.review import signing

signing.COST = 1 << 8
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def plant(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The week's plant, read by its supervisor."""
    folder = tmp_path / "plant"
    shutil.copytree(WEEK, folder)
    shutil.copy(ROOT / "tests/trees/machines/fan-2.yaml", folder / "fan-2/circuit.yaml")
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(folder))
    monkeypatch.setenv("TROUBLESHOOT_WHO", "Kim")
    monkeypatch.setattr(logs_on_disk, "open_desk", desk)  # one for all tests: its tables take seconds
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pass").write_text("four words that nobody guesses\n")
    return folder


def log(plant: Path, name: str) -> str:
    return str(next(plant.glob(f"*/jobs/{name}.jsonl")))


Out = pytest.CaptureFixture[str]


def test_into_a_pipe_it_is_the_weeks_table_as_text(plant: Path, capsys: Out) -> None:
    assert main(["review"]) == 0
    out = capsys.readouterr().out
    assert "4 jobs read back" in out
    assert "wire 12 open between K1:14 and FR1:95" in out
    assert "YOURS TO DO" in out
    assert all(f"{name}.jsonl: head" in out for name in NAMES)


@pytest.mark.parametrize(("words", "count"), [
    (["belt-7"], 3), (["fan-2", "belt-7"], 4), (["plant"], 4), (["plant/belt-7"], 3), (["plant/belt-7/jobs"], 3),
    (["--since", "2026-11-25"], 2), (["--since", "2026-11-25", "belt-7"], 2),
])  # fmt: skip
def test_logs_are_meant_by_machine_folder_name_or_day(plant: Path, capsys: Out, words: list[str], count: int) -> None:
    assert main(["review", *words, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["title"] == f"{count} job{'s' if count > 1 else ''} read back"
    assert len(found["heads"]) == count


def test_one_log_by_its_name_is_read_back_whole(plant: Path, capsys: Out) -> None:
    assert main(["review", "belt-7-wed"]) == 0
    out = capsys.readouterr().out
    assert "belt 7 dead since 2:20" in out
    assert "25 Nov 02:20 (as told)" in " ".join(out.split())
    assert "Ended: waiting: permit" in out
    assert "wanted: X1:2 to NB:1: should be 115-124 V AC" in out
    assert "typed" not in out.partition("WHAT HAPPENED")[2], "nothing was metered"


def test_what_is_not_there_is_said_with_the_nearest_name(plant: Path, capsys: Out) -> None:
    assert main(["review", "belt-7-wen"]) == 2
    assert "nearest: belt-7-wed" in capsys.readouterr().err
    assert main(["review", "--since", "soon"]) == 2
    assert main(["review", "no/such"]) == 2


def test_a_record_that_was_edited_ends_with_1_and_heads_the_page(plant: Path, capsys: Out) -> None:
    path = Path(log(plant, "belt-7-mon"))
    path.write_text(path.read_text().replace("conv dead", "conv fine"))
    assert main(["review", str(path)]) == 1
    out = capsys.readouterr()
    assert "!! Line 1: edited" in out.out
    assert "belt-7-mon.jsonl: Line 1: edited" in out.err
    assert main(["review"]) == 1
    assert main(["log", "export", "belt-7", "-o", "x.json"]) == 1


def test_what_the_index_saw_anchors_the_page_and_a_cut_tail_is_found_by_it(
    plant: Path, capsys: Out, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TROUBLESHOOT_INDEX", str(plant.parent / "i.sqlite"))
    assert main(["index"]) == 0
    capsys.readouterr()
    assert main(["review", "belt-7-mon"]) == 0
    assert "Anchored up to event 56." in capsys.readouterr().out
    path = Path(log(plant, "belt-7-mon"))
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-3]))
    assert main(["review", "belt-7-mon"]) == 1
    assert "!! Line 54: event 56 was anchored, but the log ends with event 53" in capsys.readouterr().out


def test_a_comment_and_a_close_are_events_of_the_log_and_show(plant: Path, capsys: Out) -> None:
    thursday = log(plant, "belt-7-thu")
    assert main(["review", "comment", thursday, "ring gap kit ordered", "--about", "22"]) == 0
    assert "Saved as event 56, by Kim." in capsys.readouterr().out
    assert main(["review", "close", thursday, "22", "--note", "guard refitted"]) == 0
    assert main(["log", "verify", thursday]) == 0
    capsys.readouterr()
    assert main(["review", thursday]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "Kim, " in out
    assert ": guard refitted" in out
    assert "event 22 words: ring gap kit ordered" in out or "ring gap kit ordered" in out
    assert main(["review", "close", thursday, "22"]) == 2
    assert "closed already, by Kim" in capsys.readouterr().err
    assert main(["review", "close", thursday, "21"]) == 2
    assert main(["review", "comment", thursday, "  "]) == 2
    assert main(["review", "comment", thursday, "x", "--about", "99"]) == 2


def test_nothing_is_written_to_a_log_that_does_not_verify(plant: Path, capsys: Out) -> None:
    path = Path(log(plant, "belt-7-mon"))
    path.write_text(path.read_text().replace("conv dead", "conv fine"))
    before = path.read_bytes()
    assert main(["review", "comment", str(path), "well done"]) == 2
    assert path.read_bytes() == before


def key(name: str = "Kim", file: str = "kim.key") -> int:
    return main(["review", "key", name, "-o", file, "--passphrase-file", "pass"])


def test_somebody_else_countersigns_and_verify_says_so(plant: Path, capsys: Out) -> None:
    assert key() == 0
    assert stat.S_IMODE(os.stat("kim.key").st_mode) == 0o600
    monday = log(plant, "belt-7-mon")
    assert main(["review", "sign", monday, "--key", "kim.key", "--passphrase-file", "pass", "--yes"]) == 0
    assert "that several people share proves nothing" in capsys.readouterr().out
    assert main(["log", "verify", monday]) == 0
    assert "countersigned by Kim up to event 56, with the key kept here" in capsys.readouterr().out
    assert main(["log", "verify", monday, "--json"]) == 0
    (one,) = json.loads(capsys.readouterr().out)["signatures"]
    assert (one["by"], one["up_to"], one["known"], one["wrong"]) == ("Kim", 56, True, None)


def test_the_worker_does_not_countersign_neither_by_name_nor_by_login(
    plant: Path, capsys: Out, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert key() == 0
    assert key("Ana", "ana.key") == 0
    monday = log(plant, "belt-7-mon")
    before = Path(monday).read_bytes()
    assert main(["review", "sign", monday, "--key", "ana.key", "--passphrase-file", "pass", "--yes"]) == 2
    monkeypatch.setenv("TROUBLESHOOT_WHO", "Ana")
    assert main(["review", "sign", monday, "--key", "kim.key", "--passphrase-file", "pass", "--yes"]) == 2
    assert Path(monday).read_bytes() == before
    told = capsys.readouterr()
    assert "worked on this job" in told.err
    assert "--yes" not in told.err, "what does not help is not offered"
    assert "much like" not in told.out


def test_a_countersignature_taken_to_another_log_makes_verify_say_no(plant: Path, capsys: Out) -> None:
    from troubleshoot.cli.logs_on_disk import write_back

    assert key() == 0
    monday, thursday = log(plant, "belt-7-mon"), log(plant, "belt-7-thu")
    assert main(["review", "sign", monday, "--key", "kim.key", "--passphrase-file", "pass", "--yes"]) == 0
    taken = json.loads(Path(monday).read_text().splitlines()[-1])
    data = {k: v for k, v in taken.items() if k not in ("n", "kind", "at", "elapsed_ms", "prev", "hash")}
    write_back(Path(thursday), "signed", data)
    capsys.readouterr()
    assert main(["log", "verify", thursday]) == 1
    assert "re-used: it was made for another log" in capsys.readouterr().out
    assert main(["review", thursday]) == 1
    assert main(["review", "sign", thursday, "--key", "kim.key", "--passphrase-file", "pass", "--yes"]) == 2


def test_wrong_passphrase_open_key_file_second_key_and_short_words_are_refused(plant: Path, capsys: Out) -> None:
    assert key() == 0
    Path("bad").write_text("something else\n")
    assert (
        main(["review", "sign", log(plant, "belt-7-mon"), "--key", "kim.key", "--passphrase-file", "bad", "--yes"]) == 2
    )
    assert "does not open this key" in capsys.readouterr().err
    assert key(file="kim.key") == 2, "a key is not replaced"
    assert key(file="second.key") == 2, "Kim has a key already"
    assert not Path("second.key").exists(), "a key that is not kept is not made"
    assert "another key is kept here for Kim" in capsys.readouterr().err
    os.chmod("kim.key", 0o644)
    assert (
        main(["review", "sign", log(plant, "belt-7-mon"), "--key", "kim.key", "--passphrase-file", "pass", "--yes"])
        == 2
    )
    assert "can be read by others" in capsys.readouterr().err
    Path("short").write_text("abc\n")
    assert main(["review", "key", "Lee", "-o", "lee.key", "--passphrase-file", "short"]) == 2
    assert main(["review", "key", "K\u0456m", "-o", "k.key", "--passphrase-file", "pass"]) == 2


@pytest.mark.parametrize("form", ["html", "csv", "json", "pdf"])
def test_every_form_is_written_for_nobody_elses_eyes(plant: Path, capsys: Out, form: str) -> None:
    if form == "pdf" and not pages.can():
        pytest.skip("the pdf extra is not installed")
    assert main(["log", "export", "belt-7-wed", "-o", f"week.{form}"]) == 0
    assert stat.S_IMODE(os.stat(f"week.{form}").st_mode) == 0o600
    content = Path(f"week.{form}").read_bytes()
    head = json.loads(Path(log(plant, "belt-7-wed")).read_text().splitlines()[-1])["hash"].encode()
    assert form == "pdf" or head in content
    assert main(["log", "export", "belt-7-wed", "-o", f"week.{form}"]) == 2
    assert main(["log", "export", "belt-7-wed", "-o", f"week.{form}", "--force"]) == 0


def test_many_logs_go_into_one_report_with_the_table_first(plant: Path, capsys: Out) -> None:
    assert main(["log", "export", "plant", "-o", "week.csv"]) == 0
    rows = read_csv(Path("week.csv").read_bytes())
    assert [r[0] for r in rows].count("job") == 4
    assert [r[0] for r in rows].count("head") == 4
    assert sum(r[0] == "moment" for r in rows) > 200


def test_a_form_that_is_none_and_no_log_are_said(plant: Path, capsys: Out) -> None:
    assert main(["log", "export", "belt-7", "-o", "week.doc"]) == 2
    assert "ends in none of html, pdf, csv, json" in capsys.readouterr().err
    assert main(["log", "export", "belt-7", "-o", "week.doc", "--as", "json"]) == 0
    (plant / "mixer" / "jobs").mkdir(parents=True)
    assert main(["log", "export", "mixer", "-o", "m.html"]) == 2
    assert not Path("m.html").exists()


def test_without_the_typesetter_pdf_is_one_sentence(plant: Path, capsys: Out, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pages, "can", lambda: False)
    assert main(["log", "export", "belt-7-wed", "-o", "week.pdf"]) == 2
    assert "pip install 'troubleshoot[pdf]'" in capsys.readouterr().err
    assert not Path("week.pdf").exists()


def test_names_are_taken_out_into_a_file_of_their_own_and_everything_still_holds(plant: Path, capsys: Out) -> None:
    assert key() == 0
    monday = log(plant, "belt-7-mon")
    head = json.loads(Path(monday).read_text().splitlines()[-1])
    printed = f"{head['n']}:{head['hash'][:16]}"
    assert main(["review", "sign", monday, "--key", "kim.key", "--passphrase-file", "pass", "--yes"]) == 0
    assert main(["log", "redact", monday, "-o", "red.jsonl", "--names", "names.json"]) == 0
    assert "Ana" not in Path("red.jsonl").read_text()
    assert "Ana" in Path("names.json").read_text()
    assert {stat.S_IMODE(os.stat(f).st_mode) for f in ("red.jsonl", "names.json")} == {0o600}
    told = capsys.readouterr().out
    assert "Taken out wherever it stood as a word: Ana." in told
    assert "Stays: Kim as who countersigned" in told
    assert main(["log", "verify", "red.jsonl", "--head", printed]) == 0
    out = capsys.readouterr().out
    assert "Anchored up to event 56" in out
    assert "countersigned by Kim up to event 56" in out
    assert "That it was somebody who did not work on it is not proved" in out
    assert main(["log", "verify", "red.jsonl", "--names", "names.json"]) == 0
    out = capsys.readouterr().out
    assert "With what was taken out put back, 12 lines agree with their own hash" in out
    assert "is not proved: the names" not in out
    assert main(["review", "red.jsonl"]) == 0
    shown = capsys.readouterr().out
    assert re.search(r"worked on by +\[taken out [0-9a-f]{6}\]", shown)
    assert main(["log", "redact", monday, "-o", "red.jsonl", "--names", "other.json"]) == 2
    assert main(["log", "verify", "red.jsonl", "--names", "pass"]) == 2


def test_nothing_is_written_back_to_a_log_whose_end_was_cut_off(
    plant: Path, capsys: Out, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TROUBLESHOOT_INDEX", str(plant.parent / "i.sqlite"))
    assert main(["index"]) == 0
    assert key() == 0
    path = Path(log(plant, "belt-7-thu"))
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-3]))
    cut = path.read_bytes()
    capsys.readouterr()
    for words in (
        ["sign", str(path), "--key", "kim.key", "--passphrase-file", "pass"],
        ["comment", str(path), "well done"],
        ["close", str(path), "22", "--note", "guard refitted"],
    ):
        assert main(["review", *words]) == 2
        assert "the end was cut off" in capsys.readouterr().err, words
        assert path.read_bytes() == cut


def test_a_key_that_is_not_the_kept_one_signs_nothing(plant: Path, capsys: Out) -> None:
    assert key() == 0
    other = signing.make_key("Kim", "four words that nobody guesses", os.urandom)
    Path("other.key").write_text(other.text())
    os.chmod("other.key", 0o600)
    monday = log(plant, "belt-7-mon")
    before = Path(monday).read_bytes()
    assert main(["review", "sign", monday, "--key", "other.key", "--passphrase-file", "pass", "--yes"]) == 2
    assert "another key is kept here for Kim" in capsys.readouterr().err
    assert Path(monday).read_bytes() == before


def test_a_log_that_is_gone_is_a_row_of_the_review_of_the_history_and_of_an_export(
    plant: Path, capsys: Out, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TROUBLESHOOT_INDEX", str(plant.parent / "i.sqlite"))
    assert main(["index"]) == 0
    Path(log(plant, "belt-7-mon")).unlink()
    capsys.readouterr()
    for words in ([], ["belt-7"]):
        assert main(["review", *words]) == 1
        out = " ".join(capsys.readouterr().out.split())
        assert "!! belt-7-mon.jsonl: This log is gone; it had 56 events when it was last seen." in out, words
    assert main(["review", "fan-2"]) == 0
    assert main(["log", "export", "plant", "-o", "week.csv"]) == 1
    assert any("This log is gone" in cell for row in read_csv(Path("week.csv").read_bytes()) for cell in row)
    capsys.readouterr()
    assert main(["history"]) == 0
    assert "belt-7/jobs/belt-7-mon.jsonl: gone; it had 56 events" in capsys.readouterr().err


def test_a_log_that_was_given_another_name_is_not_gone(
    plant: Path, capsys: Out, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TROUBLESHOOT_INDEX", str(plant.parent / "i.sqlite"))
    assert main(["index"]) == 0
    path = Path(log(plant, "belt-7-mon"))
    path.rename(path.with_name("monday.jsonl"))
    assert main(["review"]) == 0
    assert "is gone" not in capsys.readouterr().out


def test_what_is_open_and_departures_are_listed_before_signing_and_asked_about(plant: Path, capsys: Out) -> None:
    assert key() == 0
    for name, words in (
        ("belt-7-thu", ("Departure: replace K1 without a confirming test", "Open: Confirm K1 before touching it")),
        ("belt-7-wed", ("This job is not finished: waiting: permit.", "Open: waiting for a permit")),
    ):
        path = log(plant, name)
        before = Path(path).read_bytes()
        capsys.readouterr()
        signing_it = ["review", "sign", path, "--key", "kim.key", "--passphrase-file", "pass"]
        assert main(signing_it) == 2
        out = capsys.readouterr().out
        assert all(w in out for w in words)
        assert Path(path).read_bytes() == before
        assert main([*signing_it, "--yes"]) == 0


def test_a_job_that_was_signed_by_the_same_person_says_so_before_it_is_signed_again(plant: Path, capsys: Out) -> None:
    assert key() == 0
    signing_it = ["review", "sign", log(plant, "belt-7-mon"), "--key", "kim.key", "--passphrase-file", "pass"]
    assert main([*signing_it, "--yes"]) == 0
    capsys.readouterr()
    assert main(signing_it) == 2
    assert "Already signed by you, up to event 56." in capsys.readouterr().out
    assert main(["review"]) == 0
    assert "signed: Kim" in capsys.readouterr().out


def test_nothing_is_closed_without_a_word_and_a_closed_check_is_still_not_proved(plant: Path, capsys: Out) -> None:
    thursday = log(plant, "belt-7-thu")
    before = Path(thursday).read_bytes()
    assert main(["review", "close", thursday, "55"]) == 2
    assert "what was done about it is missing" in capsys.readouterr().err
    assert Path(thursday).read_bytes() == before
    assert main(["review", "close", thursday, "55", "--note", "stops tried with JS"]) == 0
    assert main(["review"]) == 0
    assert "left open: 1; closed, still not proved" in capsys.readouterr().out


def test_an_empty_log_does_not_pass_and_neither_does_one_without_a_job(plant: Path, capsys: Out) -> None:
    Path("empty.jsonl").write_bytes(b"")
    assert main(["log", "verify", "empty.jsonl"]) == 1
    assert "It is empty: no event is in it." in capsys.readouterr().out
    assert main(["review", "empty.jsonl"]) == 1


def test_a_torn_last_line_is_not_called_harmless_and_an_anchor_beyond_it_fails_the_log(
    plant: Path, capsys: Out, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = Path(log(plant, "belt-7-mon"))
    whole = path.read_bytes()
    path.write_bytes(whole[:-30])
    assert main(["log", "verify", str(path), "--no-index"]) == 0
    assert "whether it had been saved is not known" in capsys.readouterr().out
    path.write_bytes(whole)
    monkeypatch.setenv("TROUBLESHOOT_INDEX", str(plant.parent / "i.sqlite"))
    assert main(["index"]) == 0
    path.write_bytes(whole[:-30])
    capsys.readouterr()
    assert main(["log", "verify", str(path)]) == 1
    assert "event 56 was anchored, but the log ends with event 55: its last line is torn" in capsys.readouterr().out


def test_a_row_of_the_table_says_itself_that_its_record_does_not_hold_and_which_log_it_is(
    plant: Path, capsys: Out
) -> None:
    path = Path(log(plant, "belt-7-mon"))
    path.write_text(path.read_text().replace('"48 V"', '"0 V"', 1))
    assert main(["review"]) == 1
    out = capsys.readouterr().out.partition("belt-7 ~23 Nov")[2]
    assert out.splitlines()[1:3] == ["   record: NOT TO BE TRUSTED", "   log: belt-7-mon.jsonl"]
    assert main(["log", "export", "plant", "-o", "week.csv"]) == 1
    rows = [r for r in read_csv(Path("week.csv").read_bytes()) if r[0] == "job"]
    assert ["NOT TO BE TRUSTED" in r for r in rows] == [True, False, False, False]


def test_a_job_that_is_only_looked_at_stays_as_it_was_left(plant: Path) -> None:
    path = Path(log(plant, "belt-7-wed"))
    before = path.read_bytes()
    session = Session(replace(open_plant(), open_jobs=open_jobs()), resume="belt-7-wed")
    assert session.sheet(80, 24).lines
    session.close()
    assert path.read_bytes() == before


def test_of_several_open_jobs_the_person_is_asked_which_and_a_comment_moves_none_up(plant: Path) -> None:
    older = Path(log(plant, "belt-7-wed"))
    again = older.with_name("again.jsonl")
    lines = older.read_bytes().splitlines(keepends=True)
    again.write_bytes(b"".join(lines[:-5]))
    order = [job.session for job in open_jobs()]
    assert order == ["belt-7-wed", "again"], "by the newest work"
    assert main(["review", "comment", str(again), "permit asked for"]) == 0
    assert [job.session for job in open_jobs()] == order
    done = subprocess.run(
        [sys.executable, "-m", "troubleshoot", "job", "belt-7", "--complaint", "dead", "--plain"],
        input="q\n", capture_output=True, text=True, timeout=240,
        env=os.environ | {"PYTHONPATH": str(ROOT), "TROUBLESHOOT_CONFIG": "/nonexistent"},
    )  # fmt: skip
    assert "2 jobs of belt-7 are open." in " ".join(done.stdout.split()), done.stderr
    assert [p.name for p in sorted(older.parent.glob("*.jsonl"))] == sorted(
        ["again.jsonl", "belt-7-mon.jsonl", "belt-7-thu.jsonl", "belt-7-wed.jsonl"]
    )
    assert older.read_bytes() == b"".join(lines)


def test_history_counts_departures_as_the_review_does_and_says_what_is_not_handed_back(
    plant: Path, capsys: Out
) -> None:
    assert main(["history"]) == 0
    out = capsys.readouterr().out
    assert "5 departures, told below" in out
    assert "Down for ~24 min (median of what was handed back). 1 job not handed back." in out


def test_every_word_written_freely_that_still_stands_is_listed_where_names_are_taken_out(
    plant: Path, capsys: Out
) -> None:
    monday = log(plant, "belt-7-mon")
    assert main(["review", "comment", monday, "told Ann, order 17"]) == 0
    capsys.readouterr()

    def taken_out(name: str, *options: str) -> tuple[str, str]:
        made = [*options, "-o", f"{name}.jsonl", "--names", f"{name}.json"]
        assert main(["log", "redact", monday, *made]) == 0
        return " ".join(capsys.readouterr().out.split()), Path(f"{name}.jsonl").read_text()

    told, text = taken_out("a")
    assert "This still stands in free words" in told
    assert "event 57: told Ann, order 17" in told
    assert "told Ann, order 17" in text
    told, text = taken_out("b", "--name", "Ann", "--name", "order 17", "--name", "Zoe")
    assert "Ann" not in text
    assert "order 17" not in text
    assert re.search(r"event 57: told \[taken out \w{6}\], \[taken out \w{6}\]", told), "the rest of the note stays"
    assert "Stood nowhere: Zoe. Is it spelled otherwise there?" in told
    assert main(["log", "verify", "b.jsonl", "--names", "b.json"]) == 0
    capsys.readouterr()
    told, text = taken_out("c", "--notes")
    assert "event 57" not in told
    assert "order 17" not in text
