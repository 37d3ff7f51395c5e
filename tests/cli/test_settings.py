"""The settings file, the table of keys and the manual page made from it."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import pytest

from troubleshoot.cli import main
from troubleshoot.cli.commands import COMMANDS, VARIABLES
from troubleshoot.cli.manual import page
from troubleshoot.cli.settings import SETTINGS, Settings, read_settings
from troubleshoot.job.keys import KEYS, MOVABLE

ROOT = Path(__file__).resolve().parents[2]


def said(text: str) -> list[str]:
    found = read_settings(text.encode(), "settings.yaml")
    return [] if isinstance(found, Settings) else [str(problem) for problem in found]


def test_an_empty_file_sets_nothing() -> None:
    assert read_settings(b"", "s") == read_settings(b"\n  \n", "s") == Settings()


def test_what_is_set_is_set_and_the_rest_is_as_usual() -> None:
    found = read_settings(b"theme: Night\nmouse: no\nkeys:\n  why: h\n  caution: k\n", "s")
    assert found == Settings(theme="night", mouse=False, plain=False, keys={"why": "h", "caution": "k"})


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("them: night\n", "settings.yaml:1:1: there is no setting 'them' (nearest: theme)"),
        ("theme: nihgt\n", "settings.yaml:1:8: theme 'nihgt' is not one of dark, light, console, high-contrast, night, "
         "mono (nearest: night)"),
        ("mouse: 1\n", "settings.yaml:1:8: mouse '1' is not one of yes, no"),
        ("theme: [night]\n", "settings.yaml:1:8: theme is one of the themes that `troubleshoot doctor` names"),
        ("keys: h\n", "settings.yaml:1:7: keys is name of a key to the letter it is moved to, see `troubleshoot keys`"),
        ("keys:\n  undoo: z\n", "settings.yaml:2:3: there is no key 'undoo' (nearest: undo)"),
        ("keys:\n  help: h\n", "settings.yaml:2:3: the key 'help' stays where it is"),
        ("keys:\n  caution: 5\n", "settings.yaml:2:12: caution cannot be on '5': a digit is always an answer or a reading"),
        ("keys:\n  caution: enter\n", "settings.yaml:2:12: caution cannot be on 'enter': Enter and Space are pressed too "
         "easily"),
        ('keys:\n  caution: " "\n', "settings.yaml:2:12: caution cannot be on ' ': Enter and Space are pressed too easily"),
        ("keys:\n  undo: '-'\n", "settings.yaml:2:9: undo cannot be on '-': a key is one letter"),
        ("keys:\n  undo: w\n", "settings.yaml:2:9: undo cannot be on 'w': w is the key of 'why'; give that one another "
         "letter too"),
        ("keys:\n  undo: i\n  why: i\n", "settings.yaml:3:8: why cannot be on 'i': i is given to two keys"),
        ("- theme\n", "settings.yaml:1:1: settings are lines such as 'theme: night'"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_its_place_and_the_nearest(text: str, says: str) -> None:
    assert said(text) == [says]


def test_all_mistakes_are_told_at_once() -> None:
    assert len(said("them: x\nmouse: maybe\nkeys:\n  undoo: z\n  why: 1\n  cannot: 2\n")) == 5


def test_with_a_mistake_in_the_settings_nothing_is_begun(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "mine.yaml").write_text("keys:\n  caution: 1\n")
    monkeypatch.setenv("TROUBLESHOOT_CONFIG", str(tmp_path / "mine.yaml"))
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))
    assert main(["job", "belt-7", "--complaint", "dead"]) == 2
    told = capsys.readouterr()
    assert "mine.yaml:2:12: caution cannot be on '1'" in told.err
    assert not told.out
    assert not (tmp_path / "plant").exists()


def test_keys_prints_where_each_one_is_now(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "mine.yaml").write_text("keys: {why: h}\n")
    monkeypatch.setenv("TROUBLESHOOT_CONFIG", str(tmp_path / "mine.yaml"))
    assert main(["keys"]) == 0
    assert "h              why:           says why this is asked (usually w)" in capsys.readouterr().out
    assert main(["keys", "--json"]) == 0
    rows = {row["name"]: row for row in json.loads(capsys.readouterr().out)}
    assert {name for name, row in rows.items() if row["where"] != "in the review"} == set(KEYS)
    assert {row["key"] for row in rows.values() if row["where"] == "in the review"} >= set("yhwmkg")
    assert (rows["why"]["key"], rows["undo"]["key"]) == ("h", "u")


def test_the_manual_page_names_every_command_key_setting_and_variable() -> None:
    text = page().replace("\\-", "-")
    for name in COMMANDS:
        assert f".SS troubleshoot {name}" in text
    for key in KEYS.values():
        assert f".B {key.usual} [{key.name}]\n" in text if key in MOVABLE else f".B {key.usual}\n" in text
        assert f"{key.does.capitalize()}." in text
    for name in (*SETTINGS, *VARIABLES):
        assert f".B {name}\n" in text


def test_the_manual_page_in_the_repository_is_the_one_the_program_prints() -> None:
    kept = (ROOT / "docs/man/troubleshoot.1").read_text(encoding="utf-8")
    assert kept == page(), "the program has changed: troubleshoot manual > docs/man/troubleshoot.1"


@pytest.mark.skipif(shutil.which("groff") is None, reason="groff is not installed")
def test_groff_reads_the_manual_page_without_a_warning() -> None:
    done = subprocess.run(["groff", "-man", "-Tascii", "-ww"], input=page(), capture_output=True, text=True, check=True)
    assert not done.stderr
    assert "EXIT STATUS" in done.stdout.replace("\x08", "").replace("EEXXIITT", "EXIT").replace(
        "SSTTAATTUUSS", "STATUS"
    )


def test_doctor_tells_a_mistake_in_the_settings_and_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    mine = tmp_path / "mine.yaml"
    monkeypatch.setenv("TROUBLESHOOT_CONFIG", str(mine))
    for text, says in (("", "read"), ("them: night\n", "there is no setting 'them' (nearest: theme)")):
        mine.write_text(text)
        assert main(["doctor", "--json"]) == 0
        assert says in json.loads(capsys.readouterr().out)["installation"]["settings"]
    mine.write_text("theme: night\n")
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.delenv("TROUBLESHOOT_THEME", raising=False)
    assert main(["doctor", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["terminal"]["theme"] == "night"
