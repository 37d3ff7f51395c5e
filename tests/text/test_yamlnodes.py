"""YAML is read as text; what is not plain text is refused with its place."""

from __future__ import annotations

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.text import yamlnodes
from troubleshoot.text.yamlnodes import DEEPEST, LARGEST_BYTES, Map, Node, Seq, Text, compose, read_yaml


def plain(node: Node):
    """The node without its places."""
    match node:
        case Text(value):
            return value
        case Seq(items):
            return [plain(item) for item in items]
        case Map(entries):
            return {key.value: plain(value) for key, value in entries}


def said(source: str | bytes) -> list[str]:
    return [str(problem) for problem in compose(source, "f.yaml").problems]


# What PyYAML's own typing makes of these was measured: 8, 750, False, 1000, a date, None, infinity.
@pytest.mark.parametrize(
    "written",
    [
        "NO",
        "no",
        "yes",
        "on",
        "off",
        "Y",
        "n",
        "010",
        "012",
        "09",
        "0o17",
        "0x1F",
        "3.10",
        "1_000",
        "1e3",
        "12:30",
        "12:30:45",
        "2024-01-01",
        ".inf",
        "-.INF",
        ".NaN",
        "null",
        "true",
        "TRUE",
        "=",
        "1,200",
        "+24",
        "-5",
        "K1:14",
        "%IX0.0",
        "208Y/120",
        pytest.param("9" * 5000, id="5000 digits"),
    ],
)
def test_a_scalar_stays_as_it_is_written(written):
    plain_or_quoted = f"'{written}'" if written[0] == "%" else written  # YAML keeps % for itself
    node = read_yaml(f"wire: {plain_or_quoted}\nlist:\n- {plain_or_quoted}\n", "f.yaml")
    assert plain(node) == {"wire": written, "list": [written]}


@pytest.mark.parametrize("written", ["NO", "on", "010", "12:30", "3.10", "1_000", "2024-01-01", ".inf", "null", "~x"])
def test_a_key_stays_as_it_is_written(written):
    assert plain(read_yaml(f"{written}: x\n", "f.yaml")) == {written: "x"}


def test_every_node_knows_its_line_and_column_in_characters():
    node = read_yaml("größe: {ü: [a, ß, c]}\nb:\n  - x\n  - |\n    text\n    more\n", "f.yaml")
    row = node.get("größe").get("ü")
    assert [(t.at.line, t.at.column) for t in row.items] == [(1, 13), (1, 16), (1, 19)]
    x, block = node.get("b").items
    assert (x.at.line, x.at.column) == (3, 5)
    assert (block.value, block.style, block.first_line) == ("text\nmore\n", "block", 5)


def test_nothing_written_is_missing_and_an_empty_quote_is_not():
    node = read_yaml("a:\nb: ~\nc: ''\nd: '~'\ne: null\n", "f.yaml")
    assert [value.missing for _, value in node] == [True, True, False, False, False]


def test_a_map_gives_keys_and_values_in_file_order():
    node = read_yaml("b: 1\na: 2\n", "f.yaml")
    assert node.keys() == ("b", "a")
    assert node.get("a").value == "2"
    assert node.key("a").at.line == 2
    assert node.get("c") is node.key("c") is None


@pytest.mark.parametrize(
    "source",
    [b"\xef\xbb\xbfa: 1\n", b"a: 1\r\n", b"a: 1", b"a: 1\r", b"---\na: 1\n...\n", b"# note\na: 1 # one\n"],
    ids=["BOM", "CRLF", "no final newline", "CR", "marked document", "notes"],
)
def test_how_editors_save_is_accepted(source):
    assert plain(read_yaml(source, "f.yaml")) == {"a": "1"}


