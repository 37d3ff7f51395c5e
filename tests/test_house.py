"""The repository as a house: what lies where, that every door has a sign, and that README tells the truth about it."""

from __future__ import annotations

import ast
import re
import shlex
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")

AT_THE_TOP = {
    "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml", "uv.lock",
    "troubleshoot", "trees", "tests", "docs",
}  # fmt: skip
MADE_BY_TOOLS = {"build", "dist", "snapshot_report.html", "__pycache__"}
"""What builds and tests leave behind; .gitignore keeps it out of every commit."""


def ours() -> Iterator[Path]:
    """Every text file of the repository, without what tools made."""
    for top in sorted(ROOT.iterdir()):
        if top.name in AT_THE_TOP or top.name in {".ci", ".gitignore", ".github"}:
            for path in [top] if top.is_file() else sorted(top.rglob("*")):
                if path.is_file() and "__pycache__" not in path.parts and path.suffix != ".pyc":
                    yield path


def doors() -> list[Path]:
    """The folders below troubleshoot/ that hold Python."""
    package = ROOT / "troubleshoot"
    return sorted({module.parent for module in package.rglob("*.py")} - {package})


def shown(folder: Path) -> str:
    return folder.relative_to(ROOT).as_posix()


def readme_command(name: str) -> str:
    done = subprocess.run(
        [sys.executable, str(ROOT / ".ci" / "readme_command.py"), name], capture_output=True, text=True, check=True
    )
    return done.stdout.strip()


# ---------------------------------------------------------------------------------------------------------- the folders


def test_nothing_else_lies_at_the_top() -> None:
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert found - MADE_BY_TOOLS <= AT_THE_TOP


@pytest.mark.parametrize("needed", sorted(AT_THE_TOP - {"uv.lock"}))
def test_what_belongs_at_the_top_is_there(needed: str) -> None:
    assert (ROOT / needed).exists()


@pytest.mark.parametrize("folder", doors(), ids=shown)
def test_every_folder_of_the_program_says_at_its_door_what_it_is_for(folder: Path) -> None:
    assert (folder / "__init__.py").exists(), "no __init__.py"
    door = ast.get_docstring(ast.parse((folder / "__init__.py").read_text(encoding="utf-8")))
    assert door, "no docstring"
    assert len(door.split()) >= 6


@pytest.mark.parametrize("room", [f for f in doors() if f.parent.name == "troubleshoot"], ids=shown)
def test_every_room_says_what_belongs_what_does_not_and_whom_it_may_know(room: Path) -> None:
    door = ast.get_docstring(ast.parse((room / "__init__.py").read_text(encoding="utf-8"))) or ""
    for sign in ("Belongs here", "Not here", "know"):
        assert sign.lower() in door.lower(), f"the door does not say: {sign}"


def test_every_room_has_its_floor() -> None:
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"][
        "contracts"
    ]
    (layers,) = [c["layers"] for c in contracts if c["type"] == "layers"]
    floors = set(re.findall(r"\w+", " ".join(layers)))
    assert {f.name for f in doors() if f.parent.name == "troubleshoot"} <= floors


def test_every_room_is_on_the_map() -> None:
    page = (ROOT / "docs" / "architecture.md").read_text(encoding="utf-8")
    for room in (f.name for f in doors() if f.parent.name == "troubleshoot"):
        assert f"`{room}/`" in page, room


# -------------------------------------------------------------------------------------------------------------- README


def test_readme_opens_with_the_job_in_one_paragraph() -> None:
    title, first, after = [block for block in README.split("\n\n") if block.strip()][:3]
    assert re.fullmatch(r"# \w+", title.strip())
    assert first[0] not in "#-*`|>!<["  # a paragraph, not a heading, a list, a badge or a picture
    assert "\n" not in first.strip()
    assert len(first.split()) >= 60
    assert "#" not in first
    assert len(after.split()) < len(first.split())


@pytest.mark.parametrize("name", ["open", "test"])
def test_readme_has_a_one_line_command_that_needs_only_python_and_venv(name: str) -> None:
    command = readme_command(name)
    first, *rest = command.split(" && ")
    assert first == "python3 -m venv .venv"
    # All that follows runs from the environment just made, so nothing else has to be on the machine.
    assert rest
    assert all(part.startswith(".venv/bin/") for part in rest)


def test_one_command_opens_the_program_and_the_other_runs_the_tests() -> None:
    assert readme_command("open").endswith(" .venv/bin/troubleshoot")
    assert readme_command("test").endswith(" -m pytest")


def test_the_build_machine_runs_readmes_own_test_command() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "readme_command.py test)" in script
    assert 'bash -c "$test_command"' in script
    # Said a second time, the command could differ from what README says.
    assert not re.search(r"\bpytest\b(?! --)", re.sub(r"(?m)^\s*#.*$", "", script))


