"""A circuit file becomes a circuit, or all that is wrong with it."""

from __future__ import annotations

import pickle
import random
import re
import tracemalloc
from collections.abc import Callable
from time import perf_counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Act, Circuit, Pin
from troubleshoot.circuit.rows import COMPLAINT, DEVICE, PLACE, PROGRAM, ROLES, RUN, SITUATION, TOP, WIRE
from troubleshoot.text.problem import Problem, nearest

Load = Callable[[str | bytes], Circuit | tuple[Problem, ...]]


@pytest.fixture(scope="session")
def load(kinds) -> Load:
    return lambda source: load_circuit(source, "belt-1.yaml", kinds)


@pytest.fixture(scope="session")
def circuit(load, sample) -> Circuit:
    read = load(sample)
    assert isinstance(read, Circuit), "\n".join(map(str, read))
    return read


@pytest.fixture
def said(load, sample):
    """What is said when `old` in the sample becomes `new`, each place told once."""

    def change(*pairs: tuple[str, str]) -> list[str]:
        text = sample
        for old, new in pairs:
            assert text.count(old) == 1, f"{old!r} is not once in the sample"
            text = text.replace(old, new)
        read = load(text)
        assert isinstance(read, tuple), "nothing was found wrong"
        return [str(problem) for problem in read]

    return change


# -- what a good file means -------------------------------------------------------------------------------------------


def test_tags_terminals_and_wire_numbers_stay_as_printed(circuit):
    assert "010" in {hop.number for hop in circuit.hops}
    assert Pin("A1", "%IX0.0") in {hop.b for hop in circuit.hops}


def test_a_run_is_laid_as_hops_between_neighbours(circuit):
    assert [hop.id for hop in circuit.hops if hop.number == "010"] == ["010:Q1:2>S1:13", "010:S1:13>S3:13"]


def test_a_hop_between_two_places_leaves_the_enclosure_and_is_longer(circuit):
    to_desk, at_desk = (hop for hop in circuit.hops if hop.number == "010")
    assert (to_desk.field, to_desk.metres) == (True, 15.0)
    assert (at_desk.field, at_desk.metres) == (False, 1.0)


def test_a_foot_is_0_3048_metres(circuit):
    """International foot, exact: NIST SP 811, appendix B.6."""
    assert next(h for h in circuit.hops if h.number == "30").metres == pytest.approx(20 * 0.3048, rel=1e-12)


def test_ratings_come_in_the_base_unit_of_their_row(circuit):
    relay = circuit.devices["K1"].ratings
    assert relay["coil"] == (24.0, "dc")
    assert relay["delay"] == pytest.approx(0.250)
    assert relay["blocks"] == {("13", "14"): ("no",)}
    assert circuit.devices["G1"].ratings["volts"] == (208.0, 120.0)
    assert circuit.devices["S3"].ratings["blocks"] == {("13", "14"): ("run",)}


def test_ratings_that_are_not_written_take_the_default_of_their_row(circuit):
    assert circuit.devices["G1"].ratings["frequency"] == 60.0
    assert circuit.devices["FR1"].ratings["class"] == "10"


def test_how_known_goes_with_every_element(circuit):
    assert circuit.devices["K1"].known == "assumed"
    assert circuit.devices["S1"].known == "seen"
    assert {h.number: h.known for h in circuit.hops}["12"] == "measured"
    assert circuit.program.known == "told"


def test_a_place_says_walk_door_and_what_to_fetch(circuit):
    assert circuit.places["panel"].door
    assert circuit.places["desk"].walk_s == 60.0
    assert circuit.places["desk"].needs == ("key", "ladder")


def test_the_program_knows_the_line_on_which_it_starts(circuit, sample):
    assert sample.splitlines()[circuit.program.line - 1].strip() == "motor := start;"


def test_roles_situations_and_complaints(circuit):
    assert circuit.roles["interposing"] == ("K1",)
    assert circuit.situations["start held"].situation.acts == (Act("press", "S1"),)
    assert circuit.situations["start held"].hands == 2
    assert circuit.situations["as found"].situation.origin == "as-found"
    assert circuit.situations["jogging"].situation.hold == frozenset({("S3", "jog")})
    assert circuit.complaints["wont-start"].words == ("won't start", "dead")
    assert circuit.priors == {"K1 coil open": 2.0}


def test_without_places_there_is_one_panel_and_nobody_need_say_at(load):
    read = load(
        "machine: m\ndevices: {Q1: {kind: disconnect}}\nwires: [{number: 1, run: [Q1:1, Q1:2]}]\nroles: {}\n"
        "complaints: {}"
    )
    assert isinstance(read, Circuit)
    assert read.devices["Q1"].place == "panel"


