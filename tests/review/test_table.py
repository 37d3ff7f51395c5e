"""The table of a review comes from the index where that is fresh, and says then what reading every log says."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from review.weeks import WEEK
from store.nights import log, many, opened, put, whole

from troubleshoot.cli import logs_on_disk
from troubleshoot.cli.logs_on_disk import TableRead, logs_of, read_many, table_of
from troubleshoot.cli.reviewing import begin_review
from troubleshoot.job.sheet import Pressed, Typed
from troubleshoot.log.opening import open_log
from troubleshoot.log.redaction import KIND, names_in, redact, vouching
from troubleshoot.log.verify import read_events
from troubleshoot.log.writer import LogFile, NotSaved
from troubleshoot.report.text import as_text
from troubleshoot.review import signing
from troubleshoot.review.signing import make_key, sign
from troubleshoot.review.week import week_report


@pytest.fixture
def plant(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "plant"
    shutil.copytree(WEEK, folder)
    for machine, events in many(30, seed=11):
        put(folder, machine, events)
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(folder))
    monkeypatch.setenv("TROUBLESHOOT_INDEX", str(tmp_path / "i.sqlite"))
    monkeypatch.setenv("TROUBLESHOOT_WHO", "Kim")
    monkeypatch.setattr(signing, "COST", 1 << 8)
    return folder


def table(paths: list[Path]) -> TableRead:
    work = table_of(paths, None)
    while True:
        try:
            next(work)
        except StopIteration as end:
            return end.value


def page(read: TableRead) -> str:
    return as_text(week_report([one for _, one in read.shown], read.earlier))


def page_by_reading() -> str:
    shown, earlier = read_many(logs_of(()), None)
    return as_text(week_report([one for _, one in shown], earlier))


def read_logs(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Logs that are read whole, as they are."""
    seen: list[str] = []
    real = logs_on_disk._read

    def reads(path: Path, *more: object) -> object:
        seen.append(path.stem)
        return real(path, *more)  # type: ignore[arg-type]

    monkeypatch.setattr(logs_on_disk, "_read", reads)
    return seen


def append(path: Path, kind: str, data: dict[str, object]) -> None:
    writer = open_log(path, session="", version="0.1.0", who="Kim")
    assert isinstance(writer, LogFile)
    assert not isinstance(writer.append(kind, data), NotSaved)
    writer.close()


