"""Whatever words a report holds, no form of it lets them act: no tag, no formula, no typesetting, no control character."""

from __future__ import annotations

import csv
import html
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

from troubleshoot.report import drawing, pages
from troubleshoot.report.blocks import (
    Bars,
    Facts,
    Heading,
    Line,
    Moment,
    Report,
    Shares,
    Span,
    Spans,
    Table,
    Timeline,
    Words,
)
from troubleshoot.report.cells import as_csv, cell, read_csv, text_of
from troubleshoot.report.data import as_json
from troubleshoot.report.drawing import bars
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
        "wbr",
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
    rows = read_csv(as_csv(report))
    assert rows[:2] == [["report: columns", "log", "under", "title", "made"], ["report", "", "", texts[0], ""]]
    assert rows[2:] == [["words: columns", "log", "under", "text"], *(["words", "", "", t] for t in texts)]


def test_every_row_of_a_csv_says_its_log_and_stands_under_names_for_its_columns() -> None:
    report = Report(
        "two", (
            Table("job", ("machine", "found"), (("belt-7", "F2"),)),
            Heading("a.jsonl", "a.jsonl"), Heading("What happened"), Timeline((Moment(3, "03:12", "looked"),)),
            Heading("b.jsonl", "b.jsonl"), Facts((("machine", "fan-2"),)), Table("job", ("id",), (("7",),)),
        ), (("a.jsonl", 3, "0f"), ("b.jsonl", 4, "1f")),
    )  # fmt: skip
    names: dict[str, list[str]] = {}
    said = []
    for row in read_csv(as_csv(report)):
        if row[0].endswith(": columns"):
            names[row[0].removesuffix(": columns")] = row[1:]
        else:
            said.append((row[0], dict(zip(names[row[0]], row[1:], strict=True))))
    assert ("job", {"log": "", "under": "", "machine": "belt-7", "found": "F2"}) in said
    assert ("job", {"log": "b.jsonl", "under": "", "id": "7"}) in said
    assert ("head", {"log": "b.jsonl", "under": "", "number": "4", "hash": "1f"}) in said
    (moment,) = (row for sort, row in said if sort == "moment")
    assert (moment["log"], moment["under"], moment["what"]) == ("a.jsonl", "What happened", "looked")
    assert ("fact", {"log": "b.jsonl", "under": "", "name": "machine", "value": "fan-2"}) in said


def test_a_table_over_several_logs_says_the_log_of_each_row_where_every_row_does_and_no_column_is_there_twice() -> None:
    table = Table("job", ("machine", "log", "part"), (("belt-7", "a.jsonl", "K1"), ("fan-2", "b.jsonl", "none")))
    rows = read_csv(as_csv(Report("two", (table,), (("a.jsonl", 3, "0f"), ("b.jsonl", 4, "1f")))))
    (names,) = (row for row in rows if row[0] == "job: columns")
    assert len(set(names)) == len(names)
    assert [row[:5] for row in rows if row[0] == "job"] == [
        ["job", "a.jsonl", "", "belt-7", "K1"], ["job", "b.jsonl", "", "fan-2", "none"],
    ]  # fmt: skip


def test_the_words_beside_a_bar_are_whole_however_long_they_are() -> None:
    words = "~3 min + 2 not handed back, since 25 Nov 02:20, and one more that nobody knows of"
    svg = bars(Bars("down", ((f"line-{'4' * 40}", 3.0, words), ("fan-2", 1.0, "1 min"))))
    said = " ".join(re.findall(r"<text [^>]*>([^<]*)</text>", svg))
    assert words in said
    assert "…" not in svg
    assert max(float(y) for y in re.findall(r' y="([\d.]+)"', svg)) < float(
        re.findall(r'viewBox="0 0 \d+ ([\d.]+)"', svg)[0]
    )


WEEK = Table(
    "job", ("machine", "down", "record", "log", "minutes", "found", "part", "confirmed", "proved", "left open", "departures", "signed"),
    tuple((f"belt-{k}", "~23 Nov 03:10-03:35", "NOT TO BE TRUSTED", f"belt-7-18b01f8{k}.jsonl", "377", "S1 block 13-14, confirmed, waiting for part",
           "S1 start button, push button (awaited)", "confirmed, not mended", "12 of 12 checks", "unknown after event 38", "12", "Kim Ode, not its end")
          for k in range(3)),
)  # fmt: skip


