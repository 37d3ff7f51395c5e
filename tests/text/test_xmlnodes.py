"""XML as elements with their places; hostile documents end in one problem, whatever they hold."""

from __future__ import annotations

from xml.sax.saxutils import escape

from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.text.problem import Position, Problem
from troubleshoot.text.xmlnodes import DEEPEST, Element, read_xml


def test_an_element_knows_its_name_space_place_attributes_and_text() -> None:
    root = read_xml('<a xmlns="urn:x">\n  <b c="1" d:e="2" xmlns:d="urn:d"> hi <i/>there</b>\n</a>', "f", 10)
    assert isinstance(root, Element)
    (b,) = root.children
    assert (b.name, b.space, b.at, b.text) == ("b", "urn:x", Position("f", 11, 3), "hi there")
    assert b.attributes == {"c": "1", "{urn:d}e": "2"}
    assert root.first("b") is b
    assert root.first("c") is None


def test_bytes_are_read_by_the_encoding_they_declare() -> None:
    text = '<?xml version="1.0" encoding="iso-8859-1"?><a>D\u00fcse</a>'
    root = read_xml(text.encode("latin-1"), "f")
    assert isinstance(root, Element)
    assert root.text == "D\u00fcse"


def test_nesting_ends_where_nobody_nests() -> None:
    for depth, taken in ((DEEPEST, True), (DEEPEST + 1, False)):
        assert isinstance(read_xml("<a>" * depth + "</a>" * depth, "f"), Element) is taken


@given(st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"], exclude_characters="\ufffe\uffff")))
def test_any_words_come_through_as_they_are(words: str) -> None:
    root = read_xml(f"<a>{escape(words)}</a>", "f")
    assert isinstance(root, Element)
    assert root.text == words.strip()


@given(st.one_of(st.text(), st.binary(), st.text("<>a/!&;[]'\"= DOCTYPENI\n")))
def test_whatever_it_is_it_ends_in_an_element_or_one_problem(text: str | bytes) -> None:
    found = read_xml(text, "f")
    assert isinstance(found, Element | Problem)
    if isinstance(found, Problem):
        assert found.at.line >= 1
        assert found.at.column >= 1