def test_the_table_says_what_reading_every_log_says_and_reads_none_again(
    plant: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    by_reading = page_by_reading()
    seen = read_logs(monkeypatch)
    assert page(table(logs_of(()))) == by_reading
    assert page(table(logs_of(()))) == by_reading
    assert seen == [], "the index was filled on the way, and nothing was read whole"


def test_without_an_index_the_table_is_the_same(plant: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = page(table(logs_of(())))
    monkeypatch.setenv("TROUBLESHOOT_INDEX", "off")
    assert page(table(logs_of(()))) == before


def test_what_was_written_back_and_signed_stands_in_it_as_the_keys_here_say(
    plant: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monday = next(plant.glob("belt-7/jobs/belt-7-mon.jsonl"))
    append(monday, "comment", {"by": "Kim", "text": "gap kit ordered", "about": 0})
    thursday = next(plant.glob("belt-7/jobs/belt-7-thu.jsonl"))
    append(thursday, "closed", {"of": 22, "part": 1, "what": "x", "by": "Kim", "note": "guard refitted"})
    append(thursday, "signed", {"by": "Kim"})
    key = make_key("Kim", "eight letters", os.urandom)
    events, verdict = read_events(monday)
    data = sign(key, "eight letters", verdict.session, verdict.head or (0, ""), events[-1].at)
    writer = open_log(monday, session="", version="0.1.0", who="Kim")
    assert isinstance(writer, LogFile)
    writer.append("signed", data)
    writer.close()
    said = page(table(logs_of(())))
    assert "Event 57: the countersignature of Kim does not hold: it lacks what" in " ".join(said.split())
    assert "BAD COUNTERSIGNATURE" in said
    assert said == page_by_reading()
    # Another key is kept here under that name: nothing of the log changed, and the table does.
    (plant / "signers").mkdir()
    other = make_key("Kim", "eight letters", os.urandom)
    (plant / "signers/kim.json").write_text(f'{{"name": "Kim", "public": "{other.public}"}}')
    from troubleshoot.cli.signers import keys_here

    assert keys_here() == {"Kim": other.public}
    after = page(table(logs_of(())))
    assert "another key than the one kept here for Kim" in " ".join(after.split())
    assert after == page_by_reading()


def test_a_log_that_grew_was_edited_or_set_back_in_time_is_read_anew(
    plant: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table(logs_of(()))
    edited = next(plant.glob("fan-2/jobs/fan-2-tue.jsonl"))
    stat = edited.stat()
    edited.write_bytes(edited.read_bytes().replace(b"fan wont start", b"fan will start"))
    os.utime(edited, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    assert (edited.stat().st_size, edited.stat().st_mtime_ns) == (stat.st_size, stat.st_mtime_ns)
    seen = read_logs(monkeypatch)
    said = page(table(logs_of(())))
    assert "NOT TO BE TRUSTED" in said
    assert seen == ["fan-2-tue"]
    assert said == page_by_reading()


def test_a_redacted_a_torn_and_a_gone_log_are_as_reading_says(plant: Path) -> None:
    events, verdict = read_events(next(plant.glob("belt-7/jobs/belt-7-mon.jsonl")))
    gone = plant / "mixer-4/jobs/gone.jsonl"
    put(plant, "mixer-4", log(*whole(machine="mixer-4"), session="gone"))
    assert gone.is_file()
    table(logs_of(()))
    gone.unlink()
    from troubleshoot.log.clock import SystemClock
    from troubleshoot.log.event import line_of
    from troubleshoot.log.next import Next

    lines, _ = redact(events, names_in(events), notes=False, dice=os.urandom)
    last = Next(session=verdict.session, version="0", who="Kim", clock=SystemClock(), last=events[-1]).events(
        KIND, vouching(lines, "redaction")
    )
    path = plant / "belt-7/jobs/belt-7-mon.jsonl"
    path.write_bytes(b"".join(lines.get(e.n, line_of(e)) for e in events) + b"".join(line_of(e) for e in last))
    torn = put(plant, "press-2", log(opened("press-2"), session="torn"))
    torn.write_bytes(torn.read_bytes() + b'{"n":2')
    said = page(table(logs_of(())))
    assert "This log is gone" in said
    assert said == page_by_reading()


def test_the_screen_is_there_before_the_logs_are_read_and_says_how_far_it_is(plant: Path) -> None:
    back: list[str] = []
    review = begin_review(logs_of(()), None, back=lambda: back.append("back"))
    sheet = review.sheet(80, 24)
    assert sheet.title == "REVIEW  reading"
    assert review.pump()
    assert review.busy().startswith("reading the logs: ")
    review.give(Pressed("escape", review.sheet(80, 24).id, 400))
    assert back == ["back"], "nobody has to wait for it"
    while review.sheet(80, 24).title == "REVIEW  reading":
        assert review.pump()
    assert review.busy() == ""
    assert "jobs" in review.sheet(80, 24).title


def test_both_databases_give_the_same_table(plant: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    server = os.environ.get("TROUBLESHOOT_TEST_POSTGRES", "")
    if not server:
        pytest.skip("no PostgreSQL: TROUBLESHOOT_TEST_POSTGRES (.ci/postgres start FOLDER)")
    before = page(table(logs_of(())))
    monkeypatch.setenv("TROUBLESHOOT_INDEX", server)
    first = table(logs_of(()))
    assert first.notices == ()
    seen = read_logs(monkeypatch)
    assert page(first) == page(table(logs_of(()))) == before
    assert seen == []


def test_where_nobody_said_who_they_are_the_name_is_asked_for_once_and_stands_on_every_page(
    plant: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("TROUBLESHOOT_WHO")
    thursday = next(plant.glob("belt-7/jobs/belt-7-thu.jsonl"))
    review = begin_review([thursday], None, at=thursday)

    def text() -> str:
        return " ".join(" ".join(line.text for line in review.sheet(80, 24).lines).split())

    def press(key: str) -> None:
        review.give(Pressed(key, review.sheet(80, 24).id, 400))

    def types(words: str) -> None:
        review.give(Typed(words, review.sheet(80, 24).id))

    assert " as " not in review.sheet(80, 24).title
    press("m")
    assert "Who is writing back?" in text()
    types("a\u202eb")
    assert "Who is writing back?" in text(), "no name"
    types("Kim Ode")
    assert review.sheet(80, 24).title.endswith("comment  as Kim Ode")
    types("gap kit ordered")
    press("k")
    assert "Which of these is done?" in text(), "it is not asked again"
    types("1 guard refitted")
    assert [e.data["by"] for e in read_events(thursday)[0][-2:]] == ["Kim Ode", "Kim Ode"]
