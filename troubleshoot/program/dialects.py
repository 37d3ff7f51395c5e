"""The two spellings of a ladder in XML, each a small table of names, brought to one.

PLCopen TC6 2.01 (and 2.0) writes ``<contact localId="2"><variable>start</variable>``; IEC 61131-10:2019 has a schema of its
own and writes ``<LdObject xsi:type="Contact" operand="start">``, with the numbers at the ends of conductors instead of at
elements. Both schemas from memory. A reader asks by the words of TC6; messages keep the words of the file (`Element.said`).

A name that a table does not have at that place comes out under a word that no reader asks for, so it is told, not dropped.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from troubleshoot.text.xmlnodes import Element

UNKNOWN: Final = "!"
"""Before a name that is not in the table of its dialect; no name of XML has it."""
DRAWING: Final = frozenset(["position", "relPosition", "documentation", "comment", "addData"])
"""Elements that change nothing, wherever they stand."""
_TYPE: Final = "{http://www.w3.org/2001/XMLSchema-instance}type"

_TRUTH: Final = {"1": "true", "0": "false"}
"""The other two spellings of a truth value in XML Schema, part 2."""
_TRUTHS: Final = frozenset(["negated", "retain", "constant"])

Names = Mapping[str, Mapping[str, str]]
"""By the word of TC6 for an element: name in the file to the word of TC6."""


@dataclass(frozen=True, slots=True)
class Dialect:
    """How one schema spells what is read."""

    title: str
    root: str
    """Name of its first element."""
    spaces: tuple[str, ...]
    """Namespaces; the first one is told."""
    program: Mapping[str, str]
    """Attributes that make a unit a program."""
    inside: Names | None = None
    """What may stand inside an element: ``Name``, or ``Name Type`` where `xsi:type` says which. ``@address``: its attribute of
    that name is the parent's. None: spelt as TC6 does."""
    attributes: Names = field(default_factory=dict)
    """Attributes of an element. ``<variable>``: TC6 has a child of that name with this text."""
    numbers_at_ends: bool = False
    """A conductor names the end it comes from, numbered afresh in each rung; else an element, numbered once."""

    def spelt(self, inside: str, words: Iterable[str]) -> list[str]:
        """The file's names of children, for the nearest one."""
        if self.inside is None:
            return list(words)
        wanted = set(words)
        return [name for name, word in self.inside.get(inside, {}).items() if word in wanted]

    def attribute(self, of: str, word: str) -> str:
        """The file's name of an attribute (or of text that is one there)."""
        found = (name for name, meant in self.attributes.get(of, {}).items() if meant.strip("<>") == word)
        return next(found, word)


TC6: Final = Dialect(
    "PLCopen XML 2.01",
    "project",
    ("http://www.plcopen.org/xml/tc6_0201", "http://www.plcopen.org/xml/tc6_0200"),
    program={"pouType": "program"},
)

_HOW: Final = {"operand": "<variable>", "negated": "negated", "edge": "edge"}
_PIN: Final = {"parameterName": "formalParameter", "negated": "negated", "edge": "edge", "latch": "storage"}
_ENDS: Final = {"ConnectionPointIn": "connectionPointIn", "ConnectionPointOut": "connectionPointOut"}
_QUALIFIERS: Final = {
    "retain": "retain", "constant": "constant", "nonRetain": "nonretain", "accessSpecifier": "accessSpecifier",
}  # fmt: skip
_VARIABLES: Final = {"Variable": "variable"}
IEC: Final = Dialect(
    "IEC 61131-10",
    "Project",
    ("www.iec.ch/public/TC65SC65BWG7TF10",),
    program={},
    inside={
        "project": {
            "FileHeader": "fileHeader", "ContentHeader": "contentHeader", "Types": "types", "Instances": "instances",
        },
        "types": {"GlobalNamespace": "pous"},
        "pous": {"NamespaceDecl": "pous", "Program": "pou"},
        "pou": {"Vars": "localVars", "ExternalVars": "externalVars", "MainBody": "body"},
        "localVars": _VARIABLES, "externalVars": _VARIABLES, "globalVars": _VARIABLES,
        "variable": {"Type": "type", "Address": "@address", "InitialValue": "initialValue", **_ENDS},
        "type": {"TypeName": "derived"},
        "initialValue": {"SimpleValue": "simpleValue"},
        "body": {"BodyContent LD": "LD"},
        "LD": {"Rung": "rung"},
        "rung": {
            "LdObject LeftPowerRail": "leftPowerRail", "LdObject RightPowerRail": "rightPowerRail",
            "LdObject Contact": "contact", "LdObject Coil": "coil", "FbdObject Block": "block",
            "FbdObject DataSource": "inVariable", "FbdObject DataSink": "outVariable",
            "CommonObject Connector": "connector", "CommonObject Continuation": "continuation",
            "CommonObject Comment": "comment",
        },
        **dict.fromkeys(("leftPowerRail", "rightPowerRail", "contact", "coil"), _ENDS),
        **dict.fromkeys(("inVariable", "outVariable", "connector", "continuation"), _ENDS),
        "block": {
            "InputVariables": "inputVariables", "InOutVariables": "inOutVariables", "OutputVariables": "outputVariables",
        },
        "inputVariables": {"InputVariable": "variable"}, "outputVariables": {"OutputVariable": "variable"},
        "connectionPointIn": {"Connection": "connection"},
        "addData": {"Data": "data"},
        "instances": {"Configuration": "configuration"},
        "configuration": {"Resource": "resource", "GlobalVars": "globalVars"},
        "resource": {"Task": "task", "GlobalVars": "globalVars", "ProgramInstance": "pouInstance"},
    },
    attributes={
        "pou": {"name": "name"},
        "localVars": _QUALIFIERS, "externalVars": _QUALIFIERS, "globalVars": _QUALIFIERS,
        "variable": {"name": "name", **_PIN},
        "simpleValue": {"value": "value"},
        "rung": {"evaluationOrder": "evaluationOrder", "label": "label"},
        "contact": _HOW, "coil": {**_HOW, "latch": "storage"},
        "block": {"typeName": "typeName", "instanceName": "instanceName"},
        "inVariable": {"identifier": "<expression>"}, "outVariable": {"identifier": "<expression>"},
        "connector": {"label": "name", "name": "name"}, "continuation": {"label": "name", "name": "name"},
        "connectionPointOut": {"connectionPointOutId": "localId"},
        "connection": {"refConnectionPointOutId": "refLocalId"},
        "data": {"name": "name", "handleUnknown": "handleUnknown"},
        "position": {"x": "x", "y": "y"},
        "configuration": {"name": "name"}, "resource": {"name": "name"}, "pouInstance": {"name": "name"},
    },
    numbers_at_ends=True,
)  # fmt: skip
"""IEC 61131-10:2019, the part of its schema that a ladder of one program needs, from memory."""

