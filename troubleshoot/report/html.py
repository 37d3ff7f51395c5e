"""A report as one page that needs nothing: no script, no picture, no font, no address from anywhere.

Jinja2 escapes every text; the only markup let through is our own drawing. The page says so itself, in a policy that a
browser holds it to: `default-src 'none'`, and of styles only the one with the stated hash.
"""

from __future__ import annotations

import base64
import hashlib
import re
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from troubleshoot.report import drawing
from troubleshoot.report.blocks import Bars, Report, Shares, Spans, Tone
from troubleshoot.text.showing import show

_MARKS = {Tone.BAD: "NOT GOOD: ", Tone.CAUTION: "", Tone.GOOD: "", Tone.NOTE: "", Tone.PLAIN: ""}
"""In words, for whoever sees no colour."""
_LONGEST_WORD = 24
_BROKEN = 14
"""A word of more letters may be broken behind a sign: the name of a log, but not K1:14 or 03:10-03:35."""
_PARTED = re.compile(r"(?<=\w[-_./:])(?=\w)")
"""Behind a sign inside of a name."""


def as_html(report: Report) -> str:
    """The whole page."""
    style = _read("page.css")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    page: str = (
        _environment()
        .from_string(_read("page.html"))
        .render(
            report=report,
            style=Markup(style),
            style_hash=Markup(f"sha256-{digest}"),  # both are ours
        )
    )
    return page


@cache
def _environment() -> Environment:
    found = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    found.filters["seen"] = _seen
    found.filters["kind"] = lambda block: type(block).__name__
    found.filters["mark"] = _MARKS.__getitem__
    # Only a word that would push the table off the page is broken: "none" in a narrow column is not.
    found.filters["endless"] = lambda text: any(len(word) > _LONGEST_WORD for word in str(text).split())
    found.filters["breakable"] = _breakable
    found.filters["drawn"] = _drawn
    return found


def _seen(text: Any) -> str:
    """Bidi controls and the like would turn words round on a page as well as on a terminal. Lone surrogates are marked."""
    return show(str(text), newlines="keep")


def _breakable(text: Any) -> Markup:
    """A cell: a long name may go on in the next line behind what parts it, and is still copied whole."""
    broken = (_PARTED.split(word) if len(word) > _BROKEN else [word] for word in _seen(text).split(" "))
    return Markup(" ").join(Markup("<wbr>").join(parts) for parts in broken)  # joining escapes each part


def _drawn(block: Shares | Spans | Bars) -> Markup:
    return Markup("\n".join(drawing.drawn(block)))


@cache
def _read(name: str) -> str:
    return files("troubleshoot.report").joinpath("forms", name).read_text(encoding="utf-8")
