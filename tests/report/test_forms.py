"""Whatever words a report holds, no form of it lets them act: no tag, no formula, no typesetting, no control character."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from report.hostile import STRINGS, hostile

from troubleshoot.report import pages
from troubleshoot.report.blocks import Bars, Heading, Line, Report, Shares, Span, Spans, Words
from troubleshoot.report.cells import as_csv, cell, read_csv, text_of
from troubleshoot.report.data import as_json
from troubleshoot.report.html import as_html
from troubleshoot.report.pages import NoTypesetter, as_pdf
from troubleshoot.report.text import as_text

OURS = frozenset(
    [
        "html",
        "head",
        "meta",
        "title",
        "style",
        "body",
        "main",
        "h1",
        "h2",
        "p",
        "dl",
        "dt",
        "dd",
        "ul",
        "li",
        "table",
        "thead",
        "tbody",
        "tr",
        "th",
        "td",
        "div",
        "span",
        "em",
        "figure",
        "figcaption",
        "footer",
        "svg",
        "line",
        "text",
        "polyline",
        "rect",
        "path",
    ]
)
FORMULA = re.compile(r"^[\s\u00a0]*[=+\-@\t\r\n|%\uff1d\uff0b\uff0d\uff20]")


class Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[tuple[str, str]] = set()
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {(tag, name) for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def parsed(page: str) -> Tags:
    found = Tags()
    found.feed(page)
    return found


# ---------------------------------------------------------------------------------------------------------------- HTML


def test_no_word_becomes_a_tag_or_an_attribute_that_acts_or_fetches() -> None:
    found = parsed(as_html(hostile()))
    assert found.tags <= OURS
    names = {name for _, name in found.attributes}
    assert not {n for n in names if n.startswith("on")}
    assert not names & {"src", "href", "xlink:href", "style", "action", "ping", "srcset", "data"}


def test_the_page_allows_nothing_but_the_one_style_it_carries() -> None:
    page = as_html(hostile())
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', page)
    assert policy is not None
    assert "default-src 'none'" in policy[1]
    assert "unsafe" not in policy[1]
    assert re.search(r"style-src 'sha256-[\w+/=]+'", policy[1])
    # The policy comes before anything that it has to hold.
    assert page.index("Content-Security-Policy") < page.index("<title>") < page.index("<style>")


def test_every_word_can_be_read_on_the_page() -> None:
    said = " ".join("".join(parsed(as_html(hostile())).words).split())
    for words in ("<script>document.body.id='owned'", "{{ 7*7 }}", "=cmd|' /C calc'!A0", "#eval"):
        assert words in said


def test_what_turns_or_hides_letters_is_marked_on_the_page() -> None:
    page = as_html(hostile())
    for char in ("\x1b", "\u202e", "\x00", "\ud800"):
        assert char not in page
    page.encode("utf-8")


def test_a_drawing_says_the_same_in_its_lines_for_any_numbers() -> None:
    odd = Report("x", (
        Shares("none", (), ()), Shares("one", ("1",), (Line("a", ((0.0, 2.0),)),)), Spans("s", (Span("a", 0, 0, 0, "V", "0"),)),
        Bars("b", (("a", 0.0, "0"), ("b", -3.0, "x"))),
    ))  # fmt: skip
    page = as_html(odd)
    assert "nan" not in page
    assert "inf" not in page


# ----------------------------------------------------------------------------------------------------------------- CSV


def test_no_cell_is_a_formula_to_a_spreadsheet() -> None:
    rows = list(csv.reader(io.StringIO(as_csv(hostile()).decode("utf-8-sig"), newline="")))
    assert len(rows) > 100
    for row in rows:
        for one in row:
            assert not FORMULA.match(one) or re.fullmatch(r"-?\d+(\.\d+)?", one), repr(one)


@given(st.text())
def test_any_text_comes_back_from_its_cell_as_it_was(text: str) -> None:
    clean = text.replace("\x00", "\u2400")
    assert text_of(cell(clean)) == clean
    assert not FORMULA.match(cell(clean)) or re.fullmatch(r"-?[0-9]+(\.[0-9]+)?", clean)


@given(st.lists(st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=20), min_size=1, max_size=5))
def test_a_report_comes_back_from_its_csv(texts: list[str]) -> None:
    report = Report(texts[0], tuple(Words(t) for t in texts))
    assert read_csv(as_csv(report))[1:] == [["words", "", t] for t in texts]


def test_a_number_stays_a_number() -> None:
    assert [cell(n) for n in ("-5", "120.5", "0")] == ["-5", "120.5", "0"]


# ---------------------------------------------------------------------------------------------------------- JSON, text


def test_json_holds_every_word_as_it_was() -> None:
    report = hostile()
    found = json.loads(as_json(report))
    assert [b["text"] for b in found["blocks"] if b["kind"] == "heading"] == [
        b.text for b in report.blocks if isinstance(b, Heading)
    ]
    assert as_json(report).isascii()


@pytest.mark.parametrize("width", [20, 40, 80, 200])
def test_text_is_safe_for_a_terminal_and_never_wider_than_asked(width: int) -> None:
    for line in as_text(hostile(), width).splitlines():
        assert line.isprintable(), repr(line)
        assert len(line) <= width


# ----------------------------------------------------------------------------------------------------------------- PDF


def test_without_the_typesetter_it_is_one_sentence_that_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pages, "can", lambda: False)
    with pytest.raises(NoTypesetter, match=r"pip install 'troubleshoot\[pdf\]'"):
        as_pdf(hostile())


@pytest.mark.skipif(not pages.can(), reason="the pdf extra is not installed")
def test_pdf_words_are_words_and_no_typesetting(tmp_path: Path) -> None:
    made = as_pdf(hostile())
    assert made.startswith(b"%PDF")
    for acts in (b"/JavaScript", b"/JS", b"/OpenAction", b"/AA", b"/Launch", b"/URI", b"/EmbeddedFile"):
        assert acts not in made
    if shutil.which("pdftotext") is None:
        pytest.skip("poppler-utils is not installed: the words of the pages were not read back")
    path = tmp_path / "x.pdf"
    path.write_bytes(made)
    said = subprocess.run(["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True).stdout
    said = " ".join(said.split())
    for words in ('#eval("1")', "*bold*", "<script>", "{{ 7*7 }}"):
        assert words in said, words
    assert "root:x:0" not in said


def test_there_are_enough_attempts() -> None:
    assert len(STRINGS) >= 25