@pytest.mark.skipif(not pages.can(), reason="the pdf extra is not installed")
def test_no_cell_of_a_table_of_many_columns_is_printed_over_another(tmp_path: Path) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not here: apt-get install poppler-utils")
    (tmp_path / "x.pdf").write_bytes(as_pdf(Report("week", (WEEK, Heading("a", "a.jsonl"), Words("a log")))))
    done = subprocess.run(["pdftotext", "-bbox", tmp_path / "x.pdf", "-"], capture_output=True, text=True, check=True)
    (first, second) = re.findall(r'<page width="([\d.]+)" height="([\d.]+)"', done.stdout)
    assert float(first[0]) > float(first[1]), "the long side is across"
    assert float(second[0]) < float(second[1]), "and the logs behind it are read upright"
    boxes = [
        tuple(map(float, box))
        for box in re.findall(
            r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">',
            done.stdout.partition("</page>")[0],
        )
    ]
    assert len(boxes) > 60
    assert all(x1 <= float(first[0]) for _, _, x1, _ in boxes)
    over = [
        (a, b) for k, a in enumerate(boxes) for b in boxes[:k]
        if min(a[2], b[2]) - max(a[0], b[0]) > 1 and min(a[3], b[3]) - max(a[1], b[1]) > 3
    ]  # fmt: skip
    assert not over


def test_a_long_name_may_be_broken_in_a_table_and_is_copied_whole() -> None:
    page = as_html(Report("week", (WEEK,)))
    assert "belt-<wbr>7-<wbr>18b01f81.<wbr>jsonl" in page
    assert "13-14" in page
    assert "13-<wbr>14" not in page
    assert "&lt;b&gt;" in as_html(Report("x", (Table("t", ("a",), (("<b>-aaaaaaaaaaaa-bbbb",),)),)))


def pages_of(content: bytes, tmp_path: Path) -> list[str]:
    """The text of each page, without blanks."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not here: apt-get install poppler-utils")
    (tmp_path / "x.pdf").write_bytes(content)
    text = subprocess.run(["pdftotext", tmp_path / "x.pdf", "-"], capture_output=True, text=True, check=True).stdout
    return ["".join(page.split()) for page in text.split("\f")[:-1]]


def test_many_readings_leave_no_page_empty_and_none_of_them_is_cut_off(tmp_path: Path) -> None:
    rows = tuple(Span(f"reading{k}.", 0, 10, 5, "V", "5") for k in range(90))
    report = Report("long", (Words("text " * 50), Heading("Readings"), Spans("beside", rows)), (("l", 3, "a" * 64),))
    try:
        pages = pages_of(as_pdf(report), tmp_path)
    except NoTypesetter:
        pytest.skip("typst is not here: pip install 'troubleshoot[pdf]'")
    assert all(f"reading{k}." in "".join(pages) for k in range(90))
    assert all(len(page) > 300 for page in pages[:-1]), [len(p) for p in pages]
    assert as_html(report).count("<svg") == 5


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


@pytest.mark.parametrize("words", ["~50 min + 1 not handed back, since 25 Nov 02:20", "3 min", "w" * 200])
def test_the_words_behind_a_bar_end_on_the_picture(words: str) -> None:
    picture = drawing.bars(Bars("Time down", (("belt-7", 50.0, words), ("fan-2", 18.0, "~18 min"))))
    ends = [
        float(at) + drawing._LETTER * len(html.unescape(shown))
        for at, anchor, shown in re.findall(
            r'<text x="([\d.]+)" y="[\d.]+" text-anchor="(start)"[^>]*>([^<]*)<', picture
        )
        if anchor == "start"
    ]
    assert len(ends) >= 2, "what finds no room behind a bar goes on in the next line"
    assert max(ends) <= drawing.WIDE


def test_a_table_of_many_columns_is_set_smaller_so_that_the_last_is_on_the_page() -> None:
    wide = Report("w", (Table("job", tuple("abcdefghijkl"), (tuple("abcdefghijkl"),), ""),))
    narrow = Report("n", (Table("job", tuple("abc"), (tuple("abc"),), ""),))
    assert '<table class="wide">' in as_html(wide)
    assert '<table class="wide">' not in as_html(narrow)
