"""The same ladder written in both dialects of XML, for the tests: elements that know their conductors, and two pens.

Both pens were written from the published schemas (PLCopen TC6 XML 2.01, IEC 61131-10:2019), from memory, by no editor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from hypothesis import strategies as st

IEC = "www.iec.ch/public/TC65SC65BWG7TF10"


@dataclass
class Drawn:
    """An element of a ladder: rail, contact, coil, marker (connector and continuation), function or latch."""

    kind: str
    of: str
    feeds: list[int]
    how: dict[str, str] = field(default_factory=dict)


def project(elements: str, variables: str = "") -> str:
    """The least file of TC6 that holds a ladder; the ladder begins on line 2."""
    return (
        '<project xmlns="http://www.plcopen.org/xml/tc6_0201"><types><pous><pou name="p" pouType="program"><interface>'
        f"<localVars>{variables}</localVars></interface><body><LD>\n"
        '<leftPowerRail localId="0"><connectionPointOut/></leftPowerRail>\n'
        f"{elements}</LD></body></pou></pous></types></project>"
    )


def shape(kind: str, name: str, of: str, *feeds: str, y: int = 0, **how: str) -> str:
    """A contact or coil of the variable `of` in TC6, fed from the elements named."""
    said = "".join(f' {word}="{value}"' for word, value in how.items())
    wires = "".join(f'<connection refLocalId="{feed}"/>' for feed in feeds)
    return (
        f'<{kind} localId="{name}"{said}><position x="0" y="{y}"/><connectionPointIn>{wires}</connectionPointIn>'
        f"<connectionPointOut/><variable>{of}</variable></{kind}>\n"
    )


def iec_project(rungs: str, variables: str = "") -> str:
    """The least file of IEC 61131-10 that holds rungs; they begin on line 2."""
    return (
        f'<Project xmlns="{IEC}" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"><Types><GlobalNamespace>'
        f'<Program name="p"><Vars accessSpecifier="private">{variables}</Vars><MainBody><BodyContent xsi:type="LD">\n'
        f"{rungs}</BodyContent></MainBody></Program></GlobalNamespace></Types></Project>"
    )


def iec_rung(elements: str, number: int = 1) -> str:
    """A rung with its left rail, whose end has the number 0; its elements begin on the next line."""
    rail = '<LdObject xsi:type="LeftPowerRail"><ConnectionPointOut connectionPointOutId="0"/></LdObject>'
    return f'<Rung evaluationOrder="{number}">{rail}\n{elements}</Rung>'


def iec_wires(*feeds: str) -> str:
    wires = "".join(f'<Connection refConnectionPointOutId="{feed}"/>' for feed in feeds)
    return f"<ConnectionPointIn>{wires}</ConnectionPointIn>"


def iec_shape(kind: str, name: str, of: str, *feeds: str, **how: str) -> str:
    """A contact or coil of the variable `of` in IEC 61131-10; `name` is the number of its right end."""
    said = "".join(f' {"latch" if word == "storage" else word}="{value}"' for word, value in how.items())
    return (
        f'<LdObject xsi:type="{kind.capitalize()}" operand="{of}"{said}><RelPosition x="0" y="0"/>{iec_wires(*feeds)}'
        f'<ConnectionPointOut connectionPointOutId="{name}"/></LdObject>\n'
    )


# ------------------------------------------------------------------------------------------------- a whole ladder

ACTS = ("coil", "latch")


def networks(ladder: Sequence[Drawn]) -> list[list[int]]:
    """Elements that hang together otherwise than by the rail (number 0), each network in the order of the file."""
    found: list[set[int]] = []
    for k, each in enumerate(ladder):
        if k:
            touching = [part for part in found if part & set(each.feeds)]
            found = [part for part in found if part not in touching] + [set().union({k}, *touching)]
    return sorted(map(sorted, found))


def tc6_file(ladder: Sequence[Drawn], order: Sequence[list[int]]) -> str:
    """Networks in `order`; every coil and latch has its number."""
    text, acting = "", 0
    out = {k: str(k) for k in range(len(ladder))} | {
        k: f"m{k}" for k, each in enumerate(ladder) if each.kind == "marker"
    }
    pins = {k: ' formalParameter="Q1"' for k, each in enumerate(ladder) if each.kind == "latch"}

    def wires(feeds: Sequence[int]) -> str:
        joined = "".join(f'<connection refLocalId="{out[feed]}"{pins.get(feed, "")}/>' for feed in feeds)
        return f"<connectionPointIn>{joined}</connectionPointIn>"

    for k in (k for part in order for k in part):
        each, number = ladder[k], ""
        if each.kind in ACTS:
            acting += 1
            number = f' executionOrderId="{acting}"'
        said = "".join(f' {word}="{value}"' for word, value in each.how.items())
        match each.kind:
            case "marker":
                text += f'<connector localId="{k}" name="to{k}">{wires(each.feeds)}</connector>\n'
                text += f'<continuation localId="m{k}" name="to{k}"><connectionPointOut/></continuation>\n'
            case "function" | "latch":
                names = ("S1", "R") if each.kind == "latch" else ("IN1", "IN2")
                inputs = "".join(
                    f'<variable formalParameter="{name}"{said if name in ("R", "IN2") else ""}>{wires([feed])}</variable>'
                    for name, feed in zip(names, each.feeds, strict=True)
                )
                what = f' typeName="SR" instanceName="l{k}"' if each.kind == "latch" else f' typeName="{each.of}"'
                text += f'<block localId="{k}"{what}{number}><inputVariables>{inputs}</inputVariables><inOutVariables/>'
                text += '<outputVariables><variable formalParameter="Q1"><connectionPointOut/></variable></outputVariables></block>\n'
            case _:
                text += f'<{each.kind} localId="{k}"{said}{number}>{wires(each.feeds)}<connectionPointOut/>'
                text += f"<variable>{each.of}</variable></{each.kind}>\n"
    latches = [k for k, each in enumerate(ladder) if each.kind == "latch"]
    return project(
        text, "".join(f'<variable name="l{k}"><type><derived name="SR"/></type></variable>' for k in latches)
    )


def iec_file(ladder: Sequence[Drawn], order: Sequence[list[int]]) -> str:
    """One rung a network, numbered in `order` and standing in the file backwards."""
    rungs = []
    for number, part in enumerate(order, 1):
        text = ""
        for k in part:
            each = ladder[k]
            feeds = [str(feed) for feed in each.feeds]
            said = "".join(f' {word}="{value}"' for word, value in each.how.items())
            end = f'<ConnectionPointOut connectionPointOutId="{k}"/>'
            match each.kind:
                case "marker":
                    text += f'<CommonObject xsi:type="Connector" label="to{k}">{iec_wires(*feeds)}</CommonObject>\n'
                    text += f'<CommonObject xsi:type="Continuation" label="to{k}">{end}</CommonObject>\n'
                case "function" | "latch":
                    names = ("S1", "R") if each.kind == "latch" else ("IN1", "IN2")
                    inputs = "".join(
                        f'<InputVariable parameterName="{name}"{said if name in ("R", "IN2") else ""}>{iec_wires(feed)}</InputVariable>'
                        for name, feed in zip(names, feeds, strict=True)
                    )
                    what = f' typeName="SR" instanceName="l{k}"' if each.kind == "latch" else f' typeName="{each.of}"'
                    text += (
                        f'<FbdObject xsi:type="Block"{what}><InOutVariables/><InputVariables>{inputs}</InputVariables>'
                    )
                    text += f'<OutputVariables><OutputVariable parameterName="Q1">{end}</OutputVariable></OutputVariables></FbdObject>\n'
                case _:
                    text += iec_shape(each.kind, str(k), each.of, *feeds, **each.how)
        rungs.append(iec_rung(text, number))
    latches = [k for k, each in enumerate(ladder) if each.kind == "latch"]
    declared = "".join(f'<Variable name="l{k}"><Type><TypeName>SR</TypeName></Type></Variable>' for k in latches)
    return iec_project("".join(reversed(rungs)), declared)


HOW_CONTACT: list[dict[str, str]] = [{}, {}, {"negated": "true"}, {"edge": "rising"}, {"edge": "falling"}]
HOW_COIL: list[dict[str, str]] = [
    {}, {}, {"negated": "true"}, {"storage": "set"}, {"storage": "reset"}, {"edge": "rising"}, {"edge": "falling"},
]  # fmt: skip
INPUTS = ["%IX0.0", "%IX0.1", "%IX0.2"]
DRIVEN = ["%QX0.0", "%QX0.1", "%MX0.0"]


@st.composite
def ladders(draw: Any) -> list[Drawn]:
    """Elements in the order of the file; number 0 is the left rail. Conductors run anywhere from left to right."""
    found = [Drawn("rail", "", [])]
    kinds = ["contact", "contact", "contact", "contact", "coil", "coil", "marker", "function", "latch"]
    for _ in range(draw(st.integers(1, 9))):
        kind = draw(st.sampled_from(kinds))
        pins = kind in ("function", "latch")
        most = 2 if pins else 3
        feeds = draw(
            st.lists(st.integers(0, len(found) - 1), min_size=most if pins else 1, max_size=most, unique=not pins)
        )
        match kind:
            case "contact":
                of, how = draw(st.sampled_from([*INPUTS, *DRIVEN])), draw(st.sampled_from(HOW_CONTACT))
            case "coil":
                of, how = draw(st.sampled_from(DRIVEN)), draw(st.sampled_from(HOW_COIL))
            case _:
                of = draw(st.sampled_from(["AND", "OR", "XOR"]))
                how = draw(st.sampled_from([{}, {"negated": "true"}])) if pins else {}
        found.append(Drawn(kind, of, feeds, how))
    fed = {feed for each in found for feed in each.feeds}
    loose = [k for k, each in enumerate(found) if k and each.kind not in ("coil", "latch") and k not in fed]
    found.append(Drawn("coil", "%QX0.0", loose or [0], draw(st.sampled_from(HOW_COIL))))
    return found
