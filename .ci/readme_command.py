"""Print a command of README.md, so that what is checked is what people are told to type.

Usage: python3 .ci/readme_command.py open|test

A command is the only line of the shell block that follows the comment `<!-- command: NAME -->`.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

README = Path(__file__).resolve().parent.parent / "README.md"


def command(name: str, text: str) -> str:
    """The one line marked with `name` in the Markdown `text`; ValueError where there is none or more than one."""
    found = re.findall(rf"<!-- command: {re.escape(name)} -->\s*```sh\n([^\n]+)\n```", text)
    if len(found) != 1:
        raise ValueError(f"README.md has {len(found)} commands marked {name!r}, expected one")
    return str(found[0])


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: readme_command.py open|test")
    try:
        print(command(sys.argv[1], README.read_text(encoding="utf-8")))
    except ValueError as problem:
        sys.exit(str(problem))
