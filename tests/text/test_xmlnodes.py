"""XML as elements with their places; hostile documents end in one problem, whatever they hold."""

from __future__ import annotations

from xml.sax.saxutils import escape

import pytest
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.text import xmlnodes
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


def test_a_text_of_more_elements_than_any_program_has_is_not_read_to_its_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(xmlnodes, "MOST_ELEMENTS", 1000)  # 200,000 take seconds
    assert isinstance(read_xml("<a>\n" + "<b/>" * 999 + "</a>", "f"), Element)
    found = read_xml("<a>\n" + "<b/>" * 1000 + "</a>", "f")
    assert isinstance(found, Problem)
    assert (found.what, found.at.line) == ("more than 1000 elements", 2)


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("\n<!DOCTYPE a><a/>", 11, "a DOCTYPE is not read"),
        ('<!DOCTYPE a [\n<!ENTITY b "c">]><a>&b;</a>', 10, "a DOCTYPE is not read"),
        ('<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/hosts">]><a>&b;</a>', 10, "a DOCTYPE is not read"),
        ("<a>\n\n<b>\n</a>", 13, "this is not XML: mismatched tag"),
        (b"<?xml version='1.0' encoding='nobodys-9'?><a/>", 10, "this is not XML: unknown encoding"),
        ("", 10, "this is not XML: no element found"),
    ],
)
def test_what_is_refused_is_said_at_its_line(text: str | bytes, line: int, says: str) -> None:
    found = read_xml(text, "f", 10)
    assert isinstance(found, Problem)
    assert found.what.startswith(says)
    assert (found.at.file, found.at.line) == ("f", line)


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
