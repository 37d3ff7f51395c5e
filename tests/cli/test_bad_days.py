"""The program as it is started, on a bad day: odd file names, no home, a disk that takes nothing, a second copy, hostile files."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from log.logs import job, lines

from troubleshoot.cli import main
from troubleshoot.cli.machines_on_disk import open_jobs, open_plant
from troubleshoot.job.session import Session
from troubleshoot.job.sheet import Pressed
from troubleshoot.log.verify import read_events, verify
from troubleshoot.machine.amending import Absent, put_change

ROOT = Path(__file__).resolve().parents[2]
BELT = ROOT / "troubleshoot/machines/belt-7.yaml"

NAMES = {
    "two lines": "two\nlines",
    "carriage return": "a\rb",
    "tab": "a\tb",
    "escape": "\x1b[31mred",
    "clipboard": "\x1b]52;c;cm0gLXJm\x07",
    "window title": "\x1b]0;gone\x07",
    "C1": "\x9b31m",
    "bell": "\x07",
    "delete": "a\x7fb",
    "not UTF-8": "\udcff\udc80",
    "Latin-1 letter": "F\udcf6rder",
    "dash": "-",
    "option": "--json",
    "short option": "-rf",
    "right to left": "\u202egnp.evas",
    "isolate": "\u2066a\u2069",
    "zero width": "K\u200b1",
    "Cyrillic": "\u041a1",
    "space": " ",
    "quote": "a'b\"c`$(x)",
    "markup": "[@click=app.exit]x[bold]",
    "255 bytes": "a" * 250,
}


def harmless(text: str) -> bool:
    """Nothing a terminal obeys, reorders or hides; line ends are ours."""
    return all(c == "\n" or (c.isprintable() and unicodedata.category(c) != "Cf") for c in text)


@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_a_file_of_any_name_is_checked_verified_and_shown_harmless(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    path = Path(name + ".yaml")
    path.write_text("machine: x\ndevices: 3\n")
    assert main(["check", "--", str(path)]) == 2
    assert main(["check", "--json", "--", str(path)]) == 2
    path.write_bytes(BELT.read_bytes())
    assert main(["check", "--", str(path)]) == 0
    log = Path(name + ".log")
    log.write_bytes(b"".join(lines(job())) + b"torn")
    assert main(["log", "verify", "--", str(log)]) == 0
    assert main(["log", "show", "--", str(log)]) == 0
    log.unlink()
    assert main(["log", "verify", "--", str(log)]) == 2
    told = capsys.readouterr()
    assert harmless(told.out)
    assert harmless(told.err)
    assert "Traceback" not in told.err


def test_twenty_two_names_are_tried() -> None:
    assert len(set(NAMES.values())) == 22


# ----------------------------------------------------------------------------------------------- where nothing is kept


@contextmanager
def program(*args: str, **env: str) -> Iterator[subprocess.Popen[str]]:
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("TROUBLESHOOT_", "XDG_"))}
    child = subprocess.Popen(
        [sys.executable, "-m", "troubleshoot", *args], cwd=ROOT, env=kept | {"TROUBLESHOOT_INDEX": "off"} | env, text=True,
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        # Whoever started the tests in the background, or by nohup, had it ignored.
        preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_DFL),
    )  # fmt: skip
    try:
        yield child
    finally:
        child.kill()
        child.communicate()


def said(child: subprocess.Popen[str], typed: str = "") -> tuple[int, str, str]:
    out, err = child.communicate(typed, timeout=600)
    return child.returncode, out, err


JOB = ("job", "belt-7", "--complaint", "dead", "--plain")


@pytest.mark.parametrize("where", ["a file in the way", "a folder that takes nothing", "no home"])
def test_where_no_record_can_be_made_it_is_one_sentence_and_exit_code_2(where: str, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    env = {
        "a file in the way": {"TROUBLESHOOT_PLANT": str(tmp_path / "file" / "plant")},
        # Not by permissions, which do not hold for the owner of the machine: /proc takes no folder from anybody.
        "a folder that takes nothing": {"TROUBLESHOOT_PLANT": "/proc/plant"},
        "no home": {"HOME": "/proc/nobody"},
    }[where]
    with program(*JOB, **env) as child:
        code, out, err = said(child)
    assert code == 2
    assert not out
    assert err.startswith("troubleshoot: The log belt-7-")
    assert err.count("\n") == 1
    assert "To work without a record, start with TROUBLESHOOT_UNRECORDED=yes." in err


def test_with_consent_it_works_unrecorded_and_every_sheet_says_so() -> None:
    with program(*JOB, TROUBLESHOOT_PLANT="/proc/plant", TROUBLESHOOT_UNRECORDED="yes") as child:
        code, out, err = said(child, "y\n8\n\n\nq\n")
    assert (code, err) == (0, "")
    sheets = out.split("BELT-7")[1:]
    assert len(sheets) > 2
    assert "NOT RECORDED: nothing of this job is kept." in sheets[0]
    assert {line for line in out.splitlines() if line.startswith("Saved")} == {"Saved 0."}


def test_a_second_copy_is_told_who_has_the_job_and_since_when(tmp_path: Path) -> None:
    env = {"TROUBLESHOOT_PLANT": str(tmp_path), "TROUBLESHOOT_WHO": "Ana"}
    with program(*JOB, **env) as first:
        assert first.stdout is not None
        while "all clear" not in first.stdout.readline():
            pass
        with program("job", "belt-7", "--plain", **(env | {"TROUBLESHOOT_WHO": "Ben"})) as second:
            code, _, err = said(second)
        assert code == 2
        assert re.search(r"is already open: Ana has it since \d\d \w{3} \d\d:\d\d \(process", err)
        first.send_signal(signal.SIGKILL)
    with program("job", "belt-7", "--plain", **(env | {"TROUBLESHOOT_WHO": "Ben"})) as third:
        code, out, _ = said(third, "q\n")
    assert code == 0, "the lock died with its process"
    assert "Taken up where it was left" in out


@pytest.mark.parametrize("number", [signal.SIGHUP, signal.SIGKILL])
def test_a_job_that_is_ended_from_outside_has_all_that_it_called_saved(tmp_path: Path, number: int) -> None:
    with program(*JOB, TROUBLESHOOT_PLANT=str(tmp_path)) as child:
        assert child.stdout is not None
        assert child.stdin is not None
        child.stdin.write("y\n")
        child.stdin.flush()
        saved = 0
        while saved < 2:
            row = child.stdout.readline()
            saved = int(row[6:-2]) if row.startswith("Saved ") else saved
        child.send_signal(number)
        assert child.wait(60) != 0
    (log,) = tmp_path.glob("*/jobs/*.jsonl")
    assert verify(log).whole
    assert verify(log).events >= 2


# ------------------------------------------------------------------------------------------------------ hostile files


def test_what_is_no_ordinary_file_is_refused_at_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    os.mkfifo("pipe")
    Path("big.yaml").write_bytes(b"#" * 5_000_001)
    Path("folder").mkdir()
    for name in ("/dev/zero", "pipe", "big.yaml", "folder", "nowhere", "http://h/x.yaml", "../../etc/shadow"):
        assert main(["check", "--", name]) == 2, name
        told = capsys.readouterr()
        assert not told.out
        assert told.err.count("\n") <= 4, told.err


@pytest.mark.parametrize(
    "program", ["/etc/hostname", "../circuit-of-another.st", "/dev/zero", "pipe", "away.st", "http://h/x"]
)
def test_a_circuit_reads_no_program_from_outside_its_folder(program: str, tmp_path: Path) -> None:
    """Watched from outside our code: the interpreter reports every file that is opened (PEP 578)."""
    folder = tmp_path / "belt-8"
    folder.mkdir()
    (tmp_path / "circuit-of-another.st").write_text("motor := start;\n")
    (folder / "away.st").symlink_to("/etc/hostname")
    os.mkfifo(folder / "pipe")
    text = BELT.read_text(encoding="utf-8")
    head, _, rest = text.partition("\nprogram:")
    after = rest.partition("\n\n")[2]
    (folder / "circuit.yaml").write_text(f"{head}\nprogram:\n  file: {program}\n\n{after}")
    code = f"""
