"""YAML as text: every scalar exactly as written, every node with its line and column.

PyYAML's parser gives the events, nothing of its typing is used: it would read wire ``010`` as 8, ``12:30`` as 750 and
contact ``NO`` as false. Only the plain part of the language is taken: no anchors, aliases, tags, merge keys,
directives or second documents. Built over an explicit stack, so that no depth of nesting can exhaust Python's own.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal, cast

import yaml

from troubleshoot.text.names import flaw_in_name
from troubleshoot.text.problem import MOST_PROBLEMS, Position, Problem, in_file_order

DEEPEST: Final = 50
LARGEST_BYTES: Final = 5_000_000
MOST_NODES: Final = 100_000
"""A 2,000-line circuit has about 15,000; a file of nothing but brackets must not take the memory."""

C_READER: Final[bool] = yaml.__with_libyaml__
"""False where PyYAML was built without its C parser: about seven times slower, same result; for `doctor`."""

_EXACT_MESSAGE_CHARS: Final = 50_000
"""Up to here a failed file is parsed again by the slow parser, whose messages and positions are better."""


@dataclass(frozen=True, slots=True)
class Text:
    """A scalar."""

    value: str
    """As written: ``NO``, ``010``, ``12:30`` stay text."""
    at: Position
    style: Literal["plain", "quoted", "block"] = "plain"

    @property
    def missing(self) -> bool:
        """Nothing was written (or ``~``, YAML's word for nothing)."""
        return self.style == "plain" and self.value in ("", "~")

    @property
    def first_line(self) -> int:
        """Line of the file on which the text itself starts: a block starts below its ``|``."""
        return self.at.line + (1 if self.style == "block" else 0)


@dataclass(frozen=True, slots=True)
class Seq:
    """A list."""

    items: tuple[Node, ...]
    at: Position


@dataclass(frozen=True, slots=True)
class Map:
    """Keys with values, in file order; no key is there twice."""

    entries: tuple[tuple[Text, Node], ...]
    at: Position

    def get(self, key: str) -> Node | None:
        """The value of `key`, or None. Reads the entries one by one: for maps of a few keys."""
        return next((value for name, value in self.entries if name.value == key), None)

    def key(self, key: str) -> Text | None:
        """The key itself, for its position."""
        return next((name for name, _ in self.entries if name.value == key), None)

    def keys(self) -> tuple[str, ...]:
        return tuple(name.value for name, _ in self.entries)

    def __iter__(self) -> Iterator[tuple[Text, Node]]:
        return iter(self.entries)


Node = Text | Seq | Map


@dataclass(frozen=True, slots=True)
class Composed:
    """What could be read, and what is wrong with it.

    A root beside problems is good enough to look for more mistakes in, never to use.
    """

    root: Node | None
    problems: tuple[Problem, ...]


def read_yaml(source: str | bytes, file: str) -> Node | tuple[Problem, ...]:
    """The root node of a YAML text, or all that is wrong with it (never an empty tuple). Raises nothing."""
    composed = compose(source, file)
    if composed.problems or composed.root is None:
        return composed.problems
    return composed.root


def compose(source: str | bytes, file: str) -> Composed:
    """As `read_yaml`, but keeps the root where the text can be read in spite of problems (a key given twice)."""
    text = _decoded(source, file)
    if not isinstance(text, str):
        return Composed(None, text)
    if not text.strip():
        return Composed(None, (Problem(Position(file, 1, 1), "the file is empty"),))
    builder = _Builder(file)
    try:
        for event in yaml.parse(text, Loader=_loader()):
            if not builder.take(event):
                break
    except yaml.YAMLError as error:
        builder.problems.append(_syntax(text, file, error))
        return Composed(None, in_file_order(builder.problems))
    if builder.root is None and not builder.problems:
        builder.problems.append(Problem(Position(file, 1, 1), "the file holds nothing but comments"))
    return Composed(builder.root, in_file_order(builder.problems))


def _loader() -> type[yaml.SafeLoader]:
    # The stubs do not say that both loaders have the same shape.
    return cast("type[yaml.SafeLoader]", yaml.CSafeLoader) if C_READER else yaml.SafeLoader


# -- bytes to text ----------------------------------------------------------------------------------------------------

_FORBIDDEN: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\ufffe\uffff]")