_EVERYWHERE: Final = {
    "RelPosition": "position", "Size": "position", "Documentation": "documentation", "Comment": "comment",
    "AddData": "addData",
}  # fmt: skip
DIALECTS: Final = (TC6, IEC)


def dialect_of(root: Element) -> Dialect | None:
    """The dialect in which a file is written, by its first element."""
    return next((d for d in DIALECTS if root.name == d.root and root.space in d.spaces), None)


def in_tc6_words(root: Element, dialect: Dialect) -> Element:
    """The same elements under the words of TC6. What is of another namespace or not in the table becomes `UNKNOWN`."""
    return _under(replace(root, name="project"), dialect)


def _under(element: Element, dialect: Dialect) -> Element:
    """An element whose own name is meant already: its attributes and what stands in it."""
    attributes, made = _attributes(element, dialect)
    if element.name not in ("project", "addData") and element.name in DRAWING | {"fileHeader", "contentHeader"}:
        return replace(element, attributes=attributes, children=[])
    children: list[Element] = []
    for child in element.children:
        word, said = _word(element.name, child, dialect)
        if word.startswith("@"):
            name = word[1:]
            given = child.attributes.get(name)
            # An address with anything more to say is not one that is read here.
            if given is not None and len(child.attributes) == 1 and not child.children and name not in attributes:
                attributes[name] = given
                continue
            word = f"{UNKNOWN}{child.name}"
        meant = replace(child, name=word, said=said)
        children.append(replace(meant, children=[]) if word.startswith(UNKNOWN) else _under(meant, dialect))
    return replace(element, attributes=attributes, children=[*made, *children])


def _word(parent: str, child: Element, dialect: Dialect) -> tuple[str, str]:
    """What a child is in the words of TC6, and what messages call it."""
    if dialect.inside is None:
        foreign = child.space not in dialect.spaces and parent != "addData"
        return (f"{UNKNOWN}{child.name}" if foreign else child.name), child.name
    kind = child.attributes.get(_TYPE, "").rpartition(":")[2]
    said = f"{child.name} {kind}".strip()
    inside = dialect.inside.get(parent, {})
    word = inside.get(said) or _EVERYWHERE.get(said) or _EVERYWHERE.get(child.name)
    if word is None or (child.space not in dialect.spaces and parent != "addData"):
        word = f"{UNKNOWN}{child.name}"
    return word, said


def _attributes(element: Element, dialect: Dialect) -> tuple[dict[str, str], list[Element]]:
    """Attributes in the words of TC6, and the children that TC6 has instead of some."""
    if dialect.inside is None:
        return {name: _truth(name, value) for name, value in element.attributes.items()}, []
    words = dialect.attributes.get(element.name, {})
    attributes: dict[str, str] = {}
    made: list[Element] = []
    for name, value in element.attributes.items():
        word = words.get(name)
        if name in ("globalId", _TYPE):
            continue
        if word is None or word in attributes:
            attributes[f"{UNKNOWN}{name}"] = value
        elif word.startswith("<"):
            made.append(Element(word.strip("<>"), element.space, element.at, {}, [], value.strip(), said=name))
        else:
            attributes[word] = _truth(word, value)
    return attributes, made


def _truth(word: str, value: str) -> str:
    return _TRUTH.get(value, value) if word in _TRUTHS else value