def test_a_circuit_can_be_sent_to_another_process(circuit):
    assert pickle.loads(pickle.dumps(circuit)) == circuit


# -- what is wrong with a bad one -------------------------------------------------------------------------------------

MISTAKES = [
    # in the sample, instead of it (« stands before what must be pointed at), what must be said
    ("machine: belt-1", "machin: belt-1", ["2:1: a circuit file has no key 'machin' (nearest: machine)"]),
    ("title:", "titel:", ["3:1: a circuit file has no key 'titel' (nearest: title)"]),
    ("walk: 20 s", "«wlak: 20 s", ["place 'panel' has no key 'wlak' (nearest: walk)"]),
    ("walk: 20 s", "walk: «20", ["'walk' has no unit: write 20 s"]),
    ("walk: 20 s", "walk: «20 m", ["'walk' cannot be in 'm': seconds are written s, min, h, like 20 s"]),
    ("walk: 20 s", "walk: «1_0 s", ["'walk' must be a number with a unit, like 20 s, not '1_0 s'"]),
    ("door: yes", "door: «maybe", ["'door' cannot be 'maybe': write yes, no, true, false"]),
    ("G1: {kind: supply, at: panel", "G1: {kind: supply, at: «pannel", ["no place 'pannel' in this file (nearest: panel)"]),
    ("kind: disconnect", "kind: «disconect", ["'kind' cannot be 'disconect' (nearest: disconnect)"]),
    ("kind: disconnect", "«kidn: disconnect", ["Q1 has no key 'kidn' (nearest: kind)"]),
    ("coil: 24 V DC", "«coli: 24 V DC", ["K1 is a relay, which has no key 'coli' (nearest: coil)"]),
    ("kind: disconnect, at: panel", "at: panel", ["9:3: Q1 must have 'kind': what it is"]),
    ("set: 4.8 A", "class: '10'", ["13:3: FR1 is a thermal overload relay and must have 'set': current it is set to, like 4.8 A"]),
    ("set: 4.8 A", "set: 4.8 A, class: «'30'", ["'class' cannot be '30': write 10, 20"]),
    ("set: 4.8 A", "set: 4.8 A, «clas: '20'", ["FR1 is a thermal overload relay, which has no key 'clas' (nearest: class)"]),
    ("set: 4.8 A", "set: «" + "9" * 5000 + " A", ["'set' has too many digits: 999999999999..."]),
    ("set: 4.8 A", "set: «.inf", ["'set' must be a number with a unit, like 4.8 A, not '.inf'"]),
    ("set: 4.8 A", "set: «~", ["nothing is written after 'set'"]),
    ("208Y/120", "«208Y/12", ["a star has 1.73 times as many volts between lines as to neutral, 208 and 12 do not fit"]),
    ("24 V DC", "«24 V", ["'coil' must be volts and AC or DC, like 24 V DC, not '24 V'"]),
    ("start button, blocks: {'13-14': no}", "start button, blocks: {'13-14': «open}", ["contact 13-14 is no, nc, or a list of the positions"]),
    ("start button, blocks: {'13-14': no}", "start button, blocks: {«'1314': no}", ["a contact is written with its two terminals, like '13-14', not '1314'"]),
    ("'13-14': [run]", "'13-14': [«rum]", ["S3 has no position 'rum' for contact 13-14 to close in (nearest: run)"]),
    ("inputs: {'%IX0.0': start}", "inputs: {«'%IX0,0': start}", ["'%IX0,0' is not a direct address, like %IX0.0 or %QX0.1"]),
    ("[G1:L1, Q1:1]", "[G1:L1, Q1:1, «Q1:7]", ["Q1 has no terminal '7'; it has 1, 2"]),
    ("[K1:14, FR1:95]", "[«K1:41, FR1:95]", ["K1 has no terminal '41'; it has A1, A2, 13, 14 (nearest: K1:14)"]),
    ("[K1:14, FR1:95]", "[«K7:14, FR1:95]", ["no device 'K7' in this file (nearest: K1:14)"]),
    ("[K1:14, FR1:95]", "[«K1-14, FR1:95]", ["a terminal is written device:mark, like K1:14, not 'K1-14' (nearest: K1:14)"]),
    ("[K1:14, FR1:95]", "«[K1:14]", ["'run' must list at least two terminals"]),
    ("[K1:14, FR1:95]", "[K1:14, «K1:14]", ["the wire runs from K1:14 to itself"]),
    ("[K1:14, FR1:95]", "[K1:14, FR1:95, «K1:14]", ["FR1:95 to K1:14 is already laid on line 18"]),
    ("[K1:14, FR1:95]", "[K1:14, «Q1:2]", ["Q1:2 is on wire 12 here and on wire 010 on line 17; it can be on one only"]),
    ("known: measured", "known: «mesured", ["'known' cannot be 'mesured': write assumed, copied, told, seen, measured (nearest: measured)"]),
    ("length: 4 m", "length: «4 V", ["'length' cannot be in 'V'"]),
    ("lang: ST", "lang: «FBD", ["'lang' cannot be 'FBD': write ST, LD"]),
    ("mode: S3", "«mod: S3", ["'mod' is not a role (nearest: mode)"]),
    ("mode: S3", "mode: «S33", ["no device 'S33' in this file (nearest: S3)"]),
    ("from: as-found", "from: «found", ["'from' cannot be 'found': write rest, power-up, as-found"]),
    ("after: press S1, hands: 2", "after: «press K1, hands: 2", ["K1 cannot be pressed (nearest: S1)"]),
    ("after: press S1, hands: 2", "after: press S1, hands: «0", ["'hands' must be at least 1"]),
    ("wait 5 s", "«wait 5", ["'wait' has no unit: write 5 s"]),
    ("hold: {S3: jog}", "hold: {S3: «jgo}", ["S3 has no position 'jgo' (nearest: jog)"]),
    ("hold: {S3: jog}", "hold: {K1: «jog}", ["K1 has nothing that a hand can move"]),
    ("shows: start held", "shows: «start hold", ["no situation 'start hold' in this file (nearest: start held)"]),
    ("2.0}", "«lots}", ["the weight of 'K1 coil open' must be a number above zero, not 'lots'"]),
    ("Start held by a helper", "Start held, «by a helper", ["situation 'start held' has no key 'by a helper'; put quotes around text that holds a comma"]),
    ("set: 4.8 A", "set: «4,8 A", ["'set' has a comma: write 4.8 A, with a point"]),
    ("set: 4.8 A", "set: «4, 8 A", ["'set' has a comma: write 4.8 A, with a point"]),
    ("set: 4.8 A", "set: «'4,8 A'", ["'set' has a comma: write 4.8 A, with a point"]),
    ("set: 4.8 A", "set: «4,8", ["'set' has a comma: write 4.8 A, with a point"]),
    ("set: 4.8 A", "set: «1,250 A", ["'set' has a comma: write 1.250 A, with a point, or 1250 A if thousands are meant"]),
    ("coil: 24 V DC", "coil: «24,5 V DC", ["'coil' has a comma: write 24.5 V DC, with a point"]),
    ("length: 4 m", "length: «4,5 m", ["'length' has a comma: write 4.5 m, with a point"]),
    ("wait 5 s", "«wait 5,5 s", ["'wait' has a comma: write 5.5 s, with a point"]),
    ("2.0}", "«2,5}", ["the weight of 'K1 coil open' has a comma: write 2.5, with a point"]),
    ("K1: {kind: relay", "Q1: {kind: relay", ["12:3: 'Q1' on line 12 is already given on line 9"]),
]  # fmt: skip