def _decoded(source: str | bytes, file: str) -> str | tuple[Problem, ...]:
    start = Position(file, 1, 1)
    if len(source) > LARGEST_BYTES:
        return (Problem(start, f"the file is larger than {LARGEST_BYTES // 1_000_000} MB"),)
    if isinstance(source, str):
        text = source
    else:
        for mark, name in (
            (b"\xff\xfe\x00\x00", "UTF-32"),
            (b"\x00\x00\xfe\xff", "UTF-32"),
            (b"\xff\xfe", "UTF-16"),
            (b"\xfe\xff", "UTF-16"),
        ):
            if source.startswith(mark):
                return (Problem(start, f"the file is {name} (byte 0 is 0x{source[0]:02X}); save it as UTF-8"),)
        try:
            text = source.decode("utf-8")
        except UnicodeDecodeError as error:
            before = source[: error.start].decode("utf-8")
            what = f"byte {error.start} is 0x{source[error.start]:02X}, which is not UTF-8; save the file as UTF-8"
            return (Problem(_position(file, before, len(before)), what),)
    text = text.removeprefix("\ufeff")
    if len(text.encode("utf-8", "surrogatepass")) > LARGEST_BYTES:
        return (Problem(start, f"the file is larger than {LARGEST_BYTES // 1_000_000} MB"),)
    return tuple(_forbidden(text, file)) or text


def _forbidden(text: str, file: str) -> list[Problem]:
    problems: list[Problem] = []
    byte = done = 0
    for found in _FORBIDDEN.finditer(text):
        code = ord(found.group())
        byte += len(text[done : found.start()].encode("utf-8", "surrogatepass"))
        done = found.start()
        name = "a NUL character" if code == 0 else f"a control character U+{code:04X}"
        hint = "; the file is damaged or not UTF-8" if code == 0 else ""
        problems.append(Problem(_position(file, text, done), f"{name} at byte {byte}{hint}"))
        if code == 0 or len(problems) == MOST_PROBLEMS:  # a NUL rarely comes alone
            break
    return problems


def _position(file: str, text: str, index: int) -> Position:
    """Line and column of a character of the text."""
    line = text.count("\n", 0, index) + text.count("\r", 0, index) - text.count("\r\n", 0, index)
    start = max(text.rfind("\n", 0, index), text.rfind("\r", 0, index)) + 1
    return Position(file, line + 1, index - start + 1)


# -- events to nodes --------------------------------------------------------------------------------------------------


class _Open:
    """A list or map whose end has not been seen."""

    __slots__ = ("at", "entries", "first", "is_map", "items", "key", "key_is_next", "skip_value")

    def __init__(self, at: Position, *, is_map: bool) -> None:
        self.at = at
        self.is_map = is_map
        self.items: list[Node] = []
        self.entries: list[tuple[Text, Node]] = []
        self.first: dict[str, Position] = {}
        self.key: Text | None = None
        self.key_is_next = True
        self.skip_value = False


