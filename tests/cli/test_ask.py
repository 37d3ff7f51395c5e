"""The commands over the model: what they print, how they end, what they say of bad input."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

import troubleshoot
from troubleshoot.cli import main
from troubleshoot.cli.machines_on_disk import open_machine
from troubleshoot.program import Program, parse_program


@pytest.fixture(autouse=True)
def _own_plant(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TROUBLESHOOT_PLANT", str(tmp_path / "plant"))


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    code = main(list(args))
    out, err = capsys.readouterr()
    return code, out, err


def test_machines_lists_the_demo_plant_with_what_scripts_need(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "machines", "--json")
    rows = json.loads(out)
    assert code == 0
    assert {"name", "path", "complaints", "situations"} <= set(rows[0])
    assert "belt-7" in [row["name"] for row in rows]


def test_ready_circuits_stand_below_the_machines_and_are_taken_by_name(capsys: pytest.CaptureFixture[str]) -> None:
    rows = json.loads(run(capsys, "machines", "--json")[1])
    ready = [row["ready"] for row in rows]
    assert (rows[0]["name"], ready[0], ready.count(True)) == ("belt-7", False, 10)
    assert ready == sorted(ready)
    out = run(capsys, "machines")[1]
    assert out.index("belt-7") < out.index("Ready circuits") < out.index("hoist ")
    assert run(capsys, "check", *(row["name"] for row in rows)) == (0, "11 checked, nothing wrong\n", "")
    assert "(nearest: hoist)" in run(capsys, "check", "hoits")[2]


def test_a_warning_has_a_line_leaves_the_exit_code_and_is_counted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = (Path(__file__).resolve().parents[2] / "docs/reference/circuit-file.md").read_text(encoding="utf-8")
    text = page.split("```yaml\n")[1].split("```")[0]
    file = tmp_path / "belt-9.yaml"
    file.write_text(text.replace("coil: 120 V AC", "coil: 24 V DC"), encoding="utf-8")
    line = next(k for k, one in enumerate(text.splitlines(), 1) if one.startswith("  KM1:"))
    code, out, err = run(capsys, "check", str(file))
    assert (code, out) == (0, "1 checked, 1 warning\n")
    assert re.search(
        rf"belt-9\.yaml:{line}: warning: KM1 .* never pulls in: coil 24 V DC, gets at most 1[12]\d V AC\n", err
    )
    code, out, _ = run(capsys, "check", str(file), "--json")
    (row,) = json.loads(out)
    assert (code, row["line"], row["warning"]) == (0, line, True)
    file.write_text(text.replace("kind: fuse", "kind: fuze"), encoding="utf-8")
    code, out, _ = run(capsys, "check", str(file), "--json")
    assert (code, json.loads(out)[0]["warning"]) == (2, False)


def test_a_ready_circuit_is_no_machine_of_the_plant() -> None:
    from troubleshoot.cli.machines_on_disk import open_plant

    assert set(open_plant().circuits) == {"belt-7"}


def test_faults_have_ids_words_priors_that_sum_to_one_and_a_repair(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "faults", "belt-7", "--json")
    rows = json.loads(out)
    assert code == 0
    assert {"id", "words", "prior", "repair"} <= set(rows[0])
    assert sum(row["prior"] for row in rows) == pytest.approx(1)


def test_expect_gives_one_reading_healthy_and_faulty(capsys: pytest.CaptureFixture[str]) -> None:
    ask = (
        "expect",
        "belt-7",
        "--after",
        "put S3 in run; press S1",
        "--meter",
        "ac volts",
        "KM1:A1",
        "KM1:A2",
        "--json",
    )
    code, out, _ = run(capsys, *ask)
    healthy = json.loads(out)
    assert code == 0
    assert {"value", "unit", "low", "high", "floating", "settled"} <= set(healthy)
    assert 115 < healthy["value"] < 125
    _, out, _ = run(capsys, *ask, "--fault", "12:K1:14>FR1:95 open")
    assert json.loads(out)["value"] < 1


def test_expect_gives_all_lights(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "expect", "belt-7", "--after", "press S1", "--lights", "--json")
    lights = json.loads(out)["lights"]
    assert code == 0
    assert lights["A1 %QX0.0"] == "on"
    assert lights["H2"] == "off"


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("faults", "belt-8"), "belt-7"),
        (("expect", "belt-7", "--meter", "ac volts", "KM1:A11", "KM1:A2"), "KM1:A1"),
        (("expect", "belt-7", "--meter", "ac volt", "KM1:A1", "KM1:A2"), "ac volts"),
        (("expect", "belt-7", "--after", "pres S1", "--lights"), "press"),
        (("expect", "belt-7", "--fault", "KM1 coil opne", "--lights"), "KM1 coil open"),
        (("rehearse", "belt-7", "--complaint", "wont-strat", "--fault", "KM1 coil open"), "wont-start"),
        (("expect", "belt-7"), "--meter"),
        (("nelist", "belt-7"), "netlist"),
    ],
)
def test_bad_input_is_one_message_with_the_nearest_name_and_exit_code_2(
    capsys: pytest.CaptureFixture[str], args: tuple[str, ...], says: str
) -> None:
    code, out, err = run(capsys, *args)
    assert code == 2
    assert says in err
    assert "Traceback" not in out + err


def test_check_names_file_line_and_nearest_for_every_error_at_once(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    shipped = Path(json.loads(run(capsys, "machines", "--json")[1])[0]["path"])
    broken = tmp_path / "broken.yaml"
    text = shipped.read_text(encoding="utf-8").replace("'KM1:A1']", "'KM1:A9']").replace("kind: relay", "kind: relai")
    broken.write_text(text, encoding="utf-8")
    code, _, err = run(capsys, "check", str(broken))
    assert code == 2
    lines = err.splitlines()
    assert any("A9" in line and ".yaml:" in line for line in lines)
    assert any("relai" in line and "relay" in line for line in lines)
    assert run(capsys, "check", "belt-7")[0] == 0
    assert run(capsys, "check", "wont-start")[0] == 0


def test_a_netlist_is_a_deck_that_ends_as_one(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "netlist", "belt-7", "--after", "press S1")
    assert code == 0
    assert out.rstrip().endswith(".end")
    assert "KM1:A1" in out


def test_check_reads_the_program_beside_a_circuit_and_tells_its_errors(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    belt = (Path(troubleshoot.__file__).parent / "machines" / "belt-7.yaml").read_text(encoding="utf-8")
    begin, end = belt.index("program:"), belt.index("\nroles:")
    folder = tmp_path / "belt"
    folder.mkdir()
    path = folder / "circuit.yaml"
    path.write_text(belt[:begin] + "program: {lang: LD, file: belt.xml}" + belt[end:], encoding="utf-8")
    code, _, err = run(capsys, "check", str(path))
    assert (code, err.count("belt.xml:1:1: is not there")) == (2, 1)
    ladder = (Path(__file__).parent.parent / "program" / "ladders" / "belt.xml").read_text(encoding="utf-8")
    (folder / "belt.xml").write_text(ladder.replace("</LD>", "<quoil/></LD>"), encoding="utf-8")
    code, _, err = run(capsys, "check", str(path))
    assert code == 2
    assert "belt.xml:82:11: <quoil> in <LD> is not read here" in err
    (folder / "belt.xml").write_text(ladder, encoding="utf-8")
    assert run(capsys, "check", str(path))[0] == 0
    (folder / "belt.xml").unlink()
    (folder / "belt.xml").symlink_to("/etc/hostname")
    code, _, err = run(capsys, "check", str(path))
    assert (code, err.count("leads out of the folder")) == (2, 1)


def test_ladder_prints_the_whole_program_as_text_that_reads_as_the_same_program(
    capsys: pytest.CaptureFixture[str],
) -> None:
    code, out, _ = run(capsys, "ladder", "belt-7", "--text")
    assert (code, out.count("motor := ")) == (0, 1)
    known = open_machine("belt-7").program
    read = parse_program(out, "printed")
    assert isinstance(read, Program)
    assert known is not None
    assert (read.statements, read.variables) == (known.statements, known.variables)
    assert run(capsys, "ladder", "belt-7", "motor", "--text")[0] == 2


def test_ladder_draws_the_rungs_and_says_what_holds_an_output_off(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "ladder", "belt-7", "motor", "--after", "put S3 in run; press S1; release S1; press ES1")
    assert code == 0
    assert out.splitlines() == [
        "| stop_chain   start             motor |",
        "|====| |-----+--| |------------+--( )--|",
        "|    open    |  open           |  off  |",
        "|            | motor  run_mode |       |",
        "|            +--| |-----| |----+       |",
        "|               open   closed          |",
        "motor is off: stop_chain (%MX0.0) is off",
    ]
    rows = json.loads(run(capsys, "ladder", "belt-7", "--json")[1])
    assert [row["name"] for row in rows] == ["motor", "running", "stopped"]
    assert {row["on"] for row in rows} == {None}
    assert run(capsys, "ladder", "belt-7", "stopped", "--fault", "A1 stopped")[0] == 2
    lit = [word for point in ("0.0", "0.1", "0.2", "0.3") for word in ("--lit", f"%IX{point}")]
    code, out, _ = run(capsys, "ladder", "belt-7", "motor", *lit)
    assert code == 0
    assert "motor is off and by these lights should be on: the program is another, or a point is forced" in out
    assert run(capsys, "ladder", "belt-7", "motor", "--lit", "%IX0.9")[0] == 2
    code, _, err = run(capsys, "ladder", "belt-7", "moter")
    assert (code, "(nearest: motor)" in err) == (2, True)
    forced = json.loads(
        run(capsys, "ladder", "belt-7", "motor", "--after", "press S1", "--fault", "A1 force %IX0.1 off", "--json")[1]
    )
    assert forced[0]["held_off"] == [
        "FALSE is written there, so that branch never conducts", "motor (%QX0.0) is off, so it does not hold itself in",
    ]  # fmt: skip