def _pointed(sample: str, old: str, new: str) -> tuple[str, str]:
    """The text that « points at as line:column of the changed sample, and the change without the mark."""
    if "«" not in new:
        return "", new
    before = sample[: sample.index(old)] + new.partition("«")[0]
    return f"{before.count(chr(10)) + 1}:{len(before.rpartition(chr(10))[2]) + 1}: ", new.replace("«", "")


@pytest.mark.parametrize(("old", "new", "must_say"), MISTAKES, ids=[f"{old} -> {new[:40]}" for old, new, _ in MISTAKES])
def test_a_mistake_is_named_with_its_place_and_what_was_probably_meant(said, sample, old, new, must_say):
    place, new = _pointed(sample, old, new)
    problems = said((old, new))
    for words in must_say:
        assert any(p.startswith(f"belt-1.yaml:{place}{words}") for p in problems), "\n".join(problems)


@pytest.mark.parametrize(
    ("old", "new"),
    [(old, new) for old, new, must_say in MISTAKES if len(must_say) == 1 and "Q1: {kind: relay" not in new],
)
def test_one_mistake_is_said_once_and_drags_no_others_along(said, old, new):
    assert len(said((old, new.replace("«", "")))) == 1


def test_all_mistakes_are_said_at_once_in_file_order(said):
    problems = said(
        ("walk: 20 s", "walk: 20"), ("kind: disconnect", "kind: disc"), ("[K1:14,", "[K1:41,"), ("mode: S3", "mood: S3")
    )
    assert [int(p.split(":")[1]) for p in problems] == [5, 9, 18, 24]


