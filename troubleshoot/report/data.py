"""A report as JSON: every block with its kind, every text as it was."""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any

from troubleshoot.report.blocks import Report


def plain(value: Any) -> Any:
    """Blocks as ordinary dicts and lists; a block says its kind."""
    if isinstance(value, Enum):
        return value.value
    if is_dataclass(value) and not isinstance(value, type):
        kind = type(value).__name__.casefold()
        return {"kind": kind} | {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, tuple | list):
        return [plain(one) for one in value]
    return value


def as_json(report: Report) -> str:
    """One JSON object, ASCII alone, so that no program reads it wrong."""
    return json.dumps(plain(report), indent=1) + "\n"