import sys
opened = []
sys.addaudithook(lambda event, args: opened.append(str(args[0])) if event == "open" else None)
from troubleshoot.cli import main
code = main(["check", "--", {str(folder)!r}])
print(code, *[path for path in opened if {str(tmp_path)!r} in path or path.startswith(("/etc/host", "/dev/zero"))])
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=True)
    code_said, *touched = done.stdout.split()
    assert code_said == "2"
    assert set(touched) == {str(folder / "circuit.yaml")}
    assert "Traceback" not in done.stderr


def test_a_description_that_changed_under_a_job_is_noticed_said_and_recorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path))
    circuit = tmp_path / "belt-8" / "circuit.yaml"
    circuit.parent.mkdir()
    circuit.write_text(BELT.read_text(encoding="utf-8").replace("machine: belt-7", "machine: belt-8"))
    begun = Session(open_plant(), machine="belt-8", complaint="dead")
    begun.give(Pressed("y", begun.sheet(80, 24).id, 2000))
    begun.close()
    for changed in (False, True):
        if changed:
            circuit.write_text(circuit.read_text() + "\n# somebody was here\n")
        place = replace(open_plant(), open_jobs=open_jobs())
        again = Session(place, resume=place.open_jobs[0].session)
        words = " ".join(line.text for line in again.sheet(80, 24).lines)
        shown = again.sheet(80, 24)
        again.give(Pressed(shown.keys[0].key, shown.id, 2000))  # taken up on record with the first answer
        again.close()
        assert ("The description of this machine has changed since." in words) is changed
    (log,) = tmp_path.glob("*/jobs/*.jsonl")
    events, _ = read_events(log)
    assert [e.data["changed"] for e in events if e.kind == "resumed"] == [False, True]