class _Builder:
    """Turns events into nodes. `take` says whether to go on."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.root: Node | None = None
        self.problems: list[Problem] = []
        self.open: list[_Open] = []
        self.documents = 0
        self.nodes = 0

    def take(self, event: yaml.Event) -> bool:
        mark = event.start_mark
        at = Position(self.file, mark.line + 1, mark.column + 1) if mark else Position(self.file, 1, 1)
        match event:
            case yaml.DocumentStartEvent():
                return self._document(event, at)
            case yaml.AliasEvent():
                self._wrong(at, f"an alias (*{event.anchor}) is not allowed here; write the text out")
                self._place(Text("", at))
            case yaml.ScalarEvent():
                self._no_extras(event, at)
                self._place(Text(event.value, at, _style(event.style)))
            case yaml.SequenceStartEvent() | yaml.MappingStartEvent():
                self._no_extras(event, at)
                if len(self.open) >= DEEPEST:
                    self._wrong(at, _TOO_DEEP)
                    self.root = None
                    return False
                self.open.append(_Open(at, is_map=isinstance(event, yaml.MappingStartEvent)))
            case yaml.SequenceEndEvent() | yaml.MappingEndEvent():
                done = self.open.pop()
                self._place(
                    Map(tuple(done.entries), done.at) if done.is_map else Seq(tuple(done.items), done.at),
                )
            case _:
                return True
        self.nodes += 1
        if self.nodes > MOST_NODES:
            self._wrong(at, f"the file holds more than {MOST_NODES} entries")
            self.root = None
            return False
        return len(self.problems) < MOST_PROBLEMS

    def _document(self, event: yaml.DocumentStartEvent, at: Position) -> bool:
        self.documents += 1
        if self.documents > 1:
            self._wrong(at, "a second document starts here (---); one file holds one document")
            return False
        if event.version or event.tags:
            self._wrong(at, "a directive (a line that starts with %) is not allowed; take it out")
        return True

    def _no_extras(self, event: yaml.NodeEvent, at: Position) -> None:
        if event.anchor:
            self._wrong(at, f"an anchor (&{event.anchor}) is not allowed here; write the text out")
        if (tag := getattr(event, "tag", None)) is not None:
            name = tag.removeprefix("tag:yaml.org,2002:")
            self._wrong(at, f"a tag (!{name.lstrip('!')}) is not allowed here; all text is read as written")

    def _place(self, node: Node) -> None:
        if not self.open:
            self.root = node
            return
        inside = self.open[-1]
        if not inside.is_map:
            inside.items.append(node)
        elif inside.key_is_next:
            inside.key_is_next = False
            inside.skip_value = not self._key(inside, node)
        else:
            inside.key_is_next = True
            if inside.key is not None and not inside.skip_value:
                inside.entries.append((inside.key, node))
            inside.key = None

    def _key(self, inside: _Open, node: Node) -> bool:
        """True when `node` is a key to keep."""
        if not isinstance(node, Text):
            self._wrong(node.at, "a list or map cannot be a key; put quotes around text that starts with [ or {")
            return False
        inside.key = node
        if node.style == "plain" and node.value == "<<":
            self._wrong(node.at, "a merge key (<<) is not allowed here; write the keys out")
            return False
        if flaw := flaw_in_name(node.value):
            self._wrong(node.at, f"the key {node.value!r} {flaw}")
        if first := inside.first.get(node.value):
            self._wrong(node.at, f"{node.value!r} on line {node.at.line} is already given on line {first.line}")
            return False
        inside.first[node.value] = node.at
        return True

    def _wrong(self, at: Position, what: str) -> None:
        self.problems.append(Problem(at, what))


def _style(style: str | None) -> Literal["plain", "quoted", "block"]:
    if style in ("'", '"'):
        return "quoted"
    return "block" if style in ("|", ">") else "plain"


# -- messages ---------------------------------------------------------------------------------------------------------

_TOO_DEEP: Final = f"lists and maps lie more than {DEEPEST} deep in each other"

_IN_PLAIN_WORDS: Final = (
    ("maximum nesting depth", _TOO_DEEP),
    ("character '\\t'", "a tab stands here; indent with spaces"),
    ("tab", "a tab stands here; indent with spaces"),
    (
        "mapping values are not allowed",
        "a colon too many: indent this line as the one above, or put quotes around text that holds ': '",
    ),
    ("could not find expected ':'", "no colon after this key"),
    ("expected ',' or ']'", "no comma or closing ] here"),
    ("expected ',' or '}'", "no comma or closing } here"),
    ("unexpected end of stream", "the file ends in the middle of quoted text"),
    ("document separator", "the file's --- or ... stands in the middle of quoted text"),
    ("expected <block end>", "this line does not fit the indentation of the lines above"),
    ("node content", "a value was expected here"),
    ("expected key", "this line does not fit the indentation of the lines above"),
    ("'-' indicator", "this line does not fit the indentation of the lines above"),
    ("unknown escape character", "after a backslash inside double quotes comes a letter that means nothing"),
    ("cannot start any token", "text cannot start with this character; put quotes around it"),
    ("did not find expected <document start>", "this line does not fit the lines above"),
    ("expected '<document start>'", "this line does not fit the lines above"),
    ("directive", "a directive (a line that starts with %) is not allowed; take it out"),
    ("undefined tag handle", "a tag (!) is not allowed here; all text is read as written"),
    ("block sequence entries are not allowed", "a list item (-) cannot stand here"),
    ("block entries are not allowed", "a list item (-) cannot stand here"),
)


def _syntax(text: str, file: str, error: yaml.YAMLError) -> Problem:
    """The parser's complaint in plain words; the slow parser's where it is near the start, as it places it better."""
    mark = getattr(error, "problem_mark", None)
    if C_READER and (mark is None or mark.index < _EXACT_MESSAGE_CHARS):
        part = text[: 2 * _EXACT_MESSAGE_CHARS]
        slow = _slow_error(part)
        found = getattr(slow, "problem_mark", None)
        # An error at the cut is the cut's own.
        if slow is not None and found is not None and (part == text or found.index < _EXACT_MESSAGE_CHARS):
            error, mark = slow, found
    said = str(getattr(error, "problem", None) or "this is not YAML")
    begun = getattr(error, "context_mark", None)
    context = str(getattr(error, "context", None) or "")
    at = Position(file, mark.line + 1, mark.column + 1) if mark else Position(file, 1, 1)
    what = next((words for sign, words in _IN_PLAIN_WORDS if sign in said), said)
    if begun is not None and ("flow" in context or "quoted" in context) and begun.line + 1 != at.line:
        opened = "quote" if "quoted" in context else "[" if "sequence" in context else "{"
        what += f" (the {opened} of line {begun.line + 1}, column {begun.column + 1} is still open)"
    return Problem(at, what)


def _slow_error(text: str) -> yaml.YAMLError | None:
    depth = 0
    try:
        for event in yaml.parse(text, Loader=yaml.SafeLoader):
            depth += isinstance(event, yaml.CollectionStartEvent)
            depth -= isinstance(event, yaml.CollectionEndEvent)
            if depth > DEEPEST:
                return None
    except yaml.YAMLError as error:
        return error
    return None
