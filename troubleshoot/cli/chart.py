"""``troubleshoot chart``: a decision tree for one machine on paper, for the inside of the panel door."""

from __future__ import annotations

import datetime
import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

import click

from troubleshoot.cli import complete
from troubleshoot.cli.machines_on_disk import open_desk, read_text, shown_path, stop_with
from troubleshoot.cli.prove import load_all, tree_path
from troubleshoot.cli.saving import put
from troubleshoot.cli.say import complain
from troubleshoot.text.showing import show

if TYPE_CHECKING:
    from troubleshoot.trees.layout import Sheet

PAPERS = ("a4", "letter", "a3", "tabloid")


@click.command()
@click.argument("tree", shell_complete=complete.trees)
@click.option(
    "--on",
    "machine",
    required=True,
    metavar="MACHINE",
    help="The machine whose panel door it is for.",
    shell_complete=complete.machines,
)
@click.option(
    "-o", "--output", required=True, type=click.Path(dir_okay=False, path_type=Path), help="FILE.svg or FILE.pdf."
)
@click.option("--paper", type=click.Choice(PAPERS), default="a4", show_default=True, help="Size of the sheet.")
@click.option("--date", default="", metavar="DATE", help="Date printed on it, as 2026-11-30; otherwise today.")
def chart(tree: str, machine: str, output: Path, paper: str, date: str) -> None:
    """Draw TREE for MACHINE on one sheet: terminals, expected values, cautions, and where each answer leads.

    TREE is a file or the name of a complaint. Black on white, letters of 7 points and more. Where it does not fit on one sheet
    it goes on over numbered ones (an SVG file each: FILE.svg, FILE-2.svg ...), and says so. PDF needs the extra package:
    pip install "troubleshoot[pdf]". Example: troubleshoot chart hums --on belt-7 -o hums.svg
    """
    from troubleshoot import __version__
    from troubleshoot.text.problem import Position, Problem, nearest
    from troubleshoot.trees.bind import bind
    from troubleshoot.trees.chart import chart_of
    from troubleshoot.trees.layout import laid_out

    kind = output.suffix.lower()
    if kind not in (".svg", ".pdf"):
        raise click.UsageError(f"{show(str(output))}: a chart is written as .svg or .pdf")
    day = _day(date)
    path = tree_path(tree)
    found = load_all([path])
    name, loaded = next(iter(found.items()))
    desk = open_desk(machine)
    complaints = desk.machine.circuit.complaints
    if name not in complaints:
        at = Position(shown_path(path), 1, 1)
        stop_with((Problem(at, f"{desk.machine.name} has no complaint {name!r}", nearest(name, complaints)),))
    bound = bind(loaded, desk.reasoner, {**desk.trees, name: loaded})
    if isinstance(bound, tuple):
        stop_with(bound)
        raise AssertionError
    drawn = chart_of(
        bound, complaint=name, shows=desk.shows(name), version=__version__, date=day,
        tree_hash=hashlib.sha256(read_text(path)).hexdigest(),
    )  # fmt: skip
    sheets = laid_out(drawn, paper)
    if len(sheets) > 1:
        complain(
            f"{show(name)} on {show(desk.machine.name)} does not fit on one sheet of {paper}: {len(sheets)} sheets, each "
            "with the steps that it holds; try a larger --paper"
        )
    written = _svgs(sheets, output) if kind == ".svg" else _pdf(sheets, output, day)
    complain(
        f"written to {', '.join(show(str(one)) for one in written)}: {len(drawn.steps)} steps, {sheets[0].size:g} pt"
    )


def _day(date: str) -> str:
    if not date:
        return datetime.date.today().isoformat()
    try:
        return datetime.date.fromisoformat(date).isoformat()
    except ValueError:
        raise click.UsageError(f"--date {show(date)!r} is no date like 2026-11-30") from None


def _svgs(sheets: tuple[Sheet, ...], output: Path) -> list[Path]:
    from troubleshoot.trees.svg import svg

    written = []
    for k, sheet in enumerate(sheets, 1):
        path = output if k == 1 else output.with_name(f"{output.stem}-{k}{output.suffix}")
        _write(path, svg(sheet).encode("utf-8"))
        written.append(path)
    return written


def _pdf(sheets: tuple[Sheet, ...], output: Path, day: str) -> list[Path]:
    from troubleshoot.trees.svg import svg

    try:
        import typst
    except ImportError:
        raise click.UsageError('PDF needs typst: pip install "troubleshoot[pdf]"; or write .svg') from None
    pages = []
    for sheet in sheets:
        text = svg(sheet).replace("\\", "\\\\").replace('"', '\\"')
        pages.append(
            f"#page(width: {sheet.width:g}pt, height: {sheet.height:g}pt, margin: 0pt)"
            f'[#image(bytes("{text}"), format: "svg", width: 100%)]'
        )
    # The letters come with the package: the same on every machine, whatever is installed there.
    when = datetime.datetime.combine(datetime.date.fromisoformat(day), datetime.time(), datetime.UTC)
    made = typst.compile("\n".join(pages).encode("utf-8"), format="pdf", ignore_system_fonts=True, timestamp=when)
    _write(output, made)
    return [output]


def _write(path: Path, content: bytes) -> None:
    try:
        put(path.resolve(), content)
    except OSError as error:
        raise click.UsageError(f"{show(str(path))} cannot be written: {error.strerror or error}") from None
