"""XML as elements that know where they stand, and nothing that reaches out of the text.

Read with the library defusedxml, which refuses a document type and every entity before it is used: an entity can grow a
kilobyte into gigabytes, or name a file of this computer.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from troubleshoot.text.problem import Position, Problem

MOST_ELEMENTS: Final = 200_000
"""Elements of one text; a network of 500 rungs takes some 10,000 (own choice)."""
DEEPEST: Final = 100
"""Elements inside elements; an interchanged program has some 15 (own choice)."""


@dataclass(slots=True)
class Element:
    """One element. `text` is what stands directly in it, white space at the ends removed."""

    name: str
    """Without its prefix."""
    space: str
    """The namespace, empty for none."""
    at: Position
    attributes: Mapping[str, str]
    children: list[Element] = field(default_factory=list)
    text: str = ""
    said: str = ""
    """What a message calls it: its name, and what says more about it where a reader knows that."""

    def all(self, *names: str) -> Iterator[Element]:
        """Its children of these names."""
        return (child for child in self.children if child.name in names)

    def first(self, name: str) -> Element | None:
        """Its first child of this name."""
        return next(self.all(name), None)


def read_xml(text: str | bytes, file: str, first_line: int = 1) -> Element | Problem:
    """The root element of `text`, or the one thing that is wrong with it.

    file, first_line: for messages, where the text stands. Bytes are read by the encoding that they declare. Raises nothing.
    """
    from io import BytesIO
    from xml.sax import SAXParseException
    from xml.sax.handler import ContentHandler, feature_namespaces

    from defusedxml.common import DefusedXmlException
    from defusedxml.expatreader import create_parser

    class Handler(ContentHandler):
        """Builds the elements; a document that is too large or too deep stops it."""

        def __init__(self) -> None:
            super().__init__()
            self.place: Any = None
            self.open: list[tuple[Element, list[str]]] = []
            self.root: Element | None = None
            self.count = 0

        def setDocumentLocator(self, locator: Any) -> None:  # noqa: N802
            self.place = locator

        def at(self) -> Position:
            return Position(
                file, first_line - 1 + int(self.place.getLineNumber()), int(self.place.getColumnNumber()) + 1
            )

        def startElementNS(self, name: tuple[str | None, str], qname: str | None, attrs: Any) -> None:  # noqa: N802
            self.count += 1
            if self.count > MOST_ELEMENTS:
                raise _TooMuch(f"more than {MOST_ELEMENTS} elements")
            if len(self.open) >= DEEPEST:
                raise _TooMuch(f"elements nested more than {DEEPEST} deep")
            # An attribute of another namespace keeps it in its name, so that it is never taken for one of ours.
            given = {
                local if space is None else f"{{{space}}}{local}": value for (space, local), value in attrs.items()
            }
            element = Element(name[1], name[0] or "", self.at(), given, said=name[1])
            if self.open:
                self.open[-1][0].children.append(element)
            else:
                self.root = element
            self.open.append((element, []))

        def endElementNS(self, name: object, qname: object) -> None:  # noqa: N802
            element, pieces = self.open.pop()
            element.text = "".join(pieces).strip()

        def characters(self, content: str) -> None:
            self.open[-1][1].append(content)

    handler = Handler()
    parser = create_parser(forbid_dtd=True, forbid_entities=True, forbid_external=True)
    parser.setFeature(feature_namespaces, True)
    parser.setContentHandler(handler)
    raw = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text
    try:
        parser.parse(BytesIO(raw))
    except DefusedXmlException:  # what it would name cannot be reached: entities are declared in a DOCTYPE alone
        return Problem(handler.at(), "a DOCTYPE is not read: it can name entities and other files")
    except _TooMuch as much:
        return Problem(handler.at(), str(much))
    except SAXParseException as error:
        line, column = int(error.getLineNumber() or 1), int(error.getColumnNumber() or 0)
        return Problem(Position(file, first_line - 1 + line, column + 1), f"this is not XML: {error.getMessage()}")
    except (ValueError, LookupError) as error:  # an encoding that this reader does not know
        return Problem(Position(file, first_line, 1), f"this is not XML: {error}")
    assert handler.root is not None
    return handler.root


class _TooMuch(Exception):
    """The text is larger or deeper than any program."""
