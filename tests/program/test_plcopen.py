"""A ladder in XML, PLCopen TC6 or IEC 61131-10, becomes the program that was drawn, or is refused by element and place; nothing is dropped.

Witness of what a ladder does: power followed through contacts along the conductors, scan by scan, written here and knowing
nothing of expressions. The files in `ladders/` were written for these tests from the published schemas (PLCopen TC6 XML 2.01;
``*-iec.xml`` IEC 61131-10:2019), both from memory, by no editor.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from program.xml_ladders import (
    DRIVEN,
    INPUTS,
    Drawn,
    iec_file,
    iec_project,
    iec_rung,
    iec_shape,
    ladders,
    networks,
    project,
    shape,
    tc6_file,
)

from troubleshoot.program.model import Program
from troubleshoot.program.plcopen import read_ladder
from troubleshoot.program.printing import program_text
from troubleshoot.program.reading import parse_program
from troubleshoot.program.running import scan, start

LADDERS = Path(__file__).with_name("ladders")
BELT = (LADDERS / "belt.xml").read_text(encoding="utf-8")


def program(text: str | bytes) -> Program:
    read = read_ladder(text, "l.xml")
    assert isinstance(read, Program), "\n".join(map(str, read))
    return read


def told(text: str | bytes) -> list[str]:
    found = read_ladder(text, "l.xml")
    assert isinstance(found, tuple), "it was read"
    return [str(problem) for problem in found]


# ------------------------------------------------------------------------------------------------------- what is read


def test_a_seal_in_comes_out_as_a_person_would_write_it() -> None:
    read = program(BELT)
    text = """PROGRAM belt
        VAR estop_ok AT %IX0.0 : BOOL; start AT %IX0.1 : BOOL; stop_ok AT %IX0.2 : BOOL; run_mode AT %IX0.3 : BOOL;
            motor AT %QX0.0 : BOOL; running AT %QX0.1 : BOOL; stopped AT %QX0.2 : BOOL; stop_chain AT %MX0.0 : BOOL;
        END_VAR
        stop_chain := estop_ok AND stop_ok;
        motor := stop_chain AND (start OR motor AND run_mode);
        running := motor;
        stopped := NOT motor;
        END_PROGRAM"""
    assert read == parse_program(text, "belt.st")


def test_every_element_that_is_read_does_what_it_is_drawn_for() -> None:
    """P sets, N resets, a retained latch, a timer by its variable, a marker carried on, a negated coil, a counter with a
    negated reset, a comparison and a P coil."""
    read = program((LADDERS / "everything.xml").read_bytes())
    memory, seen = start(read, cold=True), []
    for now, bits in [
        (0, "01"),
        (10, "11"),
        (1000, "11"),
        (2010, "10"),
        (2020, "00"),
        (2030, "10"),
        (4000, "11"),
        (9000, "11"),
    ]:
        result = scan(read, memory, {"%IX0.0": bits[0] == "1", "%IX0.1": bits[1] == "1"}, now)
        memory = result.memory
        seen.append((bits, result.values["latched"], result.values["count"], *map(int, result.outputs.values())))
    assert seen == [
        ("01", False, 0, 0, 1, 0),
        ("11", True, 1, 0, 1, 0),
        ("11", True, 1, 0, 1, 0),
        ("10", False, 0, 0, 1, 0),  # b falls: reset, before the delay has run
        ("00", False, 0, 0, 1, 0),
        ("10", True, 1, 0, 1, 0),
        ("11", True, 1, 0, 1, 0),
        ("11", True, 1, 0, 1, 0),
    ]
    held = {"%IX0.0": True}
    memory = start(read, cold=True, first_scan_edges=False)
    outs = []
    for now in (0, 100, 2099, 2100):
        result = scan(read, memory, held if now else {}, now)
        memory = result.memory
        outs.append((result.outputs["%QX0.0"], result.outputs["%QX0.1"]))
    assert outs == [(False, True), (False, True), (False, True), (True, False)]


@pytest.mark.parametrize("name", ["belt", "everything"])
def test_the_same_ladder_in_the_other_dialect_is_the_same_program(name: str) -> None:
    """IEC 61131-10:2019, its schema from memory; rungs run by their evaluationOrder, wherever they stand in the file."""
    assert program((LADDERS / f"{name}-iec.xml").read_bytes()) == program((LADDERS / f"{name}.xml").read_bytes())


def test_what_it_reads_prints_as_text_that_reads_the_same() -> None:
    for path in sorted(LADDERS.glob("*.xml")):
        read = program(path.read_bytes())
        assert parse_program(program_text(read), "printed") == read


def test_networks_run_from_the_top_wherever_they_stand_in_the_file() -> None:
    lower = shape("contact", "1", "%MX0.0", "0", y=90) + shape("coil", "2", "%QX0.0", "1", y=90)
    upper = shape("contact", "3", "%IX0.0", "0", y=10) + shape("coil", "4", "%MX0.0", "3", y=10)
    read = program(project(lower + upper))
    assert scan(read, start(read, cold=True), {"%IX0.0": True}, 0).outputs == {"%QX0.0": True}


def test_the_files_own_order_of_execution_wins() -> None:
    def drawn(first: str, second: str) -> Program:
        lower = shape("contact", "1", "%MX0.0", "0", y=90) + shape(
            "coil", "2", "%QX0.0", "1", y=90, executionOrderId=first
        )
        upper = shape("contact", "3", "%IX0.0", "0", y=10)
        return program(project(lower + upper + shape("coil", "4", "%MX0.0", "3", y=10, executionOrderId=second)))

    for first, second, on in (("1", "2", False), ("2", "1", True)):
        read = drawn(first, second)
        assert scan(read, start(read, cold=True), {"%IX0.0": True}, 0).outputs == {"%QX0.0": on}


def test_a_contact_is_read_once_for_all_coils_behind_it() -> None:
    """One pulse, two coils: the second must not see what the first has just written."""
    drawn = shape("contact", "1", "%IX0.0", "0") + shape("contact", "2", "%QX0.0", "1", negated="true")
    drawn += shape("coil", "3", "%QX0.0", "2", y=0) + shape("coil", "4", "%QX0.1", "2", y=10)
    read = program(project(drawn))
    assert scan(read, start(read, cold=True), {"%IX0.0": True}, 0).outputs == {"%QX0.0": True, "%QX0.1": True}


# ------------------------------------------------------------------------------------------------- what is not read


@pytest.mark.parametrize(
    ("elements", "says"),
    [
        ('<jump localId="5" label="on"/>', "l.xml:3:1: <jump> in <LD> is not read here"),
        ('<return localId="5"/>', "l.xml:3:1: <return> in <LD> is not read here"),
        ('  <vendorElement localId="5"/>', "l.xml:3:3: <vendorElement> in <LD> is not read here"),
        ('<kontact localId="5"/>', "l.xml:3:1: <kontact> in <LD> is not read here (nearest: contact)"),
        ('<block localId="5" typeName="PID" instanceName="x"><outputVariables/></block>' + shape("coil", "6", "%QX0.0", "5"),
         "l.xml:3:1: <block> PID is not read here"),
        ('<block localId="5" typeName="TNO" instanceName="x"/>' + shape("coil", "6", "%QX0.0", "5"),
         "l.xml:3:1: <block> TNO is not read here (nearest: TON)"),
        (shape("coil", "6", "%QX0.0", "0", forced="true"), "l.xml:3:1: 'forced' of <coil> is not read here"),
        (shape("coil", "6", "%QX0.0", "0", storage="sett"), "l.xml:3:1: 'storage' of <coil> is 'sett' (nearest: set)"),
        (shape("coil", "6", "%QX0.0", "0", storage="set", negated="true"),
         "l.xml:3:1: a coil that is two of negated, edge and set or reset is not read here"),
        (shape("coil", "6", "%QX0.0", "7"), "nothing here has the localId 7"),
        (shape("coil", "6", "%QX0.0"), "l.xml:3:1: coil %QX0.0 is connected to nothing on its left"),
        (shape("contact", "6", "%IX0.0", "0"), "l.xml:3:1: contact %IX0.0 leads nowhere"),
        (shape("coil", "6", "lamp", "0"), "lamp is not declared"),
        (shape("coil", "6", "%IX0.0", "0"), "%IX0.0 is an input; a program can only read it"),
        (shape("coil", "6", "a b", "0"), "'a b' is not an expression of Structured Text"),
        (shape("coil", "6", "1", "0"), "'1' is not a variable"),
        (shape("coil", "6", "%QX0.0", "0") * 2, "l.xml:4:1: localId 6 is given twice, first on line 3"),
        (shape("contact", "1", "%IX0.0", "2") + shape("contact", "2", "%IX0.1", "1") + shape("coil", "3", "%QX0.0", "2"),
         "is fed by itself round a loop of conductors"),
        ('<connector name="x" localId="5"><connectionPointIn><connection refLocalId="0"/></connectionPointIn></connector>',
         "l.xml:3:1: no continuation is called 'x', so this connector leads nowhere"),
        (shape("coil", "6", "%QX0.0", "0", executionOrderId="1") + shape("coil", "7", "%QX0.1", "0"),
         "l.xml:4:1: coil %QX0.1 has no executionOrderId, others have"),
        ('<block localId="5" typeName="TON"/>', "l.xml:3:1: <block> TON has no instanceName"),
        ('<addData><data name="maker" handleUnknown="implementation"/></addData>',
         "l.xml:3:10: <addData> of maker is not read here"),
    ],
)  # fmt: skip
def test_what_is_not_read_is_named_with_its_place(elements: str, says: str) -> None:
    found = told(project(elements))
    assert any(says in line for line in found), found


def test_every_refused_element_of_a_file_is_told_at_once() -> None:
    assert len(told(project('<jump localId="5"/>\n<label localId="6"/>\n<return localId="7"/>'))) == 3


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ("<LD>", "<FBD/><LD>", "<FBD> in <body> is not read here"),
        ('pouType="program"', 'pouType="functionBlock"', "<pou> functionBlock belt is not read here"),
        ("<BOOL/>", "<REAL/>", "REAL is not a type known here"),
        ("<localVars>", "<inputVars/><localVars>", "<inputVars> in <interface> is not read here"),
        ('xmlns="http://www.plcopen.org/xml/tc6_0201"', 'xmlns="urn:other"', "read here is <project> of http://"),
        ("%IX0.0", "%IW0", "%IW0 is not the address of a bit"),
        ("<dataTypes/>", '<dataTypes><dataType name="t"/></dataTypes>', "<dataType> in <dataTypes> is not read here"),
    ],
)  # fmt: skip
def test_what_surrounds_a_ladder_is_not_passed_over_either(before: str, after: str, says: str) -> None:
    found = told(BELT.replace(before, after, 1))
    assert any(says in line for line in found), found


def test_a_misspelt_variable_is_told_with_the_nearest() -> None:
    (line,) = told(BELT.replace("<variable>estop_ok<", "<variable>estop_of<"))
    assert re.fullmatch(r"l\.xml:29:15: estop_of is not declared \(nearest: estop_ok\)", line), line


IEC_BELT = (LADDERS / "belt-iec.xml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("elements", "says"),
    [
        ('<FbdObject xsi:type="Jump" label="on"/>', "l.xml:3:1: <FbdObject Jump> in <Rung> is not read here"),
        ('<FbdObject xsi:type="Return"/>', "l.xml:3:1: <FbdObject Return> in <Rung> is not read here"),
        ('<LdObject xsi:type="CompareContact"/>', "l.xml:3:1: <LdObject CompareContact> in <Rung> is not read here"),
        ('<LdObject xsi:type="Kontact"/>', "<LdObject Kontact> in <Rung> is not read here (nearest: LdObject Contact)"),
        ('<LdObject operand="%QX0.0"/>', "l.xml:3:1: <LdObject> in <Rung> is not read here"),
        # The words of the other dialect are not words of this one.
        ('<coil localId="6"><connectionPointIn><connection refLocalId="0"/></connectionPointIn></coil>',
         "l.xml:3:1: <coil> in <Rung> is not read here"),
        (iec_shape("coil", "6", "%QX0.0", "0", forced="true"), "l.xml:3:1: 'forced' of <LdObject Coil> is not read here"),
        (iec_shape("coil", "6", "%QX0.0", "0").replace("operand=", 'storage="set" operand='),
         "l.xml:3:1: 'storage' of <LdObject Coil> is not read here"),
        (iec_shape("coil", "6", "%QX0.0", "0", latch="sett"), "'latch' of <LdObject Coil> is 'sett' (nearest: set)"),
        (iec_shape("contact", "6", "%IX0.0", "0", latch="set"), "'latch' of <LdObject Contact> is not read here"),
        (iec_shape("coil", "6", "%QX0.0", "7"), "nothing in this rung has the connectionPointOutId 7"),
        (iec_shape("coil", "6", "%QX0.0", ""), "this has no refConnectionPointOutId"),
        (iec_shape("coil", "6", "%QX0.0"), "l.xml:3:1: Coil %QX0.0 is connected to nothing on its left"),
        (iec_shape("contact", "6", "%IX0.0", "0"), "l.xml:3:1: Contact %IX0.0 leads nowhere"),
        (iec_shape("coil", "6", "%QX0.0", "0").replace('operand="%QX0.0"', ""), "this LdObject Coil has no operand"),
        (iec_shape("coil", "0", "%QX0.0", "0"), "connectionPointOutId 0 is given twice in this rung"),
        (iec_shape("coil", "6", "%QX0.0", "0").replace("<ConnectionPointIn>", '<ConnectionPointIn negated="true">'),
         "'negated' of <ConnectionPointIn> is not read here"),
        (iec_shape("coil", "6", "%QX0.0", "0").replace("<LdObject", '<m:LdObject xmlns:m="urn:maker"').replace("</L", "</m:L"),
         "<LdObject Coil> in <Rung> is not read here"),
        ('<FbdObject xsi:type="Block" typeName="TON"><InputVariables/></FbdObject>', "<FbdObject Block> TON has no instanceName"),
        ('<AddData><Data name="maker" handleUnknown="implementation"/></AddData>',
         "l.xml:3:10: <AddData> of maker is not read here"),
    ],
)  # fmt: skip
def test_what_is_not_read_of_iec_61131_10_is_named_in_its_own_words_with_its_place(elements: str, says: str) -> None:
    found = told(iec_project(iec_rung(elements)))
    assert any(says in line for line in found), found


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ('xsi:type="LD"', 'xsi:type="FBD"', "<BodyContent FBD> in <MainBody> is not read here (nearest: BodyContent LD)"),
        ("<Program name", '<FunctionBlock name="f"/><Program name', "<FunctionBlock> f is not read here"),
        ('<Vars accessSpecifier="private">', "<Vars><Access/>", "<Access> in <Vars> is not read here"),
        ("<TypeName>BOOL</TypeName>", '<InstantlyDefinedType xsi:type="ArrayTypeSpec"/>', "ArrayTypeSpec is not a type"),
        ("<TypeName>BOOL</TypeName>", "<TypeName>REAL</TypeName>", "REAL is not a type known here"),
        ('<Address address="%IX0.0"/>', '<Address address="%IX0.0" unit="2"/>', "<Address> in <Variable> is not read here"),
        ('<Address address="%IX0.0"/>', '<Address address="%IX0.0"/>' * 2, "<Address> in <Variable> is not read here"),
        ('evaluationOrder="3"', 'evaluationOrder="2"', "evaluationOrder 2 is given twice"),
        ('evaluationOrder="3"', "", "evaluationOrder '' of <Rung> is not a number"),
        ("www.iec.ch/public/TC65SC65BWG7TF10", "urn:other", "or <Project> of www.iec.ch/public/TC65SC65BWG7TF10"),
        ('operand="estop_ok"', 'operand="estop_of"', "estop_of is not declared (nearest: estop_ok)"),
        ("<Types>", "<!DOCTYPE p><Types>", "this is not XML"),
        ('<?xml version="1.0" encoding="utf-8"?>', "<!DOCTYPE Project>", "a DOCTYPE is not read"),
        ("the chain of the stops", "&chain;", "undefined entity"),
    ],
)  # fmt: skip
def test_what_surrounds_rungs_is_not_passed_over_either(before: str, after: str, says: str) -> None:
    found = told(IEC_BELT.replace(before, after, 1))
    assert any(says in line for line in found), found


def test_a_circle_written_as_1_is_a_circle() -> None:
    """XML Schema part 2: the truth values are true, false, 1 and 0."""
    for one in (shape("coil", "6", "%QX0.0", "0", negated="1"), shape("coil", "6", "%QX0.0", "0", negated="true")):
        read = program(project(one))
        assert scan(read, start(read, cold=True), {}, 0).outputs == {"%QX0.0": False}


def test_a_rung_that_a_marker_carries_on_runs_at_its_own_number() -> None:
    """The lamp of rung 3 sees what rung 2 has made of the bit, though the power comes from rung 1."""
    sends = '<CommonObject xsi:type="Connector" label="on"><ConnectionPointIn><Connection refConnectionPointOutId="0"/></ConnectionPointIn></CommonObject>'
    takes = (
        '<CommonObject xsi:type="Continuation" label="on"><ConnectionPointOut connectionPointOutId="1"/></CommonObject>'
    )
    first, last = (
        iec_rung(sends, 1),
        iec_rung(takes + iec_shape("contact", "2", "%MX0.0", "1") + iec_shape("coil", "3", "%QX0.0", "2"), 3),
    )
    read = program(iec_project(first + iec_rung(iec_shape("coil", "3", "%MX0.0", "0"), 2) + last))
    assert scan(read, start(read, cold=True), {}, 0).outputs == {"%QX0.0": True}


# ------------------------------------------------------------------------------------------------------- hostile files


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('<!DOCTYPE p [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><project>&b;</project>', "a DOCTYPE is not read"),
        ('<!DOCTYPE p SYSTEM "file:///etc/passwd"><project/>', "a DOCTYPE is not read"),
        ("<project>&other;</project>", "undefined entity"),
        ("<project>", "not XML"),
        ("", "not XML"),
        (b"\xff\xfe\x00<", "not XML"),
        ('<?xml version="1.0" encoding="klingon"?><project/>', "unknown encoding"),
        ('<?xml version="1.0" encoding="utf-7"?><project/>', "not XML"),
        ("<a>" * 5000, "nested more than 100 deep"),
        ("<a>\ud800</a>", "not XML"),
    ],
)
def test_a_document_type_an_entity_and_a_broken_file_are_refused_in_one_line(text: str | bytes, says: str) -> None:
    (line,) = told(text)
    assert says in line
    assert line.startswith("l.xml:1:")


def test_no_prefix_of_a_file_is_taken_for_a_program() -> None:
    whole = len(BELT.rstrip())
    for end in range(0, whole, 97):
        assert isinstance(read_ladder(BELT[:end], "l.xml"), tuple), end


@settings(deadline=None, max_examples=150)
@given(st.sampled_from(sorted(LADDERS.glob("*.xml"))), st.data())
def test_whatever_is_damaged_in_a_file_is_read_or_told_with_its_place(path: Path, data: st.DataObject) -> None:
    pieces = re.split(r"(<[^>]+>|\"[^\"]*\")", path.read_text(encoding="utf-8"))
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(pieces) - 1))
        other = data.draw(
            st.sampled_from([*pieces, "", "<coil/>", "<variable/>", '"-1"', '"1e9"', '"nan"', "0", "TON"])
        )
        pieces[at] = other
    found = read_ladder("".join(pieces), "l.xml")
    assert isinstance(found, Program) or (found and all(problem.at.line >= 1 for problem in found))


def test_a_rung_of_a_thousand_contacts_is_read_and_one_that_nobody_could_read_is_refused() -> None:
    chain = "".join(shape("contact", str(k), "%IX0.0", str(k - 1)) for k in range(1, 1001))
    assert isinstance(program(project(chain + shape("coil", "x", "%QX0.0", "1000"))), Program)
    # Each contact fed by the two before it: written out, the ways grow as Fibonacci's numbers do.
    web = shape("contact", "1", "%IX0.0", "0") + "".join(
        shape("contact", str(k), "%IX0.0", str(k - 1), str(k - 2)) for k in range(2, 60)
    )
    found = told(project(web + shape("coil", "x", "%QX0.0", "59")))
    assert "left of here" in found[0]


def test_the_reader_of_xml_is_not_loaded_before_a_ladder_is_read(fresh_python: Callable[[str], str]) -> None:
    loaded = fresh_python("import troubleshoot.program.plcopen, sys; print(*sys.modules)").split()
    assert "defusedxml" not in loaded


# ---------------------------------------------------------------------------------------- power followed, scan by scan


class Followed:
    """Power followed from the rail: what a ladder is, whatever anybody makes of it."""

    def __init__(self, ladder: list[Drawn], order: list[list[int]]) -> None:
        self.ladder = ladder
        self.order = order
        self.image = dict.fromkeys(DRIVEN, False)
        self.latched: dict[int, bool] = {}
        # An edge element has seen nothing yet: the standard's M, FALSE at a cold start.
        self.seen = {k: each.how.get("edge") == "falling" for k, each in enumerate(ladder) if "edge" in each.how}

    def scan(self, inputs: dict[str, bool]) -> dict[str, bool]:
        self.image |= inputs
        passed: dict[int, bool] = {0: True}
        for k in (k for part in self.order for k in part):
            each = self.ladder[k]
            if each.kind == "coil":
                self.coil(k, each, any(self.power(feed, passed) for feed in self.upstream_first(each, passed)))
            elif each.kind == "latch":
                sets, resets = (self.power(feed, passed) for feed in each.feeds)
                resets = resets != ("negated" in each.how)
                # The standard's SR: set wins.
                self.latched[k] = sets or (self.latched.get(k, False) and not resets)
        return {name: self.image[name] for name in DRIVEN if name.startswith("%Q")}

    def upstream_first(self, each: Drawn, passed: dict[int, bool]) -> list[int]:
        for feed in each.feeds:  # every way is looked at, whichever carries power first
            self.power(feed, passed)
        return each.feeds

    def power(self, k: int, passed: dict[int, bool]) -> bool:
        if self.ladder[k].kind == "latch":
            return self.latched.get(k, False)
        if k not in passed:
            each = self.ladder[k]
            arrives = [self.power(feed, passed) for feed in each.feeds]
            if each.kind == "function":
                one, other = arrives[0], arrives[1] != ("negated" in each.how)
                passed[k] = {"AND": one and other, "OR": one or other, "XOR": one != other}[each.of]
                return passed[k]
            passed[k] = any(arrives) and (each.kind != "contact" or self.closed(k, each))
            if each.kind == "contact" and not any(arrives):
                self.closed(k, each)  # an edge is watched without power too
        return passed[k]

    def closed(self, k: int, each: Drawn) -> bool:
        on = self.image[each.of]
        if "edge" in each.how:
            return self.edge(k, each, on)
        return on != (each.how.get("negated") == "true")

    def edge(self, k: int, each: Drawn, on: bool) -> bool:
        rising = each.how["edge"] == "rising"
        before, self.seen[k] = self.seen[k], on
        if rising:
            return on and not before
        return before and not on

    def coil(self, k: int, each: Drawn, flow: bool) -> None:
        if "storage" in each.how:
            if flow:
                self.image[each.of] = each.how["storage"] == "set"
        elif "edge" in each.how:
            self.image[each.of] = self.edge(k, each, flow)
        else:
            self.image[each.of] = flow != (each.how.get("negated") == "true")


@settings(max_examples=200, deadline=None)
@given(
    ladders(), st.randoms(use_true_random=False),
    st.lists(st.fixed_dictionaries({name: st.booleans() for name in INPUTS}), min_size=1, max_size=8),
)  # fmt: skip
def test_a_ladder_in_either_dialect_does_what_power_does_in_it_and_so_does_its_text(
    ladder: list[Drawn], dice: Any, steps: list[dict[str, bool]]
) -> None:
    order = networks(ladder)
    dice.shuffle(order)
    read = program(tc6_file(ladder, order))
    assert program(iec_file(ladder, order)).statements == read.statements
    printed = parse_program(program_text(program(iec_file(ladder, order))), "printed")
    assert printed == parse_program(program_text(read), "printed") == read
    assert isinstance(printed, Program)
    power = Followed(ladder, order)
    memory = again = start(read, cold=True)
    for inputs in steps:
        expected = power.scan(inputs)
        result, text = scan(read, memory, inputs, 0), scan(printed, again, inputs, 0)
        memory, again = result.memory, text.memory
        assert {name: expected[name] for name in result.outputs} == result.outputs == text.outputs
