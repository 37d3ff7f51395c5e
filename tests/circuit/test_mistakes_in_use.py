"""Mistakes in how a circuit is used and varied, each named once, at its place, with what was probably meant."""

from __future__ import annotations

import pytest

from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Circuit, Pin

PROGRAM = "program:\n  lang: ST\n  text: |\n    motor := start;\n"
FILE = "the program itself, or the file beside this one that holds it"
PAIRS = "'join' must be a list of pairs of terminals, like [[K1:14, KM1:A1]]"
RUN = "like - {conductors: ['11', '12'], in: conduit, length: 30 m}"
JOINED = "join: [[K1:14, FR1:95]]"


def variant(keys: str) -> tuple[str, str]:
    return "complaints:", f"variants: {{x: {keys}}}\ncomplaints:"


def about(words: str) -> tuple[str, str]:
    return "shows: start held", f"shows: start held, about: {words}"


MISTAKES = [
    # in the sample, instead of it, all that is said
    (*variant("K1"), ["29:15: 'x' must be a map of keys"]),
    (*variant("{words: w, chance: 150 %, " + JOINED + "}"), ["29:34: 'chance' must be above 0 and below 1, like 0.3 or 30 %"]),
    (*variant("{words: w, chance: 1, " + JOINED + "}"), ["29:34: 'chance' must be above 0 and below 1, like 0.3 or 30 %"]),
    (*variant("{words: w, chance: 0, " + JOINED + "}"), ["29:34: 'chance' must be above 0 and below 1, like 0.3 or 30 %"]),
    (*variant("{words: w, chance: 0.2}"), ["29:12: variant 'x' changes nothing: give 'cut', 'join' or 'stands'"]),
    (*variant("{words: w, chance: 0.2, cut: '12:K1:14'}"), ["29:44: no hop '12:K1:14' in this file"]),
    (*variant("{words: w, chance: 0.2, join: K1}"), [f"29:45: {PAIRS}"]),
    (*variant("{words: w, chance: 0.2, join: [[K1:14]]}"), [f"29:46: {PAIRS}"]),
    (*variant("{words: w, chance: 0.2, join: [[K1:14, K1:14]]}"), ["29:46: K1:14 cannot be joined to itself"]),
    (*variant("{words: w, chance: 0.2, join: [[K1:41, FR1:95]]}"), ["29:47: K1 has no terminal '41'; it has A1, A2, 13, 14 (nearest: K1:14)"]),
    (*variant("{words: w, chance: 0.2, stands: [K1]}"), ["29:47: 'stands' must be a map of keys"]),
    (*variant("{words: w, chance: 0.2, stands: {K7: in}}"), ["29:48: no device 'K7' in this file (nearest: K1)"]),
    (*variant("{words: w, chance: 0.6, " + JOINED + "}, y: {words: w, chance: 0.4, " + JOINED + "}"),
     ["29:11: the chances of the variants sum to 1; together they must stay under 1"]),
    ("complaints:", "runs: {a: b}\ncomplaints:", [f"29:7: 'runs' must be a list, each line {RUN}"]),
    ("complaints:", "runs: ['12']\ncomplaints:", [f"29:8: a run is written {RUN}"]),
    ("complaints:", "runs: [{conductors: ['12'], in: conduit, length: 0 m}]\ncomplaints:", ["29:50: 'length' must be above zero"]),
    (PROGRAM, "program: {lang: ST}\n", [f"20:10: the program must have 'text' or 'file': {FILE}"]),
    (PROGRAM, "program: {lang: ST, file: a.st, text: 'a := b;'}\n", [f"20:10: 'text' and 'file' are both given: {FILE}"]),
    *((PROGRAM, f"program: {{lang: ST, file: '{path}'}}\n", [f"20:27: file {path!r} must lie beside this file or in a folder below it"])
      for path in ("../a.st", "/a.st", "a/../b.st", "./a.st", "a//b.st")),
    (PROGRAM, "program: {lang: ST, file: 'c:a.st'}\n", ["20:27: file 'c:a.st' must be parted by /, with no \\ and no :"]),
    (PROGRAM, "program: {lang: ST, file: 'a\\b.st'}\n", ["20:27: file 'a\\\\b.st' must be parted by /, with no \\ and no :"]),
    ("motor := start;", "motor := start;\n  first scan edges: perhaps", ["24:21: 'first scan edges' cannot be 'perhaps': write yes, no, true, false"]),
    (*about("[mtor hums]"), ["30:70: 'mtor hums' begins with no role"]),
    (*about("[motors]"), ["30:70: 'motors' begins with no role (nearest: motor)"]),
    ("mode: S3", "mode: [S3, S9]", ["24:31: no device 'S9' in this file (nearest: S1)"]),
    ("hold: {S3: jog}", "hold: {S9: jog}", ["28:20: no device 'S9' in this file (nearest: S1)"]),
    ("  jogging: {hold: {S3: jog}, after: 'press S1; wait 5 s'}", "  jogging: S3", ["28:12: 'jogging' must be a map of keys"]),
    ("  wont-start: {words: [won't start, dead], shows: start held}", "  wont-start: dead", ["30:15: 'wont-start' must be a map of keys"]),
    ("  panel: {words: panel P1, door: yes, walk: 20 s}", "  panel: P1", ["5:10: 'panel' must be a map of keys"]),
    ("  FR1: {", "  'F;1': {kind: disconnect, at: panel}\n  FR1: {", ["13:3: the tag 'F;1' holds a semicolon, which parts one act from the next"]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "all_said"), MISTAKES, ids=[f"{k}: {new[:30]}" for k, (_, new, _) in enumerate(MISTAKES)]
)
def test_a_mistake_is_said_once_at_its_place_and_nothing_else_is(kinds, sample, old, new, all_said):
    assert sample.count(old) == 1
    found = load_circuit(sample.replace(old, new), "f", kinds)
    assert isinstance(found, tuple), "nothing was found wrong"
    assert [str(problem) for problem in found] == [f"f:{words}" for words in all_said]


def read(kinds, sample, old, new) -> Circuit:
    found = load_circuit(sample.replace(old, new), "f", kinds)
    assert isinstance(found, Circuit), found
    return found


def test_a_variant_says_how_likely_it_is_and_what_is_otherwise(kinds, sample):
    keys = "{words: retrofit, chance: 30 %, " + JOINED + ", stands: {K1: in}}"
    found = read(kinds, sample, *variant(keys)).variants["x"]
    assert (found.words, found.chance, found.cut) == ("retrofit", 0.3, ())
    assert found.join == ((Pin("K1", "14"), Pin("FR1", "95")),)
    assert found.stands == (("K1", "in"),)


def test_a_program_may_lie_in_a_file_beside_or_below(kinds, sample):
    for path in ("a.st", "plc/a.st"):
        found = read(kinds, sample, PROGRAM, f"program: {{lang: ST, file: {path}}}\n").program
        assert (found.file, found.text) == (path, "")


def test_edges_of_the_first_scan_count_unless_the_file_says_no(kinds, sample):
    for said, meant in (("yes", True), ("no", False)):
        new = f"motor := start;\n  first scan edges: {said}"
        assert read(kinds, sample, "motor := start;", new).program.first_scan_edges is meant
    assert read(kinds, sample, "motor := start;", "motor := start;").program.first_scan_edges is True
