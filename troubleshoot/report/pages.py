"""A report as PDF, by the `typst` package where it is installed: an extra, ``pip install 'troubleshoot[pdf]'``.

The typesetting is a fixed text of ours that reads the report as JSON: no word of a report is ever typesetting.
"""

from __future__ import annotations

import importlib.util
import json
from importlib.resources import files
from typing import Any

from troubleshoot.report.blocks import Bars, Report, Shares, Spans
from troubleshoot.report.data import plain
from troubleshoot.report.drawing import drawn
from troubleshoot.text.showing import show


class NoTypesetter(RuntimeError):
    """The extra is not installed."""


def can() -> bool:
    """Whether PDF can be made here."""
    return importlib.util.find_spec("typst") is not None


def as_pdf(report: Report) -> bytes:
    """The pages. Raises NoTypesetter where the extra is not installed."""
    if not can():
        raise NoTypesetter(
            "PDF needs the typst package: pip install 'troubleshoot[pdf]'. HTML needs nothing, and prints as well."
        )
    import typst

    source = files("troubleshoot.report").joinpath("forms", "pages.typ").read_bytes()
    made = typst.compile(source, sys_inputs={"report": json.dumps(_shown(report))}, format="pdf")
    assert isinstance(made, bytes)
    return made


def _shown(report: Report) -> dict[str, Any]:
    """The report as the pages read it: everything safe to show, drawings drawn."""
    whole = _safe(plain(report))
    whole["feet"] = [show(foot) for foot in report.feet]
    for block, told in zip(report.blocks, whole["blocks"], strict=True):
        if isinstance(block, Shares | Spans | Bars):
            told["svgs"] = drawn(block)
    return dict(whole)


def _safe(value: Any) -> Any:
    if isinstance(value, str):
        return show(value)
    if isinstance(value, dict):
        return {key: _safe(one) for key, one in value.items()}
    return [_safe(one) for one in value] if isinstance(value, list) else value