@pytest.mark.parametrize(
    ("source", "says"),
    [
        ("a: 1\nb: 2\na: 3\n", "3:1: 'a' on line 3 is already given on line 1"),
        ("'1': a\n1: b\n", "2:1: '1' on line 2 is already given on line 1"),
        ("a: &x 1\n", "1:4: an anchor (&x) is not allowed here"),
        ("a: &x [1]\nb: *x\n", "2:4: an alias (*x) is not allowed here"),
        ("a: &x [*x]\n", "1:8: an alias (*x) is not allowed here"),
        ("a: !!int 3\n", "1:4: a tag (!int) is not allowed here"),
        ("a: !foo 3\n", "1:4: a tag (!foo) is not allowed here"),
        ("a: !!python/object/apply:os.system [x]\n", "1:4: a tag (!python/object/apply:os.system) is not allowed here"),
        ("a: ! 3\n", "1:4: a tag (!) is not allowed here"),
        ("b:\n  <<: {a: 1}\n", "2:3: a merge key (<<) is not allowed here"),
        ("%YAML 1.1\n---\na: NO\n", "1:1: a directive"),
        ("%TAG ! tag:x,2000:\n---\na: 1\n", "1:1: a directive"),
        ("a: 1\n---\nb: 2\n", "2:1: a second document starts here (---)"),
        ("? [a, b]\n: c\n", "1:3: a list or map cannot be a key"),
        ('"a\\eb": 1\n', "1:1: the key 'a\\x1bb' holds a control character U+001B"),
        ('a: 1\n"b\\u202ec": 1\n', "2:1: the key 'b\\u202ec' holds a hidden character U+202E"),
        ("a: [1, 2\n", "no comma or closing ] here"),
        ("a: {b: 1\nc: 2\n", "2:2: no comma or closing } here (the { of line 1, column 4 is still open)"),
        ("a: 'x\nb: 2\n", "the file ends in the middle of quoted text (the quote of line 1, column 4 is still open)"),
        ("a: b: c\n", "1:5: a colon too many"),
        ("a:\n\tb: 1\n", "2:1: a tab stands here; indent with spaces"),
        ("a: 1\n- b\n", "2:1: this line does not fit the indentation of the lines above"),
        ("a: @x\n", "1:4: text cannot start with this character"),
        ("", "1:1: the file is empty"),
        (" \n\n", "1:1: the file is empty"),
        ("# nothing\n", "1:1: the file holds nothing but comments"),
        (b"\xff\xfea\x00:\x00", "1:1: the file is UTF-16 (byte 0 is 0xFF); save it as UTF-8"),
        (b"\xfe\xff\x00a", "1:1: the file is UTF-16"),
        (b"\xff\xfe\x00\x00a\x00\x00\x00", "1:1: the file is UTF-32"),
        (b"a: 1\nb: caf\xe9\n", "2:7: byte 11 is 0xE9, which is not UTF-8"),
        (b"a: 1\r\nb: \x00\n", "2:4: a NUL character at byte 9"),
        ("a: é\x9b\n", "1:5: a control character U+009B at byte 5"),
        ("a: \x1b[0m\n", "1:4: a control character U+001B at byte 3"),
        ("a: x\u2028b: y\n", "1:5: a control character U+2028 at byte 4"),
        ("a: \ud800\n", "1:4: a control character U+D800 at byte 3"),
    ],
)
def test_what_is_not_plain_text_is_refused_with_its_place(source, says):
    assert any(says in problem for problem in said(source)), said(source)


def test_a_file_of_zeros_is_named_as_damaged():
    assert said(b"a\x00b\x00") == ["f.yaml:1:2: a NUL character at byte 1; the file is damaged or not UTF-8"]


def test_all_refusals_are_told_at_once_and_the_rest_is_still_readable():
    composed = compose("a: &x 1\nb: !t 2\na: 3\nc: 4\n", "f.yaml")
    assert [p.at.line for p in composed.problems] == [1, 2, 3]
    assert plain(composed.root) == {"a": "1", "b": "2", "c": "4"}


def test_fifty_deep_is_read_and_one_more_is_not():
    assert not isinstance(read_yaml("[" * DEEPEST + "]" * DEEPEST, "f.yaml"), tuple)
    assert said("[" * (DEEPEST + 1) + "]" * (DEEPEST + 1)) == [
        f"f.yaml:1:{DEEPEST + 1}: lists and maps lie more than {DEEPEST} deep in each other"
    ]


@pytest.mark.parametrize(
    "deep", ["[" * 20_000, "{a: " * 5000, "- " * 5000, "".join(f"{' ' * i}a:\n" for i in range(900))]
)
@pytest.mark.parametrize("c_reader", [True, False])
def test_no_depth_exhausts_the_stack(deep, c_reader, monkeypatch):
    monkeypatch.setattr(yamlnodes, "C_READER", c_reader and yamlnodes.C_READER)
    assert "deep in each other" in said(deep)[0]


def test_five_megabytes_is_the_most():
    assert (
        said("#" * LARGEST_BYTES + "x")
        == said(b"#" * LARGEST_BYTES + b"x")
        == ["f.yaml:1:1: the file is larger than 5 MB"]
    )
    assert said("é" * (LARGEST_BYTES // 2 + 1)) == ["f.yaml:1:1: the file is larger than 5 MB"]


TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=("C",), exclude_characters="\u2028\u2029"), max_size=12)
KEYS = st.text("abcxyzKM0123456789:. -", min_size=1, max_size=8).map(str.strip).filter(bool)
TREES = st.recursive(TEXTS, lambda t: st.lists(t, max_size=4) | st.dictionaries(KEYS, t, max_size=4), max_leaves=15)


@given(TREES, st.booleans())
def test_what_a_general_library_writes_reads_back_as_the_same_text(tree, flow):
    """Witness: PyYAML's own writer, which quotes whatever its typing would turn into something else."""
    source = yaml.safe_dump(tree, allow_unicode=True, default_flow_style=flow, sort_keys=False)
    if source.strip() and "!!" not in source:
        assert plain(read_yaml(source, "f.yaml")) == tree


@given(st.text("{}[]:,'\"\\&*!|>%@`-?#~<= \n\tab\u00e9", max_size=60))
def test_both_parsers_agree_on_what_the_text_is(source):
    fast = compose(source, "f.yaml")
    patch = pytest.MonkeyPatch()
    with patch.context() as only_python:
        only_python.setattr(yamlnodes, "C_READER", False)
        slow = compose(source, "f.yaml")
    if not fast.problems and not slow.problems:
        assert plain(fast.root) == plain(slow.root)


@given(st.binary(max_size=200))
def test_random_bytes_give_a_node_or_printable_problems(data):
    read = read_yaml(data, "f.yaml")
    assert read
    assert not isinstance(read, tuple) or all(str(problem).isprintable() for problem in read)