def test_at_most_fifty_are_said(said):
    assert len(said(("priors: {", "priors: {" + ", ".join(f"x{i}: y" for i in range(80)) + ", "))) == 50


def test_a_device_with_a_mistake_is_not_also_missing(said):
    assert len(said(("coil: 24 V DC", "coil: 24"))) == 1  # K1 is named in wires and roles as well


def test_a_machine_with_nothing_in_it_is_called_empty(load):
    problems = load("machine: m\ndevices: {}\nwires: []\nroles: {}\ncomplaints: {}\n")
    assert [p.what for p in problems] == [
        "the machine is empty: no device is described",
        "the machine is empty: no wire is described",
    ]


@pytest.mark.parametrize("name", ["../etc", "a/b", ".hidden", "c:\\x"])
def test_a_machine_name_is_safe_as_a_folder(said, name):
    assert any("also a folder's" in p for p in said(("machine: belt-1", f"machine: '{name}'")))


@pytest.mark.parametrize(
    ("tag", "says"),
    [
        ('"K\\u202e1"', "U+202E"),
        ('"K\\u200b1"', "U+200B"),
        ('"\\e]52;c;x\\a"', "control character U+001B"),
        ('"\\u041a1"', "only looks like a Latin letter"),
        ("' K1'", "space at its start or end"),
    ],
)
def test_a_tag_with_something_hidden_in_it_is_refused(said, tag, says):
    problems = said(("K1: {kind: relay", f"{tag}: {{kind: relay"))
    assert any(says in p for p in problems)
    assert all(p.isprintable() for p in problems)


# -- cut, damaged and hostile files -----------------------------------------------------------------------------------


def test_every_prefix_is_an_error_or_a_whole_panel(load, sample, circuit):
    """Cut at any byte: an error, or every device, wire and role is still there."""
    data = sample.encode()
    whole = 0
    for end in range(len(data)):
        read = load(data[:end])
        if isinstance(read, Circuit):
            whole += 1
            assert (read.devices, read.hops, read.roles, read.program) == (
                circuit.devices, circuit.hops, circuit.roles, circuit.program,
            )  # fmt: skip
        else:
            assert read
    assert 0 < whole < 60  # only the tail of the file, where complaints and priors stand


def test_a_section_after_complaints_is_refused_because_a_cut_there_would_be_silent(load):
    problems = load(
        "machine: m\ndevices: {Q1: {kind: disconnect}}\nroles: {}\ncomplaints: {}\nwires:\n- {number: 1, run: [Q1:1, Q1:2]}\n"
    )
    assert [str(p) for p in problems] == [
        "belt-1.yaml:5:1: 'wires' must come before 'complaints', so that a file cut off half-way is noticed"
    ]


@given(st.binary(max_size=300))
def test_random_bytes_give_problems_and_no_traceback(load, data):
    assert isinstance(load(data), tuple)


@given(
    at=st.integers(0, 2000),
    cut=st.integers(0, 60),
    put=st.text("{}[]:,'\"\\&*!|>%@`-?#~<= \n\tK1é\u202e\x1b", max_size=12),
)
def test_a_damaged_file_gives_a_circuit_or_printable_problems(load, sample, at, cut, put):
    read = load(sample[:at] + put + sample[at + cut :])
    if not isinstance(read, Circuit):
        assert read
        assert all(str(p).isprintable() for p in read)
        assert all(1 <= p.at.line <= sample.count("\n") + 15 and p.at.column >= 1 for p in read)


@pytest.mark.parametrize(
    "bomb",
    [
        "a: &a [x,x]\n" + "".join(f"b{i}: &b{i} [*a,*a,*a,*a,*a,*a,*a,*a,*a]\n" for i in range(500)),
        "[" * 20_000,
        "{a: " * 2000,
        "- " * 3000,
        "[],[]," * 100_000,
        "[" + "[]," * 400_000 + "]",
        "x: " + "9" * 1_000_000,
        "? " * 5000,
        "a: '" + "b" * 4_000_000,
        "machine: !!python/object/apply:os.system [x]",
    ],
    ids=["aliases", "brackets", "maps", "dashes", "commas", "many entries", "huge number", "keys", "open quote", "tag"],
)
def test_a_bomb_is_refused_within_bounds(load, bomb):
    """Memory is bounded here; the time, with room for a slow and busy machine, only guards against a hang."""
    tracemalloc.start()
    began = perf_counter()
    read = load(bomb)
    took, peak = perf_counter() - began, tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert isinstance(read, tuple)
    assert peak < 150e6
    assert took < 120