def links() -> list[tuple[str, str]]:
    """Every link to a file, in every page: (page, target)."""
    pages = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]
    found = []
    for page in pages:
        text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
        for target in re.findall(r"\]\(([^)#\s]+)", text):
            if "://" not in target:
                found.append((shown(page), target))
    return found


@pytest.mark.parametrize(("page", "target"), links())
def test_no_link_leads_nowhere(page: str, target: str) -> None:
    assert ((ROOT / page).parent / target).exists()


def run_program(*words: str) -> subprocess.CompletedProcess[str]:
    """The program as its console script starts it, with this interpreter."""
    call = "import sys; from troubleshoot.cli import main; sys.argv[0] = 'troubleshoot'; sys.exit(main())"
    return subprocess.run(
        [sys.executable, "-c", call, *words], cwd=ROOT, capture_output=True, text=True, stdin=subprocess.DEVNULL
    )


def test_readmes_table_has_every_command_of_the_program_and_no_other() -> None:
    done = run_program("--help")
    assert done.returncode == 0, done.stderr
    commands = set(re.findall(r"(?m)^  ([a-z]+)(?:  |$)", done.stdout.partition("Commands:")[2]))
    assert commands
    assert set(re.findall(r"(?m)^\| .*?`troubleshoot (\w+)", README)) == commands


def examples() -> list[str]:
    """Commands of the program shown in shell blocks of the pages people read first."""
    pages = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
    blocks = [b for page in pages for b in re.findall(r"```sh\n(.*?)```", page.read_text(encoding="utf-8"), re.DOTALL)]
    return [line for block in blocks for line in block.splitlines() if line.startswith("troubleshoot ")]


@pytest.mark.parametrize("line", examples())
def test_an_example_in_the_pages_runs_as_it_stands(line: str) -> None:
    done = run_program(*shlex.split(line)[1:])
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip()


# --------------------------------------------------------------------------------------------------- nobody's own desk


def test_no_file_names_a_folder_of_the_machine_it_was_written_on() -> None:
    somebodys = re.compile(r"(?<![\w./~-])/(?:home|root|work|Users|mnt|media|srv)/\w")
    here = str(ROOT)
    for path in ours():
        try:
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
        for number, line in enumerate(text.splitlines(), 1):
            assert here not in line, f"{shown(path)}:{number}"
            assert not somebodys.search(line), f"{shown(path)}:{number}: {line.strip()[:80]}"


def test_decisions_are_numbered_without_a_gap_and_say_their_five_things() -> None:
    files = sorted(p for p in (ROOT / "docs" / "decisions").glob("*.md") if p.name != "README.md")
    assert [int(p.name[:4]) for p in files] == list(range(1, len(files) + 1))
    for path in files:
        text = path.read_text(encoding="utf-8")
        assert text.startswith(f"# {int(path.name[:4])}. "), path.name
        for part in ("Accepted", "*Forced by*", "*Chosen*", "*Also weighed*", "*Price*", "*Would change it*"):
            assert part in text, f"{path.name} does not say {part}"


# ------------------------------------------------------------------------------------------------------ what is installed


def test_the_locked_releases_are_within_what_the_project_asks_for_and_every_file_has_its_hash() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    locked = (ROOT / ".ci" / "locked.txt").read_text(encoding="utf-8")
    releases: dict[str, list[str]] = {}
    for name, release in re.findall(r"(?m)^([a-z0-9-]+)==([^ ]+)", locked):
        releases.setdefault(name, []).append(release)
    for wanted in map(Requirement, [*project["dependencies"], *project["optional-dependencies"]["dev"]]):
        found = releases[canonicalize_name(wanted.name)]
        assert all(wanted.specifier.contains(release) for release in found), wanted
    entries = re.split(r"(?m)^(?=[a-z0-9-]+==)", re.sub(r"(?m)^\s*#.*\n", "", locked))
    assert all("--hash=sha256:" in entry for entry in entries if entry.strip())
    assert "://" not in locked


def test_no_module_is_much_longer_than_four_hundred_lines_without_a_reason_that_architecture_gives() -> None:
    page = (
        (ROOT / "docs/architecture.md")
        .read_text(encoding="utf-8")
        .partition("## Long modules")[2]
        .partition("\n## ")[0]
    )
    excused = set(re.findall(r"`([\w/]+\.py)`", page))
    package = ROOT / "troubleshoot"
    lines = {
        str(p.relative_to(package)): len(p.read_text(encoding="utf-8").splitlines()) for p in package.rglob("*.py")
    }
    long = {name for name, count in lines.items() if count > 420}
    assert long - excused == set(), "say why in docs/architecture.md, or take it apart"
    # A table that excuses what is short again hides the next one that grows.
    assert {name for name in excused if lines[name] < 400} == set()
    assert max(lines.values()) < 600
