"""A ladder program from PLCopen XML or IEC 61131-10 to the same `Program` that text gives.

Source: PLCopen technical committee 6, XML formats for IEC 61131-3, schema 2.01 (and 2.0), and IEC 61131-10:2019 with its own
schema, both from memory; `dialects` has what each calls things, and there is one reader for both. What is read is one program in ladder (LD): its variables, contacts, coils, blocks, connectors and continuations. Whatever else a file holds
that could change what the program does is named with its place and the file refused; only drawing (sizes, positions,
comments) is passed over.

Every coil becomes one statement. Networks are worked off from top to bottom, inside one each element after those it is fed
from (IEC 61131-3, evaluation of networks); `executionOrderId` and the `evaluationOrder` of a rung win where the file has them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Final

from troubleshoot.program.checking import check
from troubleshoot.program.dialects import DIALECTS, DRAWING, dialect_of, in_tc6_words
from troubleshoot.program.drawn import Told
from troubleshoot.program.grammar import Parsed
from troubleshoot.program.model import Constant, Program, Variable
from troubleshoot.program.rungs import Ladder
from troubleshoot.program.running import build
from troubleshoot.program.tokens import KEYWORDS
from troubleshoot.text.problem import Problem, in_file_order, nearest
from troubleshoot.text.xmlnodes import Element, read_xml


def read_ladder(text: str | bytes, file: str, first_line: int = 1) -> Program | tuple[Problem, ...]:
    """A program from PLCopen XML or IEC 61131-10, ready to scan.

    text: the whole file. file, first_line: for messages, where the text stands. Returns the program, or its problems in
    file order, each with line and column of the element. A document type or an entity is refused. Raises nothing.
    """
    root = read_xml(text, file, first_line)
    if isinstance(root, Problem):
        return (root,)
    dialect = dialect_of(root)
    if dialect is None:
        read = " or ".join(f"<{d.root}> of {d.spaces[0]}" for d in DIALECTS)
        return (
            Problem(
                root.at, f"the first element is <{root.said}> of {root.space or 'no namespace'}; read here is {read}"
            ),
        )
    problems: list[Problem] = []
    parsed = _Project(problems, dialect).program(in_tc6_words(root, dialect))
    if parsed is None or problems:
        return in_file_order(problems)
    variables, statements = check(parsed, problems)
    if problems:
        return in_file_order(problems)
    return build(parsed.name, variables, statements)


class _Project(Told):
    """Finds the one program of a file and its variables; what is not read becomes a problem."""

    def program(self, root: Element) -> Parsed | None:
        self.only(root, "fileHeader", "contentHeader", "types", "instances")
        shared = self._instances(root.first("instances"))
        types = root.first("types")
        if types is None:
            self.say(root.at, f"there is no <{self.spelt('project', 'types')}>, so no program")
            return None
        self.only(types, "dataTypes", "pous")
        for kinds in types.all("dataTypes"):
            self.only(kinds)
        pous = [pou for group in types.all("pous") for pou in _units(group)]
        programs = []
        for pou in pous:
            if pou.name == "pou" and all(pou.attributes.get(k) == v for k, v in self.dialect.program.items()):
                programs.append(pou)
            else:
                what = f"{pou.attributes.get('pouType', '')} {pou.attributes.get('name', '')}".strip()
                self.say(pou.at, f"<{pou.said}> {what} is not read here; only one program is".replace("  ", " "))
        for extra in programs[1:]:
            self.say(extra.at, f"a second program, {extra.attributes.get('name', '')}; only one is read")
        if not programs:
            what = " ".join(
                (f"<{self.spelt('pous', 'pou')}>", *(f"of {k} {v}" for k, v in self.dialect.program.items()))
            )
            self.say(types.at, f"there is no {what}")
            return None
        return self._pou(programs[0], shared)

    def _instances(self, instances: Element | None) -> dict[str, Variable]:
        """Variables that configurations and resources share, by lower-case name."""
        if instances is None:
            return {}
        self.only(instances, "configurations", "configuration")
        shared: dict[str, Variable] = {}
        runs: list[Element] = []
        for group in (instances, *instances.all("configurations")):
            for configuration in group.all("configuration"):
                self.only(configuration, "resource", "globalVars")
                for resource in (configuration, *configuration.all("resource")):
                    if resource is not configuration:
                        self.only(resource, "task", "globalVars", "pouInstance")
                        runs += [*resource.all("pouInstance"), *(p for t in resource.all("task") for p in t.children)]
                    for variables in resource.all("globalVars"):
                        shared |= {v.name.lower(): v for v in self._variables(variables)}
        runs = [run for run in runs if run.name == "pouInstance"]
        for again in runs[1:]:
            self.say(
                again.at, f"a second <{again.said}>, {again.attributes.get('name', '')}; one program runs once here"
            )
        return shared

    def _pou(self, pou: Element, shared: Mapping[str, Variable]) -> Parsed | None:
        # IEC 61131-10 has the variables in the program itself, TC6 in an interface of its own.
        own = self.dialect.inside is not None
        self.only(pou, *(("localVars", "externalVars") if own else ("interface",)), "body")
        variables: list[Variable] = []
        for interface in (pou,) if own else pou.all("interface"):
            if interface is not pou:
                self.only(interface, "localVars", "externalVars")
            for part in interface.children:
                if part.name == "localVars":
                    variables += self._variables(part)
                elif part.name == "externalVars":
                    for external in self._variables(part):
                        known = shared.get(external.name.lower())
                        if known is None:
                            near = nearest(external.name, [v.name for v in shared.values()])
                            self.say(
                                external.at, f"{external.name} is external, and no global variable is called so", near
                            )
                        variables.append(external if known is None else known)
        bodies = list(pou.all("body"))
        if len(bodies) != 1:
            self.say(
                bodies[1].at if bodies else pou.at,
                f"a program has one <{self.spelt('pou', 'body')}>, this has {len(bodies)}",
            )
            return None
        self.only(bodies[0], "LD")
        ladder = bodies[0].first("LD")
        if ladder is None:
            if not bodies[0].children:
                self.say(
                    bodies[0].at,
                    f"the <{bodies[0].said}> is empty; read here is a ladder, <{self.spelt('body', 'LD')}>",
                )
            return None
        rungs = Ladder(self, ladder, variables)
        statements = rungs.statements()
        return Parsed(pou.attributes.get("name", ""), (*variables, *rungs.made), statements)

    def _variables(self, group: Element) -> list[Variable]:
        self.only(group, "variable", attributes=_QUALIFIERS)
        retain, constant = (group.attributes.get(word) == "true" for word in ("retain", "constant"))
        found = []
        for variable in group.all("variable"):
            self.only(variable, "type", "initialValue", attributes=("name", "address"))
            name = variable.attributes.get("name", "")
            if not _is_name(name):
                self.say(variable.at, f"{name[:30]!r} is not the name of a variable")
                continue
            kind = self._type(variable, name)
            value = self._initial(variable)
            placed = variable.attributes.get("address", "")
            found.append(Variable(name, kind, placed, value, retain, constant, variable.at))
        return found

    def _type(self, variable: Element, name: str) -> str:
        kinds = [kind for part in variable.all("type") for kind in part.children]
        if len(kinds) != 1:
            self.say(variable.at, f"{name} has no type")
            return "BOOL"
        (kind,) = kinds
        return (kind.attributes.get("name") or kind.text or "?") if kind.name == "derived" else kind.said

    def _initial(self, variable: Element) -> Constant | None:
        for given in variable.all("initialValue"):
            self.only(given, "simpleValue")
            for simple in given.all("simpleValue"):
                value = self.expression(simple.attributes.get("value", ""), simple.at)
                if isinstance(value, Constant):
                    return value
                if value is not None:
                    self.say(simple.at, "an initial value is a constant")
        return None


_QUALIFIERS: Final = ("name", "retain", "constant", "nonretain", "nonpersistent", "accessSpecifier")


def _units(group: Element) -> Iterator[Element]:
    """What stands in a group of units, and in the groups inside it: each namespace of IEC 61131-10 is one."""
    for child in group.children:
        if child.name == "pous":
            yield from _units(child)
        elif child.name not in DRAWING:
            yield child


def _is_name(text: str) -> bool:
    return re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", text) is not None and text.upper() not in KEYWORDS