# -- nearest ----------------------------------------------------------------------------------------------------------


def test_the_nearest_key_is_right_in_95_of_100_single_slips():
    """One letter left out, doubled, wrong, or two swapped, in every key, kind and role of four letters or more."""
    dice = random.Random(7)
    right = tried = 0
    groups = [[row.name for row in rows] for rows in (TOP, PLACE, WIRE, RUN, PROGRAM, SITUATION, COMPLAINT)]
    groups += [[r.name for r in (*DEVICE, *kind.ratings)] for kind in KINDS.values()] + [list(KINDS), list(ROLES)]
    for names in groups:
        for name in (n for n in names if len(n) >= 4):
            for _ in range(20):
                i = dice.randrange(len(name) - 1)
                slip = dice.choice(
                    [
                        name[:i] + name[i + 1 :],
                        name[:i] + name[i] + name[i:],
                        name[:i] + dice.choice("etaoinshrdlu") + name[i + 1 :],
                        name[:i] + name[i + 1] + name[i] + name[i + 2 :],
                    ]
                )
                if slip not in names:
                    tried += 1
                    right += nearest(slip, names) == name
    assert tried > 2000
    assert right / tried >= 0.95, f"{right} of {tried}"


def test_a_slip_in_any_key_of_a_file_is_told_on_its_line_with_the_key_that_was_meant(load, sample):
    """Every key of the sample with one letter left out, doubled, wrong or swapped: line right 100 %, key >= 95 %."""
    names = {row.name for rows in (TOP, PLACE, DEVICE, WIRE, PROGRAM, SITUATION, COMPLAINT) for row in rows} | set(
        ROLES
    )
    tried = right = 0
    for key in re.finditer(r"(?<![\w-])([a-z]+( stop)?):(?= |$)", sample, re.MULTILINE):
        name, line = key[1], sample.count("\n", 0, key.start()) + 1
        if name not in names or len(name) < 3:
            continue
        for slip in (name[1:], name[0] + name, name[:-1] + "x", name[1] + name[0] + name[2:]):
            problems = load(sample[: key.start()] + slip + sample[key.end(1) :])
            assert isinstance(problems, tuple), slip
            assert line in {p.at.line for p in problems}, (slip, problems)
            tried += 1
            right += any(p.nearest == name for p in problems)
    assert tried > 150
    assert right / tried >= 0.95, f"{right} of {tried}"


# -- the real kinds ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_what_a_real_kind_needs_is_said_with_an_example(kind):
    needed = [row.name for row in kind.ratings if row.default is None]
    read = load_circuit(
        f"machine: m\ndevices: {{X: {{kind: {kind.name}}}}}\nwires: [{{number: 1, run: [X:1, X:2]}}]\nroles: {{}}\ncomplaints: {{}}\n",
        "m.yaml",
    )
    said = [str(p) for p in read] if isinstance(read, tuple) else []
    for name in needed:
        assert any(f"must have '{name}'" in p for p in said)


@pytest.mark.parametrize(
    ("said", "near"),
    [
        ("limit switch", "process switch"), ("e-stop", "emergency stop"), ("power supply", "dc supply"), ("Main Switch", "disconnect"),
        ("motor starter", "contactor"), ("transformer", "control transformer"), ("contacter", "contactor"),
    ],
)  # fmt: skip
def test_a_kind_by_its_everyday_name_is_answered_with_ours(said, near):
    read = load_circuit(
        f"machine: m\ndevices:\n  D1: {{kind: {said}}}\nwires: []\nroles: {{}}\ncomplaints: {{}}\n", "m"
    )
    assert any(str(p) == f"m:3:14: 'kind' cannot be {said!r} (nearest: {near})" for p in read)


def test_a_kind_that_nothing_is_near_to_gets_the_list_of_all():
    read = load_circuit("machine: m\ndevices:\n  D1: {kind: xyzzy}\nwires: []\nroles: {}\ncomplaints: {}\n", "m")
    (problem,) = [p for p in read if p.at.line == 3]
    assert problem.what == f"'kind' cannot be 'xyzzy': write one of {', '.join(KINDS)}"


def test_of_the_marks_of_a_contactor_the_pair_of_digits_is_meant():
    text = (
        "machine: m\ndevices:\n  K1: {kind: contactor, coil: 24 V DC, blocks: {'13-14': no, '23-24': no}}\n"
        "wires:\n  - {number: a, run: ['K1:34', 'K1:A1']}\nroles: {}\ncomplaints: {}\n"
    )
    (problem,) = load_circuit(text, "m")
    assert problem.nearest == "K1:24"