# ------------------------------------------------------------------------------------------------------- a log as text


def test_a_job_can_be_printed_as_it_stands_without_writing_to_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path))
    begun = Session(open_plant(), machine="belt-7", complaint="conv \x1b[31m dead")  # and it goes on
    (log,) = tmp_path.glob("*/jobs/*.jsonl")
    before = log.read_bytes()
    assert main(["log", "sheet", str(log)]) == 0
    told = capsys.readouterr()
    assert "Is everybody clear: nobody in it, on it, under it?" in told.out
    assert "\u241b[31m" in told.out
    assert told.out.endswith("saved 1\n")
    assert log.read_bytes() == before
    log.write_bytes(before.replace(b"wont-start", b"wont-stop "))
    assert main(["log", "sheet", str(log)]) == 2
    assert "Line 1" in capsys.readouterr().err
    begun.close()


def test_a_job_is_printed_as_the_machine_was_described_in_it_not_as_its_file_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path))
    begun = Session(open_plant(), machine="belt-7", complaint="conv dead")
    for key in ("y", "8"):
        begun.give(Pressed(key, begun.sheet(80, 24).id, 2000))
    (log,) = tmp_path.glob("*/jobs/*.jsonl")
    assert main(["log", "sheet", str(log)]) == 0
    assert "S3   run/jog switch position" in capsys.readouterr().out
    begun._write("amended", {"change": put_change(Absent("S3")), "words": "there is no S3"})
    assert main(["log", "sheet", str(log)]) == 0
    assert "S3" not in capsys.readouterr().out
    begun.close()


def test_the_places_are_told_with_the_settings_among_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delenv("TROUBLESHOOT_CONFIG", raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert main(["paths", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["settings"] == str(tmp_path / "troubleshoot" / "settings.yaml")
