"""The first lesson as a conversation: what its page says was typed, typed into a real job, and what came of it.

After a wanted change of wording, ``python tests/lesson.py`` writes the page's answers and README's pictures anew. Read and
look at them before they are kept.
"""

from __future__ import annotations

import asyncio
import html
import io
import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path

from pictures import unframed

from troubleshoot.cli.machines_on_disk import open_desk, open_plant
from troubleshoot.job.session import Session
from troubleshoot.tui.app import TroubleshootApp
from troubleshoot.tui.plain import LineMode

DOCS = Path(__file__).resolve().parent.parent / "docs"
PAGE = DOCS / "tutorial" / "first-fault.md"
PICTURES = {"job-walk": 2, "job-face": 3, "job-caution": 9, "job-trip": 10, "job-proof": 38}
"""Each picture of README and how many lines of the lesson have been typed when it is taken."""
CUT = "..."
"""Stands on the page for an answer that is left out there."""

_BLOCK = re.compile(r"(?<=```text\n)(.*?)(?=```)", re.DOTALL)
_STARTED_WITH = re.compile(r'\$ troubleshoot job (\S+) --complaint "([^"]+)" --plain')


_desk = cache(open_desk)  # it holds what is computed of a machine, nothing of a job


class Typist(io.StringIO):
    """Types the given lines, and notes how much had been answered whenever the next one was due."""

    def __init__(self, lines: list[str], out: io.StringIO) -> None:
        super().__init__("".join(f"{line}\n" for line in lines))
        self.out, self.marks = out, [0]

    def readline(self, size: int | None = -1, /) -> str:
        self.marks.append(len(self.out.getvalue()))
        return super().readline(-1 if size is None else size)


def typed(page: str) -> list[str]:
    """Every line that the page says was typed."""
    return [line[1:].strip() for block in _BLOCK.findall(page) for line in block.splitlines() if line.startswith(">")]


@contextmanager
def job(page: str, lines: list[str]) -> Iterator[tuple[Session, list[str]]]:
    """The job of the page in a plant of its own after some lines, and what was printed before the first and after each."""
    begun = _STARTED_WITH.search(page)
    assert begun is not None
    with tempfile.TemporaryDirectory() as folder:
        kept = dict(os.environ)
        os.environ |= {"TROUBLESHOOT_PLANT": folder, "TROUBLESHOOT_WHO": "Ana"}
        out = io.StringIO()
        typist = Typist(lines, out)
        session = Session(replace(open_plant(), desk=_desk), machine=begun[1], complaint=begun[2])
        try:
            LineMode(session, typist, out, talking=False).run()
            text = out.getvalue()
            pieces = [text[a:b] for a, b in pairwise([*typist.marks, len(text)])]
            # How long it works depends on the machine; what it answers does not.
            yield session, [re.sub(r"(?m)^Working: .*\n", "", piece).strip("\n") for piece in pieces]
        finally:
            session.close()
            os.environ.clear()
            os.environ.update(kept)


def renewed(page: str) -> str:
    """The page with every answer as it is given now. A block is some typed lines, ``> y``, each with what came of it."""
    with job(page, typed(page)) as (_, answers):
        said = iter(answers)
    made: list[str] = []
    for block in (found.splitlines() for found in _BLOCK.findall(page)):
        shown: list[str] = [] if any(line.startswith(">") for line in block) else [next(said)]
        for line, after in pairwise([*block, ""]):
            if line.startswith(">"):
                answer = next(said)
                shown += [line, CUT if after == CUT else answer]
        made.append("\n".join(piece for piece in shown if piece) + "\n")
    rest = iter(made)
    return _BLOCK.sub(lambda _: next(rest), page)


async def picture(page: str, lines: int) -> str:
    """The full screen at 80 by 24 after so many lines of the page, as SVG."""
    with job(page, typed(page)[:lines]) as (session, _):
        saved = session.sheet(80, 24).saved
        app = TroubleshootApp(session)
        async with app.run_test(size=(80, 24)) as pilot:
            for _ in range(6000):
                if f"saved {saved}" in seen(app.export_screenshot()):
                    break
                await asyncio.sleep(0.01)
            await pilot.pause()
            # Some viewers drop blanks at the beginning of a text, and the numbers under a rung then stand elsewhere.
            return unframed(app.export_screenshot()).replace("<text ", '<text xml:space="preserve" ')


def seen(svg: str) -> str:
    """The words of a picture, without its colours and measures."""
    body = re.sub(r"<style.*?</style>", "", svg, flags=re.DOTALL)
    return html.unescape("\n".join(re.findall(r"<text[^>]*>([^<]*)</text>", body))).replace("\xa0", " ")


def draw() -> None:
    """Write the page and every picture anew."""
    page = renewed(PAGE.read_text(encoding="utf-8"))
    PAGE.write_text(page, encoding="utf-8")
    (DOCS / "screens").mkdir(exist_ok=True)
    for name, lines in PICTURES.items():
        (DOCS / "screens" / f"{name}.svg").write_text(asyncio.run(picture(page, lines)), encoding="utf-8")


if __name__ == "__main__":
    draw()
